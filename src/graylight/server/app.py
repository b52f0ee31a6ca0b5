"""The application: its paths, its guard, and the page."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

import anyio.to_thread
from fastapi import FastAPI, Request
from starlette.responses import Response

from graylight import __version__
from graylight.errors import GraylightError
from graylight.server import (
    camps,
    correcting,
    countries,
    fetching,
    field_files,
    handing,
    judging,
    learnt,
    looking,
    recording,
    running,
    saying,
)  # fmt: skip
from graylight.server.desk import Desk
from graylight.server.pages import built_pages, serve_page
from graylight.server.problems import RESPONSES, Problem, answer_problems
from graylight.server.security import Guard, Rules

__all__ = ["AT_ONCE", "application", "guarded"]

NOTICE_S = 2.0
PARTS = (
    fetching, looking, judging, camps, recording, correcting, field_files, learnt, saying, running, handing, countries,
)  # fmt: skip
AT_ONCE = 4
"""Answers worked out at a time; the rest wait. Each takes some tens of megabytes at most, so this bounds the memory."""


def application(desk: Desk) -> FastAPI:
    """The application over a desk, without its guard."""

    @asynccontextmanager
    async def lifespan(_: FastAPI) -> AsyncIterator[None]:
        anyio.to_thread.current_default_thread_limiter().total_tokens = AT_ONCE
        watching = asyncio.create_task(_watch(desk))
        try:
            yield
        finally:
            watching.cancel()
            desk.close()

    app = FastAPI(
        title="graylight", version=__version__, docs_url=None, redoc_url=None, openapi_url="/api/openapi.json",
        lifespan=lifespan, responses=RESPONSES, redirect_slashes=False,
    )  # fmt: skip
    app.state.desk = desk
    answer_problems(app)
    for part in PARTS:
        app.include_router(part.router, prefix="/api")
    _document_problems(app)
    _put_page(app)
    return app


async def _watch(desk: Desk) -> None:
    """Look now and then whether another program has changed something, while a page listens."""
    while True:
        await asyncio.sleep(NOTICE_S)
        if desk.stream.listeners:
            with contextlib.suppress(GraylightError):  # whoever asks is told
                await anyio.to_thread.run_sync(desk.notice)


def _put_page(app: FastAPI) -> None:
    pages = built_pages()

    @app.get("/{path:path}", include_in_schema=False)
    async def page(request: Request) -> Response:
        return serve_page(pages, request)


def _document_problems(app: FastAPI) -> None:
    """Let the schema say how errors look; the framework would say it otherwise."""
    plain = app.openapi

    def openapi() -> dict[str, Any]:
        schema = plain()
        parts = schema.setdefault("components", {}).setdefault("schemas", {})
        parts["Problem"] = Problem.model_json_schema()
        for unused in ("HTTPValidationError", "ValidationError"):
            parts.pop(unused, None)
        return schema

    app.openapi = openapi  # type: ignore[method-assign]


def guarded(desk: Desk, rules: Rules) -> Guard:
    """The application behind its guard."""
    return Guard(application(desk), rules)

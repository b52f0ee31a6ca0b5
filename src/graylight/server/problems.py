"""Errors as problem details (RFC 9457): one line a person can act on, never a trace."""

from __future__ import annotations

import json
import re
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, Field
from starlette.exceptions import HTTPException
from starlette.responses import Response

from graylight.country.feature import plain_text
from graylight.errors import BadInput, Cancelled, GraylightError, SourceUnavailable
from graylight.settings.words import in_words

__all__ = [
    "MEDIA",
    "RESPONSES",
    "NoPlan",
    "NotThere",
    "OtherCountry",
    "Problem",
    "answer_problems",
    "problem",
    "unplaced",
]

MEDIA = "application/problem+json"


class NotThere(BadInput):
    """What was asked for is not there."""


class NoPlan(BadInput):
    """It hangs on a plan, and there is none yet."""


class OtherCountry(BadInput):
    """It was meant for a country that is no longer the open one."""


class Problem(BaseModel):
    """What went wrong, as RFC 9457 has it."""

    type: str = "about:blank"
    title: str
    status: int = Field(ge=400, le=599)
    detail: str


_STATUS: tuple[tuple[type[GraylightError], int], ...] = (
    (NotThere, 404),
    (NoPlan, 409),
    (OtherCountry, 409),
    (BadInput, 422),
    (SourceUnavailable, 503),
    (Cancelled, 409),
    (GraylightError, 500),
)

_DOCUMENTED = (400, 401, 403, 404, 405, 409, 413, 415, 422, 503)
RESPONSES: dict[int | str, dict[str, Any]] = {
    status: {
        "description": HTTPStatus(status).phrase,
        "content": {MEDIA: {"schema": {"$ref": "#/components/schemas/Problem"}}},
    }
    for status in _DOCUMENTED
}
"""How errors are documented: any path may answer so."""


def problem(status: int, detail: str, headers: dict[str, str] | None = None) -> Response:
    """A problem as an answer, settings by their words; control characters in what was sent don't come back."""
    body = Problem(
        title=HTTPStatus(status).phrase, status=status, detail=plain_text(in_words(unplaced(detail)))
    )
    return Response(json.dumps(body.model_dump()), status, media_type=MEDIA, headers=headers)


_QUOTED_PATH = re.compile(r"""(['"])(?:/|[A-Za-z]:[\\/]|\\\\)[^'"\n]*[\\/]([^'"\\/\n]+)\1""")


def unplaced(words: str) -> str:
    """Words without where on this machine a folder lies: with --lan others read them.

    >>> unplaced("can't write into '/srv/maps/range' (No space left)")
    "can't write into 'range' (No space left)"
    """
    return _QUOTED_PATH.sub(r"\1\2\1", words)


def answer_problems(app: FastAPI) -> None:
    """Let an application answer every error as a problem."""
    app.add_exception_handler(GraylightError, _ours)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(RequestValidationError, _unread)
    app.add_exception_handler(Exception, _unforeseen)


async def _ours(_: Request, error: Exception) -> Response:
    status = next(code for kind, code in _STATUS if isinstance(error, kind))
    return problem(status, str(error))


async def _http(_: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    return problem(error.status_code, str(error.detail), dict(error.headers or {}))


async def _unread(_: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    first = error.errors()[0]
    where = ".".join(str(part) for part in first["loc"][1:]) or str(first["loc"][0])
    return problem(422, f"{where}: {first['msg']}; see docs/http.md for what is accepted")


async def _unforeseen(_: Request, error: Exception) -> Response:
    kind = type(error).__name__
    return problem(
        500, f"the program met something it does not foresee ({kind}); nothing that was saved is lost"
    )

"""The server in the test's own process, over a copy of a small country."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from starlette.testclient import TestClient

from graylight.server.app import application
from graylight.server.desk import Desk
from graylight.server.outside import Outside
from graylight.server.security import Guard, Rules

HOST = "127.0.0.1:8417"
ADDRESS = f"http://{HOST}"
RULES = Rules(frozenset({HOST}))


@dataclass
class Page:
    """A guarded client, one without the guard, and what they talk to."""

    client: TestClient
    bare: TestClient
    desk: Desk
    home: Path


@contextmanager
def page_over(
    country: Path | None, home: Path, *, rules: Rules = RULES, outside: Outside | None = None
) -> Iterator[Page]:
    """Serve a copy of a country; unless said otherwise nobody outside is asked for anything."""
    if country is not None:
        shutil.copytree(country, home / "country")
    outside = outside or Outside(store=home.parent / f"{home.name}-store", offline=True)
    desk = Desk(home, None if country is None else home / "country", outside=outside)
    app = application(desk)
    with TestClient(
        Guard(app, rules), base_url=ADDRESS, raise_server_exceptions=False, follow_redirects=False
    ) as client:
        yield Page(client, TestClient(app, base_url=ADDRESS, raise_server_exceptions=False), desk, home)

"""The page on the paths tells every path, event and layer there is, and no other."""

from __future__ import annotations

import re
from pathlib import Path
from typing import get_args

import docs

from graylight.server.app import application
from graylight.server.desk import Desk
from graylight.server.events import Kind
from graylight.server.layers import TILES

PAGE = (Path(docs.__file__).parent / "http.md").read_text(encoding="utf-8")


def test_every_path_is_told():
    there = {
        f"{method.upper()} {path}"
        for path, ways in application(Desk(Path("."))).openapi()["paths"].items()
        for method in ways
    }
    assert set(re.findall(r"^\| `((?:GET|POST|PATCH|DELETE) [^`]+)` \|", PAGE, re.MULTILINE)) == there


def test_every_event_is_told():
    section = PAGE.split("| event | data |")[1].split("\n\n")[0]
    assert set(re.findall(r"^\| `(\w+)` \|", section, re.MULTILINE)) == set(get_args(Kind))


def test_every_layer_is_told():
    section = PAGE.split("| layer |")[1].split("\n\n")[0]
    names = {name for line in section.splitlines()[2:] for name in re.findall(r"`(\w+)`", line.split("|")[1])}
    assert names == set(TILES)

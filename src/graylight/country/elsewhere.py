"""Vector files that lead elsewhere: whose reader would open other files, or ask an address, and so are not opened.

OGR goes by what a file holds. In GeoJSON a frame ("crs", GeoJSON 2008, 3) may be a link, which it fetches, in the
file and in every geometry, however the key's letters are written; in SQLite a virtual table may stand for another file.
"""

from __future__ import annotations

import json
import re
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

__all__ = ["frame_elsewhere", "leads_elsewhere", "tables_elsewhere"]

_NAMED = re.compile(r"(urn:ogc:def:crs:[A-Za-z0-9:.\-]{1,60}|EPSG:\d{4,6})")
_BY_URL = re.compile(r"\[?https?://www\.opengis\.net/def/crs/[A-Za-z0-9/.\-]{1,60}\]?")
_PLAIN = re.compile(
    r"create\s+(table|index|unique\s+index|trigger)\b|create\s+virtual\s+table\s+(\"[^\"]*\"|\w+)\s+using\s+rtree\s*\("
)
MOST_TEXT = 512 * 2**20


def leads_elsewhere(path: Path) -> bool:
    """Whether a file that is JSON or SQLite by its first bytes leads elsewhere; one that can't be read does not."""
    try:
        with path.open("rb") as file:
            head = file.read(64)
        if head.startswith(b"SQLite format 3\0"):
            return tables_elsewhere(path)
        if head.lstrip(b"\xef\xbb\xbf \t\r\n")[:1] not in {b"{", b"["} or path.stat().st_size > MOST_TEXT:
            return False
        return frame_elsewhere(json.loads(path.read_text(encoding="utf-8-sig")))
    except (OSError, ValueError, RecursionError, sqlite3.Error):
        return False


def frame_elsewhere(given: Any) -> bool:
    """Whether JSON holds a frame, at any depth, that is not named but linked to.

    >>> frame_elsewhere({"crs": {"type": "name", "properties": {"name": "EPSG:26912"}}})
    False
    >>> frame_elsewhere({"features": [{"CRS": {"type": "link", "properties": {"href": "http://192.0.2.1/"}}}]})
    True
    """
    waiting = [given]
    while waiting:
        one = waiting.pop()
        if isinstance(one, list):
            waiting += [part for part in one if isinstance(part, (dict, list))]
        elif isinstance(one, dict):
            for key, value in one.items():
                if _linked(key.lower(), value):
                    return True
                if isinstance(value, (dict, list)):
                    waiting.append(value)
    return False


def _linked(key: str, value: Any) -> bool:
    if key == "crs" and isinstance(value, dict):
        about = value.get("properties")
        if set(value) != {"type", "properties"} or not isinstance(about, dict) or set(about) != {"name"}:
            return True
        return value["type"] != "name" or _NAMED.fullmatch(str(about["name"])) is None
    if key == "coordrefsys" and value is not None:  # JSON-FG (OGC 21-045)
        return not (isinstance(value, str) and (_NAMED.fullmatch(value) or _BY_URL.fullmatch(value)))
    return False


def tables_elsewhere(path: Path) -> bool:
    """Whether a SQLite file holds more than plain tables: virtual ones beside those of its spatial index, or views.

    A view is a query that the reader runs, and may never end.

    Raises
    ------
    sqlite3.Error
        It can't be read.
    """
    with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro&immutable=1", uri=True)) as db:
        made = [str(sql or "").lower() for (sql,) in db.execute("SELECT sql FROM sqlite_master")]
    return any(sql and _PLAIN.match(sql) is None for sql in made)

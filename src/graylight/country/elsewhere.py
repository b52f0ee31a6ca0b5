"""GeoJSON that leads elsewhere: whose reader would ask an address, and so is not opened.

OGR goes by what a file holds. In GeoJSON a frame ("crs", GeoJSON 2008, 3) may be a link, which it fetches, in the
file and in every geometry, however the key's letters are written.
"""

from __future__ import annotations

import re
from typing import Any

__all__ = ["frame_elsewhere"]

_NAMED = re.compile(r"(urn:ogc:def:crs:[A-Za-z0-9:.\-]{1,60}|EPSG:\d{4,6})")
_BY_URL = re.compile(r"\[?https?://www\.opengis\.net/def/crs/[A-Za-z0-9/.\-]{1,60}\]?")


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

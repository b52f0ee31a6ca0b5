"""GPX 1.0 and 1.1: waypoints, tracks, routes."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import Element

import shapely

from graylight.intake.found import OWN, WRITTEN_BY_PLAN, Found, Unusable
from graylight.intake.xml_text import children, name_of, root_of, text_of

__all__ = ["read_gpx"]

TOLD = ("name", "type", "sym", "desc", "cmt", "time")


def read_gpx(path: Path) -> tuple[list[Found], list[str]]:
    """Everything in a GPX file, and what in it can't be used.

    Raises
    ------
    Unusable
        The file as a whole.
    """
    root = root_of(path)
    if name_of(root) != "gpx":
        raise Unusable(f"its root is {name_of(root)[:40]!r}, not gpx")
    if (root.get("creator") or "").startswith(OWN):
        raise Unusable(WRITTEN_BY_PLAN)
    found: list[Found] = []
    said: list[str] = []
    for element in children(root, "wpt"):
        spot = _spot(element)
        if spot is None:
            said.append(f"waypoint {_called(element)} has no place on the earth")
        else:
            found.append(Found(shapely.Point(spot), "waypoints", _told(element)))
    for element in children(root, "rte"):
        _take(element, [list(_spots(element, "rtept"))], "routes", found, said)
    for element in children(root, "trk"):
        parts = [list(_spots(part, "trkpt")) for part in children(element, "trkseg")]
        _take(element, parts, "tracks", found, said)
    return found, said


def _take(
    element: Element, parts: list[list[tuple[float, float]]], layer: str, found: list[Found], said: list[str]
) -> None:
    lines = [shapely.LineString(part) for part in parts if len(part) > 1]
    if not lines:
        said.append(f"{layer[:-1]} {_called(element)} has fewer than two points with a place")
        return
    shape = lines[0] if len(lines) == 1 else shapely.MultiLineString(lines)
    found.append(Found(shape, layer, _told(element)))


def _spots(element: Element, name: str) -> Iterator[tuple[float, float]]:
    for child in children(element, name):
        spot = _spot(child)
        if spot is not None:
            yield spot


def _spot(element: Element) -> tuple[float, float] | None:
    """Longitude and latitude, where they are on the earth."""
    try:
        lon, lat = float(element.get("lon", "")), float(element.get("lat", ""))
    except ValueError:
        return None
    fine = math.isfinite(lon) and math.isfinite(lat) and abs(lon) <= 180.0 and abs(lat) <= 90.0
    return (lon, lat) if fine else None


def _told(element: Element) -> dict[str, Any]:
    return {name: text for name in TOLD if (text := text_of(element, name))}


def _called(element: Element) -> str:
    name = text_of(element, "name")
    return repr(name[:40]) if name else "without a name"

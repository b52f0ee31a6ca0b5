"""KML 2.2 (OGC 07-147r2) with the tracks of its gx extension: placemarks and their shapes."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import Element

import shapely
from shapely.geometry.base import BaseGeometry

from graylight.intake.found import MADE_BY, WRITTEN_BY_PLAN, Found, Unusable
from graylight.intake.xml_text import children, name_of, root_of, text_of

__all__ = ["read_kml"]

FOLDERS = ("Document", "Folder", "kml")
SHAPES = ("Point", "LineString", "LinearRing", "Polygon", "MultiGeometry", "Track", "MultiTrack", "Model")
MOST_DEPTH = 50


def read_kml(path: Path) -> tuple[list[Found], list[str]]:
    """Every placemark of a KML file with its folder as layer, and what can't be used.

    Raises
    ------
    Unusable
        The file as a whole.
    """
    root = root_of(path)
    if name_of(root) not in {"kml", "Document", "Folder", "Placemark"}:
        raise Unusable(f"its root is {name_of(root)[:40]!r}, not kml")
    if any(MADE_BY in (text_of(part, "description") or "") for part in (root, *children(root, "Document"))):
        raise Unusable(WRITTEN_BY_PLAN)
    found: list[Found] = []
    said: list[str] = []
    for placemark, layer in _placemarks(root):
        _take(placemark, layer, found, said)
    links = sum(name_of(e) == "NetworkLink" for e in root.iter())
    if links:
        said.append(f"{links} link{'s' if links != 1 else ''} to other addresses (nothing is fetched)")
    overlays = sum(name_of(e) in {"GroundOverlay", "PhotoOverlay", "ScreenOverlay"} for e in root.iter())
    if overlays:
        said.append(f"{overlays} picture{'s' if overlays != 1 else ''} laid over the ground")
    return found, said


def _placemarks(root: Element) -> Iterator[tuple[Element, str]]:
    """Placemarks in the file's order, each with the name of the folder it lies in."""
    waiting: list[tuple[Element, str, int]] = [(root, "", 0)]
    while waiting:
        element, layer, depth = waiting.pop()
        if name_of(element) == "Placemark":
            yield element, layer
            continue
        if name_of(element) == "Folder":
            layer = text_of(element, "name") or layer
        if depth < MOST_DEPTH:
            inner = [c for c in element if name_of(c) in {*FOLDERS, "Placemark"}]
            waiting += [(child, layer, depth + 1) for child in reversed(inner)]


def _take(placemark: Element, layer: str, found: list[Found], said: list[str]) -> None:
    told = _told(placemark)
    called = repr(told["name"][:40]) if "name" in told else "without a name"
    shapes = [s for child in placemark if name_of(child) in SHAPES for s in _shapes(child, 0)]
    if not shapes:
        said.append(f"placemark {called} has no shape with a place on the earth")
    for kind in (shapely.Point, shapely.LineString, shapely.Polygon):
        alike = [shape for shape in shapes if isinstance(shape, kind)]
        if kind is shapely.Point:
            found += [Found(shape, layer, told) for shape in alike]
        elif alike:
            found.append(Found(alike[0] if len(alike) == 1 else _together(alike), layer, told))


def _together(alike: list[Any]) -> BaseGeometry:
    if isinstance(alike[0], shapely.LineString):
        return shapely.MultiLineString(alike)
    return shapely.MultiPolygon(alike)


def _shapes(element: Element, depth: int) -> Iterator[BaseGeometry]:
    """The points, lines and areas of a geometry."""
    name = name_of(element)
    if name in {"MultiGeometry", "MultiTrack"}:
        if depth < MOST_DEPTH:
            for child in element:
                yield from _shapes(child, depth + 1)
    elif name == "Point":
        yield from (shapely.Point(spot) for spot in _coordinates(element)[:1])
    elif name in {"LineString", "Track"}:
        line = _track(element) if name == "Track" else _coordinates(element)
        if len(line) > 1:
            yield shapely.LineString(line)
    elif name in {"Polygon", "LinearRing"}:
        yield from _area(element)


def _area(element: Element) -> Iterator[BaseGeometry]:
    if name_of(element) == "LinearRing":
        outer, holes = _coordinates(element), []
    else:
        outer = _ring(element, "outerBoundaryIs")[0] if _ring(element, "outerBoundaryIs") else []
        holes = [ring for ring in _ring(element, "innerBoundaryIs") if len(ring) > 3]
    if len(outer) > 3:
        area = shapely.Polygon(outer, holes)  # mended where it is put into its place
        if area.convex_hull.area > 0:
            yield area


def _ring(element: Element, name: str) -> list[list[tuple[float, float]]]:
    return [_coordinates(ring) for side in children(element, name) for ring in children(side, "LinearRing")]


def _coordinates(element: Element) -> list[tuple[float, float]]:
    """Longitudes and latitudes of "lon,lat[,height]" with blanks between; what is not on the earth is left out."""
    found = []
    for word in (text_of(element, "coordinates") or "").split():
        spot = _spot(word.split(","))
        if spot is not None:
            found.append(spot)
    return found


def _track(element: Element) -> list[tuple[float, float]]:
    """A gx:Track's "lon lat height" lines."""
    spots = (_spot("".join(child.itertext()).split()) for child in children(element, "coord"))
    return [spot for spot in spots if spot is not None]


def _spot(words: list[str]) -> tuple[float, float] | None:
    try:
        lon, lat = float(words[0]), float(words[1])
    except (ValueError, IndexError):
        return None
    fine = math.isfinite(lon) and math.isfinite(lat) and abs(lon) <= 180.0 and abs(lat) <= 90.0
    return (lon, lat) if fine else None


def _told(placemark: Element) -> dict[str, Any]:
    """Name, description and the extended data of a placemark."""
    told: dict[str, Any] = {}
    for data in placemark.iter():
        key = data.get("name")
        if name_of(data) in {"Data", "SimpleData"} and key:
            value = text_of(data, "value") if name_of(data) == "Data" else (data.text or "").strip()
            if value:
                told[key] = value
    name, words = text_of(placemark, "name"), text_of(placemark, "description")
    told |= {"name": name} if name else {}
    if words:
        told["desc"] = re.sub(r"<[^<>]{0,2000}>", " ", words)
    when = next((text_of(c, "when") for c in children(placemark, "TimeStamp")), None)
    return told | ({"time": when} if when else {})

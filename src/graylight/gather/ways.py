"""Trails, roads, trailheads, water and named places from OpenStreetMap, by Overpass."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator, Mapping
from typing import Any, TypeAlias

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from graylight.country.outline import Crossings, Tangled, mended
from graylight.gather.errand import Errand, Had
from graylight.gather.gate import NotThere, Trouble, as_json
from graylight.gather.geojson import feature, write_features
from graylight.grid import Bounds

__all__ = ["overpass", "question", "sorted_out"]

Element: TypeAlias = Mapping[str, Any]

ON_FOOT = frozenset({"path", "footway", "bridleway", "steps"})
NO_ROADS = ON_FOOT | {
    "trailhead",
    "cycleway",
    "proposed",
    "construction",
    "corridor",
    "elevator",
    "platform",
    "services",
}
SHUT = frozenset({"private", "no"})
MOST_SPLITS = 3
ASKED = (
    'way["highway"]', 'nwr["highway"="trailhead"]', 'nwr["amenity"="parking"]',
    'nwr["natural"~"^(peak|saddle|spring|water)$"]', 'way["waterway"~"^(river|stream)$"]', 'node["barrier"="gate"]',
)  # fmt: skip


def question(box: Bounds, *, timeout_s: int, most_bytes: int) -> str:
    """What is asked, in Overpass QL.

    >>> print(question(Bounds(-111.6, 39.2, -111.4, 39.4), timeout_s=90, most_bytes=1000).splitlines()[0])
    [out:json][timeout:90][maxsize:1000][bbox:39.200000,-111.600000,39.400000,-111.400000];
    """
    west, south, east, north = box
    where = f"{south:.6f},{west:.6f},{north:.6f},{east:.6f}"
    head = f"[out:json][timeout:{timeout_s}][maxsize:{most_bytes}][bbox:{where}];"
    return "\n".join([head, "(", *(f"  {line};" for line in ASKED), ");", "out body geom qt;"])


def overpass(errand: Errand) -> list[Had]:
    """One file a table; the tables of which nothing is here are left out."""
    fetched: list[str] = []
    dates: list[str] = []
    elements = _elements(errand, errand.wanted.reach(), (fetched, dates), splits=0)
    crossings = Crossings()
    tables = sorted_out(elements, crossings)
    if not tables:
        raise NotThere(f"{errand.service.title} has nothing here")
    found = []
    for table, features in sorted(tables.items()):
        path = errand.work / f"{table}.geojson"
        write_features(path, features)
        date = min(dates, default=None)
        doubts = (lacking(crossings.refused),) if table == "lakes" and crossings.refused else ()
        found.append(Had(path, date, min(fetched, default=""), (errand.service.title,), doubts=doubts))
    return found


def lacking(count: int) -> str:
    """What is said of waters that could not be used."""
    them = (
        "an outline of standing water crosses"
        if count == 1
        else f"{count:,} outlines of standing water cross"
    )
    return f"{them} far too often to be one and could not be used: water may be missing; look at the imagery"


def _elements(
    errand: Errand, box: Bounds, told: tuple[list[str], list[str]], *, splits: int
) -> list[Element]:
    """Elements of a box; one that is too much for the service is asked for in quarters."""
    try:
        return _asked(errand, box, told)
    except Trouble as error:
        if splits >= MOST_SPLITS or not re.search(r"runtime error|answered 504", str(error)):
            raise
    west, south, east, north = box
    lon, lat = (west + east) / 2, (south + north) / 2
    quarters = (
        Bounds(west, south, lon, lat), Bounds(lon, south, east, lat),
        Bounds(west, lat, lon, north), Bounds(lon, lat, east, north),
    )  # fmt: skip
    unique: dict[tuple[str, int], Element] = {}
    for quarter in quarters:
        for element in _elements(errand, quarter, told, splits=splits + 1):
            unique.setdefault((str(element.get("type")), int(element.get("id", 0))), element)
    return list(unique.values())


def _asked(errand: Errand, box: Bounds, told: tuple[list[str], list[str]]) -> list[Element]:
    service = errand.service
    words = question(
        box, timeout_s=int(service.more["timeout_s"]), most_bytes=int(service.more["most_bytes"])
    )

    def check(body: bytes) -> None:
        given = as_json(body, service.title)
        if not isinstance(given, dict) or not isinstance(given.get("elements"), list):
            raise Trouble(f"{service.title} sent an answer that can't be read")
        # an answer that broke off comes with status 200 and only this remark
        remark = str(given.get("remark") or "")
        if "error" in remark.lower():
            raise Trouble(f"{service.title} answered 200 with a remark, {remark[:160]}")

    answer = errand.gate.ask(service, service.url, form={"data": words}, check=check)
    given = as_json(answer.body, service.title)
    told[0].append(answer.fetched)
    base = given.get("osm3s")
    if isinstance(base, dict) and base.get("timestamp_osm_base"):
        told[1].append(str(base["timestamp_osm_base"])[:10])
    return [e for e in given["elements"] if isinstance(e, dict)]


def sorted_out(
    elements: list[Element], crossings: Crossings | None = None
) -> dict[str, list[dict[str, Any]]]:
    """Elements as GeoJSON features by the country's tables, in the order of their numbers.

    Parameters
    ----------
    elements
        As Overpass tells them.
    crossings
        Of outlines that may be mended, all together; what is too much is left out and counted there.
    """
    crossings = crossings or Crossings()
    tables: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for element in sorted(elements, key=lambda e: (str(e.get("type")), int(e.get("id", 0)))):
        tags = element.get("tags")
        if isinstance(tags, dict):
            for table, geometry, told in _told(element, {str(k): str(v) for k, v in tags.items()}, crossings):
                tables[table].append(feature(geometry, told))
    return dict(tables)


def _told(
    element: Element, tags: Mapping[str, str], crossings: Crossings
) -> Iterator[tuple[str, BaseGeometry, dict[str, Any]]]:
    """Which tables an element belongs to, with shape and columns."""
    name = tags.get("name")
    highway, natural, waterway = tags.get("highway", ""), tags.get("natural", ""), tags.get("waterway", "")
    if highway == "trailhead" or tags.get("amenity") == "parking":
        kind = "trailhead" if highway == "trailhead" else "road end"
        yield from _as_point(
            element, "trailheads", {"name": name or (None if highway else "parking"), "kind": kind}
        )
    elif highway in ON_FOOT:
        if tags.get("access") not in SHUT and tags.get("foot") not in SHUT:
            yield from _as_line(element, "trails", {"name": name or tags.get("ref")})
    elif highway and highway not in NO_ROADS:
        shut = ", private" if tags.get("access") in SHUT else ""
        yield from _as_line(element, "roads", {"name": name or tags.get("ref"), "kind": highway + shut})
    if natural == "water":
        yield from _as_area(element, "lakes", {"name": name}, crossings)
    elif natural in {"peak", "saddle"}:
        yield from _as_point(element, "names", {"name": name, "kind": natural}, named=True)
    elif natural == "spring" or tags.get("barrier") == "gate":
        word = "spring" if natural == "spring" else "gate"
        yield from _as_point(element, "names", {"name": name or word, "kind": "other"})
    if waterway in {"river", "stream"}:
        dry = tags.get("intermittent") == "yes" or tags.get("seasonal", "no") != "no"
        yield from _as_line(element, "streams", {"name": name, "kind": "intermittent" if dry else None})


Told: TypeAlias = Iterator[tuple[str, BaseGeometry, dict[str, Any]]]


def _as_point(element: Element, table: str, told: dict[str, Any], *, named: bool = False) -> Told:
    if named and not told.get("name"):
        return
    if element.get("type") == "node":
        spot = _points([element])
        if len(spot) == 1:
            yield table, shapely.Point(spot[0]), told
        return
    outline = [p for line in _lines(element) for p in line]
    if outline:
        yield table, shapely.MultiPoint(outline).centroid, told


def _as_line(element: Element, table: str, told: dict[str, Any]) -> Told:
    lines = [line for line in _lines(element) if len(line) > 1]
    if element.get("type") == "way" and lines:
        yield table, shapely.LineString(lines[0]), told


def _as_area(element: Element, table: str, told: dict[str, Any], crossings: Crossings) -> Told:
    """A closed way, or a relation of outer and inner ways."""
    try:
        area = _area(element, crossings)
    except Tangled:
        return
    if area.area > 0:
        yield table, area, told


def _area(element: Element, crossings: Crossings) -> BaseGeometry:
    if element.get("type") == "way":
        rings = [line for line in _lines(element) if len(line) > 3 and line[0] == line[-1]]
        return mended(shapely.Polygon(rings[0]), crossings) if rings else shapely.Polygon()
    every = shapely.MultiLineString([line for line in _lines(element) if len(line) > 1])
    crossings.spend(
        every
    )  # what is closed by the outer lines and what by the inner ones meet in the difference
    outer = _polygons(_lines(element, role="outer"))
    return shapely.difference(outer, _polygons(_lines(element, role="inner")))


def _polygons(lines: list[list[tuple[float, float]]]) -> BaseGeometry:
    """The areas that lines close together."""
    whole = [shapely.LineString(line) for line in lines if len(line) > 1]
    if not whole:
        return shapely.Polygon()
    areas = shapely.get_parts(shapely.polygonize([shapely.unary_union(whole)]))
    # no two of them overlap, and their edges are the same lines: a union that need not look for crossings again
    return shapely.coverage_union_all(areas)


def _lines(element: Element, role: str | None = None) -> list[list[tuple[float, float]]]:
    """A way's line, or those of a relation's members (of one role)."""
    if isinstance(element.get("geometry"), list):
        return [_points(element["geometry"])]
    members = element.get("members")
    if not isinstance(members, list):
        return []
    return [
        _points(member["geometry"])
        for member in members
        if isinstance(member, dict)
        and isinstance(member.get("geometry"), list)
        and role in {None, member.get("role") or "outer"}
    ]


def _points(given: list[Any]) -> list[tuple[float, float]]:
    """Longitudes and latitudes that are numbers on the earth."""
    found = []
    for point in given:
        try:
            lon, lat = float(point["lon"]), float(point["lat"])
        except (TypeError, KeyError, ValueError):
            continue
        if np.isfinite([lon, lat]).all() and abs(lon) <= 180 and abs(lat) <= 90:
            found.append((lon, lat))
    return found

"""GPX 1.1: waypoints, a thinned route and the full track of each approach."""

from __future__ import annotations

from collections.abc import Sequence

from graylight.exchange.marks import Mark, heading, marks, reminder, short_names, way_words
from graylight.exchange.outline import point_words, thinned
from graylight.exchange.xml import Element, add, document
from graylight.plan.model import Approach, Plan

__all__ = ["write_gpx"]

ROUTE_POINTS = 50
"""Most points of a route: many receivers take no more (common practice, no source)."""
ROUTE_TOLERANCE_M = 15.0
LEAST_TOP_M = 100.0
"""Nameless tops with less prominence are left out."""

_ROOT = {
    "xmlns": "http://www.topografix.com/GPX/1/1",
    "xmlns:xsi": "http://www.w3.org/2001/XMLSchema-instance",
    "xsi:schemaLocation": "http://www.topografix.com/GPX/1/1 http://www.topografix.com/GPX/1/1/gpx.xsd",
    "version": "1.1",
}


def write_gpx(plan: Plan) -> str:
    """The plan as GPX 1.1.

    Parameters
    ----------
    plan
        A plan; points of shut pockets (private, closed) nameless saddles and small tops are left out.

    Returns
    -------
    str
        XML, to be written as UTF-8. WGS 84, heights in metres above the elevation's own datum. Elements stand
        in the order of the schema (metadata, wpt, rte, trk). Short names in ASCII, full names in `desc`;
        `type` in plain words, no `sym`. No `time` anywhere: the same plan gives the same bytes.

    Notes
    -----
    The route is the approach thinned to at most 50 points, to be followed on small receivers; the track is
    the whole approach. The route may stray some metres from it: where cliffs are near, follow the track.
    """
    root = Element("gpx", {**_ROOT, "creator": plan.program})
    found = [mark for mark in marks(plan) if mark.shut is None and _carried(mark)]
    ways = [way for way in plan.approaches if len(way.line) >= 2]
    _metadata(root, plan, found, ways)
    for mark, name in zip(found, short_names(found), strict=True):
        _waypoint(root, mark, name)
    for way in ways:
        _route(root, way)
    for way in ways:
        _track(root, way)
    return document(root)


def _carried(mark: Mark) -> bool:
    """Whether a receiver has use for it: nameless saddles and small tops stay in GeoJSON and KML."""
    if mark.what not in {"peak", "saddle"} or not mark.label.endswith(mark.id):
        return True
    return float(mark.facts.get("prominence_m", 0.0)) >= LEAST_TOP_M


def _metadata(root: Element, plan: Plan, found: list[Mark], ways: list[Approach]) -> None:
    metadata = add(root, "metadata")
    add(metadata, "name", heading(plan))
    add(metadata, "desc", reminder(plan))
    points = [(mark.place.lon, mark.place.lat) for mark in found]
    points += [(point[0], point[1]) for way in ways for point in way.line]
    if points:
        lons, lats = zip(*points, strict=True)
        box = {"minlat": min(lats), "minlon": min(lons), "maxlat": max(lats), "maxlon": max(lons)}
        add(metadata, "bounds", **{side: f"{value + 0.0:.6f}" for side, value in box.items()})


def _waypoint(root: Element, mark: Mark, name: str) -> None:
    height_m = mark.place.height_m
    point = (
        (mark.place.lon, mark.place.lat) if height_m is None else (mark.place.lon, mark.place.lat, height_m)
    )
    waypoint = _point(root, "wpt", point)
    add(waypoint, "name", name)
    add(waypoint, "desc", f"{mark.label}: {mark.words}" if mark.words else mark.label)
    add(waypoint, "type", mark.what)


def _route(root: Element, way: Approach) -> None:
    route = _way(root, "rte", way)
    for point in thinned(way.line, ROUTE_POINTS, ROUTE_TOLERANCE_M):
        _point(route, "rtept", point)


def _track(root: Element, way: Approach) -> None:
    segment = add(_way(root, "trk", way), "trkseg")
    for point in way.line:
        _point(segment, "trkpt", point)


def _way(root: Element, tag: str, way: Approach) -> Element:
    element = add(root, tag)
    add(element, "name", f"To {way.lookout}"[:14])
    add(element, "desc", way_words(way))
    add(element, "type", "on foot")
    return element


def _point(parent: Element, tag: str, point: Sequence[float]) -> Element:
    lon, lat, height = point_words(point)
    element = add(parent, tag, lat=lat, lon=lon)
    if height is not None:
        add(element, "ele", height)
    return element

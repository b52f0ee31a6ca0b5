"""KML 2.2: pockets, lookouts, approaches and places, in folders, for a globe or a map on a screen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from graylight.exchange.marks import Mark, heading, marks, reminder, way_words
from graylight.exchange.outline import Ring, point_words, polygon
from graylight.exchange.xml import Element, add, document
from graylight.grid import Bounds
from graylight.plan.model import Approach, Plan, Pocket
from graylight.units import share

__all__ = ["Overlay", "write_kml"]

_LINES = {"pocket": ("ff3c7fe0", "2"), "shut": ("ff6e6259", "2"), "approach": ("ff70412a", "3")}
"""Colours are written alpha, blue, green, red: warm for animals, grey where shut, ink for the way."""
_FILLS = {"pocket": "4d3c7fe0", "shut": "336e6259"}
_POINTS = {"lookout": "ff70412a", "spot": "ff3c7fe0", "place": "ff4a4038"}


@dataclass(frozen=True, slots=True)
class Overlay:
    """A picture laid over the ground: its name, where it lies in the archive, its box in WGS 84 degrees."""

    name: str
    href: str
    box: Bounds


def write_kml(plan: Plan, *, overlays: Sequence[Overlay] = (), icons: Mapping[str, str] | None = None) -> str:
    """The plan as KML 2.2.

    Parameters
    ----------
    plan
        A plan; points of shut pockets (private, closed) are left out, their outline stays, with the reason.
    overlays
        Pictures that lie in the same archive, drawn below all else.
    icons
        Where in the archive the icon of a kind of point lies ('lookout', 'feed', 'bed', ...); none: labels only.

    Returns
    -------
    str
        XML, to be written as UTF-8: longitude, latitude, height; everything clamped to the ground, because
        heights are above the elevation's own datum and the viewer has its own ground. Nothing is loaded from elsewhere.
    """
    root = Element("kml", {"xmlns": "http://www.opengis.net/kml/2.2"})
    top = add(root, "Document")
    add(top, "name", heading(plan))
    add(top, "open", "1")
    add(top, "description", reminder(plan))
    icons = icons or {}
    _styles(top, icons)
    for overlay in overlays:
        _overlay(top, overlay)
    found = [mark for mark in marks(plan) if mark.shut is None]
    _pockets(top, plan.pockets)
    _points(top, "Lookouts", [mark for mark in found if mark.what == "lookout"], icons)
    _approaches(top, plan.approaches)
    _points(top, "Places", [mark for mark in found if mark.what != "lookout"], icons)
    return document(root)


def _styles(top: Element, icons: Mapping[str, str]) -> None:
    bare = [(name, colour, None) for name, colour in _POINTS.items()]
    for name, colour, href in [
        *bare,
        *((f"{what} icon", _POINTS[_kind(what)], icons[what]) for what in icons),
    ]:
        style = add(top, "Style", id=name.replace(" ", "-"))
        icon = add(style, "IconStyle")
        add(icon, "scale", "0" if href is None else "0.8")
        if href is not None:
            add(add(icon, "Icon"), "href", href)
        label = add(style, "LabelStyle")
        add(label, "color", colour)
        add(label, "scale", "0.9")
    for name, (colour, width) in _LINES.items():
        style = add(top, "Style", id=name)
        line = add(style, "LineStyle")
        add(line, "color", colour)
        add(line, "width", width)
        if name in _FILLS:
            add(add(style, "PolyStyle"), "color", _FILLS[name])


def _placemark(parent: Element, name: str, words: str, style: str, facts: dict[str, str]) -> Element:
    """Name, description, style and data; the geometry is added after, as the schema has it."""
    placemark = add(parent, "Placemark")
    add(placemark, "name", name)
    if words:
        # Viewers take a description for HTML: a bare < would swallow words.
        add(placemark, "description", words.replace("<", "&lt;"))
    add(placemark, "styleUrl", f"#{style}")
    data = add(placemark, "ExtendedData")
    for key, value in facts.items():
        add(add(data, "Data", name=key), "value", value)
    return placemark


def _kind(what: str) -> str:
    """Which of the styles of points a kind of point takes where it has no icon."""
    return (
        "lookout"
        if what == "lookout"
        else "spot"
        if what in {"feed", "bed", "crossing", "water"}
        else "place"
    )


def _overlay(top: Element, overlay: Overlay) -> None:
    ground = add(top, "GroundOverlay")
    add(ground, "name", overlay.name)
    add(ground, "drawOrder", "0")
    add(add(ground, "Icon"), "href", overlay.href)
    box = add(ground, "LatLonBox")
    for side in ("north", "south", "east", "west"):
        add(box, side, f"{getattr(overlay.box, side):.8f}")


def _folder(top: Element, name: str) -> Element:
    folder = add(top, "Folder")
    add(folder, "name", name)
    return folder


def _pockets(top: Element, pockets: list[Pocket]) -> None:
    folder = _folder(top, "Pockets")
    for pocket in pockets:
        rings = polygon(pocket.outline)
        if not rings:
            continue
        style = "pocket" if pocket.shut is None else "shut"
        facts = {"what": "pocket", "id": pocket.id, "rank": str(pocket.rank), "confidence": pocket.confidence}
        name = pocket.name or f"Pocket {pocket.id}"
        placemark = _placemark(folder, name, _pocket_words(pocket), style, facts)
        shape = add(placemark, "Polygon")
        add(shape, "altitudeMode", "clampToGround")
        for number, ring in enumerate(rings):
            boundary = add(shape, "innerBoundaryIs" if number else "outerBoundaryIs")
            add(add(boundary, "LinearRing"), "coordinates", _coordinates(ring))


def _pocket_words(pocket: Pocket) -> str:
    if pocket.shut is not None:
        return f"Not ranked: {pocket.shut}."
    reasons = "; ".join(reason.words for reason in pocket.reasons)
    return f"Rank {pocket.rank}, chance {share(pocket.chance)}. {reasons}"


def _points(top: Element, name: str, found: list[Mark], icons: Mapping[str, str]) -> None:
    folder = _folder(top, name)
    for mark in found:
        plain = "lookout" if mark.what == "lookout" else "spot" if mark.pocket else "place"
        style = f"{mark.what}-icon" if mark.what in icons else plain
        placemark = _placemark(folder, mark.label, mark.words, style, {"what": mark.what, "id": mark.id})
        point = add(placemark, "Point")
        add(point, "altitudeMode", "clampToGround")
        place = mark.place
        add(point, "coordinates", _coordinates([(place.lon, place.lat, place.height_m or 0.0)]))


def _approaches(top: Element, ways: list[Approach]) -> None:
    folder = _folder(top, "Approaches")
    for way in ways:
        if len(way.line) < 2:
            continue
        facts = {"what": "approach", "lookout": way.lookout}
        placemark = _placemark(folder, f"Approach to {way.lookout}", way_words(way), "approach", facts)
        line = add(placemark, "LineString")
        add(line, "tessellate", "1")
        add(line, "altitudeMode", "clampToGround")
        add(line, "coordinates", _coordinates(way.line))


def _coordinates(points: Ring | Sequence[Sequence[float]]) -> str:
    words = [point_words(point) for point in points]
    return " ".join(f"{lon},{lat},{height or '0.0'}" for lon, lat, height in words)

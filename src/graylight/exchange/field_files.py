"""Files that come back from the field: tracks and waypoints (GPX 1.1), sightings as a table (CSV, RFC 4180)."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any
from xml.etree.ElementTree import Element

from graylight.errors import BadInput

__all__ = ["COLUMNS", "FieldPoint", "GpxFile", "TrackPoint", "read_gpx", "read_sightings_csv"]

COLUMNS = (
    "place", "lat", "lon", "time", "date", "animal", "count", "sex", "class", "doing", "toward", "note",
)  # fmt: skip
"""Columns of a table of sightings; those needed are place, or lat and lon."""
OF_THE_RECORD = (
    "table", "along_m", "across_m", "bearing_true_deg", "distance_m", "placed", "toward_true_deg", "id", "record",
)  # fmt: skip
"""Columns that a record exported as a table has beside."""
ALSO = {
    "latitude": "lat", "y": "lat", "longitude": "lon", "long": "lon", "lng": "lon", "x": "lon", "when": "time",
    "number": "count", "notes": "note", "comment": "note", "species": "animal",
}  # fmt: skip
"""Other headings for the same."""
MOST_ROWS = 10_000
MOST_POINTS = 200_000


@dataclass(frozen=True, slots=True)
class TrackPoint:
    """A point of a track, degrees; its time as it stands in the file."""

    lon: float
    lat: float
    time: str | None


@dataclass(frozen=True, slots=True)
class FieldPoint:
    """A point with whatever is said of it, by column; `where` names its line or number in the file."""

    where: str
    lon: float | None
    lat: float | None
    values: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class GpxFile:
    """The waypoints of a file; the points of all its tracks in order; its lines (tracks and routes) apart."""

    waypoints: tuple[FieldPoint, ...]
    track: tuple[TrackPoint, ...]
    lines: tuple[tuple[TrackPoint, ...], ...]


def read_gpx(data: bytes, *, name: str) -> GpxFile:
    """Read a GPX file; entities and document types are refused.

    Raises
    ------
    BadInput
        Not GPX, or a point without a position.
    """
    from defusedxml.common import DefusedXmlException
    from defusedxml.ElementTree import ParseError, fromstring

    try:
        root = fromstring(data, forbid_dtd=True)
    except (ParseError, DefusedXmlException, ValueError, LookupError):
        raise _not_gpx(name) from None
    if _tag(root) != "gpx":
        raise _not_gpx(name)
    tracks = [list(_points(part, name)) for part in root.iter() if _tag(part) == "trk"]
    routes = [list(_points(part, name)) for part in root if _tag(part) == "rte"]
    whole = [point for track in tracks for point in track]
    if len(whole) > MOST_POINTS:
        raise BadInput(
            f"{name} has {len(whole)} points; accepted are {MOST_POINTS}; cut the track to the outing, and take it again"
        )
    waypoints = tuple(_waypoint(p, i, name) for i, p in enumerate((e for e in root if _tag(e) == "wpt"), 1))
    lines = tuple(tuple(line) for line in [*tracks, *routes] if len(line) > 1)
    return GpxFile(waypoints, tuple(whole), lines)


def _not_gpx(name: str) -> BadInput:
    return BadInput(
        f"{name} is not a GPX file; accepted is GPX 1.0 or 1.1 (XML); export it anew from the receiver"
    )


def _tag(element: Element) -> str:
    return str(element.tag).rsplit("}", 1)[-1]


def _points(part: Element, name: str) -> Iterator[TrackPoint]:
    for point in part.iter():
        if _tag(point) in {"trkpt", "rtept"}:
            lon, lat = _lonlat(point, name)
            yield TrackPoint(lon, lat, _child(point, "time"))


def _waypoint(point: Element, number: int, name: str) -> FieldPoint:
    lon, lat = _lonlat(point, name)
    said = [words for tag in ("name", "desc", "cmt") if (words := _child(point, tag))]
    values = {"note": "; ".join(dict.fromkeys(said)), "time": _child(point, "time") or ""}
    return FieldPoint(f"waypoint {number}", lon, lat, values)


def _child(element: Element, tag: str) -> str | None:
    for child in element:
        if _tag(child) == tag:
            return (child.text or "").strip() or None
    return None


def _lonlat(point: Element, name: str) -> tuple[float, float]:
    try:
        lon, lat = float(point.get("lon", "")), float(point.get("lat", ""))
    except ValueError:
        lon = lat = float("nan")
    if not (-180.0 <= lon <= 180.0 and -90.0 <= lat <= 90.0):
        raise BadInput(
            f"{name} has a point at latitude {point.get('lat')!r}, longitude {point.get('lon')!r}; accepted are degrees; mend "
            "or remove the point"
        )
    return lon, lat


def read_sightings_csv(data: bytes, *, name: str) -> tuple[tuple[FieldPoint, ...], tuple[str, ...]]:
    """Read a table of sightings with a line of headings.

    Parameters
    ----------
    data
        UTF-8, with commas or semicolons between.

    Returns
    -------
    points, unknown
        One point a line, and the headings that are not read.

    Raises
    ------
    BadInput
        Not such a table, or no column of places.
    """
    try:
        text = data.decode("utf-8-sig")
        head = text.splitlines()[0] if text.strip() else ""
        found = list(
            csv.DictReader(io.StringIO(text), delimiter=";" if head.count(";") > head.count(",") else ",")
        )
    except (UnicodeDecodeError, csv.Error):
        raise _not_csv(name, "it is not text in UTF-8 with commas between") from None
    if not found or len(found) > MOST_ROWS:
        raise _not_csv(name, f"it has {len(found)} lines below the headings")
    headings = {_heading(key) for key in found[0] if key is not None}
    if "place" not in headings and not {"lat", "lon"} <= headings:
        raise _not_csv(name, f"its headings are {', '.join(sorted(headings)) or 'none'}")
    return tuple(_line(row, i) for i, row in enumerate(found, 2)), tuple(
        sorted(headings - {*COLUMNS, *OF_THE_RECORD})
    )


def _not_csv(name: str, why: str) -> BadInput:
    return BadInput(
        f"{name} can't be read as a table of sightings: {why}; accepted is CSV with the headings place (or lat and lon) and, if "
        f"known, {', '.join(COLUMNS[3:])}; mend the file"
    )


def _line(row: Mapping[Any, Any], number: int) -> FieldPoint:
    values = {
        _heading(key): str(value).strip() for key, value in row.items() if isinstance(key, str) and value
    }
    lon, lat = _degrees(values.get("lon")), _degrees(values.get("lat"))
    return FieldPoint(f"line {number}", lon, lat, values)


def _heading(text: object) -> str:
    """A column by its heading."""
    word = str(text).strip().lower()
    return ALSO.get(word, word)


def _degrees(text: str | None) -> float | None:
    """A number, also with a decimal comma."""
    try:
        return None if text is None else float(text.replace(",", "."))
    except ValueError:
        return None

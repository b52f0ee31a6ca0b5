"""Timed tracks read from GPX: where someone was, and when."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import NamedTuple
from xml.etree.ElementTree import Element, ParseError

from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import fromstring

from graylight.errors import BadInput
from graylight.grid import LonLat

__all__ = ["TimedTrack", "read_timed"]

MOST_BYTES = 64 << 20


class TimedTrack(NamedTuple):
    """One stretch of a track without a break in its record.

    Parameters
    ----------
    places
        In walking order.
    seconds
        Seconds since the epoch at each; never running backward.
    """

    places: tuple[LonLat, ...]
    seconds: tuple[float, ...]


def read_timed(path: Path) -> list[TimedTrack]:
    """Every track segment of a GPX file whose points have times.

    Raises
    ------
    BadInput
        There is no such file, it is no GPX, or no segment of it has two points with times.
    """
    if not path.is_file():
        raise BadInput(
            f"there is no file {path.name}; accepted is a GPX file with a timed track; give its path"
        )
    if path.stat().st_size > MOST_BYTES:
        raise BadInput(
            f"{path.name} is over {MOST_BYTES >> 20} MB; accepted are smaller GPX files; cut it up"
        )
    try:
        root = fromstring(path.read_bytes())
    except (ParseError, DefusedXmlException, ValueError) as error:
        raise BadInput(
            f"{path.name} can't be read as GPX ({error}); accepted is a GPX 1.0 or 1.1 file; export the track again"
        ) from None
    found = [_track(segment) for segment in root.iter() if _tag(segment) == "trkseg"]
    timed = [track for track in found if len(track.places) > 1]
    if not timed:
        raise BadInput(
            f"{path.name} has no track with times; accepted is a recorded track, not a route or a drawn line; give another"
        )
    return timed


def _tag(element: Element) -> str:
    return str(element.tag).rpartition("}")[2]


def _track(segment: Element) -> TimedTrack:
    """Points without a place or a time, or whose clock runs backward, are left out."""
    places: list[LonLat] = []
    seconds: list[float] = []
    for point in segment:
        at, when = _place(point), _when(point)
        if at is not None and when is not None and (not seconds or when > seconds[-1]):
            places.append(at)
            seconds.append(when)
    return TimedTrack(tuple(places), tuple(seconds))


def _place(point: Element) -> LonLat | None:
    try:
        place = LonLat(float(point.get("lon", "")), float(point.get("lat", "")))
    except ValueError:
        return None
    return place if abs(place.lon) <= 180.0 and abs(place.lat) <= 90.0 else None


def _when(point: Element) -> float | None:
    text = next((child.text for child in point if _tag(child) == "time"), None)
    try:
        when = dt.datetime.fromisoformat((text or "").strip())
    except ValueError:
        return None
    return (when if when.tzinfo else when.replace(tzinfo=dt.UTC)).timestamp()

"""Places of the person's own to sit at: marked for glassing, or watched from on an outing. They are no kept lookouts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from shapely import Point

from graylight.grid import LonLat
from graylight.plan.model import Lookout, Place
from graylight.plan.notebook import Notebook
from graylight.plan.record import Record

__all__ = ["SAT_NEAR_M", "OwnPlace", "own_places"]

SAT_NEAR_M = 150.0
"""A place of one's own this near to a lookout counts as it."""
GLASSING = "glassing"
MOST_OWN = 24
"""Places of one's own that are looked at, those sat at first. Proposed: each takes a tenth of a second."""


@dataclass(frozen=True, slots=True)
class OwnPlace:
    """A place to sit at as `next` weighs it; `id` is empty, which no lookout's is.

    Parameters
    ----------
    name
        What it is called: the mark's name, or the outing it was watched from on.
    walk_seconds
        From the nearest start; None: not reckoned, or over the limit, and yet sat at.
    """

    name: str
    place: Place
    walk_seconds: float | None
    id: str = ""


def own_places(book: Notebook, record: Record, lookouts: Sequence[Lookout]) -> tuple[OwnPlace, ...]:
    """Places sat at on outings, and marks for glassing in reach on foot; none beside a lookout or each other.

    In reach is what the plan's lookouts are in reach by: `watch.walk_limit_hours`. Where one sat, one has been: that is in
    reach, whatever the walking times say.
    """
    taken = [
        book.country.grid.xy(*book.country.grid.locate(LonLat(one.place.lon, one.place.lat)))
        for one in lookouts
    ]
    found: list[OwnPlace] = []
    for name, point, sat in _told(book, record):
        near = any(np.hypot(point.x - x, point.y - y) <= SAT_NEAR_M for x, y in taken)
        if near or not _known(book, point) or len(found) == MOST_OWN:
            continue
        walk = _walk_s(book, point)
        if walk is None and not sat:
            continue
        taken.append((point.x, point.y))
        found.append(OwnPlace(name, book.place(point), walk))
    return tuple(found)


def _told(book: Notebook, record: Record) -> list[tuple[str, Point, bool]]:
    """Name and place of each, and whether somebody sat there."""
    marks = [
        (str(row.values.get("name") or f"your mark {row.id}"), row.geometry, False)
        for row in book.rows.read("places")
        if row.values.get("kind") == GLASSING and isinstance(row.geometry, Point)
    ]
    sat = [
        (f"the place of outing {one.id}", one.point, True)
        for one in record.outings
        if one.lookout is None and not one.track
    ]
    return [*sat, *marks]


def _known(book: Notebook, point: Point) -> bool:
    """Whether it lies in the country, on known ground."""
    place, grid = book.lonlat(point), book.country.grid
    return grid.contains(place) and bool(np.isfinite(book.ready.survey.elevation_m[grid.rowcol(place)]))


def _walk_s(book: Notebook, point: Point) -> float | None:
    """Walking time from the nearest start; None: not reached within the limit."""
    if book.ready.walk_s is None:
        return None
    seconds = float(book.ready.walk_s[book.country.grid.rowcol(book.lonlat(point))])
    return (
        seconds
        if np.isfinite(seconds) and seconds <= 3600.0 * book.country.settings.watch.walk_limit_hours
        else None
    )

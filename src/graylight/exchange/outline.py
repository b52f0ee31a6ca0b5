"""Rings and lines made fit for files: closed, turned the right way, finite, thinned where asked."""

from __future__ import annotations

import math
from collections.abc import Sequence

import shapely

__all__ = ["point_words", "polygon", "thinned"]

Ring = list[tuple[float, float]]
METRES_PER_DEGREE = 111_195.0
"""On a sphere of 6371 km; used only to say how much a thinned line may be off."""


def polygon(outline: Sequence[Sequence[Sequence[float]]]) -> list[Ring]:
    """Rings of [lon, lat], the outer one counter-clockwise, holes clockwise, each closed (RFC 7946, 3.1.6).

    Rings of no area are left out; without an outer ring the answer is empty.
    """
    rings = [_ring(ring, counter_clockwise=number == 0) for number, ring in enumerate(outline)]
    if not rings or not rings[0]:
        return []
    return [ring for ring in rings if ring]


def _ring(points: Sequence[Sequence[float]], *, counter_clockwise: bool) -> Ring:
    ring: Ring = []
    for lon, lat, *_ in points:
        point = (round(lon, 6), round(lat, 6))
        if not ring or ring[-1] != point:
            ring.append(point)
    if len(ring) > 1 and ring[0] == ring[-1]:
        ring.pop()
    if len(ring) < 3 or _twice_area(ring) == 0.0:
        return []
    if (_twice_area(ring) > 0.0) != counter_clockwise:
        ring.reverse()
    return [*ring, ring[0]]


def _twice_area(ring: Ring) -> float:
    """Signed; positive when counter-clockwise with longitude to the right."""
    return math.fsum(
        (a[0] - ring[0][0]) * (b[1] - ring[0][1]) - (b[0] - ring[0][0]) * (a[1] - ring[0][1])
        for a, b in zip(ring, [*ring[1:], ring[0]], strict=True)
    )


def thinned(line: Sequence[Sequence[float]], most: int, tolerance_m: float) -> list[list[float]]:
    """The line with at most so many points (Douglas & Peucker 1973), heights kept, ends kept.

    Parameters
    ----------
    line
        Points of [lon, lat, height_m].
    most
        The tolerance is doubled until no more points than this are left.
    tolerance_m
        How far the thinned line may at first stray from the line, metres.

    Notes
    -----
    Thinned in degrees with longitude shrunk by the cosine of the latitude: good enough for a line of some
    tens of kilometres.
    """
    if len(line) < 3:
        return [list(point) for point in line]
    shrink = math.cos(math.radians(line[0][1]))
    flat = [(lon * shrink, lat, number) for number, (lon, lat, *_) in enumerate(line)]
    while True:
        kept = shapely.LineString(flat).simplify(tolerance_m / METRES_PER_DEGREE, preserve_topology=False)
        if len(kept.coords) <= max(most, 2):
            return [list(line[round(coordinate[2])]) for coordinate in kept.coords]
        tolerance_m *= 2.0


def point_words(point: Sequence[float], digits: int = 1) -> tuple[str, str, str | None]:
    """Longitude, latitude and height as text; no height where none is known."""
    height = point[2] if len(point) > 2 and math.isfinite(point[2]) else None
    return (
        f"{point[0] + 0.0:.6f}",
        f"{point[1] + 0.0:.6f}",
        None if height is None else f"{height + 0.0:.{digits}f}",
    )

"""Things that are there already, told by their shapes and names."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

__all__ = ["SAME_M", "doubles"]

PORTION = 5_000
SAME_M = 2.0
"""Two shapes of a name that nowhere lie farther apart than this are one: files written and read again move by less. Proposed
default, no source."""

Named = tuple[BaseGeometry, str]
"""A shape in metres, and its name."""


def doubles(new: Sequence[Named], there: Sequence[Named]) -> list[bool]:
    """Which of the new things are there already, or stand earlier among the new ones.

    Notes
    -----
    Names must be the same, or one of them empty. Lines and areas are compared by their discrete Hausdorff distance.
    """
    known = _Known()
    for shape, name in there:
        known.add(shape, name.casefold().strip())
    found = []
    for shape, name in new:
        plain = name.casefold().strip()
        found.append(known.has(shape, plain))
        if not found[-1]:
            known.add(shape, plain)
    return found


class _Known:
    """Things by the square that the south-west corner of their box lies in, and by name."""

    def __init__(self) -> None:
        self._squares: dict[tuple[int, int], dict[str, list[BaseGeometry]]] = {}

    def add(self, shape: BaseGeometry, name: str) -> None:
        self._squares.setdefault(_square(shape), {}).setdefault(name, []).append(shape)

    def has(self, shape: BaseGeometry, name: str) -> bool:
        col, row = _square(shape)
        for x in (col - 1, col, col + 1):
            for y in (row - 1, row, row + 1):
                names = self._squares.get((x, y), {})
                alike = [name, ""] if name else list(names)
                if any(_same(shape, other) for one in dict.fromkeys(alike) for other in names.get(one, ())):
                    return True
        return False


def _square(shape: BaseGeometry) -> tuple[int, int]:
    west, south, _, _ = shape.bounds
    return math.floor(west / SAME_M), math.floor(south / SAME_M)


def _same(one: BaseGeometry, other: BaseGeometry) -> bool:
    if (one.geom_type == "Point") != (other.geom_type == "Point"):
        return False
    if one.geom_type == "Point":
        return bool(shapely.distance(one, other) <= SAME_M)
    boxes = max(abs(a - b) for a, b in zip(one.bounds, other.bounds, strict=True))
    lengths = abs(shapely.length(one) - shapely.length(other))
    if boxes > SAME_M or lengths > max(SAME_M, 0.01 * shapely.length(one)):
        return False
    if _point_by_point(one, other):
        return True
    lines = [shapely.boundary(s) if shapely.get_dimensions(s) == 2 else s for s in (one, other)]
    return _near(lines[0], lines[1]) and _near(lines[1], lines[0])


def _point_by_point(one: BaseGeometry, other: BaseGeometry) -> bool:
    """Whether two shapes of as many points lie near each other point by point: the same file again, mostly."""
    a, b = shapely.get_coordinates(one), shapely.get_coordinates(other)
    return a.shape == b.shape and bool((np.hypot(*(a - b).T) <= SAME_M).all())


def _near(line: BaseGeometry, other: BaseGeometry) -> bool:
    """Whether every vertex of a line lies near another line.

    What the discrete Hausdorff distance asks, by the other line's index: that distance itself takes the square of the number of
    points, minutes for a track of a morning. In portions, so that a stop is heeded.
    """
    shapely.prepare(other)
    spots = shapely.get_coordinates(line)
    return all(
        bool(shapely.dwithin(other, shapely.points(spots[first : first + PORTION]), SAME_M).all())
        for first in range(0, len(spots), PORTION)
    )

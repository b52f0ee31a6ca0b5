"""Shapes brought into a box, and outlines that cross themselves mended, so that no file can make that endless work."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

__all__ = ["MOST_CROSSINGS", "Tangled", "clipped", "mended", "tangled"]

MOST_CROSSINGS = 20_000
"""Mending takes about a second for so many; a drawn boundary crosses itself a few times. Measured, no source."""
MOST_SPOTS = 1_000_000
"""Corners of an outline that is not sound; those of a sound one are not counted."""
_USUAL_PAIRS = 6
"""Of a side with itself and its neighbours, where two areas share it: twice three."""
_AT_ONCE = 2_000_000


class Tangled(Exception):
    """An outline that crosses itself far more often than a drawn one does; the message says so in words that follow a name."""

    def __init__(self) -> None:
        super().__init__(
            f"its outline crosses itself more than {MOST_CROSSINGS:,} times; accepted is one that encloses ground; draw it anew"
        )


def clipped(shape: BaseGeometry, box: tuple[float, float, float, float]) -> BaseGeometry:
    """What of a shape lies in a box.

    Parameters
    ----------
    shape
        Of any kind, in the box's frame.
    box
        West, south, east, north.

    Raises
    ------
    Tangled
        An outline that can't be mended.

    Notes
    -----
    Points and lines inside stay as they are: a track that crosses itself, or goes the same way twice, is no fault, and keeps
    its points, their order and its length. Areas are mended first.
    """
    if shape.geom_type == "GeometryCollection":
        return shapely.GeometryCollection([clipped(part, box) for part in shapely.get_parts(shape)])
    if shapely.get_dimensions(shape) == 2:
        shape = mended(shape)
    west, south, east, north = shape.bounds
    if west >= box[0] and south >= box[1] and east <= box[2] and north <= box[3]:
        return shape
    if shapely.get_dimensions(shape) == 1:
        return shapely.clip_by_rect(shape, *box)
    return shapely.intersection(shape, shapely.box(*box))


def mended(area: BaseGeometry) -> BaseGeometry:
    """An area that is valid (OGC 06-103r4, 6.1.11): itself, or the ground that its outline encloses.

    Raises
    ------
    Tangled
        It crosses itself too often.
    """
    if shapely.is_valid(area):
        return area
    if tangled(area):
        raise Tangled
    return shapely.make_valid(area, method="structure", keep_collapsed=False)


def tangled(area: BaseGeometry) -> bool:
    """Whether the sides of an area meet each other far more often than those of a drawn one do.

    >>> tangled(shapely.box(0, 0, 1, 1))
    False
    """
    sides = _sides(area)
    if len(sides) > MOST_SPOTS:
        return True
    tree = shapely.STRtree(sides)
    most = _USUAL_PAIRS * len(sides) + 2 * MOST_CROSSINGS
    portion = max(1, _AT_ONCE // max(1, len(sides)))
    pairs = 0
    for first in range(0, len(sides), portion):
        pairs += tree.query(sides[first : first + portion], predicate="intersects").shape[1]
        if pairs > most:
            return True
    return False


def _sides(area: BaseGeometry) -> NDArray[np.object_]:
    """The straight sides of all rings of an area."""
    rings = shapely.get_rings(shapely.get_parts(area))
    spots, ring = shapely.get_coordinates(rings, return_index=True)
    one = ring[:-1] == ring[1:]
    return np.asarray(shapely.linestrings(np.stack([spots[:-1][one], spots[1:][one]], axis=1)), dtype=object)

"""Shapes brought into a box, and outlines that cross themselves mended, so that no file can make that endless work."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

__all__ = ["MOST_CROSSINGS", "Crossings", "Tangled", "clipped", "mended"]

MOST_CROSSINGS = 20_000
"""Mending takes about a second for so many; a drawn boundary crosses itself a few times. Measured, no source."""
MOST_SPOTS = 1_000_000
"""Corners of an outline that is not sound; those of a sound one are not counted."""
_USUAL_PAIRS = 6
"""Of a side with itself and its neighbours, where two areas share it: twice three."""
_AT_ONCE = 2_000_000


class Tangled(Exception):
    """Outlines that cross themselves far more often than drawn ones do; the message says so in words that follow a name."""

    def __init__(self) -> None:
        super().__init__(
            f"its outline crosses itself more than {MOST_CROSSINGS:,} times, or what was before it did so; accepted is one that "
            "encloses ground; draw it anew"
        )


@dataclass(slots=True)
class Crossings:
    """How many crossings may still be mended: one for all outlines that come together, so that many can't be endless either.

    Parameters
    ----------
    left
        So many.
    refused
        Outlines that were too much.
    """

    left: int = MOST_CROSSINGS
    refused: int = 0

    def spend(self, shape: BaseGeometry) -> None:
        """Count those of an area or of lines, before they are mended.

        Raises
        ------
        Tangled
            They are too many.
        """
        met = _met(shape, self.left)
        if met > self.left:
            self.refused += 1
            raise Tangled
        self.left -= met


def clipped(
    shape: BaseGeometry, box: tuple[float, float, float, float], crossings: Crossings
) -> BaseGeometry:
    """What of a shape lies in a box.

    Parameters
    ----------
    shape
        Of any kind, in the box's frame.
    box
        West, south, east, north.
    crossings
        How many may be mended.

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
        return shapely.GeometryCollection(
            [clipped(part, box, crossings) for part in shapely.get_parts(shape)]
        )
    if shapely.get_dimensions(shape) == 2:
        shape = mended(shape, crossings)
    west, south, east, north = shape.bounds
    if west >= box[0] and south >= box[1] and east <= box[2] and north <= box[3]:
        return shape
    if shapely.get_dimensions(shape) == 1:
        return shapely.clip_by_rect(shape, *box)
    return shapely.intersection(shape, shapely.box(*box))


def mended(area: BaseGeometry, crossings: Crossings) -> BaseGeometry:
    """An area that is valid (OGC 06-103r4, 6.1.11): itself, or the ground that its outline encloses.

    Raises
    ------
    Tangled
        It crosses itself too often.
    """
    if shapely.is_valid(area):
        return area
    crossings.spend(area)
    return shapely.make_valid(area, method="structure", keep_collapsed=False)


def _met(shape: BaseGeometry, most: int) -> int:
    """How often the sides of a shape meet, beyond what neighbours do; counted no further than a little more than the most."""
    sides = _sides(shape)
    if len(sides) > MOST_SPOTS:
        return most + 1
    tree = shapely.STRtree(sides)
    usual = _USUAL_PAIRS * len(sides)
    portion = max(1, _AT_ONCE // max(1, len(sides)))
    pairs = 0
    for first in range(0, len(sides), portion):
        pairs += tree.query(sides[first : first + portion], predicate="intersects").shape[1]
        if pairs > usual + 2 * most:
            break
    return max(0, -(-(pairs - usual) // 2))


def _sides(shape: BaseGeometry) -> NDArray[np.object_]:
    """The straight sides of all rings of an area, or of lines."""
    parts = shapely.get_parts(shape)
    lines = shapely.get_rings(parts) if shapely.get_dimensions(shape) == 2 else parts
    spots, line = shapely.get_coordinates(lines, return_index=True)
    one = line[:-1] == line[1:]
    return np.asarray(shapely.linestrings(np.stack([spots[:-1][one], spots[1:][one]], axis=1)), dtype=object)

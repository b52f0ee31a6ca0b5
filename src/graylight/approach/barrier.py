"""Why a place is not reached: what closes it off, and the nearest place that is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from graylight.grid import RowCol
from graylight.reach.ground import WalkGround
from graylight.reach.walking import Reach

__all__ = ["Barrier", "barrier", "why_not"]

WINDS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


@dataclass(frozen=True)
class Barrier:
    """What keeps a place from being reached.

    Parameters
    ----------
    itself
        What closes the place itself, or None.
    around
        What closes off the ground about the place, most of the border first.
    too_far
        Whether the ground about it is reached, but not within the limit.
    no_start
        Whether no start lies on open ground.
    nearest, nearest_m
        The nearest place that is reached, and how far off it lies; None where none is.
    """

    itself: str | None
    around: tuple[str, ...]
    too_far: bool
    no_start: bool
    nearest: RowCol | None
    nearest_m: float | None


def barrier(row: int, col: int, reach: Reach, ground: WalkGround, *, cell_m: float) -> Barrier:
    """What keeps a place that was not reached from being reached.

    Parameters
    ----------
    row, col
        The place.
    reach, ground
        As they were worked out; where a start is open, but its ground closed in, that shows as the way being
        shut around the place.
    cell_m
        Side of a cell, metres.
    """
    reached = np.isfinite(reach.seconds)
    nearest = _nearest(row, col, reached)
    off = None if nearest is None else float(np.hypot(nearest.row - row, nearest.col - col)) * cell_m
    itself = ground.why_shut(row, col)
    around, too_far = ((), False) if itself else _around(row, col, reached, ground)
    return Barrier(itself, around, too_far, bool((reach.begin_rows < 0).all()), nearest, off)


def _nearest(row: int, col: int, reached: NDArray[np.bool_]) -> RowCol | None:
    rows, cols = np.nonzero(reached)
    if rows.size == 0:
        return None
    best = int(np.argmin((rows - row) ** 2 + (cols - col) ** 2))  # of equally near ones the first by place
    return RowCol(int(rows[best]), int(cols[best]))


def _around(
    row: int, col: int, reached: NDArray[np.bool_], ground: WalkGround
) -> tuple[tuple[str, ...], bool]:
    """What borders the open ground about a place, and whether that ground borders on reached ground.

    Moves join exactly what is joined through the sides of cells: a diagonal needs both cells beside it.
    """
    labels, _ = ndimage.label((ground.shut == 0) & ~reached)
    border = ndimage.binary_dilation(labels == labels[row, col]) & (labels != labels[row, col])
    counts = np.bincount(ground.shut[border & ~reached], minlength=len(ground.shut_words) + 1)[1:]
    order = np.argsort(-counts, kind="stable")
    words = tuple(ground.shut_words[i] for i in order if counts[i] > 0.05 * counts.sum())
    return words, bool((border & reached).any())


def why_not(row: int, col: int, reach: Reach, ground: WalkGround, *, cell_m: float) -> str:
    """Say why a place is not reached and where the nearest place lies that is; empty where it is reached.

    Distances in metres, directions from grid north (within the meridian convergence of true).
    """
    if np.isfinite(reach.seconds[row, col]):
        return ""
    found = barrier(row, col, reach, ground, cell_m=cell_m)
    return f"{_cause(found, reach.limit_s)}; {_where(found, row, col)}"


def _cause(found: Barrier, limit_s: float) -> str:
    if found.no_start:
        return "no start lies on or near open ground"
    if found.itself is not None:
        return f"the place itself is closed: {found.itself}"
    if found.too_far:
        return f"it is farther than {limit_s / 3600.0:.1f} hours on foot from every start"
    if found.around:
        return f"it is cut off by {' and '.join(found.around)}"
    return "it is cut off by the edge of the country"


def _where(found: Barrier, row: int, col: int) -> str:
    if found.nearest is None or found.nearest_m is None:
        return "nothing is reached"
    east, north = found.nearest.col - col, row - found.nearest.row
    wind = WINDS[round(np.degrees(np.arctan2(east, north)) / 45.0) % 8]
    return f"the nearest place reached lies {found.nearest_m:.0f} m to the {wind}"

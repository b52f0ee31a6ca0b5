"""The neighbours of a lookout: nearer to the start, higher, over the crest; what each gains and loses."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from graylight.errors import BadInput

__all__ = ["Neighbour", "neighbours"]

Raster = NDArray[np.float32]
Mask = NDArray[np.bool_]
Kind = Literal["nearer", "higher", "other side"]

REACH_M = 600.0
"""How far off a neighbour may be. Proposed default."""

NEARER = 0.85
"""A nearer neighbour takes at most this part of the walk. Proposed default."""

HIGHER_M = 25.0
"""A higher neighbour stands at least this much higher. Proposed default."""

CREST_M = 5.0
"""Ground between that stands this much above both is a crest with another side. Proposed default."""


@dataclass(frozen=True, slots=True)
class Neighbour:
    """Another place to sit, against the first: what is more than the first's is positive.

    Parameters
    ----------
    kind : {"nearer", "higher", "other side"}
    row, col : int
    worth : float
        What is seen from there, as in `Siting.worth`.
    worth_change : float
        Against the first.
    walk_change_s : float or None
        Walking time against the first's; None when not known.
    height_change_m : float
    distance_m : float
        From the first.
    """

    kind: Kind
    row: int
    col: int
    worth: float
    worth_change: float
    walk_change_s: float | None
    height_change_m: float
    distance_m: float


def neighbours(
    worth: Raster, at: tuple[int, int], elevation_m: Raster, walk_seconds: Raster | None, *, cell_m: float
) -> tuple[Neighbour, ...]:
    """The best of each kind within 600 m of a place to sit, by what is seen; kinds that see nothing are left out.

    Parameters
    ----------
    worth : (rows, cols) float32
        What is seen from each cell, as `Siting.worth`; 0 or NaN where one can't sit.
    at
        Row and column of the place.
    elevation_m : (rows, cols) float32
    walk_seconds : (rows, cols) float32 or None
        Walking time from the start; None or NaN where not known: then nothing is called nearer.
    cell_m : float

    Returns
    -------
    tuple of Neighbour
        In the order nearer, higher, other side; ties by place.

    Raises
    ------
    BadInput
        The place lies outside the grid.
    """
    if not (0 <= at[0] < worth.shape[0] and 0 <= at[1] < worth.shape[1]):
        raise BadInput(
            f"row {at[0]}, column {at[1]} lies outside the country; accepted are rows 0 to {worth.shape[0] - 1} and columns "
            f"0 to {worth.shape[1] - 1}; choose a place inside"
        )
    worth = np.nan_to_num(worth)
    rows, cols, away = _around(worth.shape, at, REACH_M / cell_m)
    worth = worth[rows, cols]
    height = elevation_m[rows, cols]
    walk = np.full(worth.shape, np.nan, np.float32) if walk_seconds is None else walk_seconds[rows, cols]
    here = at[0] - rows.start, at[1] - cols.start
    fit = (worth > 0) & (away > 0) & np.isfinite(height)
    kinds: tuple[tuple[Kind, Mask], ...] = (
        ("nearer", fit & (walk <= NEARER * walk[here])),
        ("higher", fit & (height >= height[here] + HIGHER_M)),
        ("other side", fit & _over_a_crest(height, here)),
    )
    told = []
    for kind, mask in kinds:
        if mask.any():
            r, c = np.unravel_index(np.argmax(np.where(mask, worth, -1.0)), worth.shape)
            change = float(walk[r, c] - walk[here])
            told.append(
                Neighbour(
                    kind, int(r) + rows.start, int(c) + cols.start, float(worth[r, c]),
                    float(worth[r, c] - worth[here]), change if np.isfinite(change) else None,
                    float(height[r, c] - height[here]), float(away[r, c]) * cell_m,
                )
            )  # fmt: skip
    return tuple(told)


def _around(
    shape: tuple[int, ...], at: tuple[int, int], reach: float
) -> tuple[slice, slice, NDArray[np.float64]]:
    """Rows and columns within reach, and how many cells each is away (-1: farther than the reach)."""
    whole = int(reach)
    rows = slice(max(0, at[0] - whole), min(shape[0], at[0] + whole + 1))
    cols = slice(max(0, at[1] - whole), min(shape[1], at[1] + whole + 1))
    down = np.arange(rows.start, rows.stop)[:, None] - at[0]
    right = np.arange(cols.start, cols.stop)[None, :] - at[1]
    away = np.hypot(down, right)
    return rows, cols, np.where(away <= reach, away, -1.0)


def _over_a_crest(height: Raster, here: tuple[int, int]) -> Mask:
    """Cells with ground on the straight line to `here` that stands above both ends.

    Heights are read at the nearest cells of 32 points of the line; a crest narrower than that may be missed.
    """
    row, col = np.indices(height.shape)
    top = np.full(height.shape, -np.inf, np.float32)
    for step in np.linspace(0.0, 1.0, 33)[1:-1]:
        between = height[
            np.rint(here[0] + step * (row - here[0])).astype(np.intp),
            np.rint(here[1] + step * (col - here[1])).astype(np.intp),
        ]
        top = np.fmax(top, between)
    return np.asarray(top >= np.maximum(height, height[here]) + CREST_M)

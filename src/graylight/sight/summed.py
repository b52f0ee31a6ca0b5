"""Sight of many places at once: for each cell of the country, the summed weight of the places that see it."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np
from numpy.typing import ArrayLike, NDArray

from graylight.errors import BadInput
from graylight.kernels.viewshed import add_seen
from graylight.sight.viewshed import DEEP, margins, reach_cells, tops
from graylight.work import Tick, part, silent, spread

__all__ = ["bytes_needed", "summed_sight"]

SHARES = 4
"""Places are shared out among this many sums, added in their order: the same answer on any number of cores."""
QUICK = 3
"""Of how many rays one is kept in a quick sum."""
AT_ONCE = 16
"""Places a sum takes between ticks."""


def bytes_needed(shape: tuple[int, int], radius_cells: int) -> int:
    """Memory of the sums and of one window each."""
    return 4 * SHARES * (shape[0] * shape[1] + (2 * radius_cells + 1) ** 2)


def summed_sight(
    surface_m: NDArray[np.float32],
    ground_m: NDArray[np.float32],
    rows: ArrayLike,
    cols: ArrayLike,
    weight: ArrayLike,
    *,
    cell_m: float,
    eye_m: float,
    target_m: float,
    radius_m: float,
    refraction: float = 1 / 7,
    exact: bool = True,
    tick: Tick = silent,
) -> NDArray[np.float32]:
    """Look from every place; sight is symmetric, so with the heights exchanged the places are what is looked at.

    Parameters
    ----------
    surface_m, ground_m : (rows, cols) float32
        What stands in the way, and the bare ground; NaN is opaque, never seen.
    rows, cols : (n,) array of int
        Cells of the places; any number, in any order, also the same one twice.
    weight : (n,) array of float
    cell_m, eye_m, target_m : float
        Cell size; heights of the places' eyes and of what is looked for, above the ground.
    radius_m : float
        How far each looks.
    exact : bool
        False: every third ray and no close check, for a quick sum (docs/sight.md tells how exact that is).

    Returns
    -------
    (rows, cols) float32
        Sum of the weights of the places that see the cell.

    Raises
    ------
    BadInput
        A place lies outside the grid or on unknown ground, or the lists differ in length.
    """
    places = np.column_stack([np.asarray(rows, np.int64), np.asarray(cols, np.int64)])
    weights = np.asarray(weight, np.float32)
    _check_places(places, weights, ground_m)
    radius = reach_cells(radius_m, cell_m, ground_m.shape)
    known = tops(ground_m)
    sums = np.zeros((SHARES, *ground_m.shape), np.float32)
    look = partial(
        margins, surface_m, ground_m, cell_m=cell_m, eye_m=eye_m, target_m=target_m, radius_cells=radius,
        refraction=refraction, known=known, deep_m=DEEP * cell_m if exact else 0.0, coarseness=1 if exact else QUICK,
    )  # fmt: skip
    turns = range(0, len(places), SHARES * AT_ONCE)
    for turn in turns:
        batch = slice(turn, turn + SHARES * AT_ONCE)
        jobs: list[Callable[[], None]] = [
            partial(_add_all, look, places[batch][i::SHARES], weights[batch][i::SHARES], sums[i])
            for i in range(SHARES)
        ]
        spread(jobs, tick=part(tick, turn / len(places), min(1.0, (turn + SHARES * AT_ONCE) / len(places))))
    return _in_order(sums)


def _in_order(sums: NDArray[np.float32]) -> NDArray[np.float32]:
    total: NDArray[np.float32] = sums[0]
    for other in sums[1:]:
        total += other
    return total


def _check_places(
    places: NDArray[np.int64], weights: NDArray[np.float32], ground_m: NDArray[np.float32]
) -> None:
    if weights.shape != places.shape[:1]:
        raise BadInput(f"{len(places)} places with weights of shape {weights.shape}; give one weight a place")
    inside = np.asarray(((places >= 0) & (places < ground_m.shape)).all(axis=1), bool)
    bad = ~inside
    bad[inside] = np.isnan(ground_m[places[inside, 0], places[inside, 1]])
    if bad.any():
        row, col = places[bad][0]
        rows, cols = ground_m.shape
        raise BadInput(
            f"no ground is known at row {row}, column {col} of {rows} x {cols}; choose a cell with elevation"
        )


def _add_all(
    look: Callable[..., NDArray[np.float32]],
    places: NDArray[np.int64],
    weights: NDArray[np.float32],
    total: NDArray[np.float32],
) -> None:
    for (row, col), weight in zip(places, weights, strict=True):
        add_seen(look(row=int(row), col=int(col)), int(row), int(col), weight, total)

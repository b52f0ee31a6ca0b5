"""The time along a given way, cell by cell: what the least-time kernel adds up, worked out apart from it."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from graylight.reach.ground import WalkGround
from graylight.reach.pace import PaceTable

__all__ = ["cells_of_moves", "seconds_in_cells"]

Cells: TypeAlias = NDArray[np.int64]
Line: TypeAlias = NDArray[np.float64]


def cells_of_moves(rows: Cells, cols: Cells) -> tuple[Cells, Cells]:
    """Rows and columns, each (n - 1, 4), of the cells that the moves of a way lie in, a quarter in each.

    A straight or diagonal move lies in two cells, given twice.

    >>> cells_of_moves(np.array([0, 2]), np.array([0, 1]))[0].tolist()
    [[0, 1, 1, 2]]
    """
    r, c = rows[:-1], cols[:-1]
    dr, dc = np.diff(rows), np.diff(cols)
    # A knight move passes between the two cells half-way along its longer side; other moves have none.
    knight = np.abs(dr) + np.abs(dc) == 3
    tall = knight & (np.abs(dr) == 2)
    r1 = np.where(knight, np.where(tall, r + dr // 2, r), r)
    c1 = np.where(knight, np.where(tall, c, c + dc // 2), c)
    r2 = np.where(knight, np.where(tall, r + dr // 2, r + dr), r + dr)
    c2 = np.where(knight, np.where(tall, c + dc, c + dc // 2), c + dc)
    return np.stack([r, r1, r2, r + dr], axis=1), np.stack([c, c1, c2, c + dc], axis=1)


def seconds_in_cells(
    rows: Cells,
    cols: Cells,
    elevation_m: NDArray[np.float32],
    ground: WalkGround,
    pace: PaceTable,
    *,
    cell_m: float,
) -> Line:
    """Walking time that each move of a way spends in each of its cells, at a given pace.

    Parameters
    ----------
    rows, cols
        (n,) int64, the cells in walking order, neighbours up to a chess knight's move apart.
    elevation_m
        (rows, cols) float32, metres.
    ground
        Factors and surfaces.
    pace
        Seconds per metre by surface and slope.
    cell_m
        Side of a cell, metres.

    Returns
    -------
    (n - 1, 4) float64
        Seconds, in the order of `cells_of_moves`; inf in closed ground.
    """
    r, c = cells_of_moves(rows, cols)
    length = np.hypot(np.diff(rows), np.diff(cols)) * cell_m
    slope = np.diff(elevation_m[rows, cols].astype(np.float64)) / length
    each = _paces(pace, ground.surface[r, c], slope) * ground.factor[r, c]
    seconds: Line = 0.25 * length[:, None] * each
    return seconds


def _paces(pace: PaceTable, surface: NDArray[np.uint8], slope: Line) -> Line:
    """(n, 4) seconds per metre, linear between the columns; the last value holds beyond either end."""
    last = pace.seconds_per_m.shape[1] - 1
    at = np.clip((slope - pace.slope_min) / pace.slope_step, 0.0, last)
    k = np.minimum(at.astype(np.int64), last - 1)[:, None]
    table = pace.seconds_per_m.astype(np.float64)
    low, high = table[surface, k], table[surface, k + 1]
    found: Line = low + (at[:, None] - k) * (high - low)
    return found

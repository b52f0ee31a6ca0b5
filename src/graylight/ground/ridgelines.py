"""Ridgelines: crests of the ground, and the ways along them from saddle to top."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from graylight.ground.patches import patches, pieces_of, smoothed
from graylight.ground.tops import Flood
from graylight.kernels.prominence import climb

__all__ = ["COARSEST_RIDGE_M", "ridgelines"]

COARSEST_RIDGE_M = 100.0
LEAST_RELIEF_M = 60.0
"""Rises in gentler country are no ridges. Common practice, no source."""
LEAST_LENGTH_M = 300.0
"""Shorter pieces are left out. Common practice, no source."""
SMOOTH_M = 50.0
_SUMMIT, _RIDGE = 2, 3
ABOUT_M = 400.0
STANDING_OUT = 0.01
"""A way over a saddle also leads up the flank of a greater ridge; a crest stands above the mean of the
square of this side around it by at least this part of the local relief. Common practice, no source."""


def ridgelines(
    elevation_m: NDArray[np.float32],
    forms: NDArray[np.uint8],
    local_relief_m: NDArray[np.float32],
    flood: Flood,
    kept: NDArray[np.int64],
    *,
    cell_m: float,
) -> NDArray[np.bool_]:
    """Lines of cells along the crests.

    Two things together: cells whose geomorphon is ridge or summit and that stand higher than both neighbours
    along at least two of the four lines through them, on ground smoothed over 50 m; and the ways over
    saddles that join the kept tops with each other, which carry the crests on where they are broad.

    Parameters
    ----------
    elevation_m, forms, local_relief_m
        (rows, cols) ground, its geomorphons and local relief.
    flood, kept
        The tops of the ground, and the numbers of those to be joined.
    cell_m
        Cell size, metres; over 100 m nothing is found.
    """
    lines = np.zeros(elevation_m.shape, bool)
    if cell_m > COARSEST_RIDGE_M:
        return lines
    even = smoothed(elevation_m, span_m=SMOOTH_M, cell_m=cell_m) if cell_m <= SMOOTH_M / 2 else elevation_m
    crest = ((forms == _SUMMIT) | (forms == _RIDGE)) & (_lines_topped(even) >= 2)
    followed = _joining(flood, kept)
    for side in (0, 1):
        climb(elevation_m, flood.owner, flood.key[followed], flood.sides[followed, side].copy(), lines)
    lines = (lines & _standing_out(elevation_m, local_relief_m, cell_m) | crest) & (
        local_relief_m >= LEAST_RELIEF_M
    )
    # along the edge the highest way known is not the highest way
    lines[[0, -1], :] = lines[:, [0, -1]] = False
    return _long(lines, cell_m)


def _joining(flood: Flood, kept: NDArray[np.int64]) -> NDArray[np.int64]:
    """Numbers of the tops whose key saddles lie on the ways between kept tops.

    Each key saddle joins two tops, and all of them together join the tops of a country to a tree: what hangs
    on a kept top by one saddle only and is not kept itself is cut off, until nothing more can be.
    """
    edges = np.flatnonzero(flood.key >= 0)
    wanted = np.zeros(flood.cell.size, bool)
    wanted[kept] = True
    while True:
        joints = np.bincount(flood.sides[edges].ravel(), minlength=wanted.size)
        loose = (joints == 1) & ~wanted
        hanging = loose[flood.sides[edges]].any(axis=1)
        if not hanging.any():
            return edges
        edges = edges[~hanging]


def _standing_out(
    elevation_m: NDArray[np.float32], local_relief_m: NDArray[np.float32], cell_m: float
) -> NDArray[np.bool_]:
    above = elevation_m - smoothed(elevation_m, span_m=ABOUT_M, cell_m=cell_m)
    out: NDArray[np.bool_] = above >= np.float32(STANDING_OUT) * local_relief_m
    return out


def _lines_topped(ground: NDArray[np.float32]) -> NDArray[np.uint8]:
    """Along how many of the four lines through it a cell is higher than both its neighbours."""
    wide = np.pad(ground, 1, constant_values=np.nan)
    rows, cols = ground.shape
    count = np.zeros(ground.shape, np.uint8)
    for dr, dc in ((0, 1), (1, 1), (1, 0), (1, -1)):
        one = wide[1 + dr : 1 + dr + rows, 1 + dc : 1 + dc + cols]
        other = wide[1 - dr : 1 - dr + rows, 1 - dc : 1 - dc + cols]
        count += (ground > one) & (ground >= other)
    return count


def _long(lines: NDArray[np.bool_], cell_m: float) -> NDArray[np.bool_]:
    """The pieces that reach at least 300 m from end to end, by their windows."""
    pieces, n = patches(lines)
    keep = np.zeros(n + 1, bool)
    for k, (rows, cols), _ in pieces_of(pieces, n):
        keep[k] = max(rows.stop - rows.start, cols.stop - cols.start) * cell_m >= LEAST_LENGTH_M
    long: NDArray[np.bool_] = keep[pieces]
    return long

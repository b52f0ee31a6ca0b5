"""Ground beyond the country's edge, as cells of the country see it: rays over a coarse raster that holds both.

A ray is looked at from where it leaves the country on, each cell of the raster once; what lies before that is seen on the
country's own finer grid. Each ray tells how high the ground stands along it, and how near the ground is that does: by the
two the answer is carried over to cells near by and to their heights.
"""

from __future__ import annotations

import math
from typing import TypeAlias

import numpy as np
from numba import njit
from numpy.typing import NDArray

from graylight.kernels.skyline import NONE, PER_DEG, UNKNOWN

__all__ = ["look_out", "spread_out"]

Raster: TypeAlias = NDArray[np.float32]
Codes: TypeAlias = NDArray[np.int16]
Floats: TypeAlias = NDArray[np.float64]

_PER_RADIAN = PER_DEG * 180.0 / math.pi


@njit(cache=True, nogil=True)
def _between(apron, y, x):
    """Height at a place between four cells, of those of them that are known; NaN where none is."""
    r, c = int(y), int(x)
    down, right = y - r, x - c
    total, weight = 0.0, 0.0
    for i in range(2):
        for j in range(2):
            part = (down if i else 1.0 - down) * (right if j else 1.0 - right)
            if part > 0.0 and not math.isnan(apron[r + i, c + j]):
                total += part * apron[r + i, c + j]
                weight += part
    return total / weight if weight > 0.0 else np.nan


@njit(cache=True, nogil=True)
def _way_out(y, x, row_step, col_step, box):
    """Steps of a ray to the edge of a box of rows and columns."""
    down = right = 1.0e18
    if row_step != 0.0:
        down = ((box[1] if row_step > 0.0 else box[0]) - y) / row_step
    if col_step != 0.0:
        right = ((box[3] if col_step > 0.0 else box[2]) - x) / col_step
    return max(0.5, min(down, right))


@njit(cache=True, nogil=True)
def look_out(
    apron: Raster,
    rows: Floats,
    cols: Floats,
    height_m: Floats,
    box: Floats,
    row_step: float,
    col_step: float,
    step_m: float,
    bend: float,
    highest_m: float,
    least: float,
    from_m: float,
    to_m: float,
    first: int,
    end: int,
    tangent: Raster,
    nearness: Raster,
) -> None:
    """How high the ground beyond a box stands, seen from places inside it in one direction.

    Parameters
    ----------
    apron : (rows, cols) float32
        Heights in metres; NaN hides nothing.
    rows, cols, height_m : (n,) float64
        The places, in cells of the apron (0 is a cell's middle), and the heights that one looks from.
    box : (4,) float64
        First and last row, first and last column of the ground that is passed over.
    row_step, col_step, step_m : float
        The ray's way from step to step, the larger of the two 1 or -1; metres a step.
    bend : float
        Fall of the ground by curvature less refraction in metres per square metre of distance.
    highest_m, least : float
        Highest of the apron; the tangent below which nobody cares, 0 or more.
    from_m, to_m : float
        Ground between these distances counts.
    first, end : int
        Range of places.
    tangent, nearness : (n,) float32, filled
        Tangent of the highest ground's angle; -inf where it is not above `least` for sure, or none is there. One over the
        metres to it.
    """
    n, m = apron.shape
    for p in range(first, end):
        best, far = -np.inf, np.inf
        i = max(_way_out(rows[p], cols[p], row_step, col_step, box), from_m / step_m)
        while True:
            y, x = rows[p] + i * row_step, cols[p] + i * col_step
            if y < 0.0 or x < 0.0 or y >= n - 1 or x >= m - 1:
                break
            away_m = i * step_m
            if away_m >= to_m:
                break
            if highest_m - height_m[p] < (max(best, least) + bend * away_m) * away_m:
                break
            met_m = _between(apron, y, x)
            if not math.isnan(met_m):
                seen = (met_m - height_m[p]) / away_m - bend * away_m
                if seen > best:
                    best, far = seen, away_m
            i += 1.0
        tangent[p] = best if best > least else -np.inf
        nearness[p] = 1.0 / far


@njit(cache=True, nogil=True)
def _mean(values, i, j, k, e, down, right):
    upper = values[i, j] + right * (values[i, e] - values[i, j])
    lower = values[k, j] + right * (values[k, e] - values[k, j])
    return upper + down * (lower - upper)


@njit(cache=True, nogil=True)
def spread_out(
    ground: Raster,
    tangent: Raster,
    nearness: Raster,
    height_m: Raster,
    step: int,
    begin: int,
    row0: int,
    row1: int,
    out: Codes,
) -> None:
    """Carry what some places see over to all cells: linear between four places, and by each cell's own height.

    Parameters
    ----------
    ground : (rows, cols) float32
        The country's heights.
    tangent, nearness, height_m : (n, m) float32
        As `look_out` fills them (a tangent that is none: -1, with a nearness of 0), and the heights looked from.
    step, begin : int
        Cells of the country from place to place, and to the first.
    row0, row1 : int
        Range of rows.
    out : (rows, cols) int16, filled
        Angle in 1 / PER_DEG degrees, rounded; NONE where it is not above level, UNKNOWN where the cell's height is NaN.
    """
    n, m = tangent.shape
    for r in range(row0, row1):
        y = min(max((r - begin) / step, 0.0), n - 1.0)
        i = min(int(y), max(n - 2, 0))
        k, down = min(i + 1, n - 1), np.float32(y - i)
        for c in range(ground.shape[1]):
            z = ground[r, c]
            if math.isnan(z):
                out[r, c] = UNKNOWN
                continue
            x = min(max((c - begin) / step, 0.0), m - 1.0)
            j = min(int(x), max(m - 2, 0))
            e, right = min(j + 1, m - 1), np.float32(x - j)
            up = _mean(tangent, i, j, k, e, down, right)
            if up <= -1.0:
                out[r, c] = NONE
                continue
            lower_m = _mean(height_m, i, j, k, e, down, right) - z
            up += lower_m * _mean(nearness, i, j, k, e, down, right)
            out[r, c] = np.int16(math.floor(math.atan(up) * _PER_RADIAN + 0.5)) if up > 0.0 else NONE

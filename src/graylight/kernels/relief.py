"""Slope, aspect, curvature and unit normals from a 3 x 3 window; ruggedness from sums of normals.

Horn, B. K. P. (1981), Hill shading and the reflectance map, doi:10.1109/PROC.1981.11918, for slope and
aspect; Evans, I. S. (1980), An integrated system of terrain analysis and slope mapping, for the
least-squares quadric behind the curvatures; Sappington et al. (2007), doi:10.2193/2005-723, for the vector
ruggedness measure.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

__all__ = ["curvature", "slope_aspect", "vector_ruggedness"]

_DEG = 180.0 / math.pi


@njit(cache=True, nogil=True)
def _known(window):
    """Fill unknown neighbours of a 3 x 3 window, given row by row: straight on through the centre, or
    level.
    """
    z = window[4]
    for k in range(9):
        if math.isnan(window[k]):
            opposite = window[8 - k]
            window[k] = z if math.isnan(opposite) else z + (z - opposite)


@njit(cache=True, nogil=True)
def _read(padded, r, c, window):
    """The 3 x 3 window around (r, c) of the unpadded raster; unknown neighbours filled only when there are
    any.
    """
    total = np.float32(0.0)
    for i in range(3):
        for j in range(3):
            z = padded[r + i, c + j]
            window[3 * i + j] = z
            total += z
    if math.isnan(total):
        _known(window)


@njit(cache=True, nogil=True)
def slope_aspect(padded, cell_m, convergence_deg, row0, row1, slope, aspect, east, north):
    """Horn's slope and aspect, and the east and north parts of the gradient, for rows row0 to row1.

    Parameters
    ----------
    padded : (rows + 2, cols + 2) float32
        Elevation with one cell more on each side; NaN is unknown.
    cell_m, convergence_deg : float
        Cell size; added to the grid azimuth to give the true one.
    row0, row1 : int
        Rows to fill.
    slope, aspect, east, north : (rows, cols) float32, out
        Degrees; degrees clockwise from north, NaN on level ground; rise per metre to grid east and grid
        north.
    """
    cols = slope.shape[1]
    window = np.empty(9, np.float32)
    scale = 1.0 / (8.0 * cell_m)
    for r in range(row0, row1):
        for c in range(cols):
            if math.isnan(padded[r + 1, c + 1]):
                slope[r, c] = aspect[r, c] = east[r, c] = north[r, c] = np.nan
                continue
            _read(padded, r, c, window)
            a, b, d, e, f, g, h, i = (
                window[0], window[1], window[2], window[3], window[5], window[6], window[7], window[8],
            )  # fmt: skip
            x = ((d + f + f + i) - (a + e + e + g)) * scale
            y = ((a + b + b + d) - (g + h + h + i)) * scale
            slope[r, c] = math.atan(math.sqrt(x * x + y * y)) * _DEG
            east[r, c], north[r, c] = x, y
            if x == 0.0 and y == 0.0:
                aspect[r, c] = np.nan
                continue
            azimuth = np.float32((math.atan2(-x, -y) * _DEG + convergence_deg) % 360.0)
            aspect[r, c] = azimuth if azimuth < 360.0 else np.float32(0.0)


@njit(cache=True, nogil=True)
def curvature(padded, cell_m, row0, row1, plan, profile):
    """Plan (contour) and profile curvature, 1/m, convex positive, of Evans' quadric, for rows row0 to row1.

    Plan curvature is held within 1 / cell_m: a contour can't be seen to turn tighter than a cell. Level
    ground has no contour and no fall line: both are NaN there.
    """
    cols = plan.shape[1]
    w = np.empty(9, np.float32)
    most = 1.0 / cell_m
    for r in range(row0, row1):
        for c in range(cols):
            if math.isnan(padded[r + 1, c + 1]):
                plan[r, c] = profile[r, c] = np.nan
                continue
            _read(padded, r, c, w)
            p = ((w[2] + w[5] + w[8]) - (w[0] + w[3] + w[6])) / (6.0 * cell_m)
            q = ((w[0] + w[1] + w[2]) - (w[6] + w[7] + w[8])) / (6.0 * cell_m)
            sides = w[0] + w[2] + w[3] + w[5] + w[6] + w[8]
            across = (sides - 2.0 * (w[1] + w[4] + w[7])) / (3.0 * cell_m * cell_m)
            sides = w[0] + w[1] + w[2] + w[6] + w[7] + w[8]
            along = (sides - 2.0 * (w[3] + w[4] + w[5])) / (3.0 * cell_m * cell_m)
            twist = ((w[2] + w[6]) - (w[0] + w[8])) / (4.0 * cell_m * cell_m)
            fall = p * p + q * q
            if fall == 0.0:
                plan[r, c] = profile[r, c] = np.nan
                continue
            bend = -(q * q * across - 2.0 * p * q * twist + p * p * along) / (fall * math.sqrt(fall))
            plan[r, c] = min(max(bend, -most), most)
            down = p * p * across + 2.0 * p * q * twist + q * q * along
            profile[r, c] = -down / (fall * (1.0 + fall) * math.sqrt(1.0 + fall))


@njit(cache=True, nogil=True)
def _add_row(east, north, r, sign, sums):
    """Add (or take off) the unit normals of a row to the column sums (x, y, z, count)."""
    for c in range(east.shape[1]):
        x, y = np.float64(east[r, c]), np.float64(north[r, c])
        if not math.isnan(x):
            up = sign / math.sqrt(1.0 + x * x + y * y)
            sums[0, c] -= x * up
            sums[1, c] -= y * up
            sums[2, c] += up
            sums[3, c] += sign


@njit(cache=True, nogil=True)
def vector_ruggedness(east, north, half, row0, row1, out):
    """1 - |sum of unit normals| / n over (2 half + 1) squared windows of known cells, for rows row0 to
    row1.
    """
    rows, cols = east.shape
    sums = np.zeros((4, cols))
    for r in range(max(row0 - half, 0), min(row0 + half, rows)):
        _add_row(east, north, r, 1.0, sums)
    for r in range(row0, row1):
        if r + half < rows:
            _add_row(east, north, r + half, 1.0, sums)
        x = y = z = n = 0.0
        for c in range(-half, cols):
            if c + half < cols:
                x += sums[0, c + half]
                y += sums[1, c + half]
                z += sums[2, c + half]
                n += sums[3, c + half]
            if c < 0:
                continue
            if math.isnan(east[r, c]):
                out[r, c] = np.nan
            else:
                out[r, c] = max(0.0, 1.0 - math.sqrt(x * x + y * y + z * z) / n)
            if c - half >= 0:
                x -= sums[0, c - half]
                y -= sums[1, c - half]
                z -= sums[2, c - half]
                n -= sums[3, c - half]
        if r - half >= 0:
            _add_row(east, north, r - half, -1.0, sums)

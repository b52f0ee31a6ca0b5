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
_TINY = 1.0e-300  # keeps a division by zero out of level ground; lost in any other sum


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
def _arc(t):
    """Arc tangent in degrees of 0 <= t <= 1, within 1e-7 degrees; exactly 0 at 0.

    A polynomial through Chebyshev's points of arctan(t) / t in the square of t: unlike the library's
    function it can be taken of many cells at a time.
    """
    u = t * t
    p = -0.0017437011512811296
    p = p * u + 0.010680719477340974
    p = p * u - 0.03071750895815057
    p = p * u + 0.05746355789771015
    p = p * u - 0.08372063950620046
    p = p * u + 0.10940198965909081
    p = p * u - 0.1426157368040763
    p = p * u + 0.19998230640384546
    p = p * u - 0.3333328229551186
    p = p * u + 0.9999999975460195
    return p * t * _DEG


@njit(cache=True, nogil=True, error_model="numpy")
def _gradient(a, b, d, scale, east, north):
    """Horn's rise per metre to grid east and north of a row, from the rows above, of and below it."""
    for c in range(east.size):
        # in GDAL's order of adding, so that single precision rounds alike (tests/reference/test_relief.py)
        x = (a[c + 2] + b[c + 2] + b[c + 2] + d[c + 2]) - (a[c] + b[c] + b[c] + d[c])
        y = (a[c] + a[c + 1] + a[c + 1] + a[c + 2]) - (d[c] + d[c + 1] + d[c + 1] + d[c + 2])
        east[c] = x * scale
        north[c] = y * scale


@njit(cache=True, nogil=True, error_model="numpy")
def _angles(east, north, turn, slope, aspect):
    """Slope, and azimuth of the fall turned by `turn`, of a row of gradients; NaN azimuth on level ground."""
    for c in range(east.size):
        x, y = np.float64(east[c]), np.float64(north[c])
        wide, long = abs(x), abs(y)
        low, high = min(wide, long), max(wide, long)
        rise = math.sqrt(x * x + y * y)
        arc = _arc(min(rise, 1.0 / (rise + _TINY)))
        slope[c] = arc if rise <= 1.0 else 90.0 - arc
        arc = _arc(low / (high + _TINY))
        arc = 90.0 - arc if wide > long else arc
        arc = 180.0 - arc if y > 0.0 else arc
        arc = (360.0 - arc if x > 0.0 else arc) + turn
        arc = arc - 360.0 if arc >= 360.0 else arc
        arc = np.float64(np.float32(arc))
        arc = 0.0 if arc >= 360.0 else arc
        aspect[c] = arc if high > 0.0 else np.nan


@njit(cache=True, nogil=True)
def _beside_unknown(padded, r, scale, east, north):
    """Gradients of a row's known cells that have unknown neighbours, which are filled in; see `_known`."""
    w = np.empty(9, np.float32)
    for c in range(east.size):
        if math.isnan(east[c] + north[c]) and not math.isnan(padded[r + 1, c + 1]):
            _read(padded, r, c, w)
            east[c] = ((w[2] + w[5] + w[5] + w[8]) - (w[0] + w[3] + w[3] + w[6])) * scale
            north[c] = ((w[0] + w[1] + w[1] + w[2]) - (w[6] + w[7] + w[7] + w[8])) * scale


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
    scale, turn = 1.0 / (8.0 * cell_m), convergence_deg % 360.0
    for r in range(row0, row1):
        _gradient(padded[r], padded[r + 1], padded[r + 2], scale, east[r], north[r])
        _beside_unknown(padded, r, scale, east[r], north[r])
        for c in range(slope.shape[1]):
            if math.isnan(padded[r + 1, c + 1]):
                east[r, c] = north[r, c] = np.nan
        _angles(east[r], north[r], turn, slope[r], aspect[r])


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

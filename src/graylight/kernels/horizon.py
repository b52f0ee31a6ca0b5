"""Shadow of the ground: one sweep over the grid for one place of the sun, and what follows from it for light.

The grid is swept along its *main* axis, the one nearer to the sun's azimuth, from the sun's side to the
far side. Straight lines run with the light, one for each cell across (the *cross* axis), and each keeps the
height up to which it is in shadow: the highest ground it has met, lowered by its distance times the tangent
of the sun's altitude. Ground under a line lies between two cells of a row and is taken linearly between them;
a cell lies between two lines and its shadow is taken linearly between theirs. That is the only smoothing:
nothing is carried from cell to cell, so a shadow does not spread or fade with distance. Cost: a few
operations per cell.

Lines are numbered across the whole grid and are independent of each other, so any range of them can be run
alone: a range writes the cells that lie between its lines and no others.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

__all__ = ["cast_shadow", "first_light", "shade_percent"]

_ROUNDING_M = 1.0e-4
"""Shadows shallower than this are rounding of the interpolation on level ground, not shadows."""


@njit(cache=True, nogil=True)
def cast_shadow(ground, base, main, main_step, cross, cross_step, lean, fall_m, offset, line0, line1, out):
    """Height of each cell above the shadow that the ground casts on it.

    Parameters
    ----------
    ground : (rows * cols,) float32
        Elevation in metres; NaN casts no shadow.
    base, main, main_step, cross, cross_step : int
        Where the sweep begins, and the number of cells and the step in `ground` along and across it.
    lean : float
        Cells across per cell along the sweep, -1 to 1.
    fall_m : float
        Fall of the light, in metres, per cell along the sweep.
    offset : int
        Line k lies at ``k - offset + i * lean`` across, in step i.
    line0, line1 : int
        Range of lines; the cells between line0 and line1 are written.
    out : (rows * cols,) float32
        Metres above the shadow; negative in shadow, +inf where no ground stands toward the sun, NaN where
        the ground is NaN.
    """
    width = line1 - line0 + 1
    shadow = np.full(width, -np.inf)
    for i in range(main):
        where = offset - i * lean
        shift = math.floor(where)
        part = where - shift  # cells lie this far from their lower line to their upper one
        row = base + i * main_step
        first = max(line0 - shift, 0)
        last = min(line1 - shift, cross)
        for j in range(first, last):
            low = shadow[j + shift - line0]
            high = shadow[j + shift + 1 - line0]
            low = high if low == -np.inf else low
            high = low if high == -np.inf else high
            at = row + j * cross_step
            out[at] = ground[at] - (low if low == high else low + part * (high - low))
        for j in range(max(line0 - shift, 0), min(line1 + 1 - shift, cross + 1)):
            a = ground[row + max(j - 1, 0) * cross_step]
            b = ground[row + min(j, cross - 1) * cross_step]
            a = b if math.isnan(a) else a
            b = a if math.isnan(b) else b
            under = np.float64(b) + part * (np.float64(a) - np.float64(b))
            k = j + shift - line0
            if under > shadow[k]:
                shadow[k] = under
        for k in range(width):
            shadow[k] -= fall_m


@njit(cache=True, nogil=True)
def first_light(above, before, t_before, t_now, row0, row1, out):
    """Note when cells come into the light between two sweeps.

    Parameters
    ----------
    above, before : (rows, cols) float32
        Metres above the shadow now and in the sweep before.
    t_before, t_now : float
        Times of the sweeps; the moment is taken linearly in the height above the shadow.
    row0, row1 : int
        Range of rows.
    out : (rows, cols) float32
        Time of first light; only NaN cells are filled.
    """
    for r in range(row0, row1):
        for c in range(above.shape[1]):
            if math.isnan(out[r, c]) and above[r, c] >= -_ROUNDING_M:
                deep, high = -before[r, c], above[r, c]
                if deep > 0.0 and deep + high > 0.0 and not math.isinf(deep + high):
                    out[r, c] = t_before + (t_now - t_before) * min(deep / (deep + high), 1.0)
                else:
                    out[r, c] = t_now


@njit(cache=True, nogil=True)
def shade_percent(
    above, east, north, up, through, sun_east, sun_north, sun_up, weight, row0, row1, total, out
):
    """Part of the direct beam, on ground turned squarely to the sun, that the ground does not get.

    Parameters
    ----------
    above : (rows, cols) float32
        Metres above the shadow.
    east, north, up : (rows, cols) float32
        Unit normal of the ground.
    through : (rows, cols) float32
        Part of the beam that the canopy lets through, 0 to 1.
    sun_east, sun_north, sun_up : float
        Unit vector to the sun, in the same frame as the normals.
    weight : float
        What the shade is multiplied with before it is added to `total`.
    row0, row1 : int
        Range of rows.
    total : (rows, cols) float32
        The weighted shade, 0 to 1, is added; NaN where any input is NaN.
    out : (rows, cols) uint8
        Shade in per cent, rounded; 255 where any input is NaN.
    """
    for r in range(row0, row1):
        for c in range(above.shape[1]):
            facing = sun_east * east[r, c] + sun_north * north[r, c] + sun_up * up[r, c]
            beam = max(facing, 0.0) * through[r, c]
            if above[r, c] < -_ROUNDING_M:
                beam = 0.0
            if math.isnan(above[r, c]) or math.isnan(facing) or math.isnan(beam):
                total[r, c] = np.nan
                out[r, c] = 255
            else:
                dark = 1.0 - min(beam, 1.0)
                total[r, c] += weight * dark
                out[r, c] = np.uint8(100.0 * dark + 0.5)

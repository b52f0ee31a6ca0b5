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
from typing import TypeAlias

import numpy as np
from numba import njit
from numpy.typing import NDArray

__all__ = ["cast_shadow", "first_light", "shade_percent"]

Raster: TypeAlias = NDArray[np.float32]
Lines: TypeAlias = NDArray[np.float64]

_ROUNDING_M = 1.0e-4
"""Shadows shallower than this are rounding of the interpolation on level ground, not shadows."""


@njit(cache=True, nogil=True)
def _write_cells(
    ground: Raster,
    at: int,
    step: int,
    cells: int,
    part: float,
    k: int,
    shadow: Lines,
    far: Lines,
    above: Raster,
    away: Raster,
) -> None:
    """Fill a run of cells from the lines on either side of each; cells lie `part` beyond their lower line."""
    for _ in range(cells):
        low, high = shadow[k], shadow[k + 1]
        if part == 0.0 or high == -np.inf:
            dark, from_m = low, far[k]
        elif low == -np.inf:
            dark, from_m = high, far[k + 1]
        else:
            dark, from_m = low + part * (high - low), far[k] if part < 0.5 else far[k + 1]
        above[at] = ground[at] - dark
        away[at] = from_m
        at += step
        k += 1


@njit(cache=True, nogil=True)
def _meet_ground(
    ground: Raster,
    row: int,
    step: int,
    cross: int,
    part: float,
    first: int,
    last: int,
    k: int,
    shadow: Lines,
    far: Lines,
) -> None:
    """Lift the shadows of a run of lines to the ground under them, where it stands higher."""
    for j in range(first, last):
        a = ground[row + max(j - 1, 0) * step]
        b = ground[row + min(j, cross - 1) * step]
        a = b if math.isnan(a) else a
        b = a if math.isnan(b) else b
        under = np.float64(b) + part * (np.float64(a) - np.float64(b))
        if under > shadow[k]:
            shadow[k] = under
            far[k] = 0.0
        k += 1


@njit(cache=True, nogil=True)
def cast_shadow(
    ground: Raster,
    base: int,
    main: int,
    main_step: int,
    cross: int,
    cross_step: int,
    lean: float,
    step_m: float,
    fall_m: float,
    offset: int,
    line0: int,
    line1: int,
    above: Raster,
    away: Raster,
) -> None:
    """Height of each cell above the shadow that the ground casts on it, and what casts it.

    Parameters
    ----------
    ground : (rows * cols,) float32
        Elevation in metres; NaN casts no shadow.
    base, main, main_step, cross, cross_step : int
        Where the sweep begins, and the number of cells and the step in `ground` along and across it.
    lean : float
        Cells across per cell along the sweep, -1 to 1.
    step_m, fall_m : float
        Way of the light over the ground, and its fall, in metres per cell along the sweep.
    offset : int
        Line k lies at ``k - offset + i * lean`` across, in step i.
    line0, line1 : int
        Range of lines; the cells between line0 and line1 are written.
    above : (rows * cols,) float32
        Metres above the shadow; negative in shadow, +inf where no ground stands toward the sun, NaN where
        the ground is NaN.
    away : (rows * cols,) float32
        Metres over the ground to what casts that shadow, by the nearer line; +inf where nothing does.
    """
    shadow = np.full(line1 - line0 + 1, -np.inf)
    far = np.full(line1 - line0 + 1, np.inf)
    for i in range(main):
        where = offset - i * lean
        shift = math.floor(where)
        part = where - shift
        row = base + i * main_step
        j = max(line0 - shift, 0)
        k = j + shift - line0
        cells = max(min(line1 - shift, cross) - j, 0)
        _write_cells(ground, row + j * cross_step, cross_step, cells, part, k, shadow, far, above, away)
        beyond = 1 if part > 0.0 else 0  # the line just past the last cell, while less than a cell off
        last = min(line1 + 1 - shift, cross + beyond)
        _meet_ground(ground, row, cross_step, cross, part, j, last, k, shadow, far)
        shadow -= fall_m
        far += step_m


@njit(cache=True, nogil=True)
def first_light(
    above: Raster,
    before: Raster,
    away: Raster,
    tan_before: float,
    tan_now: float,
    t_before: float,
    t_now: float,
    row0: int,
    row1: int,
    out: Raster,
) -> None:
    """Note when cells come into the light between two sweeps.

    A cell that lay `before` under a shadow cast from `away` is free of it once the tangent of the sun's
    altitude has grown by depth over distance; the moment is taken linearly in the tangent.

    Parameters
    ----------
    above, before : (rows, cols) float32
        Metres above the shadow now and in the sweep before; `before` is all NaN in the first sweep.
    away : (rows, cols) float32
        Metres to what cast the shadow in the sweep before.
    tan_before, tan_now, t_before, t_now : float
        Tangents of the sun's altitude, and times, of the two sweeps.
    row0, row1 : int
        Range of rows.
    out : (rows, cols) float32
        Time of first light; only NaN cells are filled.
    """
    for r in range(row0, row1):
        for c in range(above.shape[1]):
            if math.isnan(out[r, c]) and above[r, c] >= -_ROUNDING_M:
                out[r, c] = t_now
                wanting = (tan_now - tan_before) * away[r, c]
                if -before[r, c] < wanting:  # false in the first sweep, where there is no before
                    out[r, c] = t_before + (t_now - t_before) * max(-before[r, c], 0.0) / wanting


@njit(cache=True, nogil=True)
def shade_percent(
    above: Raster,
    east: Raster,
    north: Raster,
    up: Raster,
    through: Raster,
    sun_east: float,
    sun_north: float,
    sun_up: float,
    weight: float,
    row0: int,
    row1: int,
    total: Raster,
    out: NDArray[np.uint8],
) -> None:
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

"""Shadow of the ground by another way than the engine's: one sweep for one place of the sun carries shadows along.

The engine keeps horizons (`graylight.kernels.skyline`); this keeps the height of the shadow instead.

The grid is swept along its *main* axis, the one nearer to the sun's azimuth, from the sun's side to the
far side. Straight lines run with the light, one for each cell across (the *cross* axis), and each keeps the
height up to which it is in shadow: the highest ground it has met, lowered by its distance times the tangent
of the sun's altitude. Ground under a line lies between two cells of a row and is taken linearly between them;
a cell lies between two lines and its shadow is taken linearly between theirs. That is the only smoothing:
nothing is carried from cell to cell, so a shadow does not spread or fade with distance. Cost: a few
operations per cell.
"""

from __future__ import annotations

import math
from typing import TypeAlias

import numpy as np
from numba import njit
from numpy.typing import NDArray

__all__ = ["height_above_shadow"]

Raster: TypeAlias = NDArray[np.float32]
Lines: TypeAlias = NDArray[np.float64]


@njit
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


@njit
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


@njit
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


def height_above_shadow(ground_m, *, cell_m, azimuth_grid_deg, altitude_deg):
    """Metres above the shadow, negative in it; +inf where no ground lies toward the sun, NaN where there is none."""
    ground = np.ascontiguousarray(ground_m, dtype=np.float32)
    above, away = np.empty_like(ground), np.empty_like(ground)
    base, main, main_step, cross, cross_step, lean = _sweep(ground.shape, math.radians(azimuth_grid_deg))
    step_m = cell_m * math.hypot(1.0, lean)
    offset = math.ceil(max((main - 1) * lean, 0.0))
    lines = cross + math.ceil((main - 1) * abs(lean)) + 1
    fall_m = step_m * math.tan(math.radians(min(altitude_deg, 89.99)))
    way = (base, main, main_step, cross, cross_step, lean, step_m, fall_m, offset, 0, lines)
    cast_shadow(ground.ravel(), *way, above.ravel(), away.ravel())
    return above


def _sweep(shape, azimuth):
    rows, cols = shape
    down, right = math.cos(azimuth), -math.sin(azimuth)
    if abs(down) >= abs(right):
        base, step = (0, cols) if down > 0 else ((rows - 1) * cols, -cols)
        return base, rows, step, cols, 1, round(right / abs(down), 12)
    base, step = (0, 1) if right > 0 else (cols - 1, -1)
    return base, cols, step, rows, cols, round(down / abs(right), 12)

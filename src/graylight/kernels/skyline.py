"""The horizon of every cell in one direction: how high the ground stands toward it, and the sun against it.

The grid is swept along its *main* axis, the one nearer to the azimuth, from the far side. Straight lines run through
it, one for each cell across (the *cross* axis); ground under a line is linear between the two cells of a row. Each
line keeps the *upper hull* of the ground it has met: the points that a tangent from behind can touch. Ground that
joins the hull drops from it what it hides, and each point can be dropped once only; so a direction costs a few
operations a cell whatever the relief and however far the horizon. A cell lies between two lines, and its horizon is
taken linearly between that of the ground under the one and under the other. (Looking along the two lines from the
cell's own height instead puts the horizon of every side slope too high: the one line runs into the slope.) A cell
at the side of the grid, beside which one of its lines runs, takes the other.

Curvature bends all the ground behind a point by the square of the distance. Taken off as the square of the place
along the line, it leaves straight lines straight but for a term that is the same for all that one point sees: so
the hull stays exact.

Lines are numbered across the whole grid and are independent of each other, so any range of them can be run alone: a
range writes the cells that lie between its lines and no others.
"""

from __future__ import annotations

import math
from typing import TypeAlias

import numpy as np
from numba import njit
from numpy.typing import NDArray

__all__ = [
    "BLOCK",
    "NONE",
    "PER_DEG",
    "UNKNOWN",
    "between",
    "look_far",
    "meet_sun",
    "shade_percent",
    "sharpen",
    "skyline",
]

Raster: TypeAlias = NDArray[np.float32]
Codes: TypeAlias = NDArray[np.int16]
Bytes: TypeAlias = NDArray[np.uint8]

PER_DEG = 200
"""Codes to a degree: the quantum is 0.005 degrees, which the sun climbs in about 2 s."""
_PER_RADIAN = PER_DEG * 180.0 / math.pi
UNKNOWN = -32768
"""Code where the ground is not known."""
NONE = -32767
"""Code where the grid ends before any ground is met."""


@njit(cache=True, nogil=True)
def _touched(at, up, size, i, height_m):
    """Place in the hull that a tangent from (i, height_m) touches, and its slope; slopes along a hull rise, then fall."""
    k = size - 1
    rise, run = up[k] - height_m, i - at[k]
    while k > 0:
        farther_rise, farther_run = up[k - 1] - height_m, i - at[k - 1]
        if farther_rise * run < rise * farther_run:  # their slopes compared, without dividing
            break
        rise, run = farther_rise, farther_run
        k -= 1
    return k, rise / run


@njit(cache=True, nogil=True)
def _look_along(ground, base, main, main_step, cross, cross_step, shift, part, bent, line, at, up, out):
    """Slope to the horizon, in metres a step, from the ground under a line at each of its steps."""
    size = 0
    for i in range(main):
        out[i] = np.nan
        j = line - shift[i]
        if j < 0 or j >= cross or (j == 0 and part[i] > 0.0):  # a line beside the grid meets no ground
            continue
        b = np.float64(ground[base + i * main_step + j * cross_step])
        a = b if part[i] == 0.0 else np.float64(ground[base + i * main_step + (j - 1) * cross_step])
        under = b + part[i] * (a - b)
        known = not math.isnan(under)
        if not known:  # beside a hole the one cell that is known looks out, but hides nothing
            under = a if math.isnan(b) else b
        under -= bent * i * i
        if size > 0 and not math.isnan(under):
            k, slope = _touched(at, up, size, i, under)
            out[i] = slope - 2.0 * bent * i
            size = k + 1 if known else size
        if not known:
            continue
        at[size] = i
        up[size] = under
        size += 1


@njit(cache=True, nogil=True)
def _write_cells(ground, base, main, main_step, cross, cross_step, shift, part, step_m, line, low, high, out):
    """Horizons of the cells between a line and the next, from the slopes along the two."""
    for i in range(main):
        j = line - shift[i]
        if 0 <= j < cross:
            cell = base + i * main_step + j * cross_step
            a, b = low[i], high[i]
            if part[i] == 0.0 or math.isnan(b):
                b = a
            elif math.isnan(a):
                a = b
            code = NONE
            if math.isnan(ground[cell]):
                code = UNKNOWN
            elif not math.isnan(a):
                angle = math.atan((a + part[i] * (b - a)) / step_m)
                code = math.floor(angle * _PER_RADIAN + 0.5)
            out[cell] = code


@njit(cache=True, nogil=True)
def skyline(
    ground: Raster,
    base: int,
    main: int,
    main_step: int,
    cross: int,
    cross_step: int,
    lean: float,
    step_m: float,
    bend: float,
    offset: int,
    line0: int,
    line1: int,
    out: Codes,
) -> None:
    """Elevation angle of the horizon of each cell toward where the sweep comes from.

    Parameters
    ----------
    ground : (rows * cols,) float32
        Elevation in metres; NaN hides nothing.
    base, main, main_step, cross, cross_step : int
        Where the sweep begins, and the number of cells and the step in `ground` along and across it.
    lean : float
        Cells across per cell along the sweep, -1 to 1.
    step_m : float
        Way over the ground in metres per cell along the sweep.
    bend : float
        Fall of the ground by curvature less refraction in metres per square metre of distance.
    offset : int
        Line k lies at ``k - offset + i * lean`` across, in step i.
    line0, line1 : int
        Range of lines; the cells between line0 and line1 are written.
    out : (rows * cols,) int16
        Angle above the horizontal in 1 / PER_DEG degrees, rounded; NONE where no ground lies that way on the
        grid, UNKNOWN where the cell's own height is NaN.
    """
    at, up = np.empty(main), np.empty(main)
    low, high = np.empty(main), np.empty(main)
    where = offset - np.arange(main) * lean
    shift = np.floor(where).astype(np.int64)
    way = (base, main, main_step, cross, cross_step, shift, where - shift)
    bent = bend * step_m * step_m
    _look_along(ground, *way, bent, line0, at, up, low)
    for line in range(line0, line1):
        _look_along(ground, *way, bent, line + 1, at, up, high)
        _write_cells(ground, *way, step_m, line, low, high, out)
        low, high = high, low


@njit(cache=True, nogil=True)
def meet_sun(
    horizon: Codes,
    before: Codes,
    sun: float,
    sun_before: float,
    t: float,
    t_before: float,
    row0: int,
    row1: int,
    first: Raster,
    last: Raster,
    lit: Raster,
) -> None:
    """Note where the sun comes over the ground's horizon, or goes under it, between two moments.

    The sun's height over the horizon is taken linearly in time between the two. A horizon below the horizontal,
    or none, counts as level: what lies beyond the grid is not known.

    Parameters
    ----------
    horizon, before : (rows, cols) int16
        Codes of the horizon below the sun now and at the moment before.
    sun, sun_before : float
        Altitude of the sun's upper edge in the same codes.
    t, t_before : float
        The two moments in seconds.
    row0, row1 : int
        Range of rows.
    first, last : (rows, cols) float32
        Time of the first sun (only NaN is filled) and of the last (every later one overwrites).
    lit : (rows, cols) float32
        Seconds of sun, added to; NaN where the ground is not known.
    """
    for r in range(row0, row1):
        for c in range(horizon.shape[1]):
            if horizon[r, c] == UNKNOWN:
                lit[r, c] = np.nan
                continue
            over = sun - max(horizon[r, c], 0)
            was = sun_before - max(before[r, c], 0)
            if over < 0.0 and was < 0.0:
                continue
            begin, end = t_before, t
            if was < 0.0:
                begin = t - (t - t_before) * over / (over - was)
            elif over < 0.0:
                end = t_before + (t - t_before) * was / (was - over)
            if math.isnan(first[r, c]):
                first[r, c] = begin
            last[r, c] = end
            lit[r, c] += end - begin


@njit(cache=True, nogil=True)
def between(low: Codes, high: Codes, part: float, row0: int, row1: int, out: Codes) -> None:
    """Horizon in a direction between two others, linear in the angle.

    Parameters
    ----------
    low, high : (rows, cols) int16
        Codes of the horizon in the two directions. Where one of them has none, the other stands for both.
    part : float
        Where the direction lies, 0 at `low` to 1 at `high`.
    row0, row1 : int
        Range of rows.
    out : (rows, cols) int16
        Codes of the horizon.
    """
    for r in range(row0, row1):
        for c in range(low.shape[1]):
            a, b = low[r, c], high[r, c]
            if a == UNKNOWN or b == UNKNOWN:
                out[r, c] = UNKNOWN
            elif part == 0.0 or b == NONE:
                out[r, c] = a
            elif a == NONE:
                out[r, c] = b
            else:
                out[r, c] = np.int16(math.floor(a + part * (b - a) + 0.5))


@njit(cache=True, nogil=True)
def shade_percent(
    horizon: Codes,
    east: Raster,
    north: Raster,
    up: Raster,
    through: Raster,
    limb: float,
    sun_east: float,
    sun_north: float,
    sun_up: float,
    weight: float,
    row0: int,
    row1: int,
    total: Raster,
    lit: Bytes,
    out: Bytes,
) -> None:
    """Part of the direct beam, on ground turned squarely to the sun, that the ground does not get.

    Parameters
    ----------
    horizon : (rows, cols) int16
        Codes of the horizon below the sun; below the horizontal, or none, counts as level.
    east, north, up : (rows, cols) float32
        Unit normal of the ground.
    through : (rows, cols) float32
        Part of the beam that the canopy lets through, 0 to 1.
    limb : float
        Altitude of the sun's upper edge, in the codes' unit.
    sun_east, sun_north, sun_up : float
        Unit vector to the sun, in the same frame as the normals.
    weight : float
        What the shade is multiplied with before it is added to `total`.
    row0, row1 : int
        Range of rows.
    total : (rows, cols) float32
        The weighted shade, 0 to 1, is added; NaN where the ground is not known.
    lit : (rows, cols) uint8
        1 where the terrain leaves any of the sun, 0 where none; 255 where the ground is not known.
    out : (rows, cols) uint8
        Shade in per cent, rounded; 255 where the ground is not known.
    """
    for r in range(row0, row1):
        for c in range(horizon.shape[1]):
            if horizon[r, c] == UNKNOWN:
                total[r, c] = np.nan
                lit[r, c] = out[r, c] = 255
                continue
            shines = limb >= max(horizon[r, c], 0)
            facing = sun_east * east[r, c] + sun_north * north[r, c] + sun_up * up[r, c]
            beam = max(facing, 0.0) * through[r, c] if shines else 0.0
            dark = 1.0 - min(beam, 1.0)
            total[r, c] += weight * dark
            lit[r, c] = shines
            out[r, c] = np.uint8(100.0 * dark + 0.5)


@njit(cache=True, nogil=True)
def look_far(
    ground: Raster,
    rows: NDArray[np.int64],
    cols: NDArray[np.int64],
    eye_m: float,
    row_step: float,
    col_step: float,
    step_m: float,
    bend: float,
    highest_m: float,
    least: float,
    enough: float,
    out: NDArray[np.float64],
) -> None:
    """Horizon of a few cells in one direction, each along its own ray.

    Parameters
    ----------
    ground : (rows, cols) float32
        Elevation in metres; NaN hides nothing.
    rows, cols : (n,) int64
        The cells.
    eye_m : float
        Height of the eye above the ground.
    row_step, col_step : float
        The ray's way in cells from step to step; the larger of the two is 1 or -1.
    step_m : float
        Metres a step.
    bend : float
        Fall of the ground by curvature less refraction in metres per square metre of distance.
    highest_m : float
        Highest ground of all: no ray goes on where not even that could rise above what it has met.
    least, enough : float
        Tangents that one cares for: a ray also ends where no ground could rise above the one (0 or more), or once it
        has met ground above the other; 0 and infinity for the whole horizon.
    out : (n,) float64
        Tangent of the horizon's angle; -inf where no ground lies that way, NaN where the cell's height is NaN.
    """
    n, m = ground.shape
    for p in range(rows.size):
        height_m = np.float64(ground[rows[p], cols[p]]) + eye_m
        best = -np.inf
        i = 1
        while not math.isnan(height_m):
            y, x = rows[p] + i * row_step, cols[p] + i * col_step
            if y < 0.0 or x < 0.0 or y > n - 1 or x > m - 1:
                break
            far_m = i * step_m
            bar = max(best, least)
            if best > enough or (bar > 0.0 and highest_m - height_m < bar * far_m):
                break
            r, c = int(y), int(x)
            a = np.float64(ground[r, c])
            b = np.float64(ground[min(r + 1, n - 1), c] if y > r else ground[r, min(c + 1, m - 1)])
            a = b if math.isnan(a) else a
            b = a if math.isnan(b) else b
            met_m = a + (b - a) * ((y - r) if y > r else (x - c))
            if not math.isnan(met_m):
                best = max(best, (met_m - height_m) / far_m - bend * far_m)
            i += 1
        out[p] = np.nan if math.isnan(height_m) else best


BLOCK = 8
"""Cells to a side of the blocks whose highest ground lets a ray jump over them."""


@njit(cache=True, nogil=True)
def _jump(y, x, row_step, col_step):
    """How many steps a ray may go on without leaving its block, at least one."""
    edge_r = BLOCK * (int(y) // BLOCK) + (BLOCK if row_step > 0.0 else 0)
    edge_c = BLOCK * (int(x) // BLOCK) + (BLOCK if col_step > 0.0 else 0)
    down = (edge_r - y) / row_step if row_step != 0.0 else 1e9
    right = (edge_c - x) / col_step if col_step != 0.0 else 1e9
    return max(1, int(min(down, right)))


@njit(cache=True, nogil=True)
def _hidden(ground, high, row, col, row_step, col_step, per_step, bend, highest_m):
    """Whether ground along a cell's own ray stands above a line that rises `per_step` metres a step."""
    n, m = ground.shape
    height_m = np.float64(ground[row, col])
    i = 1
    while True:
        y, x = row + i * row_step, col + i * col_step
        if y < 0.0 or x < 0.0 or y > n - 1 or x > m - 1:
            return False
        line_m = height_m + i * per_step + i * i * bend
        if line_m > highest_m:
            return False
        r, c = int(y), int(x)
        if line_m > high[r // BLOCK, c // BLOCK]:  # the line only rises: nothing of the block reaches it
            i += _jump(y, x, row_step, col_step)
            continue
        a = np.float64(ground[r, c])
        b = np.float64(ground[min(r + 1, n - 1), c] if y > r else ground[r, min(c + 1, m - 1)])
        a = b if math.isnan(a) else a
        b = a if math.isnan(b) else b
        if a + (b - a) * ((y - r) if y > r else (x - c)) > line_m:
            return True
        i += 1


@njit(cache=True, nogil=True)
def _dark(ground, high, r, c, way, k, highest_m):
    """Whether the ground hides the whole sun from a cell at a step of time."""
    return _hidden(ground, high, r, c, way[k, 0], way[k, 1], way[k, 2], way[k, 3], highest_m)


@njit(cache=True, nogil=True)
def _edge(ground, high, r, c, way, k, most, highest_m):
    """A dark and a lit step of time about a given one, the dark before the lit; -1 for one that is not found."""
    n = way.shape[0]
    lit = not _dark(ground, high, r, c, way, k, highest_m)
    before, reach = k, 1
    while reach <= most:
        j = k - reach if lit else k + reach
        if j < 0 or j >= n:
            j = 0 if lit else n - 1
        if j == before:
            break
        if _dark(ground, high, r, c, way, j, highest_m) == lit:
            return (j, before) if lit else (before, j)
        before, reach = j, 2 * reach
    return (-1, before) if lit else (before, -1)


@njit(cache=True, nogil=True)
def sharpen(
    ground: Raster,
    high: Raster,
    way: NDArray[np.float64],
    begin_s: float,
    step_s: float,
    most: int,
    highest_m: float,
    row0: int,
    row1: int,
    first: Raster,
) -> None:
    """Set the time of the first sun right by each cell's own ray, where the swept horizons put it wrong.

    With time running backward (a step below 0, and `way` in that order) it is the last sun.

    Parameters
    ----------
    ground : (rows, cols) float32
        Elevation in metres; NaN hides nothing.
    high : (ceil(rows / BLOCK), ceil(cols / BLOCK)) float32
        Highest ground of each block and of the cells next to it below and to the right; -inf where none is known.
    way : (n, 4) float64
        Where the sun stands at each step of time: its ray in rows and columns a step (the larger of the two 1 or -1),
        metres that the ray rises a step, and metres that the ground falls away by curvature at the first step.
    begin_s, step_s : float
        Time of the first row of `way`, and from one to the next; seconds.
    most : int
        So many steps to either side of the time given are looked at; where the edge is not among them it is kept.
    highest_m : float
        Highest ground of all.
    row0, row1 : int
        Range of rows.
    first : (rows, cols) float32
        Time of the first sun, changed in place; NaN is left.
    """
    n = way.shape[0]
    for r in range(row0, row1):
        for c in range(ground.shape[1]):
            t = first[r, c]
            if math.isnan(t):
                continue
            k = min(max(math.ceil((t - begin_s) / step_s - 1e-6), 0), n - 1)
            dark_k, lit_k = _edge(ground, high, r, c, way, k, most, highest_m)
            if dark_k < 0 and lit_k == 0:
                first[r, c] = begin_s
            if dark_k < 0 or lit_k < 0:
                continue
            while lit_k - dark_k > 1:
                j = (lit_k + dark_k) // 2
                if _dark(ground, high, r, c, way, j, highest_m):
                    dark_k = j
                else:
                    lit_k = j
            dark_s, lit_s = begin_s + dark_k * step_s, begin_s + lit_k * step_s
            if t < min(dark_s, lit_s) or t > max(dark_s, lit_s):
                first[r, c] = 0.5 * (dark_s + lit_s)

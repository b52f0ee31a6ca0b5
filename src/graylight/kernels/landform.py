"""What lies around a cell: the ten geomorphons, and how much of the horizon is ringed by higher ground.

Jasiewicz, J. & Stepinski, T. F. (2013), Geomorphons - a pattern recognition approach to classification and
mapping of landforms, doi:10.1016/j.geomorph.2012.11.005.

Both look along straight lines of cells. A whole row is taken at once, step by step, so that the processor
can work on many cells at a time; unknown cells (NaN) compare as neither steeper nor less steep and so are
passed over.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

__all__ = ["FORM_OF_COUNTS", "geomorphons", "ringed"]

FORM_OF_COUNTS = np.array(
    [
        [1, 1, 1, 8, 8, 9, 9, 9, 10],
        [1, 1, 8, 8, 8, 9, 9, 9, 0],
        [1, 4, 6, 6, 7, 7, 9, 0, 0],
        [4, 4, 6, 6, 6, 7, 0, 0, 0],
        [4, 4, 5, 6, 6, 0, 0, 0, 0],
        [3, 3, 5, 5, 0, 0, 0, 0, 0],
        [3, 3, 3, 0, 0, 0, 0, 0, 0],
        [3, 3, 0, 0, 0, 0, 0, 0, 0],
        [2, 0, 0, 0, 0, 0, 0, 0, 0],
    ],
    np.uint8,
)
"""Form by [directions in which the ground falls away, directions in which it rises] (the paper's figure
4)."""

_NOTHING = np.float32(1.0e30)
# added to what is kept, so that it is always stored: else the compiler makes masked stores, ten times slower
# on some processors
_ZERO = np.float32(0.0)


@njit(cache=True, nogil=True)
def _steepest(here, there, inverse, up, down):
    """Keep the steepest slope up and down from each cell of a stretch of row to the one that lies as far
    on.
    """
    for c in range(here.size):
        slope = (there[c] - here[c]) * inverse
        up[c] = (slope if slope > up[c] else up[c]) + _ZERO
        down[c] = (slope if slope < down[c] else down[c]) + _ZERO


@njit(cache=True, nogil=True)
def _look(elevation, r, dr, dc, steps, step_m, up, down):
    """Steepest slope up and down from each cell of a row along a direction; (-1e30, 1e30): nothing known
    there.
    """
    rows, cols = elevation.shape
    up[:] = -_NOTHING
    down[:] = _NOTHING
    for k in range(1, steps + 1):
        y, shift = r + k * dr, k * dc
        first, end = max(0, -shift), min(cols, cols - shift)
        if y < 0 or y >= rows or first >= end:
            break
        there = elevation[y, first + shift : end + shift]
        inverse = np.float32(1.0 / (k * step_m))
        _steepest(elevation[r, first:end], there, inverse, up[first:end], down[first:end])


@njit(cache=True, nogil=True)
def _sign(up, down, flat):
    """+1 where the horizon stands higher than the ground falls by more than the flat angle, -1 the other
    way, else 0.

    The sum of the two angles is compared through its tangent, (up + down) / (1 - up down).
    """
    rest = np.float32(1.0) - up * down
    total = up + down
    if rest <= 0.0:
        return 1 if total > 0.0 else -1
    if total > flat * rest:
        return 1
    if total < -flat * rest:
        return -1
    return 0


@njit(cache=True, nogil=True)
def _sign_or_opposite(ups, downs, k, c, flat):
    """The sign of a direction; of the opposite one turned round where nothing is known; 0 where neither
    is.
    """
    if ups[k, c] > -_NOTHING:
        return _sign(ups[k, c], downs[k, c], flat)
    o = (k + 4) % 8
    if ups[o, c] > -_NOTHING:
        return -_sign(ups[o, c], downs[o, c], flat)
    return 0


@njit(cache=True, nogil=True)
def geomorphons(elevation, reach_m, cell_m, flat_tan, table, row0, row1, out):
    """Form 1 to 10 of each known cell, 0 elsewhere, for rows row0 to row1.

    Parameters
    ----------
    elevation : (rows, cols) float32
        NaN is unknown.
    reach_m, cell_m, flat_tan : float
        How far to look; cell size; tangent of the angle within which a direction counts as level.
    table : (9, 9) uint8
        `FORM_OF_COUNTS`.
    row0, row1 : int
        Rows to fill.
    out : (rows, cols) uint8
        Forms. Where nothing is known in one direction the ground is taken to go straight on through the cell.
    """
    cols = elevation.shape[1]
    slanted_m = cell_m * math.sqrt(2.0)
    flat = np.float32(flat_tan)
    ups, downs = np.empty((8, cols), np.float32), np.empty((8, cols), np.float32)
    ways = ((-1, 0), (-1, 1), (0, 1), (1, 1), (1, 0), (1, -1), (0, -1), (-1, -1))
    for r in range(row0, row1):
        for k in range(8):
            dr, dc = ways[k]
            step_m = cell_m if dr == 0 or dc == 0 else slanted_m
            _look(elevation, r, dr, dc, max(1, int(reach_m / step_m)), step_m, ups[k], downs[k])
        for c in range(cols):
            if math.isnan(elevation[r, c]):
                out[r, c] = 0
                continue
            higher = lower = 0
            for k in range(8):
                sign = _sign_or_opposite(ups, downs, k, c, flat)
                higher += sign > 0
                lower += sign < 0
            out[r, c] = table[lower, higher]


@njit(cache=True, nogil=True)
def _highest(here, there, inverse, top, steepest):
    """Keep the greatest rise and slope from each cell of a stretch of row to the one that lies as far on."""
    for c in range(here.size):
        rise = there[c] - here[c]
        slope = rise * inverse
        top[c] = (rise if rise > top[c] else top[c]) + _ZERO
        steepest[c] = (slope if slope > steepest[c] else steepest[c]) + _ZERO


@njit(cache=True, nogil=True)
def _look_up(elevation, r, steps_row, steps_col, steps_m, top, steepest):
    """Greatest rise and steepest slope up from each cell of a row along a way of cells; 0 where nothing
    rises.
    """
    rows, cols = elevation.shape
    top[:] = 0.0
    steepest[:] = 0.0
    for k in range(steps_m.size):
        y, shift = r + steps_row[k], steps_col[k]
        first, end = max(0, -shift), min(cols, cols - shift)
        if y < 0 or y >= rows or first >= end:
            break
        there = elevation[y, first + shift : end + shift]
        inverse = np.float32(1.0) / steps_m[k]
        _highest(elevation[r, first:end], there, inverse, top[first:end], steepest[first:end])


@njit(cache=True, nogil=True)
def ringed(elevation, steps_row, steps_col, steps_m, wall_tan, row0, row1, part, arcs, opening, rise):
    """How each cell is ringed by ground that rises at least as steeply as a wall, for rows row0 to row1.

    Parameters
    ----------
    elevation : (rows, cols) float32
        NaN is unknown; unknown ground and what lies beyond the edge is no wall.
    steps_row, steps_col, steps_m : (directions, steps) int64, int64, float32
        Cell offsets and distances along each direction, clockwise from grid north.
    wall_tan : float
        Tangent of the horizon angle that counts as a wall.
    part, arcs, opening, rise : (rows, cols) float32, uint8, float32, float32, out
        Part of the directions that are walled; number of separate open arcs; middle of the open side, degrees
        clockwise from grid north (NaN: closed all round, or no middle); mean height above the cell of the
        highest ground in the walled directions.
    """
    ways, cols = steps_m.shape[0], elevation.shape[1]
    top, steepest = np.empty((ways, cols), np.float32), np.empty((ways, cols), np.float32)
    walled = np.empty(ways, np.bool_)
    for r in range(row0, row1):
        for k in range(ways):
            _look_up(elevation, r, steps_row[k], steps_col[k], steps_m[k], top[k], steepest[k])
        for c in range(cols):
            total, walls = 0.0, 0
            for k in range(ways):
                walled[k] = steepest[k, c] >= wall_tan
                if walled[k]:
                    total += top[k, c]
                    walls += 1
            part[r, c] = walls / ways
            rise[r, c] = total / max(walls, 1)
            arcs[r, c], opening[r, c] = _open_side(walled)


@njit(cache=True, nogil=True)
def _open_side(walled):
    """Number of open arcs of a ring of directions, and the azimuth of the middle of what is open."""
    ways = walled.size
    arcs, x, y = 0, 0.0, 0.0
    for k in range(ways):
        if walled[k]:
            continue
        arcs += walled[k - 1]
        x += math.sin(2.0 * math.pi * k / ways)
        y += math.cos(2.0 * math.pi * k / ways)
    if x * x + y * y < 1e-6:
        return arcs, np.nan
    return arcs, (math.atan2(x, y) * 180.0 / math.pi) % 360.0

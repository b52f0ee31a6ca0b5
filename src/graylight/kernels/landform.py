"""What lies around a cell: the ten geomorphons, and how much of the horizon is ringed by higher ground.

Jasiewicz, J. & Stepinski, T. F. (2013), Geomorphons - a pattern recognition approach to classification and mapping
of landforms, doi:10.1016/j.geomorph.2012.11.005.
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
"""Form by [directions in which the ground falls away, directions in which it rises] (the paper's figure 4)."""


@njit(cache=True, nogil=True)
def _extremes(elevation, r, c, dr, dc, reach, step_m):
    """Steepest slope up and down to any cell along a direction; (-1e30, 1e30) where nothing is known there."""
    rows, cols = elevation.shape
    z = elevation[r, c]
    up, down = np.float32(-1.0e30), np.float32(1.0e30)
    y, x = r + dr, c + dc
    for k in range(1, reach + 1):
        if y < 0 or x < 0 or y >= rows or x >= cols:
            break
        other = elevation[y, x]
        if math.isnan(other):
            break
        slope = (other - z) / np.float32(k * step_m)
        up = max(up, slope)
        down = min(down, slope)
        y += dr
        x += dc
    return up, down


@njit(cache=True, nogil=True)
def _sign(up, down, flat):
    """+1 where the horizon stands higher than the ground falls by more than the flat angle, -1 the other way, else 0.

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
def geomorphons(elevation, reach_m, cell_m, flat_tan, table, row0, row1, out):
    """Form 1 to 10 of each known cell, 0 elsewhere, for rows row0 to row1.

    Parameters
    ----------
    elevation : (rows, cols) float32
        NaN is unknown and ends the line of sight.
    reach_m, cell_m, flat_tan : float
        How far to look; cell size; tangent of the angle within which a direction counts as level.
    table : (9, 9) uint8
        `FORM_OF_COUNTS`.
    row0, row1 : int
        Rows to fill.
    out : (rows, cols) uint8
        Forms. Where nothing is known in one direction the ground is taken to go straight on through the cell.
    """
    diagonal_m = cell_m * math.sqrt(2.0)
    straight, slanted = max(1, int(reach_m / cell_m)), max(1, int(reach_m / diagonal_m))
    flat = np.float32(flat_tan)
    ups, downs = np.empty(8, np.float32), np.empty(8, np.float32)
    ways = ((-1, 0), (-1, 1), (0, 1), (1, 1), (1, 0), (1, -1), (0, -1), (-1, -1))
    for r in range(row0, row1):
        for c in range(elevation.shape[1]):
            if math.isnan(elevation[r, c]):
                out[r, c] = 0
                continue
            for k in range(8):
                dr, dc = ways[k]
                if dr == 0 or dc == 0:
                    ups[k], downs[k] = _extremes(elevation, r, c, dr, dc, straight, cell_m)
                else:
                    ups[k], downs[k] = _extremes(elevation, r, c, dr, dc, slanted, diagonal_m)
            higher = lower = 0
            for k in range(8):
                sign = _sign_or_opposite(ups, downs, k, flat)
                higher += sign > 0
                lower += sign < 0
            out[r, c] = table[lower, higher]


@njit(cache=True, nogil=True)
def _sign_or_opposite(ups, downs, k, flat):
    """The sign of a direction; of the opposite one turned round where nothing is known; 0 where neither is."""
    if ups[k] > np.float32(-1.0e29):
        return _sign(ups[k], downs[k], flat)
    o = (k + 4) % 8
    if ups[o] > np.float32(-1.0e29):
        return -_sign(ups[o], downs[o], flat)
    return 0


@njit(cache=True, nogil=True)
def ringed(elevation, steps_row, steps_col, steps_m, wall_tan, row0, row1, part, arcs, opening, rise):
    """How each cell is ringed by ground that rises at least as steeply as a wall, for rows row0 to row1.

    Parameters
    ----------
    elevation : (rows, cols) float32
        NaN is unknown; a direction in which it is met before any wall counts as open.
    steps_row, steps_col, steps_m : (directions, steps) int64, int64, float32
        Cell offsets and distances along each direction, clockwise from grid north.
    wall_tan : float
        Tangent of the horizon angle that counts as a wall.
    part, arcs, opening, rise : (rows, cols) float32, uint8, float32, float32, out
        Part of the directions that are walled; number of separate open arcs; middle of the open side, degrees
        clockwise from grid north (NaN: closed all round, or no middle); mean height above the cell of the highest
        ground in the walled directions.
    """
    ways, steps = steps_m.shape
    walled = np.empty(ways, np.bool_)
    rows, cols = elevation.shape
    for r in range(row0, row1):
        for c in range(cols):
            part[r, c], arcs[r, c], opening[r, c], rise[r, c] = 0.0, 0, np.nan, 0.0
            z = elevation[r, c]
            if math.isnan(z):
                continue
            total, walls = 0.0, 0
            for k in range(ways):
                top = np.float32(0.0)
                walled[k] = False
                for s in range(steps):
                    y, x = r + steps_row[k, s], c + steps_col[k, s]
                    if y < 0 or x < 0 or y >= rows or x >= cols or math.isnan(elevation[y, x]):
                        break
                    up = elevation[y, x] - z
                    top = max(top, up)
                    walled[k] = walled[k] or up > wall_tan * steps_m[k, s]
                if walled[k]:
                    total += top
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

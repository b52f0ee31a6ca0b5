"""The view from one place, column by column: how far away the ground is that each pixel shows.

The ground is the one of the viewshed kernel: linear along each line that joins neighbouring cell centres. Each
column of the picture is one ray over the grid. It is carried outward over every such line it crosses, none left
out, and keeps the largest slope met so far; a crossing that rises above it shows the pixels in between, and they
lie on the straight stretch from the crossing before to this one. So a skyline is missed by no angle along the
ray itself; what stands between two rays is seen by neither.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

__all__ = ["SKY", "UNKNOWN", "cells_shown", "distances", "lit_pixels", "lookup"]

SKY = -1
"""Row and column of a pixel over which no known ground stands."""
UNKNOWN = -2
"""Row and column of a pixel behind unknown ground: what it shows can't be said."""

_AXIS = 1.0e-12
"""Rays nearer than this to a row or column run along it: the rest is rounding of sine and cosine."""


@njit(cache=True, nogil=True)
def _direction(azimuth, rows, cols, row0, col0):
    """Steps of a ray in the flat raster along its main and its cross axis, cells to the edge, and its lean.

    Returns
    -------
    main_step, cross_step, main_room, cross_room : int
    lean, stretch : float
        Cells across, and length in cells, for each cell along the main axis.
    """
    south, east = -math.cos(azimuth), math.sin(azimuth)
    row_step = cols if south > 0.0 else -cols
    col_step = 1 if east > 0.0 else -1
    row_room = rows - 1 - row0 if south > 0.0 else row0
    col_room = cols - 1 - col0 if east > 0.0 else col0
    a, b = abs(south), abs(east)
    if a >= b:
        lean = b / a if b > _AXIS else 0.0
        return row_step, col_step, row_room, col_room, lean, 1.0 / a
    lean = a / b if a > _AXIS else 0.0
    return col_step, row_step, col_room, row_room, lean, 1.0 / b


@njit(cache=True, nogil=True)
def _show(away, y, tan_up, h0, d0, h1, d1):
    """Give the pixels upward from y their distance while the stretch from (d0, h0) to (d1, h1) rises to them."""
    while y >= 0 and tan_up[y] * d1 <= h1:
        t = tan_up[y]
        below = t * d0 - h0
        whole = below + h1 - t * d1
        part = below / whole if whole > 0.0 else 1.0
        away[y] = d0 + min(max(part, 0.0), 1.0) * (d1 - d0)
        y -= 1
    return y


@njit(cache=True, nogil=True)
def _hide(away, y, tan_up, h1, d1):
    """Say of the pixels upward from y that what they show is not known."""
    while y >= 0 and tan_up[y] * d1 <= h1:
        away[y] = np.float32(UNKNOWN)
        y -= 1
    return y


@njit(cache=True, nogil=True)
def _column(surface, at, ways, eye_z, foot_z, cell_m, bend, radius_m, tan_up, away):
    """Distances of one column, bottom pixel last; returns the largest slope and the farthest known ground."""
    main_step, cross_step, main_room, cross_room, lean, stretch = ways
    y = tan_up.size - 1
    best, reach, gap = -np.inf, 0.0, False
    h0, d0, before, step_m = foot_z - eye_z, 0.0, 0.0, stretch * cell_m
    for i in range(1, main_room + 2):
        x = lean * i
        q = int(x)
        across = int(before) + 1
        # at most one line of the cross axis lies between two of the main axis, and it is met first
        for axis in range(2):
            if axis == 0:
                if not (before < across < x and across <= cross_room and i <= main_room):
                    continue
                along = across / lean
                low = np.float64(surface[at + (i - 1) * main_step + across * cross_step])
                z = low + (along - (i - 1)) * (surface[at + i * main_step + across * cross_step] - low)
            else:
                if i > main_room or x > cross_room:
                    break
                along = np.float64(i)
                z = np.float64(surface[at + i * main_step + q * cross_step])
                if x > q:
                    z += (x - q) * (surface[at + i * main_step + (q + 1) * cross_step] - z)
            d = along * step_m
            if d > radius_m:
                return best, reach
            if math.isnan(z):
                if not gap and reach == 0.0:
                    y = _show(away, y, tan_up, h0, 0.0, h0, 0.5 * step_m)
                gap = True
                continue
            h = z - eye_z - bend * d * d
            reach = d
            if h > best * d:
                y = _hide(away, y, tan_up, h, d) if gap else _show(away, y, tan_up, h0, d0, h, d)
                best = h / d
            h0, d0 = h, d
        if i > main_room or x > cross_room:
            break
        before = x
    if reach == 0.0 and not gap:
        _show(away, y, tan_up, h0, 0.0, h0, 0.5 * step_m)
    return best, reach


@njit(cache=True, nogil=True)
def distances(
    surface,
    row0,
    col0,
    eye_z,
    foot_z,
    cell_m,
    bend,
    radius_m,
    azimuth,
    tan_up,
    x0,
    x1,
    away,
    skyline,
    reach,
):
    """Fill the columns x0 to x1 of a panorama.

    Parameters
    ----------
    surface : (rows, cols) float32
        What is seen and stands in the way, metres. The watcher's own cell is never in the way.
    row0, col0, eye_z, foot_z
        The watcher's cell, and heights of the eye and of the ground under it.
    cell_m, bend, radius_m : float
        Cell size; fall of the ground per square metre of distance; how far to look.
    azimuth : (width,) float64
        Direction of each column, radians clockwise from *grid* north.
    tan_up : (height,) float64
        Tangent of the elevation angle of each pixel row, falling.
    x0, x1 : int
        Range of columns.
    away : (width, height) float32, filled
        Metres over the ground to what each pixel shows; NaN sky, -2 behind unknown ground. Unknown ground with
        none known after it ends the country like its edge.
    skyline : (width,) float64, filled
        Largest slope met; -inf where no ground is known.
    reach : (width,) float32, filled
        Metres to the farthest known ground of the column.
    """
    rows, cols = surface.shape
    flat = surface.reshape(-1)
    at = row0 * cols + col0
    for x in range(x0, x1):
        away[x, :] = np.nan
        ways = _direction(azimuth[x], rows, cols, row0, col0)
        best, far = _column(flat, at, ways, eye_z, foot_z, cell_m, bend, radius_m, tan_up, away[x])
        skyline[x], reach[x] = best, far


@njit(cache=True, nogil=True)
def cells_shown(away, row0, col0, cell_m, azimuth, y0, y1, distance, row, col):
    """Turn distances into the cells nearest to where the rays end, for the pixel rows y0 to y1.

    Parameters
    ----------
    away : (width, height) float32
        As filled by `distances`.
    row0, col0, cell_m, azimuth
        As there.
    y0, y1 : int
        Range of pixel rows.
    distance : (height, width) float32, filled
        Metres; NaN where nothing known is shown.
    row, col : (height, width) int32, filled
        The cell; `SKY`, `UNKNOWN`.
    """
    south, east = -np.cos(azimuth) / cell_m, np.sin(azimuth) / cell_m
    for y in range(y0, y1):
        for x in range(azimuth.size):
            d = away[x, y]
            if d >= 0.0:
                distance[y, x] = d
                row[y, x] = int(math.floor(row0 + d * south[x] + 0.5))
                col[y, x] = int(math.floor(col0 + d * east[x] + 0.5))
            else:
                distance[y, x] = np.nan
                row[y, x] = col[y, x] = SKY if math.isnan(d) else UNKNOWN


@njit(cache=True, nogil=True)
def lookup(raster, row, col, nothing, out):
    """Fill out with the raster's values at the cells shown; `nothing` where no cell is."""
    for y in range(row.shape[0]):
        for x in range(row.shape[1]):
            out[y, x] = raster[row[y, x], col[y, x]] if row[y, x] >= 0 else nothing


@njit(cache=True, nogil=True)
def lit_pixels(ground, row0, col0, cell_m, azimuth, pixel_rad, light, distance, out):
    """Cosine of the angle between light and ground where each pixel's ray ends.

    Parameters
    ----------
    ground : (rows, cols) float32
        Heights, metres.
    row0, col0, cell_m, azimuth
        As in `distances`.
    pixel_rad : float
        Width of a pixel, radians: slopes are taken over no less ground than it shows.
    light : (3,) float64
        Unit vector to the light: east, south, up, by grid north.
    distance : (height, width) float32
        As filled by `cells_shown`.
    out : (height, width) float32, filled
        Linear between cells, so near ground has no steps; level ground where heights are not known; 0 for sky.
    """
    south, east = -np.cos(azimuth) / cell_m, np.sin(azimuth) / cell_m
    for y in range(distance.shape[0]):
        for x in range(distance.shape[1]):
            d = distance[y, x]
            out[y, x] = 0.0
            if math.isnan(d):
                continue
            k = max(1, int(0.5 * d * pixel_rad / cell_m + 0.5))
            r, c = row0 + d * south[x], col0 + d * east[x]
            if (
                d * pixel_rad >= 0.5 * cell_m
            ):  # a pixel spans half a cell or more: steps between cells don't show
                down, right = _rise(ground, int(r + 0.5), int(c + 0.5), k)
            else:
                down, right = _rise_between(ground, r, c, k)
            down, right = down / cell_m, right / cell_m
            if math.isnan(down) or math.isnan(right):
                down = right = 0.0
            facing = light[2] - light[0] * right - light[1] * down
            out[y, x] = facing / math.sqrt(1.0 + down * down + right * right)


@njit(cache=True, nogil=True)
def _rise_between(ground, r, c, k):
    """`_rise` at a place between cells, linear in both directions."""
    rows, cols = ground.shape
    q, p = min(max(int(r), 0), max(rows - 2, 0)), min(max(int(c), 0), max(cols - 2, 0))
    below, beside = min(q + 1, rows - 1), min(p + 1, cols - 1)
    f, g = np.float32(r - q), np.float32(c - p)
    one = np.float32(1.0)
    a_south, a_east = _rise(ground, q, p, k)
    b_south, b_east = _rise(ground, q, beside, k)
    e_south, e_east = _rise(ground, below, p, k)
    h_south, h_east = _rise(ground, below, beside, k)
    south = (one - f) * (a_south + g * (b_south - a_south)) + f * (e_south + g * (h_south - e_south))
    east = (one - f) * (a_east + g * (b_east - a_east)) + f * (e_east + g * (h_east - e_east))
    return south, east


@njit(cache=True, nogil=True)
def _rise(ground, row, col, k):
    """Rise to the south and to the east in metres a cell, over k cells each way, fewer at the edge."""
    rows, cols = ground.shape
    up, down = max(row - k, 0), min(row + k, rows - 1)
    left, right = max(col - k, 0), min(col + k, cols - 1)
    south = (ground[down, col] - ground[up, col]) / np.float32(max(down - up, 1))
    east = (ground[row, right] - ground[row, left]) / np.float32(max(right - left, 1))
    return south, east

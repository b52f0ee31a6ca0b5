"""Line of sight on a grid: the margin, in metres, by which each cell can be seen from one.

The definition is exact on the grid: elevation is linear along each line that joins neighbouring cell centres
(rows and columns); the straight sight line is checked at every crossing with such a line strictly between its
two ends, lowered there by curvature less refraction. `crossing_margin` evaluates it for one pair of cells.

`fan_margin` evaluates it for a whole disc. Each of eight octants is read into a triangle of slopes per unit of
axial distance, S[k, c] for row k across the octant's axis and column c along the row. A fan of rays is carried
over the rows; each keeps the largest slope it has met and the row where it met it. A target's horizon is taken
between its two neighbouring rays, and is checked again along its own direction, near the rows where those rays
met theirs, when the answer is close.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

__all__ = ["OPAQUE", "crossing_margin", "fan_margin"]

OPAQUE = np.float32(1.0e9)
"""Height given to ground that is not known: it is never promised that one can see past it."""


@njit(cache=True, nogil=True)
def crossing_margin(surface, row0, col0, z0, row1, col1, z1, cell_m, bend):
    """Metres by which the target top clears the horizon, at the target, by all crossings strictly between.

    Parameters
    ----------
    surface : (rows, cols) float32
        What stands in the way; NaN is opaque.
    row0, col0, z0, row1, col1, z1
        The two ends: cells, and heights of eye and of target top.
    cell_m, bend : float
        Cell size; fall of the ground per square metre of distance, (1 - k) / (2 R).

    Returns
    -------
    margin, row, col : float
        The margin (+inf when nothing stands between), and where the crossing that decides it lies.
    """
    drow = row1 - row0
    dcol = col1 - col0
    distance = math.hypot(drow, dcol) * cell_m
    worst, worst_row, worst_col = -np.inf, np.float64(row1), np.float64(col1)
    for axis in range(2):
        steps = abs(drow) if axis == 0 else abs(dcol)
        for i in range(1, steps):
            t = i / steps
            if axis == 0:
                r = row0 + (i if drow > 0 else -i)
                x = col0 + dcol * t
                c = int(math.floor(x))
                f = x - c
                low = surface[r, c]
                high = surface[r, c + 1] if f > 0.0 else low
                at_row, at_col = np.float64(r), x
            else:
                c = col0 + (i if dcol > 0 else -i)
                x = row0 + drow * t
                r = int(math.floor(x))
                f = x - r
                low = surface[r, c]
                high = surface[r + 1, c] if f > 0.0 else low
                at_row, at_col = x, np.float64(c)
            z = low + f * (high - low)
            if math.isnan(z):
                z = np.float64(OPAQUE)
            d = distance * t
            slope = (z - bend * d * d - z0) / d
            if slope > worst:
                worst, worst_row, worst_col = slope, at_row, at_col
    if worst == -np.inf:
        return np.inf, worst_row, worst_col
    return (z1 - bend * distance * distance - z0) - worst * distance, worst_row, worst_col


@njit(cache=True, nogil=True)
def _read_octant(raster, row0, col0, zero, bend_cell, radius, octant, nothing, out):
    """Fill out[k, c], 0 <= c <= k + 1 <= radius + 1, with slopes per axial cell; NaN becomes `nothing`."""
    rows, cols = raster.shape
    major_is_row = octant < 4
    sign_k = 1 if octant & 1 else -1
    sign_c = 1 if octant & 2 else -1
    for k in range(1, radius + 1):
        inverse = np.float32(1.0 / k)
        for c in range(min(k + 2, radius + 2)):
            if major_is_row:
                r, q = row0 + sign_k * k, col0 + sign_c * c
            else:
                r, q = row0 + sign_c * c, col0 + sign_k * k
            # beyond the edge the rim is continued, so that rays close to it are not bent downwards
            r = min(max(r, 0), rows - 1)
            q = min(max(q, 0), cols - 1)
            z = raster[r, q]
            if math.isnan(z):
                z = nothing
            out[k, c] = (z - zero) * inverse - np.float32(bend_cell * (k * k + c * c)) * inverse


@njit(cache=True, nogil=True)
def _horizon_along(slopes, k, c, first, last):
    """Largest slope at the crossings of the line to (k, c) in axial rows first..last, both inside 1..k-1."""
    u = c / k
    best = np.float32(-1.0e30)
    for j in range(max(first, 1), min(last, k - 1) + 1):
        x = u * j
        q = int(x)
        f = np.float32(x - q)
        value = slopes[j, q] + f * (slopes[j, q + 1] - slopes[j, q])
        best = max(best, value)
        if q >= 1 and u * (j - 1) < q and u * (j - 1) > q - 1 and x > q:
            # the column line q lies between rows j - 1 and j
            t = np.float32(q / u - (j - 1))
            # on that line heights are linear, slopes per axial cell are not: go by way of heights
            at = np.float32(j - 1) + t
            height = (1 - t) * slopes[j - 1, q] * (j - 1) + t * slopes[j, q] * j
            best = max(best, height / at)
    # the last column crossings lie between row k - 1 and the target's own row
    if last >= k - 1 and c >= 1:
        x = u * (k - 1)
        q = int(math.ceil(x))
        if x < q < c:
            t = np.float32(q / u - (k - 1))
            height = (1 - t) * slopes[k - 1, q] * (k - 1) + t * slopes[k, q] * k
            best = max(best, height / (np.float32(k - 1) + t))
    return best


@njit(cache=True, nogil=True)
def _carry(slopes, highest, met, k, rays):
    """Carry every ray of the fan over axial row k: its two kinds of crossing since row k - 1."""
    step = k / rays
    before = (k - 1) / rays
    for i in range(rays + 1):
        x = np.float32(i * step)
        c = int(x)
        f = x - np.float32(c)
        s = slopes[k, c]
        value = s + f * (slopes[k, c + 1] - s)
        if i * before < c and c >= 1 and f > 0.0:
            # the ray has crossed the column line c on the way to this row: heights there are linear
            t = np.float32(c / (i / rays) - (k - 1))
            height = (1 - t) * slopes[k - 1, c] * (k - 1) + t * s * k
            value = max(value, height / (np.float32(k - 1) + t))
        if value > highest[i]:
            highest[i] = value
            met[i] = k


@njit(cache=True, nogil=True)
def _margin_at(slopes, highest, met, here, k, c, rays, close_m):
    """Margin of a target of slope `here` at (k, c), from its two neighbouring rays; checked again when close."""
    p = c * rays / k  # exact on the diagonal, where c = k
    i = int(p)
    f = np.float32(p - i)
    horizon = highest[i]
    if f > 0.0:
        horizon += f * (highest[i + 1] - highest[i])
    m = (here - horizon) * k
    if abs(m) < close_m:
        horizon = _horizon_along(slopes, k, c, met[i] - 1, met[i] + 1)
        if f > 0.0 and met[i + 1] != met[i]:
            horizon = max(horizon, _horizon_along(slopes, k, c, met[i + 1] - 1, met[i + 1] + 1))
        m = (here - horizon) * k
    return m


@njit(cache=True, nogil=True)
def _octant(slopes, at, ground, row0, col0, target_m, radius, rays, octant, close_m, highest, met, margin):
    """Margins of one octant, row by row: the targets of a row first, then the rays are carried over it."""
    rows, cols = ground.shape
    highest[:] = np.float32(-1.0e30)
    met[:] = 0
    major_is_row = octant < 4
    sign_k = 1 if octant & 1 else -1
    sign_c = 1 if octant & 2 else -1
    for k in range(1, radius + 1):
        edge = row0 + sign_k * k if major_is_row else col0 + sign_k * k
        if edge < 0 or edge >= (rows if major_is_row else cols):
            break
        for c in range(min(k, int(math.sqrt(radius * radius - k * k))) + 1):
            if major_is_row:
                r, q = row0 + sign_k * k, col0 + sign_c * c
            else:
                r, q = row0 + sign_c * c, col0 + sign_k * k
            if r < 0 or q < 0 or r >= rows or q >= cols or math.isnan(ground[r, q]):
                continue
            m = np.float32(1.0e6)
            if k > 1:
                here = at[k, c] + np.float32(target_m / k)
                m = _margin_at(slopes, highest, met, here, k, c, rays, close_m)
            margin[r - row0 + radius, q - col0 + radius] = m
        _carry(slopes, highest, met, k, rays)


@njit(cache=True, nogil=True)
def fan_margin(surface, ground, row0, col0, eye_z, target_m, cell_m, bend, radius, rays, close_m, margin):
    """Margins of all cells within `radius` cells of the watcher's.

    Parameters
    ----------
    surface, ground : (rows, cols) float32
        What stands in the way, and what the targets stand on; NaN ground gets no answer, NaN surface is opaque.
    row0, col0, eye_z, target_m
        The watcher's cell, height of the eye, height of the targets above their ground.
    cell_m, bend : float
        As in `crossing_margin`.
    radius, rays : int
        Radius in cells; rays per octant.
    close_m : float
        Margins nearer to zero than this are checked again along their own direction.
    margin : (2 radius + 1, 2 radius + 1) float32, filled
        Metres; NaN outside the disc, the grid, or over NaN ground; large where nothing stands between.

    Notes
    -----
    Curvature across an octant row is taken at crossings by linear interpolation between its two cells, which
    differs from the exact value by at most bend * cell_m**2 / 4: micrometres.
    """
    margin[:] = np.nan
    margin[radius, radius] = np.float32(1.0e6)
    slopes = np.empty((radius + 2, radius + 2), np.float32)
    targets = np.empty((radius + 2, radius + 2), np.float32)
    highest = np.empty(rays + 2, np.float32)
    met = np.empty(rays + 2, np.int32)
    bend_cell = bend * cell_m * cell_m
    zero = np.float32(eye_z)
    same = surface is ground
    for octant in range(8):
        _read_octant(surface, row0, col0, zero, bend_cell, radius, octant, OPAQUE, slopes)
        at = slopes
        if not same:
            _read_octant(ground, row0, col0, zero, bend_cell, radius, octant, OPAQUE, targets)
            at = targets
        _octant(
            slopes,
            at,
            ground,
            row0,
            col0,
            target_m,
            radius,
            rays,
            octant,
            close_m,
            highest,
            met,
            margin,
        )

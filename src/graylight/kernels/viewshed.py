"""Line of sight on a grid: the margin, in metres, by which each cell can be seen from one.

The definition is exact on the grid: elevation is linear along each line that joins neighbouring cell centres
(rows and columns); the straight sight line is checked at every crossing with such a line strictly between its
two ends, lowered there by curvature less refraction. `crossing_margin` evaluates it for one pair of cells.

`fan_margin` evaluates it for a whole disc, in four sectors of two sides each: k counts the raster lines across
the sector's axis, c the cells along a line from the axis outwards, 0 <= c <= k. Slopes are taken per axial cell,
S = height / k: along one ray they all share the same factor, so that comparisons hold. Each side has a fan of
rays c / k = i / rays; a ray keeps the largest slope it has met and the line where it met it. A target's horizon
is taken between its two neighbouring rays, and is checked again along its own direction, near the lines where
those rays met theirs, when the answer is close. Wedges of rays whose horizon no ground ahead can top, by the
highest ground of each block of cells, are carried no further.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

__all__ = [
    "BLOCK",
    "HIDDEN",
    "OPAQUE",
    "add_seen",
    "block_tops",
    "crossing_margin",
    "fan_margin",
    "three_answers",
]

OPAQUE = np.float32(1.0e9)
"""Height given to ground that is not known: it is never promised that one can see past it."""
HIDDEN = np.float32(-1.0e6)
"""Margin given to targets known to be hidden by more than was asked."""
OPEN = np.float32(1.0e6)
"""Margin given to targets with nothing in between."""
LOW = np.float32(-1.0e30)

BLOCK = 8
"""Cells on the side of a block; WEDGE rays and BAND lines are looked at together for whether to go on.

All three were measured: between 4 and 32 the time a lookout changes by a tenth.
"""
WEDGE = 16
BAND = 16
LEAST_RAYS = 64
MOST_SPLITS = 4
"""Rays are not halved below the one, for exactness; a wedge keeps at least one ray by the other."""


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
def _take_in(line, first, last, highest, total):
    """Raise the highest to the line where that is higher, and add the line: a sum with NaN stays NaN."""
    for c in range(first, last):
        u = np.uintp(c)
        z, top = line[u], highest[u]
        highest[u] = z if z > top else top
        total[u] += z


@njit(cache=True, nogil=True)
def block_tops(ground, row0, row1, col0, col1, tops, holed):
    """Highest ground of each block of cells, and whether ground is unknown in it.

    Parameters
    ----------
    ground : (rows, cols) float32
    row0, row1, col0, col1 : int
        Only blocks that hold cells of these rows and columns are filled, from those cells.
    tops : ((rows - 1) // BLOCK + 1, (cols - 1) // BLOCK + 1) float32, filled
    holed : bool, the same shape, filled
    """
    highest, total = np.empty(col1, np.float32), np.empty(col1, np.float32)
    for block_row in range(row0 // BLOCK, (row1 - 1) // BLOCK + 1):
        highest[:], total[:] = LOW, np.float32(0.0)
        for r in range(max(row0, block_row * BLOCK), min(row1, (block_row + 1) * BLOCK)):
            _take_in(ground[r], col0, col1, highest, total)
        for block_col in range(col0 // BLOCK, (col1 - 1) // BLOCK + 1):
            top, holes = LOW, np.float32(0.0)
            for c in range(max(col0, block_col * BLOCK), min(col1, (block_col + 1) * BLOCK)):
                top, holes = max(top, highest[c]), holes + total[c]
            tops[block_row, block_col] = top
            holed[block_row, block_col] = holes != holes


@njit(cache=True, nogil=True)
def _raise_bound(bound, first, last, left, right, slope):
    """Let bands first..last and wedges left..right of the bound be at least the slope."""
    for band in range(first, last + 1):
        for wedge in range(left, right + 1):
            bound[band, wedge] = max(bound[band, wedge], slope)


@njit(cache=True, nogil=True)
def _block_range(middle, radius, sign, blocks):
    """First and last block on one side of the middle."""
    first = middle if sign > 0 else max(middle - radius, 0)
    last = middle + radius if sign > 0 else middle
    return first // BLOCK, min(last // BLOCK, blocks - 1)


@njit(cache=True, nogil=True)
def _cells_of(block, middle, sign):
    """Nearest and farthest cell of a block from the middle along a direction; below 0 on the other side."""
    one = sign * (block * BLOCK - middle)
    other = sign * (block * BLOCK + BLOCK - 1 - middle)
    return min(one, other), max(one, other)


@njit(cache=True, nogil=True)
def _bound_side(tops, axis, along0, across0, sign_k, sign_c, zero, bend_cell, radius, rays, bound):
    """Largest slope that ground in a wedge of rays can have from each band of lines on."""
    bound[:] = LOW
    bands, wedges = bound.shape
    along_first, along_last = _block_range(along0, radius, sign_k, tops.shape[axis])
    across_first, across_last = _block_range(across0, radius, sign_c, tops.shape[1 - axis])
    for along in range(along_first, along_last + 1):
        k0, k1 = _cells_of(along, along0, sign_k)
        if k1 < 1 or k0 > radius:
            continue
        k0, k1 = max(k0, 1), min(k1, radius)
        for across in range(across_first, across_last + 1):
            c0, c1 = _cells_of(across, across0, sign_c)
            c0 = max(c0, 0)
            if c0 > k1 or k0 * k0 + c0 * c0 > radius * radius:
                continue
            top = (tops[along, across] if axis == 0 else tops[across, along]) - zero
            top -= bend_cell * (k0 * k0 + c0 * c0)
            slope = np.float32(top / (k0 if top > 0.0 else k1))
            left = int(rays * c0 / k1) // WEDGE
            right = min(int(rays * min(c1 / k0, 1.0)) // WEDGE, wedges - 1)
            _raise_bound(bound, (k0 - 1) // BAND, (k1 - 1) // BAND, left, right, slope)
    for band in range(bands - 2, -1, -1):
        for wedge in range(wedges):
            bound[band, wedge] = max(bound[band, wedge], bound[band + 1, wedge])


@njit(cache=True, nogil=True)
def _runs_ahead(highest, bound, rays, wide, ahead, runs):
    """Drop wedges of `wide` rays that all stand above the bound; fill the runs of rays left, first and last."""
    n, last = 0, -1
    for wedge in range(ahead.shape[0]):
        i0, i1 = wedge * wide, min((wedge + 1) * wide, rays)
        if ahead[wedge]:
            low = highest[i0]
            for i in range(i0 + 1, i1 + 1):
                low = min(low, highest[i])
            ahead[wedge] = low <= bound[wedge]
        if ahead[wedge]:
            if last == i0:
                runs[n - 1, 1] = i1
            else:
                runs[n, 0], runs[n, 1] = i0, i1
                n += 1
            last = i1
    return n


@njit(cache=True, nogil=True)
def _lower(line, middle, sign, first, last, zero, bend_cell, k, out):
    """Heights above the eye, lowered by the bend, of cells first to last of a line from the middle outwards."""
    edge = line.shape[0] - 1 - middle if sign > 0 else middle
    fall, bend = zero + np.float32(bend_cell * k * k), np.float32(bend_cell)
    # indices are unsigned: numba would ask of a signed one whether it counts from the end, and not vectorise
    if sign > 0:
        for c in range(first, min(last, edge + 1)):
            z, x = line[np.uintp(middle + c)], np.float32(np.int32(c))
            out[np.uintp(c)] = (OPAQUE if z != z else z) - fall - bend * (x * x)
    else:
        for c in range(first, min(last, edge + 1)):
            z, x = line[np.uintp(middle - c)], np.float32(np.int32(c))
            out[np.uintp(c)] = (OPAQUE if z != z else z) - fall - bend * (x * x)
    if last > edge + 1:  # the rim is continued, so that rays close to it are not bent downwards
        z, x = line[middle + sign * edge], np.float32(edge)
        for c in range(max(first, edge + 1), last):
            out[c] = (OPAQUE if z != z else z) - fall - bend * (x * x)


@njit(cache=True, nogil=True)
def _heights(raster, axis, at, middle, sign, first, last, zero, bend_cell, k, out):
    """The same of a raster's row (axis 0) or column (axis 1)."""
    if axis == 0:
        _lower(raster[at], middle, sign, first, last, zero, bend_cell, k, out)
    else:
        _lower(raster[:, at], middle, sign, first, last, zero, bend_cell, k, out)


@njit(cache=True, nogil=True)
def _slopes(heights, k, first, last, out):
    inverse = np.float32(1.0 / k)
    for c in range(first, last):
        out[np.uintp(c)] = heights[np.uintp(c)] * inverse


@njit(cache=True, nogil=True)
def _rises(slopes, before, k, first, last, level, more):
    """Rise of the slope along the line from each cell to the next, and how much more on the way from line k - 1.

    A ray at x = c + f of line k has met column c between the lines exactly when f (k - 1) < c, at a slope of
    S[k, c] + f (S[k-1, c] - S[k, c]) (k - 1) / c.
    """
    back = np.float32(k - 1)
    for c in range(first, last):
        u, here = np.uintp(c), slopes[np.uintp(c)]
        rise = slopes[np.uintp(c + 1)] - here
        other = (before[u] - here) * (
            back / np.float32(np.int32(max(c, 1)))
        )  # at c = 0 it is never asked for
        level[u] = rise
        more[u] = max(rise, other) - rise


@njit(cache=True, nogil=True)
def _carry(slopes, level, more, k, step, first, last, highest, met):
    """Carry rays over line k: its two kinds of crossing since line k - 1."""
    back, here = np.float32(k - 1), np.int32(k)
    for i in range(first, last):
        x = np.float32(np.int32(i)) * step
        c, u = np.uintp(np.int32(x)), np.uintp(i)
        whole = np.float32(np.int32(x))
        f = x - whole
        # a product instead of a branch: which way it goes can't be foretold
        slope = slopes[c] + f * (level[c] + more[c] * np.float32(f * back < whole))
        old = highest[u]
        highest[u] = max(slope, old)
        met[u] = here if slope > old else met[u]


@njit(cache=True, nogil=True)
def _margins_of(heights, highest, k, per_cell, target_m, first, last, out):
    """Margins of the targets of line k by the rays beside them, as carried so far."""
    axial = np.float32(k)
    for c in range(first, last):
        p = np.float32(np.int32(c)) * per_cell
        i = np.uintp(np.int32(p))
        left = highest[i]
        between = left + (p - np.float32(np.int32(p))) * (highest[i + np.uintp(1)] - left)
        out[np.uintp(c)] = heights[np.uintp(c)] - between * axial + target_m


@njit(cache=True, nogil=True)
def _splits_of(rays):
    """How often rays are split on the way out: near the watcher fewer of them are a cell apart."""
    splits = 0
    while splits < MOST_SPLITS and rays % 2 == 0 and rays >= 2 * LEAST_RAYS:
        splits, rays = splits + 1, rays // 2
    return splits


@njit(cache=True, nogil=True)
def _side_of(surface, axis, along0, across0, sign_k, sign_c, edge, eye_z, bend_cell):
    """What it takes to read the surface by lines and cells from the watcher: where it begins, and the two steps."""
    cols = surface.shape[1]
    row0, col0 = (along0, across0) if axis == 0 else (across0, along0)
    step_k, step_c = (sign_k * cols, sign_c) if axis == 0 else (sign_k, sign_c * cols)
    return row0 * cols + col0, step_k, step_c, edge, eye_z, bend_cell


@njit(cache=True, nogil=True, inline="always")
def _height_at(flat, side, j, q):  # inlined: numba counts array arguments up and down on every call
    """Height above the eye of the surface j lines and q cells out; beyond the edge the rim's."""
    base, step_k, step_c, edge, eye_z, _ = side
    z = flat[np.uintp(base + j * step_k + min(q, edge) * step_c)]
    return (np.float64(OPAQUE) if z != z else np.float64(z)) - eye_z


@njit(cache=True, nogil=True, inline="always")
def _horizon_along(flat, side, inverse, u, u_inverse, k, first, last):
    """Largest slope of direction u at its crossings with lines first..last before line k and between, and the line."""
    bend_cell = side[5]
    best, met = -np.inf, first
    for j in range(max(first, 1), min(last, k - 1) + 1):
        x = u * j
        q = int(x)
        f = x - q
        here = _height_at(flat, side, j, q)
        z = here + f * (_height_at(flat, side, j, q + 1) - here)
        slope = z * inverse[np.uintp(j)] - bend_cell * (j + u * x)
        if q >= 1 and f * (j - 1) < q:
            at = q * u_inverse
            z = _height_at(flat, side, j - 1, q)
            z += (at - (j - 1)) * (here - z)
            slope = max(slope, z * u * inverse[np.uintp(q)] - bend_cell * at * (1.0 + u * u))
        if slope > best:
            best, met = slope, j
    return best, met


@njit(cache=True, nogil=True, inline="always")
def _horizon_near(flat, side, inverse, u, k, one, other):
    """Largest slope of direction u by the lines about those where two rays beside it met their horizons."""
    u_inverse = 1.0 / u if u > 0.0 else 0.0
    low, high = min(one, other), max(one, other)
    if high - low <= 3:
        return _horizon_along(flat, side, inverse, u, u_inverse, k, low - 1, high + 1)
    near = _horizon_along(flat, side, inverse, u, u_inverse, k, low - 1, low + 1)
    far = _horizon_along(flat, side, inverse, u, u_inverse, k, high - 1, high + 1)
    return near if near[0] >= far[0] else far


@njit(cache=True, nogil=True)
def _check_close(flat, side, inverse, k, per_cell, target_m, first, last, close_m, heights, met, out):
    """Take again, along its own direction, the margin of each target that is nearer to zero than close_m.

    A third of that is enough where both rays beside it met their horizons at one line: between them it is nearly
    straight (measured: the same cells, a tenth of the time less).
    """
    for c in range(first, last):
        margin = abs(out[np.uintp(c)])
        if margin < close_m:
            i = np.uintp(np.int32(np.float32(np.int32(c)) * per_cell))
            one, other = met[i], met[i + np.uintp(1)]
            if one == other and 3.0 * margin > close_m:
                continue
            horizon, _ = _horizon_near(flat, side, inverse, c * inverse[k], k, one, other)
            out[c] = heights[c] + target_m - horizon * k


@njit(cache=True, nogil=True)
def _split(flat, side, inverse, k, rays, n_runs, runs, highest, met):
    """Twice as many rays before line k; a new one meets its horizon near the lines where its neighbours met theirs."""
    for i in range(rays, 0, -1):
        highest[2 * i], met[2 * i] = highest[i], met[i]
        highest[2 * i - 1] = highest[2 * i]  # where nothing is ahead no more is worked out
    for run in range(n_runs):
        runs[run, 0], runs[run, 1] = 2 * runs[run, 0], 2 * runs[run, 1]
        for i in range(runs[run, 0] + 1, runs[run, 1], 2):
            found = _horizon_near(flat, side, inverse, i / (2 * rays), k, met[i - 1], met[i + 1])
            highest[i], met[i] = found
    highest[2 * rays + 1], met[2 * rays + 1] = highest[2 * rays], met[2 * rays]


@njit(cache=True, nogil=True)
def _write(margins, axis, step_k, sign_c, first, last, out):
    middle = out.shape[0] // 2
    if axis == 0:
        line = out[middle + step_k]
        for c in range(first, last):
            line[np.uintp(middle + sign_c * c)] = margins[np.uintp(c)]
    else:
        at = np.uintp(middle + step_k)
        for c in range(first, last):
            out[np.uintp(middle + sign_c * c), at] = margins[np.uintp(c)]


@njit(cache=True, nogil=True)
def _side(
    surface, ground, tops, inverse, axis, along0, across0, sign_k, sign_c, eye_z, target_m, bend_cell, radius,
    rays, close_m, deep_m, out,
):  # fmt: skip
    """One of the eight octants: the targets of a line first, then the rays are carried over it."""
    room = max(radius, rays) + 8
    heights, stand = np.empty(room, np.float32), np.empty(room, np.float32)
    slopes, before = np.zeros(room, np.float32), np.zeros(room, np.float32)
    level, more = np.empty(room, np.float32), np.empty(room, np.float32)
    margins = np.full(room, OPEN, np.float32)
    highest, met = np.full(room, LOW, np.float32), np.zeros(room, np.int32)
    wedges = (rays - 1) // WEDGE + 1
    bound = np.empty(((radius - 1) // BAND + 1, wedges), np.float32)
    ahead, runs = np.ones(wedges, np.bool_), np.empty((wedges, 2), np.int64)
    zero, target = np.float32(eye_z), np.float32(target_m)
    same = surface is ground
    edge = surface.shape[1 - axis] - 1 - across0 if sign_c > 0 else across0
    side = _side_of(surface, axis, along0, across0, sign_k, sign_c, edge, eye_z, bend_cell)
    flat = surface.reshape(surface.size)
    reach = eye_z - target_m - deep_m  # ground lower than this by the horizon is hidden by more than deep_m
    _bound_side(tops, axis, along0, across0, sign_k, sign_c, reach, bend_cell, radius, rays, bound)
    splits = _splits_of(rays)
    rays >>= splits
    for k in range(1, min(radius, surface.shape[axis] - 1 - along0 if sign_k > 0 else along0) + 1):
        if (k - 1) % BAND == 0:
            n_runs = _runs_ahead(highest, bound[(k - 1) // BAND], rays, WEDGE >> splits, ahead, runs)
            if n_runs == 0:
                break
            while splits > 0 and k > radius >> splits:
                _split(flat, side, inverse, k, rays, n_runs, runs, highest, met)
                splits, rays = splits - 1, 2 * rays
        at = along0 + sign_k * k
        chord = int(math.sqrt(radius * radius - k * k))
        widest = min(chord, edge)
        beyond = rays if widest >= k else min(rays, int(rays * (widest + 1) / k) + 1)
        n = min(k, widest) + 1
        per_cell, step = np.float32(rays / k), np.float32(k / rays)
        for run in range(n_runs):
            i0, i1 = runs[run, 0], runs[run, 1]
            c0, c1 = int(i0 * k / rays), min(int(i1 * k / rays), widest + 1)
            first, last = (c0 if c0 * rays >= i0 * k else c0 + 1), min(n, c1 + 1)
            # a cell more on either side: rays at a cell's centre may fall either way in float32
            c0 = max(c0 - 1, 0)
            _heights(surface, axis, at, across0, sign_c, c0, c1 + 4, zero, bend_cell, k, heights)
            if not same:
                _heights(ground, axis, at, across0, sign_c, first, last, zero, bend_cell, k, stand)
            if k > 1:
                top = heights if same else stand
                _margins_of(top, highest, k, per_cell, target, first, last, margins)
                _check_close(
                    flat, side, inverse, k, per_cell, target, first, last, close_m, top, met, margins
                )
            _write(margins, axis, sign_k * k, sign_c, first, last, out)
            _slopes(heights, k, c0, c1 + 4, slopes)
            _rises(slopes, before, k, c0, c1 + 2, level, more)
            _carry(slopes, level, more, k, step, i0, min(i1, beyond) + 1, highest, met)
        highest[rays + 1], met[rays + 1] = highest[rays], met[rays]
        slopes, before = before, slopes


@njit(cache=True, nogil=True)
def _all_hidden(rows, cols, row0, col0, radius, margin):
    """HIDDEN within the disc on the grid, NaN elsewhere."""
    margin[:] = np.nan
    for step in range(max(-radius, -row0), min(radius, rows - 1 - row0) + 1):
        chord = int(math.sqrt(radius * radius - step * step))
        line = margin[radius + step]
        for c in range(max(radius - chord, radius - col0), min(radius + chord, radius + cols - 1 - col0) + 1):
            line[np.uintp(c)] = HIDDEN


@njit(cache=True, nogil=True)
def _leave_out_unknown(ground, holed, row0, col0, radius, margin):
    """No margin over unknown ground."""
    rows, cols = ground.shape
    row1, col1 = min(row0 + radius + 1, rows), min(col0 + radius + 1, cols)
    top, left = max(row0 - radius, 0), max(col0 - radius, 0)
    for block_row in range(top // BLOCK, (row1 - 1) // BLOCK + 1):
        for block_col in range(left // BLOCK, (col1 - 1) // BLOCK + 1):
            if not holed[block_row, block_col]:
                continue
            for r in range(max(top, block_row * BLOCK), min(row1, (block_row + 1) * BLOCK)):
                for c in range(max(left, block_col * BLOCK), min(col1, (block_col + 1) * BLOCK)):
                    if math.isnan(ground[r, c]):
                        margin[r - row0 + radius, c - col0 + radius] = np.nan


@njit(cache=True, nogil=True)
def fan_margin(
    surface, ground, tops, holed, row0, col0, eye_z, target_m, cell_m, bend, radius, rays, close_m, deep_m, margin
):  # fmt: skip
    """Margins of all cells within `radius` cells of the watcher's.

    Parameters
    ----------
    surface, ground : (rows, cols) float32
        What stands in the way, and what the targets stand on; NaN ground gets no answer, NaN surface is opaque.
    tops, holed
        Of the ground, by `block_tops`.
    row0, col0, eye_z, target_m
        The watcher's cell, height of the eye, height of the targets above their ground.
    cell_m, bend : float
        As in `crossing_margin`.
    radius, rays : int
        Radius in cells, at least 1; rays per octant, at least 1.
    close_m : float
        Margins nearer to zero than this are checked again along their own direction.
    deep_m : float
        Targets hidden by more than this may be told as HIDDEN; infinite: all margins are worked out.
    margin : (2 radius + 1, 2 radius + 1) float32, filled
        Metres; NaN outside the disc, the grid, or over NaN ground; OPEN where nothing stands between.

    Notes
    -----
    Curvature across an octant row is taken at crossings by linear interpolation between its two cells, which
    differs from the exact value by at most bend * cell_m**2 / 4: micrometres.
    """
    _all_hidden(surface.shape[0], surface.shape[1], row0, col0, radius, margin)
    margin[radius, radius] = OPEN
    bend_cell = bend * cell_m * cell_m
    inverse = np.empty(radius + 2)
    for k in range(1, radius + 2):
        inverse[k] = 1.0 / k
    for sign_k in (-1, 1):
        for sign_c in (-1, 1):
            _side(
                surface, ground, tops, inverse, 0, row0, col0, sign_k, sign_c, eye_z, target_m, bend_cell, radius, rays,
                close_m, deep_m, margin,
            )  # fmt: skip
            _side(
                surface, ground, tops, inverse, 1, col0, row0, sign_k, sign_c, eye_z, target_m, bend_cell, radius, rays,
                close_m, deep_m, margin,
            )  # fmt: skip
    _leave_out_unknown(ground, holed, row0, col0, radius, margin)


@njit(cache=True, nogil=True)
def three_answers(over_wall, over_veil, error_m, out):
    """0 hidden behind the wall by more than the error, 2 seen over the veil by at least it, 1 between, 3 NaN."""
    error = np.float32(error_m)
    for r in range(out.shape[0]):
        wall, veil, line = over_wall[r], over_veil[r], out[r]
        for c in range(line.shape[0]):
            known = np.uint8(1) + np.uint8(veil[c] >= error) if wall[c] >= -error else np.uint8(0)
            line[c] = np.uint8(3) if wall[c] != wall[c] else known


@njit(cache=True, nogil=True)
def add_seen(margin, row0, col0, weight, out):
    """Add the weight to the cells of the grid that are seen, by the margins about a place."""
    radius = margin.shape[0] // 2
    rows, cols = out.shape
    for r in range(max(row0 - radius, 0), min(row0 + radius + 1, rows)):
        line, shift = margin[r - row0 + radius], radius - col0
        for c in range(max(col0 - radius, 0), min(col0 + radius + 1, cols)):
            seen = line[np.uintp(c + shift)] >= np.float32(0.0)
            out[r, np.uintp(c)] += weight if seen else np.float32(0.0)

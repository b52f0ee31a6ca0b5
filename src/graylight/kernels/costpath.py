"""Least time over ground that is slower one way than the other: one kernel for walkers and for animals.

From each cell sixteen moves lead on: to the eight neighbours and, like a chess knight, to the eight cells
two along and one aside. A move takes

    horizontal length x mean over the cells it lies in of (pace of the cell's ground at its slope x factor)

with the slope taken between its two ends, in the direction of walking. A straight or diagonal move lies half
in each end cell; a knight move lies a quarter in each of its two end cells and of the two it passes between.
Every cell that a move touches, corners included, must be open: so a diagonal needs both cells beside it, and
the corner where two closed cells meet is never crossed.

The queue is Dial's (1969, doi:10.1145/363269.363610): labels in buckets of equal width, in a ring. The width
is the cheapest move on the ground, so that a cell is settled when it is taken; where a few cells are very
much cheaper than the rest the width is bounded from below, and a cell taken too early is taken again. Either
way the labels are the exact least sums (float64 inside), and of equal ways the one from the first cell in
order of row and column is kept, whatever the order of the work.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

__all__ = ["MOVE_COLS", "MOVE_ROWS", "NOT_REACHED", "SOURCE", "least_time", "trace"]

SOURCE = -1
"""Value in `came_out` of a cell whose least time is that of a source lying in it."""
NOT_REACHED = -2
"""Value in `came_out` of a cell that is closed, cut off, or beyond the limit."""

# Moves by the place of the cell they come from, first rows first: the lesser index is the earlier place, by
# which ties are broken. MOVE_ROWS[m], MOVE_COLS[m] lead from the cell one came from to the cell reached.
MOVE_ROWS = np.array([2, 2, 1, 1, 1, 1, 1, 0, 0, -1, -1, -1, -1, -1, -2, -2], dtype=np.int64)
MOVE_COLS = np.array([1, -1, 2, 1, 0, -1, -2, 1, -1, 2, 1, 0, -1, -2, 1, -1], dtype=np.int64)

_RING = 2048  # buckets in the ring; labels farther ahead wait in the last and are put on when it is reached
_BLOCK = 64  # cells in one block of a bucket: a bucket is a chain of blocks, read and written in one run
_EDGE = 2  # closed cells around the padded grid, as far as a knight move reaches
_TYPICAL = 0.125  # least bucket width, as a part of the typical straight move
_FREE = _RING  # the place in `head` where the chain of free blocks hangs
# What is asked of a cell together lies together: with an array for each, half the time went on cache misses.
_NODE = np.dtype(
    [
        ("label", "f8"),
        ("z", "f4"),
        ("f", "f4"),
        ("g", "u1"),
        ("came", "i1"),
        ("done", "u1"),
        ("spare", "u1", 5),
    ]
)


@njit(cache=True, nogil=True)
def _pad(elevation, factor, ground, best, z, f, g, label):
    """Copy onto the padded grid; f is seconds a metre at each cell's best slope, 0 where closed.

    Returns the least and the typical (geometric mean) f of the open cells.
    """
    rows, cols = elevation.shape
    stride = cols + 2 * _EDGE
    for cell in range(label.size):
        label[cell] = np.inf
    least = np.inf
    logs = 0.0
    count = 0
    for r in range(rows):
        at = (r + _EDGE) * stride + _EDGE
        for c in range(cols):
            height = elevation[r, c]
            times = factor[r, c]
            if math.isfinite(height) and math.isfinite(times) and times > 0.0:
                z[at + c] = height
                g[at + c] = ground[r, c]
                f[at + c] = times * best[ground[r, c]]
                least = min(least, np.float64(f[at + c]))
                logs += math.log(f[at + c])
                count += 1
    return least, math.exp(logs / max(count, 1))


@njit(cache=True, nogil=True)
def _unpad(label, came, seconds_out, came_out):
    """Copy the answer off the padded grid."""
    rows, cols = seconds_out.shape
    for r in range(rows):
        at = (r + _EDGE) * (cols + 2 * _EDGE) + _EDGE
        for c in range(cols):
            seconds_out[r, c] = label[at + c]
            came_out[r, c] = came[at + c]


@njit(cache=True, nogil=True)
def _relative(pace, best, relative):
    """Least pace of each ground, and the table in multiples of it."""
    for i in range(pace.shape[0]):
        best[i] = pace[i, 0]
        for k in range(pace.shape[1]):
            best[i] = min(best[i], np.float64(pace[i, k]))
        for k in range(pace.shape[1]):
            relative[i, k] = pace[i, k] / best[i]


@njit(cache=True, nogil=True)
def _more_blocks(blocks, links, head, tally):
    """Twice as many blocks, the new ones free; `links` holds how full each is, and the next in its chain."""
    old = blocks.shape[0]
    more = np.empty((2 * old, _BLOCK), np.int32)
    chain = np.zeros((2 * old, 2), np.int32)
    for i in range(old):
        chain[i, 0] = links[i, 0]
        chain[i, 1] = links[i, 1]
        for j in range(_BLOCK):
            more[i, j] = blocks[i, j]
    for i in range(old, 2 * old):
        chain[i, 1] = head[_FREE]
        head[_FREE] = i
    tally[1] += old
    return more, chain


@njit(cache=True, nogil=True)
def _put(cell, bucket, head, blocks, links, tally):
    """Add a cell to a bucket; `tally` counts cells waiting and free blocks, of which there must be one."""
    slot = bucket & (_RING - 1)
    block = head[slot]
    if block < 0 or links[block, 0] == _BLOCK:
        fresh = head[_FREE]
        head[_FREE] = links[fresh, 1]
        links[fresh, 0] = 0
        links[fresh, 1] = block
        head[slot] = fresh
        block = fresh
        tally[1] -= 1
    blocks[block, links[block, 0]] = cell
    links[block, 0] += 1
    tally[0] += 1


@njit(cache=True, nogil=True)
def _seed(source_rows, source_cols, source_seconds, shape, limit_s, f, label, came, cells):
    """Label the open sources with the least of their seconds; how many `cells` there are, each once."""
    count = 0
    for i in range(source_rows.size):
        r = source_rows[i]
        c = source_cols[i]
        seconds = source_seconds[i]
        if r < 0 or c < 0 or r >= shape[0] or c >= shape[1] or not 0.0 <= seconds <= limit_s:
            continue
        cell = (r + _EDGE) * (shape[1] + 2 * _EDGE) + c + _EDGE
        if f[cell] > 0.0 and seconds < label[cell]:
            if came[cell] != SOURCE:
                cells[count] = cell
                count += 1
            label[cell] = seconds
            came[cell] = SOURCE
    return count


@njit(cache=True, nogil=True)
def _read(pace, row, k, w):
    """Linear interpolation in one row of the table."""
    p = pace[row, k]
    return p + w * (pace[row, k + 1] - p)


@njit(cache=True, nogil=True)
def _move_seconds(cell, to, a, b, knight, length, per_length, z, f, g, pace, slope_min, per_step):
    """Seconds of one move; inf where a cell that it touches is closed."""
    far = f[to]
    fa = f[a]
    fb = f[b]
    if not (far > 0.0 and fa > 0.0 and fb > 0.0):
        return np.inf
    last = pace.shape[1] - 1
    x = ((np.float64(z[to]) - z[cell]) * per_length - slope_min) * per_step
    x = min(max(x, 0.0), np.float64(last))
    k = min(np.int64(x), last - 1)
    w = x - k
    here = g[cell]
    there = g[to]
    p = _read(pace, here, k, w)
    q = p if there == here else _read(pace, there, k, w)
    total = p * f[cell] + q * far
    if not knight:
        return 0.5 * length * total
    ga = g[a]
    gb = g[b]
    pa = p if ga == here else _read(pace, ga, k, w)
    pb = p if gb == here else _read(pace, gb, k, w)
    return 0.25 * length * (total + (pa * fa + pb * fb))


@njit(cache=True, nogil=True)
def _tables(stride, cell_m, sign, offsets, lengths, sides):
    """Fill the tables of moves.

    Offset on the padded grid; length, sign / length, and a length so little shorter that no rounding turns a
    lower bound into more; offsets of the two cells beside (none: 0), and whether the move lies in them.
    """
    for m in range(16):
        dr = MOVE_ROWS[m]
        dc = MOVE_COLS[m]
        offsets[m] = dr * stride + dc
        lengths[m, 0] = math.sqrt(dr * dr + dc * dc) * cell_m
        lengths[m, 1] = sign / lengths[m, 0]
        lengths[m, 2] = lengths[m, 0] * (1.0 - 1e-9)
        if abs(dr) == 2:
            sides[m, 0] = dr // 2 * stride
            sides[m, 1] = dr // 2 * stride + dc
            sides[m, 2] = 1
        elif abs(dc) == 2:
            sides[m, 0] = dc // 2
            sides[m, 1] = dr * stride + dc // 2
            sides[m, 2] = 1
        elif dr != 0 and dc != 0:
            sides[m, 0] = dr * stride
            sides[m, 1] = dc


@njit(cache=True, nogil=True)
def _settle(cell, now, per_bucket, limit_s, least, z, f, g, pace, slope_min, per_step, offsets, lengths,
            sides, label, came, done, head, blocks, links, tally):  # fmt: skip
    """Try the sixteen moves from a cell."""
    seconds = label[cell]
    here = np.float64(f[cell])
    knight_low = 0.25 * here + 0.5 * least
    for m in range(16):
        to = cell + offsets[m]
        old = label[to]
        knight = sides[m, 2] != 0
        # No slope is faster than the best, which f is for: this lower bound spares two moves in three.
        low = knight_low + 0.25 * f[to] if knight else 0.5 * (here + f[to])
        if old < seconds + lengths[m, 2] * low:
            continue
        new = seconds + _move_seconds(cell, to, cell + sides[m, 0], cell + sides[m, 1], knight, lengths[m, 0],
                                      lengths[m, 1], z, f, g, pace, slope_min, per_step)  # fmt: skip
        if new > old or new > limit_s or new == np.inf:
            continue
        if new == old:
            if m < came[to]:
                came[to] = m
            continue
        label[to] = new
        came[to] = m
        bucket = np.int64(new * per_bucket)
        if done[to] or old == np.inf or bucket != np.int64(old * per_bucket):
            done[to] = 0
            _put(to, min(bucket, now + _RING - 1), head, blocks, links, tally)


@njit(cache=True, nogil=True)
def _spread(sources, now, per_bucket, limit_s, least, z, f, g, pace, slope_min, per_step, offsets,
            lengths, sides, label, came, done):  # fmt: skip
    """Put the sources in their buckets and work these off, from bucket `now` on, until none is left."""
    head = np.full(_RING + 1, -1, np.int32)
    tally = np.zeros(2, np.int64)
    blocks, links = _more_blocks(np.empty((64, _BLOCK), np.int32), np.zeros((64, 2), np.int32), head, tally)
    for i in range(sources.size):
        if tally[1] < 1:
            blocks, links = _more_blocks(blocks, links, head, tally)
        cell = sources[i]
        _put(cell, min(np.int64(label[cell] * per_bucket), now + _RING - 1), head, blocks, links, tally)
    while tally[0] > 0:
        slot = now & (_RING - 1)
        while head[slot] >= 0:
            block = head[slot]
            head[slot] = links[block, 1]
            for i in range(links[block, 0]):
                if tally[1] < 16:  # one cell fills at most as many
                    blocks, links = _more_blocks(blocks, links, head, tally)
                cell = np.int64(blocks[block, i])
                tally[0] -= 1
                if done[cell]:
                    continue
                own = np.int64(label[cell] * per_bucket)
                if own > now:  # lay beyond the ring
                    _put(cell, min(own, now + _RING - 1), head, blocks, links, tally)
                    continue
                done[cell] = 1
                _settle(cell, now, per_bucket, limit_s, least, z, f, g, pace, slope_min, per_step,
                        offsets, lengths, sides, label, came, done, head, blocks, links, tally)  # fmt: skip
            links[block, 1] = head[_FREE]
            head[_FREE] = block
            tally[1] += 1
        now += 1


@njit(cache=True, nogil=True)
def least_time(elevation, factor, ground, pace, slope_min, slope_step, cell_m, source_rows, source_cols,
               source_seconds, limit_s, toward, seconds_out, came_out):  # fmt: skip
    """Least time from the sources to every cell, or from every cell to the nearest source.

    Parameters
    ----------
    elevation : (rows, cols) float32
        Metres; NaN is closed.
    factor : (rows, cols) float32
        Times longer than the pace; NaN, inf and what is not above 0 are closed.
    ground : (rows, cols) uint8
        Row of `pace` that holds in the cell.
    pace : (n_ground, n_slopes) float32
        Seconds per metre of horizontal distance, above 0, by slope (rise over run in the direction of
        walking); read by linear interpolation, at least two columns; the last value holds beyond either end.
    slope_min, slope_step : float64
        Slope of the first column, and from one to the next.
    cell_m : float64
        Side of a cell.
    source_rows, source_cols : (n,) int64
        Sources; those outside the grid or closed are left out.
    source_seconds : (n,) float64
        Time already gone at each (0 or more).
    limit_s : float64
        Cells farther than this are not reached; may be inf.
    toward : bool
        False: from the sources to each cell. True: from each cell to the nearest source, slopes turned round.
    seconds_out : (rows, cols) float32
        Filled: seconds; inf where not reached.
    came_out : (rows, cols) int8
        Filled: the move by which the cell was reached (see `MOVE_ROWS`), or with `toward` the move, turned
        round, by which it is left; `SOURCE` or `NOT_REACHED`.

    Notes
    -----
    Does not model slope across the way (side-hilling), ups and downs within a move, turns, or tiring. On even
    ground a way of 16 directions is at most 2.75 % longer than the straight line.
    """
    stride = elevation.shape[1] + 2 * _EDGE
    size = (elevation.shape[0] + 2 * _EDGE) * stride
    node = np.zeros(size, _NODE)
    label = node["label"]
    z = node["z"]
    f = node["f"]
    g = node["g"]
    came = node["came"]
    for i in range(size):
        came[i] = NOT_REACHED
    done = node["done"]
    best = np.empty(pace.shape[0], np.float64)
    relative = np.empty(pace.shape, np.float64)
    _relative(pace, best, relative)
    least, typical = _pad(elevation, factor, ground, best, z, f, g, label)
    cells = np.empty(source_rows.size, np.int64)
    count = _seed(source_rows, source_cols, source_seconds, elevation.shape, limit_s, f, label, came, cells)
    if count > 0:
        per_bucket = 1.0 / (cell_m * max(least, _TYPICAL * typical))
        first = label[cells[0]]
        for i in range(1, count):
            first = min(first, label[cells[i]])
        offsets = np.zeros(16, np.int64)
        lengths = np.zeros((16, 3), np.float64)
        sides = np.zeros((16, 3), np.int64)
        _tables(stride, cell_m, -1.0 if toward else 1.0, offsets, lengths, sides)
        _spread(cells[:count], np.int64(first * per_bucket), per_bucket, limit_s, least, z, f, g, relative,
                slope_min, 1.0 / slope_step, offsets, lengths, sides, label, came, done)  # fmt: skip
    _unpad(label, came, seconds_out, came_out)


@njit(cache=True, nogil=True)
def trace(came, row, col, rows_out, cols_out):
    """Follow a way from a cell back to its source (with a `toward` field: on to it, in walking order).

    Parameters
    ----------
    came : (rows, cols) int8
        As filled by `least_time`.
    row, col : int
        The cell to begin at.
    rows_out, cols_out : (n,) int64
        Filled with the cells, the given one first. Of a knight move only the two ends are given.

    Returns
    -------
    n : int
        How many cells; 0 where the cell was not reached or the way does not fit `rows_out`.
    """
    count = 0
    if came[row, col] == NOT_REACHED:
        return count
    while count < rows_out.size:
        rows_out[count] = row
        cols_out[count] = col
        count += 1
        move = came[row, col]
        if move == SOURCE:
            return count
        row -= MOVE_ROWS[move]
        col -= MOVE_COLS[move]
    return 0

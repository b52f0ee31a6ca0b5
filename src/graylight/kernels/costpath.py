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

Where only some goals are asked for, the run ends when all of them are settled, and does not go on from a cell from
which even the straight line to them at the best pace would pass the limit (the lower bound of Hart, Nilsson & Raphael
1968, doi:10.1109/TSSC.1968.300136). The goals, and every cell on the ways to them, get what a whole run gives them.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

__all__ = ["EVERYWHERE", "MOVE_COLS", "MOVE_ROWS", "NOT_REACHED", "SOURCE", "least_time", "nodes", "trace"]

SOURCE = -1
"""Value in `came_out` of a cell whose least time is that of a source lying in it."""
NOT_REACHED = -2
"""Value in `came_out` of a cell that is closed, cut off, or beyond the limit."""

EVERYWHERE = np.empty((0, 2), np.int64)
"""As goals: every cell is asked for."""

# Moves by the place of the cell they come from, first rows first: the lesser index is the earlier place, by
# which ties are broken. MOVE_ROWS[m], MOVE_COLS[m] lead from the cell one came from to the cell reached.
MOVE_ROWS = np.array([2, 2, 1, 1, 1, 1, 1, 0, 0, -1, -1, -1, -1, -1, -2, -2], dtype=np.int64)
MOVE_COLS = np.array([1, -1, 2, 1, 0, -1, -2, 1, -1, 2, 1, 0, -1, -2, 1, -1], dtype=np.int64)

_RING = 2048  # buckets in the ring; labels farther ahead wait in the last and are put on when it is reached
_BLOCK = 64  # cells in one block of a bucket: a bucket is a chain of blocks, read and written in one run
_SPARE = (
    16 * _BLOCK
)  # free blocks to have at hand: a cell leads to at most 16 others, each in a bucket of its own
_EDGE = 2  # closed cells around the padded grid, as far as a knight move reaches
_TYPICAL = 0.125  # least bucket width, as a part of the typical straight move
_SAMPLED = 8  # of so many cells one tells what is typical: it decides about the order of the work alone
_FREE = _RING  # the place in `head` where the chain of free blocks hangs
# What is asked of a cell together lies together: with an array for each, half the time went on cache misses.
# And the inner functions call nothing but what is inlined, or are called once a block: on every other call each
# array handed over is counted up and down, which for one cell's sixteen moves took more time than the moves.
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


def nodes(shape: tuple[int, ...]) -> NDArray[np.void]:
    """The room that `least_time` works in for a grid of (rows, cols): one record a cell, all zero.

    Not taken inside the kernel: what numpy asks for itself lies on large pages, and is there in a fifth of the time.
    """
    return np.zeros((shape[0] + 2 * _EDGE) * (shape[1] + 2 * _EDGE), _NODE)


@njit(cache=True, nogil=True)
def _pad(elevation, factor, ground, best, z, f, g):
    """Copy onto the padded grid; f is seconds a metre at each cell's best slope, 0 where closed.

    Returns the least and the typical (geometric mean) f of the open cells.
    """
    rows, cols = elevation.shape
    stride = cols + 2 * _EDGE
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
                if (at + c) % _SAMPLED == 0:
                    logs += math.log(f[at + c])
                    count += 1
    return least, math.exp(logs / count) if count > 0 else least


@njit(cache=True, nogil=True)
def _unpad(label, came, done, seconds_out, came_out):
    """Copy the answer off the padded grid; where a run ended early some cells are not settled."""
    rows, cols = seconds_out.shape
    for r in range(rows):
        at = (r + _EDGE) * (cols + 2 * _EDGE) + _EDGE
        for c in range(cols):
            settled = done[at + c] != 0
            seconds_out[r, c] = label[at + c] if settled else np.inf
            came_out[r, c] = came[at + c] if settled else NOT_REACHED


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


@njit(cache=True, nogil=True, inline="always")
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
def _tables(stride, cell_m, sign, offsets, lengths):
    """Fill the tables of moves, the eight knight moves first.

    Offset on the padded grid, offsets of the two cells beside (none: 0), and the move's number; the part of
    its length that lies in one cell, sign / length, and a length so little shorter that no rounding turns a
    lower bound into more.
    """
    knights = 0
    kings = 8
    for m in range(16):
        dr = MOVE_ROWS[m]
        dc = MOVE_COLS[m]
        knight = abs(dr) + abs(dc) == 3
        i = knights if knight else kings
        knights += knight
        kings += not knight
        length = math.sqrt(dr * dr + dc * dc) * cell_m
        lengths[i, 0] = length * (0.25 if knight else 0.5)
        lengths[i, 1] = sign / length
        lengths[i, 2] = length * (1.0 - 1e-9)
        lengths[i, 3] = knight
        offsets[i, 0] = dr * stride + dc
        offsets[i, 3] = m
        if abs(dr) == 2:
            offsets[i, 1] = dr // 2 * stride
            offsets[i, 2] = dr // 2 * stride + dc
        elif abs(dc) == 2:
            offsets[i, 1] = dc // 2
            offsets[i, 2] = dr * stride + dc // 2
        elif dr != 0 and dc != 0:
            offsets[i, 1] = dr * stride
            offsets[i, 2] = dc


@njit(cache=True, nogil=True)
def _goals(goals, shape, f, per_m, cells, box):
    """The open goals as `cells` of the padded grid, and in `box` the rows and columns they lie in; how many.

    The last of `box` is the least that one cell's length takes, seconds; 0 where no goal is asked for.
    """
    count = 0
    box[0], box[1], box[2], box[3] = np.inf, -np.inf, np.inf, -np.inf
    for i in range(goals.shape[0]):
        r, c = goals[i, 0], goals[i, 1]
        if r < 0 or c < 0 or r >= shape[0] or c >= shape[1]:
            continue
        cell = (r + _EDGE) * (shape[1] + 2 * _EDGE) + c + _EDGE
        if f[cell] > 0.0:
            cells[count] = cell
            count += 1
            box[0], box[1] = min(box[0], r + _EDGE), max(box[1], r + _EDGE)
            box[2], box[3] = min(box[2], c + _EDGE), max(box[3], c + _EDGE)
    box[4] = per_m if count > 0 else 0.0
    return count


@njit(cache=True, nogil=True, inline="always")
def _least_on(cell, stride, box):
    """Seconds that the way on from a cell to the goals takes at the least."""
    r, c = cell // stride, cell % stride
    down = max(box[0] - r, r - box[1], 0.0)
    aside = max(box[2] - c, c - box[3], 0.0)
    return box[4] * math.sqrt(down * down + aside * aside)


@njit(cache=True, nogil=True)
def _hopeful(cell, seconds, least, node, offsets, lengths, found):
    """Fill `found` with the places in the tables of the moves that may be worth trying; how many.

    No slope is faster than the best, which f is for: this lower bound spares two moves in three. It is asked
    of all moves at once and without a branch, since a processor guesses such a branch wrong every other time.
    """
    f = np.float64(node[cell]["f"])
    low = 0.25 * f + 0.5 * least
    count = 0
    for i in range(8):
        to = cell + offsets[i, 0]
        found[count] = i
        count += node[to]["label"] >= seconds + lengths[i, 2] * (low + 0.25 * node[to]["f"])
    low = 0.5 * f
    for i in range(8, 16):
        to = cell + offsets[i, 0]
        found[count] = i
        count += node[to]["label"] >= seconds + lengths[i, 2] * (low + 0.5 * node[to]["f"])
    return count


@njit(cache=True, nogil=True)
def _arrivals(cell, seconds, node, pace, slope_min, per_step, offsets, lengths, found, count, arrive):
    """Fill `arrive` with the label that each of the moves in `found` would give; inf where it is closed."""
    z = np.float64(node[cell]["z"])
    f = node[cell]["f"]
    here = node[cell]["g"]
    last = pace.shape[1] - 1
    for j in range(count):
        i = found[j]
        to = cell + offsets[i, 0]
        a = cell + offsets[i, 1]
        b = cell + offsets[i, 2]
        x = ((node[to]["z"] - z) * lengths[i, 1] - slope_min) * per_step
        x = min(max(x, 0.0), np.float64(last))
        k = min(np.int64(x), last - 1)
        w = x - k
        p = pace[here, k]
        q = pace[node[to]["g"], k]
        pa = pace[node[a]["g"], k]
        pb = pace[node[b]["g"], k]
        p += w * (pace[here, k + 1] - p)
        q += w * (pace[node[to]["g"], k + 1] - q)
        pa += w * (pace[node[a]["g"], k + 1] - pa)
        pb += w * (pace[node[b]["g"], k + 1] - pb)
        total = p * f + q * node[to]["f"] + lengths[i, 3] * (pa * node[a]["f"] + pb * node[b]["f"])
        shut = (node[to]["f"] <= 0.0) | (node[a]["f"] <= 0.0) | (node[b]["f"] <= 0.0)
        arrive[j] = np.inf if shut else seconds + lengths[i, 0] * total


@njit(cache=True, nogil=True)
def _work_off(block, now, per_bucket, limit_s, stride, box, least, node, pace, slope_min, per_step, offsets, lengths,
              found, arrive, head, blocks, links, tally):  # fmt: skip
    """Settle the cells of one block: try the sixteen moves from each."""
    for n in range(links[block, 0]):
        cell = np.int64(blocks[block, n])
        tally[0] -= 1
        if node[cell]["done"]:
            continue
        seconds = node[cell]["label"]
        own = np.int64(seconds * per_bucket)
        if own > now:  # lay beyond the ring
            _put(cell, min(own, now + _RING - 1), head, blocks, links, tally)
            continue
        node[cell]["done"] = 1
        if box[4] > 0.0 and seconds + _least_on(cell, stride, box) > limit_s:
            continue
        count = _hopeful(cell, seconds, least, node, offsets, lengths, found)
        _arrivals(cell, seconds, node, pace, slope_min, per_step, offsets, lengths, found, count, arrive)
        for j in range(count):
            new = arrive[j]
            to = cell + offsets[found[j], 0]
            m = offsets[found[j], 3]
            old = node[to]["label"]
            if new > old or new > limit_s or new == np.inf:
                continue
            if new == old:
                if m < node[to]["came"]:
                    node[to]["came"] = m
                continue
            node[to]["label"] = new
            node[to]["came"] = m
            bucket = np.int64(new * per_bucket)
            if node[to]["done"] or old == np.inf or bucket != np.int64(old * per_bucket):
                node[to]["done"] = 0
                _put(to, min(bucket, now + _RING - 1), head, blocks, links, tally)


@njit(cache=True, nogil=True)
def _spread(sources, goals, now, per_bucket, limit_s, stride, box, least, node, pace, slope_min, per_step, offsets,
            lengths):  # fmt: skip
    """Put the sources in their buckets and work these off, from bucket `now` on, until none or no goal is left."""
    waiting = 0  # the first goal that is not settled
    head = np.full(_RING + 1, -1, np.int32)
    tally = np.zeros(2, np.int64)
    found = np.zeros(17, np.int64)
    arrive = np.zeros(16, np.float64)
    blocks, links = _more_blocks(
        np.empty((2 * _SPARE, _BLOCK), np.int32), np.zeros((2 * _SPARE, 2), np.int32), head, tally
    )
    for i in range(sources.size):
        if tally[1] < 1:
            blocks, links = _more_blocks(blocks, links, head, tally)
        cell = sources[i]
        _put(
            cell, min(np.int64(node[cell]["label"] * per_bucket), now + _RING - 1), head, blocks, links, tally
        )
    while tally[0] > 0:
        slot = now & (_RING - 1)
        while head[slot] >= 0:
            if tally[1] < _SPARE:
                blocks, links = _more_blocks(blocks, links, head, tally)
            block = head[slot]
            head[slot] = links[block, 1]
            _work_off(block, now, per_bucket, limit_s, stride, box, least, node, pace, slope_min, per_step, offsets,
                      lengths, found, arrive, head, blocks, links, tally)  # fmt: skip
            links[block, 1] = head[_FREE]
            head[_FREE] = block
            tally[1] += 1
        while waiting < goals.size and node[goals[waiting]]["done"]:
            waiting += 1
        if 0 < goals.size == waiting:
            return
        now += 1


@njit(cache=True, nogil=True)
def least_time(elevation, factor, ground, pace, slope_min, slope_step, cell_m, source_rows, source_cols,
               source_seconds, limit_s, toward, goals, node, seconds_out, came_out):  # fmt: skip
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
    goals : (n, 2) int64
        Row and column of each cell that is asked for; those outside the grid or closed are left out. None: all are.
        With goals, what is filled in elsewhere than on the ways to them may be too long, or not reached.
    node : (n,) record
        Fresh from `nodes`.
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
    label = node["label"]
    z = node["z"]
    f = node["f"]
    g = node["g"]
    came = node["came"]
    for i in range(label.size):
        label[i] = np.inf
        came[i] = NOT_REACHED
    best = np.empty(pace.shape[0], np.float64)
    relative = np.empty(pace.shape, np.float64)
    _relative(pace, best, relative)
    least, typical = _pad(elevation, factor, ground, best, z, f, g)
    cells = np.empty(source_rows.size, np.int64)
    count = _seed(source_rows, source_cols, source_seconds, elevation.shape, limit_s, f, label, came, cells)
    if count > 0:
        per_bucket = 1.0 / (cell_m * max(least, _TYPICAL * typical))
        first = label[cells[0]]
        for i in range(1, count):
            first = min(first, label[cells[i]])
        offsets = np.zeros((16, 4), np.int64)
        lengths = np.zeros((16, 4), np.float64)
        _tables(stride, cell_m, -1.0 if toward else 1.0, offsets, lengths)
        ends = np.empty(goals.shape[0], np.int64)
        box = np.empty(5, np.float64)
        asked = _goals(goals, elevation.shape, f, cell_m * least * (1.0 - 1e-9), ends, box)
        _spread(cells[:count], ends[:asked], np.int64(first * per_bucket), per_bucket, limit_s, stride, box, least,
                node, relative, slope_min, 1.0 / slope_step, offsets, lengths)  # fmt: skip
    _unpad(label, came, node["done"], seconds_out, came_out)


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

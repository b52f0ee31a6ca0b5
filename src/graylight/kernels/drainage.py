"""Where water goes: from every cell to the next one down, over hollows filled to their rims.

Priority-flood (Barnes, Lehman & Mulla 2014, doi:10.1016/j.cageo.2013.04.024) takes cells from the outlets
upward in order of the level to which water must rise to leave them. On that filled surface each cell drains
to the steepest of its eight neighbours (D8: O'Callaghan & Mark 1984, doi:10.1016/S0734-189X(84)80011-0); on
level ground, where no neighbour is lower, to the one the flood came from: the way out in the fewest steps.

Not modelled: flow that divides among several neighbours, water lost to the ground, lakes without outlet.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

__all__ = ["accumulate", "fill", "receivers"]

Heights = NDArray[np.float32]
Cells = NDArray[np.int64]


@njit(cache=True, nogil=True)
def _push(level: float, cell: int, levels: Heights, cells: Cells, size: int) -> int:
    """Put a cell on the heap; equal levels leave in order of place. Returns the new size."""
    at = size
    while at > 0:
        parent = (at - 1) >> 1
        if levels[parent] < level or (levels[parent] == level and cells[parent] < cell):
            break
        levels[at] = levels[parent]
        cells[at] = cells[parent]
        at = parent
    levels[at] = level
    cells[at] = cell
    return size + 1


@njit(cache=True, nogil=True)
def _drop_first(levels: Heights, cells: Cells, size: int) -> int:
    """Take the least entry off the heap (read entry 0 before). Returns the new size."""
    size -= 1
    level = levels[size]
    cell = cells[size]
    at = 0
    while True:
        child = 2 * at + 1
        if child >= size:
            break
        other = child + 1
        if other < size and (
            levels[other] < levels[child] or (levels[other] == levels[child] and cells[other] < cells[child])
        ):
            child = other
        if levels[child] > level or (levels[child] == level and cells[child] > cell):
            break
        levels[at] = levels[child]
        cells[at] = cells[child]
        at = child
    levels[at] = level
    cells[at] = cell
    return size


@njit(cache=True, nogil=True)
def _is_outlet(elevation: Heights, r: int, c: int) -> bool:
    """Whether water leaves the known ground here: the raster's edge, or unknown ground beside the cell."""
    rows, cols = elevation.shape
    if r == 0 or c == 0 or r == rows - 1 or c == cols - 1:
        return True
    for dr in range(-1, 2):
        for dc in range(-1, 2):
            if math.isnan(elevation[r + dr, c + dc]):
                return True
    return False


@njit(cache=True, nogil=True)
def _seed(elevation: Heights, receiver: Cells, filled: Heights, levels: Heights, cells: Cells) -> int:
    """Mark every cell as not reached, and put the outlets on the heap. Returns the heap's size."""
    rows, cols = elevation.shape
    size = 0
    for r in range(rows):
        for c in range(cols):
            cell = r * cols + c
            receiver[cell] = -1
            filled[cell] = elevation[r, c]
            if not math.isnan(elevation[r, c]) and _is_outlet(elevation, r, c):
                receiver[cell] = cell
                size = _push(elevation[r, c], cell, levels, cells, size)
    return size


@njit(cache=True, nogil=True)
def _flood(elevation: Heights, receiver: Cells, order: Cells, filled: Heights) -> int:
    """Priority-flood: `receiver` becomes the cell the flood came from. Returns how many cells were reached.

    `order` is at once the result and the queue of hollow and level cells: what is flooded at the level of the
    cell in hand is taken next, first come first served, before the heap is asked again.
    """
    rows, cols = elevation.shape
    levels = np.empty(rows * cols, np.float32)
    cells = np.empty(rows * cols, np.int64)
    size = _seed(elevation, receiver, filled, levels, cells)
    done = 0
    known = 0
    while done < known or size > 0:
        if done == known:
            order[known] = cells[0]
            known += 1
            size = _drop_first(levels, cells, size)
        cell = order[done]
        done += 1
        level = filled[cell]
        r, c = divmod(cell, cols)
        for rr in range(max(r - 1, 0), min(r + 2, rows)):
            for cc in range(max(c - 1, 0), min(c + 2, cols)):
                near = rr * cols + cc
                if receiver[near] >= 0 or math.isnan(elevation[rr, cc]):
                    continue
                receiver[near] = cell
                if elevation[rr, cc] <= level:
                    filled[near] = level
                    order[known] = near
                    known += 1
                else:
                    size = _push(elevation[rr, cc], near, levels, cells, size)
    return known


@njit(cache=True, nogil=True)
def _steepest(filled: Heights, r: int, c: int, rows: int, cols: int) -> int:
    """The neighbour to which the filled surface falls most steeply, first by place; -1: none lower."""
    here = filled[r * cols + c]
    best = -1
    steepest = 0.0
    for rr in range(max(r - 1, 0), min(r + 2, rows)):
        for cc in range(max(c - 1, 0), min(c + 2, cols)):
            fall = np.float64(here) - filled[rr * cols + cc]  # NaN for unknown ground: never steeper
            if rr != r and cc != c:
                fall *= 0.7071067811865476
            if fall > steepest:
                steepest = fall
                best = rr * cols + cc
    return best


@njit(cache=True, nogil=True)
def receivers(elevation: Heights, receiver: Cells, order: Cells) -> int:
    """Each cell's receiver on the filled surface, and an order in which receivers come before their givers.

    Parameters
    ----------
    elevation : (rows, cols) float32
        Metres, NaN where not known.
    receiver : (rows * cols,) int64, filled
        Flat index of the cell drained to; an outlet's own index at the raster's edge and beside unknown
        ground; -1 on unknown ground.
    order : (rows * cols,) int64, filled
        Flat indices of the known cells from the outlets upward, then -1.

    Returns
    -------
    int
        How many cells are known.

    Notes
    -----
    The order is right because the flood takes cells by rising level: a steepest receiver lies strictly lower
    on the filled surface, and the flood's own parent was taken earlier.
    """
    rows, cols = elevation.shape
    filled = np.empty(rows * cols, np.float32)
    known = _flood(elevation, receiver, order, filled)
    order[known:] = -1
    for n in range(known):
        cell = order[n]
        if receiver[cell] == cell:
            continue
        best = _steepest(filled, cell // cols, cell % cols, rows, cols)
        if best >= 0:
            receiver[cell] = best
    return known


@njit(cache=True, nogil=True)
def accumulate(receiver: Cells, order: Cells, out: NDArray[np.float64]) -> None:
    """Number of cells that drain through each cell, itself included.

    Parameters
    ----------
    receiver, order : (n,) int64
        From `receivers`.
    out : (n,) float64, filled
        Cells; times the cell's area it is the drainage area. NaN on unknown ground.
    """
    out[:] = np.nan
    for n in range(order.size):
        if order[n] >= 0:
            out[order[n]] = 1.0
    for n in range(order.size - 1, -1, -1):
        cell = order[n]
        if cell >= 0 and receiver[cell] != cell:
            out[receiver[cell]] += out[cell]


@njit(cache=True, nogil=True)
def fill(elevation: Heights, receiver: Cells, order: Cells, out: Heights) -> None:
    """The surface with every hollow filled to its rim: a lake's level, where there is one.

    Parameters
    ----------
    elevation : (n,) float32
        Metres, flat, as given to `receivers`.
    receiver, order : (n,) int64
        From `receivers`.
    out : (n,) float32, filled
        Metres, never below `elevation`; NaN on unknown ground.
    """
    out[:] = np.nan
    for n in range(order.size):
        cell = order[n]
        if cell >= 0 and receiver[cell] == cell:
            out[cell] = elevation[cell]
        elif cell >= 0:
            out[cell] = max(elevation[cell], out[receiver[cell]])

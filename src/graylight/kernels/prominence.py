"""Tops, their prominence and key saddles, by flooding cells from high to low and joining what they touch."""

from __future__ import annotations

import math

import numpy as np
from numba import njit

__all__ = ["flood"]


@njit(cache=True, nogil=True)
def _find(parent, top):
    """The highest top of the piece of ground that a top belongs to so far."""
    while parent[top] != top:
        parent[top] = parent[parent[top]]
        top = parent[top]
    return top


@njit(cache=True, nogil=True)
def _around(elevation, owner, r, c, near):
    """Owners of the higher neighbours, highest first; returns how many, and whether the known ground ends
    here.
    """
    rows, cols = elevation.shape
    n, edge = 0, False
    for i in range(-1, 2):
        for j in range(-1, 2):
            y, x = r + i, c + j
            if y < 0 or x < 0 or y >= rows or x >= cols or math.isnan(elevation[y, x]):
                edge = True
            elif owner[y, x] >= 0 and (i != 0 or j != 0):
                k = n
                while k > 0 and near[1, k - 1] < elevation[y, x]:
                    near[0, k], near[1, k] = near[0, k - 1], near[1, k - 1]
                    k -= 1
                near[0, k], near[1, k] = owner[y, x], elevation[y, x]
                n += 1
    return n, edge


@njit(cache=True, nogil=True)
def flood(elevation, order, owner, tops, keys, sides, edges):
    """Join cells from high to low; every time two pieces meet, the lower top has found its key saddle.

    Parameters
    ----------
    elevation : (rows, cols) float32
        NaN is outside.
    order : (n,) int64
        Flat indices of the known cells, highest first, ties by place.
    owner : (rows, cols) int32, out
        The top reached by always going to the highest neighbour (-1 on entry).
    tops : (m,) int64, out
        Flat index of each top, highest first.
    keys : (m,) int64, out
        Flat index of its key saddle; -1: no higher ground is reached on this raster.
    sides : (m, 2) int32, out
        The tops on the two sides of that saddle, nearest by going up: on the higher piece's side, on its own.
    edges : (m,) int64, out
        Flat index of the lowest cell on the highest way from the top to unknown ground or the raster's edge,
        as far as that way does not go below its key saddle; -1: none.

    Returns
    -------
    int
        Number of tops found.
    """
    cols = elevation.shape[1]
    parent = np.empty(tops.size, np.int32)
    near = np.empty((2, 8), np.float64)
    count = 0
    for cell in order:
        r, c = cell // cols, cell % cols
        n, edge = _around(elevation, owner, r, c, near)
        if n == 0:
            owner[r, c] = count
            parent[count] = count
            tops[count], keys[count], edges[count] = cell, -1, -1
            count += 1
        else:
            owner[r, c] = int(near[0, 0])
        for k in range(1, n):
            _join(parent, int(near[0, 0]), int(near[0, k]), cell, keys, sides, edges)
        piece = _find(parent, owner[r, c])
        if edge and edges[piece] < 0:
            edges[piece] = cell
    return count


@njit(cache=True, nogil=True)
def _join(parent, here, there, cell, keys, sides, edges):
    """Join the pieces of two tops at a cell; tops are numbered from the highest, so the smaller number stays.

    Where only the lower piece has come to the edge, the higher one now gets there too, over this cell.
    """
    a, b = _find(parent, here), _find(parent, there)
    if a == b:
        return
    if b < a:
        a, b, here, there = b, a, there, here
    parent[b] = a
    keys[b] = cell
    sides[b, 0], sides[b, 1] = here, there
    if edges[a] < 0 and edges[b] >= 0:
        edges[a] = cell


@njit(cache=True, nogil=True)
def climb(elevation, owner, starts, sides, out):
    """Mark the way from each saddle up one side, always to the highest neighbour, to the top it leads to.

    Parameters
    ----------
    elevation, owner : (rows, cols) float32, int32
        As in `flood`.
    starts : (n,) int64
        Flat indices of saddles.
    sides : (n,) int32
        The top on the side to climb.
    out : (rows, cols) bool, out
        True on the ways.
    """
    cols = elevation.shape[1]
    for k in range(starts.size):
        r, c = starts[k] // cols, starts[k] % cols
        out[r, c] = True
        y, x = _higher(elevation, owner, r, c, sides[k])
        while y >= 0:
            r, c = y, x
            out[r, c] = True
            y, x = _higher(elevation, owner, r, c, owner[r, c])


@njit(cache=True, nogil=True)
def _higher(elevation, owner, r, c, top):
    """The highest neighbour that leads to a top and comes before the cell, ties by place; (-1, -1): none."""
    rows, cols = elevation.shape
    best, y, x = elevation[r, c], -1, -1
    for i in range(max(r - 1, 0), min(r + 2, rows)):
        for j in range(max(c - 1, 0), min(c + 2, cols)):
            if owner[i, j] != top or (i == r and j == c):
                continue
            z = elevation[i, j]
            before = i < r or (i == r and j < c)
            if z > best or (z == best and y < 0 and before):
                best, y, x = z, i, j
    return y, x

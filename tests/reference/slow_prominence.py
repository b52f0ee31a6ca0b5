"""Prominence as its definition says it, slow and readable: the highest of all ways' lowest points."""

from __future__ import annotations

import heapq

import numpy as np


def key_height(elevation: np.ndarray, row: int, col: int) -> float:
    """Height of the key saddle of a cell: the best way to higher ground, by its lowest point; -inf: none.

    Higher is also what is as high and comes earlier by row and column.
    """
    rows, cols = elevation.shape
    here = (elevation[row, col], -(row * cols + col))
    waiting = [(-float(elevation[row, col]), row, col)]
    seen = {(row, col)}
    lowest = np.inf
    while waiting:
        negative, r, c = heapq.heappop(waiting)
        lowest = min(lowest, -negative)
        if (elevation[r, c], -(r * cols + c)) > here:
            return lowest
        for y in range(max(r - 1, 0), min(r + 2, rows)):
            for x in range(max(c - 1, 0), min(c + 2, cols)):
                if (y, x) not in seen and not np.isnan(elevation[y, x]):
                    seen.add((y, x))
                    heapq.heappush(waiting, (-float(elevation[y, x]), y, x))
    return -np.inf


def way_out(elevation: np.ndarray, row: int, col: int) -> float:
    """Lowest point of the best way from a cell to the edge of the raster or of known ground."""
    rows, cols = elevation.shape
    wide = np.pad(elevation, 1, constant_values=np.nan)
    waiting = [(-float(elevation[row, col]), row, col)]
    seen = {(row, col)}
    lowest = np.inf
    while waiting:
        negative, r, c = heapq.heappop(waiting)
        lowest = min(lowest, -negative)
        if np.isnan(wide[r : r + 3, c : c + 3]).any():
            return lowest
        for y in range(r - 1, r + 2):
            for x in range(c - 1, c + 2):
                if (y, x) not in seen and 0 <= y < rows and 0 <= x < cols:
                    seen.add((y, x))
                    heapq.heappush(waiting, (-float(elevation[y, x]), y, x))
    return -np.inf


def is_top(elevation: np.ndarray, row: int, col: int) -> bool:
    """Whether no neighbour is higher, nor as high and earlier by place."""
    cols = elevation.shape[1]
    here = (elevation[row, col], -(row * cols + col))
    for y in range(max(row - 1, 0), min(row + 2, elevation.shape[0])):
        for x in range(max(col - 1, 0), min(col + 2, cols)):
            if not np.isnan(elevation[y, x]) and (elevation[y, x], -(y * cols + x)) > here:
                return False
    return True

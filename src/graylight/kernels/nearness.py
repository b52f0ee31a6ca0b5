"""Which cells lie near enough to some others: exact, by whole numbers of squared cells."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

__all__ = ["FAR", "near_any"]

FAR = np.int32(2**30)
"""No such cell in the column."""


@njit(cache=True, nogil=True)
def _down_the_columns(mask: NDArray[np.bool_], gap: NDArray[np.int32]) -> None:
    """Rows to the nearest cell of the mask in the same column."""
    rows, cols = mask.shape
    for r in range(rows):
        for c in range(cols):
            above = gap[r - 1, c] if r > 0 else FAR
            gap[r, c] = 0 if mask[r, c] else min(above + 1, FAR)
    for r in range(rows - 2, -1, -1):
        for c in range(cols):
            gap[r, c] = min(gap[r, c], gap[r + 1, c] + 1)


@njit(cache=True, nogil=True)
def _mark(gap: NDArray[np.int32], most: np.int32, out: NDArray[np.bool_]) -> None:
    """Cells with a gap of at most so many rows."""
    for i in range(out.shape[0]):
        out[i] |= gap[i] <= most


@njit(cache=True, nogil=True)
def near_any(mask: NDArray[np.bool_], limit2: int, gap: NDArray[np.int32], out: NDArray[np.bool_]) -> None:
    """Cells whose squared distance to some cell of the mask, centre to centre in cells, is at most `limit2`.

    Parameters
    ----------
    mask : (rows, cols) bool
    limit2 : int
        0 or more.
    gap : (rows, cols) int32
        Filled on the way: rows to the nearest cell of the mask in the same column.
    out : (rows, cols) bool
        Filled.
    """
    rows, cols = mask.shape
    _down_the_columns(mask, gap)
    reach = int(np.sqrt(limit2)) + 1
    for r in range(rows):
        for c in range(cols):
            out[r, c] = False
        for aside in range(-reach, reach + 1):
            left = limit2 - aside * aside
            if left < 0:
                continue
            most = int(np.sqrt(left))
            while most * most > left:
                most -= 1
            while (most + 1) * (most + 1) <= left:
                most += 1
            first, end = max(0, -aside), min(cols, cols - aside)
            _mark(gap[r, first + aside : end + aside], np.int32(most), out[r, first:end])

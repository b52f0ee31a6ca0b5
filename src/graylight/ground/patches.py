"""Patches of a mask: connected pieces of ground, their middles and their numbers; means over squares and
blocks.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

__all__ = ["blocks", "middle", "patches", "pieces_of", "renumbered", "smoothed"]

Window: TypeAlias = tuple[slice, slice]


def patches(mask: NDArray[np.bool_]) -> tuple[NDArray[np.int32], int]:
    """Number the pieces of a mask that touch by side or corner, 1, 2, ...; 0 elsewhere."""
    labels, n = ndimage.label(mask, structure=np.ones((3, 3), int))
    return labels.astype(np.int32, copy=False), int(n)


def pieces_of(labels: NDArray[np.int32], n: int) -> Iterator[tuple[int, Window, NDArray[np.bool_]]]:
    """Each piece: its number, the window it fits in, and its mask there."""
    for k, window in enumerate(ndimage.find_objects(labels, max_label=n), start=1):
        rows, cols = window
        yield k, (rows, cols), labels[window] == k


def middle(mask: NDArray[np.bool_], window: Window) -> tuple[int, int]:
    """The cell of a piece nearest to its middle, ties by place, in the cells of the whole raster."""
    rows, cols = np.nonzero(mask)
    nearest = int(np.argmin((rows - rows.mean()) ** 2 + (cols - cols.mean()) ** 2))
    return int(rows[nearest]) + window[0].start, int(cols[nearest]) + window[1].start


def renumbered(labels: NDArray[np.int32], kept: list[int]) -> NDArray[np.int32]:
    """Labels with the kept pieces numbered 1, 2, ... in the given order, and 0 for the others."""
    number = np.zeros(int(labels.max(initial=0)) + 1, np.int32)
    number[kept] = np.arange(1, len(kept) + 1, dtype=np.int32)
    return number[labels]


def smoothed(raster: NDArray[np.float32], *, span_m: float, cell_m: float) -> NDArray[np.float32]:
    """Mean over a square of about this side, of the known cells in it; NaN stays NaN.

    At the raster's edge the ground is turned over point-symmetrically, so that a slope stays a slope.
    """
    half = min(max(1, round((span_m / cell_m - 1.0) / 2.0)), min(raster.shape) - 1)
    if half < 1:
        return raster
    size = 2 * half + 1
    wide = np.pad(raster.astype(np.float64), half, mode="reflect", reflect_type="odd")
    unknown = np.isnan(wide)
    inner = (slice(half, -half), slice(half, -half))
    total = ndimage.uniform_filter(np.where(unknown, 0.0, wide), size)[inner]
    if not unknown.any():
        return total.astype(np.float32)
    known = ndimage.uniform_filter((~unknown).astype(np.float64), size)[inner]
    mean = np.full(raster.shape, np.nan)
    np.divide(total, known, out=mean, where=~np.isnan(raster))
    return mean.astype(np.float32)


def blocks(raster: NDArray[np.float32], factor: int) -> NDArray[np.float32]:
    """Means over blocks of factor x factor cells (whole blocks only), NaN where any cell is unknown."""
    if factor == 1:
        return raster
    rows, cols = raster.shape[0] // factor, raster.shape[1] // factor
    whole = raster[: rows * factor, : cols * factor].reshape(rows, factor, cols, factor)
    mean: NDArray[np.float32] = whole.mean(axis=(1, 3), dtype=np.float64).astype(np.float32)
    return mean

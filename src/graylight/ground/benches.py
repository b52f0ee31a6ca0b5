"""Benches: gentle ground let into a hillside that is clearly steeper around."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from graylight.ground.relief import slope_and_aspect

__all__ = ["COARSEST_BENCH_M", "Bench", "benches"]

COARSEST_BENCH_M = 30.0

GENTLE_DEG = 15.0
"""A bench is less steep than this. Common practice, no source."""
HILLSIDE_DEG = 20.0
"""The hillside it is let into, smoothed, is at least this steep. Common practice, no source."""
LEAST_M2 = 1500.0
"""Smallest bench listed: room for a few animals to lie. Common practice, no source."""
SMOOTH_M = 250.0
"""Side of the square over which the hillside is smoothed: several times the depth of a bench."""


@dataclass(frozen=True, slots=True)
class Bench:
    """A bench: its middle cell, its number in `Landforms.bench_labels`, its area."""

    row: int
    col: int
    label: int
    area_m2: float


def benches(
    elevation_m: NDArray[np.float32], slope_deg: NDArray[np.float32], *, cell_m: float
) -> tuple[tuple[Bench, ...], NDArray[np.int32]]:
    """Find the benches: slope under 15 degrees where the hillside, smoothed over 250 m, has at least 20.

    Crests and valley floors are level also when smoothed, so they are none.

    Parameters
    ----------
    elevation_m, slope_deg
        (rows, cols) float32, NaN for unknown.
    cell_m
        Cell size, metres; over 30 m nothing is found.

    Returns
    -------
    benches
        Largest first, ties by place.
    labels : (rows, cols) int32
        1, 2, ... in that order; 0 elsewhere.
    """
    labels = np.zeros(elevation_m.shape, np.int32)
    if cell_m > COARSEST_BENCH_M:
        return (), labels
    hillside, _ = slope_and_aspect(smoothed(elevation_m, span_m=SMOOTH_M, cell_m=cell_m), cell_m=cell_m)
    flat = smoothed(slope_deg, span_m=3.0 * cell_m, cell_m=cell_m) < GENTLE_DEG
    pieces, n = ndimage.label(flat & (hillside >= HILLSIDE_DEG), structure=np.ones((3, 3), int))
    area = np.bincount(pieces.ravel(), minlength=n + 1) * cell_m**2
    least = max(LEAST_M2, 4.0 * cell_m**2)
    found = [
        _bench(window, pieces, k, float(area[k]))
        for k, window in enumerate(ndimage.find_objects(pieces, max_label=n), start=1)
        if area[k] >= least
    ]
    found.sort(key=lambda bench: (-bench.area_m2, bench.row, bench.col))
    number = np.zeros(n + 1, np.int32)
    number[[bench.label for bench in found]] = np.arange(1, len(found) + 1)
    final = tuple(Bench(b.row, b.col, int(number[b.label]), b.area_m2) for b in found)
    return final, number[pieces]


def _bench(window: tuple[slice, slice], pieces: NDArray[np.int32], k: int, area_m2: float) -> Bench:
    rows, cols = np.nonzero(pieces[window] == k)
    nearest = int(np.argmin((rows - rows.mean()) ** 2 + (cols - cols.mean()) ** 2))
    return Bench(int(rows[nearest]) + window[0].start, int(cols[nearest]) + window[1].start, k, area_m2)


def smoothed(raster: NDArray[np.float32], *, span_m: float, cell_m: float) -> NDArray[np.float32]:
    """Mean over a square of about this side, of the known cells in it; NaN stays NaN.

    At the raster's edge the ground is turned over point-symmetrically, so that a slope stays a slope.
    """
    half = max(1, round((span_m / cell_m - 1.0) / 2.0))
    half = min(half, min(raster.shape) - 1)
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
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.where(np.isnan(raster), np.nan, total / known)
    return mean.astype(np.float32)

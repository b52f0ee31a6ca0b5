"""Benches: gentle ground let into a hillside that is clearly steeper around."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from graylight.ground.patches import middle, patches, pieces_of, renumbered, smoothed
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
    pieces, n = patches(flat & (hillside >= HILLSIDE_DEG))
    least = max(LEAST_M2, 4.0 * cell_m**2)
    found = []
    for k, window, mask in pieces_of(pieces, n):
        area_m2 = float(mask.sum() * cell_m**2)
        if area_m2 >= least:
            found.append(Bench(*middle(mask, window), k, area_m2))
    found.sort(key=lambda bench: (-bench.area_m2, bench.row, bench.col))
    final = tuple(Bench(b.row, b.col, number, b.area_m2) for number, b in enumerate(found, start=1))
    return final, renumbered(pieces, [bench.label for bench in found])

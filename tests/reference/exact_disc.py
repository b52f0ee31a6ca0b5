"""The exact definition over a disc, compiled: `crossing_margin` (held to `exact_sight` pair by pair) for every cell."""

from __future__ import annotations

import numpy as np
from numba import njit
from scipy.ndimage import gaussian_filter

from graylight.kernels.viewshed import crossing_margin
from graylight.sight.viewshed import bend


@njit(cache=True, nogil=True)
def _fill(z, row, col, cell_m, eye_m, target_m, fall, radius, out):
    for r in range(max(row - radius, 0), min(row + radius + 1, z.shape[0])):
        for c in range(max(col - radius, 0), min(col + radius + 1, z.shape[1])):
            if (r - row) ** 2 + (c - col) ** 2 <= radius * radius:
                margin = np.inf
                if max(abs(r - row), abs(c - col)) > 1:
                    margin = crossing_margin(
                        z, row, col, z[row, col] + eye_m, r, c, z[r, c] + target_m, cell_m, fall
                    )[0]
                out[r - row + radius, c - col + radius] = margin


def exact_margins(
    z: np.ndarray, row: int, col: int, *, cell_m: float, eye_m: float, target_m: float, radius: int
) -> np.ndarray:
    """(2 radius + 1, 2 radius + 1) float64; NaN outside the disc or the grid."""
    out = np.full((2 * radius + 1, 2 * radius + 1), np.nan)
    _fill(z, row, col, cell_m, eye_m, target_m, bend(1 / 7), radius, out)
    return out


def agreement(margin: np.ndarray, exact: np.ndarray) -> tuple[float, float]:
    """Intersection over union of the visible cells, and the part of all cells that is equal."""
    known = ~np.isnan(exact)
    assert (np.isnan(margin) == ~known).all()
    a, b = margin[known] >= 0, exact[known] >= 0
    return float((a & b).sum() / (a | b).sum()), float((a == b).mean())


def rough_mountains(size: int = 900, seed: int = 5) -> np.ndarray:
    """Made-up rough ground: smoothed noise at four scales, relief of about 1500 m at 10 m cells."""
    rng = np.random.default_rng(seed)
    scales = ((60, 220), (20, 60), (7, 25), (2, 7))
    z = sum(gaussian_filter(rng.standard_normal((size, size)), s) * s * a for s, a in scales)
    return np.ascontiguousarray(2500 + z, np.float32)

"""Suitabilities: numbers in [0, 1] from facts, and how several are put together."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_erosion, gaussian_filter

__all__ = ["Raster", "at_rim", "falling", "rising", "smooth", "together"]

Raster = NDArray[np.float32]


def rising(values: Raster, start: float, full: float) -> Raster:
    """0 up to `start`, 1 from `full` on, a smooth step between (3 t^2 - 2 t^3).

    >>> import numpy as np
    >>> rising(np.array([0, 5, 10], np.float32), 0, 10).tolist()
    [0.0, 0.5, 1.0]
    """
    t = np.clip((values - np.float32(start)) / np.float32(max(full - start, 1e-6)), 0, 1)
    return np.asarray(t * t * (3 - 2 * t), np.float32)


def at_rim(elevation_m: Raster) -> NDArray[np.bool_]:
    """Known cells on the raster's outermost rows and columns, or beside unknown ground.

    Their slope and facing are guessed from one side only, so no place is put there.

    >>> import numpy as np
    >>> at_rim(np.zeros((3, 4), np.float32)).astype(int).tolist()
    [[1, 1, 1, 1], [1, 0, 0, 1], [1, 1, 1, 1]]
    """
    known = ~np.isnan(elevation_m)
    return np.asarray(known & ~binary_erosion(known, np.ones((3, 3), bool)), bool)


def falling(values: Raster, full: float, end: float) -> Raster:
    """1 up to `full`, 0 from `end` on, a smooth step between."""
    return (1 - rising(values, full, end)).astype(np.float32, copy=False)


def together(parts: list[tuple[Raster | float, float]]) -> Raster:
    """Weighted geometric mean: what is missing altogether can't be made up for by the rest.

    Parameters
    ----------
    parts
        (suitability in [0, 1], weight); weights of 0 drop out.
    """
    counted = [(np.asarray(value, np.float32), weight) for value, weight in parts if weight > 0]
    logs = sum(np.float32(weight) * np.log(np.maximum(value, np.float32(1e-6))) for value, weight in counted)
    return np.asarray(np.exp(logs / np.float32(sum(weight for _, weight in counted) or 1.0)), np.float32)


def smooth(values: Raster, sigma_m: float, cell_m: float) -> Raster:
    """Gaussian mean; NaN counts as 0."""
    return gaussian_filter(np.nan_to_num(values), sigma_m / cell_m, mode="nearest", truncate=3.0).astype(
        np.float32, copy=False
    )

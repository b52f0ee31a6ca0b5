"""Small grounds drawn by formula, whose shape is known."""

from __future__ import annotations

import numpy as np


def axes(rows: int, cols: int, cell_m: float) -> tuple[np.ndarray, np.ndarray]:
    """Metres north and east of the middle."""
    north = ((rows - 1) / 2 - np.arange(rows)) * cell_m
    east = (np.arange(cols) - (cols - 1) / 2) * cell_m
    return np.meshgrid(north, east, indexing="ij")


def hills(
    rows: int, cols: int, cell_m: float, *tops: tuple[float, float, float, float], base_m: float = 2000.0
) -> np.ndarray:
    """Round hills (north_m, east_m, height_m, width_m); the ground is the highest of them."""
    north, east = axes(rows, cols, cell_m)
    ground = np.full((rows, cols), base_m)
    for n, e, height, width in tops:
        ground = np.maximum(
            ground, base_m + height * np.exp(-((north - n) ** 2 + (east - e) ** 2) / width**2)
        )
    return ground.astype(np.float32)


def cirque(cell_m: float, *, opens: int = 0, span_m: float = 4000.0) -> np.ndarray:
    """A bowl let into the side of a ridge that runs across, with a floor 500 m wide.

    It opens to the south; `opens` turns it by so many quarters to the left.
    """
    size = int(span_m / cell_m)
    north, east = axes(size, size, cell_m)
    ridge = 3200.0 - 0.3 * np.abs(north - 500.0)
    away = np.hypot(north + 100.0, east)
    wall = 2820.0 + np.clip(away - 250.0, 0.0, None) * 1.1 + 0.02 * away
    trough = 2820.0 + np.clip(np.abs(east) - 250.0, 0.0, None) * 1.1 + 0.16 * np.minimum(north + 100.0, 0.0)
    bowl = np.where(north < -100.0, np.minimum(wall, trough), wall)
    return np.ascontiguousarray(np.rot90(np.minimum(ridge, bowl), opens), np.float32)


def trough(cell_m: float, *, span_m: float = 4000.0) -> np.ndarray:
    """A straight valley with steep sides, open at both ends."""
    size = int(span_m / cell_m)
    north, east = axes(size, size, cell_m)
    return (2500.0 + np.clip(np.abs(east) - 250.0, 0.0, None) * 0.8 + 0.03 * north).astype(np.float32)

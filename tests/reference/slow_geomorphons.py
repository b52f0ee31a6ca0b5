"""Geomorphons as the paper says them, slow and readable."""

from __future__ import annotations

import math

import numpy as np

WAYS = ((-1, 0), (-1, 1), (0, 1), (1, 1), (1, 0), (1, -1), (0, -1), (-1, -1))


def counts(
    elevation: np.ndarray, cell_m: float, *, straight: int, slanted: int, flat_deg: float, level_counts: bool
) -> tuple[np.ndarray, np.ndarray]:
    """Number of directions in which the ground falls away and rises.

    `straight` and `slanted` say how many cells are searched along rows and columns and along diagonals. With
    `level_counts` a horizon is never taken lower than level, nor a drop higher: whitebox-workflows does so.
    """
    rows, cols = elevation.shape
    lower, higher = np.zeros((rows, cols), int), np.zeros((rows, cols), int)
    for r in range(rows):
        for c in range(cols):
            for dr, dc in WAYS:
                reach = slanted if dr and dc else straight
                angles = [
                    math.degrees(math.atan2(float(elevation[y, x]) - float(elevation[r, c]), k * step))
                    for k in range(1, reach + 1)
                    for step in [cell_m * math.hypot(dr, dc)]
                    for y, x in [(r + k * dr, c + k * dc)]
                    if 0 <= y < rows and 0 <= x < cols
                ] or [math.nan]
                up, down = max(angles), min(angles)
                if level_counts:
                    up, down = max(up, 0.0), min(down, 0.0)
                higher[r, c] += up + down > flat_deg
                lower[r, c] += up + down < -flat_deg
    return lower, higher

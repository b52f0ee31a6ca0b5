"""The fall line by the plainest means: from cell to cell along the steepest of eight neighbours of smoothed ground."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import uniform_filter

SMOOTH_CELLS = 9
"""Air goes by ground evened over some 90 m (docs/air.md): on 10 m cells so many."""


def walk_on_fall_line(
    z: np.ndarray, row: float, col: float, *, steps: int, up: bool
) -> tuple[int, int] | None:
    """So many cells up (or down) the fall line; None where it ends before, on a top or in a hollow."""
    even = uniform_filter(z.astype(float), SMOOTH_CELLS) * (1.0 if up else -1.0)
    r, c = round(row), round(col)
    for _ in range(steps):
        about = even[max(r - 1, 0) : r + 2, max(c - 1, 0) : c + 2]
        if about.shape != (3, 3):
            return None
        gain = about - about[1, 1]
        gain[[0, 0, 2, 2], [0, 2, 0, 2]] /= np.sqrt(2.0)
        dr, dc = np.unravel_index(int(np.argmax(gain)), (3, 3))
        if gain[dr, dc] <= 0.0:
            return None
        r, c = r + int(dr) - 1, c + int(dc) - 1
    return r, c

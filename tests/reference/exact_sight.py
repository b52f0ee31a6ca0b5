"""The exact definition of sight on a grid, written to be read: no speed, no cleverness.

Elevation is linear along each line that joins neighbouring cell centres. The sight line runs straight from the
eye to the target's top and is checked at every crossing with a row line and every crossing with a column line
strictly between its ends; what stands there is lowered by (1 - k) d^2 / (2 R).
"""

from __future__ import annotations

from fractions import Fraction
from math import floor, hypot

import numpy as np

EARTH_RADIUS_M = 6371000.0


def crossings(row0: int, col0: int, row1: int, col1: int) -> list[tuple[Fraction, Fraction, Fraction]]:
    """(part of the way, row, col) of each crossing strictly between the ends, in exact fractions."""
    found = []
    for steps in (abs(row1 - row0), abs(col1 - col0)):
        for i in range(1, steps):
            t = Fraction(i, steps)
            found.append((t, row0 + t * (row1 - row0), col0 + t * (col1 - col0)))
    return found


def height_at(elevation: np.ndarray, row: Fraction, col: Fraction) -> float:
    """Linear on the line between the two neighbouring cell centres; one of row and col is whole."""
    r, c = floor(row), floor(col)
    if row == r and col == c:
        return float(elevation[r, c])
    if row == r:
        f = float(col - c)
        return float(elevation[r, c]) * (1 - f) + float(elevation[r, c + 1]) * f
    f = float(row - r)
    return float(elevation[r, c]) * (1 - f) + float(elevation[r + 1, c]) * f


def sees(elevation, row0, col0, row1, col1, *, cell_m, eye_m, target_m, refraction=1 / 7) -> bool:
    """Whether a watcher at one cell sees a target on another."""
    bend = (1 - refraction) / (2 * EARTH_RADIUS_M)
    whole = hypot(row1 - row0, col1 - col0) * cell_m
    eye = float(elevation[row0, col0]) + eye_m
    top = float(elevation[row1, col1]) + target_m - bend * whole**2
    for t, row, col in crossings(row0, col0, row1, col1):
        d = float(t) * whole
        line = eye + (top - eye) * float(t)
        if height_at(elevation, row, col) - bend * d**2 > line:
            return False
    return True


def visible(elevation, row, col, *, cell_m, eye_m, target_m, radius_m=None, refraction=1 / 7) -> np.ndarray:
    """All cells within a radius; the slow twin of `graylight.sight.viewshed.visible`."""
    out = np.zeros(elevation.shape, bool)
    for r in range(elevation.shape[0]):
        for c in range(elevation.shape[1]):
            far = hypot(r - row, c - col)
            if radius_m is not None and far > radius_m // cell_m:
                continue
            near = max(abs(r - row), abs(c - col)) <= 1
            out[r, c] = near or sees(
                elevation,
                row,
                col,
                r,
                c,
                cell_m=cell_m,
                eye_m=eye_m,
                target_m=target_m,
                refraction=refraction,
            )
    return out

"""The horizon over far ground by the plainest way: every cell of the apron looked at, along every ray, one after the other.

No early end, no carrying over: numpy alone. Height between cells is linear; the earth falls away by the square of the
distance, less the seventh that refraction takes back (as GDAL's viewshed has it).
"""

from __future__ import annotations

import numpy as np

BEND = (1.0 - 1.0 / 7.0) / (2.0 * 6_371_000.0)


def tangent(apron, cell_m, place, height_m, box, azimuth_deg, *, spacing_m=4.0):
    """Largest tangent seen from a place (row, col of the apron) along an azimuth, outside a box of rows and columns."""
    far = np.arange(spacing_m, cell_m * sum(apron.shape), spacing_m)
    turn = np.radians(azimuth_deg)
    row, col = place[0] - np.cos(turn) * far / cell_m, place[1] + np.sin(turn) * far / cell_m
    n, m = apron.shape
    inside = (row >= 0) & (col >= 0) & (row < n - 1) & (col < m - 1)
    beyond = (row < box[0]) | (row > box[1]) | (col < box[2]) | (col > box[3])
    keep = inside & beyond
    row, col, far = row[keep], col[keep], far[keep]
    if not far.size:
        return -np.inf
    r, c = np.floor(row).astype(int), np.floor(col).astype(int)
    y, x = row - r, col - c
    height = (
        (1 - y) * ((1 - x) * apron[r, c] + x * apron[r, c + 1])
        + y * ((1 - x) * apron[r + 1, c] + x * apron[r + 1, c + 1])
    )  # fmt: skip
    return float(((height - height_m) / far - BEND * far).max())

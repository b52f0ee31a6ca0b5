"""Small pieces of country, drawn by hand."""

from __future__ import annotations

import numpy as np

from graylight.ground.cover import Cover, Kind
from graylight.ground.landforms import landforms
from graylight.ground.relief import relief
from graylight.ground.water import water
from graylight.habitat.land import Land

CELL_M = 20.0


def two_bowls(rows: int = 140, cols: int = 240) -> tuple[np.ndarray, np.ndarray]:
    """Two bowls side by side, opening south, parted by a high ridge; timber on the north-facing wall of each.

    Returns elevation (metres) and cover kinds.
    """
    y, x = np.mgrid[:rows, :cols] * CELL_M
    z = np.full((rows, cols), 2400.0)
    kind = np.full((rows, cols), int(Kind.GRASS), np.uint8)
    middle_y = rows * CELL_M / 2
    ridge = 2400.0 + 700.0 * np.exp(-(((y - 0.25 * middle_y) / 900.0) ** 2))
    for centre in (0.25, 0.75):
        away = np.hypot(x - centre * cols * CELL_M, y - 0.85 * middle_y)
        bowl = 2750.0 + 0.00055 * away**2
        ridge = np.minimum(ridge + 0.0, np.where(away < 900.0, np.minimum(bowl, ridge + 250.0), ridge + 0.0))
        timber = (away > 250.0) & (away < 650.0) & (x < centre * cols * CELL_M - 100.0)
        kind[timber] = int(Kind.TIMBER)
    z = ridge
    return np.ascontiguousarray(z, np.float32), kind


def land_of(z: np.ndarray, kind: np.ndarray, *, shut: np.ndarray | None = None, green: float = 0.7) -> Land:
    """A piece of country with cover by kind, full green, quiet everywhere."""
    rel = relief(z, cell_m=CELL_M)
    closure = np.where(kind == Kind.TIMBER, 0.5, 0).astype(np.float32)
    cover = Cover(
        kind, np.full(z.shape, green, np.float32), 12 * (closure > 0).astype(np.float32), closure, 3100.0, "given", "good", (), ()
    )  # fmt: skip
    shade = np.where(kind == Kind.TIMBER, 0.7, 0.2).astype(np.float32)
    return Land(
        z, CELL_M, rel, landforms(z, rel, cell_m=CELL_M), cover, water(z, cell_m=CELL_M, kind=kind), shade,
        np.full(z.shape, np.inf, np.float32), np.zeros(z.shape, bool) if shut is None else shut,
        np.zeros(z.shape, bool),
    )  # fmt: skip

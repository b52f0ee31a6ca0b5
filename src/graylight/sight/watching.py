"""From where the pockets can be watched: target cells sampled from them, each with its own window of sight.

Sight is symmetric on the grid, so looking from a target with the heights exchanged tells which cells see it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from graylight.settings import SightSettings
from graylight.sight.answers import Obstacles, answer_window
from graylight.work import Tick, silent, spread

__all__ = ["Sampled", "bytes_needed", "sample", "windows"]


@dataclass(frozen=True, slots=True)
class Sampled:
    """Cells that stand for the pockets: (n,) int32 rows and cols, weight float32, pocket int32 (index)."""

    row: NDArray[np.int32]
    col: NDArray[np.int32]
    weight: NDArray[np.float32]
    pocket: NDArray[np.int32]


def bytes_needed(targets: int, radius_cells: int) -> int:
    """Memory of the windows."""
    return targets * (2 * radius_cells + 1) ** 2


def sample(
    labels: NDArray[np.int32], use: NDArray[np.float32], chance: list[float], *, per_pocket: int
) -> Sampled:
    """Choose cells of each pocket by how much they are used, spread over its ground.

    Parameters
    ----------
    labels : (rows, cols) int32
        0 outside; pocket i carries i + 1.
    use : (rows, cols) float32
        How much each cell is used at the hour watched.
    chance : list of float
        Weight of each pocket.
    per_pocket : int
        Cells a pocket, at most.

    Returns
    -------
    Sampled
        Equal weights within a pocket, summing to its chance. Cells are walked along a Z-order curve and taken
        at equal steps of their summed use (systematic sampling), so that the choice is the same every time.
    """
    row, col, weight, pocket = [], [], [], []
    for index, worth in enumerate(chance):
        cells = np.argwhere((labels == index + 1) & (use > 0))
        if len(cells) == 0 or worth <= 0:
            continue
        cells = cells[np.argsort(_z_order(cells[:, 0], cells[:, 1]), kind="stable")]
        summed = np.cumsum(use[cells[:, 0], cells[:, 1]], dtype=np.float64)
        n = min(per_pocket, len(cells))
        at = np.searchsorted(summed, (np.arange(n) + 0.5) / n * summed[-1])
        chosen = cells[np.unique(np.minimum(at, len(cells) - 1))]
        row.append(chosen[:, 0])
        col.append(chosen[:, 1])
        weight.append(np.full(len(chosen), worth / len(chosen)))
        pocket.append(np.full(len(chosen), index))
    if not row:
        return Sampled(*(np.empty(0, np.int32),) * 2, np.empty(0, np.float32), np.empty(0, np.int32))
    return Sampled(
        np.concatenate(row).astype(np.int32),
        np.concatenate(col).astype(np.int32),
        np.concatenate(weight).astype(np.float32),
        np.concatenate(pocket).astype(np.int32),
    )


def _z_order(row: NDArray[np.int64], col: NDArray[np.int64]) -> NDArray[np.int64]:
    code = np.zeros(len(row), np.int64)
    for bit in range(16):
        code |= ((col >> bit) & 1) << (2 * bit)
        code |= ((row >> bit) & 1) << (2 * bit + 1)
    return code


def windows(
    land: Obstacles,
    targets: Sampled,
    *,
    cell_m: float,
    animal_m: float,
    settings: SightSettings,
    tick: Tick = silent,
) -> NDArray[np.uint8]:
    """From where each target can be seen by a seated watcher.

    Returns
    -------
    (targets, 2 R + 1, 2 R + 1) uint8
        Answers (see `graylight.sight.answers`); [t, R + dr, R + dc] is the watcher at dr, dc from target t.
    """
    radius = max(1, int(settings.radius_m // cell_m))
    side = 2 * radius + 1
    out = np.empty((len(targets.row), side, side), np.uint8)

    def one(index: int) -> None:
        out[index] = answer_window(
            land, row=int(targets.row[index]), col=int(targets.col[index]), cell_m=cell_m,
            eye_m=animal_m, target_m=settings.eye_m, radius_cells=radius, settings=settings,
        )  # fmt: skip

    jobs: list[Callable[[], None]] = [partial(one, i) for i in range(len(targets.row))]
    if jobs:
        spread(jobs, tick=tick)
    return out

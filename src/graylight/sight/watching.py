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
from graylight.sight.viewshed import reach_cells
from graylight.work import Tick, silent, spread

__all__ = ["Sampled", "bytes_needed", "sample", "windows"]

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]


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
        Weights within a pocket sum to its chance. Its cells are parted into as many parts of equal use as
        there are cells to choose (see `_parts`); the cell nearest to the middle of a part's use stands for it
        and carries its use. Nothing hangs on rows and columns: turned or mirrored ground gives the same cells,
        turned or mirrored.
    """
    row, col, weight, pocket = [], [], [], []
    for index, worth in enumerate(chance):
        cells = np.argwhere((labels == index + 1) & (use > 0))
        if len(cells) == 0 or worth <= 0:
            continue
        used = use[cells[:, 0], cells[:, 1]].astype(np.float64)
        parts = _parts(cells.astype(np.float64), used, min(per_pocket, len(cells)))
        chosen = cells[[_middle(cells, used, one) for one in parts]]
        row.append(chosen[:, 0])
        col.append(chosen[:, 1])
        weight.append(worth * np.array([used[one].sum() for one in parts]) / used.sum())
        pocket.append(np.full(len(chosen), index))
    if not row:
        return Sampled(*(np.empty(0, np.int32),) * 2, np.empty(0, np.float32), np.empty(0, np.int32))
    return Sampled(
        np.concatenate(row).astype(np.int32),
        np.concatenate(col).astype(np.int32),
        np.concatenate(weight).astype(np.float32),
        np.concatenate(pocket).astype(np.int32),
    )


def _parts(places: Floats, used: Floats, n: int) -> list[Indices]:
    """Part the cells into n pieces of equal use, compact ones: cut across the longest direction, over and over.

    The directions are principal ones of the use itself (as Boley 1998, doi:10.1023/A:1009740529316, parts
    documents), so that they turn with the ground. Every piece holds a cell at least.
    """
    done, left = list[Indices](), [(np.arange(len(places)), n)]
    while left:
        cells, many = left.pop()
        if many == 1:
            done.append(cells)
            continue
        along = _along(places[cells], used[cells])
        order = cells[np.argsort(along, kind="stable")]
        few = many // 2
        share = np.cumsum(used[order]) - used[order] / 2
        cut = int(np.searchsorted(share, used[order].sum() * few / many))
        cut = min(max(cut, few), len(order) - (many - few))
        left += [(order[cut:], many - few), (order[:cut], few)]
    return done


def _along(places: Floats, used: Floats) -> Floats:
    """How far each place lies along the longest direction of the use, toward its longer tail."""
    down, right = (places - (used[:, None] * places).sum(axis=0) / used.sum()).T
    moments = [float((used * part).sum()) for part in (down * down - right * right, 2 * down * right)]
    turn = 0.5 * np.arctan2(moments[1], moments[0])  # of the longer principal axis, from the rows' direction
    along = down * np.cos(turn) + right * np.sin(turn)
    return np.asarray(along if (used * along**3).sum() >= 0 else -along, np.float64)


def _middle(cells: Indices, used: Floats, one: Indices) -> int:
    """The cell of a piece nearest to the middle of its use; of equals the most used."""
    middle = (used[one, None] * cells[one]).sum(axis=0) / used[one].sum()
    far = np.round(np.hypot(*(cells[one] - middle).T), 6)
    return int(one[np.lexsort((-used[one], far))[0]])


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
    radius = reach_cells(settings.radius_m, cell_m, land.ground_m.shape)
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

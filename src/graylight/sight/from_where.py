"""From where some marks can be seen: for each mark, how much of it is in sight from every cell."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

import numpy as np
from numpy.typing import NDArray

from graylight.settings import SightSettings
from graylight.sight.answers import Obstacles, answer_window
from graylight.sight.viewshed import overlap, reach_cells
from graylight.work import Tick, silent, spread

__all__ = ["Cells", "bytes_needed", "from_where", "patch"]

Cells = NDArray[np.int64]
"""(n, 2) rows and columns."""

PATCH_M = 25.0
"""A mark stands for the ground this far around it: nobody marks an animal to the cell. Proposed default."""
_SEEN = np.array([0.0, 0.5, 1.0, 0.0], np.float32)
"""Sight by answer: blocked, touch-and-go, clear, outside."""


def bytes_needed(marks: int, shape: tuple[int, int], radius_cells: int) -> int:
    """Memory of the answer, and of two windows and their answers on each of eight threads."""
    return 4 * marks * shape[0] * shape[1] + 8 * 9 * (2 * radius_cells + 1) ** 2


def patch(row: int, col: int, ground_m: NDArray[np.float32], *, cell_m: float) -> Cells:
    """The cells that stand for a mark: its own and those 25 m to its four sides, where their ground is known."""
    step = round(PATCH_M / cell_m)
    sides = [(0, 0)] + [(d, 0) for d in (-step, step) if step] + [(0, d) for d in (-step, step) if step]
    cells = np.array([(row + down, col + right) for down, right in sides], np.int64)
    inside = ((cells >= 0) & (cells < ground_m.shape)).all(axis=1)
    cells = cells[inside]
    return cells[~np.isnan(ground_m[cells[:, 0], cells[:, 1]])]


def from_where(
    land: Obstacles,
    marks: Sequence[Cells],
    *,
    cell_m: float,
    watcher_m: float,
    animal_m: float,
    radius_m: float,
    settings: SightSettings,
    tick: Tick = silent,
) -> NDArray[np.float32]:
    """How much of each mark is in sight from every cell, by quick answers (canopy as wall or veil).

    Parameters
    ----------
    land : Obstacles
    marks : sequence of (n, 2) int64
        The cells of each mark, at least one, on known ground (see `patch`).
    watcher_m, animal_m : float
        Heights of the watcher's eye, sitting or standing, and of what is looked for.
    radius_m : float
        Farther than this nothing is counted as seen.

    Returns
    -------
    (marks, rows, cols) float32
        Part of the mark's cells in sight, touch-and-go ones half.
    """
    radius = reach_cells(radius_m, cell_m, land.ground_m.shape)
    out = np.zeros((len(marks), *land.ground_m.shape), np.float32)

    def look(index: int) -> None:
        cells = marks[index]
        for row, col in cells:
            window = answer_window(
                land, row=int(row), col=int(col), cell_m=cell_m, eye_m=animal_m, target_m=watcher_m,
                radius_cells=radius, settings=settings,
            )  # fmt: skip
            inside, cut = overlap(int(row), int(col), radius, *land.ground_m.shape)
            out[index][inside] += _SEEN[window[cut]] / np.float32(len(cells))

    jobs: list[Callable[[], None]] = [partial(look, index) for index in range(len(marks))]
    if jobs:
        spread(jobs, tick=tick)
    return out

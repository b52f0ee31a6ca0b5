"""Three answers from margins: clear, touch-and-go, blocked; and the share of a pocket as a range."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from graylight.kernels.viewshed import three_answers
from graylight.settings import SightSettings
from graylight.sight.viewshed import DEEP, Tops, margins, overlap, tops

__all__ = [
    "BLOCKED",
    "CLEAR",
    "OUTSIDE",
    "TOUCH_AND_GO",
    "Obstacles",
    "answer_window",
    "answers_from",
    "obstacles",
    "share",
]

BLOCKED, TOUCH_AND_GO, CLEAR, OUTSIDE = 0, 1, 2, 3


@dataclass(frozen=True, slots=True)
class Obstacles:
    """What sight lines meet.

    Parameters
    ----------
    ground_m : (rows, cols) float32
        Bare ground, NaN where unknown.
    wall_m, veil_m : (rows, cols) float32
        Ground plus canopy where it is dense; ground plus any canopy worth the name. Both are `ground_m` itself
        where no canopy is known.
    known : Tops
        Of the ground.
    """

    ground_m: NDArray[np.float32]
    wall_m: NDArray[np.float32]
    veil_m: NDArray[np.float32]
    known: Tops


def obstacles(
    ground_m: NDArray[np.float32],
    canopy_m: NDArray[np.float32] | None,
    closure: NDArray[np.float32] | None,
    settings: SightSettings,
) -> Obstacles:
    """Put the canopy on the ground; with none known, the ground alone."""
    if canopy_m is None or closure is None:
        return Obstacles(ground_m, ground_m, ground_m, tops(ground_m))
    height = np.nan_to_num(canopy_m)
    wall = ground_m + np.where(closure >= settings.dense_closure, height, 0).astype(np.float32)
    veil = ground_m + np.where(closure >= settings.thin_closure, height, 0).astype(np.float32)
    return Obstacles(ground_m, wall, veil, tops(ground_m))


def answer_window(
    land: Obstacles,
    *,
    row: int,
    col: int,
    cell_m: float,
    eye_m: float,
    target_m: float,
    radius_cells: int,
    settings: SightSettings,
) -> NDArray[np.uint8]:
    """Answers for all cells within a radius.

    Blocked: hidden by ground or dense canopy by more than the stated elevation error. Clear: seen over any
    canopy with more than that to spare. Touch-and-go: all between.

    Returns
    -------
    (2 radius_cells + 1, 2 radius_cells + 1) uint8
        BLOCKED, TOUCH_AND_GO, CLEAR, or OUTSIDE (beyond the disc or the grid, or unknown ground).
    """
    error = settings.elevation_error_m

    def over(surface_m: NDArray[np.float32]) -> NDArray[np.float32]:
        return margins(
            surface_m, land.ground_m, row=row, col=col, cell_m=cell_m, eye_m=eye_m, target_m=target_m,
            radius_cells=radius_cells, refraction=settings.refraction, known=land.known, deep_m=error + DEEP * cell_m,
        )  # fmt: skip

    over_wall = over(land.wall_m)
    over_veil = over_wall if land.veil_m is land.wall_m else over(land.veil_m)
    answers = np.empty(over_wall.shape, np.uint8)
    three_answers(over_wall, over_veil, error, answers)
    return answers


def answers_from(
    land: Obstacles, *, row: int, col: int, cell_m: float, animal_m: float, settings: SightSettings
) -> NDArray[np.uint8]:
    """Answers over the whole grid for a seated watcher and animals of a height; OUTSIDE beyond the radius set."""
    rows, cols = land.ground_m.shape
    radius = max(1, int(settings.radius_m // cell_m))
    window = answer_window(
        land, row=row, col=col, cell_m=cell_m, eye_m=settings.eye_m, target_m=animal_m,
        radius_cells=radius, settings=settings,
    )  # fmt: skip
    out = np.full((rows, cols), OUTSIDE, np.uint8)
    inside, cut = overlap(row, col, radius, rows, cols)
    out[inside] = window[cut]
    return out


def share(answers: NDArray[np.uint8], weight: NDArray[np.float32]) -> tuple[float, float, float]:
    """Low, likely and high of sum(w s) / sum(w), with s 1 where clear, 0.5 (0 to 1) where touch-and-go.

    >>> import numpy as np
    >>> share(np.array([2, 1, 0, 3], np.uint8), np.array([1, 1, 1, 1], np.float32))
    (0.25, 0.375, 0.5)
    """
    total = float(weight.sum(dtype=np.float64))
    if total <= 0.0:
        return 0.0, 0.0, 0.0
    clear = float(weight[answers == CLEAR].sum(dtype=np.float64)) / total
    doubtful = float(weight[answers == TOUCH_AND_GO].sum(dtype=np.float64)) / total
    return clear, clear + doubtful / 2, clear + doubtful

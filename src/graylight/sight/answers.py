"""Three answers: clear, touch-and-go, blocked, quick over a whole disc or through foliage for some cells; shares."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from graylight.kernels.nearness import near_any
from graylight.kernels.viewshed import three_answers
from graylight.settings import SightSettings
from graylight.sight.foliage import Canopy, Foliage, Through, foliage
from graylight.sight.viewshed import DEEP, Tops, margins, overlap, reach_cells, tops
from graylight.work import in_bands

__all__ = [
    "BLOCKED",
    "CLEAR",
    "OUTSIDE",
    "TOUCH_AND_GO",
    "WALL_M",
    "Obstacles",
    "Sight",
    "answer_window",
    "answers_through",
    "obstacles",
    "parts_seen",
    "share",
    "sight_from",
]

BLOCKED, TOUCH_AND_GO, CLEAR, OUTSIDE = 0, 1, 2, 3

WALL_M = 30.0
"""Dense canopy hides for sure only where it is this thick: at a closure of 0.5 crowns 10 m deep let 0.12 of the light
through so much of them, a single row of trees half of it."""


@dataclass(frozen=True, slots=True)
class Obstacles:
    """What sight lines meet.

    Parameters
    ----------
    ground_m : (rows, cols) float32
        Bare ground, NaN where unknown.
    wall_m, veil_m : (rows, cols) float32
        Ground plus canopy where it is dense and stands thick; ground plus any canopy worth the name. Both are
        `ground_m` itself where no canopy is known.
    known : Tops
        Of the ground.
    leaves : Foliage
        Ground and canopy as light passes through them.
    """

    ground_m: NDArray[np.float32]
    wall_m: NDArray[np.float32]
    veil_m: NDArray[np.float32]
    known: Tops
    leaves: Foliage


def obstacles(
    ground_m: NDArray[np.float32],
    canopy_m: NDArray[np.float32] | None,
    closure: NDArray[np.float32] | None,
    settings: SightSettings,
    *,
    cell_m: float,
) -> Obstacles:
    """Put the canopy on the ground; with none known, the ground alone."""
    if canopy_m is None or closure is None:
        return Obstacles(ground_m, ground_m, ground_m, tops(ground_m), foliage(ground_m, None, settings))
    wall, veil = np.empty_like(ground_m), np.empty_like(ground_m)
    walled, veiled = _thick(closure >= settings.dense_closure, cell_m), closure >= settings.thin_closure

    def raise_ground(first: int, end: int) -> None:
        band = slice(first, end)
        height = np.nan_to_num(canopy_m[band])
        for surface, grown in ((wall, walled), (veil, veiled)):
            surface[band] = ground_m[band] + np.where(grown[band], height, 0).astype(np.float32)

    in_bands(raise_ground, len(ground_m))
    leaves = foliage(ground_m, Canopy(canopy_m, closure), settings)
    return Obstacles(ground_m, wall, veil, tops(ground_m), leaves)


def _thick(dense: NDArray[np.bool_], cell_m: float) -> NDArray[np.bool_]:
    """Dense cells of stands that a disc as wide as a wall is thick fits into; all of them on cells as wide as that."""
    limit2 = int((WALL_M / 2.0 / cell_m) ** 2)
    core, thick = np.empty_like(dense), np.empty_like(dense)
    gap = np.empty(dense.shape, np.int32)
    near_any(~dense, limit2, gap, core)
    near_any(~core, limit2, gap, thick)
    return dense & thick


@dataclass(frozen=True, slots=True)
class Sight:
    """What one place sees: (rows, cols) uint8 answers, and (rows, cols) float32 margins over the bare ground."""

    answers: NDArray[np.uint8]
    margin_m: NDArray[np.float32]


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
    """Quick answers for all cells within a radius.

    Blocked: hidden by ground or dense canopy by more than the stated elevation error. Clear: seen over any
    canopy with more than that to spare. Touch-and-go: all between.

    Returns
    -------
    (2 radius_cells + 1, 2 radius_cells + 1) uint8
        BLOCKED, TOUCH_AND_GO, CLEAR, or OUTSIDE (beyond the disc or the grid, or unknown ground).
    """
    look = _Look(row, col, cell_m, eye_m, target_m, radius_cells)
    over_wall = _over(land, land.wall_m, look, settings)
    over_veil = over_wall if land.veil_m is land.wall_m else _over(land, land.veil_m, look, settings)
    answers = np.empty(over_wall.shape, np.uint8)
    three_answers(over_wall, over_veil, settings.elevation_error_m, answers)
    return answers


@dataclass(frozen=True, slots=True)
class _Look:
    row: int
    col: int
    cell_m: float
    eye_m: float
    target_m: float
    radius_cells: int


def _over(
    land: Obstacles, surface_m: NDArray[np.float32], look: _Look, settings: SightSettings
) -> NDArray[np.float32]:
    """Margins over a surface; those hidden by much more than the error need not be told exactly."""
    return margins(
        surface_m, land.ground_m, row=look.row, col=look.col, cell_m=look.cell_m, eye_m=look.eye_m,
        target_m=look.target_m, radius_cells=look.radius_cells, refraction=settings.refraction, known=land.known,
        deep_m=settings.elevation_error_m + DEEP * look.cell_m,
    )  # fmt: skip


def sight_from(
    land: Obstacles, *, row: int, col: int, cell_m: float, animal_m: float, settings: SightSettings
) -> Sight:
    """Quick answers, and margins over the ground, over the whole grid, for a seated watcher and animals of a height.

    OUTSIDE, and NaN, beyond the radius set.
    """
    rows, cols = land.ground_m.shape
    radius = reach_cells(settings.radius_m, cell_m, land.ground_m.shape)
    window = answer_window(
        land, row=row, col=col, cell_m=cell_m, eye_m=settings.eye_m, target_m=animal_m,
        radius_cells=radius, settings=settings,
    )  # fmt: skip
    over = _over(land, land.ground_m, _Look(row, col, cell_m, settings.eye_m, animal_m, radius), settings)
    answers = np.full((rows, cols), OUTSIDE, np.uint8)
    margin = np.full((rows, cols), np.nan, np.float32)
    inside, cut = overlap(row, col, radius, rows, cols)
    answers[inside], margin[inside] = window[cut], over[cut]
    return Sight(answers, margin)


def answers_through(found: Through, settings: SightSettings) -> NDArray[np.uint8]:
    """Answers for some cells from their margins over the ground and what the foliage lets through.

    Blocked: behind ground by more than the elevation error, or hardly any light even by the high reading. Clear:
    over the ground by that error, and light enough even by the low reading. Touch-and-go: all between.
    """
    error = settings.elevation_error_m
    answers = np.full(found.margin_m.shape, TOUCH_AND_GO, np.uint8)
    answers[(found.margin_m >= error) & (found.low >= settings.clear_light)] = CLEAR
    answers[(found.margin_m < -error) | (found.high < settings.hidden_light)] = BLOCKED
    answers[np.isnan(found.margin_m)] = OUTSIDE
    return answers


def parts_seen(
    found: Through, answers: NDArray[np.uint8], settings: SightSettings
) -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]]:
    """Low, likely and high sight s in [0, 1] of the same cells: the light, where the ground does not hide.

    Ground nearer to the line than the elevation error counts 0, 1/2 and 1; blocked cells are 0 in all three.
    """
    over = np.where(found.margin_m >= settings.elevation_error_m, np.float32(1), np.float32(0))
    grazed = np.where(np.abs(found.margin_m) < settings.elevation_error_m, np.float32(1), np.float32(0))
    shown = (answers == CLEAR) | (answers == TOUCH_AND_GO)
    low, likely, high = (
        np.where(shown, (over + part * grazed) * np.nan_to_num(light), 0).astype(np.float32)
        for part, light in ((0.0, found.low), (0.5, found.likely), (1.0, found.high))
    )
    return low, likely, high


def share(
    seen: tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]], weight: NDArray[np.float32]
) -> tuple[float, float, float]:
    """Low, likely and high of sum(w s) / sum(w).

    >>> import numpy as np
    >>> half, whole = np.array([1, 0.5], np.float32), np.ones(2, np.float32)
    >>> share((half, half, whole), np.array([3, 1], np.float32))
    (0.875, 0.875, 1.0)
    """
    total = float(weight.sum(dtype=np.float64))
    if total <= 0.0:
        return 0.0, 0.0, 0.0
    low, likely, high = (float((s * weight).sum(dtype=np.float64)) / total for s in seen)
    return low, likely, high

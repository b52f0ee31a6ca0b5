"""What one place sees of the pockets: shares as ranges, each spot with why, what it hides."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from graylight.grid import LonLat
from graylight.plan.model import Pocket, Seen, Sees, Share, Spot
from graylight.plan.survey import Survey
from graylight.settings import SightSettings
from graylight.sight.answers import BLOCKED, CLEAR, OUTSIDE, TOUCH_AND_GO, Obstacles, answers_from, share
from graylight.sight.viewshed import margin_between

__all__ = ["PocketCells", "View", "hides", "pocket_cells", "sees", "view_from"]

Cell = tuple[int, int]
NOTHING = 0.03
"""Shares under this are told as nothing."""


@dataclass(frozen=True, slots=True)
class View:
    """What is needed to tell a view: the watcher's cell, the answers over the grid, and the ground they rest on."""

    cell: Cell
    answers: NDArray[np.uint8]
    land: Obstacles
    animal_m: float
    settings: SightSettings


def view_from(
    cell: Cell, land: Obstacles, *, cell_m: float, animal_m: float, settings: SightSettings
) -> View:
    """Look round from a cell, seated."""
    answers = answers_from(
        land, row=cell[0], col=cell[1], cell_m=cell_m, animal_m=animal_m, settings=settings
    )
    return View(cell, answers, land, animal_m, settings)


@dataclass(frozen=True, slots=True)
class PocketCells:
    """Cells of a pocket that are used, and how much each is: (n,) int64 rows and cols, (n,) float32 weight."""

    rows: NDArray[np.int64]
    cols: NDArray[np.int64]
    weight: NDArray[np.float32]


def pocket_cells(
    labels: NDArray[np.integer], use: NDArray[np.float32], pockets: int
) -> tuple[PocketCells, ...]:
    """The used cells of each pocket; the i-th carries i + 1 in `labels`."""
    rows, cols = np.nonzero((labels > 0) & (use > 0))
    whose = labels[rows, cols]
    found = []
    for index in range(pockets):
        mine = whose == index + 1
        found.append(PocketCells(rows[mine], cols[mine], use[rows[mine], cols[mine]]))
    return tuple(found)


def sees(view: View, pockets: list[Pocket], cells: tuple[PocketCells, ...], survey: Survey) -> list[Sees]:
    """What is seen of each pocket that lies within the distance watched, most first; `cells` by pocket."""
    told = [_sees(view, pocket, used, survey) for pocket, used in zip(pockets, cells, strict=True)]
    return sorted(
        (one for one in told if one is not None), key=lambda s: (-s.share.likely, s.distance_m, s.pocket)
    )


def _sees(view: View, pocket: Pocket, used: PocketCells, survey: Survey) -> Sees | None:
    rows, cols, weight = used.rows, used.cols, used.weight
    answers = view.answers[rows, cols]
    if len(rows) == 0 or (answers == OUTSIDE).all():
        return None
    low, likely, high = share(answers, weight)
    s = np.where(answers == CLEAR, 1.0, np.where(answers == TOUCH_AND_GO, 0.5, 0.0)) * weight
    w = s if s.sum() > 0 else weight
    middle = float(np.average(rows, weights=w)), float(np.average(cols, weights=w))
    line = survey.line(view.cell, middle)
    nearest = int(np.argmin(np.hypot(rows - middle[0], cols - middle[1])))
    eye = float(view.land.ground_m[view.cell]) + view.settings.eye_m
    drop = eye - float(view.land.ground_m[rows[nearest], cols[nearest]])
    return Sees(
        pocket=pocket.id,
        share=Share(low=low, likely=likely, high=high),
        distance_m=line.distance_m,
        bearing_true_deg=line.true_deg,
        bearing_magnetic_deg=line.magnetic_deg,
        down_deg=float(np.degrees(np.arctan2(drop, max(line.distance_m, 1.0)))),
        places=[_spot(view, s, survey) for s in [*pocket.feed, *pocket.beds, *pocket.crossings]],
    )


def _spot(view: View, spot: Spot, survey: Survey) -> Seen:
    target = survey.grid.rowcol(LonLat(spot.place.lon, spot.place.lat))
    line = survey.line(view.cell, target)
    answer = int(view.answers[target])
    margin, why = _why(view, target, answer, survey)
    return Seen(
        spot=spot.id,
        kind=spot.kind,
        answer="seen" if answer == CLEAR else "doubtful" if answer == TOUCH_AND_GO else "hidden",
        margin_m=min(margin, 999.0),
        why=why,
        distance_m=line.distance_m,
        bearing_true_deg=line.true_deg,
        bearing_magnetic_deg=line.magnetic_deg,
    )


def _why(view: View, target: Cell, answer: int, survey: Survey) -> tuple[float, str]:
    """The margin that decides, over ground or over canopy, and the reason in words."""
    ground, row, col = _margin(view, view.land.ground_m, target, survey)
    if answer == OUTSIDE:
        return ground, "farther than is watched"
    if answer == CLEAR:
        return min(ground, _margin(view, view.land.veil_m, target, survey)[0]), "in open view"
    error = view.settings.elevation_error_m
    if ground < -error:
        before = survey.line((row, col), target).distance_m
        return ground, f"ground stands in the way {_about(before)} m before it"
    wall, wall_row, wall_col = _margin(view, view.land.wall_m, target, survey)
    if answer == BLOCKED:
        return (
            wall,
            f"timber stands in the way {_about(survey.line((wall_row, wall_col), target).distance_m)} m before it",
        )
    if ground < error:
        return ground, "the line of sight grazes the ground: the elevation can't tell"
    return _margin(view, view.land.veil_m, target, survey)[0], "trees on the line: seen only through openings"


def _margin(
    view: View, surface: NDArray[np.float32], target: Cell, survey: Survey
) -> tuple[float, float, float]:
    return margin_between(
        surface, view.land.ground_m, eye=view.cell, target=(int(target[0]), int(target[1])), cell_m=survey.grid.cell_m,
        eye_m=view.settings.eye_m, target_m=view.animal_m, refraction=view.settings.refraction,
    )  # fmt: skip


def _about(distance_m: float) -> int:
    return int(max(10, round(distance_m, -1)))


def hides(seen: list[Sees], pockets: list[Pocket]) -> list[str]:
    """What can't be seen, said first: hidden spots of pockets that are seen, then pockets not seen at all."""
    told = []
    for one in seen:
        if one.share.high < NOTHING:
            continue
        hidden = [p.spot.split("-")[1] for p in one.places if p.answer == "hidden"]
        if hidden:
            told.append(f"{one.pocket}: {_listed(hidden)} hidden")
    shown = {one.pocket for one in seen if one.share.high >= NOTHING}
    dark = [p.id for p in pockets if p.id not in shown and p.shut is None]
    if dark:
        told.append(f"nothing of {_listed(dark)} can be seen")
    return told


def _listed(words: list[str]) -> str:
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]

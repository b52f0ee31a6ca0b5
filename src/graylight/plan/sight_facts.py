"""What one place sees of the pockets: shares as ranges, each spot with why, what it hides."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from graylight.grid import LonLat
from graylight.plan.model import GlassServes, Pocket, Seen, Sees, Share, Spot
from graylight.plan.survey import Survey
from graylight.settings import Settings
from graylight.sight.answers import (
    BLOCKED,
    CLEAR,
    OUTSIDE,
    TOUCH_AND_GO,
    Obstacles,
    Sight,
    answers_through,
    parts_seen,
    share,
    sight_from,
)
from graylight.sight.foliage import Through, through
from graylight.sight.optics import eye_gets, ground_view
from graylight.sight.viewshed import margin_between

__all__ = ["PocketCells", "View", "hides", "pocket_cells", "seen_cells", "sees", "unseen", "view_from"]

Cell = tuple[int, int]
OPEN_LIGHT = 0.95
"""From this part of the light on nothing is said to stand in the line."""


@dataclass(frozen=True, slots=True)
class View:
    """What is needed to tell a view: the watcher's cell, the quick sight over the grid, and the ground it rests on."""

    cell: Cell
    sight: Sight
    land: Obstacles
    animal_m: float
    cell_m: float
    settings: Settings

    @property
    def answers(self) -> NDArray[np.uint8]:
        """(rows, cols) quick answers."""
        return self.sight.answers

    def through(self, rows: NDArray[np.int64], cols: NDArray[np.int64]) -> Through:
        """Margin over the ground, and light through the foliage, of some cells."""
        return through(
            self.land.leaves, eye=self.cell, rows=rows, cols=cols, cell_m=self.cell_m,
            eye_m=self.settings.sight.eye_m, target_m=self.animal_m, settings=self.settings.sight,
            openings_m=(self.settings.watch.seat_open_m, 0.0),
        )  # fmt: skip


def view_from(cell: Cell, land: Obstacles, *, cell_m: float, animal_m: float, settings: Settings) -> View:
    """Look round from a cell, seated."""
    sight = sight_from(
        land, row=cell[0], col=cell[1], cell_m=cell_m, animal_m=animal_m, settings=settings.sight
    )
    return View(cell, sight, land, animal_m, cell_m, settings)


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
    margin = view.sight.margin_m[used.rows, used.cols]
    if len(margin) == 0 or np.isnan(margin).all():
        return None
    low, likely, high = seen_cells(view, used, margin)
    s = likely * used.weight
    w = s if s.sum() > 0 else used.weight
    middle = float(np.average(used.rows, weights=w)), float(np.average(used.cols, weights=w))
    line = survey.line(view.cell, middle)
    nearest = int(np.argmin(np.hypot(used.rows - middle[0], used.cols - middle[1])))
    eye = float(view.land.ground_m[view.cell]) + view.settings.sight.eye_m
    drop = eye - float(view.land.ground_m[used.rows[nearest], used.cols[nearest]])
    lowest, most, highest = share((low, likely, high), used.weight)
    return Sees(
        pocket=pocket.id,
        share=Share(low=lowest, likely=most, high=highest),
        distance_m=line.distance_m,
        bearing_true_deg=line.true_deg,
        bearing_magnetic_deg=line.magnetic_deg,
        down_deg=float(np.degrees(np.arctan2(drop, max(line.distance_m, 1.0)))),
        places=_spots(view, [*pocket.feed, *pocket.beds, *pocket.crossings], survey),
        squareness=_squareness(view, used, likely > 0),
        glasses=_glasses(view, line.distance_m) if most > 0 else [],
    )


def _squareness(view: View, used: PocketCells, seen: NDArray[np.bool_]) -> float | None:
    """How squarely the cells in sight face the watcher."""
    if not seen.any():
        return None
    found = ground_view(
        view.land.ground_m, eye=view.cell, eye_m=view.settings.sight.eye_m, rows=used.rows[seen],
        cols=used.cols[seen], cell_m=view.cell_m, refraction=view.settings.sight.refraction,
    )  # fmt: skip
    return None if np.isnan(found.squareness) else found.squareness


def _glasses(view: View, distance_m: float) -> list[GlassServes]:
    """Which glass serves for what at first usable light."""
    served = eye_gets(
        distance_m, view.animal_m, view.settings.optics, sun_deg=view.settings.usable_light_sun_deg
    )
    return [
        GlassServes(glass=glass, find=one["find"], tell_apart=one["tell apart"], judge=one["judge"])
        for glass, one in served.items()
    ]


def seen_cells(
    view: View, used: PocketCells, margin: NDArray[np.float32]
) -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]]:
    """Low, likely and high sight of each used cell; only what the ground does not hide is looked at through foliage."""
    settings = view.settings.sight
    shown = margin >= -settings.elevation_error_m
    found = view.through(used.rows[shown], used.cols[shown])
    parts = parts_seen(found, answers_through(found, settings), settings)
    out = np.zeros((3, len(margin)), np.float32)
    out[:, shown] = parts
    return out[0], out[1], out[2]


def _spots(view: View, spots: list[Spot], survey: Survey) -> list[Seen]:
    """The marked places of a pocket."""
    if not spots:
        return []
    cells = np.array([survey.grid.rowcol(LonLat(s.place.lon, s.place.lat)) for s in spots], np.int64)
    found = view.through(cells[:, 0], cells[:, 1])
    codes = answers_through(found, view.settings.sight)
    codes[np.isnan(view.sight.margin_m[cells[:, 0], cells[:, 1]])] = OUTSIDE
    return [
        _spot(view, spot, (int(row), int(col)), _Sightline(int(code), *map(float, numbers)), survey)
        for spot, (row, col), code, *numbers in zip(
            spots, cells, codes, found.margin_m, found.low, found.likely, found.high, strict=True
        )
    ]


class _Sightline(NamedTuple):
    """One line of sight: its answer, margin over the ground, and what light is left."""

    answer: int
    margin_m: float
    low: float
    likely: float
    high: float


def _spot(view: View, spot: Spot, target: Cell, found: _Sightline, survey: Survey) -> Seen:
    line = survey.line(view.cell, target)
    return Seen(
        spot=spot.id,
        kind=spot.kind,
        answer="seen" if found.answer == CLEAR else "doubtful" if found.answer == TOUCH_AND_GO else "hidden",
        margin_m=min(found.margin_m, 999.0),
        light=Share(low=found.low, likely=found.likely, high=found.high),
        why=_why(view, target, found, survey),
        distance_m=line.distance_m,
        bearing_true_deg=line.true_deg,
        bearing_magnetic_deg=line.magnetic_deg,
    )


def _why(view: View, target: Cell, found: _Sightline, survey: Survey) -> str:
    """The reason for an answer, in words."""
    settings = view.settings.sight
    if found.answer == OUTSIDE:
        return "farther than is watched"
    if found.margin_m < -settings.elevation_error_m:
        before = survey.line(_closest(view, target), target).distance_m
        return f"ground stands in the way {_about(before)} m before it"
    if found.answer == BLOCKED:
        return "timber on the line lets nothing through"
    if abs(found.margin_m) < settings.elevation_error_m:
        return "the line of sight grazes the ground: the elevation can't tell"
    if found.answer == CLEAR:
        return "in open view" if found.low > OPEN_LIGHT else "in view past a few trees"
    return f"trees on the line: {_tenths(found.low)} to {_tenths(found.high)} of it shows through"


def _tenths(light: float) -> str:
    """A part of the light in words that don't promise more than is known."""
    percent = 10 * round(10.0 * light)
    return "nothing" if percent == 0 else "all" if percent == 100 else f"{percent} %"


def _closest(view: View, target: Cell) -> tuple[float, float]:
    """Where on the line the ground stands that decides."""
    _, row, col = margin_between(
        view.land.ground_m, view.land.ground_m, eye=view.cell, target=target, cell_m=view.cell_m,
        eye_m=view.settings.sight.eye_m, target_m=view.animal_m, refraction=view.settings.sight.refraction,
    )  # fmt: skip
    return row, col


def _about(distance_m: float) -> int:
    return int(max(10, round(distance_m, -1)))


def hides(seen: list[Sees], pockets: list[Pocket]) -> list[str]:
    """What can't be seen, said first: hidden spots of pockets that are seen, then pockets not seen at all."""
    told = []
    for one in seen:
        if not one.shows:
            continue
        hidden = [p.spot.split("-")[1] for p in one.places if p.answer == "hidden"]
        if hidden:
            told.append(f"{one.pocket}: {_listed(hidden)} hidden")
    shown = {one.pocket for one in seen if one.shows}
    dark = [p.id for p in pockets if p.id not in shown and p.shut is None]
    if dark:
        told.append(f"nothing of {_listed(dark)} can be seen")
    return told


def unseen(seen: Iterable[Sees], pockets: Iterable[Pocket]) -> frozenset[str]:
    """Pockets of which nothing is told as in sight, whatever speck of their ground a picture might show."""
    shown = {one.pocket for one in seen if one.shows}
    return frozenset(one.id for one in pockets if one.id not in shown)


def _listed(words: list[str]) -> str:
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]

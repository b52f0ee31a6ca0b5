"""From where marks can be watched: the ground from which all, most or each of them show, and the best seats on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from graylight.country.folder import Country
from graylight.country.masks import burn
from graylight.errors import BadInput
from graylight.grid import LonLat, RowCol
from graylight.ground.cover import Kind
from graylight.place import read_place
from graylight.plan.animals import find_profile
from graylight.plan.cautions import ALWAYS
from graylight.plan.composing import PROGRAM, survey_of
from graylight.plan.data_truth import standing
from graylight.plan.holdings import is_shut
from graylight.plan.model import Mark, MarkSeen, Plan, Share, Watch, WatchSeat
from graylight.plan.survey import Survey
from graylight.sight.answers import Obstacles, answers_through, obstacles, parts_seen, share
from graylight.sight.foliage import through
from graylight.sight.from_where import Cells, bytes_needed, from_where, patch
from graylight.sight.viewshed import reach_cells
from graylight.siting.field import peaks
from graylight.siting.seat import distance_worth, suited
from graylight.work import Tick, part, silent

__all__ = ["MOST_MARKS", "Marked", "Ready", "Watched", "marked", "ready_to_watch", "watch_marks"]

Raster = NDArray[np.float32]
Mask = NDArray[np.bool_]

MOST_MARKS = 24
STANDING_M = 1.6
"""Eye of someone standing; common practice, no source."""
SEATS = 6
LOOKED_AT = 24
"""Seats that are looked from through the foliage; the best of them are told."""
APART_M = 300.0
HALF = 0.5
"""A mark is seen from a cell that shows at least half of it."""
MOST = 2 / 3
"""Most of the marks: at least this part of them."""


@dataclass(frozen=True, slots=True)
class Marked:
    """A mark: its name, where it is, and the cells that stand for it."""

    name: str
    place: LonLat
    cell: RowCol
    cells: Cells


@dataclass(frozen=True, slots=True)
class Watched:
    """The answer, and how many marks are seen from every cell: (rows, cols) uint8."""

    watch: Watch
    seen: NDArray[np.uint8]


def marked(text: str, country: Country, plan: Plan | None, ground_m: Raster) -> list[Marked]:
    """Read marks from a text: places, or ids of the plan's spots, with semicolons between.

    Raises
    ------
    BadInput
        No mark, too many, one that can't be read, or one outside the country or on unknown ground.
    """
    words = [word.strip() for word in text.split(";") if word.strip()]
    if not 1 <= len(words) <= MOST_MARKS:
        raise BadInput(
            f"{len(words)} marks in {text!r}; accepted are 1 to {MOST_MARKS} places with semicolons between, such as "
            '"39.30, -111.50; 39.31, -111.52"; give some'
        )
    spots = {} if plan is None else _spots(plan)
    found: dict[str, Marked] = {}
    for number, word in enumerate(words, 1):
        name, place = spots.get(word.lower()) or (f"mark {number}", _read(word, known=bool(spots)))
        cell = country.grid.rowcol(place)
        if np.isnan(ground_m[cell]):
            raise BadInput(f"the ground at {word} is not known (no elevation there); choose another place")
        found.setdefault(name, Marked(name, place, cell, patch(*cell, ground_m, cell_m=country.grid.cell_m)))
    return list(found.values())


def _read(word: str, *, known: bool) -> LonLat:
    try:
        return read_place(word)
    except BadInput as error:
        ids = (
            "; ids of the plan's feeding places, beds and crossings, such as P1-f1, are accepted, too"
            if known
            else ""
        )
        raise BadInput(f"{error}{ids}") from None


def _spots(plan: Plan) -> dict[str, tuple[str, LonLat]]:
    """Ids and places of the plan's spots, by id in small letters."""
    return {
        spot.id.lower(): (spot.id, LonLat(spot.place.lon, spot.place.lat))
        for pocket in plan.pockets
        for spot in (*pocket.feed, *pocket.beds, *pocket.crossings)
    }


@dataclass(frozen=True, slots=True)
class Ready:
    """A country with the layers in memory that watching needs; None where a layer is not there."""

    country: Country
    plan: Plan | None
    survey: Survey
    land: Obstacles
    closure: Raster | None
    slope_deg: Raster | None
    walk_s: Raster | None
    shut: Mask
    animal_m: float
    standoff_m: float


def ready_to_watch(country: Country, plan: Plan | None) -> Ready:
    """Read what watching needs, once."""
    country.check_whole()
    survey = survey_of(country)
    canopy, closure = _canopy(country, plan)
    animal = find_profile(country).watch
    return Ready(
        country, plan, survey,
        obstacles(survey.elevation_m, *standing(country, canopy, closure), country.settings.sight), closure,
        _kept(country, plan, "slope"), _kept(country, plan, "walk_seconds"), _shut(country, plan),
        animal.animal_m, animal.standoff_m,
    )  # fmt: skip


def watch_marks(
    ready: Ready, text: str, *, within_m: float | None = None, standing: bool = False, tick: Tick = silent
) -> Watched:
    """Find the ground from which marks can be watched, and the best seats on it.

    Parameters
    ----------
    text
        The marks, see `marked`.
    within_m
        Farthest a watcher may be from a mark; none: `sight.radius_m`.
    standing
        The watcher stands.

    Raises
    ------
    BadInput
        A mark can't be used, the distance is out of range, or the country is too big for the memory allowed.
    """
    country, cell_m = ready.country, ready.country.grid.cell_m
    settings = country.settings
    reach_m = settings.sight.radius_m if within_m is None else within_m
    if not 2 * cell_m <= reach_m <= 20_000.0:
        raise BadInput(
            f"within {reach_m:.0f} m; accepted is {2 * cell_m:.0f} m to 20 km; give such a distance"
        )
    marks = marked(text, country, ready.plan, ready.survey.elevation_m)
    _check_memory(country, len(marks), reach_m)
    look = _Look(ready, STANDING_M if standing else settings.sight.eye_m, reach_m)
    shown = from_where(
        ready.land, [mark.cells for mark in marks], cell_m=cell_m, watcher_m=look.eye_m, animal_m=ready.animal_m,
        radius_m=reach_m, settings=settings.sight, tick=part(tick, 0.0, 0.8),
    )  # fmt: skip
    fit = _fit(ready, marks)
    seen = (shown >= HALF).sum(axis=0, dtype=np.uint8) * fit
    seats = _seats([_seat(cell, marks, look) for cell in _best(shown, seen, marks, country)])
    tick(1.0)
    return Watched(_told(marks, shown, fit, look, seats), seen)


@dataclass(frozen=True, slots=True)
class _Look:
    ready: Ready
    eye_m: float
    reach_m: float


def _kept(country: Country, plan: Plan | None, layer: str) -> Raster | None:
    """A layer of the plan; None before any plan, and where it holds nothing (no start: no walking times)."""
    if plan is None or not country.has(layer):
        return None
    values = country.read(layer)
    return None if np.isnan(values).all() else values


def _check_memory(country: Country, marks: int, reach_m: float) -> None:
    radius = reach_cells(reach_m, country.grid.cell_m, country.grid.shape)
    needed = bytes_needed(marks, country.grid.shape, radius)
    if needed > 0.5 * country.settings.memory_gb * 2**30:
        raise BadInput(
            f"{marks} marks need {needed / 2**30:.1f} GB; accepted is half of memory_gb, {country.settings.memory_gb:g} GB; "
            "give fewer marks, a shorter --within, or raise memory_gb in settings.toml"
        )


def _canopy(country: Country, plan: Plan | None) -> tuple[Raster | None, Raster | None]:
    """The canopy that the plan reckons with, or, before any plan, the one measured."""
    layers = [("canopy", "closure")] if plan is not None else []
    for height, closure in (*layers, ("canopy_height", "canopy_closure")):
        if country.has(height) and country.has(closure):
            return country.read(height), country.read(closure)
    return None, None


def _shut(country: Country, plan: Plan | None) -> Mask:
    """Private and closed ground, and water."""
    shut = burn((f.geometry for f in country.features("ownership") if is_shut(f.properties)), country.grid)
    known = plan is not None and country.has("cover")
    return shut | (country.read("cover") == Kind.WATER) if known else shut


def _fit(ready: Ready, marks: Sequence[Marked]) -> Mask:
    """Ground to sit on, as far as the layers kept tell."""
    shape = ready.country.grid.shape
    used = np.zeros(shape, bool)
    for mark in marks:
        used[mark.cells[:, 0], mark.cells[:, 1]] = True
    slope = np.zeros(shape, np.float32) if ready.slope_deg is None else ready.slope_deg
    return suited(
        slope, ready.closure, ready.walk_s, ready.shut, used, cell_m=ready.country.grid.cell_m,
        standoff_m=ready.standoff_m, watch=ready.country.settings.watch,
    )  # fmt: skip


def _best(shown: Raster, seen: NDArray[np.uint8], marks: Sequence[Marked], country: Country) -> list[RowCol]:
    """Seats by how many marks they show, then by how much of them and how well placed for distance."""
    cell_m, shape = country.grid.cell_m, country.grid.shape
    near = distance_worth(int(np.hypot(*shape)) + 1, cell_m=cell_m, watch=country.settings.watch)
    worth = np.zeros(shape, np.float64)
    rows, cols = np.arange(shape[0])[:, None], np.arange(shape[1])[None, :]
    for mark, part_shown in zip(marks, shown, strict=True):
        away = np.hypot(rows - mark.cell.row, cols - mark.cell.col)
        worth += part_shown * near[np.rint(away).astype(np.intp)]
    ranked = np.where(seen > 0, seen + worth / (len(marks) + 1.0), 0.0)
    found = peaks(ranked, LOOKED_AT, apart=APART_M / cell_m)
    return [RowCol(int(cell) // shape[1], int(cell) % shape[1]) for cell in found]


def _seats(found: list[WatchSeat]) -> list[WatchSeat]:
    """The best of them by what shows through the foliage; none that shows no mark."""
    some = [seat for seat in found if len(seat.hides) < len(seat.sees)]
    some.sort(key=lambda seat: (len(seat.hides), -sum(one.share.likely for one in seat.sees)))
    return some[:SEATS]


def _seat(cell: RowCol, marks: Sequence[Marked], look: _Look) -> WatchSeat:
    sees = [_mark_seen(cell, mark, look) for mark in marks]
    slope, walk = (
        np.nan if layer is None else float(layer[cell]) for layer in (look.ready.slope_deg, look.ready.walk_s)
    )
    return WatchSeat(
        place=look.ready.survey.place(*cell),
        hides=[one.mark for one in sees if one.share.likely < HALF],
        sees=sees,
        slope_deg=None if np.isnan(slope) else slope,
        walk_seconds=None if np.isnan(walk) else walk,
    )


def _mark_seen(cell: RowCol, mark: Marked, look: _Look) -> MarkSeen:
    """One mark from one seat, through the foliage."""
    ready, settings = look.ready, look.ready.country.settings
    found = through(
        ready.land.leaves, eye=(cell.row, cell.col), rows=mark.cells[:, 0], cols=mark.cells[:, 1],
        cell_m=ready.country.grid.cell_m, eye_m=look.eye_m, target_m=ready.animal_m, settings=settings.sight,
        openings_m=(settings.watch.seat_open_m, 0.0),
    )  # fmt: skip
    parts = parts_seen(found, answers_through(found, settings.sight), settings.sight)
    low, likely, high = share(parts, np.ones(len(mark.cells), np.float32))
    line = ready.survey.line(cell, mark.cell)
    if line.distance_m > look.reach_m:
        low = likely = high = 0.0
    return MarkSeen(
        mark=mark.name, share=Share(low=low, likely=likely, high=high), distance_m=line.distance_m,
        bearing_true_deg=line.true_deg, bearing_magnetic_deg=line.magnetic_deg,
    )  # fmt: skip


def _told(marks: Sequence[Marked], shown: Raster, fit: Mask, look: _Look, seats: list[WatchSeat]) -> Watch:
    ready, seen = look.ready, shown >= HALF
    count = seen.sum(axis=0)
    area_m2 = ready.country.grid.cell_m**2
    most = int(np.ceil(MOST * len(marks)))
    return Watch(
        program=PROGRAM,
        country=ready.country.name,
        marks=[
            Mark(
                name=mark.name,
                place=ready.survey.place(*mark.cell),
                seen_from_m2=float((one & fit).sum()) * area_m2,
                why_none=_why_none(one, fit),
            )
            for mark, one in zip(marks, seen, strict=True)
        ],
        within_m=look.reach_m,
        eye_m=look.eye_m,
        all_m2=float(((count == len(marks)) & fit).sum()) * area_m2,
        most=most,
        most_m2=float(((count >= most) & fit).sum()) * area_m2,
        seats=seats,
        cautions=list(ALWAYS),
        not_known=_not_known(ready),
    )


def _why_none(shown: Mask, fit: Mask) -> str | None:
    """Why a mark shows from no ground to sit on."""
    if (shown & fit).any():
        return None
    if shown.any():
        return "it shows only from ground too steep, too near it, closed, under trees, or too far on foot"
    return "something stands in the way from all around"


def _not_known(ready: Ready) -> list[str]:
    if ready.plan is not None:
        return ready.plan.not_known
    told = ["No plan was made yet: walking times, water, and what is too steep to sit on, are not known"]
    if ready.closure is None:
        told.append("No canopy is known: trees may hide the marks")
    if not ready.country.features("ownership"):
        told.append("No ownership is known: seats may lie on private or closed ground")
    return told

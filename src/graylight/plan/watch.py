"""From where marks can be watched: the ground from which all, most or each of them show, and the best seats on it."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from graylight.country.folder import Country, Feature
from graylight.country.masks import burn
from graylight.errors import BadInput
from graylight.grid import LonLat, RowCol
from graylight.ground.kind import Kind
from graylight.place import read_place
from graylight.plan.animals import find_profile
from graylight.plan.data_truth import canopy_on_top
from graylight.plan.holdings import is_shut
from graylight.plan.model import Mark, MarkSeen, Plan, Share, Watch, WatchSeat
from graylight.plan.standing import PROGRAM, always
from graylight.plan.survey import Survey, survey_of
from graylight.sight.answers import WALL_M, Obstacles, answers_through, obstacles, parts_seen, share
from graylight.sight.foliage import through
from graylight.sight.from_where import Cells, bytes_needed, from_where, patch
from graylight.sight.viewshed import reach_cells
from graylight.siting.field import peaks
from graylight.siting.seat import distance_worth, suited
from graylight.units import distance
from graylight.work import Tick, part, silent

__all__ = ["MOST_MARKS", "Marked", "Ready", "Watched", "marked", "ready_to_watch", "watch_marks"]

Raster = NDArray[np.float32]
Mask = NDArray[np.bool_]
Around = tuple[slice, slice]
"""Rows and columns of a part of the country."""

MOST_MARKS = 24
STANDING_M = 1.6
"""Eye of someone standing; common practice, no source."""
SEATS = 6
LOOKED_AT = 24
"""Seats that are looked from through the foliage; the best of them are told."""
APART_M = 300.0
_ID = re.compile(r"[A-Za-z]\d+-[A-Za-z]\d+")
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
        name, place = spots.get(word.lower()) or (f"mark {number}", _read(word, spots))
        cell = country.grid.rowcol(place)
        if np.isnan(ground_m[cell]):
            raise BadInput(f"the ground at {word} is not known (no elevation there); choose another place")
        found.setdefault(name, Marked(name, place, cell, patch(*cell, ground_m, cell_m=country.grid.cell_m)))
    return list(found.values())


def _read(word: str, spots: dict[str, tuple[str, LonLat]]) -> LonLat:
    one = next((name for name, _ in spots.values()), None)
    if one is not None and _ID.fullmatch(word):
        raise BadInput(
            f"no feeding place, bed or crossing {word!r} is in the plan; accepted are the ids that it tells, such as {one}, "
            "and coordinates; give one of them"
        )
    try:
        return read_place(word)
    except BadInput as error:
        ids = (
            ""
            if one is None
            else f"; ids of the plan's feeding places, beds and crossings, such as {one}, are accepted, too"
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
    """A country and what every question to it needs."""

    country: Country
    plan: Plan | None
    survey: Survey
    holdings: tuple[Feature, ...]
    animal_m: float
    standoff_m: float


def ready_to_watch(country: Country, plan: Plan | None) -> Ready:
    """Read what watching needs, once."""
    country.check_whole()
    animal = find_profile(country).watch
    return Ready(
        country,
        plan,
        survey_of(country),
        tuple(country.features("ownership")),
        animal.animal_m,
        animal.standoff_m,
    )


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
        got, low, high = (distance(m, settings.units) for m in (reach_m, 2 * cell_m, 20_000.0))
        raise BadInput(f"within {got}; accepted is {low} to {high}; give such a distance")
    marks = marked(text, country, ready.plan, ready.survey.elevation_m)
    _check_memory(country, len(marks), reach_m)
    around = _around(marks, reach_m, country)
    ground = _ground(ready, around)
    look = _Look(ready, STANDING_M if standing else settings.sight.eye_m, reach_m, around, ground)
    shown = from_where(
        ground.land, [look.within(mark.cells) for mark in marks], cell_m=cell_m, watcher_m=look.eye_m,
        animal_m=ready.animal_m, radius_m=reach_m, settings=settings.sight, tick=part(tick, 0.0, 0.8),
    )  # fmt: skip
    fit = _fit(marks, look)
    seen = (shown >= HALF).sum(axis=0, dtype=np.uint8) * fit
    seats = _seats([_seat(cell, marks, look) for cell in _best(shown, seen, marks, look)])
    tick(1.0)
    whole = np.zeros(country.grid.shape, np.uint8)
    whole[around] = seen
    return Watched(_told(marks, shown, fit, look, seats), whole)


@dataclass(frozen=True, slots=True)
class _Ground:
    """The part of the country within reach of the marks, by its layers; None where one is not there."""

    land: Obstacles
    closure: Raster | None
    slope_deg: Raster | None
    walk_s: Raster | None
    closed: Mask
    water: Mask


@dataclass(frozen=True, slots=True)
class _Look:
    """How it is looked, and at which ground: what lies beyond the marks' reach shows none of them."""

    ready: Ready
    eye_m: float
    reach_m: float
    around: Around
    ground: _Ground

    @property
    def corner(self) -> tuple[int, int]:
        """Row and column of the part's first cell."""
        return self.around[0].start, self.around[1].start

    def within(self, cells: Cells) -> Cells:
        """Cells of the country counted from the part's corner."""
        return np.subtract(cells, self.corner, dtype=np.int64)


def _around(marks: Sequence[Marked], reach_m: float, country: Country) -> Around:
    """The box about all marks' reach, a little wider: openings beside seats, and how thick a stand is, count too."""
    cell_m, shape = country.grid.cell_m, country.grid.shape
    beside_m = max(country.settings.watch.seat_open_m, WALL_M)
    wider = reach_cells(reach_m, cell_m, shape) + math.ceil(beside_m / cell_m) + 2
    cells = np.concatenate([mark.cells for mark in marks])
    least, most = cells.min(axis=0) - wider, cells.max(axis=0) + wider + 1
    rows, cols = (slice(max(0, int(a)), min(int(b), n)) for a, b, n in zip(least, most, shape, strict=True))
    return rows, cols


def _ground(ready: Ready, around: Around) -> _Ground:
    """Read the layers of a part of the country."""
    country, plan = ready.country, ready.plan
    canopy, closure = _canopy(country, plan, around)
    land = obstacles(
        np.ascontiguousarray(ready.survey.elevation_m[around]),
        *canopy_on_top(country, canopy, closure),
        country.settings.sight,
        cell_m=country.grid.cell_m,
    )
    slope, walk = (_kept(country, plan, layer, around) for layer in ("slope", "walk_seconds"))
    closed = burn((f.geometry for f in ready.holdings if is_shut(f.properties)), country.grid)[around]
    return _Ground(land, closure, slope, walk, closed, _water(country, plan, around))


def _kept(country: Country, plan: Plan | None, layer: str, around: Around) -> Raster | None:
    """A layer of the plan; None before any plan, and where it holds nothing at all (no start: no walking times)."""
    if plan is None or not country.has(layer):
        return None
    values = country.read(layer, part=around)
    nothing = np.isnan(values).all() and np.isnan(country.read(layer)).all()
    return None if nothing else values


def _check_memory(country: Country, marks: int, reach_m: float) -> None:
    radius = reach_cells(reach_m, country.grid.cell_m, country.grid.shape)
    needed = bytes_needed(marks, country.grid.shape, radius)
    if needed > 0.5 * country.settings.memory_gb * 2**30:
        raise BadInput(
            f"{marks} marks need {needed / 2**30:.1f} GB; accepted is half of memory_gb, {country.settings.memory_gb:g} GB; "
            "give fewer marks, a shorter --within, or raise memory_gb in settings.toml"
        )


def _canopy(country: Country, plan: Plan | None, around: Around) -> tuple[Raster | None, Raster | None]:
    """The canopy that the plan reckons with, or, before any plan, the one measured."""
    layers = [("canopy", "closure")] if plan is not None else []
    for height, closure in (*layers, ("canopy_height", "canopy_closure")):
        if country.has(height) and country.has(closure):
            return country.read(height, part=around), country.read(closure, part=around)
    return None, None


def _water(country: Country, plan: Plan | None, around: Around) -> Mask:
    """Water by the plan's cover; none before any plan."""
    if plan is None or not country.has("cover"):
        return np.zeros([side.stop - side.start for side in around], bool)
    return np.asarray(country.read("cover", part=around) == Kind.WATER, bool)


def _fit(marks: Sequence[Marked], look: _Look) -> Mask:
    """Ground to sit on, as far as the layers kept tell."""
    ready, ground = look.ready, look.ground
    used = np.zeros(ground.closed.shape, bool)
    for mark in marks:
        used[tuple(look.within(mark.cells).T)] = True
    slope = np.zeros(used.shape, np.float32) if ground.slope_deg is None else ground.slope_deg
    return suited(
        slope, ground.closure, ground.walk_s, ground.closed | ground.water, used, cell_m=ready.country.grid.cell_m,
        standoff_m=ready.standoff_m, watch=ready.country.settings.watch,
    )  # fmt: skip


def _best(shown: Raster, seen: NDArray[np.uint8], marks: Sequence[Marked], look: _Look) -> list[RowCol]:
    """Seats by how many marks they show, then by how much of them and how well placed for distance."""
    country, (top, left), shape = look.ready.country, look.corner, seen.shape
    cell_m = country.grid.cell_m
    near = distance_worth(int(np.hypot(*shape)) + 1, cell_m=cell_m, watch=country.settings.watch)
    worth = np.zeros(shape, np.float64)
    rows, cols = np.arange(shape[0])[:, None] + top, np.arange(shape[1])[None, :] + left
    for mark, part_shown in zip(marks, shown, strict=True):
        away = np.hypot(rows - mark.cell.row, cols - mark.cell.col)
        worth += part_shown * near[np.rint(away).astype(np.intp)]
    ranked = np.where(seen > 0, seen + worth / (len(marks) + 1.0), 0.0)
    found = peaks(ranked, LOOKED_AT, apart=APART_M / cell_m)
    return [RowCol(top + int(cell) // shape[1], left + int(cell) % shape[1]) for cell in found]


def _seats(found: list[WatchSeat]) -> list[WatchSeat]:
    """The best of them by what shows through the foliage; none that shows no mark."""
    some = [seat for seat in found if len(seat.hides) < len(seat.sees)]
    some.sort(key=lambda seat: (len(seat.hides), -sum(one.share.likely for one in seat.sees)))
    return some[:SEATS]


def _seat(cell: RowCol, marks: Sequence[Marked], look: _Look) -> WatchSeat:
    sees = [_mark_seen(cell, mark, look) for mark in marks]
    top, left = look.corner
    slope, walk = (
        np.nan if layer is None else float(layer[cell.row - top, cell.col - left])
        for layer in (look.ground.slope_deg, look.ground.walk_s)
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
    ready, settings, (top, left) = look.ready, look.ready.country.settings, look.corner
    rows, cols = look.within(mark.cells).T
    found = through(
        look.ground.land.leaves, eye=(cell.row - top, cell.col - left), rows=rows, cols=cols,
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
        cautions=[*always(invented=ready.country.invented), *_of_the_marks(marks, look)],
        not_known=_not_known(look),
    )


def _of_the_marks(marks: Sequence[Marked], look: _Look) -> list[str]:
    """What is to be said of marks that lie where one may not go, or where nothing stands."""
    told = []
    for mark in marks:
        at = mark.cell.row - look.corner[0], mark.cell.col - look.corner[1]
        if look.ground.closed[at]:
            told.append(
                f"{_capital(mark.name)} lies on ground that the ownership layer has as private or closed: that it can "
                "be watched gives no leave to go there. Ask the landowner or land manager."
            )
        if look.ground.water[at]:
            told.append(f"{_capital(mark.name)} lies on water by the cover layer: check the place.")
    return told


def _capital(name: str) -> str:
    return name[:1].upper() + name[1:]


def _why_none(shown: Mask, fit: Mask) -> str | None:
    """Why a mark shows from no ground to sit on."""
    if (shown & fit).any():
        return None
    if shown.any():
        return "it shows only from ground too steep, too near it, closed, under trees, or too far on foot"
    return "something stands in the way from all around"


def _not_known(look: _Look) -> list[str]:
    if look.ready.plan is not None:
        return look.ready.plan.not_known
    told = ["No plan was made yet: walking times, water, and what is too steep to sit on, are not known"]
    if look.ground.closure is None:
        told.append("No canopy is known: trees may hide the marks")
    if not look.ready.holdings:
        told.append("No ownership is known: seats may lie on private or closed ground")
    return told

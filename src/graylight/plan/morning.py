"""One morning at one lookout: facts from the layers and the kept plan, put on a clock and judged."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from functools import partial
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from graylight.approach.exposure import Notice
from graylight.approach.way import leave_by
from graylight.approach.waymarks import Mark
from graylight.approach.ways import Course, FromStart, Land
from graylight.country.folder import Country
from graylight.errors import BadInput
from graylight.grid import LonLat, RowCol
from graylight.plan.looking import Ready, ready_to_look
from graylight.plan.model import Approach, Lookout, Plan, Pocket, Sees
from graylight.plan.morning_sky import (
    AirAbout,
    DaySky,
    beds_in_shade,
    day_sky,
    glass_spans,
    reached,
    reaches_share,
)
from graylight.plan.on_foot import (
    LEAST_GAIN_MIN,
    advised,
    land_on_foot,
    seen_from_pockets,
    smelled,
    starts_for,
    ways_in,
)
from graylight.plan.sight_facts import NOTHING, PocketCells
from graylight.plan.starts import WayIn
from graylight.settings import AirSettings
from graylight.sit.facts import AirHere, SitFacts, Span, WalkIn, Watched, WayMark, Whiff
from graylight.sky.drift import Drift, carries_to, drift
from graylight.sky.glare import Glare, PocketGlare, glare
from graylight.sky.wind import Air, AirGround, GeneralWind, WindField, air_ground, turns_at
from graylight.work import spread

__all__ = [
    "Dawn",
    "MorningReady",
    "Sat",
    "WayTaken",
    "blows_at",
    "dawns_of",
    "kept_lookout",
    "ready_for_morning",
    "sit_at",
]

Raster = NDArray[np.float32]
Airs: TypeAlias = tuple[tuple[dt.datetime, Air], ...]
"""The air at a lookout at some moments, in their order."""
_BETWEEN = dt.timedelta(minutes=15)
"""Half of the time between two moments at which the air is looked at."""
SHARED_S = 300.0
"""Paths that part and meet again within so many seconds run together. Proposed."""
DAYS_KEPT = 3
"""A day's air takes 16 bytes a cell."""
BLOWS_AT_DEG = 20.0
"""A wind that goes no farther past a pocket than this blows at it. Proposed."""
BLOWN_PART = 0.2
"""So much of a pocket must lie that way. Proposed."""
_AFTER_SUNRISE_MIN = (0, 30, 60, 90, 120, 150)
"""When the air is looked at after sunrise, beside usable light."""


@dataclass(frozen=True, slots=True)
class MorningReady:
    """A country and its plan with all in memory that does not hang on lookout, date or wind.

    Parameters
    ----------
    looking
        Layers, plan, and cells of the pockets.
    air
        What the ground does to the air.
    land
        The ground as a walker meets it in the dark.
    seen : (rows, cols) float32
        Part of what the ranked pockets hold that has a walker in view, 0 to 1.
    used : (rows, cols) int32
        Labels of the pockets on ground used at dawn; 0: none.
    closure : (rows, cols) float32 or None
        Canopy closure, 0 to 1, NaN where not known; None: not known anywhere.
    """

    looking: Ready
    air: AirGround
    land: Land
    seen: Raster
    used: NDArray[np.int32]
    closure: Raster | None
    _days: dict[dt.date, DaySky] = field(default_factory=dict)
    _ways: dict[str, FromStart] = field(default_factory=dict)

    def day(self, date: dt.date) -> DaySky:
        """The sky of a date, reckoned once; the last few are kept."""
        if date not in self._days:
            while len(self._days) >= DAYS_KEPT:
                del self._days[next(iter(self._days))]
            country = self.looking.country.with_settings(date=date.isoformat())
            self._days[date] = day_sky(self.looking, country, self.air)
        return self._days[date]

    def lookout(self, name: str) -> Lookout:
        """A kept lookout; refused with the ids there are if there is none of that name."""
        return kept_lookout(self.looking.plan, name)

    def cell(self, lookout: Lookout) -> RowCol:
        """Where it lies on the grid."""
        return self.looking.country.grid.rowcol(LonLat(lookout.place.lon, lookout.place.lat))

    def approach(self, lookout: Lookout) -> Approach | None:
        """The plan's own way to it."""
        return next((w for w in self.looking.plan.approaches if w.lookout == lookout.id), None)


@dataclass(frozen=True, slots=True)
class WayTaken:
    """The way in that is advised, beside the quickest, and where it begins."""

    course: Course
    quickest_s: float
    start: WayIn
    begin: RowCol


@dataclass(frozen=True, slots=True)
class Dawn:
    """What is watched of a pocket: its place in the plan, its cells, its weight among all that is watched."""

    pocket: Pocket
    sees: Sees
    cells: PocketCells
    label: int
    weight: float


@dataclass(frozen=True, slots=True)
class Sat:
    """A morning worked out: the facts for clock and verdict, and what they rest on."""

    lookout: Lookout
    sky: DaySky
    facts: SitFacts
    dawns: tuple[Dawn, ...]
    way: WayTaken | None
    air: Airs
    at_dawn: WindField


def kept_lookout(plan: Plan, name: str) -> Lookout:
    """The plan's lookout of that id.

    Raises
    ------
    BadInput
        There is none.
    """
    found = next((one for one in plan.lookouts if one.id.lower() == name.strip().lower()), None)
    if found is None:
        ids = ", ".join(one.id for one in plan.lookouts) or "none: the plan found no lookout"
        raise BadInput(
            f"no lookout {name!r} is in the plan; accepted are its lookouts ({ids}); give one of them, or plan again"
        )
    return found


def ready_for_morning(country: Country, plan: Plan) -> MorningReady:
    """Read and reckon once what mornings need; `plan` and the layers kept must belong together."""
    looking = ready_to_look(country, plan)
    closure = country.read("closure") if country.has("closure") else None
    use = country.read("use_at_dawn")
    return MorningReady(
        looking=looking,
        air=air_ground(
            looking.survey.elevation_m, cell_m=country.grid.cell_m, convergence_deg=country.grid.convergence_deg(),
            closure=closure, settings=country.settings.air,
        ),
        land=land_on_foot(looking),
        seen=seen_from_pockets(looking),
        used=np.where(use > 0, looking.labels, 0).astype(np.int32),
        closure=closure,
    )  # fmt: skip


def dawns_of(ready: MorningReady, lookout: Lookout) -> tuple[Dawn, ...]:
    """The pockets in sight, by chance times share; those told as nothing are left out."""
    plan, cells = ready.looking.plan, ready.looking.cells
    index = {pocket.id: i for i, pocket in enumerate(plan.pockets)}
    shown = [
        s for s in lookout.sees if s.share.high >= NOTHING and plan.pockets[index[s.pocket]].shut is None
    ]
    worth = [max(plan.pockets[index[s.pocket]].chance, 1e-6) * max(s.share.likely, 1e-3) for s in shown]
    total = sum(worth)
    return tuple(
        Dawn(plan.pockets[index[s.pocket]], s, cells[index[s.pocket]], index[s.pocket] + 1, one / total)
        for s, one in zip(shown, worth, strict=True)
    )


def sit_at(
    ready: MorningReady, lookout: Lookout, date: dt.date, wind: GeneralWind, *, way: WayTaken | None = None
) -> Sat:
    """Work one morning out.

    Parameters
    ----------
    ready
        From `ready_for_morning`.
    lookout, date, wind
        Where, when, and the general wind.
    way
        A way in worked out before (for many dates); None: worked out here.

    Raises
    ------
    BadInput
        No usable light begins that day, or starts are known and none reaches the lookout.
    """
    sky = ready.day(date)
    country = ready.looking.country
    dawns = dawns_of(ready, lookout)
    cell = ready.cell(lookout)
    assert sky.light.usable_from is not None  # day_sky refuses a date without
    settled = sky.light.usable_from - dt.timedelta(minutes=country.settings.watch.settle_minutes)
    turn = _turn(ready, sky, cell)
    times = _times(sky, turn)
    about = sky.about(cell)
    fields = [about.sky.field(at, wind) for at in times]
    whiffs = _whiffs(ready, about, times, fields, dawns, cell)
    air = tuple((at, one.at(*about.cell)) for at, one in zip(times, fields, strict=True))
    at_dawn = sky.field(sky.light.usable_from, wind)
    sun = glare(
        ready.looking.survey.elevation_m, _watched_labels(ready, dawns), cell, cell_m=country.grid.cell_m,
        convergence_deg=country.grid.convergence_deg(), place=country.grid.center, day=date,
        eye_m=country.settings.sight.eye_m, settings=country.settings.glare,
    )  # fmt: skip
    if way is None:
        way = _way(ready, lookout, dawns, at_dawn)
    facts = SitFacts(
        sky.light.usable_from, sky.light.legal_from, sky.light.sunrise, settled, sky.light.civil_dusk,
        _walk(ready, way, sky), _air_here(sky, turn, air),
        tuple(_watched(ready, d, sun, w) for d, w in zip(dawns, whiffs, strict=True)),
    )  # fmt: skip
    return Sat(lookout, sky, facts, dawns, way, air, at_dawn)


def _times(sky: DaySky, turn: dt.datetime | None) -> list[dt.datetime]:
    """When the air is looked at, usable light first: its night air is that of the way in too.

    The lookout's own turn and the time just before it are among them on every date, so that dates can be compared.
    """
    usable = sky.light.usable_from
    assert usable is not None
    begin = sky.light.sunrise or usable + dt.timedelta(minutes=30)
    times = {begin + dt.timedelta(minutes=m) for m in _AFTER_SUNRISE_MIN}
    if turn is not None:
        times |= {t for t in (turn - _BETWEEN, turn) if usable < t < max(times)}
    return [usable, *sorted(times)]


def _turn(ready: MorningReady, sky: DaySky, cell: RowCol) -> dt.datetime | None:
    """When the lookout's own air turns up, by the sun on it."""
    up_s = turns_at(ready.air, sky.air, *cell, settings=sky.settings).up_s
    return None if up_s is None else sky.moment(up_s)


def _whiffs(
    ready: MorningReady, about: AirAbout, times: list[dt.datetime], fields: list[WindField], dawns: tuple[Dawn, ...],
    cell: RowCol,
) -> list[tuple[Whiff, ...]]:  # fmt: skip
    """Scent on each pocket watched, by the clock."""
    settings = ready.looking.country.settings
    found: list[list[Whiff]] = [[] for _ in dawns]
    away = [_nearest(dawn.cells, cell) for dawn in dawns]
    for at, one, blown in zip(times, fields, drifts(fields, about.cell, settings.air), strict=True):
        rows, cols = np.nonzero(blown.scent > settings.sit.scent_care)
        carries = float(np.hypot(rows - about.cell.row, cols - about.cell.col).max(initial=0.0))
        for into, dawn, far in zip(found, dawns, away, strict=True):
            share = reaches_share(blown.scent, dawn.cells, about.corner)
            toward = blows_at(ready, one.at(*about.cell), cell, dawn.cells)
            into.append(Whiff(at, share, blown.doubtful, far <= carries, toward))
    return [tuple(each) for each in found]


def blows_at(ready: MorningReady, air: Air, cell: RowCol, cells: PocketCells) -> bool:
    """Whether a general wind at the lookout blows at a pocket that lies within the reach of scent in night air."""
    if air.toward_deg is None or air.mover != "general wind" or not len(cells.rows):
        return False
    grid, settings = ready.looking.country.grid, ready.looking.country.settings
    east, north = cells.cols - cell.col, cell.row - cells.rows
    near = np.hypot(east, north) * grid.cell_m <= settings.air.scent_gone_m
    bearing = np.degrees(np.arctan2(east, north)) + grid.convergence_deg()
    aside = np.abs((bearing - air.toward_deg + 180.0) % 360.0 - 180.0)
    met = float(cells.weight[near & (aside <= BLOWS_AT_DEG)].sum(dtype=np.float64))
    return met > BLOWN_PART * float(cells.weight.sum(dtype=np.float64))


def drifts(fields: list[WindField], cell: RowCol, settings: AirSettings) -> list[Drift]:
    """The drift from one place in several winds."""
    found: dict[int, Drift] = {}

    def look(i: int) -> None:
        found[i] = drift(fields[i], *cell, settings=settings)

    spread([partial(look, i) for i in range(len(fields))])
    return [found[i] for i in range(len(fields))]


def _nearest(cells: PocketCells, cell: RowCol) -> float:
    """How many cells off the nearest used ground of a pocket is."""
    return float(np.hypot(cells.rows - cell.row, cells.cols - cell.col).min(initial=np.inf))


def _watched_labels(ready: MorningReady, dawns: tuple[Dawn, ...]) -> NDArray[np.int32]:
    keep = np.zeros(len(ready.looking.plan.pockets) + 1, np.int32)
    for dawn in dawns:
        keep[dawn.label] = dawn.label
    return keep[ready.used]


def _watched(ready: MorningReady, dawn: Dawn, sun: Glare, whiffs: tuple[Whiff, ...]) -> Watched:
    looking = ready.looking
    settings, grid = looking.country.settings, looking.country.grid
    one: PocketGlare | None = next((p for p in sun.pockets if p.label == dawn.label), None)
    cells = [grid.rowcol(LonLat(b.place.lon, b.place.lat)) for b in dawn.pocket.beds]
    return Watched(
        id=dawn.pocket.id,
        weight=dawn.weight,
        sun_from=None if one is None else reached(sun, one, 0.1),
        sun_half=None if one is None else reached(sun, one, 0.5),
        glass=() if one is None else glass_spans(sun, one),
        whiffs=whiffs,
        beds=beds_in_shade(
            looking, sun, [b.id for b in dawn.pocket.beds], cells, ready.closure, settings.sit.shade_part
        ),
    )


def _air_here(sky: DaySky, up: dt.datetime | None, air: Airs) -> AirHere:
    """When the lookout's own air turns up, and when it is unreliable: about a turn, or as it was found.

    Where a general wind rules at the turn's own hour nothing is felt of the turn.
    """
    spans = [Span(at - _BETWEEN, at + _BETWEEN) for at, one in air if not one.reliable]
    if up is not None and not _ruled(air, up):
        half = dt.timedelta(minutes=sky.settings.turn_minutes)
        # the moments looked at are apart: the rule says when about the turn
        spans = [Span(up - half, up + half), *(s for s in spans if abs(s.begin + _BETWEEN - up) > half)]
    else:
        up = None
    return AirHere(up, _joined(spans))


def _ruled(air: Airs, when: dt.datetime) -> bool:
    """Whether a general wind rules at the lookout at a moment."""
    nearest: tuple[dt.datetime, Air] = min(air, key=lambda one: abs(one[0] - when))
    return nearest[1].mover == "general wind"


def _joined(spans: list[Span]) -> tuple[Span, ...]:
    """In order; those that meet, or nearly, as one."""
    found: list[Span] = []
    for span in sorted(spans):
        if found and span.begin <= found[-1].end + _BETWEEN:
            found[-1] = Span(found[-1].begin, max(found[-1].end, span.end))
        else:
            found.append(span)
    return tuple(found)


def _way(ready: MorningReady, lookout: Lookout, dawns: tuple[Dawn, ...], night: WindField) -> WayTaken | None:
    """The way advised; None where no start is known.

    Ways that keep out of view hang on the lookout alone and are worked out once; only where scent from the one
    advised would reach what is watched are they sought again, out of scent as well.
    """
    kept = ready.approach(lookout)
    begin = starts_for(ready.looking, ready.land, kept)
    if not begin:
        return None
    settings = ready.looking.country.settings
    # the plan's own time bounds the quickest way: farther need not be looked
    limit_s = 1.02 * kept.seconds if kept is not None else 1.2 * 3600.0 * settings.watch.walk_limit_hours

    def seek(notice: Notice) -> FromStart:
        return ways_in(ready.looking, ready.land, ready.cell(lookout), begin, notice, limit_s)

    def best(ways: FromStart) -> Course:
        sit, dark = settings.sit, settings.approach.seen_dark
        return advised(ways, detour_minutes=sit.detour_minutes, seen_counts=dark)

    if lookout.id not in ready._ways:
        ready._ways[lookout.id] = seek(Notice(ready.seen))
    found = ready._ways[lookout.id]
    scented = _scented(ready, dawns, night)
    course = smelled(best(found), scented)
    if (course.exposure.scented_minutes or 0.0) >= LEAST_GAIN_MIN:
        found = seek(Notice(ready.seen, scented))
        course = best(found)
    return WayTaken(course, found.quickest.way.seconds, begin[found.start], found.begin)


def _scented(ready: MorningReady, dawns: tuple[Dawn, ...], night: WindField) -> Raster:
    """From where scent reaches what is watched, in the air before dawn; less than the limit counts as none."""
    settings = ready.looking.country.settings
    found: list[Raster | None] = [None] * len(dawns)

    def look(i: int) -> None:
        one = carries_to(night, ready.used == dawns[i].label, settings=settings.air)
        one[one < settings.sit.scent_care] = 0.0
        found[i] = one

    spread([partial(look, i) for i in range(len(dawns))])
    total = np.zeros(ready.looking.labels.shape, np.float32)
    for dawn, one in zip(dawns, found, strict=True):
        if one is not None:
            total += np.float32(dawn.weight) * one
    return np.clip(total, 0.0, 1.0)


def _without_returns(junctions: tuple[Mark, ...]) -> list[Mark]:
    """Without from one path onto another and straight back: two names for the same path."""
    kept: list[Mark] = []
    for mark in junctions:
        before = kept[-1].words.removeprefix("from ").split(" onto ") if kept else []
        back = len(before) == 2 and mark.words == f"from {before[1]} onto {before[0]}"
        if back and mark.at_s - kept[-1].at_s <= SHARED_S:
            kept.pop()
        else:
            kept.append(mark)
    return kept


def _walk(ready: MorningReady, way: WayTaken | None, sky: DaySky) -> WalkIn | None:
    if way is None:
        return None
    settings = ready.looking.country.settings
    slower = 1.0 + settings.walk.spread
    walked = way.course.way
    met = (*_without_returns(way.course.junctions), *way.course.crossings)
    marks = [WayMark(m.words, m.at_s * slower) for m in met]
    return WalkIn(
        leave_by=leave_by(sky.light.usable_from, walked.seconds * slower, settings.watch.settle_minutes),
        slow_seconds=walked.seconds * slower,
        back_slow_seconds=walked.back_seconds * slower if np.isfinite(walked.back_seconds) else None,
        marks=tuple(sorted(marks, key=lambda m: (m.after_s, m.words))),
        scented_minutes=way.course.exposure.scented_minutes,
        steep=any("scramble" in words for words in walked.hazards),
        long=walked.seconds > 3600.0 * settings.watch.walk_limit_hours,
    )

"""One sit at one lookout: facts from the layers and the kept plan, put on a clock and judged."""

from __future__ import annotations

import datetime as dt
from concurrent.futures import wait
from dataclasses import dataclass
from functools import partial
from typing import TypeAlias, TypedDict

import numpy as np
from numpy.typing import NDArray

from graylight.approach.packout import PackOut
from graylight.approach.way import leave_by
from graylight.grid import LonLat, RowCol
from graylight.plan.model import Lookout
from graylight.plan.morning_air import close_calls, whiffs
from graylight.plan.morning_ready import Dawn, MorningReady, dawns_of
from graylight.plan.morning_sky import (
    DaySky,
    beds_in_shade,
    check_light,
    glass_spans,
    left,
    reached,
    reaches_share,
)
from graylight.plan.morning_ways import WayTaken, marks_of
from graylight.sit.facts import AirHere, SitFacts, SitKind, Span, Turn, WalkIn, Watched, Whiff
from graylight.sky.drift import carries_to, drift_of_way
from graylight.sky.glare import Glare, PocketGlare, glare
from graylight.sky.wind import Air, GeneralWind, WindField, turns_at
from graylight.work import beside, spread

__all__ = ["Sat", "key_moment", "other_moment", "sit_at"]

Raster = NDArray[np.float32]
Airs: TypeAlias = tuple[tuple[dt.datetime, Air], ...]
"""The air at a lookout at some moments, in their order."""
_BETWEEN = dt.timedelta(minutes=15)
"""Half of the time between two moments at which the air is looked at."""
_AFTER_SUNRISE_MIN = (0, 30, 60, 90, 120, 150)
"""When the air is looked at after sunrise, beside usable light; at dusk as long before sunset."""
_OTHER = dt.timedelta(minutes=90)
"""How long from sunrise, or before sunset, the air of the other lookouts is looked at once more."""
_MIDDAY_STEP = dt.timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Sat:
    """A sit worked out: the facts for clock and verdict, and what they rest on.

    Parameters
    ----------
    lookout, sky, facts, dawns
        Where, on which date, what is known, and what is watched.
    way
        The ways; None where no start is known.
    air
        The air at the lookout by the clock.
    key
        The air over the country at the hour that decides: first usable light, or sunset.
    carried
        Carrying an animal out of each pocket watched; None where no start is known.
    scented : (rows, cols) float32
        From where on the way in scent reaches what is watched, 0 to 1.
    smelled
        Ids of pockets that scent from the way advised reaches, with how much of each; rule of thumb.
    """

    lookout: Lookout
    sky: DaySky
    facts: SitFacts
    dawns: tuple[Dawn, ...]
    way: WayTaken | None
    air: Airs
    key: WindField
    carried: tuple[PackOut | None, ...]
    scented: Raster
    smelled: tuple[tuple[str, float], ...]


def key_moment(sky: DaySky, kind: SitKind) -> dt.datetime:
    """The hour whose air decides: first usable light, or at dusk sunset (last usable light where it does not set)."""
    when = (sky.light.sunset or sky.light.usable_until) if kind == "dusk" else sky.light.usable_from
    assert when is not None  # refused before
    return when


def other_moment(sky: DaySky, kind: SitKind) -> dt.datetime:
    """Another hour of the animals' in the open: well after sunrise, or well before sunset at dusk."""
    if kind == "dusk":
        return (sky.light.sunset or key_moment(sky, kind)) - _OTHER
    return (sky.light.sunrise or key_moment(sky, kind)) + _OTHER


def sit_at(
    ready: MorningReady, lookout: Lookout, date: dt.date, wind: GeneralWind, *, kind: SitKind = "dawn"
) -> Sat:
    """Work one sit out.

    Parameters
    ----------
    ready
        From `ready_for_morning`.
    lookout, date, wind
        Where, when, and the general wind.
    kind
        At dawn, at dusk, or for the whole day.

    Raises
    ------
    BadInput
        No usable light begins (or ends) that day, or starts are known and none reaches the lookout.
    """
    dawns, cell = dawns_of(ready, lookout), ready.cell(lookout)
    hours = _Hours(dark=kind != "dusk", dark_out=kind != "dawn")
    kept, pockets = ready.approach(lookout), {d.pocket.id: d.cells for d in dawns}
    # the legs and the air hang on each other only in that a way out of scent is sought where scent is
    legs = beside(partial(ready.foot.ahead, lookout, cell, kept, pockets, **hours))
    try:
        above = _above(ready, cell, dawns, date, wind, kind)
    finally:
        wait([legs])
    legs.result()
    way = ready.foot.taken(lookout, cell, kept, above.scented, **hours)
    carried = (
        [None] * len(dawns) if way is None else ready.foot.carried(way.begun, pockets, dark=not way.dark)
    )
    return _sat(ready, lookout, dawns, above, way, tuple(carried), kind)


class _Hours(TypedDict):
    """Whether the way in, and the way out, are walked in the dark."""

    dark: bool
    dark_out: bool


@dataclass(frozen=True, slots=True)
class _Above:
    """What sun and air do at a lookout: all of a sit that does not hang on the ways."""

    sky: DaySky
    settled: dt.datetime
    turns: tuple[Turn, ...]
    air: Airs
    whiffs: tuple[tuple[Whiff, ...], ...]
    key: WindField
    walked_in: WindField
    sun: Glare
    scented: Raster
    close: tuple[str, ...]
    wind_ms: float


def _above(
    ready: MorningReady,
    cell: RowCol,
    dawns: tuple[Dawn, ...],
    date: dt.date,
    wind: GeneralWind,
    kind: SitKind,
) -> _Above:
    sky = ready.day(date)
    check_light(sky.light, kind, ready.looking.country.settings.usable_light_sun_deg)
    settled = _settled(ready, sky, kind)
    turns = _turns(ready, sky, cell, kind)
    times = _times(sky, turns, kind)
    about = sky.about(cell)
    fields = _fields(about.sky, times, wind)
    air = tuple((at, one.at(*about.cell)) for at, one in zip(times, fields, strict=True))
    key = sky.field(key_moment(sky, kind), wind)
    # night air is alike until sunrise; by day what blows an hour before one sits
    walked_in = key if kind != "dusk" else sky.field(settled - dt.timedelta(hours=1), wind)
    return _Above(
        sky, settled, turns, air, tuple(whiffs(ready, about, times, fields, dawns, cell)), key, walked_in,
        _sun(ready, dawns, cell, date), _scented(ready, dawns, walked_in),
        close_calls(ready, sky, dawns, cell, key_moment(sky, kind), [wind])[0], wind.speed_ms,
    )  # fmt: skip


def _fields(sky: DaySky, times: list[dt.datetime], wind: GeneralWind) -> list[WindField]:
    """The air at some moments over ground so small that each is a job of its own."""
    found: dict[int, WindField] = {}

    def look(i: int) -> None:
        found[i] = sky.field(times[i], wind)

    spread([partial(look, i) for i in range(len(times))])
    return [found[i] for i in range(len(times))]


def _sat(
    ready: MorningReady, lookout: Lookout, dawns: tuple[Dawn, ...], above: _Above, way: WayTaken | None,
    carried: tuple[PackOut | None, ...], kind: SitKind,
) -> Sat:  # fmt: skip
    light = above.sky.light
    both = zip(dawns, above.whiffs, carried, strict=True)
    facts = SitFacts(
        light.usable_from, light.legal_from, light.sunrise, above.settled, light.civil_dusk,
        _walk(ready, way, above.settled), _air_here(above.sky, above.turns, above.air),
        tuple(_watched(ready, dawn, above.sun, whiffs, out) for dawn, whiffs, out in both), kind,
        light.sunset, light.legal_until, light.usable_until, above.close, above.wind_ms,
    )  # fmt: skip
    smelled = _smelled(ready, way, above.walked_in)
    return Sat(lookout, above.sky, facts, dawns, way, above.air, above.key, carried, above.scented, smelled)


def _settled(ready: MorningReady, sky: DaySky, kind: SitKind) -> dt.datetime:
    """When to sit still: before first usable light, or so long before sunset."""
    settings = ready.looking.country.settings
    if kind == "dusk":
        return key_moment(sky, kind) - dt.timedelta(minutes=settings.sit.evening_minutes)
    return key_moment(sky, kind) - dt.timedelta(minutes=settings.watch.settle_minutes)


def _sun(ready: MorningReady, dawns: tuple[Dawn, ...], cell: RowCol, date: dt.date) -> Glare:
    country = ready.looking.country
    return glare(
        ready.looking.survey.elevation_m, _watched_labels(ready, dawns), cell, cell_m=country.grid.cell_m,
        convergence_deg=country.grid.convergence_deg(), place=country.grid.center, day=date,
        eye_m=country.settings.sight.eye_m, settings=country.settings.glare,
        beyond=ready.looking.survey.beyond,
    )  # fmt: skip


def _times(sky: DaySky, turns: tuple[Turn, ...], kind: SitKind) -> list[dt.datetime]:
    """When the air is looked at: about dawn from usable light on, about dusk until it ends, each hour in between.

    The lookout's own turn and the time just before it are among them on every date, so that dates can be compared.
    """
    times: set[dt.datetime] = set()
    light = sky.light
    if kind != "dusk" and light.usable_from is not None:
        begin = light.sunrise or light.usable_from + dt.timedelta(minutes=30)
        times |= {light.usable_from, *(begin + dt.timedelta(minutes=m) for m in _AFTER_SUNRISE_MIN)}
    dawn_until = max(times, default=None)
    if kind != "dawn" and light.usable_until is not None:
        end = light.sunset or light.usable_until - dt.timedelta(minutes=30)
        evening = {light.usable_until, *(end - dt.timedelta(minutes=m) for m in _AFTER_SUNRISE_MIN)}
        if dawn_until is not None:
            hours = int((min(evening) - dawn_until) / _MIDDAY_STEP)
            times |= {dawn_until + i * _MIDDAY_STEP for i in range(1, hours + 1)}
        times |= evening
    near = {t for turn in turns for t in (turn.at - _BETWEEN, turn.at)}
    return sorted(times | {t for t in near if min(times) < t < max(times)})


def _turns(ready: MorningReady, sky: DaySky, cell: RowCol, kind: SitKind) -> tuple[Turn, ...]:
    """When the lookout's own air turns, by the sun on it: up in the morning, down in the evening."""
    found = turns_at(ready.air, sky.air, *cell, settings=sky.settings)
    turns = [
        Turn(sky.moment(at_s), up)
        for at_s, up, watched in ((found.up_s, True, kind != "dusk"), (found.down_s, False, kind != "dawn"))
        if at_s is not None and watched
    ]
    return tuple(turns)


def _watched_labels(ready: MorningReady, dawns: tuple[Dawn, ...]) -> NDArray[np.int32]:
    keep = np.zeros(len(ready.looking.plan.pockets) + 1, np.int32)
    for dawn in dawns:
        keep[dawn.label] = dawn.label
    return keep[ready.used]


def _watched(
    ready: MorningReady, dawn: Dawn, sun: Glare, whiffs: tuple[Whiff, ...], out: PackOut | None
) -> Watched:
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
        sun_left=None if one is None else left(sun, one, 0.5),
        too_far=out is not None and out.veto is not None,
    )


def _air_here(sky: DaySky, turns: tuple[Turn, ...], air: Airs) -> AirHere:
    """When the lookout's own air turns, and when it is unreliable: about a turn, or as it was found.

    Where a general wind rules at the turn's own hour nothing is felt of the turn.
    """
    spans = [Span(at - _BETWEEN, at + _BETWEEN) for at, one in air if not one.reliable]
    felt = tuple(turn for turn in turns if not _ruled(air, turn.at))
    half = dt.timedelta(minutes=sky.settings.turn_minutes)
    for turn in felt:  # the moments looked at are apart: the rule says when about the turn
        spans = [s for s in spans if abs(s.begin + _BETWEEN - turn.at) > half]
        spans.append(Span(turn.at - half, turn.at + half))
    return AirHere(felt, _joined(spans))


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


def _scented(ready: MorningReady, dawns: tuple[Dawn, ...], night: WindField) -> Raster:
    """From where scent reaches what is watched, in the air of the walk in; less than the limit counts as none."""
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


def _smelled(ready: MorningReady, way: WayTaken | None, field: WindField) -> tuple[tuple[str, float], ...]:
    """The ranked pockets, in sight or not, that scent from the way advised reaches: by following the air from the way."""
    if way is None:
        return ()
    settings, walked = ready.looking.country.settings, way.course.way
    scent = drift_of_way([field], walked.rows, walked.cols, walked.at_s, settings=settings.air).scent
    both = zip(ready.looking.plan.pockets, ready.looking.cells, strict=True)
    shares = [(pocket.id, reaches_share(scent, cells)) for pocket, cells in both if pocket.shut is None]
    return tuple((name, share) for name, share in shares if share > settings.sit.scent_care)


def _walk(ready: MorningReady, way: WayTaken | None, settled: dt.datetime) -> WalkIn | None:
    if way is None:
        return None
    settings = ready.looking.country.settings
    slower = 1.0 + settings.walk.spread
    walked = way.course.way
    in_the_dark = ([walked.steep] if way.dark else []) + (
        [way.out.way.steep] if way.out is not None and way.out_in_dark else []
    )
    return WalkIn(
        leave_by=leave_by(settled, walked.seconds * slower, 0),
        slow_seconds=walked.seconds * slower,
        back_slow_seconds=way.out_s * slower if np.isfinite(way.out_s) else None,
        marks=marks_of(way.course, slower),
        scented_minutes=way.course.exposure.scented_minutes,
        steep=any(one.off_path_s > 0.0 for one in in_the_dark),
        steep_path_minutes=max((one.on_path_s for one in in_the_dark), default=0.0) / 60.0,
        long=walked.seconds > 3600.0 * settings.watch.walk_limit_hours,
        seen_minutes=0.0 if way.dark else way.course.exposure.seen_minutes or 0.0,
    )

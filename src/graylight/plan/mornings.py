"""Mornings as they are handed over: one in full, the lookouts by wind, and a calendar of dates."""

from __future__ import annotations

import datetime as dt
from functools import partial

import numpy as np

from graylight.approach.packout import PackOut
from graylight.errors import BadInput
from graylight.habitat.profile import Profile
from graylight.plan.animals import find_profile
from graylight.plan.cautions import ALWAYS, FREEZING, may_freeze
from graylight.plan.data_truth import current_rules
from graylight.plan.model import Approach, Lookout
from graylight.plan.morning import Sat, key_moment, other_moment, sit_at
from graylight.plan.morning_air import close_calls, met_in
from graylight.plan.morning_asked import check_span
from graylight.plan.morning_model import (
    AirThen,
    BedShade,
    CalendarDay,
    Carry,
    Happening,
    Hours,
    Morning,
    MorningPocket,
    Option,
    Reason,
    Scent,
)
from graylight.plan.morning_ready import Dawn, MorningReady, dawns_of
from graylight.plan.morning_sky import DaySky, check_light, reaches_share
from graylight.plan.morning_told import near_seats, other_ways, water_near, way_told
from graylight.plan.morning_winds import WINDS_MS, by_wind, sheltered
from graylight.plan.standing import PROGRAM
from graylight.plan.wind_asked import WindAsked, wind_asked
from graylight.settings import PackSettings, Settings, SitSettings
from graylight.sit.clock import timeline
from graylight.sit.facts import SitFacts, SitKind, Span, Watched
from graylight.sit.hours import moves, out, rises
from graylight.sit.verdict import Finding, Judgement, judge
from graylight.sky.drift import drift
from graylight.wind import CALM, GeneralWind
from graylight.work import Tick, silent, spread

__all__ = ["calendar", "morning"]

MOST_DATES = 12
"""Dates of a calendar that are worked out; a longer span is sampled evenly."""
AIR = (
    "Everything said of the air is a rule of thumb: feel it on the spot with powder, down or smoke; where it says otherwise, "
    "the air is right. Cloud, rain, snow and fronts undo slope winds."
)
SUN = "Never point a glass at the sun or close to it: it blinds for good."


def morning(
    ready: MorningReady,
    name: str,
    *,
    date: dt.date | None = None,
    wind: str | None = None,
    sit: SitKind = "dawn",
) -> Morning:
    """One sit at one lookout.

    Parameters
    ----------
    ready
        From `ready_for_morning`.
    name
        Id of a kept lookout.
    date
        The plan's own if None.
    wind
        General wind as people write it; None: the one that is set, else reckoned as calm, and said so; "none": calm.
    sit
        At dawn, at dusk, or for the whole day.

    Raises
    ------
    BadInput
        Unknown lookout, a wind not understood, a date without usable light, or no start that reaches the lookout.
    """
    asked = wind_asked(ready.looking.country.settings, wind)
    general = asked.general
    lookout = ready.lookout(name)
    day = ready.looking.plan.light.date if date is None else date
    sat = sit_at(ready, lookout, day, general, kind=sit)
    country = ready.looking.country
    settings = country.settings.sit
    found = judge(sat.facts, settings)
    return Morning(
        program=PROGRAM,
        country=country.name,
        invented=country.invented,
        animal=ready.looking.plan.animal,
        date=day,
        sit=sit,
        timezone=sat.sky.light.timezone,
        lookout=lookout.id,
        place=lookout.place,
        wind=asked.told,
        light=sat.sky.light,
        verdict=found.verdict,
        decides=[_reason(f) for f in found.decides],
        reasons=[_reason(f) for f in found.reasons],
        way=way_told(ready, sat),
        ways=other_ways(ready, sat),
        water=water_near(ready, lookout),
        timeline=_happenings(sat, settings),
        air=_air(sat),
        pockets=[
            _pocket(d, w, c, sat, country.settings)
            for d, w, c in zip(sat.dawns, sat.facts.pockets, sat.carried, strict=True)
        ],
        also_scented=_also_scented(ready, sat),
        options=options(ready, sat, found, general),
        near=near_seats(ready, lookout),
        by_wind=by_wind(ready, sat.sky, _hours_looked_at(sat.sky, sit), general.speed_ms or WINDS_MS),
        by_wind_ms=general.speed_ms or WINDS_MS,
        sheltered=sheltered(ready, sat.sky, key_moment(sat.sky, sit), general.speed_ms or WINDS_MS),
        cautions=_cautions(ready, day),
        not_known=[*_calm(asked, sit), *_not_known(ready, day, sat.sky.light.declination_deg)],
    )  # fmt: skip


def _happenings(sat: Sat, settings: SitSettings) -> list[Happening]:
    return [
        Happening(
            at=_second(e.at), until=None if e.until is None else _second(e.until), kind=e.kind, of=e.of, words=e.words,
            rule_of_thumb=e.rule_of_thumb,
        )
        for e in timeline(sat.facts, settings)
    ]  # fmt: skip


def _air(sat: Sat) -> list[AirThen]:
    """The air at the lookout, by the clock."""
    return [
        AirThen(
            at=_second(at), toward_true_deg=a.toward_deg, speed_ms=a.speed_ms, strength=a.strength, mover=a.mover,
            doubt=a.doubt,
        )
        for at, a in sat.air
    ]  # fmt: skip


def _cautions(ready: MorningReady, day: dt.date) -> list[str]:
    """The plan's, with what the date of the morning and the air call for."""
    country = ready.looking.country
    planned = current_rules(country, ready.looking.plan.light.date)
    told = [one for one in ready.looking.plan.cautions if one not in planned]
    told[len(ALWAYS) : len(ALWAYS)] = current_rules(country, day)
    if may_freeze(day, ready.looking.country) and FREEZING not in told:
        told.append(FREEZING)
    return [*told, AIR, SUN]


def _second(when: dt.datetime) -> dt.datetime:
    """Cut to the second."""
    return when.replace(microsecond=0)


def _reason(f: Finding) -> Reason:
    return Reason(
        kind=f.kind, severity=f.severity, size=min(1.0, max(0.0, f.size)), of=f.of,
        begin=None if f.begin is None else _second(f.begin), until=None if f.until is None else _second(f.until),
    )  # fmt: skip


def _hours(span: Span) -> Hours:
    return Hours(begin=_second(span.begin), until=_second(span.end))


def _pocket(dawn: Dawn, watched: Watched, out: PackOut | None, sat: Sat, settings: Settings) -> MorningPocket:
    east = sat.sky.light.declination_deg  # of the morning's own date, not the plan's
    return MorningPocket(
        id=dawn.pocket.id,
        name=dawn.pocket.name,
        share=dawn.sees.share,
        distance_m=dawn.sees.distance_m,
        bearing_true_deg=dawn.sees.bearing_true_deg,
        bearing_magnetic_deg=None if east is None else (dawn.sees.bearing_true_deg - east) % 360.0,
        weight=dawn.weight,
        sun_from=watched.sun_from,
        sun_half=watched.sun_half,
        glass=[_hours(s) for s in watched.glass],
        moves=_hours(moves(watched, sat.facts, settings.sit)) if sat.facts.has_dawn else None,
        scent=[Scent(at=_second(w.at), share=w.share, doubtful=w.doubtful) for w in watched.whiffs],
        beds=[BedShade(id=b.id, shaded=[_hours(s) for s in b.shaded]) for b in watched.beds],
        sun_left=watched.sun_left,
        comes=_hours(rises(watched, sat.facts, settings.sit)) if sat.facts.has_dusk else None,
        carry=None if out is None else _carry(out, settings.pack, dark=sat.facts.kind == "dusk"),
    )


def _carry(out: PackOut, pack: PackSettings, *, dark: bool) -> Carry:
    def known(value: float) -> float | None:
        return value if np.isfinite(value) else None

    return Carry(
        weight_kg=out.loads.weight_kg, people=pack.people, trips=out.loads.trips, each_kg=out.loads.each_kg,
        loaded_seconds=known(out.loaded_seconds), hours=known(out.hours), hours_high=known(out.hours_high),
        hours_limit=out.hours_limit, veto=out.veto, dark=dark,
    )  # fmt: skip


def _also_scented(ready: MorningReady, sat: Sat) -> list[str]:
    """Pockets out of sight that the lookout's air reaches at the hour that decides."""
    settings = ready.looking.country.settings
    blown = drift(sat.key, *ready.cell(sat.lookout), settings=settings.air).scent
    watched = {d.pocket.id for d in sat.dawns}
    return [
        pocket.id
        for pocket, cells in zip(ready.looking.plan.pockets, ready.looking.cells, strict=True)
        if pocket.id not in watched and reaches_share(blown, cells) > settings.sit.scent_care
    ]


def _hours_looked_at(sky: DaySky, kind: SitKind) -> tuple[dt.datetime, dt.datetime]:
    """The two hours at which the air of every kept lookout is looked at: the one that decides, and another."""
    return key_moment(sky, kind), other_moment(sky, kind)


def options(ready: MorningReady, sat: Sat, judged: Judgement, wind: GeneralWind) -> list[Option]:
    """The kept lookouts for this wind: clean ones first, the best of them first.

    Of the lookout asked for the whole sit is known, and it is not called clean where its verdict says otherwise.
    """
    kept = ready.looking.plan.lookouts
    found: dict[int, Option] = {}

    def look(i: int) -> None:
        found[i] = _option(ready, sat, kept[i], wind)
        if kept[i].id == sat.lookout.id:
            found[i] = _as_judged(found[i], judged)

    spread([partial(look, i) for i in range(len(kept))])
    limit = ready.looking.country.settings.sit.scent_care
    return sorted(
        found.values(),
        key=lambda o: (
            o.scent > limit, bool(o.blown_at), bool(o.other_at), bool(o.close), -o.worth, o.lookout,
        ),
    )  # fmt: skip


def _as_judged(option: Option, judged: Judgement) -> Option:
    """With the first hour and the pocket of what the verdict says of its air."""
    told = sorted(
        (f.begin, f.of)
        for f in judged.reasons
        if f.kind in {"scent", "wind toward", "leave before"} and f.begin is not None and f.of is not None
    )
    if not told:
        return option.model_copy(update={"other": None, "other_at": []})
    begin, of = told[0]
    return option.model_copy(update={"other": _second(begin), "other_at": [of]})


def _option(ready: MorningReady, sat: Sat, lookout: Lookout, wind: GeneralWind) -> Option:
    """One of them, in the wind said, in calm air, and in winds a little weaker and stronger."""
    cell, dawns, kept = ready.cell(lookout), dawns_of(ready, lookout), ready.approach(lookout)
    about, (when, other) = sat.sky.about(cell), _hours_looked_at(sat.sky, sat.facts.kind)
    said, calm = met_in(ready, about, dawns, cell, about.sky.fields(when, [wind, CALM]))
    (later,) = met_in(ready, about, dawns, cell, about.sky.fields(other, [wind]))
    smelled = sum(d.weight * share for d, share in zip(dawns, later.shares, strict=True))
    spoilt = smelled > ready.looking.country.settings.sit.scent_care
    other_at = [
        d.pocket.id
        for d, share, at_it in zip(dawns, later.shares, later.blown, strict=True)
        if at_it or (spoilt and share > 0.0)
    ]
    (close,) = close_calls(ready, sat.sky, dawns, cell, when, [wind])
    scent, scent_calm = (
        sum(d.weight * share for d, share in zip(dawns, one.shares, strict=True)) for one in (said, calm)
    )
    blown = [d.pocket.id for d, at_it in zip(dawns, said.blown, strict=True) if at_it]
    return Option(
        lookout=lookout.id,
        worth=lookout.worth,
        scent=scent,
        scent_calm=scent_calm,
        blown_at=blown,
        leave_by=_leave_by(ready, sat, kept),
        start=None if kept is None else kept.start.name,
        close=[name for name in close if name not in blown],
        other_at=other_at,
        other=_second(other) if other_at else None,
    )


def _leave_by(ready: MorningReady, sat: Sat, kept: Approach | None) -> dt.datetime | None:
    """When to leave for a lookout at dawn, by the plan's own way to it."""
    usable = sat.sky.light.usable_from if sat.facts.has_dawn else None
    if kept is None or usable is None:
        return None
    slow_s = kept.seconds_high + 60.0 * ready.looking.country.settings.watch.settle_minutes
    return (usable - dt.timedelta(seconds=slow_s)).replace(second=0, microsecond=0)


def _calm(wind: WindAsked, sit: SitKind) -> list[str]:
    hours = {"dawn": "morning", "dusk": "evening", "day": "day"}[sit]
    told = f'no wind was given: the air is reckoned for a calm, clear {hours}; give --wind "SW 8mph", or set sit.wind'
    return [told] if wind.words is None else []


def _not_known(ready: MorningReady, day: dt.date, magnetic: float | None) -> list[str]:
    told = list(ready.looking.plan.not_known)
    profile: Profile = find_profile(ready.looking.country)
    first, last = profile.season
    out = [words for words in told if words.startswith("the date lies outside the season")]
    if not first <= f"{day:%m-%d}" <= last and not out:
        told.append(
            f"the date lies outside the season of the profile {profile.name} ({first} to {last}): its weights may not hold"
        )
    if magnetic is None and ready.looking.plan.light.declination_deg is not None:
        told.append("no magnetic bearings: the date lies outside the World Magnetic Model's span 2025-2029")
    if day != ready.looking.plan.light.date:
        told.append(
            f"the pockets and lookouts are those of the plan for {ready.looking.plan.light.date.isoformat()}: for "
            "another season plan again with that date"
        )
    return told


def calendar(
    ready: MorningReady,
    name: str,
    first: dt.date,
    last: dt.date,
    *,
    wind: str | None = None,
    sit: SitKind = "dawn",
    tick: Tick = silent,
) -> list[CalendarDay]:
    """Mornings of a span of dates at one lookout, sampled evenly (at most 12, both ends among them).

    Raises
    ------
    BadInput
        The span runs backward or is longer than a year; as `morning`, but for dates without a morning, which are told.
    """
    check_span(first, last)
    days = (last - first).days
    general = wind_asked(ready.looking.country.settings, wind).general
    lookout = ready.lookout(name)
    steps = np.unique(np.linspace(0, days, min(days + 1, MOST_DATES)).round().astype(np.int64))
    told = []
    for i, step in enumerate(steps):
        told.append(_of_day(ready, lookout, first + dt.timedelta(days=int(step)), general, sit))
        tick((i + 1) / len(steps))
    return told


def _of_day(
    ready: MorningReady, lookout: Lookout, date: dt.date, wind: GeneralWind, sit: SitKind
) -> CalendarDay:
    try:
        light = ready.day(date).light
        check_light(light, sit, ready.looking.country.settings.usable_light_sun_deg)
    except BadInput:  # no usable light begins
        return CalendarDay(
            date=date, usable_from=None, sunrise=None, sun_half=None, leave_by=None, verdict=None, decides=[]
        )
    sat = sit_at(ready, lookout, date, wind, kind=sit)
    found = judge(sat.facts, ready.looking.country.settings.sit)
    main = max(sat.facts.pockets, key=lambda p: (p.weight, p.id), default=None)
    return CalendarDay(
        date=date,
        usable_from=sat.facts.usable_from,
        sunrise=sat.facts.sunrise,
        sun_half=None if main is None else main.sun_half,
        leave_by=None if sat.facts.walk is None else sat.facts.walk.leave_by,
        verdict=found.verdict,
        decides=[_reason(f) for f in found.decides],
        against=min(1.0, sum(f.size for f in found.reasons if f.severity)),
        open_minutes=None
        if main is None
        else _open_minutes(main, sat.facts, ready.looking.country.settings.sit),
    )


def _open_minutes(main: Watched, facts: SitFacts, settings: SitSettings) -> float:
    return sum((span.end - span.begin).total_seconds() for span in out(main, facts, settings)) / 60.0

"""Where the mornings left are worth most: a row of sits by odds, sight, wind, walk and rest."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray
from shapely import Point

from graylight.approach.way import leave_by
from graylight.chance.allocation import allocate
from graylight.chance.mornings import MOST_ROWS, Campaign, Row, best_row, rested, worth_of
from graylight.errors import BadInput
from graylight.grid import LonLat, RowCol, distance_m
from graylight.plan.cautions import ALWAYS
from graylight.plan.composing import PROGRAM
from graylight.plan.effort import Searched, Sitting, glass_named, searched
from graylight.plan.model import Approach, Lookout
from graylight.plan.morning_sky import day_sky, reaches_share
from graylight.plan.notebook import Notebook
from graylight.plan.odds import Found, day_number
from graylight.plan.odds_told import not_known, odds_now
from graylight.plan.on_foot import lands_on_foot, water_of
from graylight.plan.record import Outing, Record
from graylight.plan.record_model import Better, HoursFor, LookoutWorth, Move, Next, Sit
from graylight.plan.record_words import SOME, why_words
from graylight.plan.wind_asked import WindAsked, wind_asked
from graylight.reach.walking import reach
from graylight.sight.optics import Glass
from graylight.sky.drift import drift
from graylight.sky.light import light_of_day
from graylight.sky.wind import air_ground
from graylight.work import Tick, part, silent

__all__ = ["Asked", "next_sits", "whole_morning"]

Values: TypeAlias = NDArray[np.float64]

MOST_MORNINGS = 14
STAYS_MIN = (60, 90, 120, 150)
"""When a move in the middle of a morning is tried, minutes after usable light."""
MOVE_LIMIT_S = 5400.0
LEAST_SIT = dt.timedelta(minutes=30)
NEARER_S = 1200.0
"""A walk shorter by so much is worth a little less found. Proposed."""
LEAST_HOURS = 0.25
WORTH_HAVING = 0.03
"""Pockets with less chance than this are not said to be out of sight. Proposed."""
SAT_NEAR_M = 150.0
"""A place of one's own this near to a lookout counts as it."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked: how many mornings from which date (None: the day after the last entry), wind, glasses."""

    mornings: int
    date: dt.date | None = None
    wind: str | None = None
    glasses: str | None = None


@dataclass(frozen=True, slots=True)
class _Case:
    """All that the proposal rests on.

    Parameters
    ----------
    found
        The odds.
    light
        Of the first morning: usable light, and when the watch ends. The next days' is taken as the same by the
        clock: it moves by a minute or two a day.
    dates
        The mornings.
    sits
        What a whole morning at each lookout searches.
    scent : (lookouts, pockets) float64
        Part of each pocket that the air from each lookout reaches at dawn or an hour after sunrise.
    campaign
        The mornings to be shared out.
    """

    book: Notebook
    found: Found
    light: tuple[dt.datetime, dt.datetime]
    dates: tuple[dt.date, ...]
    seats: tuple[Lookout, ...]
    glasses: tuple[Glass, ...]
    sits: tuple[Searched, ...]
    scent: Values
    campaign: Campaign

    def approach(self, seat: Lookout) -> Approach | None:
        """The plan's way to a lookout."""
        return next((a for a in self.book.plan.approaches if a.lookout == seat.id), None)

    def shift(self, morning: int) -> dt.timedelta:
        """From the first morning to another."""
        return self.dates[morning] - self.dates[0]

    def worth(self, searches: Searched, seat: int) -> float:
        """Chance of finding, by the odds now, with what the air spoils taken off."""
        found = np.array(searches.found(len(self.found.odds.pockets)))
        return float(np.sum(np.array(self.found.odds.pockets) * found * (1.0 - self.scent[seat])))


def next_sits(book: Notebook, asked: Asked, *, tick: Tick = silent) -> Next:
    """Where to sit on the mornings left, and why.

    Raises
    ------
    BadInput
        No kept lookout, too many mornings, a wind or glass not understood, or a date without usable light.
    """
    wind = wind_asked(book.country.settings, asked.wind)
    case = _case(book, asked, part(tick, 0.0, 0.7))
    row = _shorter_walk(case, best_row(case.campaign))
    told = Next(
        program=PROGRAM, country=book.country.name, invented=book.country.invented, animal=book.plan.animal,
        timezone=book.timezone, wind=wind.told.said, wind_given=wind.told.given, wind_as_set=wind.as_set,
        glasses=[g.name for g in case.glasses], sits=[_sit(case, row, i) for i in range(len(row.lookouts))],
        lookouts=_worths(case, row), hours=_hours(case), better=_better(case, row),
        out_of_sight=_out_of_sight(case), **_view(case), elsewhere=case.found.odds.elsewhere, outings=case.found.counted[0],
        proved=float(len(case.seats)) ** len(case.dates) <= MOST_ROWS,
        cautions=list(ALWAYS), not_known=_not_known(case, wind),
    )  # fmt: skip
    tick(1.0)
    return told


# --- gathering -----------------------------------------------------------------------------------------------------


def _case(book: Notebook, asked: Asked, tick: Tick) -> _Case:
    if not 1 <= asked.mornings <= MOST_MORNINGS:
        raise BadInput(
            f"--mornings is {asked.mornings}; accepted is 1 to {MOST_MORNINGS}; give how many mornings are left"
        )
    seats = tuple(book.plan.lookouts)
    if not seats:
        raise BadInput(
            "the plan has no lookout to sit at; accepted is a plan with one or more; look why with 'graylight plan'"
        )
    record = book.record()
    glasses = _glasses(asked.glasses, record)
    first = asked.date or _first_date(book, record)
    light, scent = _sky(book, first, asked.wind, part(tick, 0.0, 0.8))
    found = odds_now(book, record, first)
    sits = tuple(searched([_whole(seat, light)], book.ground, glasses, weather="clear") for seat in seats)
    dates = tuple(first + dt.timedelta(days=i) for i in range(asked.mornings))
    tick(1.0)
    campaign = _campaign(book, record, found, [light[0] + (d - first) for d in dates], sits, scent)
    return _Case(book, found, light, dates, seats, glasses, sits, scent, campaign)


def _first_date(book: Notebook, record: Record) -> dt.date:
    """The day after the last outing; the plan's own before the first, or where that is later."""
    last = max((book.local(o.ended).date() for o in record.outings), default=None)
    planned = book.plan.light.date
    return planned if last is None else max(last + dt.timedelta(days=1), planned)


def _glasses(asked: str | None, record: Record) -> tuple[Glass, ...]:
    """As asked, else those of the last outing, else usual binoculars."""
    if asked is not None:
        return tuple(glass_named(name) for name in asked.split(","))
    last: Outing | None = max(record.outings, key=lambda o: o.began, default=None)
    return tuple(glass_named(name) for name in (("10x42",) if last is None else last.glasses))


def _sky(
    book: Notebook, date: dt.date, wind: str | None, tick: Tick
) -> tuple[tuple[dt.datetime, dt.datetime], Values]:
    """Usable light and end of the watch of a date, and scent by lookout and pocket."""
    general = wind_asked(book.country.settings, wind).general
    country, ready = book.country, book.ready
    closure = country.read("closure") if country.has("closure") else None
    air = air_ground(
        ready.survey.elevation_m, cell_m=country.grid.cell_m, convergence_deg=country.grid.convergence_deg(),
        closure=closure, settings=country.settings.air,
    )  # fmt: skip
    sky = day_sky(ready, country.with_settings(date=date.isoformat()), air)
    tick(0.5)
    usable, end = whole_morning(book, date)
    sunrise = sky.light.sunrise or usable
    scent = np.zeros((len(book.plan.lookouts), len(ready.cells)))
    for at in (usable, sunrise + dt.timedelta(minutes=60)):
        field = sky.field(at, general)
        for s, seat in enumerate(book.plan.lookouts):
            blown = drift(field, *_cell(book, seat), settings=country.settings.air).scent
            scent[s] = np.maximum(scent[s], [reaches_share(blown, cells) for cells in ready.cells])
    tick(1.0)
    return (usable, end), scent


def whole_morning(book: Notebook, date: dt.date) -> tuple[dt.datetime, dt.datetime]:
    """Usable light, and when the watch ends (`sit.watch_minutes` after sunrise).

    Raises
    ------
    BadInput
        No usable light begins on that date.
    """
    settings = book.country.settings
    light = light_of_day(book.country.grid.center, date, usable_sun_deg=settings.usable_light_sun_deg)
    if light.usable_from is None:
        raise BadInput(
            f"no usable light begins on {date.isoformat()} here; accepted is a date on which night ends; choose another date"
        )
    return light.usable_from, (light.sunrise or light.usable_from) + dt.timedelta(
        minutes=settings.sit.watch_minutes
    )


def _cell(book: Notebook, seat: Lookout) -> RowCol:
    return book.country.grid.rowcol(LonLat(seat.place.lon, seat.place.lat))


def _whole(seat: Lookout, light: tuple[dt.datetime, dt.datetime]) -> Sitting:
    return Sitting(LonLat(seat.place.lon, seat.place.lat), *light)


def _campaign(
    book: Notebook, record: Record, found: Found, mornings: Sequence[dt.datetime], sits: Sequence[Searched],
    scent: Values,
) -> Campaign:  # fmt: skip
    settings, seats = book.country.settings.record, book.plan.lookouts
    pods = np.array([one.found(len(book.plan.pockets)) for one in sits]) * (1.0 - scent)
    days = [day_number(at) for at in mornings]
    sat = [_sat_at(book, record, seat, mornings[0]) for seat in seats]
    spoilt = np.ones((len(days), len(seats)))
    for s, outings in enumerate(sat):
        for outing in (o for o in outings if o.pushed):
            for m, day in enumerate(days):
                gone = day - day_number(outing.began)
                rest = rested(gone, rest_days=settings.pushed_days, part=settings.pushed_part)
                plain = rested(gone, rest_days=settings.rest_days, part=settings.rest_part)
                spoilt[m, s] = min(spoilt[m, s], rest / plain)
    idle = [found.at - max((day_number(o.began) for o in outings), default=-np.inf) for outings in sat]
    return Campaign(
        found.odds, found.prior, pods[None] * spoilt[:, :, None], np.array(idle), float(settings.rest_days),
        settings.rest_part, tuple(day - found.at for day in days), settings.fade_days,
    )  # fmt: skip


def _sat_at(book: Notebook, record: Record, seat: Lookout, before: dt.datetime) -> list[Outing]:
    """Outings at a lookout or a place beside it, also at the end of a track."""
    here = LonLat(seat.place.lon, seat.place.lat)
    return [o for o in record.outings if o.began < before and _sat_by(o, seat.id, here, book.point(here))]


def _sat_by(outing: Outing, name: str, here: LonLat, point: Point) -> bool:
    if not outing.track:
        return outing.lookout == name or float(outing.point.distance(point)) <= SAT_NEAR_M
    near = [distance_m(here, LonLat(fix.lon, fix.lat)) <= SAT_NEAR_M for fix in outing.track]
    stayed = [
        b.at - a.at for (a, b), both in zip(pairwise(outing.track), pairwise(near), strict=True) if all(both)
    ]
    return sum(stayed, dt.timedelta()) >= LEAST_SIT


# --- choosing ------------------------------------------------------------------------------------------------------


def _shorter_walk(case: _Case, best: Row) -> Row:
    """The same row with another first lookout, where that gives nearly as much, also that day, and lies much nearer."""
    limit = 1.0 - case.book.country.settings.record.near_best
    first = case.seats[best.lookouts[0]].walk_seconds
    chosen = best
    for j, seat in enumerate(case.seats):
        if first is None or seat.walk_seconds is None or seat.walk_seconds > first - NEARER_S:
            continue
        other = worth_of(case.campaign, (j, *best.lookouts[1:]))
        if other.found >= limit * best.found and other.each[0] >= limit * best.each[0]:
            chosen, first = other, seat.walk_seconds
    return chosen


def _better(case: _Case, row: Row) -> Better:
    """The row beside sharing out equally, and beside always watching the best-ranked pocket."""
    mornings = len(case.dates)
    seats = len(case.seats)
    turns = [worth_of(case.campaign, [(i + k) % seats for i in range(mornings)]).found for k in range(seats)]
    pods = case.campaign.found[0]
    order = sorted(range(pods.shape[1]), key=lambda p: (-case.found.odds.pockets[p], p))
    shown = next((p for p in order if pods[:, p].max() > 0.0), order[0] if order else 0)
    ranked = [int(np.argmax(pods[:, shown]))] * mornings
    return Better(
        proposed=row.found, equal=float(np.mean(turns)),
        ranked=worth_of(case.campaign, ranked).found,
    )  # fmt: skip


def _move(case: _Case, seat: int, sat: float) -> Move | None:
    """The best move in the middle of the first morning, if it gains enough."""
    land, _ = lands_on_foot(case.book.ready, water_of(case.book.ready))
    here = _cell(case.book, case.seats[seat])
    walked = reach(
        land.elevation_m, land.ground, ([here.row], [here.col]), cell_m=land.cell_m,
        settings=case.book.country.settings.walk, limit_s=MOVE_LIMIT_S,
    )  # fmt: skip
    best: tuple[float, Move] | None = None
    usable, end = case.light
    for j, other in enumerate(case.seats):
        seconds = float(walked.seconds[_cell(case.book, other)])
        if j == seat or not np.isfinite(seconds):
            continue
        for stay in STAYS_MIN:
            up = usable + dt.timedelta(minutes=stay)
            there = up + dt.timedelta(seconds=seconds)
            if there + LEAST_SIT > end:
                break
            found = _in_turn(case, (seat, usable, up), (j, there, end))
            if best is None or found > best[0] + 1e-9:
                best = found, Move(to=other.id, at=up, walk_seconds=seconds, found=found)
    gain = 1.0 + case.book.country.settings.record.move_gain
    return best[1] if best is not None and best[0] >= gain * sat and best[0] > 0.0 else None


def _in_turn(case: _Case, *stays: tuple[int, dt.datetime, dt.datetime]) -> float:
    """Chance of finding at some lookouts one after the other."""
    left = np.array(case.found.odds.pockets)
    whole = left.sum()
    for seat, begin, end in stays:
        place = LonLat(case.seats[seat].place.lon, case.seats[seat].place.lat)
        one = searched([Sitting(place, begin, end)], case.book.ground, case.glasses, weather="clear")
        left = left * (1.0 - np.array(one.found(len(left))) * (1.0 - case.scent[seat]))
    return float(whole - left.sum())


# --- telling -------------------------------------------------------------------------------------------------------


def _sit(case: _Case, row: Row, i: int) -> Sit:
    seat = row.lookouts[i]
    lookout, way = case.seats[seat], case.approach(case.seats[seat])
    usable, end = (at + case.shift(i) for at in case.light)
    settings = case.book.country.settings
    leave = None
    if way is not None:
        leave = leave_by(usable, way.seconds_high, settings.watch.settle_minutes)
    watch = case.book.tell_searched(case.sits[seat].efforts)
    return Sit(
        date=case.dates[i], lookout=lookout.id, place=lookout.place, found=row.each[i], watch=watch[:4],
        walk_seconds=lookout.walk_seconds, leave_by=leave, usable_from=usable, until=end,
        rest=_rest(case, row, i), scent=_scent_on(case, seat),
        move=_move(case, seat, case.worth(case.sits[seat], seat)) if i == 0 else None,
        why=_why(case, row, i),
    )  # fmt: skip


def _rest(case: _Case, row: Row, i: int) -> float:
    """What rest leaves of a sit."""
    plan, seat = case.campaign, row.lookouts[i]
    last = max([plan.days[k] for k in range(i) if row.lookouts[k] == seat], default=-float(plan.idle[seat]))
    rest = rested(plan.days[i] - last, rest_days=plan.rest_days, part=plan.rest_part)
    fresh = np.array(case.sits[seat].found(len(case.found.odds.pockets))) * (1.0 - case.scent[seat])
    total = float(fresh.sum())
    return rest * (float(plan.found[i, seat].sum()) / total if total > 0.0 else 1.0)


def _scent_on(case: _Case, seat: int) -> float:
    """Part of what a lookout watches that its air reaches."""
    weight = np.array(case.sits[seat].found(len(case.found.odds.pockets))) * np.array(case.found.odds.pockets)
    return float(np.average(case.scent[seat], weights=weight)) if weight.sum() > 0.0 else 0.0


def _why(case: _Case, row: Row, i: int) -> list[str]:
    """What speaks for a sit: what it watches and what the record says of that."""
    told = []
    efforts = sorted(
        case.sits[row.lookouts[i]].efforts, key=lambda e: -e.found.likely * case.found.odds.pockets[e.pocket]
    )
    for effort in efforts[:2]:
        pocket = case.book.plan.pockets[effort.pocket]
        words = why_words(case.found.pockets[effort.pocket]) or ["not searched yet"]
        told.append(f"{pocket.id}: {'; '.join(words)}")
    again = [k for k in range(i) if row.lookouts[k] == row.lookouts[i]]
    if again:
        told.append(f"the {_nth(len(again) + 1)} of these mornings there")
    return told


def _nth(count: int) -> str:
    return {2: "second", 3: "third"}.get(count, f"{count}th")


def _worths(case: _Case, row: Row) -> list[LookoutWorth]:
    """Every lookout on the first morning, best first."""
    found, chosen = [], worth_of(case.campaign, row.lookouts[:1])
    for j, seat in enumerate(case.seats):
        usable = case.light[0]
        hour = searched(
            [_whole(seat, (usable, usable + dt.timedelta(hours=1)))],
            case.book.ground,
            case.glasses,
            weather="clear",
        )
        first = worth_of(case.campaign, (j,))
        rest = _rest(case, first, 0)
        found.append(
            LookoutWorth(
                lookout=seat.id, first_hour=case.worth(hour, j) * rest, morning=first.found,
                walk_seconds=seat.walk_seconds, scent=_scent_on(case, j), rest=rest,
                why_not=None if j == row.lookouts[0] else _why_not(case, j, rest, first.found > chosen.found),
            )
        )  # fmt: skip
    return sorted(found, key=lambda one: (-one.morning, one.lookout))


def _why_not(case: _Case, seat: int, rest: float, more: bool) -> str:
    """What speaks against a lookout most; `more`: it would find more on that morning than the one proposed."""
    if more:
        return "a little more, for a longer walk or at the cost of the later mornings"
    if _scent_on(case, seat) > case.book.country.settings.sit.scent_spoils:
        return "its air reaches what it watches"
    if rest < 0.95:
        return "sat at lately: let it rest"
    efforts = sorted(case.sits[seat].efforts, key=lambda e: -e.share.likely)
    if not efforts:
        return "it shows no pocket"
    told = case.found.pockets[efforts[0].pocket]
    pocket = case.book.plan.pockets[efforts[0].pocket].id
    if told.searched >= SOME and not told.sightings:
        return f"{pocket}: {why_words(told)[-1]}"
    share = 5 * round(20.0 * efforts[0].share.likely)
    return f"it shows {share} % of {pocket}, where the chance is {100.0 * told.chance.likely:.0f} %"


def _hours(case: _Case) -> list[HoursFor]:
    """Hours for each pocket, were every hour spent where it is worth most (Charnes & Cooper)."""
    span = (case.light[1] - case.light[0]).total_seconds() / 3600.0
    shows = case.book.country.settings.record.shows
    chance, rate = [], []
    for p in range(len(case.found.odds.pockets)):
        best = max(
            (e for one in case.sits for e in one.efforts if e.pocket == p),
            key=lambda e: e.found.likely,
            default=None,
        )
        cap = 0.0 if best is None else shows * best.share.likely
        part_found = 0.0 if best is None or cap <= 0.0 else min(best.found.likely / cap, 0.999)
        chance.append(case.found.odds.pockets[p] * cap)
        rate.append(-float(np.log1p(-part_found)) / span)
    given = allocate(chance, rate, span * len(case.dates))
    order = sorted(range(len(chance)), key=lambda p: (-given.hours[p], p))
    pockets = case.book.plan.pockets
    return [
        HoursFor(pocket=pockets[p].id, name=pockets[p].name, hours=given.hours[p])
        for p in order if given.hours[p] >= LEAST_HOURS
    ]  # fmt: skip


def _out_of_sight(case: _Case) -> list[str]:
    """Pockets worth having that no kept lookout shows."""
    shown = {e.pocket for one in case.sits for e in one.efforts}
    pockets = case.book.plan.pockets
    return [
        pockets[p].id
        for p in sorted(range(len(pockets)), key=lambda p: (-case.found.odds.pockets[p], p))
        if p not in shown and pockets[p].shut is None and case.found.odds.pockets[p] >= WORTH_HAVING
    ]


def _view(case: _Case) -> dict[str, Any]:
    """How much of the chance is in view of the kept lookouts, and whether these were chosen by the record as it is."""
    shown = {e.pocket for one in case.sits for e in one.efforts}
    odds = case.found.odds.pockets
    used = case.book.plan.record
    counted = (0, 0, 0) if used is None else (used.outings, used.sightings, used.sign)
    return {
        "in_view": sum(p for i, p in enumerate(odds) if i in shown),
        "out_of_view": sum(p for i, p in enumerate(odds) if i not in shown),
        "newer_than_plan": counted != case.found.counted,
    }


def _not_known(case: _Case, wind: WindAsked) -> list[str]:
    told = not_known(case.book)
    if wind.words is None:
        told.insert(
            0,
            'no wind was given: the air is reckoned for calm, clear mornings; give --wind "SW 8mph", or set sit.wind',
        )
    elif len(case.dates) > 1:
        told.insert(
            0, "the wind given is taken for every morning: ask again each evening with the new forecast"
        )
    return told

"""Where the mornings left are worth most: a row of sits by odds, sight, wind, walk and rest."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from graylight.approach.way import leave_by
from graylight.chance.allocation import allocate
from graylight.chance.mornings import MOST_ROWS, Row, best_row, rested, worth_of
from graylight.grid import LonLat
from graylight.plan.cautions import ALWAYS
from graylight.plan.composing import PROGRAM
from graylight.plan.effort import Effort, Searched, Sitting, searched
from graylight.plan.next_case import (
    LEAST_SIT,
    MOST_MORNINGS,
    Asked,
    Case,
    Seat,
    cell_of,
    gathered,
    whole_morning,
    whole_sitting,
)
from graylight.plan.notebook import Notebook
from graylight.plan.odds_told import not_known
from graylight.plan.on_foot import lands_on_foot, water_of
from graylight.plan.record_model import Better, HoursFor, LookoutWorth, Move, Next, OwnWorth, Sit
from graylight.plan.record_words import SOME, why_words
from graylight.plan.wind_asked import wind_words
from graylight.reach.walking import reach
from graylight.work import Tick, part, silent

__all__ = ["MOST_MORNINGS", "Asked", "next_sits", "whole_morning"]

STAYS_MIN = (60, 90, 120, 150)
"""When a move in the middle of a morning is tried, minutes after usable light."""
MOVE_LIMIT_S = 5400.0
NEARER_S = 1200.0
"""A walk shorter by so much is worth a little less found. Proposed."""
LEAST_HOURS = 0.25
SEEN_OWN = 0.05
"""An outing that found with less chance than this did not show a pocket. Proposed."""
TOLD = 2
"""Pockets of a sit that are told with their reasons; each once in a row of sits."""
RESTED = 0.95
"""From this part of a rested sit on nothing is said of rest."""
WORTH_HAVING = 0.03
"""Pockets with less chance than this are not said to be out of sight. Proposed."""


def next_sits(book: Notebook, asked: Asked, *, tick: Tick = silent) -> Next:
    """Where to sit on the mornings left, and why.

    Raises
    ------
    BadInput
        No kept lookout, too many mornings, a wind or glass not understood, or a date without usable light.
    """
    heard = wind_words(book.country.settings, asked.wind)
    asked = replace(asked, wind=heard.words)
    case = gathered(book, asked, tick=part(tick, 0.0, 0.7))
    row = _shorter_walk(case, best_row(case.campaign))
    told = Next(
        program=PROGRAM, country=book.country.name, invented=book.country.invented, animal=book.plan.animal,
        timezone=book.timezone, wind=_wind(case), wind_given=any(one.given for one in case.winds), wind_as_set=heard.as_set,
        glasses=[g.name for g in case.glasses], sits=[_sit(case, row, i) for i in range(len(row.lookouts))],
        lookouts=_worths(case, row), own=_own(case), hours=_hours(case), better=_better(case, row),
        out_of_sight=_out_of_sight(case), seen_from_own=_seen_from_own(case), **_view(case),
        elsewhere=case.found.odds.elsewhere, outings=case.found.counted[0], sightings=case.found.counted[1],
        sign=case.found.counted[2],
        proved=float(len(case.seats)) ** len(case.dates) <= MOST_ROWS,
        cautions=[*ALWAYS, *_strong(case)], not_known=_not_known(case, asked),
    )  # fmt: skip
    tick(1.0)
    return told


# --- choosing ------------------------------------------------------------------------------------------------------


def _shorter_walk(case: Case, best: Row) -> Row:
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


def _better(case: Case, row: Row) -> Better:
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


def _move(case: Case, seat: int, sat: float) -> Move | None:
    """The best move in the middle of the first morning, if it gains enough."""
    land, _ = lands_on_foot(case.book.ready, water_of(case.book.ready))
    here = cell_of(case.book, case.seats[seat])
    walked = reach(
        land.elevation_m, land.ground, ([here.row], [here.col]), cell_m=land.cell_m,
        settings=case.book.country.settings.walk, limit_s=MOVE_LIMIT_S,
    )  # fmt: skip
    best: tuple[float, Move] | None = None
    usable, end = case.light
    for j, other in enumerate(case.seats):
        seconds = float(walked.seconds[cell_of(case.book, other)])
        blown = _scent_on(case, 0, j) > case.book.country.settings.sit.scent_care
        if j == seat or blown or not np.isfinite(seconds):
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


def _in_turn(case: Case, *stays: tuple[int, dt.datetime, dt.datetime]) -> float:
    """Chance of finding at some lookouts one after the other."""
    left = np.array(case.found.odds.pockets)
    whole = left.sum()
    for seat, begin, end in stays:
        place = LonLat(case.seats[seat].place.lon, case.seats[seat].place.lat)
        one = searched([Sitting(place, begin, end)], case.book.ground, case.glasses, weather="clear")
        left = left * (1.0 - case.finds(one, seat))
    return float(whole - left.sum())


# --- telling -------------------------------------------------------------------------------------------------------


def _sit(case: Case, row: Row, i: int) -> Sit:
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
        rest=_rest(case, row, i), scent=_scent_on(case, i, seat), wind=case.winds[i].words,
        wind_given=case.winds[i].given,
        move=_move(case, seat, case.worth(case.sits[seat], seat)) if i == 0 else None,
        why=_why(case, row, i),
    )  # fmt: skip


def _rest(case: Case, row: Row, i: int) -> float:
    """What rest leaves of a sit."""
    plan, seat = case.campaign, row.lookouts[i]
    last = max([plan.days[k] for k in range(i) if row.lookouts[k] == seat], default=-float(plan.idle[seat]))
    rest = rested(plan.days[i] - last, rest_days=plan.rest_days, part=plan.rest_part)
    fresh = np.array(case.sits[seat].found(len(case.found.odds.pockets))) * (1.0 - case.scent[i, seat])
    total = float(fresh.sum())
    return rest * (float(plan.found[i, seat].sum()) / total if total > 0.0 else 1.0)


def _scent_on(case: Case, morning: int, seat: int) -> float:
    """Part of what a lookout watches that its air reaches on a morning."""
    weight = np.array(case.sits[seat].found(len(case.found.odds.pockets))) * np.array(case.found.odds.pockets)
    return float(np.average(case.scent[morning, seat], weights=weight)) if weight.sum() > 0.0 else 0.0


def _why(case: Case, row: Row, i: int) -> list[str]:
    """What speaks for a sit: what it watches and what the record says of that."""
    told = []
    efforts = _by_worth(case, row, i)
    said = {e.pocket for k in range(i) for e in _by_worth(case, row, k)[:TOLD]}
    for effort in efforts[:TOLD]:
        if effort.pocket in said:
            continue
        words = why_words(case.found.pockets[effort.pocket])
        # the sits before this one search it, if they were not told for it
        before = any(effort.pocket == e.pocket for k in range(i) for e in case.sits[row.lookouts[k]].efforts)
        if words or not before:
            told.append(
                f"{case.book.plan.pockets[effort.pocket].id}: {'; '.join(words) or 'not searched yet'}"
            )
    reached = [
        case.book.plan.pockets[e.pocket].id
        for e in efforts
        if case.scent[i, row.lookouts[i], e.pocket] > case.book.country.settings.sit.scent_care
    ]
    if reached:
        told.append(f"its air goes to {' and '.join(reached[:3])}")
    again = [k for k in range(i) if row.lookouts[k] == row.lookouts[i]]
    if again:
        told.append(f"the {_NTH[len(again) + 1]} of these mornings there")
    return [*told, *_unrested(case, row, i)]


def _by_worth(case: Case, row: Row, i: int) -> list[Effort]:
    """What a sit searches, what is worth most first."""
    odds = case.found.odds.pockets
    return sorted(case.sits[row.lookouts[i]].efforts, key=lambda e: -e.found.likely * odds[e.pocket])


def _unrested(case: Case, row: Row, i: int) -> list[str]:
    """Why a sit is worth less than a rested one, where it is: told but for the sits of the row itself."""
    plan, seat = case.campaign, row.lookouts[i]
    days = plan.days[i] + float(plan.idle[seat])
    told = []
    if rested(days, rest_days=plan.rest_days, part=plan.rest_part) < RESTED and seat not in row.lookouts[:i]:
        told.append("sat at lately")
    fresh = np.array(case.sits[seat].found(len(case.found.odds.pockets))) * np.array(case.found.odds.pockets)
    if float((fresh * case.left[i, seat]).sum()) < RESTED * float(fresh.sum()):
        told.append("animals were pushed from what it shows")
    return told


_NTH = (
    "", "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth", "eleventh", "twelfth",
    "thirteenth", "fourteenth",
)  # fmt: skip


def _worths(case: Case, row: Row) -> list[LookoutWorth]:
    """Every lookout on the first morning, best first."""
    found, chosen = [], worth_of(case.campaign, row.lookouts[:1])
    for j, seat in enumerate(case.seats):
        first = worth_of(case.campaign, (j,))
        rest = _rest(case, first, 0)
        found.append(
            LookoutWorth(
                lookout=seat.id, first_hour=case.worth(_first_hour(case, seat), j), morning=first.found,
                walk_seconds=seat.walk_seconds, scent=_scent_on(case, 0, j), rest=rest,
                why_not=None if j == row.lookouts[0] else _why_not(case, j, rest, first.found > chosen.found),
            )
        )  # fmt: skip
    return sorted(found, key=lambda one: (-one.morning, one.lookout))


def _first_hour(case: Case, seat: Seat) -> Searched:
    """What the first hour of light at a seat searches."""
    usable = case.light[0]
    sitting = whole_sitting(seat, (usable, usable + dt.timedelta(hours=1)))
    return searched([sitting], case.book.ground, case.glasses, weather="clear")


def _own(case: Case) -> list[OwnWorth]:
    """Places of the person's own on the first morning, best first: weighed as the lookouts are."""
    found = []
    for j, one in enumerate(case.own, start=len(case.seats)):
        shown = case.book.tell_searched(case.sits[j].efforts)
        found.append(
            OwnWorth(
                name=one.name, place=one.place, first_hour=case.worth(_first_hour(case, one), j),
                morning=worth_of(case.every, (j,)).found, walk_seconds=one.walk_seconds,
                scent=_scent_on(case, 0, j), rest=case.rest(j), watch=shown[:4],
            )
        )  # fmt: skip
    return sorted(found, key=lambda one: (-one.morning, one.name))


def _why_not(case: Case, seat: int, rest: float, more: bool) -> str:
    """What speaks against a lookout most; `more`: it would find more on that morning than the one proposed."""
    if more:
        return "a little more, for a longer walk or at the cost of the later mornings"
    if _scent_on(case, 0, seat) > case.book.country.settings.sit.scent_spoils:
        return "its air goes to what it watches"
    if rest < RESTED:
        lately = case.rest(seat) < RESTED
        return (
            "sat at lately: let it rest" if lately else "animals were pushed from what it shows: let it rest"
        )
    efforts = sorted(case.sits[seat].efforts, key=lambda e: -e.share.likely)
    if not efforts:
        return "it shows no pocket"
    told = case.found.pockets[efforts[0].pocket]
    pocket = case.book.plan.pockets[efforts[0].pocket].id
    if told.searched >= SOME and not told.sightings:
        return f"{pocket}: {why_words(told)[-1]}"
    share = 5 * round(20.0 * efforts[0].share.likely)
    return f"it shows {share} % of {pocket}, where the chance is {100.0 * told.chance.likely:.0f} %"


def _hours(case: Case) -> list[HoursFor]:
    """Hours for each pocket, were every hour spent where it is worth most (Charnes & Cooper).

    As the mean of the mornings, and as these have it: the odds of each day, what scent and pushes spoil, and the rest that
    lookouts sat at lately still want by then, days off being rest. That sits to come tire a lookout is not in it: hours
    have no row.
    """
    span = (case.light[1] - case.light[0]).total_seconds() / 3600.0
    shows = case.book.country.settings.record.shows
    worths = _mean_worths(case)
    chance, rate = [], []
    for p in range(len(case.found.odds.pockets)):
        told = [
            (float(worths[s, p]), e) for s, one in enumerate(case.kept) for e in one.efforts if e.pocket == p
        ]
        worth, effort = max(told, key=lambda one: one[0], default=(0.0, None))
        if effort is None or worth <= 0.0:
            chance.append(0.0)
            rate.append(0.0)
            continue
        cap = shows * effort.share.likely
        chance.append(worth * cap / effort.found.likely)
        rate.append(-float(np.log1p(-min(effort.found.likely / cap, 0.999))) / span)
    given = allocate(chance, rate, span * len(case.dates))
    order = sorted(range(len(chance)), key=lambda p: (-given.hours[p], p))
    pockets = case.book.plan.pockets
    return [
        HoursFor(pocket=pockets[p].id, name=pockets[p].name, hours=given.hours[p])
        for p in order if given.hours[p] >= LEAST_HOURS
    ]  # fmt: skip


def _mean_worths(case: Case) -> NDArray[np.float64]:
    """(lookouts, pockets) chance that a sit finds what uses a pocket, as the mean of the mornings."""
    plan = case.campaign
    total = np.zeros(plan.found.shape[1:])
    for odds, found, day in zip(plan.odds, plan.found, plan.days, strict=True):
        rest = [
            rested(day + float(idle), rest_days=plan.rest_days, part=plan.rest_part) for idle in plan.idle
        ]
        total += np.array(odds.pockets) * found * np.array(rest)[:, None]
    return np.asarray(total / len(plan.days), np.float64)


def _out_of_sight(case: Case) -> list[str]:
    """Pockets worth having that no kept lookout shows."""
    shown = {e.pocket for one in case.kept for e in one.efforts}
    pockets = case.book.plan.pockets
    return [
        pockets[p].id
        for p in sorted(range(len(pockets)), key=lambda p: (-case.found.odds.pockets[p], p))
        if p not in shown and pockets[p].shut is None and case.found.odds.pockets[p] >= WORTH_HAVING
    ]


def _seen_from_own(case: Case) -> list[str]:
    """Pockets out of sight from the lookouts that an outing had in sight from a place of its own."""
    seen = {
        e.pocket for one in case.found.searched.values() for e in one.efforts if e.found.likely >= SEEN_OWN
    }
    ids = case.book.places.ids
    return [name for name in _out_of_sight(case) if ids.index(name) in seen]


def _view(case: Case) -> dict[str, Any]:
    """How much of the chance is in view of the kept lookouts, and whether these were chosen by the record as it is."""
    shown = {e.pocket for one in case.kept for e in one.efforts}
    odds = case.found.odds.pockets
    used = case.book.plan.record
    counted = (0, 0, 0) if used is None else (used.outings, used.sightings, used.sign)
    return {
        "in_view": sum(p for i, p in enumerate(odds) if i in shown),
        "out_of_view": sum(p for i, p in enumerate(odds) if i not in shown),
        "newer_than_plan": counted != case.found.counted,
    }


def _wind(case: Case) -> str:
    """The winds of the mornings as they were said, one where all are the same."""
    words = [one.words for one in case.winds]
    return words[0] if len(set(words)) == 1 else "; ".join(words)


def _strong(case: Case) -> list[str]:
    """What to mind in strong wind; none where it is not."""
    if all(one.wind.speed_ms < case.book.country.settings.sit.wind_care_ms for one in case.winds):
        return []
    return [
        "In a wind this strong open tops are cold and dangerous, glasses shake, and animals keep to the lee: these chances do "
        "not know it"
    ]


def _not_known(case: Case, asked: Asked) -> list[str]:
    """What was not said or can't be known of the mornings, first of all their wind."""
    told = not_known(case.book, case.dates[0])
    without = [day for day, one in zip(case.dates, case.winds, strict=True) if not one.given]
    if len(without) == len(case.dates):
        return [
            'no wind was given: the air is reckoned for calm, clear mornings; give --wind "SW 8mph", one for each morning, or '
            "--wind forecast, or set sit.wind",
            *told,
        ]
    if without:
        days = " and ".join(day.isoformat() for day in without)
        told.insert(0, f"the forecast kept does not tell the wind for {days}: calm is assumed there")
    if (
        len(case.dates) > 1
        and asked.wind is not None
        and ";" not in asked.wind
        and case.winds[0].words == asked.wind
    ):
        told.insert(
            0, "the wind given is taken for every morning: ask again each evening with the new forecast"
        )
    return told

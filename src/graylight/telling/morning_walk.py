"""What a sit asks of the legs: the way in and the others, when to turn round, water, carrying an animal out."""

from __future__ import annotations

import datetime as dt

from graylight.plan.morning_model import ByWind, Carry, Morning, MorningWay, NearSeat, OtherWay
from graylight.telling import naming
from graylight.telling.paragraph import listed, sentence
from graylight.units import (
    Units,
    distance,
    duration,
    duration_range,
    height,
    in_units,
    load_each,
    share,
    weight,
)

__all__ = ["STEP", "by_wind", "carrying", "near", "other_ways", "taking", "water", "way"]

STEP = 5
"""Minutes to which the clock of a sit is told."""

FIRST_S, NOTICED_MIN = 300.0, 3.0
"""Shorter than this a difference or a stretch is the grid's."""
SAME_WAY = 0.5
"""The way out is the way in walked back where so much of it lies on it. Proposed."""
SOON = dt.timedelta(hours=3)
"""So long after the time to sit still a time to turn round still helps. Proposed."""
_WATER = {
    "lake": "a lake",
    "stream": "a stream",
    "spring": "a spring",
    "inferred stream": "a stream by the lie of the land",
}
_TRIPS = {1: "one trip", 2: "two trips", 3: "three trips"}


def way(m: Morning, units: Units) -> list[str]:
    """The way advised, how far it is noticed, its dangers, the way back, when to turn round."""
    taken = m.way
    if taken is None:
        return ['No start is known: give one to the plan with --start "PLACE".']
    when = "in the dark" if taken.dark else "by day"
    told = [
        f"{_which(taken)} from {taken.start.name}: {distance(taken.distance_m, units)}, "
        f"{height(taken.climb_m, units)} up and {height(taken.fall_m, units)} down, itself at most "
        f"{taken.steepest_deg:.0f}° steep; {taking(m, taken)} {when} with a day pack",
        _noticed(m, taken),
        *(in_units(words, units) for words in taken.hazards),
    ]
    told += _back(m, taken, units)
    if taken.turn_round_by is not None and _is_near(m, taken.turn_round_by):
        until = "no later than planned" if m.sit != "dawn" else "by civil dusk"
        by = naming.moment(taken.turn_round_by, m.light, step_minutes=5, way="earlier")
        told.append(f"not there by {by}, turn round wherever you are, to be out {until} (rule of thumb)")
    return [sentence(words) for words in told]


def taking(m: Morning, taken: MorningWay) -> str:
    """How long the way in takes; its slow end as the clock has it, so that leaving and sitting still add up."""
    settled = next((one.at for one in m.timeline if one.kind == "settled"), None)
    if taken.leave_by is None or settled is None:
        return duration_range(taken.seconds_low, taken.seconds_high)
    slow_s = 60.0 * STEP * (settled.timestamp() // (60 * STEP) - taken.leave_by.timestamp() // (60 * STEP))
    return duration_range(min(taken.seconds_low, slow_s), slow_s, step_minutes=STEP)


def _back(m: Morning, taken: MorningWay, units: Units) -> list[str]:
    """The way back; where it is not the way in, that it is another, and what is met on it."""
    if taken.back_seconds is None:
        return []
    told = f"back in {duration(taken.back_seconds)} {'in the dark' if taken.back_in_dark else 'by day'}"
    out = next((one for one in m.ways if one.kind == "out"), None)
    if out is None or _shared(out, taken) >= SAME_WAY:
        return [told]
    met = [
        words.replace("at the start:", "at the lookout:").replace(" in: ", " on: ") for words in out.hazards
    ]
    return [
        f"{told}, not by the way in but by another: {distance(out.distance_m, units)}, {height(out.climb_m, units)} up and "
        f"{height(out.fall_m, units)} down, itself at most {out.steepest_deg:.0f}° steep",
        *(f"on the way back, {in_units(words, units)}" for words in met),
    ]


def _shared(out: OtherWay, taken: MorningWay) -> float:
    """Part of the way out that lies on the way in."""
    mine = {(lon, lat) for lon, lat in taken.line}
    return sum((lon, lat) in mine for lon, lat in out.line) / max(len(out.line), 1)


def _is_near(m: Morning, turn: dt.datetime) -> bool:
    """Whether the time to turn round comes before the watch ends, and soon after one should be there: later it goes without
    saying, and reads as leave to walk on.
    """
    ends = [one.at for one in m.timeline if one.kind in {"end of watch", "end of light"}]
    there = [one.at for one in m.timeline if one.kind == "settled"]
    return any(turn < at for at in ends) and all(turn - at <= SOON for at in there)


def _which(taken: MorningWay) -> str:
    if taken.kind == "quickest":
        return "the quickest way"
    longer = taken.seconds - taken.quickest_seconds
    words = f", {duration(longer)} longer than the quickest," if longer >= FIRST_S else ""
    return f"a way{words} on which you are noticed less,"


def _noticed(m: Morning, taken: MorningWay) -> str:
    reached = [one.pocket for one in taken.scent_on]
    names = {p.id: p.name or f"pocket {p.id}" for p in m.pockets}
    air = (
        f"your scent goes to {listed(names.get(one, f'pocket {one}') for one in reached)} from parts of it"
        if reached
        else "your scent reaches no pocket, by the rules"
    )
    return f"on it you are {_in_view(taken.seen_minutes)}, and {air}"


def _in_view(minutes: float | None) -> str:
    seen = minutes or 0.0
    return (
        f"in view of pockets for {duration(60 * seen)}"
        if seen >= NOTICED_MIN
        else "hardly in view of any pocket"
    )


def other_ways(m: Morning, units: Units) -> list[str]:
    """The ways in that are not advised, where they differ: what each costs and saves."""
    taken = m.way
    if taken is None:
        return []
    told: list[str] = []
    known: list[MorningWay | OtherWay] = [taken]
    for one in m.ways:
        if one.kind == "out" or any(_alike(one, other) for other in known):
            continue
        known.append(one)
        told.append(sentence(_against(one, taken, units)))
    if not told:
        return ["No other way keeps you out of view or scent any better."]
    return told


def _alike(one: OtherWay, other: MorningWay | OtherWay) -> bool:
    """Whether two ways differ by less than the grid can tell: then one of them is told."""
    noticed = [(way.seen_minutes or 0.0, way.scented_minutes or 0.0) for way in (one, other)]
    gains = [abs(a - b) for a, b in zip(*noticed, strict=True)]
    near = abs(one.distance_m - other.distance_m) < LEAST_CHANGE * other.distance_m
    return near and abs(one.seconds - other.seconds) < FIRST_S and max(gains) < NOTICED_MIN


def _against(one: OtherWay, taken: MorningWay, units: Units) -> str:
    """Another way beside the one advised: longer or shorter, and how much of it is noticed."""
    names = {"quickest": "the quickest way", "between": "a way in between", "hidden": "the most hidden way"}
    more = one.seconds - taken.seconds
    length = (
        f"{duration(abs(more))} {'longer' if more > 0 else 'shorter'}"
        if abs(more) >= FIRST_S
        else "about as long"
    )
    scent = one.scented_minutes or 0.0
    air = f", in scent for {duration(60 * scent)}" if scent >= NOTICED_MIN else ""
    return (
        f"{names[one.kind]} is {length}: {distance(one.distance_m, units)}, {height(one.climb_m, units)} up, "
        f"at most {one.steepest_deg:.0f}° steep, {_in_view(one.seen_minutes)}{air}"
    )


def water(m: Morning) -> list[str]:
    """Water on the way, and nearest to the lookout."""
    told = []
    kind = None if m.way is None else m.way.kind
    mine = next((one for one in m.ways if one.kind == kind), None)
    met = [] if mine is None else [one for one in mine.meets if "water" in one.words]
    if met:
        at = "at the start" if met[-1].seconds < FIRST_S else f"{duration(met[-1].seconds)} from the start"
        told.append(f"the way in meets water {_times(len(met))}, {'' if len(met) == 1 else 'last '}{at}")
    if not m.water:
        told.append("no water is known within an hour and a half of the lookout: carry all you need")
    for one in m.water:
        doubt = "" if one.sure else ", which may be dry"
        told.append(
            f"{'nearest to the lookout' if one is m.water[0] else 'sure water'}: {_WATER[one.kind]}{doubt}, "
            f"{duration(one.there_seconds)} there and {duration(one.back_seconds)} back by day"
        )
    return [sentence(words) for words in told]


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def carrying(m: Morning, units: Units) -> list[str]:
    """Carrying an animal out of each pocket in sight."""
    told = [
        sentence(f"{one.name or f'pocket {one.id}'}: {_carry(one.carry, units)}")
        for one in m.pockets
        if one.carry is not None
    ]
    if told:
        told.append("Rests and heat are not counted.")
    return told


def _carry(one: Carry, units: Units) -> str:
    if one.hours is None or one.hours_high is None:
        return f"no way out under a load: {in_units(one.veto or 'not found', units)}"
    who = "one carrier" if one.people == 1 else f"{one.people} carriers"
    trips = _TRIPS.get(one.trips, f"{one.trips} trips")
    each = load_each(one.weight_kg, one.trips * one.people, units)
    words = (
        f"{weight(one.weight_kg, units)} go out in {trips} of {who} with {each}, "
        f"{duration_range(3600 * one.hours, 3600 * one.hours_high)} in all, walked {'in the dark' if one.dark else 'by day'}"
    )
    if one.veto is None:
        return words
    return f"{words}: over your limit of {one.hours_limit:g} h, so don't shoot there without help"


def by_wind(m: Morning, units: Units) -> list[str]:
    """Which lookout for which wind."""
    if not m.by_wind or m.by_wind_ms is None:
        return []
    speed = f"{m.by_wind_ms / 0.44704:.0f} mph" if units == "us" else f"{m.by_wind_ms * 3.6:.0f} km/h"
    told = [_winds(group) for group in sorted(m.by_wind, key=lambda g: not g.lookouts)]
    words = [sentence(f"which lookout by a wind of about {speed}: {'; '.join(told)}")]
    named = {name for group in m.by_wind for name in group.lookouts}
    low = [name for name in m.sheltered if name in named]
    if low:
        words.append(
            sentence(
                f"by the rules such a wind is not felt at {listed(low)}, and slope and valley air decides there: trust that "
                "only after feeling it, a little more wind turns it"
            )
        )
    return words


def _winds(group: ByWind) -> str:
    winds = "any side" if len(group.winds) == 8 else listed(group.winds, "or")
    return f"from {winds} {', else '.join(group.lookouts) or 'none of them is clean'}"


def near(m: Morning, units: Units) -> list[str]:
    """Other seats near by, what each gains and loses."""
    told = [f"{_KINDS[one.kind]}, {naming.spot(one.place, units)}, {_gain(one, units)}" for one in m.near]
    return [sentence(f"other seats near {naming.lookout(m.lookout)}: {'; '.join(told)}")] if told else []


_KINDS = {"nearer": "nearer to the start", "higher": "higher", "other side": "over the crest"}
LEAST_CHANGE = 0.05


def _gain(one: NearSeat, units: Units) -> str:
    parts = []
    if one.worth_change is not None:
        more = "more" if one.worth_change > 0 else "less"
        size = abs(one.worth_change)
        parts.append(
            "shows about as much" if size < LEAST_CHANGE else f"shows {share(min(size, 1.0))} {more}"
        )
    if one.walk_change_seconds is not None and abs(one.walk_change_seconds) >= FIRST_S:
        longer = "longer" if one.walk_change_seconds > 0 else "shorter"
        parts.append(f"the walk {duration(abs(one.walk_change_seconds))} {longer}")
    if abs(one.height_change_m) >= 10:
        side = "up" if one.height_change_m > 0 else "down"
        parts.append(f"{height(abs(one.height_change_m), units)} {side}")
    return ", ".join(parts) or "much the same"

"""Where to sit, when to leave, how to get there, and what other lookouts offer."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

from graylight.grid import LonLat, azimuth_deg, distance_m
from graylight.plan.model import Approach, Lookout, LookoutSet, Peak, Plan
from graylight.telling import naming
from graylight.telling.light import never_dark
from graylight.telling.paragraph import Paragraph, listed, numbered, sentence
from graylight.telling.sight import hidden, shown
from graylight.units import (
    Units,
    bearings,
    compass,
    distance,
    duration,
    duration_range,
    height,
    in_units,
    share,
    share_range,
)

__all__ = ["how_to_get_there", "other_lookouts", "where_to_sit"]

LANDMARK_M = (400.0, 10_000.0)
"""Nearest and farthest top that serves to check where one stands. Proposed default."""


SPARE = 3
"""Most lookouts told beside those of the best sets and the person's own."""


def where_to_sit(plan: Plan, units: Units) -> Paragraph:
    """The first thing said: the lookout, the time to leave, what it hides, what it shows."""
    told = [f"{naming.day(plan.light.date)}, {naming.animal(plan.animal)}."]
    if plan.country.invented:
        told.insert(0, "This range is invented: it does not exist.")
    seat = naming.best_seat(plan)
    if seat is None:
        told.append("No place to sit was found from which a pocket could be watched.")
        told += [sentence(in_units(words, units)) for words in plan.nothing_found]
        return Paragraph("Where to sit", told)
    shows = any(one.shows for one in seat.sees)
    sit = "Sit at" if shows else "The best place found is"
    told.append(f"{sit} {naming.seat(seat)}: {naming.spot(seat.place, units)}.")
    told += [*_leave(seat, plan), *_ground(seat, units)]
    told += hidden(seat.sees, _ranked(plan), _namer(plan))
    told += shown(seat.sees, _namer(plan), units)
    return Paragraph("Where to sit", told)


def _namer(plan: Plan) -> Callable[[str], str]:
    return partial(naming.pocket_of, plan)


def _ranked(plan: Plan) -> list[str]:
    return [one.id for one in naming.ranked(plan)]


def _ground(seat: Lookout, units: Units) -> list[str]:
    """What the place is like, without its slope; how much and how far one sees is told apart."""
    facts = [one.words for one in seat.reasons if one.fact not in ("worth", "distance")]
    return [sentence(in_units(words.split(", slope ")[0], units)) for words in facts]


def _way(seat: Lookout, plan: Plan) -> Approach | None:
    return next((way for way in plan.approaches if way.lookout == seat.id), None)


def _start(way: Approach) -> str:
    return way.start.name or f"the {way.start.kind}"


def _leave(seat: Lookout, plan: Plan, *, settled: bool = True) -> list[str]:
    """When to leave from where, and when to be settled (to be said once in a telling)."""
    way = _way(seat, plan)
    if way is None and seat.walk_seconds is not None:
        return [f"It lies {duration(seat.walk_seconds)} on foot from the best start; no way to it was drawn."]
    if way is None:
        return ["There is no time to leave by, because no way on foot to it is known."]
    if way.leave_by is None:
        why = (
            "it is light enough to watch all night"
            if never_dark(plan.light, plan.country)
            else "no usable light begins that day"
        )
        return [f"There is no time to leave by, because {why}."]
    by = naming.moment(way.leave_by, plan.light, step_minutes=5, way="earlier")
    told = [f"Leave {_start(way)} by {by}."]
    if settled and plan.light.usable_from is not None:
        told.append(f"Be settled before usable light at {naming.moment(plan.light.usable_from, plan.light)}.")
    return told


def _check(seat: Lookout, plan: Plan, units: Units) -> list[str]:
    """A bearing to a known top, by which a person can tell whether this is the place."""
    here = LonLat(seat.place.lon, seat.place.lat)
    # a top on the outermost cell may be no top: no prominence is sure there
    tops = [
        peak
        for peak in plan.peaks
        if LANDMARK_M[0] <= _away(here, peak) <= LANDMARK_M[1] and peak.prominence_m > 0
    ]
    if not tops:
        return []
    top = min(tops, key=lambda peak: (peak.name is None, -peak.prominence_m, peak.id))
    true_deg = azimuth_deg(here, LonLat(top.place.lon, top.place.lat))
    declination = plan.light.declination_deg
    magnetic = None if declination is None else (true_deg - declination) % 360.0
    name = top.name or f"the top {top.id}"
    return [
        f"To check that you are there: {name} stands {distance(_away(here, top), units)} off at "
        f"{bearings(true_deg, magnetic)}, if nothing hides it."
    ]


def _away(here: LonLat, peak: Peak) -> float:
    return distance_m(here, LonLat(peak.place.lon, peak.place.lat))


def how_to_get_there(plan: Plan, units: Units) -> Paragraph | None:
    """The way in and back, for the lookout named first; and how to tell that one is there."""
    seat = naming.best_seat(plan)
    if seat is None:
        return None
    way = _way(seat, plan)
    if way is not None:
        told = _walk(way, units)
    elif plan.approaches:
        told = [f"No way on foot to {naming.seat(seat)} was found."]
    else:
        told = [
            "No road end, trailhead or given start leads to any lookout; say where you start to get a way."
        ]
    return Paragraph("How to get there", [*told, *_check(seat, plan, units)])


def _walk(way: Approach, units: Units) -> list[str]:
    climb, fall = height(way.climb_m, units), height(way.fall_m, units)
    time = duration_range(way.seconds_low, way.seconds_high)
    return [
        f"From {_start(way)} it is {distance(way.distance_m, units)}, {climb} up and {fall} down.",
        sentence(f"{time} with a day pack in the dark"),
        f"On trail or road: {share(way.on_trail)} of it. The way itself climbs or falls at most {way.steepest_deg:.0f}°.",
        *(sentence(in_units(words, units)) for words in way.hazards),
        _back(way),
    ]


def _back(way: Approach) -> str:
    if way.back_seconds is None:
        return "No way back on foot was found: don't rely on this one."
    return f"The way back takes {duration(way.back_seconds)} in the dark."


def other_lookouts(plan: Plan, units: Units) -> list[Paragraph]:
    """What the best sets show together, their members, and in a line each the lookouts that no set needs."""
    full = naming.members(plan)
    rest = sorted((seat for seat in plan.lookouts if seat not in full), key=lambda seat: not seat.own)
    if len(plan.lookouts) < 2:
        return []
    told = _sets(plan.sets)
    many = max(SPARE, sum(seat.own for seat in rest))
    told += [_in_a_line(seat, full[0], plan, units) for seat in rest[:many]]
    if len(rest) > many:
        told.append(f"The plan's file has {numbered(len(rest) - many)} more.")
    return [Paragraph("Other lookouts", told), *(_member(seat, full[0], plan, units) for seat in full[1:])]


def _sets(sets: Sequence[LookoutSet]) -> list[str]:
    """How much of the use to be expected is in view from one lookout, from two, from three."""
    told = [_set(one) for one in sets if len(one.lookouts) > 1]
    if not told:
        return []
    alone = [
        f"from {listed(one.lookouts)} alone {share(one.covered)}" for one in sets if len(one.lookouts) == 1
    ]
    parts = "; ".join([*alone, *told])
    return [f"Use in good view, each pocket counted by its chance and distance: {parts}."]


def _set(one: LookoutSet) -> str:
    most = f"any {numbered(one.k)} at most {share(one.bound)}"
    return f"from {listed(one.lookouts)} {share(one.covered)} ({most})"


def _in_a_line(seat: Lookout, first: Lookout, plan: Plan, units: Units) -> str:
    """A lookout that no set needs, for the day when the others won't do."""
    best = max(seat.sees, key=lambda one: one.share.likely, default=None)
    sees = "nothing of any pocket"
    if best is not None and best.shows:
        part = share_range(best.share.low, best.share.high)
        sees = f"{part} of {naming.pocket_of(plan, best.pocket)}"
    walk = "" if seat.walk_seconds is None else f", {duration(seat.walk_seconds)} in"
    called = seat.id if seat.name is None else f"{seat.id} ({seat.name})"
    return sentence(f"{called}, {_beside(seat, first, units)}{walk}, shows {sees}")


def _beside(seat: Lookout, first: Lookout, units: Units) -> str:
    """Where it lies as seen from the lookout told first."""
    away_m, azimuth = naming.of(seat.place, LonLat(first.place.lon, first.place.lat))
    return f"{distance(away_m, units)} {compass(azimuth)} of {first.id}"


def _member(seat: Lookout, first: Lookout, plan: Plan, units: Units) -> Paragraph:
    told = [f"{sentence(naming.spot(seat.place, units))[:-1]}, {_beside(seat, first, units)}."]
    told += _leave(seat, plan, settled=False)
    told += [*_walk_in_short(seat, first, plan, units), *_ground(seat, units)]
    told += hidden(seat.sees, _ranked(plan), _namer(plan), brief=True)
    told += shown(seat.sees, _namer(plan), units, places=False)
    return Paragraph(sentence(naming.seat(seat)).removesuffix("."), told, run_in=True)


def _walk_in_short(seat: Lookout, first: Lookout, plan: Plan, units: Units) -> list[str]:
    """Length, time and climb; hazards; a way back only if it lacks."""
    way = _way(seat, plan)
    if way is None:
        return []
    known = _way(first, plan)
    told = known.hazards if known is not None else []
    away, time = distance(way.distance_m, units), duration_range(way.seconds_low, way.seconds_high)
    return [
        sentence(f"{away} on foot, {time}, {height(way.climb_m, units)} up"),
        *(sentence(in_units(_without_advice(words, told), units)) for words in way.hazards),
        *([_back(way)] if way.back_seconds is None else []),
    ]


def _without_advice(hazard: str, told: Sequence[str]) -> str:
    """When and what; what to do about it or what may come of it only if that was not told on the first way."""
    *what, advice = hazard.split(": ")
    known = any(words.endswith(f": {advice}") for words in told)
    return ": ".join(what) if known and what else hazard

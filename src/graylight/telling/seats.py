"""Where to sit, when to leave, how to get there, and what other lookouts offer."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from graylight.grid import LonLat, azimuth_deg, distance_m
from graylight.plan.model import Approach, Lookout, LookoutSet, Peak, Plan
from graylight.telling import naming
from graylight.telling.measures import in_units
from graylight.telling.paragraph import Paragraph, listed, numbered, sentence
from graylight.telling.sight import NOTHING, hidden, shown
from graylight.units import Units, bearings, distance, duration, duration_range, height, share, share_range

__all__ = ["how_to_get_there", "other_lookouts", "where_to_sit"]

LANDMARK_M = (400.0, 10_000.0)
"""Nearest and farthest top that serves to check where one stands. Proposed default."""


def where_to_sit(plan: Plan, units: Units) -> Paragraph:
    """The first thing said: the lookout, the time to leave, what it hides, what it shows."""
    told = [f"{naming.day(plan.light.date)}, {naming.animal(plan.animal)}."]
    if plan.country.invented:
        told.insert(0, "This range is invented: it does not exist.")
    seat = _first(plan)
    if seat is None:
        told.append("No place to sit was found from which a pocket could be watched.")
        return Paragraph("Where to sit", told)
    shows = any(one.share.high >= NOTHING for one in seat.sees)
    sit = "Sit at" if shows else "The best place found is"
    told.append(f"{sit} {naming.lookout(seat.id)}: {naming.standing(seat.place, units)}.")
    told.append(_leave(seat, plan))
    told += _ground(seat, units)
    told += hidden(seat.sees, _ranked(plan), _namer(plan))
    told += shown(seat.sees, _namer(plan), units)
    told += _check(seat, plan, units)
    return Paragraph("Where to sit", told)


def _first(plan: Plan) -> Lookout | None:
    """The best single lookout."""
    if not plan.lookouts:
        return None
    singles = [one for one in plan.sets if one.k == 1 and one.lookouts]
    best = singles[0].lookouts[0] if singles else plan.lookouts[0].id
    return next((seat for seat in plan.lookouts if seat.id == best), plan.lookouts[0])


def _namer(plan: Plan) -> Callable[[str], str]:
    return partial(naming.pocket_of, plan)


def _ranked(plan: Plan) -> list[str]:
    """Ids of the pockets that count, best first."""
    ranked = sorted((one for one in plan.pockets if one.shut is None), key=lambda one: (one.rank, one.id))
    return [one.id for one in ranked]


def _ground(seat: Lookout, units: Units) -> list[str]:
    """What the place is like; how much and how far one sees is told apart."""
    return [
        sentence(in_units(one.words, units)) for one in seat.reasons if one.fact not in ("worth", "distance")
    ]


def _way(seat: Lookout, plan: Plan) -> Approach | None:
    return next((way for way in plan.approaches if way.lookout == seat.id), None)


def _start(way: Approach) -> str:
    return way.start.name or f"the {way.start.kind}"


def _leave(seat: Lookout, plan: Plan) -> str:
    way = _way(seat, plan)
    if way is None and seat.walk_seconds is not None:
        return f"It lies {duration(seat.walk_seconds)} on foot from the best start; no way to it was drawn."
    if way is None:
        return "There is no time to leave by, because no way on foot to it is known."
    if way.leave_by is None:
        return "There is no time to leave by, because no usable light begins that day."
    by = naming.moment(way.leave_by, plan.light, step_minutes=5, way="earlier")
    usable = plan.light.usable_from
    until = (
        ""
        if usable is None
        else f", to be settled before usable light at {naming.moment(usable, plan.light)}"
    )
    return f"Leave {_start(way)} by {by}{until}."


def _check(seat: Lookout, plan: Plan, units: Units) -> list[str]:
    """A bearing to a known top, by which a person can tell whether this is the place."""
    here = LonLat(seat.place.lon, seat.place.lat)
    tops = [peak for peak in plan.peaks if LANDMARK_M[0] <= _away(here, peak) <= LANDMARK_M[1]]
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
    """The way in and back, for the lookout named first."""
    seat = _first(plan)
    if seat is None:
        return None
    way = _way(seat, plan)
    if way is None:
        why = (
            "No road end, trailhead or given start leads to any lookout; say where you start to get a way."
            if not plan.approaches
            else f"No way on foot to {naming.lookout(seat.id)} was found."
        )
        return Paragraph("How to get there", [why])
    return Paragraph("How to get there", _walk(way, units))


def _walk(way: Approach, units: Units) -> list[str]:
    climb, fall = height(way.climb_m, units), height(way.fall_m, units)
    time = duration_range(way.seconds_low, way.seconds_high)
    told = [
        f"From {_start(way)} it is {distance(way.distance_m, units)}, {climb} up and {fall} down.",
        sentence(f"{time} with a day pack in the dark"),
        f"On trail or road: {share(way.on_trail)} of it; the steepest stretch is {way.steepest_deg:.0f}°.",
    ]
    if way.hazards:
        told.append(sentence(f"on the way: {in_units('; '.join(way.hazards), units)}"))
    if way.back_seconds is None:
        return [*told, "No way back on foot was found: don't rely on this one."]
    return [*told, f"The way back takes {duration(way.back_seconds)} in the dark."]


def other_lookouts(plan: Plan, units: Units) -> list[Paragraph]:
    """What is best with two, three or more lookouts, and each lookout not yet told."""
    first = _first(plan)
    rest = [seat for seat in plan.lookouts if seat is not first]
    if not rest:
        return []
    members = {name for one in plan.sets for name in one.lookouts}
    told = [_set(one) for one in plan.sets if len(one.lookouts) > 1]
    told += [_in_a_line(seat, plan, units) for seat in rest if seat.id not in members]
    return [
        Paragraph("Other lookouts", told),
        *(_other(seat, plan, units) for seat in rest if seat.id in members),
    ]


def _set(one: LookoutSet) -> str:
    count, names = numbered(len(one.lookouts)), listed(one.lookouts)
    return (
        f"From {count} lookouts, {names}, {share(one.covered)} of the use to be expected is in good view, "
        f"each pocket counted by its chance and distance; from worse seats {numbered(one.k)} places could show "
        f"at most {share(one.bound)}."
    )


def _in_a_line(seat: Lookout, plan: Plan, units: Units) -> str:
    """A lookout that no set needs, for the day when the others won't do."""
    best = max(seat.sees, key=lambda one: one.share.likely, default=None)
    sees = (
        ""
        if best is None
        else f" shows {share_range(best.share.low, best.share.high)} of {naming.pocket_of(plan, best.pocket)}"
    )
    walk = "" if seat.walk_seconds is None else f", {duration(seat.walk_seconds)} on foot"
    return sentence(
        f"{naming.lookout(seat.id)}, {naming.standing(seat.place, units)}{walk},{sees or ' shows nothing'}"
    )


def _other(seat: Lookout, plan: Plan, units: Units) -> Paragraph:
    told = [f"{naming.standing(seat.place, units)}.", _leave(seat, plan)]
    way = _way(seat, plan)
    if way is not None:
        away, time = distance(way.distance_m, units), duration_range(way.seconds_low, way.seconds_high)
        told.append(sentence(f"{away} on foot, {time}, {height(way.climb_m, units)} up"))
    told += _ground(seat, units)
    told += hidden(seat.sees, _ranked(plan), _namer(plan))
    told += shown(seat.sees, _namer(plan), units)
    return Paragraph(sentence(naming.lookout(seat.id)).removesuffix("."), told)

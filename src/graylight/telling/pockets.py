"""The pockets, at most eight, and why."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from graylight.grid import LonLat
from graylight.plan.model import (
    CountryFacts,
    Crossing,
    Lookout,
    Plan,
    Pocket,
    Reason,
    RecordUsed,
    Sees,
    Spot,
    WaterPlace,
    WayOut,
)
from graylight.telling import naming
from graylight.telling.paragraph import Paragraph, counted, listed, sentence
from graylight.units import Units, area, bearings, compass, distance, duration, height, in_units, share

__all__ = ["MOST", "the_pockets"]

MOST = 8
"""Most pockets told unasked."""
FOR = 0.7
"""A fact worth at least this speaks for a pocket, one worth less against it. Proposed default."""
FOR_IT, AGAINST_IT = 2, 2
"""Most facts told on either side; the plan's file has them all."""
TOLD_APART = ("bed", "link")
"""Facts that the sentence on the beds tells, unless they are what speaks against the pocket."""
COMMON = 3
"""From so many pockets on, a fact that is the same for all is told once. Proposed default."""
IN_FULL = 5
"""Most pockets told in full, those in view before the others; of the rest only where, chance, for and against."""
NOT_KNOWN = "not known"
"""What is not known speaks neither for a pocket nor against it; the plan says once that it is not known."""
OVER = 2
"""Most kinds of ways out told."""
AT = {
    "saddle": "at a saddle",
    "ledge": "on a ledge",
    "narrows": "at a narrowing",
    "open": "in the open about",
}


def the_pockets(plan: Plan, units: Units) -> list[Paragraph]:
    """The band and what all pockets share, then each pocket worth hearing of; shut ones by name with the reason."""
    ranked = naming.ranked(plan)
    told = _chosen(ranked, plan)
    common = _common(told)
    sure = {one.confidence for one in told} if len(told) >= COMMON else set()
    low, high = height(plan.band.low_m, units), height(plan.band.high_m, units)
    words = [f"The band worked follows the tops near by; most of it lies at {low} to {high}."]
    if not ranked and plan.pockets:
        words.append("No pocket is ranked: each of those found is shut, or dropped by you.")
    elif not ranked:
        words.append("No pocket was found: no feed and beds within reach of each other by the data at hand.")
    if not ranked:
        words.append("That does not mean that no animals are there.")
    if len(ranked) > MOST:
        words.append(f"Told are {MOST} of {len(ranked)}: those in view and the best. The file has all.")
    if ranked:
        words.append("Chance is that of being used; sides and distances in a pocket are from its middle.")
    if plan.record is not None:
        words.append(_by_record(plan.record))
    if len(sure) == 1:
        words.append(f"Confidence is {told[0].confidence} in all.")
    if common:
        words.append(sentence(f"all have {listed(common)}"))
    words += _shut(plan)
    in_view = _in_view(plan)
    full = {one.id for one in sorted(told, key=lambda one: one.id not in in_view)[:IN_FULL]}
    return [
        Paragraph("The pockets", words),
        *(_pocket(one, plan, units, common, full=one.id in full, sure=len(sure) != 1) for one in told),
    ]


def _shut(plan: Plan) -> list[str]:
    """Pockets that are shown but not ranked, by the reason."""
    by: dict[str, list[str]] = {}
    for one in plan.pockets:
        if one.shut is not None:
            by.setdefault(one.shut, []).append(naming.pocket(one, plan))
    return [sentence(f"shown but not ranked: {listed(names)} ({why})") for why, names in by.items()]


def _by_record(used: RecordUsed) -> str:
    """That the chances were moved, and by what."""
    counts = ((used.outings, "outing"), (used.sightings, "sighting"))
    parts = [counted(count, word) for count, word in counts if count]
    parts += [counted(used.sign, "find of sign", "finds of sign")] if used.sign else []
    said = listed(parts) or "what you recorded"
    return f"Chances and ranks are moved by the record: {said}; that they use none of these is {share(used.elsewhere)}."


def _chosen(ranked: Sequence[Pocket], plan: Plan) -> list[Pocket]:
    """The pockets in view of the lookouts that are told in full, filled up with the best; in order of rank."""
    seen = _in_view(plan)
    first = sorted(ranked, key=lambda one: one.id not in seen)[:MOST]
    return [one for one in ranked if one in first]


def _in_view(plan: Plan) -> set[str]:
    return {pocket for seat in naming.members(plan) for pocket in _shown(seat)}


def _shown(seat: Lookout) -> dict[str, Sees]:
    return {one.pocket: one for one in seat.sees if one.shows}


def _common(told: Sequence[Pocket]) -> list[str]:
    """Facts that speak for every pocket in the same words, if they are something to have ("a cold side")."""
    if len(told) < COMMON:
        return []
    shared = set.intersection(*({r.words for r in one.reasons if (r.worth or 0.0) >= FOR} for one in told))
    return [r.words for r in told[0].reasons if r.words in shared and r.words.startswith("a ")]


def _pocket(
    one: Pocket, plan: Plan, units: Units, common: Sequence[str], *, full: bool, sure: bool
) -> Paragraph:
    told = [_where(one, plan, units)]
    told.append(f"Chance {share(one.chance)}{f', confidence {one.confidence}' if sure else ''}.")
    told += ["Your own pick."] if one.own else []
    told += _reasons(one.reasons, units, common)
    if full:
        told += [*_use(one, units), *_ways_out(one.ways_out, plan), _water(one.water, units)]
    heading = f"{one.rank}. {sentence(naming.pocket(one, plan)).removesuffix('.')}"
    return Paragraph(heading, told, run_in=True)


def _where(one: Pocket, plan: Plan, units: Units) -> str:
    """Size and height; where it lies from a lookout that shows it, from the best lookout, or in the country."""
    high = "" if one.centre.height_m is None else f" at {height(one.centre.height_m, units)}"
    return sentence(f"{area(one.area_m2, units)}{high}, {_from(one, plan, units)}")


def _from(one: Pocket, plan: Plan, units: Units) -> str:
    seats = naming.members(plan)
    for seat in seats:
        seen = _shown(seat).get(one.id)
        if seen is not None:
            where = bearings(seen.bearing_true_deg, seen.bearing_magnetic_deg)
            return f"{distance(seen.distance_m, units)} from {seat.id} at {where}"
    origin = LonLat(seats[0].place.lon, seats[0].place.lat) if seats else _middle(plan.country)
    away_m, azimuth = naming.of(one.centre, origin)
    name = f"{seats[0].id}, hidden" if seats else "the middle of the country"
    return f"{distance(away_m, units)} {compass(azimuth)} of {name}"


def _middle(facts: CountryFacts) -> LonLat:
    return LonLat((facts.west + facts.east) / 2.0, (facts.south + facts.north) / 2.0)


def _reasons(reasons: list[Reason], units: Units, common: Sequence[str]) -> list[str]:
    """The facts that decide: the best few for it, the worst against it (or the weakest), and what has no worth."""
    known = [r for r in reasons if not r.words.endswith(NOT_KNOWN)]
    weighed = sorted((r for r in known if r.worth is not None), key=lambda r: -(r.worth or 0.0))
    against = [r for r in reversed(weighed) if (r.worth or 0.0) < FOR][:AGAINST_IT]
    weakest = [r for r in weighed[-1:] if not against and r.words not in common and (r.worth or 0.0) < 1.0]
    taken = {r.words for r in [*against, *weakest]} | set(common)
    speak_for = [
        r for r in weighed if (r.worth or 0.0) >= FOR and r.fact not in TOLD_APART and r.words not in taken
    ]
    parts = (
        ("for it", speak_for[:FOR_IT]),
        ("against it", against),
        ("weakest", weakest),
        ("besides", [r for r in known if r.worth is None]),
    )
    return [
        sentence(f"{name}: {'; '.join(_fact(r, units) for r in facts)}") for name, facts in parts if facts
    ]


def _fact(reason: Reason, units: Units) -> str:
    """The fact without its explanation (a fact without worth in full), in the listener's units."""
    words = reason.words if reason.worth is None else reason.words.split(";", maxsplit=1)[0]
    if reason.unit == "min" and reason.value is not None and reason.value >= 60.0:
        words = words.replace(f"{reason.value:.0f} min on foot", duration(60.0 * reason.value))
    if words.startswith("in the middle of the band"):
        words = "in the middle of the band below the tops near by"
    return in_units(words, units)


def _use(one: Pocket, units: Units) -> list[str]:
    """Where to look first, where they lie, where they cross."""
    told = []
    if one.first_light:
        told.append(_first_look(one.first_light[:2], one, units))
    if one.beds:
        told.append(_beds(one, units))
    if one.crossings:
        told.append(_crossing(min(one.crossings, key=lambda x: (-x.suitability, x.id)), one, units))
    return told


def _first_look(spots: Sequence[Spot], one: Pocket, units: Units) -> str:
    places = (
        (
            _plain_kind(s.words) if s.kind != "crossing" else "the crossing",
            naming.offset(s.place, one.centre, units),
        )
        for s in spots
    )
    words = ", then at ".join(f"{kind} {listed(where)}" for kind, where in _grouped(places))
    return sentence(f"look first at {words}")


def _plain_kind(words: str) -> str:
    """What grows there, without facing, slope and shade."""
    return words.split(",", maxsplit=1)[0]


def _grouped(pairs: Iterable[tuple[str, str]]) -> list[tuple[str, list[str]]]:
    """Second members by the first, each once, in the order in which they come."""
    groups: dict[str, list[str]] = {}
    for key, value in pairs:
        if value not in groups.setdefault(key, []):
            groups[key].append(value)
    return list(groups.items())


def _beds(one: Pocket, units: Units) -> str:
    """All beds in one breath: how many, in what, how far and on which sides."""
    middle = LonLat(one.centre.lon, one.centre.lat)
    away = [naming.of(bed.place, middle) for bed in one.beds]
    kinds = list(dict.fromkeys(_plain_kind(bed.words) for bed in one.beds))
    reach = naming.reach(min(m for m, _ in away), max(m for m, _ in away), units)
    sides = naming.sides([azimuth for _, azimuth in away])
    return sentence(f"{counted(len(away), 'bed')} in {listed(kinds)}, {reach} {sides}")


def _crossing(best: Crossing, one: Pocket, units: Units) -> str:
    """The best crossing; the others are in the plan's file."""
    return sentence(f"they may cross {AT[best.form]} {naming.offset(best.place, one.centre, units)}")


def _ways_out(ways: Sequence[WayOut], plan: Plan) -> list[str]:
    """Sides by what lies there; distances and climbs are in the plan's file."""
    pairs = ((_over(way, plan), compass(way.bearing_true_deg)) for way in ways)
    parts = [f"{' or '.join(where)} {over}" for over, where in _grouped(pairs)[:OVER]]
    return [sentence(f"pushed, they may go {', or '.join(parts)}")] if parts else []


def _over(way: WayOut, plan: Plan) -> str:
    if way.over == "timber":
        return "into timber"
    name = next((s.name for s in plan.saddles if s.name and way.over == f"saddle {s.id}"), None)
    if name is not None:
        return f"over {name}"
    return f"over {way.over}" if way.over.startswith("saddle") else way.over


def _water(water: list[WaterPlace], units: Units) -> str:
    """The nearest sure water, and what lies nearer but may be dry."""
    if not water:
        return "No water is known near it."
    sure = min((w for w in water if w.sure), key=lambda w: w.distance_m, default=None)
    near = math.inf if sure is None else sure.distance_m
    doubtful = min((w for w in water if not w.sure), key=lambda w: w.distance_m, default=None)
    told = [w for w in (sure, doubtful if doubtful and doubtful.distance_m < near else None) if w]
    return sentence(f"water: {'; '.join(_source(w, units) for w in told)}")


def _source(one: WaterPlace, units: Units) -> str:
    return f"{one.kind} {distance(one.distance_m, units)}{'' if one.sure else ', may be dry'}"

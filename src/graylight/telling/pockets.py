"""The pockets, at most eight, and why."""

from __future__ import annotations

from graylight.grid import LonLat, azimuth_deg, distance_m
from graylight.plan.model import Crossing, Plan, Pocket, Reason, Spot, WaterPlace, WayOut
from graylight.telling import naming
from graylight.telling.measures import in_units
from graylight.telling.paragraph import Paragraph, counted, listed, sentence
from graylight.units import Units, area, compass, distance, height, share

__all__ = ["MOST", "the_pockets"]

MOST = 8
"""Most pockets told unasked."""
FOR = 0.7
"""A fact worth at least this speaks for a pocket, one worth less against it. Proposed default."""
SPEAKERS = 3
"""Most facts told on either side; the plan's file has them all."""
TOLD_APART = ("bed", "link")
"""Facts that the sentence on the beds tells."""
AT = {
    "saddle": "by a saddle",
    "ledge": "by a ledge",
    "narrows": "where the ways draw together",
    "open": "over open ground, about",
}


def the_pockets(plan: Plan, units: Units) -> list[Paragraph]:
    """The band, then each ranked pocket; shut ones by name with the reason."""
    ranked = sorted((one for one in plan.pockets if one.shut is None), key=lambda one: (one.rank, one.id))
    low, high = height(plan.band.low_m, units), height(plan.band.high_m, units)
    told = [f"The band worked is {low} to {high}, with soft edges."]
    if not ranked:
        told.append("No pocket was found: no feed and beds within reach of each other by the data at hand.")
        told.append("That does not mean that no animals are there.")
    if len(ranked) > MOST:
        told.append(f"The best {MOST} of {len(ranked)} are told here; the plan's file has them all.")
    told += [
        sentence(f"shown but not ranked: {naming.pocket(one, plan)} ({one.shut})")
        for one in plan.pockets
        if one.shut is not None
    ]
    return [Paragraph("The pockets", told), *(_pocket(one, plan, units) for one in ranked[:MOST])]


def _pocket(one: Pocket, plan: Plan, units: Units) -> Paragraph:
    told = [f"{area(one.area_m2, units)} around {naming.standing(one.centre, units)}."]
    told.append(f"Chance that it is used: {share(one.chance)}; confidence {one.confidence}.")
    told += [*_reasons(one.reasons, units), *_use(one, units)]
    if one.ways_out:
        ways = " or ".join(_way_out(way, plan, units) for way in one.ways_out)
        told.append(sentence(f"pushed, they may go {ways}"))
    told.append(_water(one.water, units))
    return Paragraph(f"{one.rank}. {sentence(naming.pocket(one, plan)).removesuffix('.')}", told)


def _reasons(reasons: list[Reason], units: Units) -> list[str]:
    """The facts that decide: the best few for it, the worst against it, and what was seen there before."""
    counted_ = sorted(
        (r for r in reasons if r.worth is not None and r.fact not in TOLD_APART),
        key=lambda r: -(r.worth or 0),
    )
    speak_for = [_short(r.words) for r in counted_ if (r.worth or 0) >= FOR][:SPEAKERS]
    against = [_short(r.words) for r in reversed(counted_) if (r.worth or 0) < FOR][:SPEAKERS]
    open_ = [r.words for r in reasons if r.worth is None]
    parts = (("for it", speak_for), ("against it", against), ("besides", open_))
    return [sentence(f"{name}: {in_units('; '.join(words), units)}") for name, words in parts if words]


def _short(words: str) -> str:
    """The fact without its explanation."""
    return words.split(";", maxsplit=1)[0]


def _use(one: Pocket, units: Units) -> list[str]:
    """Where to look first, where they lie, where they cross."""
    told = []
    if one.first_light:
        words = "; then ".join(_placed(spot, one, units) for spot in one.first_light[:2])
        told.append(sentence(f"at first light look first at the {one.first_light[0].kind}: {words}"))
    if one.beds:
        told.append(_beds(one, units))
    if one.crossings:
        words = "; ".join(_crossing(crossing, one, units) for crossing in one.crossings)
        told.append(sentence(f"between the two they cross {words}"))
    return told


def _placed(spot: Spot, one: Pocket, units: Units) -> str:
    what = ", ".join(spot.words.split(", ")[:2])
    return f"{in_units(what, units)}, {naming.from_middle(spot.place, one.centre, units)}"


def _beds(one: Pocket, units: Units) -> str:
    """All beds in one breath: how many, in what, how far and on which sides."""
    middle = LonLat(one.centre.lon, one.centre.lat)
    places = [LonLat(bed.place.lon, bed.place.lat) for bed in one.beds]
    far = sorted(distance_m(middle, place) for place in places)
    sides = list(dict.fromkeys(compass(azimuth_deg(middle, place)) for place in places))
    kinds = list(dict.fromkeys(bed.words.split(",")[0] for bed in one.beds))
    near, most = distance(far[0], units), distance(far[-1], units)
    reach = near if near == most else f"{near} to {most}"
    return sentence(
        f"{counted(len(places), 'bed')} in {listed(kinds)}, {reach} off, {listed(sides)} of its middle"
    )


def _crossing(crossing: Crossing, one: Pocket, units: Units) -> str:
    return f"{AT[crossing.form]} {naming.from_middle(crossing.place, one.centre, units)}"


def _way_out(way: WayOut, plan: Plan, units: Units) -> str:
    rise = "up" if way.climb_m >= 0 else "down"
    over = next((s.name for s in plan.saddles if s.name and way.over == f"saddle {s.id}"), way.over)
    return (
        f"{compass(way.bearing_true_deg)} ({over}, {distance(way.distance_m, units)} off, "
        f"{height(abs(way.climb_m), units)} {rise})"
    )


def _water(water: list[WaterPlace], units: Units) -> str:
    if not water:
        return "No water is known near it."
    near = sorted(water, key=lambda one: (not one.sure, one.distance_m))
    words = "; ".join(_source(one, units) for one in near)
    return sentence(f"water: {words}")


def _source(one: WaterPlace, units: Units) -> str:
    return f"{one.kind} {distance(one.distance_m, units)} off{'' if one.sure else ' that may be dry'}"

"""The pockets, at most eight, and why."""

from __future__ import annotations

from graylight.plan.model import Crossing, Plan, Pocket, Reason, Spot, WaterPlace, WayOut
from graylight.telling import naming
from graylight.telling.measures import in_units
from graylight.telling.paragraph import Paragraph, counted, sentence
from graylight.units import Units, area, compass, distance, height, share

__all__ = ["MOST", "the_pockets"]

MOST = 8
"""Most pockets told unasked."""
FOR = 0.5
"""A fact worth at least this speaks for a pocket, one worth less against it. Proposed default."""


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
    told += [_crossing(crossing, one, units) for crossing in one.crossings]
    if one.ways_out:
        ways = " or ".join(_way_out(way, plan, units) for way in one.ways_out)
        told.append(sentence(f"pushed, they may go {ways}"))
    told.append(_water(one.water, units))
    return Paragraph(f"{one.rank}. {sentence(naming.pocket(one, plan)).removesuffix('.')}", told)


def _reasons(reasons: list[Reason], units: Units) -> list[str]:
    speak_for = [r.words for r in reasons if r.worth is not None and r.worth >= FOR]
    against = [r.words for r in reasons if r.worth is not None and r.worth < FOR]
    open_ = [r.words for r in reasons if r.worth is None]
    parts = (("for it", speak_for), ("against it", against), ("not counted", open_))
    return [sentence(f"{name}: {in_units('; '.join(words), units)}") for name, words in parts if words]


def _use(one: Pocket, units: Units) -> list[str]:
    told = []
    if one.first_light:
        words = "; then ".join(_placed(spot, one, units) for spot in one.first_light[:3])
        told.append(sentence(f"at first light look first at the {one.first_light[0].kind}: {words}"))
    if one.beds:
        words = "; ".join(_placed(spot, one, units) for spot in one.beds)
        told.append(sentence(f"{counted(len(one.beds), 'bed')}: {words}"))
    return told


def _placed(spot: Spot, one: Pocket, units: Units) -> str:
    return f"{in_units(spot.words, units)} ({naming.from_middle(spot.place, one.centre, units)})"


def _crossing(crossing: Crossing, one: Pocket, units: Units) -> str:
    others = len(crossing.alternates)
    if_not = f"; if not there, at {counted(others, 'other place')} near" if others else ""
    return sentence(f"crossing: {_placed(crossing, one, units)}{if_not}")


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

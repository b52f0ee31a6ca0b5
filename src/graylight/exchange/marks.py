"""The points of a plan worth carrying, in one order for every file format."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from graylight.plan.model import Approach, Lookout, Place, Plan, Pocket, Sees, Spot
from graylight.units import bearings, both_units, height, share_range

__all__ = ["SHORT", "Mark", "heading", "marks", "name_of", "reminder", "short_names", "way_words"]

SHORT = 14
"""Longest short name: receivers cut names at about this length (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Mark:
    """A point: what it is in plain words, its id and full name, where, what is to be said of it.

    Parameters
    ----------
    what
        'lookout', 'start', 'feed', 'bed', 'crossing', 'other crossing', 'water', 'way out', 'saddle',
        'peak', 'basin'.
    label
        Full name, any length.
    brief
        What the short name is made of.
    pocket
        Id of the pocket it belongs to, if any.
    facts
        Its own numbers, metres and degrees, named with their unit.
    """

    what: str
    id: str
    label: str
    brief: str
    place: Place
    words: str
    pocket: str | None = None
    shut: str | None = None
    facts: dict[str, Any] = field(default_factory=dict)


def marks(plan: Plan) -> list[Mark]:
    """All points of a plan: lookouts, starts, then pocket by pocket, then the landforms.

    Points of a pocket that is shut (private, closed) carry the reason in `shut`; what is made for walking
    by leaves them out.
    """
    found = [_lookout(seat, plan) for seat in plan.lookouts]
    found += _starts(plan)
    for pocket in plan.pockets:
        found += _pocket(pocket)
    found += [*_saddles(plan), *_peaks(plan), *_basins(plan)]
    return found


def name_of(plan: Plan, pocket_id: str) -> str:
    """Name of a pocket for people, with its id where another has the same name."""
    names = [pocket.name for pocket in plan.pockets]
    own = next((pocket.name for pocket in plan.pockets if pocket.id == pocket_id), None)
    if not own:
        return f"pocket {pocket_id}"
    return own if names.count(own) < 2 else f"{own} ({pocket_id})"


def heading(plan: Plan) -> str:
    """One line on top of every file."""
    return f"{plan.country.name}, {plan.light.date.isoformat()}"


def reminder(plan: Plan) -> str:
    """What stands in every file: what it is, its datum, whether the ground is invented, and who decides."""
    invented = "The range is invented: it does not exist. " if plan.country.invented else ""
    return (
        f"{invented}Plan for {plan.animal} made by {plan.program}. WGS 84. Nothing here says that a place is "
        "legal or safe: check current regulations, land managers and owners."
    )


def short_names(found: list[Mark]) -> list[str]:
    """Short names in plain ASCII, no two alike, cut at a word where that leaves something.

    >>> spot = Place(lat=39.3, lon=-111.5)
    >>> short_names([Mark("peak", str(i), "", "Señal del Norte Peak", spot, "") for i in (1, 2)])
    ['Senal del', 'Senal del 2']
    """
    taken: set[str] = set()
    names = []
    for mark in found:
        name = _unlike(_cut(_ascii(mark.brief) or f"{mark.what} {_ascii(mark.id)}", SHORT), taken)
        taken.add(name.lower())
        names.append(name)
    return names


def _ascii(text: str) -> str:
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    return " ".join(re.sub(r"[^A-Za-z0-9 .'-]", " ", plain).split())


def _cut(text: str, length: int) -> str:
    if len(text) <= length:
        return text
    at_word = text[: length + 1].rpartition(" ")[0].rstrip()
    return at_word if len(at_word) >= length // 2 else text[:length].rstrip()


def _unlike(name: str, taken: set[str]) -> str:
    count, tried = 1, name
    while tried.lower() in taken:
        count += 1
        tried = f"{_cut(name, SHORT - len(str(count)) - 1)} {count}"
    return tried


def _lookout(seat: Lookout, plan: Plan) -> Mark:
    hidden = [f"hides {', '.join(seat.hides)}"] if seat.hides else []
    seen = [_seen_words(sees, plan) for sees in seat.sees if sees.share.high > 0]
    words = "; ".join([*hidden, *(seen or ["nothing of a pocket shows"])])
    return Mark(
        what="lookout",
        id=seat.id,
        label=f"Lookout {seat.id}" + (f" ({seat.name})" if seat.name else ""),
        brief=f"Lookout {seat.id}",
        place=_with_height(seat.place, seat.height_m),
        words=words,
        facts={
            "worth": seat.worth,
            "hides": seat.hides,
            "walk_seconds": seat.walk_seconds,
            "sees": [_seen_facts(sees) for sees in seat.sees],
            "reasons": [reason.words for reason in seat.reasons],
        },
    )


def _with_height(place: Place, height_m: float) -> Place:
    return place if place.height_m is not None else Place(lat=place.lat, lon=place.lon, height_m=height_m)


def _seen_words(sees: Sees, plan: Plan) -> str:
    how_much = share_range(sees.share.low, sees.share.high)
    which_way = bearings(sees.bearing_true_deg, sees.bearing_magnetic_deg)
    return f"sees {how_much} of {name_of(plan, sees.pocket)} at {which_way}"


def _seen_facts(sees: Sees) -> dict[str, Any]:
    return {
        "pocket": sees.pocket,
        "share_low": sees.share.low,
        "share_likely": sees.share.likely,
        "share_high": sees.share.high,
        "distance_m": sees.distance_m,
        "bearing_true_deg": sees.bearing_true_deg,
        "bearing_magnetic_deg": sees.bearing_magnetic_deg,
    }


def _starts(plan: Plan) -> Iterator[Mark]:
    known = set()
    for way in plan.approaches:
        start = way.start
        if (start.name, start.place) in known:
            continue
        known.add((start.name, start.place))
        yield Mark(
            what="start",
            id=f"start {len(known)}",
            label=start.name or start.kind,
            brief=start.name or start.kind,
            place=start.place,
            words=start.kind,
            facts={"kind": start.kind},
        )


def _pocket(pocket: Pocket) -> Iterator[Mark]:
    first_light = {spot.id for spot in pocket.first_light}
    for spot in (*pocket.feed, *pocket.beds, *pocket.crossings):
        yield _spot(spot, pocket, at_first_light=spot.id in first_light)
    for crossing in pocket.crossings:
        for number, place in enumerate(crossing.alternates, 1):
            words = f"where they cross if not at {crossing.id}"
            yield _of_pocket(
                pocket, "other crossing", f"{crossing.id}-{number}", place=place, words=words, brief="Cross"
            )
    for number, water in enumerate(pocket.water, 1):
        words = water.kind if water.sure else f"{water.kind}, may be dry"
        facts = {"kind": water.kind, "sure": water.sure, "distance_m": water.distance_m}
        yield _of_pocket(
            pocket, "water", f"{pocket.id}-{number}", place=water.place, words=words, facts=facts
        )
    for number, way in enumerate(pocket.ways_out, 1):
        facts = way.model_dump(mode="json", exclude={"place"})
        yield _of_pocket(
            pocket,
            "way out",
            f"{pocket.id}-{number}",
            place=way.place,
            words=way.over,
            brief="Out",
            facts=facts,
        )


def _spot(spot: Spot, pocket: Pocket, *, at_first_light: bool) -> Mark:
    facts = {
        **spot.model_dump(mode="json", include={"suitability", "area_m2", "form"}),
        "first_light": at_first_light,
    }
    words = f"{spot.words}; likely at first light" if at_first_light else spot.words
    return _of_pocket(pocket, spot.kind, spot.id, place=spot.place, words=words, facts=facts)


def _of_pocket(
    pocket: Pocket,
    what: str,
    mark_id: str,
    *,
    place: Place,
    words: str,
    brief: str | None = None,
    facts: dict[str, Any] | None = None,
) -> Mark:
    return Mark(
        what=what,
        id=mark_id,
        label=f"{what.capitalize()} {mark_id}, {pocket.name or f'pocket {pocket.id}'}",
        brief=f"{brief or what.capitalize()} {mark_id}",
        place=place,
        words=words,
        pocket=pocket.id,
        shut=pocket.shut,
        facts=facts or {},
    )


def _saddles(plan: Plan) -> Iterator[Mark]:
    for saddle in plan.saddles:
        label = saddle.name or f"Saddle {saddle.id}"
        words = f"saddle between {' and '.join(saddle.between)}" if saddle.between else "saddle"
        facts = {"between": saddle.between, "below_m": saddle.below_m}
        yield Mark("saddle", saddle.id, label, label, saddle.place, words, facts=facts)


def _peaks(plan: Plan) -> Iterator[Mark]:
    for peak in plan.peaks:
        label = peak.name or f"Peak {peak.id}"
        words = f"peak, prominence {'at least ' if peak.at_least else ''}{_both(peak.prominence_m)}"
        facts = {"prominence_m": peak.prominence_m, "at_least": peak.at_least}
        yield Mark("peak", peak.id, label, label, peak.place, words, facts=facts)


def _both(height_m: float) -> str:
    """A height for a file that anybody reads."""
    return f"{height(height_m, 'us')} ({height_m:.0f} m)"


def _basins(plan: Plan) -> Iterator[Mark]:
    for basin in plan.basins:
        label = basin.name or f"Basin {basin.id}"
        facts = basin.model_dump(mode="json", include={"area_m2", "opens_true_deg", "ringed", "rim_m"})
        words = f"basin open toward {basin.opens_true_deg:.0f}° true"
        yield Mark("basin", basin.id, label, label, basin.place, words, facts=facts)


def way_words(way: Approach) -> str:
    """One line about an approach."""
    hazards = f"; {both_units('; '.join(way.hazards))}" if way.hazards else ""
    return f"on foot from {way.start.name or way.start.kind} to lookout {way.lookout}{hazards}"

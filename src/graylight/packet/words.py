"""What the pages of a packet say: told sentences put into sections, tables of bearings, places in four forms."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from graylight.drawing.furniture import INVENTED
from graylight.drawing.lettering import Box
from graylight.exchange.marks import Mark, marks, name_of, short_names
from graylight.grid import LonLat
from graylight.packet.contents import Contents, Sit
from graylight.place import PlaceForm, write_place
from graylight.plan.model import Lookout, Place, Plan, Seen, Sees
from graylight.plan.morning_model import Morning
from graylight.telling import naming
from graylight.telling.morning import tell_morning
from graylight.telling.morning_walk import taking
from graylight.telling.paragraph import Paragraph, sentence
from graylight.telling.plan import LAW, tell_plan
from graylight.units import (
    YARD_M,
    Units,
    bearing,
    distance,
    duration,
    height,
    in_units,
    share_range,
)

__all__ = [
    "DATUM",
    "Section",
    "capital",
    "cautions_of",
    "first_of",
    "flag_of",
    "forms",
    "places_of",
    "ranges_of",
    "sections",
    "sit_told",
    "title_of",
]

DATUM = "WGS 84"
FORMS: tuple[PlaceForm, ...] = ("degrees", "minutes", "utm", "usng")
LEAD, CLOCK, CARE, OPEN = "This morning", "By the clock", "Take care", "Not known"
DIAL_MM = 28.0
"""Radius of the range card's dial on the page, as in packet.typ."""
MOST_ROWS = 30
"""With more marked places than this on a lookout's range card, those that are hidden are left out."""
_ANSWERS = {"seen": "in sight", "doubtful": "doubtful", "hidden": "hidden"}


@dataclass(frozen=True, slots=True)
class Section:
    """Sentences under a heading, and lines with a heading of their own each."""

    heading: str
    text: list[str]
    rows: list[tuple[str, str]] = field(default_factory=list)

    def told(self) -> dict[str, Any]:
        """For a page."""
        return {
            "heading": self.heading,
            "text": " ".join(self.text),
            "rows": [list(row) for row in self.rows],
        }


def sections(paragraphs: Sequence[Paragraph]) -> list[Section]:
    """Paragraphs as sections: a heading that runs in begins a line of the section before it."""
    found: list[Section] = []
    for one in paragraphs:
        if one.run_in and found:
            found[-1].rows.append((one.heading or "", " ".join(one.sentences)))
        else:
            found.append(Section(one.heading or "", list(one.sentences)))
    return found


def title_of(contents: Contents) -> str:
    """Name of the country and the day."""
    return f"{capital(contents.plan.country.name)}, {naming.day(contents.asked.date)}"


def first_of(contents: Contents) -> list[dict[str, Any]]:
    """What the plan tells first: where to sit, the way there, the light."""
    told = sections(tell_plan(contents.plan, contents.country.settings.units))
    wanted = [
        one for one in told if one.heading in ("Where to sit", "How to get there", "Light", "The light")
    ]
    return [one.told() for one in wanted]


def flag_of(plan: Plan) -> str:
    """What stands on every page of an invented range."""
    return INVENTED if plan.country.invented else ""


def forms(place: Place) -> dict[str, str]:
    """A place in degrees, degrees and minutes, UTM and USNG; the last two are not defined beyond 84 N and 80 S."""
    here = LonLat(place.lon, place.lat)
    polar = not -80.0 <= place.lat <= 84.0
    return {form: "" if polar and form in ("utm", "usng") else write_place(here, form) for form in FORMS}


# --- a morning -----------------------------------------------------------------------------------------------------


def sit_told(sit: Sit, contents: Contents) -> dict[str, Any]:
    """A lookout's page: the lead, the clock, what shows and what does not, the way, the wind."""
    units = contents.country.settings.units
    told = {} if sit.morning is None else {s.heading: s for s in sections(tell_morning(sit.morning, units))}
    lead = told.pop(LEAD, None)
    clock = told.pop(CLOCK, None)
    for heading in (CARE, OPEN):
        told.pop(heading, None)
    return {
        "id": sit.lookout.id,
        "title": sentence(naming.lookout(sit.lookout.id)).removesuffix("."),
        "day": naming.day(contents.asked.date),
        "place": forms(sit.lookout.place),
        "height": height(sit.lookout.height_m, units),
        "lead": _lead(lead.text) if lead is not None else [sentence(sit.why_none)],
        "clock": {"text": " ".join(clock.text), "rows": [list(r) for r in clock.rows]}
        if clock is not None
        else None,
        "sees": [_sees(one, contents.plan, units) for one in _in_sight(sit.lookout)],
        "hides": [sentence(in_units(words, units)) for words in sit.lookout.hides],
        "turn": _turn(sit),
        "times": _times(sit.morning),
        "sections": [one.told() for one in told.values()],
        "named": list(sit.strip.named),
    }


def _lead(told: list[str]) -> list[str]:
    """The lead without what the page's head says already: the flag and the date."""
    return [words for words in told if not words.startswith("This range is invented")]


def _in_sight(seat: Lookout) -> list[Sees]:
    return sorted((s for s in seat.sees if s.shows), key=lambda s: (-s.share.likely, s.pocket))


def _sees(one: Sees, plan: Plan, units: Units) -> dict[str, str]:
    """A row: the pocket, how much shows, how far, both bearings, up or down, its places by answer."""
    lying = (
        "level"
        if abs(one.down_deg) < 0.5
        else f"{abs(one.down_deg):.0f}° {'down' if one.down_deg > 0 else 'up'}"
    )
    row = {
        "pocket": capital(name_of(plan, one.pocket)), "share": share_range(one.share.low, one.share.high),
        "distance": distance(one.distance_m, units), "true": _degrees(one.bearing_true_deg),
        "magnetic": "–" if one.bearing_magnetic_deg is None else _degrees(one.bearing_magnetic_deg), "tilt": lying,
    }  # fmt: skip
    for answer in _ANSWERS:
        row[answer] = ", ".join(_short(p.spot, one.pocket) for p in one.places if p.answer == answer) or "–"
    return row


def _short(spot: str, pocket: str) -> str:
    return spot.removeprefix(f"{pocket}-")


def _degrees(angle: float) -> str:
    return bearing(angle, "true").removesuffix(" true")


def _turn(sit: Sit) -> str:
    if sit.morning is None:
        return ""
    way = sit.morning.way
    by = None if way is None else way.turn_round_by
    if by is None:
        return ""
    when = naming.moment(by, sit.morning.light, step_minutes=5, way="earlier")
    return (
        f"Wherever you are on the way in, turn round by {when}, to be back by civil dusk. Sooner in bad weather, or when "
        "the way is not as told."
    )


def _times(morning: Morning | None) -> list[list[str]]:
    """Leave by, on foot, back: the figures looked for first."""
    if morning is None or morning.way is None:
        return []
    way, light = morning.way, morning.light
    found = []
    if way.leave_by is not None:
        found.append(["leave by", naming.moment(way.leave_by, light, step_minutes=5, way="earlier")])
    found.append(["on foot", taking(morning, way)])
    if light.usable_from is not None:
        found.append(["usable light", naming.moment(light.usable_from, light)])
    if light.sunrise is not None:
        found.append(["sunrise", naming.moment(light.sunrise, light)])
    if way.back_seconds is not None:
        found.append(["the way back", duration(way.back_seconds)])
    return found


# --- range card and places -----------------------------------------------------------------------------------------


def ranges_of(sit: Sit, contents: Contents) -> dict[str, Any]:
    """The range card of a lookout: each marked place by pocket, with distance, bearings and whether it shows."""
    units = contents.country.settings.units
    spots = [
        s
        for one in _in_sight(sit.lookout)
        for s in sorted(one.places, key=lambda p: (p.bearing_true_deg, p.spot))
    ]
    told = spots if len(spots) <= MOST_ROWS else [spot for spot in spots if spot.answer != "hidden"]
    unit_m, name, step = (YARD_M, "yd", 250.0) if units == "us" else (1.0, "m", 250.0)
    farthest = max((spot.distance_m for spot in spots), default=0.0) / unit_m
    while farthest / step > 6:
        step *= 2
    rings = max(math.ceil(farthest / step), 1)
    light = contents.plan.light if sit.morning is None else sit.morning.light
    return {
        "id": sit.lookout.id, "place": forms(sit.lookout.place), "height": height(sit.lookout.height_m, units),
        "rows": [_range(spot, units) for spot in told],
        "left": len(spots) - len(told), "dots": _dots(spots, rings * step * unit_m, rings),
        "step": f"{step:,.0f}", "steps": [f"{step * ring:,.0f}" for ring in range(1, rings + 1)], "rings": rings, "unit": name,
        "declination_deg": light.declination_deg,
    }  # fmt: skip


_SIDES = (
    (1.2, -1.2, "left"), (-10.2, -1.2, "right"), (1.0, -3.4, "left"), (1.0, 1.0, "left"), (-10.0, -3.4, "right"),
    (-10.0, 1.0, "right"),
)  # fmt: skip
"""Where a dot's name may stand: its corner from the dot, millimetres, and the side it is set to, the best first."""


def _dots(spots: list[Seen], edge_m: float, rings: int) -> list[dict[str, Any]]:
    """Dots of the card, and beside which of their sides their names find room (millimetres), if any."""
    # the rings' own numbers stand beside the line to the north
    taken: list[Box] = [
        (0.0, -DIAL_MM * ring / rings - 1.8, 7.5, -DIAL_MM * ring / rings + 1.2)
        for ring in range(1, rings + 1)
    ]
    at = {spot.spot: _on_dial(spot, edge_m) for spot in spots}
    taken += [(x - 0.8, y - 0.8, x + 0.8, y + 0.8) for x, y in at.values()]
    dots = []
    for spot in sorted(spots, key=lambda s: tuple(_ANSWERS).index(s.answer)):
        x, y = at[spot.spot]
        label = None if spot.answer == "hidden" else _beside(x, y, taken)
        facts = {"id": spot.spot, "answer": spot.answer, "true_deg": spot.bearing_true_deg}
        dots.append({**facts, "part": math.hypot(x, y) / DIAL_MM, "label": label})
    return dots


def _on_dial(spot: Seen, edge_m: float) -> tuple[float, float]:
    """Millimetres right of and below the middle."""
    far, turn = DIAL_MM * min(spot.distance_m / edge_m, 1.0), math.radians(spot.bearing_true_deg)
    return far * math.sin(turn), -far * math.cos(turn)


def _beside(x: float, y: float, taken: list[Box]) -> list[Any] | None:
    """The first free seat for a name beside a dot, which is then taken."""
    for dx, dy, side in _SIDES:
        left = x + dx + (0.0 if side == "left" else 3.0)
        box = (left, y + dy, left + 6.0, y + dy + 2.4)
        if all(box[0] >= b[2] or box[2] <= b[0] or box[1] >= b[3] or box[3] <= b[1] for b in taken):
            taken.append(box)
            return [dx, dy, side]
    return None


def _yards(distance_m: float, units: Units) -> str:
    """Whole tens of yards or metres: a card is for glass and rangefinder."""
    unit_m, name = (YARD_M, "yd") if units == "us" else (1.0, "m")
    return f"{10 * math.floor(distance_m / unit_m / 10 + 0.5):,} {name}"


def _range(spot: Seen, units: Units) -> dict[str, str]:
    magnetic = "–" if spot.bearing_magnetic_deg is None else _degrees(spot.bearing_magnetic_deg)
    return {
        "id": spot.spot, "kind": spot.kind, "distance": _yards(spot.distance_m, units), "magnetic": magnetic,
        "true": _degrees(spot.bearing_true_deg), "answer": _ANSWERS[spot.answer], "why": in_units(spot.why, units),
    }  # fmt: skip


def places_of(contents: Contents) -> list[dict[str, str]]:
    """Starts, lookouts, middles of the pockets, and the marked places in sight, each in four forms.

    The short name is the one that a receiver shows, because both come from the same list.
    """
    plan, units = contents.plan, contents.country.settings.units
    found = [mark for mark in marks(plan) if mark.shut is None]
    seen = {s.pocket for sit in contents.sits for s in _in_sight(sit.lookout)}
    rows = []
    for mark, name in zip(found, short_names(found), strict=True):
        if mark.what in ("start", "lookout") or (
            mark.pocket in seen and mark.what in ("feed", "bed", "crossing", "water")
        ):
            rows.append(_place_row(mark, name, units))
    middles = [p for p in plan.pockets if p.shut is None]
    for pocket in middles:
        row = {
            "name": pocket.id,
            "words": f"middle of {name_of(plan, pocket.id)}",
            "height": _high(pocket.centre, units),
        }
        rows.append({**row, **forms(pocket.centre)})
    return rows


def _place_row(mark: Mark, name: str, units: Units) -> dict[str, str]:
    words = "" if mark.label == name else mark.label
    return {"name": name, "words": words, "height": _high(mark.place, units), **forms(mark.place)}


def _high(place: Place, units: Units) -> str:
    return "" if place.height_m is None else height(place.height_m, units)


# --- the rest ------------------------------------------------------------------------------------------------------


def cautions_of(contents: Contents) -> tuple[list[str], list[str]]:
    """All cautions and all that is not known, of the plan and of the mornings, each once; the law last."""
    units = contents.country.settings.units
    mornings = [sit.morning for sit in contents.sits if sit.morning is not None]
    care = _once([*contents.plan.cautions, *(words for one in mornings for words in one.cautions)])
    unknown = _once([*contents.plan.not_known, *(words for one in mornings for words in one.not_known)])
    said = [sentence(in_units(words, units)) for words in care]
    return [*said, LAW], [sentence(in_units(words, units)) for words in unknown]


def _once(words: Iterable[str]) -> list[str]:
    return list(dict.fromkeys(words))


def capital(words: str) -> str:
    """With a capital first."""
    return words[:1].upper() + words[1:]

"""The pack-out page: what there is to carry, how long it takes from each pocket, and what goes with it."""

from __future__ import annotations

import math
from typing import Any

from graylight.exchange.marks import name_of
from graylight.packet.contents import Contents
from graylight.plan.carry import Carry
from graylight.telling.paragraph import sentence
from graylight.units import Units, duration

__all__ = ["carrying_told"]

LB_KG = 0.45359237
"""International pound: exact by definition (1959)."""
ADVICE = (
    "Boned out, in game bags, hung in shade where air moves: heat in the meat spoils it before the walk does.",
    "Wheels and motors, carts included, are barred in designated wilderness: packs and stock alone.",
    "Evidence of sex, tags and what must be carried out first are a matter of current regulations: check them.",
    "Go back for the next load by daylight and with a light, and tell the person at home that you will be late.",
    "Carcasses draw bears: come back talking, look from a distance first.",
)
"""Common practice, no source."""


def carrying_told(contents: Contents) -> dict[str, Any]:
    """Head, rows by pocket, and advice."""
    units, carrying = contents.country.settings.units, contents.carrying
    pack = contents.country.settings.pack
    head = []
    if carrying.not_known is not None:
        head.append(sentence(f"not known: {carrying.not_known}"))
    if carrying.loads is not None:
        loads = carrying.loads
        people = "one person" if pack.people == 1 else f"{pack.people} people"
        trips = "one trip" if loads.trips == 1 else f"{loads.trips} trips each"
        head.append(
            f"About {_weight(loads.weight_kg, units)} of meat, head and cape: {people}, {trips}, "
            f"{_weight(loads.each_kg, units)} on the back; {loads.dressing_hours:g} h at the animal first."
        )
        head.append(
            f"Hours run from the kill until all of it is at the start, by day, without rests. More than "
            f"{pack.hours_limit:g} h is too far, by the limit set."
        )
    rows = [_row(one, contents, units) for one in carrying.pockets]
    return {"head": head, "rows": rows, "advice": list(ADVICE)}


def _row(one: Carry, contents: Contents, units: Units) -> dict[str, str]:
    out = one.out
    known = math.isfinite(out.hours)
    return {
        "pocket": name_of(contents.plan, one.pocket.id), "start": one.start or "–",
        "walk": duration(out.loaded_seconds) if math.isfinite(out.loaded_seconds) else "–",
        "hours": f"{math.floor(out.hours)} to {math.ceil(out.hours_high)} h" if known and math.isfinite(out.hours_high) else "–",
        "veto": "" if out.veto is None else sentence(_in_pounds(out.veto, units)),
    }  # fmt: skip


def _in_pounds(words: str, units: Units) -> str:
    if units == "metric":
        return words
    parts = words.split(" kg")
    if len(parts) == 1:
        return words
    before, _, number = parts[0].rpartition(" ")
    said = _weight(float(number), units) if number.replace(".", "").isdigit() else f"{number} kg"
    return f"{before} {said}{' kg'.join(parts[1:])}"


def _weight(kg: float, units: Units) -> str:
    """To a pound or a kilogram.

    >>> _weight(18.875, "us"), _weight(18.875, "metric")
    ('42 lb', '19 kg')
    """
    return f"{kg / LB_KG:.0f} lb" if units == "us" else f"{kg:.0f} kg"

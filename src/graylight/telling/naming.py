"""What pockets, lookouts, animals and moments are called when spoken of."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from typing import Literal
from zoneinfo import ZoneInfo

from graylight.grid import LonLat, azimuth_deg, distance_m
from graylight.place import write_place
from graylight.plan.model import Light, Lookout, Place, Plan, Pocket
from graylight.units import Units, clock, compass, distance, height

__all__ = [
    "animal",
    "best_name",
    "best_seat",
    "day",
    "lookout",
    "members",
    "moment",
    "of",
    "offset",
    "pocket",
    "pocket_of",
    "ranked",
    "reach",
    "seat",
    "sides",
    "spot",
    "standing",
]

_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
    "November", "December",
)  # fmt: skip
MIDDLE_M = 30.0
"""Nearer than this a place is at the middle."""
YARDS_UP_TO_M = 1000.0
"""A reach that ends within this is told in yards or metres at both ends."""
ALONG = 0.5
"""Bearings whose mean vector is at least this long lie mostly to one side. Proposed default."""
_DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def animal(name: str) -> str:
    """Name of a profile as words: 'mule-deer-summer' is 'mule deer, summer'."""
    if " " in name or "-" not in name:
        return name
    *kind, season = name.split("-")
    return f"{' '.join(kind)}, {season}"


def day(date: dt.date) -> str:
    """Date with its weekday, in English whatever the machine's language."""
    return f"{_DAYS[date.weekday()]} {date.day} {_MONTHS[date.month - 1]} {date.year}"


def lookout(lookout_id: str) -> str:
    """A lookout by its id; see `seat` for the person's name for it."""
    return lookout_id if lookout_id.lower().startswith("lookout") else f"lookout {lookout_id}"


def seat(one: Lookout) -> str:
    """A lookout of the plan, with the person's name for it."""
    return lookout(one.id) if one.name is None else f"{lookout(one.id)} ({one.name})"


def pocket(one: Pocket, plan: Plan) -> str:
    """Its name (with its id where another has the same name), or its id."""
    if not one.name:
        return _pocket_id(one.id)
    alike = sum(other.name == one.name for other in plan.pockets)
    return one.name if alike < 2 else f"{one.name} ({one.id})"


def pocket_of(plan: Plan, pocket_id: str) -> str:
    """The same, from an id."""
    found = next((one for one in plan.pockets if one.id == pocket_id), None)
    return _pocket_id(pocket_id) if found is None else pocket(found, plan)


def _pocket_id(pocket_id: str) -> str:
    return pocket_id if pocket_id.lower().startswith("pocket") else f"pocket {pocket_id}"


def ranked(plan: Plan) -> list[Pocket]:
    """The pockets that count, best first."""
    return sorted((one for one in plan.pockets if one.shut is None), key=lambda one: (one.rank, one.id))


def best_name(plan: Plan) -> str:
    """Id of the best single lookout; empty where the plan has none."""
    seat = best_seat(plan)
    return "" if seat is None else seat.id


def best_seat(plan: Plan) -> Lookout | None:
    """The best single lookout."""
    if not plan.lookouts:
        return None
    singles = [one for one in plan.sets if one.k == 1 and one.lookouts]
    best = singles[0].lookouts[0] if singles else plan.lookouts[0].id
    return next((seat for seat in plan.lookouts if seat.id == best), plan.lookouts[0])


def members(plan: Plan) -> list[Lookout]:
    """The lookouts told in full: the best one, then the others of the best sets."""
    best = best_seat(plan)
    ids = {name for one in plan.sets for name in one.lookouts}
    others = [seat for seat in plan.lookouts if seat.id in ids and seat is not best]
    return [] if best is None else [best, *others]


def of(place: Place, origin: LonLat) -> tuple[float, float]:
    """Distance in metres and azimuth in degrees of a place as seen from another."""
    there = LonLat(place.lon, place.lat)
    return distance_m(origin, there), azimuth_deg(origin, there)


def offset(place: Place, middle: Place, units: Units) -> str:
    """Where a place lies as seen from the middle of its pocket: easier to hear than degrees."""
    away_m, azimuth = of(place, LonLat(middle.lon, middle.lat))
    return "at the middle" if away_m < MIDDLE_M else f"{distance(away_m, units)} {compass(azimuth)}"


def reach(low_m: float, high_m: float, units: Units) -> str:
    """A range of distances in one unit.

    >>> reach(366.0, 845.0, "us"), reach(366.0, 1845.0, "us"), reach(366.0, 845.0, "metric")
    ('400 to 920 yd', '0.2 to 1.1 mi', '370 to 850 m')
    """
    if high_m > YARDS_UP_TO_M:
        step_m, unit = (0.1 * 1609.344, "mi") if units == "us" else (100.0, "km")
        low, high = (f"{math.floor(m / step_m + 0.5) / 10:.1f}" for m in (low_m, high_m))
    else:
        step_m, unit = (9.144, "yd") if units == "us" else (10.0, "m")
        low, high = (f"{math.floor(m / step_m + 0.5) * 10:,}" for m in (low_m, high_m))
    return f"about {high} {unit}" if low == high else f"{low} to {high} {unit}"


def sides(azimuths_deg: Sequence[float]) -> str:
    """On which sides: one or two compass words, else the side most lie on, else all around.

    >>> sides([80.0, 130.0]), sides([350.0, 45.0, 85.0]), sides([0.0, 120.0, 240.0])
    ('east and south-east', 'mostly north-east', 'on all sides')
    """
    words = list(dict.fromkeys(compass(one) for one in azimuths_deg))
    if len(words) <= 2:
        return " and ".join(words)
    east = sum(math.sin(math.radians(one)) for one in azimuths_deg)
    north = sum(math.cos(math.radians(one)) for one in azimuths_deg)
    if math.hypot(east, north) < ALONG * len(azimuths_deg):
        return "on all sides"
    return f"mostly {compass(math.degrees(math.atan2(east, north)) % 360.0)}"


def spot(place: Place, units: Units) -> str:
    """A place in degrees, with its height: one notation is enough to read aloud."""
    high = "" if place.height_m is None else f", at {height(place.height_m, units)}"
    return f"{write_place(LonLat(place.lon, place.lat), 'degrees')}{high}"


def standing(place: Place, units: Units) -> str:
    """A place in degrees and as a grid square (where there is one), with its height."""
    here = LonLat(place.lon, place.lat)
    square = f" ({write_place(here, 'usng')})" if -80.0 <= place.lat <= 84.0 else ""
    high = "" if place.height_m is None else f", at {height(place.height_m, units)}"
    return f"{write_place(here, 'degrees')}{square}{high}"


def moment(
    when: dt.datetime, light: Light, *, step_minutes: int = 1, way: Literal["nearest", "earlier"] = "nearest"
) -> str:
    """Clock time with its zone; a moment on another day than the plan's says so."""
    words = clock(when, light.timezone, step_minutes=step_minutes, way=way)
    days = (when.astimezone(ZoneInfo(light.timezone)).date() - light.date).days
    return words + {0: "", -1: " the day before", 1: " the next day"}.get(days, f" ({days:+d} days)")

"""What pockets, lookouts, animals and moments are called when spoken of."""

from __future__ import annotations

import datetime as dt
from typing import Literal
from zoneinfo import ZoneInfo

from graylight.grid import LonLat, azimuth_deg, distance_m
from graylight.place import write_place
from graylight.plan.model import Light, Place, Plan, Pocket
from graylight.units import Units, clock, compass, distance, height

__all__ = ["animal", "day", "from_middle", "lookout", "moment", "pocket", "pocket_of", "standing"]

_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
    "November", "December",
)  # fmt: skip
MIDDLE_M = 30.0
"""Nearer than this a place is at the middle."""
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
    """A lookout has no name of its own."""
    return lookout_id if lookout_id.lower().startswith("lookout") else f"lookout {lookout_id}"


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


def from_middle(place: Place, middle: Place, units: Units) -> str:
    """Where a place lies as seen from the middle of its pocket: easier to hear than degrees."""
    here, there = LonLat(middle.lon, middle.lat), LonLat(place.lon, place.lat)
    away_m = distance_m(here, there)
    if away_m < MIDDLE_M:
        return "at its middle"
    return f"{distance(away_m, units)} {compass(azimuth_deg(here, there))} of its middle"


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

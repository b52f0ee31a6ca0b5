"""How quantities are said at the edge: feet and miles or metres and kilometres, shares, times by the clock.

Inside the program everything is metres, seconds, degrees and UTC. Here it turns into words, rounded to what
the data can bear: heights to 10 ft (5 m), shares to 5 %, walking times to 10 minutes.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Literal, TypeAlias
from zoneinfo import ZoneInfo

from graylight.errors import BadInput

__all__ = [
    "Units",
    "area",
    "bearing",
    "bearings",
    "both_units",
    "clock",
    "compass",
    "distance",
    "duration",
    "duration_range",
    "height",
    "in_units",
    "load_each",
    "part_of",
    "read_distance",
    "refused_in",
    "share",
    "share_range",
    "small_height",
    "weight",
]

Units: TypeAlias = Literal["us", "metric"]

FOOT_M = 0.3048
"""International foot: exact by definition (1959)."""
YARD_M = 3 * FOOT_M
MILE_M = 5280 * FOOT_M
ACRE_M2 = 43_560 * FOOT_M**2

_WINDS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


def height(height_m: float, units: Units) -> str:
    """Height or climb: whole 10 ft, or whole 5 m.

    >>> height(3121.2, "us"), height(3121.2, "metric")
    ('10,240 ft', '3,120 m')
    """
    if units == "us":
        return f"{_to(height_m / FOOT_M, 10):,} ft"
    return f"{_to(height_m, 5):,} m"


def small_height(height_m: float, units: Units) -> str:
    """A small difference of height: whole feet, or metres; under half of one is told so.

    >>> small_height(2.1, "us"), small_height(0.1, "metric")
    ('7 ft', 'under 1 m')
    """
    unit_m, word = (FOOT_M, "ft") if units == "us" else (1.0, "m")
    whole = _to(height_m / unit_m, 1)
    return f"{whole:,} {word}" if whole else f"under 1 {word}"


def distance(distance_m: float, units: Units) -> str:
    """Distance on the ground: whole 10 yd up to half a mile, then tenths of a mile; 10 m up to 1 km.

    >>> distance(320.0, "us"), distance(1290.0, "us"), distance(1290.0, "metric")
    ('350 yd', '0.8 mi', '1.3 km')
    """
    near, unit_m, far_unit_m, far = (
        ("yd", YARD_M, MILE_M, "mi") if units == "us" else ("m", 1.0, 1000.0, "km")
    )
    limit_m = MILE_M / 2 if units == "us" else 1000.0
    short = _to(distance_m / unit_m, 10)
    if short * unit_m < limit_m:
        return f"{short} {near}" if short else f"under 10 {near}"
    count = distance_m / far_unit_m
    return f"{count:.1f} {far}" if count < 9.95 else f"{_to(count, 1):,} {far}"


_LENGTHS = {"ft": FOOT_M, "yd": YARD_M, "mi": MILE_M, "m": 1.0, "km": 1000.0}


def read_distance(text: str) -> float:
    """Metres of a distance as people type it; miles where no unit is given would be a guess, so one is asked for.

    Raises
    ------
    BadInput
        No number above zero, or no unit of length.

    >>> round(read_distance("1.2mi")), read_distance("800 m")
    (1931, 800.0)
    """
    match = re.fullmatch(r"\s*([0-9]*\.?[0-9]+)\s*(ft|yd|mi|m|km)\s*", text.lower())
    if match is None or not 0.0 < float(match[1]) < 1e9:
        wrong = "can't be read" if match is None else "is none, or far too long"
        raise BadInput(
            f'the distance {text!r} {wrong}; accepted is a number with ft, yd, mi, m or km, above 0, such as "1.2mi"; write it so'
        )
    return float(match[1]) * _LENGTHS[match[2]]


def area(area_m2: float, units: Units) -> str:
    """Area: acres or hectares, to two figures at most; square miles or square kilometres when it is country.

    >>> area(243_000.0, "us"), area(243_000.0, "metric")
    ('60 acres', '25 hectares')
    """
    small_m2, small, large_m2, large = (
        (ACRE_M2, "acre", MILE_M**2, "square mile")
        if units == "us"
        else (10_000.0, "hectare", 1e6, "square kilometre")
    )
    count, name = area_m2 / small_m2, small
    if area_m2 >= 4 * large_m2:
        count, name = area_m2 / large_m2, large
    whole = _figures(count)
    if whole < 1:
        return f"under 1 {name}"
    return f"{whole:,} {name}{'' if whole == 1 else 's'}"


POUND_KG = 0.45359237
"""International pound: exact by definition (1959)."""


def weight(weight_kg: float, units: Units) -> str:
    """A load: whole 5 lb, or whole kilograms.

    >>> weight(24.9, "us"), weight(24.9, "metric")
    ('55 lb', '25 kg')
    """
    return f"{_to(weight_kg / POUND_KG, 5):,} lb" if units == "us" else f"{_to(weight_kg, 1):,} kg"


def load_each(weight_kg: float, loads: int, units: Units) -> str:
    """One of some loads of equal weight, so that all of them together are no less than the whole as it is told.

    >>> load_each(37.8, 2, "us"), load_each(37.8, 2, "metric")
    ('43 lb', '19 kg')
    """
    whole = _to(weight_kg / POUND_KG, 5) if units == "us" else _to(weight_kg, 1)
    return f"{-(-whole // loads):,} {'lb' if units == 'us' else 'kg'}"


def duration(seconds: float) -> str:
    """A time taken, 'about', to 10 minutes (5 below an hour).

    >>> duration(7900.0)
    'about 2 h 10'
    """
    step = 5 if seconds < 3600 else 10
    minutes = _to(seconds / 60.0, step)
    return f"about {_hours(minutes)}" if minutes else "under 5 min"


def duration_range(low_s: float, high_s: float, *, step_minutes: int | None = None) -> str:
    """A time taken as a range, rounded outward to 10 minutes (5 when all of it is below an hour), or to `step_minutes`.

    >>> duration_range(7900.0, 10000.0)
    '2 h 10 to 2 h 50'
    """
    step = step_minutes or (5 if high_s < 3600 else 10)
    low, high = _outward(low_s / 60.0, high_s / 60.0, step)
    if high == 0:
        return "under 5 min"
    if low == high:
        return f"about {_hours(high)}"
    if low == 0:
        return f"up to {_hours(high)}"
    if high < 60:
        return f"{low} to {high} min"
    return f"{_hours(low)} to {_hours(high)}"


def share(fraction: float) -> str:
    """A share to 5 %; only a true nothing is called none.

    >>> share(0.58), share(0.01), share(0.0)
    ('about 60 %', 'under 5 %', 'none')
    """
    if fraction <= 0.0:
        return "none"
    percent = _to(100.0 * fraction, 5)
    if percent < 5:
        return "under 5 %"
    return f"about {percent} %" if percent < 100 else "over 95 %"


def part_of(fraction: float) -> str:
    """A measured part of a whole, as a percentage that does not round to none or all of it.

    >>> part_of(0.0002), part_of(0.374), part_of(0.99997)
    ('under 1 %', '37 %', 'over 99 %')
    """
    if 0.0 < fraction < 0.01:
        return "under 1 %"
    return "over 99 %" if 0.99 < fraction < 1.0 else f"{100.0 * fraction:.0f} %"


def share_range(low: float, high: float) -> str:
    """A share as a range, each end to 5 %.

    >>> share_range(0.46, 0.71), share_range(0.0, 0.09)
    ('45 to 70 %', 'up to 10 %')
    """
    first, last = _to(100.0 * low, 5), _to(100.0 * high, 5)
    if first == last or high <= 0.0:
        return share((low + high) / 2.0)
    return f"{first} to {last} %" if first else f"up to {last} %"


def bearing(angle_deg: float, north: Literal["true", "magnetic"]) -> str:
    """A bearing to whole degrees, with the north it counts from.

    >>> bearing(243.4, "magnetic")
    '243° magnetic'
    """
    return f"{_to(angle_deg, 1) % 360}° {north}"


def bearings(true_deg: float, magnetic_deg: float | None) -> str:
    """Both bearings; where there is no magnetic one, that is said.

    >>> bearings(253.7, 243.4)
    '243° magnetic (254° true)'
    """
    if magnetic_deg is None:
        return f"{bearing(true_deg, 'true')} (no magnetic bearing)"
    return f"{bearing(magnetic_deg, 'magnetic')} ({bearing(true_deg, 'true')})"


def compass(azimuth_deg: float) -> str:
    """One of eight compass words for an azimuth from true north.

    >>> compass(50.0)
    'north-east'
    """
    return _WINDS[math.floor(azimuth_deg / 45.0 + 0.5) % 8]


def clock(
    when: dt.datetime, timezone: str, *, step_minutes: int = 1, way: Literal["nearest", "earlier"] = "nearest"
) -> str:
    """A moment by the local clock, always with its zone.

    Parameters
    ----------
    when
        An aware moment.
    timezone
        IANA name, such as "America/Denver".
    step_minutes, way
        Round to whole steps of so many minutes, to the nearest or to the earlier (for a time to leave by).

    >>> clock(dt.datetime(2026, 8, 27, 11, 38, 20, tzinfo=dt.UTC), "America/Denver")
    '05:38 MDT'
    """
    step_s = 60 * step_minutes
    steps = when.timestamp() / step_s
    stamp = (math.floor(steps) if way == "earlier" else math.floor(steps + 0.5)) * step_s
    local = dt.datetime.fromtimestamp(stamp, ZoneInfo(timezone))
    return f"{local:%H:%M} {_zone(local)}"


def _zone(local: dt.datetime) -> str:
    """MDT and the like; zones that only have a number are written UTC-03."""
    name = local.tzname() or ""
    return name if name and name[0].isalpha() else f"UTC{name}"


def _to(value: float, step: int) -> int:
    return math.floor(value / step + 0.5) * step


def _figures(value: float) -> int:
    """Two figures at most, and no finer than fives above twenty."""
    if value < 100.0:
        return _to(value, 1 if value < 20.0 else 5)
    return _to(value, 10 ** (math.floor(math.log10(value)) - 1))


def _outward(low: float, high: float, step: int) -> tuple[int, int]:
    # A hair of slack, so that exactly 2 h 10 stays 2 h 10.
    return math.floor(low / step + 1e-9) * step, math.ceil(high / step - 1e-9) * step


def _hours(minutes: int) -> str:
    hours, rest = divmod(minutes, 60)
    if not hours:
        return f"{rest} min"
    return f"{hours} h {rest:02d}" if rest else f"{hours} h"


_MEASURE = re.compile(
    r"(?<![\w.,-])(?<!to )(?P<number>\d[\d,]*(?:\.\d+)?) (?P<unit>m|metres|km|ha|hectares)\b(?! \([\d,]+ ft)"
)
_METRES = {"m": 1.0, "metres": 1.0, "km": 1000.0}
_GRID = {"cell", "cells", "grid", "raster", "elevation"}
"""A grid is known by its metres in every system of units."""
_HEIGHT_AFTER = {"at", "above", "below", "by", "up", "down", "climb", "over"}
_HEIGHT_BEFORE = {"high", "higher", "low", "lower", "above", "below", "up", "down", "tall", "deep"}
"""After or before one of these words a measure is a height, else a distance."""


def in_units(words: str, units: Units) -> str:
    """Words with their metric measures said in the listener's units.

    What already has feet beside it, ranges ("150 to 300 m") and sizes of grid cells are left as they are.

    >>> in_units("feed at 3105 m, water within 350 m, 12 hectares of feed, on a 10 m grid", "us")
    'feed at 10,190 ft, water within 380 yd, 30 acres of feed, on a 10 m grid'
    >>> in_units("water within 350 m", "metric")
    'water within 350 m'
    """
    if units == "metric":
        return words
    return _MEASURE.sub(lambda found: _said(found, units), words)


def both_units(words: str) -> str:
    """Words with their metric measures in feet, miles or acres, and as they were beside them: for files that anybody reads.

    >>> both_units("steep ground for 120 m")
    'steep ground for 130 yd (120 m)'
    """
    return _MEASURE.sub(_both, words)


@contextmanager
def refused_in(units: Units) -> Iterator[None]:
    """Let what is refused inside give its lengths in the listener's units.

    Raises
    ------
    BadInput
        As it was raised, its measures said anew.
    """
    try:
        yield
    except BadInput as error:
        raise type(error)(in_units(str(error), units)) from None


def _both(found: re.Match[str]) -> str:
    said = _said(found, "us")
    return said if said == found.group() else f"{said} ({found.group()})"


def _said(found: re.Match[str], units: Units) -> str:
    size, unit = float(found["number"].replace(",", "")), found["unit"]
    if unit not in _METRES:
        return area(size * 10_000.0, units)
    before = re.findall(r"\w+", found.string[: found.start()])[-2:]
    after = re.findall(r"\w+", found.string[found.end() :])[:2]
    if _GRID & {*before, *after}:
        return found.group()
    if _HEIGHT_AFTER & {*before[-1:]} or _HEIGHT_BEFORE & {*after[:1]}:
        return height(size * _METRES[unit], units)
    return distance(size * _METRES[unit], units)

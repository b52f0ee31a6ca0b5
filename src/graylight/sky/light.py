"""The light of the day by the almanac: twilight, sunrise, noon, sunset, legal light and usable light."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from graylight.errors import BadInput
from graylight.grid import LonLat
from graylight.sky.sun import Times, on_record, sun_path
from graylight.sky.zone import timezone_of

__all__ = ["CIVIL_DEG", "NAUTICAL_DEG", "SUNRISE_DEG", "LightOfDay", "light_of_day", "solar_noon"]

NAUTICAL_DEG, CIVIL_DEG = -12.0, -6.0
SUNRISE_DEG = -50.0 / 60.0
"""Upper edge of the disc on a level horizon: 16' of semidiameter and 34' of refraction, by convention."""

_STEP_S, _STEPS = 1200, 36  # 20 minutes, 36 of them from solar midnight to noon
_PARTS, _ROUNDS = 5, 2  # to 48 s, over which the sun strays from evenness by 0.0001 degrees at most
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class LightOfDay:
    """Moments of one day's light at one place, UTC to the second; None where the sun does not pass.

    They belong to the noon of the local calendar day: the dawn before it and the dusk after it, each within
    12 hours. Where the clock runs far from the sun, or in summer near the polar circle, the dusk may so fall
    after local midnight, on the next date; it is still the dusk that ends this day.
    """

    date: date
    timezone: str
    nautical_dawn: datetime | None
    civil_dawn: datetime | None
    usable_from: datetime | None
    legal_from: datetime | None
    sunrise: datetime | None
    noon: datetime
    sunset: datetime | None
    legal_until: datetime | None
    usable_until: datetime | None
    civil_dusk: datetime | None
    nautical_dusk: datetime | None


def light_of_day(
    place: LonLat, day: date, *, height_m: float = 0.0, usable_sun_deg: float = -8.0, legal_minutes: int = 30
) -> LightOfDay:
    """The moments of a day's light, by a level horizon.

    Parameters
    ----------
    place
        WGS 84 degrees.
    day
        Date on the calendar of the place's own time zone, 1900 to 2050.
    height_m
        Height of the place. It does *not* dip the horizon: the almanac's sunrise, on which legal hours
        rest, is by a level horizon at the place; and high country looks out on higher or equal ground, not
        on a sea. The ground's own horizon is `graylight.sky.shade`.
    usable_sun_deg
        Sun altitude at first and last usable light through good glass. Default -8, a proposal (range -12 to
        -6, no source).
    legal_minutes
        Legal light begins this long before sunrise and ends this long after sunset. Rules differ by state
        and change: current regulations control.

    Returns
    -------
    LightOfDay
        Nautical -12 and civil -6 degrees, geometric; sunrise and sunset -50' (definitions of the almanac).

    Raises
    ------
    BadInput
        The place is not on the globe, the date is not on record, or the zone's calendar has no such day.
    """
    zone = timezone_of(place)
    noon = solar_noon(place, day)
    levels = np.array([NAUTICAL_DEG, CIVIL_DEG, usable_sun_deg, SUNRISE_DEG])
    dawns, dusks = _passages(place, noon, levels, height_m=height_m)
    legal = timedelta(minutes=legal_minutes)
    return LightOfDay(
        date=day,
        timezone=zone,
        nautical_dawn=dawns[0],
        civil_dawn=dawns[1],
        usable_from=dawns[2],
        legal_from=None if dawns[3] is None else dawns[3] - legal,
        sunrise=dawns[3],
        noon=_clock(noon),
        sunset=dusks[3],
        legal_until=None if dusks[3] is None else dusks[3] + legal,
        usable_until=dusks[2],
        civil_dusk=dusks[1],
        nautical_dusk=dusks[0],
    )


def solar_noon(place: LonLat, day: date) -> np.datetime64:
    """When the sun passes the meridian on a local calendar day, UTC, datetime64[us].

    Where a zone has moved across the date line and left a day out, that day is refused.
    """
    moment = _local_noon(timezone_of(place), on_record(day))
    for _ in range(2):  # the second round takes up the change of the equation of time, at most 0.1 s/h
        turned = sun_path(place, height_m=0.0, times=np.array([moment])).hour_angle_deg[0]
        moment -= np.timedelta64(round(turned / 15.0 * 3600e6), "us")
    return moment


def _local_noon(zone: str, day: date) -> np.datetime64:
    local = datetime(day.year, day.month, day.day, 12, tzinfo=ZoneInfo(zone))
    there = local.astimezone(UTC)
    if there.astimezone(local.tzinfo).replace(tzinfo=None) != local.replace(tzinfo=None):
        raise BadInput(
            f"the calendar of {zone} has no {day.isoformat()}: the zone crossed the date line; accepted is "
            "any other day; choose the day before or after"
        )
    return np.datetime64(there.replace(tzinfo=None), "us")


def _passages(
    place: LonLat, noon: np.datetime64, levels: NDArray[np.float64], *, height_m: float
) -> tuple[list[datetime | None], list[datetime | None]]:
    """When the sun last rises through each level before noon, and first falls through it after."""
    times = noon + np.arange(-_STEPS, _STEPS + 1) * np.timedelta64(_STEP_S, "s")
    over = sun_path(place, height_m=height_m, times=times).altitude_deg[:, None] >= levels
    rises = ~over[:_STEPS] & over[1 : _STEPS + 1]
    falls = over[_STEPS:-1] & ~over[_STEPS + 1 :]
    last = _STEPS - 1 - np.argmax(rises[::-1], axis=0)
    first = _STEPS + np.argmax(falls, axis=0)
    found = np.concatenate([rises.any(axis=0), falls.any(axis=0)])
    begin = times[np.concatenate([last, first])]
    rising = np.repeat([True, False], len(levels))
    moments: list[datetime | None] = [None] * (2 * len(levels))
    which = np.flatnonzero(found)
    exact = _narrowed(place, begin[which], np.tile(levels, 2)[which], rising[which], height_m=height_m)
    for i, moment in zip(which, exact, strict=True):
        moments[i] = _clock(moment)
    return moments[: len(levels)], moments[len(levels) :]


def _narrowed(
    place: LonLat, begin: Times, levels: NDArray[np.float64], rising: NDArray[np.bool_], *, height_m: float
) -> Times:
    """Moments at which levels are passed, each within one step after its beginning."""
    pick = np.arange(begin.size)
    width_us = _STEP_S * 1_000_000
    low, high = np.zeros(begin.size), np.zeros(begin.size)
    for _ in range(_ROUNDS):
        width_us //= _PARTS
        times = begin[:, None] + np.arange(_PARTS + 1) * np.timedelta64(width_us, "us")
        altitude = sun_path(place, height_m=height_m, times=times.ravel()).altitude_deg.reshape(times.shape)
        past = (altitude >= levels[:, None]) == rising[:, None]
        at = np.where(past[:, 1:].any(axis=1), np.argmax(past[:, 1:], axis=1), _PARTS - 1)
        begin, low, high = times[pick, at], altitude[pick, at], altitude[pick, at + 1]
    along = np.clip((levels - low) / (high - low), 0.0, 1.0)
    return np.asarray(begin + np.rint(along * width_us).astype("timedelta64[us]"))


def _clock(moment: np.datetime64) -> datetime:
    seconds = round(int(moment.astype("datetime64[us]").astype(np.int64)) / 1e6)
    return _EPOCH + timedelta(seconds=seconds)

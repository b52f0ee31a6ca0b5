"""Through the hours: how much animals are in the open, and how fast ground is covered in the light there is."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import NamedTuple

from graylight.settings import RecordSettings

__all__ = ["DayLight", "Slice", "in_the_open", "light_part", "slices"]

STEP = dt.timedelta(minutes=10)


@dataclass(frozen=True, slots=True)
class DayLight:
    """The light that rules a day, aware moments.

    Parameters
    ----------
    usable_from, usable_until
        Between them one can see; None: at no hour of that day.
    sunrise, sunset
        None where the sun does not pass the horizon: then usable light stands for it.
    """

    usable_from: dt.datetime | None
    sunrise: dt.datetime | None
    sunset: dt.datetime | None
    usable_until: dt.datetime | None


class Slice(NamedTuple):
    """A piece of an outing: its middle, hours, how much animals are in the open, how fast ground is covered, twilight."""

    at: dt.datetime
    hours: float
    open: float
    light: float
    dim: bool


def in_the_open(at: dt.datetime, day: DayLight, settings: RecordSettings, *, bed_by_minutes: float) -> float:
    """How much animals are in the open at a moment, 1 at first light; 0 without usable light. Rule of thumb.

    Full until `full_minutes` after sunrise, then falling evenly to `midday` at `bed_by_minutes` after sunrise;
    the same backward from sunset [common practice, no source: the best windows are first light to 2-3 h after
    sunrise and the last 2 h].
    """
    if day.usable_from is None or day.usable_until is None or not day.usable_from <= at <= day.usable_until:
        return 0.0
    after = (at - (day.sunrise or day.usable_from)).total_seconds() / 60.0
    before = ((day.sunset or day.usable_until) - at).total_seconds() / 60.0
    full, gone = float(settings.full_minutes), max(bed_by_minutes, settings.full_minutes + 1.0)
    near = max(0.0, min(1.0, (gone - min(after, before)) / (gone - full)))
    return settings.midday + (1.0 - settings.midday) * near


def light_part(at: dt.datetime, day: DayLight, weather: str, settings: RecordSettings) -> float:
    """How fast ground is covered at a moment beside clear daylight, by twilight and weather."""
    if day.usable_from is None or day.usable_until is None or not day.usable_from <= at <= day.usable_until:
        return 0.0
    thick = {"fog": settings.fog, "rain": settings.wet, "snow": settings.wet}.get(weather, 1.0)
    return (settings.twilight if _dim(at, day) else 1.0) * thick


def _dim(at: dt.datetime, day: DayLight) -> bool:
    """Whether the sun is below the horizon."""
    return (day.sunrise is not None and at < day.sunrise) or (day.sunset is not None and at > day.sunset)


def slices(
    begin: dt.datetime,
    end: dt.datetime,
    day: DayLight,
    *,
    weather: str,
    settings: RecordSettings,
    bed_by_minutes: float,
) -> list[Slice]:
    """A span of time cut into pieces of at most ten minutes, each judged at its middle."""
    found = []
    count = max(1, -(-int((end - begin).total_seconds()) // int(STEP.total_seconds())))
    step = (end - begin) / count
    for i in range(count):
        middle = begin + (i + 0.5) * step
        found.append(
            Slice(
                middle, step.total_seconds() / 3600.0,
                in_the_open(middle, day, settings, bed_by_minutes=bed_by_minutes),
                light_part(middle, day, weather, settings), _dim(middle, day),
            )
        )  # fmt: skip
    return found

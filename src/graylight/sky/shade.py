"""Shade by the hour, and when the sun first and last reaches the ground: horizons along the sun's own path."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, date, datetime

import numpy as np
from numpy.typing import NDArray

from graylight.errors import BadInput
from graylight.grid import LonLat
from graylight.kernels.skyline import NONE, PER_DEG, UNKNOWN, meet_sun
from graylight.sky.beyond import Beyond
from graylight.sky.horizon import Codes, Horizon
from graylight.sky.light import light_of_day, solar_noon
from graylight.sky.sun import sun_path, upper_limb_deg
from graylight.sky.surface import NODATA_PERCENT, Dimming, Surface
from graylight.work import Tick, in_bands, silent

__all__ = ["NODATA_PERCENT", "Moment", "Shade", "bytes_needed", "moment", "shade"]

Raster = NDArray[np.float32]

_MIDDAY = range(10 * 60, 16 * 60 + 1, 30)
_MINUTES = sorted({*range(0, 24 * 60 + 1, 15)} - {*range(10 * 60, 16 * 60)} | {*_MIDDAY})
"""Of solar time, at which the sun is placed: steps of 2 to 15 minutes err alike (docs/sky.md), and in the middle of the
day, when few cells get or lose it, half hours do."""
_SUNRISE, _SUNSET = -1, -2
_ROWS_AT_ONCE = 256


@dataclass(frozen=True, slots=True, eq=False)
class Shade:
    """Shade over one day.

    Parameters
    ----------
    midday : (rows, cols) float32
        Mean shade from 10 to 16 h local solar time by half hours, 0 to 1; 1 is full shade. NaN where the
        ground is not known.
    hours : (n,) float64
        Whole local solar hours (sun on the meridian at 12) at which any of the sun is above the level
        horizon; empty in the polar night.
    by_hour : (n, rows, cols) uint8
        Shade at these hours in per cent; 255 where the ground is not known.
    first_sun_s, last_sun_s : (rows, cols) float32
        Seconds after 00:00 UTC of the day's date when direct sun first reaches the ground and last leaves it;
        NaN: no sun that day, or ground not known. Below zero or over 86 400 where the local day lies on two UTC
        dates. Where the sun does not set, the day runs from solar midnight to solar midnight.
    sun_s : (rows, cols) float32
        Seconds of direct sun in the day, less any shadow between first and last; NaN: ground not known. Of the
        terrain alone: canopy, and ground that faces away, take nothing off.
    beyond_s : two of (rows, cols) float32, or None
        When the sun is first, and last, clear of the ground beyond the country's edge; None: no such ground was given.
    """

    midday: Raster
    hours: NDArray[np.float64]
    by_hour: NDArray[np.uint8]
    first_sun_s: Raster
    last_sun_s: Raster
    sun_s: Raster
    beyond_s: tuple[Raster, Raster] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Moment:
    """Light on the ground at one moment.

    Parameters
    ----------
    azimuth_true_deg, limb_deg
        Where the sun stands: azimuth, and apparent altitude of its upper edge above the level horizon.
    lit : (rows, cols) uint8
        1 where the terrain leaves any of the sun, 0 where none; 255: ground not known.
    shade_percent : (rows, cols) uint8
        Shade as `Shade.by_hour` has it; 255: ground not known.
    """

    azimuth_true_deg: float
    limb_deg: float
    lit: NDArray[np.uint8]
    shade_percent: NDArray[np.uint8]


def shade(
    elevation_m: Raster,
    slope_deg: Raster,
    aspect_deg: Raster,
    *,
    cell_m: float,
    convergence_deg: float,
    place: LonLat,
    day: date,
    closure: Raster | None = None,
    beyond: Beyond | None = None,
    tick: Tick = silent,
) -> Shade:
    """Shade of the ground by the hour, from the sun's own path on a date.

    The beam is the part of the sun's direct beam, as it falls on a surface turned squarely to it, that the
    ground gets: ``lit * max(0, cos i) * (1 - closure)``, with i the angle between the sun and the ground's
    normal. Shade is 1 less the beam: level ground under a low sun counts as largely in shade, which is what
    it means for warmth. Lit is ground from which any of the disc stands above the terrain.

    Parameters
    ----------
    elevation_m, slope_deg, aspect_deg : (rows, cols) float32
        Ground in metres, its slope, and its aspect clockwise from *true* north. NaN elevation casts no shadow
        and gets no answer; NaN slope or aspect on known ground is taken as level.
    cell_m
        Side of a cell.
    convergence_deg
        True azimuth less grid azimuth, as `Grid.convergence_deg` gives it.
    place
        Middle of the country: one sun for all of it (20 km away it stands up to 0.2 degrees otherwise).
    day
        Date on the place's own calendar, 1900 to 2050.
    closure : (rows, cols) float32, optional
        Part of the sky closed by the canopy, 0 to 1; none or NaN: no canopy known, none taken.
    beyond
        The ground beyond the country's edge; None: nothing is taken to stand there.
    tick
        Progress.

    Returns
    -------
    Shade

    Notes
    -----
    The horizon of every cell is worked out below the sun each 15 minutes of solar time (30 from 10 to 16 h), at
    sunrise and at sunset; first and last sun are where the height of the sun over it, taken linearly in time, passes
    zero. Not modelled: without `beyond`, ground beyond the grid (a ridge 600 m higher 15 km away delays sunrise by about
    12 min); with it, such ground within 180 m of the edge, and what is smaller than its cells; slanting light under the
    edge of a canopy, diffuse light, clouds.

    Raises
    ------
    BadInput
        Rasters of different shape, a cell size that is none, a place or date without a sun on record.
    """
    ground = Surface.of(
        elevation_m,
        slope_deg,
        aspect_deg,
        closure,
        cell_m=cell_m,
        convergence_deg=convergence_deg,
        beyond=beyond,
    )
    return _day_long(ground, _Day.of(place, day), tick=tick)


def moment(ground: Surface, *, place: LonLat, time: datetime, kept: Horizon | None = None) -> Moment:
    """Which ground is lit at a moment, and its shade: a map for a clock that is dragged.

    Parameters
    ----------
    ground
        The layers, brought together once.
    place
        Middle of the country.
    time
        With its time zone; 1900 to 2050.
    kept
        The country's horizon in a ring of directions: quicker, but taken between two of them. Without it the
        horizon is worked out below the sun, as `shade` does.

    Raises
    ------
    BadInput
        A time without a zone or without a sun on record, or a kept horizon of other ground.
    """
    if time.tzinfo is None:
        raise BadInput(f"the time {time} has no zone; accepted is a time with one; add UTC or the local zone")
    if kept is not None and kept.codes.shape[1:] != ground.shape:
        raise BadInput(
            f"a horizon of {kept.codes.shape[1:]} cells for ground of {ground.shape}; accepted is one shape; "
            "work the horizon out anew"
        )
    utc = np.array([time.astimezone(UTC).replace(tzinfo=None)], "datetime64[us]")
    path = sun_path(place, height_m=0.0, times=utc)
    azimuth_deg, altitude_deg = float(path.azimuth_deg[0]), float(path.altitude_deg[0])
    limb_deg = float(upper_limb_deg(path.altitude_deg)[0])
    into = Dimming.none(ground.shape)
    # with the sun down any horizon will do: none lies below level
    below = ground.horizon(azimuth_deg) if kept is None or limb_deg < 0 else kept.codes_at(azimuth_deg)
    outer = ground.horizon_beyond(azimuth_deg, limb_deg)
    below = below if outer is None else np.maximum(below, outer)
    ground.dim(below, limb_deg * PER_DEG, _toward(azimuth_deg, altitude_deg), into)
    return Moment(azimuth_deg, limb_deg, into.lit, into.percent)


def bytes_needed(shape: tuple[int, int], *, hours: int = 16) -> int:
    """Memory that `shade` takes at its highest, its own results included, for a day of so many hours."""
    return shape[0] * shape[1] * (hours + 13 * 4)


def _day_long(ground: Surface, sun: _Day, *, tick: Tick) -> Shade:
    """Set the sun on its path, place after place, and keep what each of them says."""
    by_hour = np.empty((len(sun.hours), *ground.shape), dtype=np.uint8)
    into, met = Dimming.none(ground.shape), _Meetings.none(ground.shape)
    far = None if ground.beyond is None else _Meetings.none(ground.shape)
    level = np.where(np.isnan(ground.elevation_m), UNKNOWN, NONE).astype(np.int16)
    for i, minute in enumerate(sun.minutes):
        below = ground.horizon(sun.azimuth_deg[i])
        if far is not None:
            outer = ground.horizon_beyond(sun.azimuth_deg[i], sun.limb_code[i] / PER_DEG)
            below = below if outer is None else np.maximum(below, outer)
            far.note(level if outer is None else outer, limb_code=sun.limb_code[i], now_s=sun.seconds[i])
        met.note(below, limb_code=sun.limb_code[i], now_s=sun.seconds[i])
        if minute % 60 == 0 or minute in _MIDDAY:
            ground.dim(
                below, sun.limb_code[i], sun.toward(i), into,
                weight=1.0 / len(_MIDDAY) if minute in _MIDDAY else 0.0,
            )  # fmt: skip
            if minute % 60 == 0 and minute < 24 * 60:
                by_hour[sun.hour_index(minute)] = into.percent
        tick((i + 1) / len(sun.minutes))
    midday = into.total + np.float32(sun.dark_midday())
    for known in (midday, met.sun_s):
        known[np.isnan(ground.elevation_m)] = np.nan
    return Shade(
        np.clip(midday, 0.0, 1.0),
        sun.hours,
        by_hour,
        met.first_s,
        met.last_s,
        met.sun_s,
        None if far is None else (far.first_s, far.last_s),
    )


def _toward(azimuth_deg: float, altitude_deg: float) -> tuple[float, float, float]:
    """Unit vector to the sun: east, north, up."""
    azimuth, altitude = math.radians(azimuth_deg), math.radians(max(altitude_deg, 0.0))
    level = math.cos(altitude)
    return level * math.sin(azimuth), level * math.cos(azimuth), math.sin(altitude)


@dataclass(frozen=True, slots=True, eq=False)
class _Day:
    """The moments of a day at which horizons are looked at, all with some of the sun above the level horizon.

    `minutes` are of local solar time, below zero for sunrise and sunset, which need not be whole ones;
    `limb_code` is the upper edge's apparent altitude in the unit of the horizon.
    """

    minutes: list[int]
    seconds: list[float]
    azimuth_deg: list[float]
    altitude_deg: list[float]
    limb_code: list[float]
    hours: NDArray[np.float64]

    @classmethod
    def of(cls, place: LonLat, day: date) -> _Day:
        """The sun of a day over a place, sunrise and sunset among its moments."""
        minutes = np.array(_MINUTES)
        times = solar_noon(place, day) + (minutes - 12 * 60) * np.timedelta64(60, "s")
        light = light_of_day(place, day)
        for mark, edge in ((_SUNRISE, light.sunrise), (_SUNSET, light.sunset)):
            if edge is not None:
                minutes = np.append(minutes, mark)
                times = np.append(times, np.datetime64(edge.replace(tzinfo=None), "us"))
        path = sun_path(place, height_m=0.0, times=times)
        limb = np.where(minutes < 0, 0.0, upper_limb_deg(path.altitude_deg))
        up = np.flatnonzero((limb > 0.0) | (minutes < 0))
        up = up[np.argsort(times[up], kind="stable")]
        seconds = (times - np.datetime64(day, "us")) / np.timedelta64(1, "s")
        whole = minutes[up]
        return cls(
            minutes=whole.tolist(),
            seconds=seconds[up].tolist(),
            azimuth_deg=path.azimuth_deg[up].tolist(),
            altitude_deg=path.altitude_deg[up].tolist(),
            limb_code=(limb[up] * PER_DEG).tolist(),
            hours=whole[(whole >= 0) & (whole < 24 * 60) & (whole % 60 == 0)] / 60.0,
        )

    def toward(self, i: int) -> tuple[float, float, float]:
        """Unit vector to the sun: east, north, up."""
        return _toward(self.azimuth_deg[i], self.altitude_deg[i])

    def hour_index(self, minute: int) -> int:
        """Where a whole hour stands among `hours`."""
        return int(np.searchsorted(self.hours, minute / 60.0))

    def dark_midday(self) -> float:
        """Part of the middle of the day with no sun at all: full shade everywhere."""
        return len(set(_MIDDAY) - set(self.minutes)) / len(_MIDDAY)


@dataclass(slots=True, eq=False)
class _Meetings:
    """When the sun comes over each cell's horizon and goes under it, as the day goes on."""

    first_s: Raster
    last_s: Raster
    sun_s: Raster
    before: Codes | None = None
    limb_before: float = 0.0
    before_s: float = 0.0

    @classmethod
    def none(cls, shape: tuple[int, int]) -> _Meetings:
        """Before the day: the sun has met nothing yet."""
        never = np.full(shape, np.nan, dtype=np.float32)
        return cls(never, never.copy(), np.zeros(shape, dtype=np.float32))

    def note(self, below: Codes, *, limb_code: float, now_s: float) -> None:
        """Take in one more moment: where the sun has come or gone since the last."""
        before = self.before
        if before is not None:
            span = (limb_code, self.limb_before, now_s, self.before_s)

            def run(row0: int, row1: int) -> None:
                meet_sun(below, before, *span, row0, row1, self.first_s, self.last_s, self.sun_s)

            in_bands(run, below.shape[0], rows_at_once=_ROWS_AT_ONCE)
        self.before, self.limb_before, self.before_s = below, limb_code, now_s

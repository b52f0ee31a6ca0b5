"""Shade by the hour, and when the sun first reaches the ground: cast shadows along the sun's own path."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from graylight.errors import BadInput
from graylight.grid import LonLat
from graylight.kernels.horizon import cast_shadow, first_light, shade_percent
from graylight.sky.light import light_of_day, solar_noon
from graylight.sky.sun import sun_path, upper_limb_deg
from graylight.work import Tick, in_bands, silent

__all__ = ["NODATA_PERCENT", "Shade", "bytes_needed", "height_above_shadow", "shade"]

Raster = NDArray[np.float32]

NODATA_PERCENT = 255
"""What `Shade.by_hour` holds where the ground is not known."""

_SWEEP_MINUTES = 10
_MIDDAY = range(10 * 60, 16 * 60 + 1, 30)
_LINES_AT_ONCE = 512
_ROWS_AT_ONCE = 256
_OVERHEAD_DEG = 89.99
"""Higher than this no ground casts a shadow across a cell, and the tangent runs away."""


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
    first_sun_s : (rows, cols) float32
        Seconds after 00:00 UTC of the day's date when direct sun first reaches the ground; NaN: not that day,
        or ground not known. Below zero or over 86 400 where the local day lies on two UTC dates.
    """

    midday: Raster
    hours: NDArray[np.float64]
    by_hour: NDArray[np.uint8]
    first_sun_s: Raster


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
    tick
        Progress.

    Returns
    -------
    Shade

    Notes
    -----
    One shadow sweep each 10 minutes of solar time, and one at sunrise. First sun is taken between two sweeps
    from how far the cell stood in the shadow and then above it. Not modelled: ground beyond the grid (a ridge
    600 m higher 15 km away delays sunrise by about 12 min), curvature, slanting light under the edge of a
    canopy, diffuse light, clouds.

    Raises
    ------
    BadInput
        Rasters of different shape, a cell size that is none, a place or date without a sun on record.
    """
    ground = _Ground.of(elevation_m, slope_deg, aspect_deg, closure, cell_m=cell_m)
    return _swept(ground, _Day.of(place, day), convergence_deg=convergence_deg, tick=tick)


def height_above_shadow(
    elevation_m: Raster, *, cell_m: float, azimuth_grid_deg: float, altitude_deg: float, tick: Tick = silent
) -> Raster:
    """Height of the ground above the shadow that the terrain casts, for one place of the sun.

    Parameters
    ----------
    elevation_m : (rows, cols) float32
        Ground in metres; NaN casts no shadow.
    cell_m
        Side of a cell.
    azimuth_grid_deg, altitude_deg
        Toward the sun, clockwise from *grid* north, and above the horizontal, 0 to 90.

    Returns
    -------
    (rows, cols) float32
        Metres; negative in shadow, +inf where no ground lies toward the sun (the grid's sunward edge), NaN
        where the ground is NaN.

    Notes
    -----
    Elevation is linear between cell centres along each row (or column, whichever the light crosses more of
    squarely). Curvature and refraction along the ray are not modelled: they lower ground 5 km away by 1.7 m.
    """
    ground = np.ascontiguousarray(elevation_m, dtype=np.float32)
    tangent = math.tan(math.radians(min(altitude_deg, _OVERHEAD_DEG)))
    return _cast(ground, cell_m=cell_m, azimuth_deg=azimuth_grid_deg, tangent=tangent, tick=tick)[0]


def _cast(
    ground: Raster, *, cell_m: float, azimuth_deg: float, tangent: float, tick: Tick = silent
) -> tuple[Raster, Raster]:
    """Height above the shadow, and distance to what casts it, for the tangent of the sun's altitude."""
    above, away = np.empty_like(ground), np.empty_like(ground)
    base, main, main_step, cross, cross_step, lean = _sweep(ground.shape, math.radians(azimuth_deg))
    step_m = cell_m * math.hypot(1.0, lean)
    offset = math.ceil(max((main - 1) * lean, 0.0))
    lines = cross + math.ceil((main - 1) * abs(lean)) + 1
    way = (base, main, main_step, cross, cross_step, lean, step_m, step_m * tangent, offset)

    def run(line0: int, line1: int) -> None:
        cast_shadow(ground.ravel(), *way, line0, line1, above.ravel(), away.ravel())

    in_bands(run, lines, rows_at_once=_LINES_AT_ONCE, tick=tick)
    return above, away


def bytes_needed(shape: tuple[int, int], *, hours: int = 16) -> int:
    """Memory that `shade` takes at its highest, its own results included, for a day of so many hours."""
    return shape[0] * shape[1] * (hours + 13 * 4)


def _swept(ground: _Ground, sun: _Day, *, convergence_deg: float, tick: Tick) -> Shade:
    """Cast the shadows of the day one after the other, and keep what each of them says."""
    by_hour = np.empty((len(sun.hours), *ground.shape), dtype=np.uint8)
    midday, spare = np.zeros(ground.shape, dtype=np.float32), np.empty(ground.shape, dtype=np.uint8)
    first = _FirstSun.unseen(ground.shape)
    for i, minute in enumerate(sun.minutes):
        asked = minute % 60 == 0 or minute in _MIDDAY
        if asked or first.waiting:
            azimuth_deg = sun.azimuth_deg[i] - convergence_deg
            above, away = _cast(
                ground.elevation_m, cell_m=ground.cell_m, azimuth_deg=azimuth_deg, tangent=sun.tangent[i]
            )
            first.note(above, away, tangent=sun.tangent[i], now_s=sun.seconds[i])
            if asked:
                weight = 1.0 / len(_MIDDAY) if minute in _MIDDAY else 0.0
                out = by_hour[sun.hour_index(minute)] if minute % 60 == 0 else spare
                ground.add_shade(above, sun.toward(i), weight=weight, total=midday, out=out)
        tick((i + 1) / len(sun.minutes))
    midday += np.float32(sun.dark_midday())
    midday[np.isnan(ground.elevation_m)] = np.nan
    return Shade(np.clip(midday, 0.0, 1.0), sun.hours, by_hour, first.seconds)


def _sweep(shape: tuple[int, ...], azimuth: float) -> tuple[int, int, int, int, int, float]:
    """Where a sweep with the light begins, its cells and step along and across, and its lean."""
    rows, cols = shape
    down, right = math.cos(azimuth), -math.sin(azimuth)  # the way the light goes, in rows and columns
    if abs(down) >= abs(right):
        base, step = (0, cols) if down > 0 else ((rows - 1) * cols, -cols)
        return base, rows, step, cols, 1, _even(right / abs(down))
    base, step = (0, 1) if right > 0 else (cols - 1, -1)
    return base, cols, step, rows, cols, _even(down / abs(right))


def _even(lean: float) -> float:
    """Free of the last digits of sine and cosine, which would put lines beside the cells they run through."""
    return round(lean, 12)


@dataclass(frozen=True, slots=True, eq=False)
class _Ground:
    """The ground as the light meets it: heights, unit normals in the true frame, and the canopy's gaps."""

    elevation_m: Raster
    east: Raster
    north: Raster
    up: Raster
    through: Raster
    cell_m: float

    @classmethod
    def of(
        cls,
        elevation_m: Raster,
        slope_deg: Raster,
        aspect_deg: Raster,
        closure: Raster | None,
        *,
        cell_m: float,
    ) -> _Ground:
        _check(elevation_m, slope_deg, aspect_deg, closure, cell_m=cell_m)
        known = np.isfinite(slope_deg) & np.isfinite(aspect_deg)
        slope = np.radians(np.where(known, slope_deg, 0.0), dtype=np.float32)
        aspect = np.radians(np.where(known, aspect_deg, 0.0), dtype=np.float32)
        tilt = np.sin(slope)
        through = np.ones(elevation_m.shape) if closure is None else 1.0 - np.nan_to_num(closure)
        return cls(
            np.ascontiguousarray(elevation_m, dtype=np.float32),
            tilt * np.sin(aspect),
            tilt * np.cos(aspect),
            np.cos(slope),
            np.clip(through, 0.0, 1.0).astype(np.float32),
            cell_m,
        )

    @property
    def shape(self) -> tuple[int, int]:
        rows, cols = self.elevation_m.shape
        return rows, cols

    def add_shade(
        self,
        above: Raster,
        toward: tuple[float, float, float],
        *,
        weight: float,
        total: Raster,
        out: NDArray[np.uint8],
    ) -> None:
        """Write the shade at one moment to `out`, and add it to `total` by its weight."""

        def run(row0: int, row1: int) -> None:
            shade_percent(
                above, self.east, self.north, self.up, self.through, *toward, weight, row0, row1, total, out
            )

        in_bands(run, self.shape[0], rows_at_once=_ROWS_AT_ONCE)


@dataclass(frozen=True, slots=True, eq=False)
class _Day:
    """The moments of a day at which shadows are cast, all with some of the sun above the level horizon.

    `minutes` are of local solar time, -1 for the moment of sunrise, which need not be a whole one; `tangent`
    is that of the upper edge's apparent altitude.
    """

    minutes: list[int]
    seconds: list[float]
    azimuth_deg: list[float]
    altitude_deg: list[float]
    tangent: list[float]
    hours: NDArray[np.float64]

    @classmethod
    def of(cls, place: LonLat, day: date) -> _Day:
        minutes = np.arange(0, 24 * 60, _SWEEP_MINUTES)
        times = solar_noon(place, day) + (minutes - 12 * 60) * np.timedelta64(60, "s")
        sunrise = light_of_day(place, day).sunrise
        if sunrise is not None:
            rise = np.datetime64(sunrise.replace(tzinfo=None), "us")
            minutes, times = np.append(minutes, -1), np.append(times, rise)
        path = sun_path(place, height_m=0.0, times=times)
        limb = np.where(minutes < 0, 0.0, upper_limb_deg(path.altitude_deg))
        up = np.flatnonzero((limb > 0.0) | (minutes < 0))
        up = up[np.argsort(times[up], kind="stable")]
        seconds = (times - np.datetime64(day, "us")) / np.timedelta64(1, "s")
        return cls(
            minutes=minutes[up].tolist(),
            seconds=seconds[up].tolist(),
            azimuth_deg=path.azimuth_deg[up].tolist(),
            altitude_deg=path.altitude_deg[up].tolist(),
            tangent=np.tan(np.radians(np.minimum(limb[up], _OVERHEAD_DEG))).tolist(),
            hours=minutes[up][minutes[up] % 60 == 0] / 60.0,
        )

    def toward(self, i: int) -> tuple[float, float, float]:
        """Unit vector to the sun: east, north, up."""
        azimuth, altitude = math.radians(self.azimuth_deg[i]), math.radians(max(self.altitude_deg[i], 0.0))
        level = math.cos(altitude)
        return level * math.sin(azimuth), level * math.cos(azimuth), math.sin(altitude)

    def hour_index(self, minute: int) -> int:
        """Where a whole hour stands among `hours`."""
        return int(np.searchsorted(self.hours, minute / 60.0))

    def dark_midday(self) -> float:
        """Part of the middle of the day with no sun at all: full shade everywhere."""
        return len(set(_MIDDAY) - set(self.minutes)) / len(_MIDDAY)


@dataclass(slots=True, eq=False)
class _FirstSun:
    """When each cell was first seen in the sun, as the sweeps go on through the day."""

    seconds: Raster
    before: Raster
    away: Raster
    tangent: float = 0.0
    before_s: float = 0.0
    waiting: bool = True

    @classmethod
    def unseen(cls, shape: tuple[int, int]) -> _FirstSun:
        nothing = np.full(shape, np.nan, dtype=np.float32)
        return cls(nothing.copy(), nothing, nothing)

    def note(self, above: Raster, away: Raster, *, tangent: float, now_s: float) -> None:
        if not self.waiting:
            return
        span = (self.tangent, tangent, self.before_s, now_s)

        def run(row0: int, row1: int) -> None:
            first_light(above, self.before, self.away, *span, row0, row1, self.seconds)

        in_bands(run, above.shape[0], rows_at_once=_ROWS_AT_ONCE)
        self.before, self.away, self.tangent, self.before_s = above, away, tangent, now_s
        self.waiting = bool(np.any(np.isnan(self.seconds) & ~np.isnan(above)))


def _check(
    elevation_m: Raster, slope_deg: Raster, aspect_deg: Raster, closure: Raster | None, *, cell_m: float
) -> None:
    layers = {"elevation": elevation_m, "slope": slope_deg, "aspect": aspect_deg}
    if closure is not None:
        layers["closure"] = closure
    shapes = {name: layer.shape for name, layer in layers.items()}
    if elevation_m.ndim != 2 or elevation_m.size == 0 or len(set(shapes.values())) > 1:
        raise BadInput(
            f"layers for shade have the shapes {shapes}; accepted is one shape of rows and columns, at least "
            "1 x 1; bring them onto the country's grid first"
        )
    if not (math.isfinite(cell_m) and cell_m > 0.0):
        raise BadInput(f"a cell of {cell_m} m; accepted is a size above 0; give the grid's cell in metres")

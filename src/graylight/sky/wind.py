"""Slope winds, valley winds and the general wind over every cell, at any moment of a day. Rules of thumb.

In quiet, clear weather the air near the ground flows down slopes and valleys at night, up them by day (Zardi &
Whiteman 2013, doi:10.1007/978-94-007-4098-3_2; Schroeder & Buck 1970, Fire Weather, chapter 7). Here the turn
hangs on the sun that reaches the place itself, not on the almanac's sunrise; a general wind that is strong
enough for how exposed the ground is goes before both.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Literal, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, minimum_filter1d

from graylight.errors import BadInput
from graylight.ground.patches import smoothed
from graylight.ground.relief import slope_and_aspect
from graylight.kernels.drainage import accumulate, receivers
from graylight.kernels.wind import floors, wind
from graylight.settings import AirSettings
from graylight.wind import CALM, GeneralWind, read_wind
from graylight.work import Tick, in_bands, silent, spread

__all__ = [
    "DOUBTS", "MOVERS", "STRENGTHS", "Air", "AirDay", "AirGround", "GeneralWind", "Turns", "WindField", "air_day",
    "air_ground", "bytes_needed", "read_wind", "turns_at", "wind_field", "wind_fields",
]  # fmt: skip

Raster: TypeAlias = NDArray[np.float32]
Strength: TypeAlias = Literal["still", "faint", "light", "steady", "strong"]

MOVERS = ("nothing", "down the slope", "up the slope", "down the valley", "up the valley", "general wind")
"""What moves the air, by the codes of `WindField.mover`."""

DOUBTS = (
    "none", "the air is turning", "slope wind and general wind work against each other",
    "in the lee of a steep fall: the air turns back", "the ground is not known",
)  # fmt: skip
"""Why the air may not be relied on, by the codes of `WindField.doubt`."""

STRENGTHS: tuple[tuple[float, Strength], ...] = (
    (0.3, "still"), (1.6, "faint"), (3.4, "light"), (5.5, "steady"), (math.inf, "strong"),
)  # fmt: skip
"""Upper limits of speed in m/s: the Beaufort scale's for 0, 1, 2 and 3 (its 4 and more are one here)."""

_LEAST_RELIEF_M = 30.0
"""On ground with less relief than this nothing shelters: it counts as exposed. Proposed, no source."""
_ROWS_AT_ONCE = 128
# So few cells take no longer than a band may: they need no pool, and may be asked for from a job on it.
_AT_ONCE = 1 << 18


@dataclass(frozen=True, slots=True, eq=False)
class AirGround:
    """What the ground does to the air, whatever the day.

    Parameters
    ----------
    layers : (6, rows, cols) float32
        Fall east and north (tangents), axis of the valley east and north (down the valley, as long as the
        weight of the valley wind), exposure 0 to 1, part of the general wind felt near the ground. In the
        grid's frame. NaN in the fall: not known.
    floor : (rows, cols) int64
        Flat index of the valley floor that each cell drains to; -1 where there is none.
    cell_m, convergence_deg
        Side of a cell; true azimuth less grid azimuth.
    """

    layers: NDArray[np.float32]
    floor: NDArray[np.int64]
    cell_m: float
    convergence_deg: float

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.floor.shape[0], self.floor.shape[1]


@dataclass(frozen=True, slots=True, eq=False)
class AirDay:
    """When the air turns on a day, each raster (rows, cols) float32, seconds as the sun's times are given.

    Parameters
    ----------
    layers : (4, rows, cols) float32
        When the slope wind turns up, and down; when the valley wind turns up, and down. NaN: it does not,
        because the sun does not reach the place (or its valley's floor).
    """

    layers: NDArray[np.float32]


class Turns(NamedTuple):
    """When the air turns at one place, seconds; None where it does not.

    `unreliable` are the spans about the turns, begin and end.
    """

    up_s: float | None
    down_s: float | None
    of: Literal["slope", "valley"]
    unreliable: tuple[tuple[float, float], ...]


class Air(NamedTuple):
    """The air at one place and moment.

    `from_deg` and `toward_deg` are clockwise from true north, None where the air is still; `strength` is rough;
    `mover` and `doubt` are words of `MOVERS` and `DOUBTS`; `reliable` is false where there is a doubt, and in
    still air.
    """

    from_deg: float | None
    toward_deg: float | None
    speed_ms: float
    strength: Strength
    mover: str
    doubt: str
    reliable: bool


@dataclass(frozen=True, slots=True, eq=False)
class WindField:
    """The air over a country at one moment.

    Parameters
    ----------
    grid_east_ms, grid_north_ms : (rows, cols) float32
        Velocity near the ground in the grid's frame, toward where the air goes; NaN where not known.
    mover, doubt : (rows, cols) uint8
        What moves it (`MOVERS`), and why it may not be relied on (`DOUBTS`).
    at_s
        The moment, seconds as the sun's times are given.
    cell_m, convergence_deg
        Of the grid.
    """

    grid_east_ms: Raster
    grid_north_ms: Raster
    mover: NDArray[np.uint8]
    doubt: NDArray[np.uint8]
    at_s: float
    cell_m: float
    convergence_deg: float

    def toward_deg(self) -> Raster:
        """(rows, cols) float32, where the air carries to, clockwise from true north; NaN where it stands."""
        grid = np.degrees(np.arctan2(self.grid_east_ms, self.grid_north_ms))
        still = (self.grid_east_ms == 0.0) & (self.grid_north_ms == 0.0)
        return np.where(still, np.float32(np.nan), (grid + self.convergence_deg) % 360.0).astype(np.float32)

    def from_deg(self) -> Raster:
        """(rows, cols) float32, where the air comes from, clockwise from true north; NaN where it stands."""
        back: Raster = ((self.toward_deg() + 180.0) % 360.0).astype(np.float32)
        return back

    def speed_ms(self) -> Raster:
        """(rows, cols) float32, m/s."""
        return np.hypot(self.grid_east_ms, self.grid_north_ms)

    def at(self, row: int, col: int) -> Air:
        """The air in one cell."""
        east, north = float(self.grid_east_ms[row, col]), float(self.grid_north_ms[row, col])
        speed, doubt = math.hypot(east, north), int(self.doubt[row, col])
        toward = None
        if speed > 0.0:
            toward = (math.degrees(math.atan2(east, north)) + self.convergence_deg) % 360.0
        strength: Strength = next((name for limit, name in STRENGTHS if speed < limit), "still")
        return Air(
            None if toward is None else (toward + 180.0) % 360.0,
            toward,
            speed,
            strength,
            MOVERS[self.mover[row, col]],
            DOUBTS[doubt],
            doubt == 0 and strength != "still",
        )


def bytes_needed(shape: tuple[int, int]) -> int:
    """Memory that `air_ground`, `air_day` and one `wind_field` take together at the highest (69 a cell measured)."""
    return shape[0] * shape[1] * 96


def air_ground(
    elevation_m: Raster,
    *,
    cell_m: float,
    convergence_deg: float,
    closure: Raster | None = None,
    settings: AirSettings,
    tick: Tick = silent,
) -> AirGround:
    """What the ground does to the air: fall lines, valley axes, exposure and shelter.

    Parameters
    ----------
    elevation_m : (rows, cols) float32
        Metres, NaN for unknown.
    cell_m, convergence_deg
        Of the grid.
    closure : (rows, cols) float32, optional
        Canopy closure, 0 to 1; None or NaN: open.
    settings
        Spans and limits.
    tick
        Progress; about half a second for 1.4 million cells.

    Raises
    ------
    BadInput
        Shapes differ, or the cell size is none.

    Notes
    -----
    The ground is smoothed first. A valley's axis is that of its drainage (steepest of eight, hollows filled)
    over `valley_reach_m`; its wind has full weight at the floor and none from `valley_depth_m` above it.
    Exposure is the height between the lowest and highest ground within `exposure_m`.

    Not modelled: ground beyond the edge, forks and bends of valleys finer than that reach, gaps that the wind
    is drawn through, cold air held back by timber. Across lakes and filled hollows the axis goes by the order
    of the filling, so that ground turned round may have another one there.
    """
    _check(elevation_m, closure, cell_m)
    even = smoothed(np.ascontiguousarray(elevation_m, np.float32), span_m=settings.smooth_m, cell_m=cell_m)
    layers = np.empty((6, *elevation_m.shape), np.float32)
    layers[0], layers[1] = _fall(even, cell_m)
    tick(0.2)
    layers[2], layers[3], floor = _valleys(even, cell_m, settings)
    tick(0.7)
    layers[4] = _exposure(even, settings.exposure_m / cell_m)
    dense = 0.0 if closure is None else np.clip(np.nan_to_num(closure) / settings.shelter_closure, 0.0, 1.0)
    layers[5] = settings.open_part + (settings.timber_part - settings.open_part) * dense
    tick(1.0)
    return AirGround(layers, floor, cell_m, convergence_deg)


def _check(elevation_m: Raster, closure: Raster | None, cell_m: float) -> None:
    if elevation_m.ndim != 2 or elevation_m.size == 0:
        raise BadInput(
            f"elevation has shape {elevation_m.shape}; accepted is rows and columns with at least one cell; "
            "hand over one band"
        )
    if closure is not None and closure.shape != elevation_m.shape:
        raise BadInput(
            f"closure has shape {closure.shape}; accepted is that of the elevation, {elevation_m.shape}; "
            "bring all layers onto one grid first"
        )
    if not (math.isfinite(cell_m) and cell_m > 0.0):
        raise BadInput(f"a cell of {cell_m} m; accepted is a size above 0; give the grid's cell in metres")


def _fall(even: Raster, cell_m: float) -> tuple[Raster, Raster]:
    """Tangents of the fall to grid east and north; level ground 0, unknown NaN."""
    slope_deg, aspect_deg = slope_and_aspect(even, cell_m=cell_m)
    steep = np.tan(np.radians(slope_deg))
    facing = np.radians(np.nan_to_num(aspect_deg))
    return steep * np.sin(facing), steep * np.cos(facing)


def _valleys(even: Raster, cell_m: float, settings: AirSettings) -> tuple[Raster, Raster, NDArray[np.int64]]:
    """Axis down the valley times the weight of its wind, east and north, and the floor drained to."""
    size = even.size
    receiver, order, floor = (np.empty(size, np.int64) for _ in range(3))
    area = np.empty(size)
    receivers(even, receiver, order)
    accumulate(receiver, order, area)
    east, north = np.empty(size, np.float32), np.empty(size, np.float32)
    least, reach = settings.valley_km2 * 1e6 / cell_m**2, settings.valley_reach_m / cell_m
    floors(receiver, order, area, even.ravel(), least, reach, even.shape[1], floor, east, north)
    heights = even.ravel()
    above = heights - heights[np.maximum(floor, 0)]
    weight = np.clip(1.0 - above / np.float32(settings.valley_depth_m), 0.0, 1.0)
    weight[(floor < 0) | np.isnan(weight)] = 0.0
    shape = even.shape
    return (east * weight).reshape(shape), (north * weight).reshape(shape), floor.reshape(shape)


def _exposure(even: Raster, reach_cells: float) -> Raster:
    """Height between the lowest ground about (0) and the highest (1)."""
    size = 2 * max(1, round(reach_cells)) + 1
    low = np.where(np.isnan(even), np.float32(np.inf), even)
    high = np.where(np.isnan(even), np.float32(-np.inf), even)
    for axis in (0, 1):
        low = minimum_filter1d(low, size, axis=axis, mode="nearest")
        high = maximum_filter1d(high, size, axis=axis, mode="nearest")
    with np.errstate(invalid="ignore"):  # a window without known ground gives NaN, on ground not known itself
        high -= low
        exposure = (even - low + np.float32(_LEAST_RELIEF_M)) / (high + np.float32(_LEAST_RELIEF_M))
    return np.asarray(exposure, np.float32)


def air_day(
    ground: AirGround, first_sun_s: Raster, last_sun_s: Raster | None, *, settings: AirSettings
) -> AirDay:
    """When the air turns on a day, from when the sun comes to and leaves each place.

    Parameters
    ----------
    ground
        From `air_ground`.
    first_sun_s, last_sun_s : (rows, cols) float32
        When direct sun first and last reaches the ground, seconds after any one moment (`Shade.first_sun_s`:
        00:00 UTC of the date); NaN where it never does. No last sun: the day's wind has no end.
    settings
        How long after the sun the air turns.

    Returns
    -------
    AirDay
        A valley goes by the sun on its floor, the mean over twice `valley_reach_m` of it.
    """
    for sun in (first_sun_s, last_sun_s):
        if sun is not None and sun.shape != ground.shape:
            raise BadInput(
                f"times of the sun have shape {sun.shape}; accepted is that of the ground, {ground.shape}; "
                "work them out on the same grid"
            )
    last = np.full(ground.shape, np.nan, np.float32) if last_sun_s is None else last_sun_s
    layers = np.empty((4, *ground.shape), np.float32)
    layers[0] = first_sun_s + np.float32(60.0 * settings.up_slope_minutes)
    layers[1] = last + np.float32(60.0 * settings.down_slope_minutes)

    def valley(i: int, sun_s: Raster, minutes: float) -> None:
        layers[i] = _of_the_valley(ground, sun_s, settings) + np.float32(60.0 * minutes)

    spread(
        [
            partial(valley, 2, first_sun_s, settings.up_valley_minutes),
            partial(valley, 3, last, settings.down_valley_minutes),
        ]
    )
    return AirDay(layers)


def _of_the_valley(ground: AirGround, sun_s: Raster, settings: AirSettings) -> Raster:
    """The sun's time on the floor that each cell drains to, averaged along it: the valley wind is one stream."""
    floor = ground.floor.ravel()
    itself = (floor == np.arange(floor.size)).reshape(ground.shape)
    along = smoothed(
        np.where(itself, sun_s, np.float32(np.nan)),
        span_m=2.0 * settings.valley_reach_m,
        cell_m=ground.cell_m,
    )
    time_s: Raster = along.ravel()[np.maximum(floor, 0)]
    time_s[floor < 0] = np.nan
    return time_s.reshape(ground.shape)


def turns_at(ground: AirGround, day: AirDay, row: int, col: int, *, settings: AirSettings) -> Turns:
    """When the air turns at one place: with its valley where the valley wind has more than half the weight."""
    in_valley = math.hypot(float(ground.layers[2, row, col]), float(ground.layers[3, row, col])) > 0.5
    times = day.layers[2:, row, col] if in_valley else day.layers[:2, row, col]
    up, down = (None if np.isnan(moment) else float(moment) for moment in times)
    if up is None or (down is not None and down <= up):
        up = down = None  # the sun comes for too short a time, or not at all: it goes down all day
    half = 60.0 * settings.turn_minutes
    spans = tuple((moment - half, moment + half) for moment in (up, down) if moment is not None)
    return Turns(up, down, "valley" if in_valley else "slope", spans)


def wind_field(
    ground: AirGround, day: AirDay, at_s: float, *, general: GeneralWind = CALM, settings: AirSettings
) -> WindField:
    """The air over the country at one moment.

    Parameters
    ----------
    ground, day
        From `air_ground` and `air_day`.
    at_s
        The moment, counted as the sun's times are.
    general
        The wind of a forecast, or as felt on an open top. Without direction it does nothing.
    settings
        Speeds and limits.

    Returns
    -------
    WindField

    Notes
    -----
    Where the general wind, as forecast, has the speed that rules ground so exposed (`sheltered_ms` at the
    bottom to `exposed_ms` on crests, evenly between) it alone is felt, times `open_part` (less in timber).
    Under half that speed it is not felt at all; between, the two are added by part. Weather that keeps the sun
    off (cloud, storm) keeps the slope winds away too: that is not known here.
    """
    return wind_fields(ground, day, at_s, generals=(general,), settings=settings)[0]


def wind_fields(
    ground: AirGround, day: AirDay, at_s: float, *, generals: Sequence[GeneralWind], settings: AirSettings
) -> list[WindField]:
    """The air over the country at one moment in each of some general winds, as `wind_field` has each of them."""
    rows, shape = ground.shape[0], (len(generals), *ground.shape)
    east, north = np.empty(shape, np.float32), np.empty(shape, np.float32)
    mover, doubt = np.empty(shape, np.uint8), np.empty(shape, np.uint8)
    speeds, limits = _numbers(settings)
    toward = np.array([_toward(one, ground.convergence_deg) for one in generals]).reshape(-1, 2)
    half_s = 60.0 * settings.turn_minutes

    def run(row0: int, row1: int) -> None:
        wind(
            ground.layers,
            day.layers,
            float(at_s),
            half_s,
            speeds,
            limits,
            toward,
            row0,
            row1,
            east,
            north,
            mover,
            doubt,
        )

    if rows * ground.shape[1] <= _AT_ONCE:
        run(0, rows)
    else:
        in_bands(run, rows, rows_at_once=_ROWS_AT_ONCE)
    return [
        WindField(*one, at_s, ground.cell_m, ground.convergence_deg)
        for one in zip(east, north, mover, doubt, strict=True)
    ]


def _numbers(settings: AirSettings) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Speeds and limits as the kernel takes them."""
    s = settings
    speeds = np.array([s.down_slope_ms, s.up_slope_ms, s.down_valley_ms, s.up_valley_ms])
    steep, lee = math.tan(math.radians(s.full_slope_deg)), math.tan(math.radians(s.lee_deg))
    return speeds, np.array([steep, lee, s.exposed_ms, s.sheltered_ms])


def _toward(general: GeneralWind, convergence_deg: float) -> NDArray[np.float64]:
    """Velocity of the general wind toward grid east and north."""
    if general.toward_deg is None:
        return np.zeros(2)
    grid = math.radians(general.toward_deg - convergence_deg)
    return np.array([math.sin(grid), math.cos(grid)]) * general.speed_ms

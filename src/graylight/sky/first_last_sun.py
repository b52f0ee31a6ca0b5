"""First and last sun set right by each cell's own ray: what the swept horizons of `graylight.sky.shade` put wrong by minutes."""

from __future__ import annotations

import math
from datetime import date

import numpy as np
from numpy.typing import NDArray

from graylight.errors import BadInput
from graylight.grid import LonLat
from graylight.kernels.skyline import BLOCK, sharpen
from graylight.sky.horizon import ray_steps
from graylight.sky.light import light_of_day, solar_noon
from graylight.sky.sun import sun_path, upper_limb_deg
from graylight.work import Tick, in_bands, silent

__all__ = ["STEP_S", "sharpened"]

Raster = NDArray[np.float32]
STEP_S = 30.0
"""The sun is placed so often: a time that is set anew is right to half of it."""
WITHIN_S = 960.0
"""So far to either side of the first answer the edge is looked for."""
_OVERHEAD_DEG = 89.9


def sharpened(
    elevation_m: Raster,
    sun_s: Raster,
    *,
    last: bool = False,
    cell_m: float,
    convergence_deg: float,
    place: LonLat,
    day: date,
    beyond_s: Raster | None = None,
    tick: Tick = silent,
) -> Raster:
    """First or last sun with each cell looked at along its own rays.

    Parameters
    ----------
    elevation_m : (rows, cols) float32
        Ground, metres; NaN hides nothing.
    sun_s : (rows, cols) float32
        First (or last) sun as `graylight.sky.shade.shade` gives it.
    last
        Whether it is the last sun: then it is looked for from sunset back.
    cell_m, convergence_deg, place, day
        As there.
    beyond_s : (rows, cols) float32, optional
        When the sun is first (or last) clear of the ground beyond the edge, as there; where that decides, the time given is
        kept.
    tick
        Progress.

    Returns
    -------
    (rows, cols) float32
        Where the own ray agrees within half a minute the time given is kept; else the middle of the half minute in which
        the edge passes. Where it does not pass within a quarter of an hour (a gleam missed, a sun that comes and goes)
        the time given is kept, too.

    Raises
    ------
    BadInput
        Rasters of different shape.
    """
    if elevation_m.shape != sun_s.shape:
        raise BadInput(
            f"sun times of shape {sun_s.shape} for ground of {elevation_m.shape}; accepted is one shape; work it out anew"
        )
    out, step_s = sun_s.copy(), -STEP_S if last else STEP_S
    begin_s, way = _way_of_the_sun(place, day, cell_m, convergence_deg, step_s)
    if way.shape[0] == 0 or np.isnan(out).all():
        return out
    ground = np.ascontiguousarray(elevation_m, np.float32)
    high = _highest_of_blocks(ground)
    highest_m = float(high.max())

    def run(row0: int, row1: int) -> None:
        sharpen(ground, high, way, begin_s, step_s, int(WITHIN_S / STEP_S), highest_m, row0, row1, out)

    in_bands(run, ground.shape[0], rows_at_once=16, tick=tick)
    if beyond_s is None:
        return out
    if last:
        return np.where(beyond_s < sun_s + STEP_S / 2, sun_s, np.fmin(out, beyond_s))
    return np.where(beyond_s > sun_s - STEP_S / 2, sun_s, np.fmax(out, beyond_s))


def _highest_of_blocks(ground: Raster) -> Raster:
    """Highest ground of each block, with one more row and column."""
    known = np.where(np.isnan(ground), np.float32(-np.inf), ground)
    beside = np.full((known.shape[0] + 1, known.shape[1] + 1), -np.inf, np.float32)
    beside[:-1, :-1] = known
    most = np.maximum(
        np.maximum(beside[:-1, :-1], beside[1:, :-1]), np.maximum(beside[:-1, 1:], beside[1:, 1:])
    )
    rows, cols = (np.arange(0, side, BLOCK) for side in known.shape)
    return np.asarray(np.maximum.reduceat(np.maximum.reduceat(most, rows, axis=0), cols, axis=1), np.float32)


def _way_of_the_sun(
    place: LonLat, day: date, cell_m: float, convergence_deg: float, step_s: float = STEP_S
) -> tuple[float, NDArray[np.float64]]:
    """Time of the first step, and the ray of each: from sunrise (or solar midnight) on, while the sun is up.

    With steps below 0 from sunset (or the midnight after) back.
    """
    light, noon, half_day = light_of_day(place, day), solar_noon(place, day), np.timedelta64(12, "h")
    rise = light.sunrise if step_s > 0.0 else light.sunset
    midnight = noon - half_day if step_s > 0.0 else noon + half_day
    begin = midnight if rise is None else np.datetime64(rise.replace(tzinfo=None), "us")
    times = begin + np.arange(0.0, np.copysign(86400.0, step_s), step_s).astype("timedelta64[s]")
    times = times[np.abs(times - noon) <= half_day]
    path = sun_path(place, height_m=0.0, times=times)
    limb = upper_limb_deg(path.altitude_deg)
    limb[:1] = np.maximum(limb[:1], 0.0) if rise is not None else limb[:1]
    down = np.flatnonzero(limb < 0.0)
    count = len(limb) if down.size == 0 else int(down[0])
    rays = [
        ray_steps(math.radians(azimuth - convergence_deg), math.radians(min(high, _OVERHEAD_DEG)), cell_m)
        for azimuth, high in zip(path.azimuth_deg[:count], limb[:count], strict=True)
    ]
    seconds = float((begin - np.datetime64(day, "us")) / np.timedelta64(1, "s"))
    return seconds, np.array(rays, np.float64).reshape(-1, 4)

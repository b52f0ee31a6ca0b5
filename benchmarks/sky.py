"""Horizons, the day's shade, a moment, and glare: time, memory of the ring, and how right first sun is."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime

import numpy as np

from benchmarks.row import Row, cpu_seconds, wall_seconds
from graylight.demo.range import invent
from graylight.grid import LonLat
from graylight.ground.relief import slope_and_aspect
from graylight.settings import GlareSettings
from graylight.sky.first_sun import sharpened
from graylight.sky.glare import glare
from graylight.sky.horizon import Horizon, horizon, sunlit
from graylight.sky.light import light_of_day
from graylight.sky.shade import moment, shade
from graylight.sky.sun import sun_path, upper_limb_deg
from graylight.sky.surface import Surface

CELL_M = 10.0
PLACE, DAYS = LonLat(-114.8, 40.45), (date(2026, 8, 27), date(2026, 10, 25))
TIME = datetime(2026, 8, 27, 15, 10, tzinfo=UTC)
SEAT = (600, 600)
STEP_S = 15


def rows() -> list[Row]:
    """All on the invented range, 1.44 M cells."""
    z = invent().elevation_m
    slope, aspect = slope_and_aspect(z, cell_m=CELL_M)
    ground = Surface.of(z, slope, aspect, cell_m=CELL_M, convergence_deg=0.0)
    ring = horizon(z, cell_m=CELL_M)
    day = {"cell_m": CELL_M, "convergence_deg": 0.0, "place": PLACE}
    return [
        _ring(z),
        _cpu(z),
        Row("the same: memory kept", f"{ring.codes.nbytes / 2**20:.0f} MB", target="2 GB"),
        _shade(z, slope, aspect, day),
        *_moments(ground, ring),
        _glare(z),
        *(
            row
            for when in DAYS
            for row in _suns(z, shade(z, slope, aspect, **day, day=when).first_sun_s, when, day)
        ),
    ]


def _suns(z: np.ndarray, swept: np.ndarray, when: date, day: dict) -> list[Row]:
    """First sun as swept, set right, and what that takes."""
    right = sharpened(z, swept, **day, day=when)
    taken = cpu_seconds(lambda: sharpened(z, swept, **day, day=when), runs=1)
    return [
        _first_sun(z, right, when, "set right"),
        _first_sun(z, swept, when, "as swept"),
        Row(f"setting it right, {when:%d %B}, 1.44 M cells, user time of all threads", f"{taken:.1f} s"),
    ]


def _ring(z: np.ndarray) -> Row:
    taken = wall_seconds(lambda: horizon(z, cell_m=CELL_M), runs=3)
    return Row("horizon, 64 directions, 1.44 M cells", f"{taken:.2f} s", target="5 s")


def _cpu(z: np.ndarray) -> Row:
    return Row(
        "the same, user time of all threads",
        f"{cpu_seconds(lambda: horizon(z, cell_m=CELL_M), runs=3):.2f} s",
    )


def _shade(z: np.ndarray, slope: np.ndarray, aspect: np.ndarray, day: dict) -> Row:
    taken = wall_seconds(lambda: shade(z, slope, aspect, **day, day=DAYS[0]), runs=3)
    return Row("shade by the hour, first and last sun, 1.44 M cells", f"{taken:.2f} s")


def _moments(ground: Surface, ring: Horizon) -> list[Row]:
    fresh = wall_seconds(lambda: moment(ground, place=PLACE, time=TIME))
    kept = wall_seconds(lambda: moment(ground, place=PLACE, time=TIME, kept=ring))
    one, two = (moment(ground, place=PLACE, time=TIME, kept=k).lit for k in (None, ring))
    return [
        Row("map of a moment, 1.44 M cells, horizon worked out", f"{1000 * fresh:.0f} ms", target="100 ms"),
        Row("the same from the kept ring", f"{1000 * kept:.0f} ms", target="100 ms"),
        Row("the same: cells told otherwise", f"{100 * float((one != two).mean()):.2f} %"),
    ]


def _glare(z: np.ndarray) -> Row:
    labels = np.zeros(z.shape, np.int32)
    for i in range(12):
        row, col = 150 + 300 * (i // 4), 150 + 250 * (i % 4)
        labels[row : row + 90, col : col + 90] = i + 1
    settings = GlareSettings()
    taken = wall_seconds(
        lambda: glare(
            z, labels, SEAT, cell_m=CELL_M, convergence_deg=0.0, place=PLACE, day=DAYS[0], eye_m=1.0,
            settings=settings,
        ),
        runs=3,
    )  # fmt: skip
    return Row("glare, 12 pockets, each 10 minutes of a day", f"{taken:.2f} s")


def _first_sun(z: np.ndarray, got: np.ndarray, day: date, how: str) -> Row:
    """Error against every sampled cell's own rays, marched each 15 s from sunrise for six hours."""
    rows, cols = (a.ravel() for a in np.mgrid[300:900:12, 300:900:12])
    rise = light_of_day(PLACE, day).sunrise
    assert rise is not None
    sunrise = np.datetime64(rise.replace(tzinfo=None), "us")
    times = sunrise + np.arange(0, 6 * 3600, STEP_S) * np.timedelta64(1, "s")
    path = sun_path(PLACE, height_m=0.0, times=times)
    limb = upper_limb_deg(path.altitude_deg)
    limb[0] = max(limb[0], 0.0)
    lit = sunlit(z, rows, cols, cell_m=CELL_M, azimuth_grid_deg=path.azimuth_deg, limb_deg=limb)
    seconds = (times - np.datetime64(day, "us")) / np.timedelta64(1, "s")
    at = np.argmax(lit, axis=0)
    want = np.where(lit.any(axis=0), seconds[at] - np.where(at > 0, STEP_S / 2, 0.0), np.nan)
    off = np.abs(got[rows, cols] - want)[np.isfinite(want) & (at > 0)] / 60.0
    off = np.where(np.isnan(off), math.inf, off)
    half, ninety, last = np.percentile(off, [50, 90, 99])
    return Row(
        f"first sun {how}, {day:%d %B}: error, half, nine in ten, 99 in 100 within",
        f"{half:.2f}, {ninety:.2f}, {last:.1f} min ({100 * float((off > 1).mean()):.0f} % over 1 min)",
        "each cell's own rays every 15 s",
        target="about a minute",
    )


if __name__ == "__main__":
    for row in rows():
        print(row)

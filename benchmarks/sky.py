"""Horizons, the day's shade, a moment, and glare: time, memory of the ring, and how right first and last sun are."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime

import numpy as np

from benchmarks.row import Row, cpu_seconds, wall_seconds
from graylight.demo.range import invent
from graylight.grid import LonLat
from graylight.ground.relief import slope_and_aspect
from graylight.settings import GlareSettings
from graylight.sky.first_last_sun import sharpened
from graylight.sky.glare import glare
from graylight.sky.horizon import Horizon, horizon, sunlit
from graylight.sky.light import light_of_day
from graylight.sky.shade import Shade, moment, shade
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
        *(row for when in DAYS for row in _suns(z, shade(z, slope, aspect, **day, day=when), when, day)),
    ]


def _suns(z: np.ndarray, swept: Shade, when: date, day: dict) -> list[Row]:
    """First and last sun as swept, set right, and what that takes."""
    found = []
    for last, times in ((False, swept.first_sun_s), (True, swept.last_sun_s)):
        right = sharpened(z, times, last=last, **day, day=when)
        found += [_sun(z, right, when, "set right", last=last), _sun(z, times, when, "as swept", last=last)]
    taken = cpu_seconds(lambda: sharpened(z, swept.first_sun_s, **day, day=when), runs=1)
    what = f"setting first sun right, {when:%d %B}, 1.44 M cells, user time of all threads"
    return [*found, Row(what, f"{taken:.1f} s")]


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


def _sun(z: np.ndarray, got: np.ndarray, day: date, how: str, *, last: bool) -> Row:
    """Error against every sampled cell's own rays, marched each 15 s from sunrise on (sunset back) for six hours."""
    rows, cols = (a.ravel() for a in np.mgrid[300:900:12, 300:900:12])
    light, sign = light_of_day(PLACE, day), -1 if last else 1
    edge = light.sunset if last else light.sunrise
    assert edge is not None
    at_edge = np.datetime64(edge.replace(tzinfo=None), "us")
    times = at_edge + sign * np.arange(0, 6 * 3600, STEP_S) * np.timedelta64(1, "s")
    path = sun_path(PLACE, height_m=0.0, times=times)
    limb = upper_limb_deg(path.altitude_deg)
    limb[0] = max(limb[0], 0.0)
    lit = sunlit(z, rows, cols, cell_m=CELL_M, azimuth_grid_deg=path.azimuth_deg, limb_deg=limb)
    seconds = (times - np.datetime64(day, "us")) / np.timedelta64(1, "s")
    at = np.argmax(lit, axis=0)
    want = np.where(lit.any(axis=0), seconds[at] - sign * np.where(at > 0, STEP_S / 2, 0.0), np.nan)
    off = np.abs(got[rows, cols] - want)[np.isfinite(want) & (at > 0)] / 60.0
    off = np.where(np.isnan(off), math.inf, off)
    half, ninety, most = np.percentile(off, [50, 90, 99])
    return Row(
        f"{'last' if last else 'first'} sun {how}, {day:%d %B}: error, half, nine in ten, 99 in 100 within",
        f"{half:.2f}, {ninety:.2f}, {most:.1f} min ({100 * float((off > 1).mean()):.0f} % over 1 min)",
        "each cell's own rays every 15 s",
        target="about a minute",
    )

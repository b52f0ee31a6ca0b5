"""Sight beside libgdal and a sweep engine: user time a lookout, and agreement with the exact cell-crossing definition."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from functools import partial

import numpy as np
from tests.reference import sweep
from tests.reference.exact_disc import exact_margins, rough_mountains
from tests.reference.real_ground import jacksboro

from benchmarks.gdal import Gdal
from benchmarks.row import Row, cpu_seconds, wall_seconds
from graylight.demo.range import invent
from graylight.settings import SightSettings
from graylight.sight.foliage import Canopy, foliage, through
from graylight.sight.summed import summed_sight
from graylight.sight.viewshed import visible

EYE_M, ANIMAL_M, RADIUS_M = 1.6, 0.9, 3200.0
PLACES = ((600, 600), (400, 820), (820, 420), (500, 500), (700, 760))


def rows() -> list[Row]:
    """Single lookouts on three terrains, many lookouts at once, and light through foliage."""
    range_m = invent().elevation_m
    found = [
        *_terrain("invented range, 10 m", range_m, 10.0, 320, PLACES),
        *_terrain("Jacksboro, 83 m", *jacksboro(), 150, _spread(jacksboro()[0].shape, 75)),
        *_terrain("rough noise, 10 m", rough_mountains(), 10.0, 320, _spread((900, 900), 160)),
        _sweep(range_m),
        *_many(range_m),
        through_foliage(),
    ]
    return [*found, *_scaling(range_m), *_cores()]


def _spread(shape: tuple[int, ...], inner: int) -> tuple[tuple[int, int], ...]:
    rng = np.random.default_rng(1)
    return tuple(
        (int(rng.integers(inner, shape[0] - inner)), int(rng.integers(inner, shape[1] - inner)))
        for _ in range(5)
    )


def _terrain(
    name: str, z: np.ndarray, cell_m: float, radius: int, places: tuple[tuple[int, int], ...]
) -> list[Row]:
    """User time a lookout and the worst overlap of five."""
    other = Gdal(z, cell_m)
    look = {"cell_m": cell_m, "eye_m": EYE_M, "target_m": ANIMAL_M, "radius_m": radius * cell_m}

    def ours() -> list[np.ndarray]:
        return [visible(z, row=r, col=c, **look) for r, c in places]

    def theirs() -> list[np.ndarray]:
        return [other.viewshed(r, c, **look) for r, c in places]

    a, b = cpu_seconds(ours) / len(places), cpu_seconds(theirs) / len(places)
    exact = [_exact(z, r, c, cell_m, radius) for r, c in places]
    one, two = _overlap(ours(), exact), _overlap(theirs(), exact)
    return [
        Row(
            f"viewshed, {name}, {radius} cells, user time a lookout", f"{1000 * a:.2f} ms",
            f"libgdal {other.version}: {1000 * b:.2f} ms", f"{a / b:.2f}", "0.5",
        ),
        Row(
            "the same: overlap with the exact definition, worst of 5", f"{100 * one[0]:.3f} %",
            f"{100 * two[0]:.2f} %", "", "99.98 %",
        ),
        Row("the same: equal cells, worst of 5", f"{100 * one[1]:.4f} %", f"{100 * two[1]:.3f} %", "", "99.995 %"),
    ]  # fmt: skip


def _sweep(z: np.ndarray) -> Row:
    """A sweep engine on a square of the same radius, flat earth."""
    window = np.ascontiguousarray(z[280:921, 280:921])
    theirs = partial(sweep.sweep_viewshed, window, 320, 320, cell_m=10.0, eye_m=EYE_M, target_m=ANIMAL_M)
    ours = partial(
        visible, window, row=320, col=320, cell_m=10.0, eye_m=EYE_M, target_m=ANIMAL_M, refraction=1.0
    )
    a, b = cpu_seconds(ours), cpu_seconds(theirs, runs=1)
    return Row(
        "viewshed, invented range, the whole 641 x 641 square, flat earth, user time", f"{1000 * a:.2f} ms",
        f"xarray-spatial {sweep.version()} sweep: {1000 * b:.0f} ms", f"{a / b:.4f}",
    )  # fmt: skip


def _wide(z: np.ndarray) -> np.ndarray:
    """The range mirrored outwards to 2000 x 2000 cells."""
    return np.pad(z, 400, mode="reflect")


def _sum(
    z: np.ndarray, lookouts: int, *, radius_m: float = RADIUS_M, exact: bool = True
) -> Callable[[], object]:
    rng = np.random.default_rng(0)
    rows, cols = rng.integers(330, z.shape[0] - 330, lookouts), rng.integers(330, z.shape[1] - 330, lookouts)
    return partial(
        summed_sight, z, z, rows, cols, np.ones(lookouts), cell_m=10.0, eye_m=EYE_M, target_m=ANIMAL_M,
        radius_m=radius_m, exact=exact,
    )  # fmt: skip


def _many(z: np.ndarray) -> list[Row]:
    wide = _wide(z)
    other = Gdal(wide, 10.0)
    rng = np.random.default_rng(0)
    places = rng.integers(330, 1670, (10, 2))

    def theirs() -> None:
        for row, col in places:
            other.viewshed(int(row), int(col), cell_m=10.0, eye_m=EYE_M, target_m=ANIMAL_M, radius_m=RADIUS_M)

    b = 50 * cpu_seconds(theirs, runs=3)
    quick, exact = (cpu_seconds(_sum(wide, 500, exact=how), runs=3) for how in (False, True))
    beside = f"libgdal {other.version}, from 10 of them: {b:.2f} s"
    name = "summed sight, 500 lookouts x 3.2 km on 2000 x 2000 cells"
    return [
        Row(f"{name}, quick (overlap over 99 %), user time", f"{quick:.2f} s", beside, f"{quick / b:.2f}", "1.2 s"),
        Row(f"{name}, exact (over 99.9 %), user time", f"{exact:.2f} s", beside, f"{exact / b:.2f}", "2.5 s"),
    ]  # fmt: skip


def _scaling(z: np.ndarray) -> list[Row]:
    """How summed sight grows; a lookout's share of the time should not."""
    found = []
    for lookouts, radius_m, side in (
        (100, 3200.0, 2000), (1000, 3200.0, 2000), (500, 1600.0, 2000), (500, 6400.0, 2000), (500, 3200.0, 1200),
    ):  # fmt: skip
        ground = _wide(z) if side == 2000 else z
        took = cpu_seconds(_sum(ground, lookouts, radius_m=radius_m), runs=1)
        words = f"summed sight, exact: {lookouts} lookouts x {radius_m / 1000:g} km on {side} x {side} cells, user time"
        found.append(Row(words, f"{took:.2f} s, {1000 * took / lookouts:.2f} ms a lookout"))
    return found


def _cores() -> list[Row]:
    """Wall time of the same sum on one core and on all: in processes of their own, tied to so many before they begin."""
    if not hasattr(os, "sched_setaffinity"):
        return []
    every = os.sched_getaffinity(0)
    found = []
    for cores in ({min(every)}, every):
        told = subprocess.run(
            [sys.executable, "-c", "from benchmarks.sight import sum_seconds; print(sum_seconds())"],
            check=True, capture_output=True, text=True, preexec_fn=partial(os.sched_setaffinity, 0, cores),
        )  # fmt: skip
        words = f"summed sight, exact: 500 lookouts x 3.2 km, wall time on {len(cores)} core(s)"
        found.append(Row(words, f"{float(told.stdout):.2f} s"))
    return found


def sum_seconds() -> float:
    """Wall time of 500 lookouts x 3.2 km on 2000 x 2000 cells, exactly."""
    return wall_seconds(_sum(_wide(invent().elevation_m), 500), runs=3)


def through_foliage() -> Row:
    """User time of 3000 targets over the disc from one watcher, low, likely and high at once; the slowest of five."""
    land = invent()
    settings = SightSettings()
    ready = foliage(land.elevation_m, Canopy(land.canopy_m, land.closure), settings)
    rng = np.random.default_rng(1)
    turn, far = rng.uniform(0, 2 * np.pi, 3000), RADIUS_M / 10 * np.sqrt(rng.random(3000))
    slowest = 0.0
    for row, col in PLACES:
        rows = np.clip(row + far * np.sin(turn), 0, land.elevation_m.shape[0] - 1).astype(np.int32)
        cols = np.clip(col + far * np.cos(turn), 0, land.elevation_m.shape[1] - 1).astype(np.int32)
        look = partial(
            through, ready, eye=(row, col), rows=rows, cols=cols, cell_m=10.0, eye_m=1.0, target_m=0.9,
            settings=settings,
        )  # fmt: skip
        slowest = max(slowest, cpu_seconds(look))
    return Row(
        "light through foliage, 3000 targets within 3.2 km at 10 m, user time", f"{1000 * slowest:.1f} ms", "",
        "", "30 ms",
    )  # fmt: skip


def _exact(z: np.ndarray, row: int, col: int, cell_m: float, radius: int) -> np.ndarray:
    """Visible cells over the whole grid by every crossing, and which cells lie in the disc: 1, 0, NaN outside."""
    margin = exact_margins(z, row, col, cell_m=cell_m, eye_m=EYE_M, target_m=ANIMAL_M, radius=radius)
    padded = np.full((z.shape[0] + 2 * radius, z.shape[1] + 2 * radius), np.nan)
    padded[row : row + 2 * radius + 1, col : col + 2 * radius + 1] = np.where(
        np.isnan(margin), np.nan, margin >= 0
    )
    return padded[radius:-radius, radius:-radius]


def _overlap(found: list[np.ndarray], exact: list[np.ndarray]) -> tuple[float, float]:
    """Worst intersection over union of the visible cells, and worst part of equal cells."""
    overlaps, equals = [], []
    for one, true in zip(found, exact, strict=True):
        inside = ~np.isnan(true)
        a, b = one[inside], true[inside] == 1
        overlaps.append(float((a & b).sum() / (a | b).sum()))
        equals.append(float((a == b).mean()))
    return min(overlaps), min(equals)

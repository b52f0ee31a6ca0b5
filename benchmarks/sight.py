"""Sight beside libgdal: user time a lookout, and agreement with the exact cell-crossing definition."""

from __future__ import annotations

from functools import partial

import numpy as np

from benchmarks.gdal import Gdal
from benchmarks.row import Row, cpu_seconds
from graylight.demo.range import invent
from graylight.settings import SightSettings
from graylight.sight.foliage import Canopy, foliage, through
from graylight.sight.viewshed import margin_between, visible

RADIUS_M = 3200.0
PLACES = ((600, 600), (400, 820), (820, 420), (500, 500), (700, 760))


def rows() -> list[Row]:
    """One line for the time, one for the agreement."""
    z = invent().elevation_m
    other = Gdal(z, 10.0)
    look = {"cell_m": 10.0, "eye_m": 1.6, "target_m": 0.9, "radius_m": RADIUS_M}

    def ours() -> list[np.ndarray]:
        return [visible(z, row=r, col=c, **look) for r, c in PLACES]

    def theirs() -> list[np.ndarray]:
        return [other.viewshed(r, c, **look) for r, c in PLACES]

    a, b = cpu_seconds(ours) / len(PLACES), cpu_seconds(theirs) / len(PLACES)
    exact = [_exact(z, r, c) for r, c in PLACES]
    one, two = _overlap(ours(), exact), _overlap(theirs(), exact)
    return [
        Row(
            "viewshed, 3.2 km at 10 m, user time a lookout", f"{1000 * a:.1f} ms", f"libgdal {other.version}: {1000 * b:.1f} ms",
            f"{a / b:.2f}",
        ),
        Row("the same: overlap with the exact definition (worst of 5)", f"{100 * one:.3f} %", f"{100 * two:.2f} %"),
        through_foliage(),
    ]  # fmt: skip


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


def _exact(z: np.ndarray, row: int, col: int) -> np.ndarray:
    radius = int(RADIUS_M // 10)
    out = np.zeros(z.shape, bool)
    for r in range(max(row - radius, 0), min(row + radius + 1, z.shape[0])):
        for c in range(max(col - radius, 0), min(col + radius + 1, z.shape[1])):
            if np.hypot(r - row, c - col) <= radius:
                near = max(abs(r - row), abs(c - col)) <= 1
                out[r, c] = (
                    near
                    or margin_between(
                        z, z, eye=(row, col), target=(r, c), cell_m=10.0, eye_m=1.6, target_m=0.9
                    )[0]
                    >= 0
                )
    return out


def _overlap(found: list[np.ndarray], exact: list[np.ndarray]) -> float:
    return min(float((f & e).sum() / (f | e).sum()) for f, e in zip(found, exact, strict=True))

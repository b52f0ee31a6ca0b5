"""What the three answers would be if the elevation's error were weighed where the line comes closest, and not at the animal."""

from __future__ import annotations

import math
import tempfile
from pathlib import Path

import numpy as np
from numba import njit
from numpy.typing import NDArray

from benchmarks.row import Row
from graylight.cli.demonstration import invented_country
from graylight.grid import LonLat
from graylight.plan.keeping import make_plan
from graylight.sight.viewshed import bend

ERROR_M = 2.0
ALIKE_M = (50.0, 100.0, 200.0, 400.0)
"""Distances over which neighbouring errors are alike: e sqrt(1 - exp(-d / a)) is left at d from the nearer end."""
PLACES, REACH_M, EYE_M, ANIMAL_M = 4000, 3200.0, 1.0, 0.9


def rows() -> list[Row]:
    """Over bare ground, by every crossing of the definition, from the plan's lookouts to places about them."""
    with tempfile.TemporaryDirectory() as scratch:
        country = invented_country(Path(scratch) / "country")
        looks = make_plan(country).plan.lookouts
        ground = country.read("elevation").astype(np.float64)
    eyes = [country.grid.rowcol(LonLat(look.place.lon, look.place.lat)) for look in looks]
    found = np.concatenate([_sampled(ground, eye, country.grid.cell_m) for eye in eyes])
    names = ["the margin at the animal, as told", f"{ERROR_M:g} m at every cell, each by itself"]
    names += [f"alike over {a:.0f} m" for a in ALIKE_M]
    return [
        Row(f"error: {name}", _parts(low, high)) for name, (low, high) in zip(names, found.T, strict=True)
    ]


def _parts(low: NDArray[np.float64], high: NDArray[np.float64]) -> str:
    blocked, clear = float((high < 0).mean()), float((low >= 0).mean())
    return f"blocked {blocked:.1%}, touch-and-go {1 - blocked - clear:.1%}, clear {clear:.1%}"


def _sampled(ground: NDArray[np.float64], eye: tuple[int, int], cell_m: float) -> NDArray[np.float64]:
    """(places, 2, rules): by each rule, what is left over ground as high, and as low, as its error allows."""
    rng = np.random.default_rng(eye[0])
    turn, far = (
        rng.uniform(0, 2 * math.pi, PLACES),
        REACH_M / cell_m * np.sqrt(rng.uniform(0.01, 1.0, PLACES)),
    )
    cells = np.rint(np.column_stack([eye[0] + far * np.sin(turn), eye[1] + far * np.cos(turn)])).astype(
        np.int64
    )
    cells = cells[((cells >= 0) & (cells < ground.shape)).all(axis=1)]
    return np.array([_left(ground, eye, (r, c), cell_m, bend(1 / 7), np.array(ALIKE_M)) for r, c in cells])


@njit(cache=True)
def _height(ground, row, col):
    """Linear along a row or column line: one of the two is whole."""
    r, c = math.floor(row), math.floor(col)
    f, rr, cc = (row - r, r + 1, c) if row > r else (col - c, r, c + 1)
    return ground[r, c] * (1 - f) + ground[rr, cc] * f if f > 0 else ground[r, c]


@njit(cache=True)
def _left(ground, eye, cell, cell_m, bend_per_m, alike):
    down, right = cell[0] - eye[0], cell[1] - eye[1]
    far = math.hypot(down, right) * cell_m
    z0 = ground[eye[0], eye[1]] + EYE_M
    rise = ground[cell[0], cell[1]] + ANIMAL_M - bend_per_m * far * far - z0
    left = np.full((2, 2 + len(alike)), 1e9)
    for n in (abs(down), abs(right)):
        for i in range(1, n):
            t = i / n
            row, col = eye[0] + down * t, eye[1] + right * t
            row, col = (round(row), col) if n == abs(down) else (row, round(col))
            over = z0 + rise * t - (_height(ground, row, col) - bend_per_m * (t * far) ** 2)
            for side, sign in enumerate((-1.0, 1.0)):
                left[side, 0] = min(left[side, 0], over / t + sign * ERROR_M)
                left[side, 1] = min(left[side, 1], over + sign * ERROR_M)
                for k, a in enumerate(alike):
                    own = ERROR_M * math.sqrt(1 - math.exp(-min(t, 1 - t) * far / a))
                    left[side, 2 + k] = min(left[side, 2 + k], over + sign * own)
    return left

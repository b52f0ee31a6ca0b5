"""The fast viewshed against the exact definition on three terrains, at working size."""

from __future__ import annotations

import numpy as np
import pytest

from graylight.demo.range import invent
from graylight.kernels import viewshed as kernel
from graylight.sight.viewshed import DEEP, bend, margins, tops, visible
from tests.reference.exact_disc import agreement, exact_margins, rough_mountains
from tests.reference.real_ground import jacksboro
from tests.reference.sweep import sweep_viewshed


def _terrain(name: str) -> tuple[np.ndarray, float, int]:
    if name == "invented range":
        return invent().elevation_m, 10.0, 320
    if name == "Jacksboro":
        return *jacksboro(), 150
    return rough_mountains(), 10.0, 320


def _places(z: np.ndarray, radius: int, n: int) -> list[tuple[int, int]]:
    rng = np.random.default_rng(1)
    inner = radius // 2
    return [
        (int(rng.integers(inner, z.shape[0] - inner)), int(rng.integers(inner, z.shape[1] - inner)))
        for _ in range(n)
    ]


@pytest.mark.parametrize("name", ["invented range", "Jacksboro", "rough"])
def test_five_lookouts_on_three_terrains(name):
    """The engine's own target: IoU >= 99.98 % over the five lookouts' cells, 99.995 % of cells equal at each."""
    z, cell_m, radius = _terrain(name)
    look = {"cell_m": cell_m, "eye_m": 1.6, "target_m": 0.9}
    both = either = 0
    for row, col in _places(z, radius, 5):
        exact = exact_margins(z, row, col, radius=radius, **look)
        fast = margins(z, z, row=row, col=col, radius_cells=radius, deep_m=DEEP * cell_m, **look)
        assert agreement(fast, exact)[1] >= 0.99995
        known = ~np.isnan(exact)
        both += int(((fast >= 0) & (exact >= 0) & known).sum())
        either += int((((fast >= 0) | (exact >= 0)) & known).sum())
    assert both >= 0.9998 * either


def test_what_is_told_as_just_hidden_is_hidden():
    z = rough_mountains(400)
    look = {"row": 200, "col": 180, "cell_m": 10.0, "eye_m": 1.6, "target_m": 0.9, "radius_cells": 190}
    whole = margins(z, z, **look)
    short = margins(z, z, deep_m=4.0, **look)
    told = short == kernel.HIDDEN
    assert told.mean() > 0.2  # it does leave ground out
    assert (whole[told] < -4.0).all()
    known = ~np.isnan(whole) & ~told
    assert np.array_equal(whole[known], short[known])


def test_blocks_made_before_or_for_the_window_give_the_same():
    z = rough_mountains(200)
    z[40:44, 60:70] = np.nan
    look = {
        "row": 90,
        "col": 101,
        "cell_m": 10.0,
        "eye_m": 1.6,
        "target_m": 0.9,
        "radius_cells": 70,
        "deep_m": 4.0,
    }
    assert np.array_equal(margins(z, z, **look), margins(z, z, known=tops(z), **look), equal_nan=True)


@pytest.mark.parametrize(("row", "col"), [(0, 0), (0, 57), (79, 99), (33, 0), (79, 1)])
def test_from_the_rim_of_the_grid(row, col):
    z = rough_mountains(100)[:80].copy()
    look = {"cell_m": 10.0, "eye_m": 1.6, "target_m": 0.9}
    exact = exact_margins(z, row, col, radius=90, **look)
    fast = margins(z, z, row=row, col=col, radius_cells=90, deep_m=4.5, **look)
    assert agreement(fast, exact)[1] >= 0.999


def test_high_and_far():
    """4000 m up and 30 km off, where float32 and curvature are strained."""
    z = rough_mountains(620, 9) + np.float32(1500)
    look = {"cell_m": 50.0, "eye_m": 1.6, "target_m": 0.9}
    exact = exact_margins(z, 310, 20, radius=600, **look)
    fast = margins(z, z, row=310, col=20, radius_cells=600, deep_m=DEEP * 50, **look)
    overlap, equal = agreement(fast, exact)
    assert overlap >= 0.999
    assert equal >= 0.9999


def test_coarse_sums_are_nearer_the_definition_than_a_rough_engine():
    """Half the rays and no check: meant for sums over many lookouts."""
    z = rough_mountains()
    look = {"cell_m": 10.0, "eye_m": 1.6, "target_m": 0.9}
    exact = exact_margins(z, 430, 455, radius=320, **look)
    coarse = margins(z, z, row=430, col=455, radius_cells=320, deep_m=4.5, coarseness=2, **look)
    assert agreement(coarse, exact)[0] >= 0.985


def test_a_small_disc_by_hand_sized_kernel_uncompiled(monkeypatch):
    """The kernel's own code with the compiler off, on a grid of 15 x 17 with a hole."""
    z = rough_mountains(17)[:15].copy()
    z[4, 9] = np.nan
    compiled = margins(z, z, row=7, col=6, cell_m=10.0, eye_m=1.6, target_m=0.9, radius_cells=8, deep_m=4.5)
    for name in dir(kernel):
        function = getattr(kernel, name)
        if hasattr(function, "py_func"):
            monkeypatch.setattr(kernel, name, function.py_func)
    known = tops(z)
    plain = np.empty((17, 17), np.float32)
    kernel.fan_margin(
        z,
        z,
        known.highest_m,
        known.holed,
        7,
        6,
        float(z[7, 6]) + 1.6,
        0.9,
        10.0,
        bend(1 / 7),
        8,
        8,
        1.5,
        4.5,
        plain,
    )
    assert np.allclose(plain, compiled, atol=1e-3, equal_nan=True)
    assert np.isnan(plain[8 - 7 + 4, 8 - 6 + 9])


def test_plain_yes_or_no_is_the_margins_sign():
    z = rough_mountains(120)
    seen = visible(z, row=60, col=60, cell_m=10.0, eye_m=1.6, target_m=0.9)
    margin = margins(z, z, row=60, col=60, cell_m=10.0, eye_m=1.6, target_m=0.9, radius_cells=85)[
        25:145, 25:145
    ]
    assert np.array_equal(seen, margin >= 0)


def test_an_independent_sweep_engine_sees_nearly_the_same():
    """xarray-spatial's sweep (another definition of heights between cells), flat earth: IoU measured 99.8 %."""
    z = rough_mountains(301)
    swept = sweep_viewshed(z, 150, 140, cell_m=10.0, eye_m=1.6, target_m=0.9)
    ours = visible(z, row=150, col=140, cell_m=10.0, eye_m=1.6, target_m=0.9, refraction=1.0)
    both, either = (ours & swept).sum(), (ours | swept).sum()
    assert both >= 0.97 * either

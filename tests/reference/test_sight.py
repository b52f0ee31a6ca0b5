"""Sight against the exact cell-crossing reference and against published curvature values."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from graylight.kernels.viewshed import crossing_margin
from graylight.sight.viewshed import bend, margin_between, visible
from tests.reference import exact_sight


def rough_ground(seed: int, size: int = 61) -> np.ndarray:
    rng = np.random.default_rng(seed)
    z = sum(
        gaussian_filter(rng.standard_normal((size, size)), s) * s * a for s, a in ((15, 60), (6, 30), (2, 8))
    )
    return np.ascontiguousarray(z, np.float32)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize(("eye_m", "target_m"), [(1.0, 0.9), (1.6, 0.0), (10.0, 2.0)])
def test_visible_agrees_with_the_exact_reference(seed, eye_m, target_m):
    z = rough_ground(seed)
    rng = np.random.default_rng(100 + seed)
    row, col = (int(i) for i in rng.integers(5, 56, 2))
    ours = visible(z, row=row, col=col, cell_m=10.0, eye_m=eye_m, target_m=target_m)
    exact = exact_sight.visible(z, row, col, cell_m=10.0, eye_m=eye_m, target_m=target_m)
    assert (ours == exact).mean() >= 0.9995
    assert (ours & exact).sum() >= 0.995 * (ours | exact).sum()


def test_the_whole_disc_at_working_radius_agrees_cell_by_cell():
    z = rough_ground(3, size=301)
    radius, row, col = 120, 150, 140
    ours = visible(z, row=row, col=col, cell_m=10.0, eye_m=1.0, target_m=0.9, radius_m=10.0 * radius)
    differ = total = 0
    for r in range(row - radius, row + radius + 1):
        for c in range(col - radius, col + radius + 1):
            if max(abs(r - row), abs(c - col)) > 1 and np.hypot(r - row, c - col) <= radius:
                exact = (
                    margin_between(z, z, eye=(row, col), target=(r, c), cell_m=10.0, eye_m=1.0, target_m=0.9)[
                        0
                    ]
                    >= 0
                )
                differ += exact != ours[r, c]
                total += 1
    assert differ <= 5e-5 * total  # the engine's own target: 99.995 % equal cells


@pytest.mark.parametrize("seed", range(4))
def test_crossing_margin_has_the_sign_of_the_reference(seed):
    z = rough_ground(seed, 31)
    rng = np.random.default_rng(seed)
    for _ in range(150):
        r0, c0, r1, c1 = (int(i) for i in rng.integers(0, 31, 4))
        if (r0, c0) == (r1, c1):
            continue
        margin = margin_between(z, z, eye=(r0, c0), target=(r1, c1), cell_m=10.0, eye_m=1.0, target_m=0.9)[0]
        if abs(margin) > 1e-4:
            assert (margin > 0) == exact_sight.sees(z, r0, c0, r1, c1, cell_m=10.0, eye_m=1.0, target_m=0.9)


# Apparent drop (1 - k) d^2 / (2 R), R = 6371 km; k = 1/7 is GDAL's default 6/7, 0.13 is surveying practice.
# Values of shared check table, computed from the published equation.
@pytest.mark.parametrize(
    ("k", "drops"),
    [
        (0.0, (0.078, 0.706, 1.962, 7.848)),
        (0.13, (0.068, 0.615, 1.707, 6.828)),
        (1 / 7, (0.067, 0.605, 1.682, 6.727)),
    ],
)
def test_curvature_and_refraction(k, drops):
    for km, drop in zip((1, 3, 5, 10), drops, strict=True):
        assert bend(k) * (1000.0 * km) ** 2 == pytest.approx(drop, abs=6e-4)


# Distance of the sea-level horizon, km, from 1.7 and 100 m (same table): the last visible cell of a flat sea.
@pytest.mark.parametrize(
    ("k", "eye_m", "km"), [(0.0, 1.7, 4.65), (1 / 7, 1.7, 5.03), (0.0, 100.0, 35.7), (0.13, 100.0, 38.3)]
)
def test_horizon_distance_on_a_flat_sea(k, eye_m, km):
    cell = 50.0 if eye_m < 10 else 250.0
    sea = np.zeros((3, int(1.5 * km * 1000 / cell)), np.float32)
    seen = visible(sea, row=1, col=0, cell_m=cell, eye_m=eye_m, target_m=0.0, refraction=k)
    last = np.flatnonzero(seen[1]).max() * cell / 1000
    assert last == pytest.approx(km, abs=2.5 * cell / 1000)


def test_a_wall_hides_by_similar_triangles():
    z = np.zeros((1, 101), np.float32)
    z[0, 20] = 10.0
    # eye at 5 m, wall 200 m away and 10 m high: a target at 400 m must stand 15 m high to be seen (no curvature)
    assert not visible(z, row=0, col=0, cell_m=10.0, eye_m=5.0, target_m=14.9, refraction=1.0)[0, 40]
    assert visible(z, row=0, col=0, cell_m=10.0, eye_m=5.0, target_m=15.1, refraction=1.0)[0, 40]


def test_unknown_ground_is_opaque_and_never_visible():
    z = np.zeros((5, 41), np.float32)
    z[:, 20] = np.nan
    seen = visible(z, row=2, col=2, cell_m=10.0, eye_m=100.0, target_m=50.0)
    assert not seen[:, 20:].any()
    assert seen[:, 3:19].all()


def test_kernel_runs_uncompiled():
    z = rough_ground(1, 15)
    plain = crossing_margin.py_func(
        z, 2, 3, float(z[2, 3]) + 1.0, 12, 9, float(z[12, 9]) + 1.0, 10.0, bend(1 / 7)
    )
    assert plain == pytest.approx(
        crossing_margin(z, 2, 3, float(z[2, 3]) + 1.0, 12, 9, float(z[12, 9]) + 1.0, 10.0, bend(1 / 7))
    )

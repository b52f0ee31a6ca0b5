"""Glare: the angle between sun and pocket, the lookout's own horizon, and the light on the pocket."""

from __future__ import annotations

import math
from datetime import UTC, date

import numpy as np
import pandas as pd
import pytest
from pvlib import irradiance, solarposition
from pydantic import ValidationError

from graylight.errors import BadInput
from graylight.grid import LonLat
from graylight.settings import GlareSettings
from graylight.sky.glare import glare
from graylight.sky.horizon import degrees, toward

PLACE = LonLat(-111.5, 39.3)
DAY = date(2026, 9, 20)
SEAT = (30, 10)


def level(rows=61, cols=81):
    return np.full((rows, cols), 2000.0, np.float32)


def patch(shape, rows, cols, label=1):
    labels = np.zeros(shape, np.int32)
    labels[rows, cols] = label
    return labels


def seen(z, labels, *, lookout=SEAT, day=DAY, place=PLACE, convergence_deg=0.0, eye_m=1.2, **angles):
    return glare(
        z, labels, lookout, cell_m=10.0, convergence_deg=convergence_deg, place=place, day=day, eye_m=eye_m,
        settings=GlareSettings(**angles),
    )  # fmt: skip


def test_angle_to_the_sun_against_pvlib():
    """pvlib's angle of incidence on a surface that faces as the pocket lies from the lookout is the angle we ask for."""
    z = level()
    z[20, 70] = 2250.0
    got = seen(z, patch(z.shape, 20, 70))
    one = got.pockets[0]
    away = math.hypot(600.0, 100.0)
    assert one.bearing_true_deg == pytest.approx(math.degrees(math.atan2(600.0, 100.0)))
    assert one.elevation_deg == pytest.approx(math.degrees(math.atan2(250.0 - 1.2, away)))
    spa = solarposition.spa_python(pd.DatetimeIndex(got.times, tz=UTC), PLACE.lat, PLACE.lon, delta_t=None)
    # refraction is ours: pvlib brings the azimuth and the geometric altitude, and the sum of the angle
    high = got.limb_deg > 5.0
    want = irradiance.aoi(
        90.0 - one.elevation_deg, one.bearing_true_deg, 90.0 - spa["elevation"], spa["azimuth"]
    ).to_numpy()
    assert (
        np.abs(one.angle_deg - want)[high].max() < 0.17
    )  # refraction at 5 degrees is 10' (tables, from memory)
    assert np.abs(one.angle_deg - want)[got.limb_deg > 30.0].max() < 0.03
    assert one.angle_deg.min() < 25.0


def test_words_follow_the_angles():
    z = level()
    east, west = patch(z.shape, slice(20, 31), 75, 1), patch(z.shape, slice(20, 31), 1, 2)
    got = seen(z, east + west)
    assert [p.label for p in got.pockets] == [1, 2]
    morning = int(np.argmax(got.limb_deg > 3.0))
    evening = len(got.times) - 1 - int(np.argmax(got.limb_deg[::-1] > 3.0))
    assert (got.pockets[0].stands[morning], got.pockets[1].stands[morning]) == ("in the glass", "behind")
    assert (got.pockets[0].stands[evening], got.pockets[1].stands[evening]) == ("behind", "in the glass")
    for one in got.pockets:
        for angle, word, up in zip(one.angle_deg, one.stands, got.up, strict=True):
            want = "aside" if angle > 30 else "near"
            want = "in the glass" if angle <= 10 else "behind" if angle >= 120 else want
            assert word == (want if up else "down")
    wider = seen(z, east + west, glass_deg=30.0, near_deg=60.0)
    assert wider.pockets[0].stands.count("in the glass") > got.pockets[0].stands.count("in the glass")


def test_the_nearest_part_of_a_pocket_counts():
    z = level()
    small, wide = seen(z, patch(z.shape, 30, 70)), seen(z, patch(z.shape, slice(0, 61), 70))
    assert np.all(wide.pockets[0].angle_deg <= small.pockets[0].angle_deg + 1e-9)
    assert (wide.pockets[0].angle_deg < small.pockets[0].angle_deg - 5.0).any()


def test_the_lookouts_own_horizon_keeps_the_sun_down():
    """A wall 100 m east, 52 m over the eye: no sun until its upper edge stands at atan(51 / 100 sin azimuth)."""
    z = level(201, 81)
    z[:, 20:22] = 2052.2
    lookout = (100, 10)
    got = seen(z, patch(z.shape, 100, 70), lookout=lookout)
    open_ground = seen(level(201, 81), patch(z.shape, 100, 70), lookout=lookout)
    assert open_ground.up.all()
    early = got.azimuth_true_deg < 150.0
    want = np.degrees(np.arctan(51.0 * np.sin(np.radians(got.azimuth_true_deg)) / 100.0))
    clear = np.abs(got.limb_deg - want) > 2.0
    assert np.array_equal(got.up[early & clear], (got.limb_deg > want)[early & clear])
    assert {w for w, up in zip(got.pockets[0].stands, got.up, strict=True) if not up} == {"down"}
    taller = seen(z, patch(z.shape, 100, 70), lookout=lookout, eye_m=40.0)
    assert taller.up.sum() > got.up.sum()


def test_light_on_the_pocket_is_the_horizons():
    rng = np.random.default_rng(3)
    z = level()
    z += np.cumsum(np.cumsum(rng.normal(0, 0.4, z.shape), axis=0), axis=1).astype(np.float32)
    labels = patch(z.shape, slice(40, 50), slice(40, 55))
    got = seen(z, labels, convergence_deg=1.5)
    for k in range(0, len(got.times), 7):
        below = degrees(toward(z, cell_m=10.0, azimuth_grid_deg=got.azimuth_true_deg[k] - 1.5))
        want = (got.limb_deg[k] >= np.maximum(below, 0.0))[labels == 1].mean()
        assert got.pockets[0].sunlit_share[k] == pytest.approx(want, abs=0.04), k
    assert got.pockets[0].sunlit_share.min() < 0.5 < got.pockets[0].sunlit_share.max()


def test_a_big_pocket_is_sampled_evenly():
    z = level(120, 160)
    z[:, 80:] += np.linspace(0, 400, 80, dtype=np.float32)
    labels = patch(z.shape, slice(10, 110), slice(10, 150))
    got = seen(z, labels, lookout=(2, 2))
    k = len(got.times) - 4
    below = degrees(toward(z, cell_m=10.0, azimuth_grid_deg=got.azimuth_true_deg[k]))
    want = (got.limb_deg[k] >= np.maximum(below, 0.0))[labels == 1].mean()
    assert got.pockets[0].sunlit_share[k] == pytest.approx(want, abs=0.08)


@pytest.mark.parametrize("turn", [1, 2, 3])
def test_a_turned_country_with_its_north_turned_along(turn):
    rng = np.random.default_rng(5)
    z = (2000 + 30 * rng.random((31, 44))).astype(np.float32)
    z[3:6, 8] = np.nan
    labels = patch(z.shape, slice(20, 26), slice(30, 40), 4)
    here = seen(z, labels, lookout=(12, 6), convergence_deg=2.0)
    mark = patch(z.shape, 12, 6)
    row, col = np.argwhere(np.rot90(mark, turn))[0]
    there = seen(
        np.rot90(z, turn),
        np.rot90(labels, turn),
        lookout=(int(row), int(col)),
        convergence_deg=2.0 + 90.0 * turn,
    )
    assert np.allclose(here.pockets[0].angle_deg, there.pockets[0].angle_deg, atol=1e-6)
    assert here.pockets[0].bearing_true_deg == pytest.approx(there.pockets[0].bearing_true_deg)
    assert np.array_equal(here.up, there.up)
    assert np.allclose(here.pockets[0].sunlit_share, there.pockets[0].sunlit_share, atol=0.02)


def test_polar_days():
    z = level()
    night = seen(z, patch(z.shape, 30, 70), place=LonLat(15.0, 79.0), day=date(2026, 12, 21))
    assert night.times.size == 0
    assert night.pockets[0].stands == ()
    day = seen(z, patch(z.shape, 30, 70), place=LonLat(15.0, 79.0), day=date(2026, 6, 21))
    assert day.times.size == 144
    assert {"near", "behind"} <= set(day.pockets[0].stands)


def test_holes_and_the_lookouts_own_cell():
    z = level()
    labels = (
        patch(z.shape, SEAT[0], SEAT[1], 1) + patch(z.shape, 40, 40, 2) + patch(z.shape, 30, slice(50, 60), 3)
    )
    z[40, 40] = z[30, 52] = np.nan
    got = seen(z, labels)
    assert [p.label for p in got.pockets] == [3]
    assert np.all(got.pockets[0].sunlit_share == 1.0)
    assert seen(z, np.zeros_like(labels)).pockets == ()


def test_bad_input():
    z = level()
    labels = patch(z.shape, 30, 70)
    with pytest.raises(BadInput, match="one shape"):
        seen(z, labels[:-1])
    for lookout in ((-1, 3), (61, 3), (3, 81)):
        with pytest.raises(BadInput, match="known height"):
            seen(z, labels, lookout=lookout)
    z[SEAT] = np.nan
    with pytest.raises(BadInput, match="known height"):
        seen(z, labels)
    with pytest.raises(ValidationError, match="near_deg"):
        GlareSettings(glass_deg=30.0, near_deg=20.0)

"""Drift against closed forms: the published plume on a plain, fall lines on a cone, the axis of a valley."""

from __future__ import annotations

import math
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.ndimage import center_of_mass

from graylight.errors import BadInput
from graylight.kernels.drift import carry
from graylight.settings import AirSettings
from graylight.sky.drift import SPREAD, Drift, _quantiles, carries_to, drift, drift_of_way, spread_m
from graylight.sky.wind import WindField, air_day, air_ground, wind_field
from tests.unit.test_sky_wind import SUN, ramp, valley

SET = AirSettings()
CELL = 10.0
FLAT_DEPTH = (0.0, 0.0, 1.0)  # depth stays 1 m: then what is laid down can be added up


def even_wind(rows=161, cols=201, *, east=1.5, north=0.0, mover=1, doubt=0, cell=CELL):
    """The same wind everywhere."""
    return WindField(
        np.full((rows, cols), east, np.float32),
        np.full((rows, cols), north, np.float32),
        np.full((rows, cols), mover, np.uint8),
        np.full((rows, cols), doubt, np.uint8),
        0.0,
        cell,
        0.0,
    )


def left_of(field, row, col, *, law, minutes=120.0, limit_m=3000.0, paths=25, sign=1.0, laid=0.45, rises=0.0):
    """What the kernel leaves in each cell, and the seconds the air was followed."""
    out = np.zeros(field.mover.shape, np.float32)
    laws = np.array([laid, limit_m, 60 * minutes, 0.3, 0.05, rises])
    seconds = carry(
        field.grid_east_ms, field.grid_north_ms, sign, field.cell_m, float(row), float(col),
        _quantiles(paths, laid), np.array(law, float), laws, 0, 0, out,
    )  # fmt: skip
    return out.astype(float), seconds


def added_up(out, cell=CELL):
    """Seconds of scent in a layer 1 m deep."""
    return out.sum() * cell**2 * math.sqrt(2 * math.pi) / 2


# --- the plume on a plain ------------------------------------------------------------------------------------------


def test_the_spread_is_the_published_one():
    """Briggs (1973), open country, as tabulated in two open-source plume programs: at 1 km."""
    at_1_km = {name: spread_m(1000.0, name) for name in "ABCDEF"}
    root = math.sqrt(1.1)
    expected = {
        "A": (220 / root, 200.0), "B": (160 / root, 120.0), "C": (110 / root, 80 / math.sqrt(1.2)),
        "D": (80 / root, 60 / math.sqrt(2.5)), "E": (60 / root, 30 / 1.3), "F": (40 / root, 16 / 1.3),
    }  # fmt: skip
    for name, (across, depth) in expected.items():
        assert at_1_km[name] == pytest.approx((across, depth)), name


@pytest.mark.parametrize(("name", "meander"), [("F", 4.0), ("D", 1.0), ("B", 1.0)])
@pytest.mark.parametrize("gone_m", [400.0, 900.0])
def test_an_even_wind_gives_a_straight_plume_of_the_stated_spread_and_strength(name, meander, gone_m):
    """The Gaussian plume of a source on the ground: Q / (pi u sy sz) exp(-y^2 / (2 sy^2)) (Turner 1970)."""
    (a, b, c), depth = SPREAD[name]
    field = even_wind(301, 201)
    out, _ = left_of(field, 150, 20, law=(meander * a, b, c, *depth))
    across, high = spread_m(gone_m, name, meander=meander)
    line = out[:, 20 + round(gone_m / CELL)]
    y = (np.arange(line.size) - 150) * CELL
    assert (y * line).sum() / line.sum() == pytest.approx(0.0, abs=1e-3 * across)
    assert math.sqrt((y**2 * line).sum() / line.sum()) == pytest.approx(across, rel=0.03)
    expected = np.exp(-(y**2) / (2 * across**2)) / (math.pi * 1.5 * across * high)
    inner = np.abs(y) < 1.5 * across
    np.testing.assert_allclose(line[inner], expected[inner], rtol=0.1)


@pytest.mark.parametrize("azimuth", [0.0, 30.0, 45.0, 137.0, 290.0])
def test_the_plume_runs_where_the_wind_goes(azimuth):
    a = math.radians(azimuth)
    field = even_wind(301, 301, east=2.0 * math.sin(a), north=2.0 * math.cos(a))
    found = drift(field, 150, 150, settings=SET)
    row, col = np.nonzero(found.scent)
    weight = found.scent[row, col]
    middle = math.atan2(np.average(col - 150, weights=weight), -np.average(row - 150, weights=weight))
    assert math.cos(middle - a) > math.cos(math.radians(1.0))
    behind = (row - 150) * math.cos(a) - (col - 150) * math.sin(a)
    assert behind.max() < 3  # nothing goes against the wind, but for the width of the source


def test_scent_is_full_nearby_and_gone_at_the_stated_distance():
    field = even_wind(161, 221)
    scent = drift(field, 80, 20, settings=SET).scent
    along = scent[80, 20:]
    assert scent.dtype == np.float32
    assert scent.min() == 0.0
    assert scent.max() == 1.0
    assert along[round(0.9 * SET.scent_full_m / CELL)] == 1.0
    assert along[round(SET.scent_gone_m / CELL)] == pytest.approx(0.0, abs=0.03)
    assert (along[round(1.05 * SET.scent_gone_m / CELL) :] == 0.0).all()
    assert (np.diff(along[3:]) <= 0.02).all()


def test_by_day_scent_is_gone_sooner():
    night, day = (drift(even_wind(mover=m), 80, 20, settings=SET).scent[80] for m in (1, 2))
    assert np.flatnonzero(day)[-1] < 0.5 * np.flatnonzero(night)[-1]


def test_doubtful_air_spreads_wider_and_says_so():
    sure, doubtful = (drift(even_wind(mover=5, doubt=d), 80, 20, settings=SET) for d in (0, 1))
    assert not sure.doubtful
    assert doubtful.doubtful
    near = 20 + 25
    assert (doubtful.scent[:, near] > 0).sum() > 2 * (sure.scent[:, near] > 0).sum()


def test_still_air_keeps_scent_about_the_place_on_all_sides():
    found = drift(even_wind(81, 81, east=0.0, mover=0), 40, 40, settings=SET)
    assert found.doubtful
    np.testing.assert_allclose(found.scent, np.rot90(found.scent), atol=1e-6)
    row, col = np.nonzero(found.scent)
    assert found.scent[40, 40] == 1.0
    assert 30.0 < CELL * np.hypot(row - 40, col - 40).max() < 600.0


# --- nothing comes from nothing ------------------------------------------------------------------------------------


def test_all_that_is_let_go_is_laid_down_while_it_stays_over_the_country():
    out, seconds = left_of(even_wind(), 80, 20, law=(0.1, 0, 1, *FLAT_DEPTH), minutes=10.0)
    assert seconds == pytest.approx(600.0)
    assert added_up(out) == pytest.approx(600.0, rel=1e-5)


@settings(max_examples=40)
@given(st.integers(0, 2**32 - 1), st.floats(0.02, 0.6), st.integers(2, 25))
def test_scent_never_grows(seed, spread, paths):
    """Over any wind: never more than was let go, and less once it leaves the country."""
    rng = np.random.default_rng(seed)
    field = even_wind(40, 50)
    for layer in (field.grid_east_ms, field.grid_north_ms):
        layer[:] = rng.normal(scale=1.5, size=layer.shape)
    field.grid_east_ms[rng.random(field.mover.shape) < 0.01] = np.nan
    row, col = rng.uniform(0, 39), rng.uniform(0, 49)
    law = (spread, 1e-4, -0.5, *FLAT_DEPTH)
    before = 0.0
    for minutes in (1.0, 3.0, 10.0):
        out, seconds = left_of(field, row, col, law=law, minutes=minutes, paths=paths)
        assert (out >= 0.0).all()
        assert seconds <= 60 * minutes + 1e-6
        assert added_up(out) <= seconds * (1 + 1e-5)
        assert seconds >= before - 1e-6
        before = seconds


def test_what_flows_through_each_line_across_does_not_grow():
    field = even_wind(201, 201)
    out, _ = left_of(field, 100, 10, law=(0.16, 1e-4, -0.5, *FLAT_DEPTH), limit_m=5000.0)
    flow = out.sum(axis=0) * CELL * 1.5 * math.sqrt(2 * math.pi) / 2
    # laid down lengthwise too, by k = 0.45 x 0.16 of the length: 1 + k^2 on the whole; where the step grows, 3 %
    np.testing.assert_allclose(flow[16:150], 1.0, rtol=0.035)
    assert flow[20:150].mean() == pytest.approx(1.0 + (0.45 * 0.16) ** 2, abs=2e-3)
    # less only where the sides of the country are reached
    assert (flow[20:] < 1.02).all()
    assert flow[-5] < flow[100]


# --- over ground ---------------------------------------------------------------------------------------------------


def night_over(z, *, cell=CELL, hour=11.0, kept=SET, **more):
    ground = air_ground(z, cell_m=cell, convergence_deg=0.0, settings=kept)
    sun = np.full(z.shape, SUN, np.float32)
    return wind_field(ground, air_day(ground, sun, None, settings=kept), hour * 3600, settings=kept, **more)


def cone(size=241, cell=CELL, slope=0.4):
    row, col = np.mgrid[:size, :size]
    return (3500.0 - slope * cell * np.hypot(row - size // 2, col - size // 2)).astype(np.float32)


@pytest.mark.parametrize("azimuth", [0.0, 20.0, 45.0, 110.0, 250.0])
def test_cold_air_on_a_cone_runs_straight_down(azimuth):
    field = night_over(cone())
    a = math.radians(azimuth)
    row, col = 120 - 40 * math.cos(a), 120 + 40 * math.sin(a)
    scent = drift(field, row, col, settings=SET).scent
    at_row, at_col = np.nonzero(scent)
    north, east = 120.0 - at_row, at_col - 120.0
    out = north * math.cos(a) + east * math.sin(a)
    aside = east * math.cos(a) - north * math.sin(a)
    weight = scent[at_row, at_col]
    assert abs(np.average(aside, weights=weight)) < 0.2
    assert out.min() > 40 - 4
    assert out.max() > 40 + 60
    # on a cone fall lines part: the drift is wider than on a plane by what its sides run apart
    far = np.abs(out - 90) < 2
    plane, _ = spread_m(500.0, SET.night_class, meander=SET.meander)
    assert CELL * math.sqrt(np.average(aside[far] ** 2, weights=weight[far])) > plane


@pytest.mark.parametrize("rises", [0.0, 1.0])
def test_warm_air_that_meets_on_a_crest_leaves_the_ground(rises):
    z = (3000.0 - 4.0 * np.abs(np.arange(121.0) - 60)).astype(np.float32)
    field = night_over(np.repeat(z[None, :], 81, axis=0), hour=18.0)
    out, seconds = left_of(field, 40, 30, law=(0.04, 0, 1, *FLAT_DEPTH), minutes=30.0, rises=rises)
    assert (seconds < 300.0) == bool(rises)  # without that it would stay there for the half hour
    assert out[:, 70:].sum() < 0.05 * out.sum()


def test_in_a_valley_it_follows_the_axis_down_at_night_and_up_late_by_day():
    kept = AirSettings(valley_km2=0.5)
    z = valley()
    place = (80, 55)  # on the side, 100 m from the axis
    night = drift(night_over(z, cell=20.0, kept=kept), *place, settings=kept).scent
    day = drift(night_over(z, cell=20.0, kept=kept, hour=20.0), 80, 60, settings=kept).scent
    far = night[110:]
    assert far.max() > 0.1
    assert abs(center_of_mass(far)[1] - 60) < 2.0
    assert night[:70].max() == 0.0
    assert day[:75].max() > 0.1
    assert day[90:].max() == 0.0


def test_mirrored_and_turned_ground_has_mirrored_and_turned_drift():
    row, col = np.mgrid[:90, :90] / 90.0
    waves = 40.0 * np.sin(9.0 * col + 4.0 * row**2) + 15.0 * np.cos(17.0 * col - 6.0 * row + 1.0)
    z = (ramp(90, 90) + waves).astype(np.float32)
    kept = AirSettings(valley_km2=0.05)

    def scent(ground, at_row, at_col):
        return drift(night_over(np.ascontiguousarray(ground), kept=kept), at_row, at_col, settings=kept).scent

    plain = scent(z, 70, 20)
    assert (plain > 0).sum() > 200
    for there in (scent(z[:, ::-1], 70, 69)[:, ::-1], np.rot90(scent(np.rot90(z), 69, 70), -1)):
        # in float32 the paths differ by centimetres
        assert np.abs(there - plain).mean() < 1e-3
        np.testing.assert_allclose(there, plain, atol=0.05)


# --- a way, a pocket -----------------------------------------------------------------------------------------------


def test_what_reaches_a_place_is_what_the_place_is_reached_from():
    """In an even wind the drift against the wind is the drift the other way round."""
    field = even_wind(81, 161)
    pocket = np.zeros(field.mover.shape, bool)
    pocket[40, 120] = True
    to = carries_to(field, pocket, settings=SET)
    assert to[40, 120] == 1.0
    for place in ((40, 60), (44, 70), (30, 40)):
        there = drift(field, *place, settings=SET).scent[40, 120]
        assert to[place] == pytest.approx(there, abs=0.05)
    assert to[40, 140] == 0.0  # downwind of it


def test_a_whole_pocket_is_reached_without_gaps():
    field = even_wind(121, 161)
    pocket = np.zeros(field.mover.shape, bool)
    pocket[40:80, 100:150] = True
    to = carries_to(field, pocket, settings=SET)
    assert (to[pocket] == 1.0).all()
    assert (to[45:75, 85:100] > 0.8).all()
    assert to[10, 99] == 0.0


def test_a_way_leaves_scent_all_along_by_the_wind_of_its_hours():
    west, east = even_wind(east=-1.5), even_wind(east=1.5)
    early, late = (
        WindField(f.grid_east_ms, f.grid_north_ms, f.mover, f.doubt, t, CELL, 0.0)
        for f, t in ((west, 0.0), (east, 3600.0))
    )
    rows, cols = np.arange(20, 140), np.full(120, 100)
    at_s = np.where(rows < 80, 0.0, 3600.0)
    found = drift_of_way([early, late], rows, cols, at_s, settings=SET)
    assert (found.scent[30, :95] > 0.5).any()
    assert (found.scent[30, 110:] == 0.0).all()
    assert (found.scent[130, 105:] > 0.5).any()
    assert (found.scent[130, :90] == 0.0).all()
    single = drift_of_way([late], rows[:1], cols[:1], at_s[:1], settings=SET)
    assert single.scent[20, 109] == 1.0


def test_a_share_is_weighted_and_none_of_nothing():
    scent = np.array([[1.0, 0.5], [0.0, 0.0]], np.float32)
    found = Drift(scent, doubtful=False)
    everywhere = np.ones((2, 2), bool)
    assert found.reaches(everywhere) == pytest.approx(0.375)
    weight = np.array([[0.0, 2.0], [2.0, 0.0]], np.float32)
    assert found.reaches(everywhere, weight) == pytest.approx(0.25)
    assert found.reaches(np.zeros((2, 2), bool)) == 0.0
    assert found.reaches(everywhere, np.zeros((2, 2), np.float32)) == 0.0


# --- holes, edges, bad input ---------------------------------------------------------------------------------------


def test_unknown_ground_stops_the_air():
    field = even_wind()
    field.grid_east_ms[:, 60:64] = np.nan
    scent = drift(field, 80, 20, settings=SET).scent
    assert scent[80, 50] > 0.5
    assert scent[:, 70:].max() == 0.0


def test_at_the_edge_air_leaves_the_country():
    assert drift(even_wind(), 0, 200, settings=SET).scent[0, 200] >= 0.0
    assert drift(even_wind(1, 60), 0, 5, settings=SET).scent[0, 10] > 0.5


@pytest.mark.parametrize("place", [(-1, 5), (5, 201), (161, 0), (math.nan, 3)])
def test_a_place_outside_is_refused(place):
    with pytest.raises(BadInput, match=r"outside the country.*rows 0 to 160 and columns 0 to 200"):
        drift(even_wind(), *place, settings=SET)


def test_a_way_without_wind_is_refused():
    with pytest.raises(BadInput, match="no wind is given"):
        drift_of_way([], np.array([1]), np.array([1]), np.array([0.0]), settings=SET)


def test_the_same_input_gives_the_same_bytes():
    field = night_over(cone(121))
    one, two = (drift(field, 40, 50, settings=SET).scent for _ in range(2))
    assert one.tobytes() == two.tobytes()


SMALL = """
import numpy as np, sys
from graylight.settings import AirSettings
from graylight.sky.drift import drift
from graylight.sky.wind import air_day, air_ground, wind_field
row, col = np.mgrid[:30, :34]
z = (2000 + 3.0 * row + 1.5 * np.abs(col - 15) + 4 * np.sin(0.4 * col)).astype(np.float32)
z[3:5, 25:28] = np.nan
kept = AirSettings(valley_km2=0.05, scent_gone_m=250.0, exposure_m=100.0)
ground = air_ground(z, cell_m=10.0, convergence_deg=0.0, settings=kept)
field = wind_field(ground, air_day(ground, np.full(z.shape, 1e4, np.float32), None, settings=kept), 0.0, settings=kept)
np.save(sys.argv[1], np.stack([field.grid_east_ms, field.grid_north_ms, drift(field, 5, 12, settings=kept).scent]))
"""


def test_the_answer_is_the_same_without_compiling(tmp_path):
    root = Path(sys.modules["graylight"].__file__).parent.parent
    found = []
    for off in ("0", "1"):
        path = tmp_path / f"{off}.npy"
        env = os.environ | {"NUMBA_DISABLE_JIT": off, "PYTHONPATH": str(root)}
        subprocess.run([sys.executable, "-c", SMALL, str(path)], check=True, env=env)
        found.append(np.load(path))
    assert (found[0][2] > 0).sum() > 20
    np.testing.assert_allclose(found[0], found[1], atol=1e-5)

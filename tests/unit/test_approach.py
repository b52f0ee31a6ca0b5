"""The way to a place: its cells, its profile, what it meets, when to leave, and why there is none."""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from graylight.approach.barrier import barrier
from graylight.approach.profile import along, climb_and_fall, steepest_deg
from graylight.approach.way import leave_by, way_to, why_not
from graylight.reach.pace import irmischer_off
from graylight.settings import WalkSettings
from tests.unit.test_reach import PLAIN, ground_of, reach_of


def way_over(picture, start, end, *, z=None, slope=None, streams=None, settings=PLAIN, cell_m=10.0):
    ground = ground_of(picture, slope=slope, streams=streams, settings=settings)
    z = np.zeros(ground.factor.shape) if z is None else np.asarray(z, float)
    slope = np.zeros(z.shape, np.float32) if slope is None else slope.astype(np.float32)
    reached = reach_of(ground, [start], z=z, settings=settings, cell_m=cell_m)
    return way_to(
        *end, reached, z.astype(np.float32), slope, ground, cell_m=cell_m, settings=settings
    ), reached


def row_of(n: int, sign: str = ".") -> str:
    return " ".join([sign] * n)


# The way


def test_a_straight_way():
    way, reached = way_over(row_of(11), (0, 0), (0, 10), z=np.arange(11)[None] * 2.0)
    assert (way.rows.tolist(), way.cols.tolist()) == ([0] * 11, list(range(11)))
    assert way.distance_m == pytest.approx(100.0)
    assert way.seconds == pytest.approx(100.0 / float(irmischer_off(0.2)), rel=1e-4)
    assert way.back_seconds == pytest.approx(100.0 / float(irmischer_off(-0.2)), rel=1e-4)
    assert (way.climb_m, way.fall_m) == (pytest.approx(20.0), 0.0)
    assert way.steepest_deg == pytest.approx(math.degrees(math.atan(0.2)), abs=1e-6)
    assert way.hazards == ()
    assert way.seconds == reached.seconds[0, 10]


def test_the_way_begins_at_the_start_and_ends_at_the_place():
    way, _ = way_over("\n".join([row_of(20)] * 15), (2, 3), (12, 17))
    assert (way.rows[0], way.cols[0]) == (2, 3)
    assert (way.rows[-1], way.cols[-1]) == (12, 17)


def test_a_way_of_no_length():
    way, _ = way_over(row_of(3, "p"), (0, 1), (0, 1))
    assert (way.seconds, way.distance_m, way.climb_m, way.fall_m, way.steepest_deg) == (0, 0, 0, 0, 0)
    assert way.on_path == 1.0


def test_no_way():
    way, _ = way_over(". w .", (0, 0), (0, 2))
    assert way is None


def test_part_on_path():
    way, _ = way_over("p p p p p . . . . . .", (0, 0), (0, 10))
    assert way.on_path == pytest.approx(0.45)


# Profile


def test_climb_and_fall_of_a_hill():
    z = np.concatenate([np.arange(0, 101, 5), np.arange(95, 39, -5)]).astype(float)
    climb, fall = climb_and_fall(np.arange(z.size) * 10.0, z, cell_m=10.0)
    assert climb == pytest.approx(100.0, abs=6.0)  # the top is averaged over 50 m
    assert climb - fall == pytest.approx(40.0)


def test_noise_does_not_add_up():
    """A metre of noise on 4 km of level ground: added up as it stands it is over 200 m of climb."""
    z = np.random.default_rng(4).normal(size=401)
    at = np.arange(401) * 10.0
    raw = np.diff(z).clip(min=0).sum()
    climb, fall = climb_and_fall(at, z, cell_m=10.0)
    assert raw > 200.0
    assert climb + fall < 8.0


def test_a_steady_climb_keeps_all_of_its_height_in_spite_of_noise():
    z = np.arange(401) * 1.5 + np.random.default_rng(4).normal(size=401)
    climb, fall = climb_and_fall(np.arange(401) * 10.0, z, cell_m=10.0)
    assert climb == pytest.approx(600.0, abs=5.0)
    assert fall < 5.0


@given(
    st.lists(st.floats(0.0, 3000.0, width=32), min_size=1, max_size=60), st.sampled_from([10.0, 30.0, 90.0])
)
def test_climb_less_fall_is_the_difference_of_the_ends(heights, cell_m):
    z = np.array(heights)
    at = np.arange(z.size) * cell_m
    climb, fall = climb_and_fall(at, z, cell_m=cell_m)
    back_climb, back_fall = climb_and_fall(at, z[::-1], cell_m=cell_m)
    assert climb >= 0.0
    assert fall >= 0.0
    assert climb - fall == pytest.approx(z[-1] - z[0], abs=1e-6)
    assert (back_climb - back_fall) == pytest.approx(-(climb - fall), abs=1e-6)


def test_steepest_is_over_a_stretch_not_over_one_step():
    z = np.zeros(30)
    z[15:] = 10.0  # a step of 10 m in 10 m: 45 degrees over one cell, 14 over 40 m
    assert steepest_deg(np.arange(30) * 10.0, z, cell_m=10.0) == pytest.approx(math.degrees(math.atan(0.25)))
    assert steepest_deg(np.array([0.0, 10.0]), np.array([0.0, 10.0]), cell_m=10.0) == pytest.approx(45.0)


def test_along():
    at = along(np.array([0, 1, 2, 2]), np.array([0, 2, 3, 4]), cell_m=30.0)
    np.testing.assert_allclose(at, 30.0 * np.cumsum([0.0, math.sqrt(5), math.sqrt(2), 1.0]))


# Hazards


def test_a_scramble_is_said():
    slope = np.zeros((1, 21))
    slope[0, 10:13] = 41.0
    way, _ = way_over(row_of(21), (0, 0), (0, 20), slope=slope)
    assert len(way.hazards) == 1
    assert "steeper than 35°, up to 41°" in way.hazards[0]
    assert "not for the dark or a load" in way.hazards[0]
    assert way.steep.on_path_s == 0.0
    assert way.steep.off_path_s == pytest.approx(np.diff(way.at_s)[9:13].sum())  # all moves that touch it


def test_a_steep_path_is_said_apart():
    slope = np.zeros((1, 21))
    slope[0, 10:13] = 41.0
    way, _ = way_over(row_of(21, "p"), (0, 0), (0, 20), slope=slope)
    assert [h.split(": ")[1].split(",")[0] for h in way.hazards] == [
        "the path crosses ground steeper than 35°"
    ]
    assert way.steep.off_path_s == 0.0
    assert way.steep.on_path_s == pytest.approx(np.diff(way.at_s)[9:13].sum())


def test_deep_water_under_a_path_is_said():
    way, _ = way_over("p p b b p p", (0, 0), (0, 5))
    assert any("a bridge or a ford" in h for h in way.hazards)


def test_streams_are_counted():
    streams = np.zeros((1, 30), bool)
    streams[0, [8, 9, 20]] = True
    way, _ = way_over(row_of(30), (0, 0), (0, 29), streams=streams)
    assert any("water to be crossed, 2 times in all" in h for h in way.hazards)


def test_cliffs_beside_the_way():
    """A wall of 50 degrees beside the way, higher and then lower than it."""
    slope = np.zeros((9, 12))
    slope[7] = 50.0
    picture = "\n".join([row_of(12)] * 9)
    for height, words in ((40.0, "close below cliffs"), (-40.0, "close above cliffs")):
        z = np.zeros((9, 12))
        z[7] = height
        way, _ = way_over(picture, (5, 0), (5, 11), z=z, slope=slope)
        assert [h for h in way.hazards if words in h], way.hazards
        far, _ = way_over(picture, (1, 0), (1, 11), z=z, slope=slope)
        assert far.hazards == ()


def test_a_hazard_says_when_it_comes():
    streams = np.zeros((1, 600), bool)
    streams[0, 550] = True
    way, reached = way_over(row_of(600), (0, 0), (0, 599), streams=streams)
    minutes = reached.seconds[0, 549] / 60.0
    assert 115 < minutes < 125
    assert way.hazards[0].startswith(("about 1 h 55 in", "about 2 h 00 in"))


# No way: why


def test_why_not_says_what_closes_it_and_the_nearest_place_reached():
    ground = ground_of(". . w . .\n. . w . .\n. . w . .")
    reached = reach_of(ground, [(1, 0)])
    said = why_not(0, 4, reached, ground, cell_m=10.0)
    assert "cut off by deep water" in said
    assert "nearest place reached lies 30 m to the west" in said
    assert "the place itself is closed: deep water" in why_not(0, 2, reached, ground, cell_m=10.0)
    assert why_not(0, 0, reached, ground, cell_m=10.0) == ""


def test_why_not_names_what_closes_most_first():
    ground = ground_of(". . x . .\n. . w . .\n. . w . .\n. . w . .")
    found = barrier(0, 4, reach_of(ground, [(1, 0)]), ground, cell_m=10.0)
    assert found.around == ("deep water", "private land")
    assert not found.too_far


def test_why_not_too_far():
    ground = ground_of(row_of(40))
    reached = reach_of(ground, [(0, 0)], limit_s=120.0)
    found = barrier(0, 39, reached, ground, cell_m=10.0)
    assert found.too_far
    assert "farther than 0.0 hours" in why_not(0, 39, reached, ground, cell_m=10.0)


def test_why_not_without_a_start_on_open_ground():
    ground = ground_of("w w w w w w w w w .")
    said = why_not(0, 9, reach_of(ground, [(0, 0)]), ground, cell_m=10.0)
    assert said == "no start lies on or near open ground; nothing is reached"


# When to leave


def test_leave_by_is_never_late():
    light = dt.datetime(2026, 8, 27, 12, 10, 5, tzinfo=dt.UTC)
    leave = leave_by(light, 3601.0, 40)
    assert leave == dt.datetime(2026, 8, 27, 10, 30, tzinfo=dt.UTC)
    arrive = leave + dt.timedelta(seconds=3601, minutes=40)
    assert dt.timedelta(0) <= light - arrive < dt.timedelta(minutes=1, seconds=5)


def test_leave_by_may_fall_on_the_day_before():
    light = dt.datetime(2026, 8, 27, 1, 0, tzinfo=dt.UTC)
    assert leave_by(light, 7200.0, 30) == dt.datetime(2026, 8, 26, 22, 30, tzinfo=dt.UTC)


@pytest.mark.parametrize(
    ("light", "slow"), [(None, 60.0), (dt.datetime(2026, 8, 27, tzinfo=dt.UTC), math.inf)]
)
def test_no_time_to_leave(light, slow):
    assert leave_by(light, slow, 40) is None


def test_the_default_settings_walk_slower_than_plain():
    plain, _ = way_over(row_of(11), (0, 0), (0, 10))
    packed, _ = way_over(row_of(11), (0, 0), (0, 10), settings=WalkSettings())
    assert packed.seconds == pytest.approx(plain.seconds * 1.25 * 1.25, rel=1e-5)

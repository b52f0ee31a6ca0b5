"""Prominence beside brute force on small grids, and the published values of one profile."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from graylight.ground.tops import flooded, high_to_low, saddles_between, tops_of
from graylight.kernels.prominence import flood
from tests.reference.real_ground import jacksboro
from tests.reference.slow_prominence import is_top, key_height, way_out

heights = st.one_of(st.integers(0, 6).map(float), st.floats(0, 100, width=32), st.just(float("nan")))
grids = st.tuples(st.integers(1, 7), st.integers(1, 8)).flatmap(
    lambda shape: arrays(np.float32, shape, elements=heights)
)


def test_the_profile_of_the_check_values():
    # worked by hand from the definition: profile 0,5,2,8,3,6,5.5,7,1 -> 5: 3, 6: 0.5, 7: 4
    ground = np.full((3, 11), -10.0, np.float32)
    ground[1, 1:-1] = [0, 5, 2, 8, 3, 6, 5.5, 7, 1]
    found = flooded(ground)
    assert dict(zip(found.height_m, found.drop_m, strict=True)) == {8.0: np.inf, 7.0: 4.0, 6.0: 0.5, 5.0: 3.0}
    tops, _ = tops_of(found, least_m=1.0)
    assert [(t.height_m, t.prominence_m, t.at_least) for t in tops] == [
        (8.0, 18.0, True),  # nothing higher: down to where one could leave the known ground
        (7.0, 4.0, False),
        (5.0, 3.0, False),
    ]


@settings(max_examples=200, deadline=None)
@given(grids)
def test_brute_force_agrees(ground):
    found = flooded(ground)
    cols = ground.shape[1]
    tops = {divmod(int(cell), cols): k for k, cell in enumerate(found.cell)}
    expected = {(int(r), int(c)) for r, c in np.argwhere(~np.isnan(ground)) if is_top(ground, r, c)}
    assert set(tops) == expected
    for (row, col), k in tops.items():
        key = key_height(ground, row, col)
        assert found.drop_m[k] == float(ground[row, col]) - key
        bound = min(float(ground[row, col]) - max(key, way_out(ground, row, col)), found.drop_m[k])
        assert found.bound_m[k] == bound


@settings(max_examples=60, deadline=None)
@given(arrays(np.float32, (6, 7), elements=st.integers(0, 5).map(float)))
def test_jit_off_gives_the_same(ground):
    found = flooded(ground)
    n = found.cell.size
    owner = np.full(ground.shape, -1, np.int32)
    cell, key, edge = (np.full(12, -1, np.int64) for _ in range(3))
    sides = np.full((12, 2), -1, np.int32)
    assert flood.py_func(ground, high_to_low(ground), owner, cell, key, sides, edge) == n
    assert np.array_equal(cell[:n], found.cell)
    assert np.array_equal(key[:n], found.key)
    assert np.array_equal(owner, found.owner)


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_turning_the_country_turns_the_tops(turns):
    rng = np.random.default_rng(5)
    ground = rng.normal(size=(23, 31)).astype(np.float32)
    straight, turned = flooded(ground), flooded(np.ascontiguousarray(np.rot90(ground, turns)))
    assert np.array_equal(straight.height_m, turned.height_m)
    assert np.array_equal(straight.drop_m, turned.drop_m)
    assert np.array_equal(straight.bound_m, turned.bound_m)


def test_real_ground_keeps_the_laws_of_prominence():
    ground, _ = jacksboro()
    found = flooded(ground)
    assert found.cell.size - (found.key < 0).sum() == (found.key >= 0).sum()
    assert (found.key < 0).sum() == 1  # one piece of ground: one top without a key saddle
    assert (found.drop_m >= 0).all()
    assert (found.bound_m <= found.drop_m).all()
    tops, number = tops_of(found, least_m=10.0)
    saddles = saddles_between(found, tops, number, ground)
    assert len(saddles) == len(tops) - 1
    joined = {s.higher for s in saddles} | {s.lower for s in saddles}
    assert joined == set(range(len(tops)))
    for saddle in saddles:
        higher, lower = tops[saddle.higher], tops[saddle.lower]
        assert higher.height_m >= lower.height_m > saddle.height_m
        assert saddle.below_m == lower.height_m - saddle.height_m


def test_saddles_lie_between_neighbours_not_between_far_tops():
    # a crest A 100, saddle 50, B 60, saddle 40, C 80: by joining alone C's saddle would be A's, but it is B's
    ground = np.zeros((3, 11), np.float32)
    ground[1, 1:10] = [20, 100, 50, 60, 40, 80, 30, 10, 5]
    found = flooded(ground)
    tops, number = tops_of(found, least_m=1.0)
    pairs = {
        (s.col, tops[s.higher].height_m, tops[s.lower].height_m)
        for s in saddles_between(found, tops, number, ground)
    }
    assert pairs == {(3, 100.0, 60.0), (5, 80.0, 60.0)}


def test_a_top_too_small_is_passed_over():
    # the bump of 42 between B and C is no top of its own: the saddle at 40 parts B and C
    ground = np.zeros((3, 9), np.float32)
    ground[1, 1:8] = [60, 41, 42, 40, 80, 20, 10]
    found = flooded(ground)
    tops, number = tops_of(found, least_m=5.0)
    (saddle,) = saddles_between(found, tops, number, ground)
    assert (saddle.col, tops[saddle.higher].height_m, tops[saddle.lower].height_m) == (4, 80.0, 60.0)


def test_sorting_is_by_height_then_place():
    ground = np.array([[-0.0, 2.0, np.nan], [0.0, -3.0, 2.0]], np.float32)
    assert high_to_low(ground).tolist() == [1, 5, 0, 3, 4]

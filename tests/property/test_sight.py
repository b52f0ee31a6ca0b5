"""What must hold of sight on any ground."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from graylight.settings import SightSettings
from graylight.sight.answers import (
    BLOCKED,
    CLEAR,
    OUTSIDE,
    answer_window,
    answers_through,
    obstacles,
    parts_seen,
    share,
)
from graylight.sight.foliage import Through
from graylight.sight.viewshed import margin_between, margins, visible


def ground(seed: int, size: int = 25) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return np.round(rng.normal(0, 8, (size, size)).cumsum(axis=0).cumsum(axis=1) / 6, 2).astype(np.float32)


cells = st.tuples(st.integers(0, 24), st.integers(0, 24))
seeds = st.integers(0, 10_000)


@given(seeds, cells, cells, st.floats(0.1, 5.0))
def test_sight_is_mutual_when_heights_are_equal(seed, a, b, height):
    z = ground(seed)
    if a == b:
        return
    there = margin_between(z, z, eye=a, target=b, cell_m=10.0, eye_m=height, target_m=height)[0]
    back = margin_between(z, z, eye=b, target=a, cell_m=10.0, eye_m=height, target_m=height)[0]
    if min(abs(there), abs(back)) > 1e-5:
        assert (there > 0) == (back > 0)


@settings(max_examples=40)
@given(seeds, cells, st.floats(0, 30), st.floats(0, 1))
def test_canopy_never_adds_sight(seed, watcher, tall, share_covered):
    z = ground(seed)
    rng = np.random.default_rng(seed)
    closure = (rng.random(z.shape) < share_covered).astype(np.float32)
    canopy = (closure * tall).astype(np.float32)
    look = {
        "row": watcher[0],
        "col": watcher[1],
        "cell_m": 10.0,
        "eye_m": 1.0,
        "target_m": 0.9,
        "radius_cells": 24,
    }
    sight = SightSettings(elevation_error_m=0.5)
    bare = answer_window(obstacles(z, None, None, sight, cell_m=10.0), settings=sight, **look)
    grown = answer_window(obstacles(z, canopy, closure, sight, cell_m=10.0), settings=sight, **look)
    known = bare != OUTSIDE
    assert (grown[known] <= bare[known]).all()
    assert BLOCKED < 1 < CLEAR


@settings(max_examples=40)
@given(seeds, cells)
def test_turning_and_mirroring_the_country_turns_and_mirrors_the_answer(seed, watcher):
    z = ground(seed)
    row, col = watcher
    seen = visible(z, row=row, col=col, cell_m=10.0, eye_m=1.0, target_m=0.9)
    turned = visible(np.rot90(z), row=24 - col, col=row, cell_m=10.0, eye_m=1.0, target_m=0.9)
    mirrored = visible(z[:, ::-1], row=row, col=24 - col, cell_m=10.0, eye_m=1.0, target_m=0.9)
    assert (np.rot90(seen) == turned).mean() > 0.998
    assert (seen[:, ::-1] == mirrored).mean() > 0.998


@settings(max_examples=40)
@given(seeds, cells, st.integers(-500, 4000))
def test_shifting_the_elevation_changes_no_sight(seed, watcher, shift):
    z = ground(seed)
    look = {
        "row": watcher[0],
        "col": watcher[1],
        "cell_m": 10.0,
        "eye_m": 1.0,
        "target_m": 0.9,
        "radius_cells": 20,
    }
    one = margins(z, z, **look)
    higher = (z + np.float32(shift)).astype(np.float32)
    two = margins(higher, higher, **look)
    both = np.isfinite(one) & (np.abs(one) > 0.02)  # float32 heights near 4000 m are known to 0.25 mm
    assert ((one[both] >= 0) == (two[both] >= 0)).all()


@given(seeds)
def test_share_is_a_range_in_order(seed):
    rng = np.random.default_rng(seed)
    light = np.sort(rng.random((3, 50)).astype(np.float32), axis=0)
    found = Through(rng.normal(0, 4, 50).astype(np.float32), *light)
    sight = SightSettings()
    low, likely, high = share(
        parts_seen(found, answers_through(found, sight), sight), rng.random(50).astype(np.float32)
    )
    assert 0 <= low <= likely <= high <= 1


@given(seeds)
def test_answers_through_foliage_say_no_more_than_the_ground(seed):
    """Blocked by ground stays blocked, whatever the light; full light gives the answers of bare ground."""
    rng = np.random.default_rng(seed)
    margin = rng.normal(0, 4, 60).astype(np.float32)
    sight = SightSettings()
    whole = np.ones(60, np.float32)
    bare = answers_through(Through(margin, whole, whole, whole), sight)
    error = sight.elevation_error_m
    assert np.array_equal(bare, np.where(margin >= error, CLEAR, np.where(margin < -error, BLOCKED, 1)))
    light = np.sort(rng.random((3, 60)).astype(np.float32), axis=0)
    assert (answers_through(Through(margin, *light), sight) <= bare).all()


@settings(max_examples=25)
@given(seeds, cells)
def test_looking_from_the_animal_shows_the_watchers_that_see_it(seed, animal):
    """Siting looks from the animals, the plan is told from the watcher: plain yes or no must agree."""
    z = ground(seed)
    back = margins(z, z, row=animal[0], col=animal[1], cell_m=10.0, eye_m=0.9, target_m=1.0, radius_cells=12)
    for dr, dc in ((0, 9), (7, 0), (5, -4), (-8, 3), (-3, -10), (6, 6)):
        row, col = animal[0] + dr, animal[1] + dc
        if not (0 <= row < 25 and 0 <= col < 25):
            continue
        there = margin_between(z, z, eye=(row, col), target=animal, cell_m=10.0, eye_m=1.0, target_m=0.9)[0]
        if min(abs(there), abs(back[12 + dr, 12 + dc])) > 0.02:
            assert (there > 0) == (back[12 + dr, 12 + dc] > 0)

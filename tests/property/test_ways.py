"""Ways over random ground: what must hold whatever the country."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from graylight.approach.exposure import Notice
from graylight.approach.ways import Land, ways_to
from graylight.errors import BadInput
from graylight.grid import RowCol
from graylight.reach.ground import WalkGround
from graylight.reach.pace import pace_table
from graylight.reach.walking import walk_field
from graylight.settings import ApproachSettings, WalkSettings

RELATIVE = 2e-6
SHAPE = (12, 15)
PLACE, START = RowCol(9, 12), (2, 1)
WALK = WalkSettings()
seeds = st.integers(0, 2**32 - 1)
weights = st.builds(
    ApproachSettings,
    seen_weight=st.floats(0.0, 30.0),
    scent_weight=st.floats(0.0, 30.0),
    between=st.floats(0.0, 1.0),
    seen_dark=st.floats(0.0, 1.0),
)


def country(seed: int) -> tuple[Land, Notice]:
    rng = np.random.default_rng(seed)
    shut = (rng.random(SHAPE) < 0.15).astype(np.uint8)
    shut[PLACE] = shut[START] = 0
    factor = np.where(shut, np.inf, rng.choice([0.75, 1.0, 2.0], SHAPE)).astype(np.float32)
    surface = (rng.random(SHAPE) < 0.2).astype(np.uint8)
    ground = WalkGround(factor, surface, ("closed",), shut, np.zeros(SHAPE, np.uint8))
    z = (4.0 * rng.normal(size=SHAPE)).astype(np.float32)
    notice = Notice(
        (rng.random(SHAPE) * (rng.random(SHAPE) < 0.4)).astype(np.float32),
        (rng.random(SHAPE) * (rng.random(SHAPE) < 0.3)).astype(np.float32),
    )
    return Land(z, np.zeros(SHAPE, np.float32), ground, 10.0), notice


def found_on(land: Land, notice: Notice, approach: ApproachSettings, *, dark: bool = True):
    """The ways from the one start; None where there are none."""
    try:
        found = ways_to(
            PLACE, ([START[0]], [START[1]]), land, walk=WALK, approach=approach, notice=notice, dark=dark
        )
    except BadInput:
        return None
    return found[0]


def weighed(course, approach: ApproachSettings, *, dark: bool) -> float:
    """Seconds noticed, each with its weight."""
    of = course.exposure
    seen = approach.seen_weight * (approach.seen_dark if dark else 1.0)
    return course.way.seconds * (seen * of.seen_share + approach.scent_weight * of.scented_share)


@settings(max_examples=60, deadline=None)
@given(seed=seeds, approach=weights, dark=st.booleans())
def test_the_more_hidden_the_longer_and_the_less_noticed(seed, approach, dark):
    """Of least sums T + weight x E: T never falls and E never rises as the weight grows (exactly so)."""
    land, notice = country(seed)
    found = found_on(land, notice, approach, dark=dark)
    assume(found is not None)
    courses = (found.quickest, found.between, found.hidden)
    seconds = [c.way.seconds for c in courses]
    noticed = [weighed(c, approach, dark=dark) for c in courses]
    total = sum(seconds) + sum(noticed)
    slack = RELATIVE * total  # ways equal to the last bit of a float32 may change places
    assert seconds[0] <= seconds[1] + slack
    assert seconds[1] <= seconds[2] + slack * max(1.0, 1.0 / max(approach.between, 1e-3))
    for i, weight in enumerate((0.0, approach.between, 1.0)):
        own = seconds[i] + weight * noticed[i]
        assert all(own <= s + weight * n + slack for s, n in zip(seconds, noticed, strict=True))


@settings(max_examples=40, deadline=None)
@given(seed=seeds, dark=st.booleans())
def test_the_time_added_up_along_the_way_is_the_least_time(seed, dark):
    """The kernel's field and the sum along the way it gives: two programs, one sum."""
    land, notice = country(seed)
    found = found_on(land, notice, ApproachSettings(), dark=dark)
    assume(found is not None)
    pace = pace_table(WALK, dark=dark)
    for toward, course in ((True, found.quickest), (False, found.out)):
        seconds, _ = walk_field(
            land.elevation_m, land.ground, pace, ([PLACE.row], [PLACE.col]), cell_m=10.0, toward=toward
        )
        assert course.way.seconds == pytest.approx(float(seconds[START]), rel=RELATIVE)


@settings(max_examples=40, deadline=None)
@given(seed=seeds)
def test_no_way_enters_closed_ground(seed):
    land, notice = country(seed)
    found = found_on(land, notice, ApproachSettings())
    assume(found is not None)
    for course in (found.quickest, found.between, found.hidden, found.out):
        assert np.isfinite(course.way.at_s).all()
        assert np.all(np.diff(course.way.at_s) > 0.0)


@settings(max_examples=40, deadline=None)
@given(seed=seeds)
def test_the_way_out_over_reversed_slopes_costs_what_the_way_in_does(seed):
    land, notice = country(seed)
    found = found_on(land, notice, ApproachSettings())
    assume(found is not None)
    turned = found_on(replace(land, elevation_m=-land.elevation_m), notice, ApproachSettings())
    assert turned.out.way.seconds == pytest.approx(found.quickest.way.seconds, rel=RELATIVE)
    assert turned.quickest.way.seconds == pytest.approx(found.out.way.seconds, rel=RELATIVE)


@settings(max_examples=40, deadline=None)
@given(seed=seeds, where=st.integers(0, SHAPE[0] * SHAPE[1] - 1))
def test_a_closed_cell_never_shortens_a_way(seed, where):
    land, notice = country(seed)
    cell = divmod(where, SHAPE[1])
    assume(cell not in {tuple(PLACE), START})
    before = found_on(land, notice, ApproachSettings())
    assume(before is not None)
    factor, shut = land.ground.factor.copy(), land.ground.shut.copy()
    factor[cell], shut[cell] = np.inf, 1
    closed = replace(land, ground=replace(land.ground, factor=factor, shut=shut))
    after = found_on(closed, notice, ApproachSettings())
    if after is not None:
        assert after.quickest.way.seconds >= before.quickest.way.seconds * (1 - RELATIVE)
        assert after.out.way.seconds >= before.out.way.seconds * (1 - RELATIVE)

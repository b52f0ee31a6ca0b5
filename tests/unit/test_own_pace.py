"""A person's own pace from walks that were timed."""

from __future__ import annotations

import numpy as np
import pytest

from graylight.errors import BadInput
from graylight.reach.own_pace import TimedWalk, measured_factor, published_seconds
from graylight.reach.pace import irmischer_off, on_path
from graylight.settings import WalkSettings
from tests.unit.test_reach import PLAIN, ground_of

PICTURE = "\n".join([" ".join(["."] * 120)] * 3)
SLOPED = np.tile(np.arange(120) * 2.0, (3, 1)).astype(np.float32)


def walk_of(seconds, *, cols=(0.0, 119.0), row=1.0, **more):
    return TimedWalk(np.full(len(cols), row), np.array(cols), seconds, **more)


def factor_of(*walks, settings=PLAIN, picture=PICTURE):
    return measured_factor(walks, SLOPED, ground_of(picture, dark=False), cell_m=10.0, settings=settings)


def test_a_walk_at_the_published_pace_measures_one():
    """1190 m up a slope of a fifth, and down again (Irmischer & Clarke 2018)."""
    up, down = 1190.0 / float(irmischer_off(0.2)), 1190.0 / float(irmischer_off(-0.2))
    assert factor_of(walk_of(up)).factor == pytest.approx(1.0, rel=0.02)  # heights by whole cells
    assert factor_of(walk_of(down, cols=(119.0, 0.0))).factor == pytest.approx(1.0, rel=0.02)
    assert factor_of(walk_of(1.3 * up), walk_of(1.3 * down, cols=(119.0, 0.0))).factor == pytest.approx(
        1.3, rel=0.02
    )


def test_walks_add_up_and_their_spread_is_told():
    up = 1190.0 / float(irmischer_off(0.2))
    found = factor_of(walk_of(up), walk_of(2.0 * up), walk_of(1.0, cols=(0.0, 9.0)))
    assert found.factor == pytest.approx(1.5, rel=0.02)
    assert (found.low, found.high) == (pytest.approx(1.0, rel=0.02), pytest.approx(2.0, rel=0.02))
    assert found.walks == 2


def test_pack_and_dark_are_taken_out():
    up = 1190.0 / float(irmischer_off(0.2))
    slow = WalkSettings(pace_factor=2.5, pack_factor=1.25, dark_factor=1.4)
    found = factor_of(walk_of(up * 1.25 * 1.4, pack=True, dark=True), settings=slow)
    assert found.factor == pytest.approx(1.0, rel=0.02)


def test_path_and_closed_ground_that_was_walked():
    on = ground_of("\n".join([" ".join(["p"] * 120)] * 3), dark=False)
    flat = np.zeros((3, 120), np.float32)
    took = published_seconds(walk_of(1.0), flat, on, cell_m=10.0, settings=PLAIN)
    assert took == pytest.approx(1190.0 / float(on_path(0.0)), rel=1e-4)
    shut = ground_of("\n".join([" ".join(["x"] * 120)] * 3), dark=False)
    assert np.isfinite(published_seconds(walk_of(1.0), flat, shut, cell_m=10.0, settings=PLAIN))


@pytest.mark.parametrize(
    ("walk", "words"),
    [
        (walk_of(900.0, cols=(0.0, 9.0)), "long enough"),
        (walk_of(900.0, cols=(5.0, 5.0)), "long enough"),
        (walk_of(900.0, cols=(0.0, 400.0)), "leaves the country"),
        (walk_of(0.0), "took 0 seconds"),
        (walk_of(float("nan")), "took nan seconds"),
    ],
)
def test_what_measures_nothing_is_refused(walk, words):
    with pytest.raises(BadInput, match=words):
        factor_of(walk)

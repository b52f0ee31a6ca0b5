"""A sight line drawn out, against the exact definition, similar triangles and the curvature table."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from graylight.errors import BadInput
from graylight.kernels.viewshed import crossing_margin
from graylight.settings import SightSettings
from graylight.sight.foliage import Canopy, foliage, through
from graylight.sight.line import sightline
from graylight.sight.viewshed import bend
from tests.reference import exact_sight
from tests.reference.test_foliage import pairs, patches, rough_ground

SETTINGS = SightSettings()
ASK = {"cell_m": 10.0, "eye_m": 1.0, "target_m": 0.9, "settings": SETTINGS}


def wall() -> np.ndarray:
    z = np.zeros((1, 101), np.float32)
    z[0, 20] = 10.0
    return z


def test_a_wall_by_similar_triangles():
    """Eye 5 m, wall of 10 m at 200 m, target at 400 m: it must stand 15 m high, or the eye rise by 15 m with it at 0."""
    line = sightline(
        foliage(wall(), None, SETTINGS), eye=(0, 0), target=(0, 40), **ASK | {"eye_m": 5.0, "target_m": 0.0}
    )
    drop = bend(1 / 7) * 400.0**2
    # the earth's bulge half way is a quarter of the drop at the end; seen from the eye, twice that at the target
    assert line.margin_m == pytest.approx(-15.0 - drop / 2, abs=1e-6)
    assert (line.closest.distance_m, line.closest.row, line.closest.col) == (200.0, 0.0, 20.0)
    assert line.closest.clears_m == pytest.approx(line.margin_m / 2)
    assert line.rise_m == pytest.approx(15.0 + drop / 2, abs=1e-6)
    assert line.ground_distance_m == 400.0
    assert line.straight_distance_m == pytest.approx(math.hypot(400.0, 5.0))
    assert line.angle_deg == pytest.approx(math.degrees(math.atan2(-5.0 - drop, 400.0)))


# Apparent drop for k = 1/7 (project's table of check values, from the published equation): 0.067 m at 1, 1.682 at 5 km.
@pytest.mark.parametrize(("cells", "drop_m"), [(100, 0.067), (500, 1.682)])
def test_the_line_sags_by_a_quarter_of_the_drop_half_way(cells, drop_m):
    z = np.zeros((1, cells + 1), np.float32)
    line = sightline(
        foliage(z, None, SETTINGS), eye=(0, 0), target=(0, cells), **ASK | {"eye_m": 30.0, "target_m": 30.0}
    )
    assert 30.0 - line.ray_m[cells // 2] == pytest.approx(drop_m / 4, abs=1e-3)
    assert line.ray_m[0] == line.ray_m[-1] == 30.0


@pytest.mark.parametrize("seed", range(3))
def test_profile_and_margin_are_those_of_the_exact_definition(seed):
    z = rough_ground(seed)
    height, closure = patches(seed)
    land = foliage(z, Canopy(height, closure), SETTINGS)
    for r0, c0, r1, c1 in pairs(seed, 60):
        line = sightline(land, eye=(r0, c0), target=(r1, c1), **ASK)
        exact = sorted(set(exact_sight.crossings(r0, c0, r1, c1)))
        assert line.along_m[1:-1] == pytest.approx([float(t) * line.ground_distance_m for t, _, _ in exact])
        ground = [exact_sight.height_at(z, row, col) for _, row, col in exact]
        assert line.ground_m[1:-1] == pytest.approx(ground, abs=1e-5)
        assert (line.top_m >= line.base_m).all()
        assert (line.base_m >= line.ground_m).all()
        alone = crossing_margin(
            z, r0, c0, float(z[r0, c0]) + 1.0, r1, c1, float(z[r1, c1]) + 0.9, 10.0, bend(1 / 7)
        )[0]
        assert line.margin_m == alone
        if exact:
            # the line's height over the ground, each brought out to the target, is the margin at its least
            levered = (line.ray_m - line.ground_m)[1:-1] / (line.along_m[1:-1] / line.ground_distance_m)
            assert levered.min() == pytest.approx(alone, abs=1e-4)
            here = np.interp(line.closest.distance_m, line.along_m, line.ray_m - line.ground_m)
            assert line.closest.clears_m == pytest.approx(here, abs=1e-3)
        asked = through(land, eye=(r0, c0), rows=np.array([r1]), cols=np.array([c1]), **ASK)
        assert (line.low, line.likely, line.high) == (asked.low[0], asked.likely[0], asked.high[0])


@given(st.integers(0, 5000))
def test_risen_by_the_rise_the_line_just_clears(seed):
    rng = np.random.default_rng(seed)
    z = rng.normal(0, 4, (25, 25)).cumsum(axis=0).astype(np.float32)
    r0, c0, r1, c1 = (int(i) for i in rng.integers(0, 25, 4))
    if (r0, c0) == (r1, c1):
        return
    land = foliage(z, None, SETTINGS)
    line = sightline(land, eye=(r0, c0), target=(r1, c1), **ASK)
    assert (line.rise_m > 0) == (line.margin_m < 0)
    if line.rise_m > 0:
        up = sightline(land, eye=(r0, c0), target=(r1, c1), **ASK | {"eye_m": 1.0 + line.rise_m})
        assert up.closest.clears_m == pytest.approx(0.0, abs=1e-3)
        assert up.rise_m < 1e-3


def test_ends_that_touch_and_unknown_ground():
    z = wall()
    near = sightline(foliage(z, None, SETTINGS), eye=(0, 3), target=(0, 4), **ASK)
    assert near.margin_m == math.inf
    assert near.closest is None
    assert near.rise_m == 0.0
    assert near.likely == 1.0
    z[0, 20] = np.nan
    hidden = sightline(foliage(z, None, SETTINGS), eye=(0, 0), target=(0, 40), **ASK)
    assert hidden.margin_m < -1e6
    assert hidden.rise_m == math.inf
    assert np.isnan(hidden.ground_m).sum() == 1


@pytest.mark.parametrize(
    ("eye", "target", "words"),
    [((0, 5), (0, 5), "both ends"), ((0, 5), (0, 101), "column 101"), ((-1, 5), (0, 5), "row -1")],
)
def test_what_is_refused(eye, target, words):
    with pytest.raises(BadInput, match=words):
        sightline(foliage(wall(), None, SETTINGS), eye=eye, target=target, **ASK)

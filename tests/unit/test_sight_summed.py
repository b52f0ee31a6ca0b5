"""Sight of many places at once."""

from __future__ import annotations

import numpy as np
import pytest

from graylight.errors import BadInput
from graylight.sight.summed import summed_sight
from graylight.sight.viewshed import visible
from tests.reference.exact_disc import rough_mountains

LOOK = {"cell_m": 10.0, "eye_m": 1.6, "target_m": 0.9}
ROWS, COLS = [30, 100, 70, 30, 5], [40, 20, 119, 40, 0]
WEIGHT = [1.0, 0.5, 2.0, 0.25, 4.0]


def test_it_is_the_weighted_sum_of_single_looks():
    z = rough_mountains(120)
    z[50:53, 60:70] = np.nan
    found = summed_sight(z, z, ROWS, COLS, WEIGHT, radius_m=500.0, **LOOK)
    plain = sum(
        w * visible(z, row=r, col=c, radius_m=500.0, **LOOK)
        for r, c, w in zip(ROWS, COLS, WEIGHT, strict=True)
    )
    assert np.allclose(found, plain)
    assert found[51, 65] == 0.0


def test_order_and_number_of_places_do_not_matter():
    z = rough_mountains(120)
    rng = np.random.default_rng(3)
    rows, cols, weight = rng.integers(0, 120, 150), rng.integers(0, 120, 150), rng.integers(1, 5, 150) / 4
    one = summed_sight(z, z, rows, cols, weight, radius_m=400.0, **LOOK)
    turned = rng.permutation(150)
    other = summed_sight(z, z, rows[turned], cols[turned], weight[turned], radius_m=400.0, **LOOK)
    assert np.array_equal(one, other)  # quarters add up without rounding


def test_a_quick_sum_is_close():
    z = rough_mountains(400)
    rng = np.random.default_rng(3)
    rows, cols = rng.integers(50, 350, 40), rng.integers(50, 350, 40)
    one = summed_sight(z, z, rows, cols, np.ones(40), radius_m=2000.0, **LOOK)
    quick = summed_sight(z, z, rows, cols, np.ones(40), radius_m=2000.0, exact=False, **LOOK)
    assert np.abs(one - quick).sum() < 0.03 * one.sum()


def test_looking_at_the_places_is_looking_from_them_with_the_heights_exchanged():
    z = rough_mountains(90)
    at = summed_sight(z, z, [40], [45], [1.0], cell_m=10.0, eye_m=0.9, target_m=1.6, radius_m=900.0)
    for r, c in ((10, 12), (60, 70), (44, 20), (80, 41)):
        assert bool(at[r, c]) == visible(z, row=r, col=c, **LOOK)[40, 45]


@pytest.mark.parametrize(
    ("rows", "cols", "weight"), [([3], [120], [1]), ([-1], [3], [1]), ([3, 4], [3, 4], [1])]
)
def test_bad_places_are_told(rows, cols, weight):
    with pytest.raises(BadInput):
        summed_sight(rough_mountains(120), rough_mountains(120), rows, cols, weight, radius_m=500.0, **LOOK)


def test_unknown_ground_is_told():
    z = rough_mountains(60)
    z[7, 8] = np.nan
    with pytest.raises(BadInput, match="row 7, column 8"):
        summed_sight(z, z, [7], [8], [1.0], radius_m=500.0, **LOOK)

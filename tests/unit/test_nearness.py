"""Near enough: the kernel against scipy's exact distance transform, and by hand."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import distance_transform_edt

from graylight.kernels.nearness import near_any
from graylight.settings import WatchSettings
from graylight.siting.seat import suited


def _near(mask, limit2):
    out = np.ones(mask.shape, bool)
    near_any(mask, limit2, np.empty(mask.shape, np.int32), out)
    return out


@pytest.mark.parametrize("part", [0.0, 0.002, 0.05, 0.6])
@pytest.mark.parametrize("limit2", [0, 1, 2, 3, 25, 26, 1600])
def test_it_is_the_exact_distance_transform(part, limit2):
    """scipy.ndimage.distance_transform_edt, to the last cell, on ground that is not square."""
    mask = np.random.default_rng(limit2).random((61, 97)) < part
    far = distance_transform_edt(~mask) if mask.any() else np.full(mask.shape, np.inf)
    assert np.array_equal(_near(mask, limit2), np.rint(far**2) <= limit2)


def test_by_hand():
    mask = np.zeros((5, 6), bool)
    mask[2, 2] = True
    shown = ["".join(".#"[int(v)] for v in row) for row in _near(mask, 2)]
    assert shown == ["......", ".###..", ".###..", ".###..", "......"]
    assert _near(mask, 0).sum() == 1


@pytest.mark.parametrize("kernel", [near_any, near_any.py_func])
def test_compiled_and_plain_agree(kernel):
    mask = np.random.default_rng(3).random((17, 23)) < 0.04
    out = np.zeros(mask.shape, bool)
    kernel(mask, 13, np.empty(mask.shape, np.int32), out)
    assert np.array_equal(out, _near(mask, 13))


@pytest.mark.parametrize(("cell_m", "standoff_m"), [(10.0, 200.0), (7.0, 203.0), (90.0, 60.0), (10.0, 0.0)])
def test_the_standoff_is_kept_to_the_cell(cell_m, standoff_m):
    """A seat may lie exactly at the standoff, not nearer; the distances are scipy's."""
    used = np.zeros((60, 70), bool)
    used[30, 20] = used[41, 50] = True
    level, shut = np.zeros(used.shape, np.float32), np.zeros(used.shape, bool)
    fit = suited(level, None, None, shut, used, cell_m=cell_m, standoff_m=standoff_m, watch=WatchSettings())
    assert np.array_equal(fit, distance_transform_edt(~used) * cell_m >= standoff_m)

"""Sight beside libgdal's own viewshed, by way of the rasterio wheel."""

from __future__ import annotations

import numpy as np
import pytest
from benchmarks.gdal import Gdal

from graylight.sight.viewshed import visible
from tests.reference.exact_disc import exact_margins, rough_mountains
from tests.reference.real_ground import jacksboro


@pytest.mark.parametrize(
    ("name", "least"), [("rough", 0.93), ("Jacksboro", 0.80)]
)  # measured 95 % and 85-97 %: libgdal interpolates between neighbours instead of checking each crossing
def test_libgdal_sees_much_the_same_and_is_farther_from_the_definition(name, least):
    z, cell_m = (rough_mountains(500), 10.0) if name == "rough" else jacksboro()
    radius, row, col = 150, z.shape[0] // 2, z.shape[1] // 2
    look = {"cell_m": cell_m, "eye_m": 1.6, "target_m": 0.9}
    theirs = Gdal(z, cell_m).viewshed(row, col, radius_m=radius * cell_m, **look)
    ours = visible(z, row=row, col=col, radius_m=radius * cell_m, **look)
    exact = np.zeros(z.shape, bool)
    margin = exact_margins(z, row, col, radius=radius, **look)
    exact[row - radius : row + radius + 1, col - radius : col + radius + 1] = margin >= 0
    assert _overlap(ours, theirs) >= least
    assert _overlap(ours, exact) > _overlap(theirs, exact)


def _overlap(one: np.ndarray, other: np.ndarray) -> float:
    return float((one & other).sum() / (one | other).sum())

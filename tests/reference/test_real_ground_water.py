"""Lakes in real elevation in whole metres: those that are there, and no others."""

from __future__ import annotations

import numpy as np
import pytest

from graylight.ground.patches import patches
from graylight.ground.water import water
from tests.reference.real_ground import jacksboro, rocky_mountain

KNOWN = {
    # Norris Lake, full pool 1020 ft (311 m), summer and winter levels down to about 1000 ft (305 m), and its arm at
    # Caryville: from memory
    "jacksboro": (jacksboro, [(305, 656), (305, 450), (305, 50), (311, 44)]),
    # Lake Granby, full at 8280 ft (2524 m): from memory
    "rocky_mountain": (rocky_mountain, [(2523, 97)]),
}


@pytest.mark.parametrize("name", KNOWN)
def test_only_reservoirs_become_water(name):
    """No hillside, meadow or summit of either sample; seen beforehand: their level pieces have at most 10 cells."""
    sample, lakes = KNOWN[name]
    ground, cell_m = sample()
    found = water(ground, cell_m=cell_m)
    labels, count = patches(found.deep)
    told = [(int(ground[labels == i].mean()), int((labels == i).sum())) for i in range(1, count + 1)]
    assert sorted(told) == sorted(lakes)
    assert all(np.ptp(ground[labels == i]) == 0 for i in range(1, count + 1))
    assert not found.sure.any()


@pytest.mark.parametrize("name", KNOWN)
def test_the_same_lakes_in_whole_feet(name):
    sample, _ = KNOWN[name]
    ground, cell_m = sample()
    feet = (np.round(ground / 0.3048) * 0.3048).round(2).astype(np.float32)
    assert np.array_equal(water(feet, cell_m=cell_m).deep, water(ground, cell_m=cell_m).deep)

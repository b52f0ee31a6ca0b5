"""Quick answers through canopy: a stand is a wall, a row of trees is not."""

from __future__ import annotations

import numpy as np
import pytest

from graylight.settings import SightSettings
from graylight.sight.answers import BLOCKED, TOUCH_AND_GO, WALL_M, answer_window, answers_through, obstacles
from graylight.sight.foliage import through

SIDE = 61
LEVEL = np.zeros((SIDE, SIDE), np.float32)
SIGHT = SightSettings(elevation_error_m=0.0)


def _behind(grown: np.ndarray, *, cell_m: float = 10.0, closure: float = 0.6) -> tuple[int, int]:
    """The quick answer, and the answer through the foliage, for the cell 20 cells east of the middle."""
    canopy = np.where(grown, 15.0, 0.0).astype(np.float32)
    closed = np.where(grown, closure, 0.0).astype(np.float32)
    land = obstacles(LEVEL, canopy, closed, SIGHT, cell_m=cell_m)
    look = {"cell_m": cell_m, "eye_m": 1.0, "target_m": 0.9, "settings": SIGHT}
    window = answer_window(land, row=30, col=30, radius_cells=25, **look)
    at = np.array([30]), np.array([50])
    found = through(land.leaves, eye=(30, 30), rows=at[0], cols=at[1], **look)
    return int(window[25, 45]), int(answers_through(found, SIGHT)[0])


def _row(thick: int) -> np.ndarray:
    grown = np.zeros(LEVEL.shape, bool)
    grown[:, 38 : 38 + thick] = True
    return grown


def test_a_lone_row_may_or_may_not_hide():
    """As the foliage itself says: some of the light comes through a row one or two cells thick."""
    for thick in (1, 2):
        quick, looked = _behind(_row(thick))
        assert quick == TOUCH_AND_GO
        assert looked != BLOCKED


@pytest.mark.parametrize("thick", [3, 5, 9])
def test_a_stand_as_thick_as_a_wall_hides(thick):
    assert _behind(_row(thick))[0] == BLOCKED


def test_a_lone_tree_is_no_wall_and_a_wide_stand_is():
    grown = np.zeros(LEVEL.shape, bool)
    grown[30, 40] = True
    assert _behind(grown)[0] == TOUCH_AND_GO
    grown[25:36, 36:46] = True
    assert _behind(grown)[0] == BLOCKED


@pytest.mark.parametrize("cell_m", [WALL_M, 90.0])
def test_on_coarse_cells_one_of_them_is_thick_enough(cell_m):
    """By hand: exp(-60 m x 0.09 per metre) is less than a hundredth."""
    assert _behind(_row(1), cell_m=cell_m)[0] == BLOCKED


def test_a_slanting_row_is_as_thin_as_a_straight_one():
    grown = np.eye(SIDE, k=10, dtype=bool) | np.eye(SIDE, k=11, dtype=bool)
    assert _behind(grown)[0] == TOUCH_AND_GO
    assert _behind(np.tri(SIDE, k=16, dtype=bool) & ~np.tri(SIDE, k=6, dtype=bool))[0] == BLOCKED


def test_turning_the_ground_turns_the_walls():
    grown = np.random.default_rng(5).random(LEVEL.shape) < 0.8
    canopy, closed = (np.where(grown, v, 0.0).astype(np.float32) for v in (12.0, 0.7))
    here = obstacles(LEVEL, canopy, closed, SIGHT, cell_m=10.0).wall_m
    there = obstacles(LEVEL, np.rot90(canopy), np.rot90(closed), SIGHT, cell_m=10.0).wall_m
    assert np.array_equal(np.rot90(here), there)
    assert 0 < (here > 0).mean() < grown.mean()

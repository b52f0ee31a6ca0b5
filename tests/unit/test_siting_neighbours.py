"""Neighbours of a pick on drawn ground."""

from __future__ import annotations

import numpy as np
import pytest

from graylight.errors import BadInput
from graylight.siting.neighbours import neighbours

ROWS, COLS, CELL = 21, 31, 20.0


def sited(worth: dict[tuple[int, int], float]) -> np.ndarray:
    raster = np.zeros((ROWS, COLS), np.float32)
    for place, value in worth.items():
        raster[place] = value
    return raster


def level() -> np.ndarray:
    return np.full((ROWS, COLS), 2000.0, np.float32)


def walk_from_the_west() -> np.ndarray:
    return np.tile(np.arange(COLS, dtype=np.float32) * 100.0, (ROWS, 1))


def test_nearer_is_the_best_of_those_a_sixth_closer():
    land, at = sited({(10, 15): 0.5, (10, 13): 0.45, (10, 12): 0.3, (9, 11): 0.4, (10, 20): 0.9}), (10, 15)
    (near,) = neighbours(land, at, level(), walk_from_the_west(), cell_m=CELL)
    assert (near.kind, near.row, near.col) == ("nearer", 9, 11)  # column 13 saves too little, 20 is farther
    assert near.worth_change == pytest.approx(-0.1)
    assert near.walk_change_s == pytest.approx(-400.0)
    assert near.distance_m == pytest.approx(CELL * np.hypot(1, 4))
    assert near.height_change_m == 0.0


def test_higher_stands_25_m_higher():
    ground = level()
    ground[8, 15], ground[9, 15] = 2040.0, 2020.0
    land, at = sited({(10, 15): 0.5, (9, 15): 0.7, (8, 15): 0.6}), (10, 15)
    found = {n.kind: n for n in neighbours(land, at, ground, None, cell_m=CELL)}
    assert (found["higher"].row, found["higher"].worth_change) == (8, pytest.approx(0.1))
    assert found["higher"].walk_change_s is None
    assert "nearer" not in found


def test_the_other_side_lies_over_a_crest():
    ground = level()
    ground[:, 18] = 2030.0  # a wall of ground from north to south
    land, at = sited({(10, 15): 0.5, (10, 14): 0.6, (10, 22): 0.2, (4, 21): 0.3, (10, 18): 0.9}), (10, 15)
    found = {n.kind: n for n in neighbours(land, at, ground, None, cell_m=CELL)}
    assert (found["other side"].row, found["other side"].col) == (4, 21)
    assert (found["higher"].row, found["higher"].col) == (10, 18)  # the crest itself is on no other side


def test_beyond_600_m_is_no_neighbour_and_unknown_ground_is_none():
    ground = level()
    ground[10, 1] = np.nan
    land, at = sited({(10, 30): 0.5, (10, 0): 0.4, (10, 1): 0.4, (20, 0): 0.9}), (10, 30)
    (near,) = neighbours(land, at, ground, walk_from_the_west(), cell_m=CELL)
    assert (near.row, near.col) == (10, 0)  # 600 m; (20, 0) is 632 m off


def test_nothing_near():
    assert neighbours(sited({(0, 0): 0.5}), (0, 0), level(), None, cell_m=CELL) == ()


def test_a_place_outside_is_refused():
    with pytest.raises(BadInput, match="column 99 lies outside"):
        neighbours(sited({(0, 0): 0.5}), (0, 99), level(), None, cell_m=CELL)

"""Parcels drawn as vectors: where two private ones touch at a corner, their raster opens no way between."""

from __future__ import annotations

import math

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from rasterio.transform import Affine
from shapely.affinity import affine_transform
from shapely.geometry import Polygon, box

from graylight.country.masks import burn
from graylight.grid import Grid
from graylight.reach.ground import WalkGround, walk_ground
from graylight.reach.walking import reach
from graylight.settings import WalkSettings

SIDE = 24
WALK = WalkSettings()
MIDDLE_X, MIDDLE_Y = 500000.0 + 120.0, 4400000.0 - 120.0


def grid() -> Grid:
    return Grid(SIDE, SIDE, tuple(Affine(10, 0, 500000, 0, -10, 4400000))[:6], "EPSG:32613")


def quarters(turn_deg: float, east_m: float, north_m: float) -> list[Polygon]:
    """The north-east and the south-west quarter about a point, turned; far larger than the country."""
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    corner = [c, -s, s, c, MIDDLE_X + east_m, MIDDLE_Y + north_m]
    return [affine_transform(box(*b), corner) for b in ((0, 0, 900, 900), (-900, -900, 0, 0))]


def walked(parcels: list[Polygon], *, path: np.ndarray | None = None, walk: WalkSettings = WALK):
    """Which cells are reached from the north-west corner of the country, and the ground."""
    none = np.zeros((SIDE, SIDE), bool)
    ground: WalkGround = walk_ground(
        np.zeros((SIDE, SIDE), np.float32), np.zeros((SIDE, SIDE), np.uint8), deep_water=none,
        path_cells=none if path is None else path, private_cells=burn(parcels, grid()), settings=walk,
    )  # fmt: skip
    flat = np.zeros((SIDE, SIDE), np.float32)
    return np.isfinite(reach(flat, ground, ([0], [0]), cell_m=10.0, settings=walk).seconds), ground


@settings(max_examples=80, deadline=None)
@given(
    turn_deg=st.sampled_from([0.0, 0.0, 1e-3, 10.0, -25.0, 30.0]),
    east_m=st.one_of(st.sampled_from([0.0, 5.0, 10.0, 1e-7, -1e-7, 4.999999]), st.floats(-30.0, 30.0)),
    north_m=st.one_of(st.sampled_from([0.0, 5.0, 10.0, 1e-7, -1e-7, 4.999999]), st.floats(-30.0, 30.0)),
    path=st.booleans(),
)
def test_the_corner_where_two_private_parcels_touch_is_not_crossed(turn_deg, east_m, north_m, path):
    """From the open north-west no way leads to the open south-east, on a path drawn across or without."""
    drawn = np.eye(SIDE, dtype=bool) if path else None
    reached, ground = walked(quarters(turn_deg, east_m, north_m), path=drawn)
    assert reached[0, 0]
    assert ground.shut[-1, -1] == 0
    assert not reached[-1, -1]
    assert not np.any(reached & (ground.shut > 0))


def test_it_is_crossed_when_the_owner_has_said_so():
    """The check above can fail: with private land open the same corner is crossed."""
    reached, _ = walked(quarters(0.0, 0.0, 0.0), walk=WALK.model_copy(update={"private_open": True}))
    assert reached[-1, -1]


def test_a_gap_of_public_ground_a_few_cells_wide_stays_open():
    north_east, south_west = quarters(0.0, 0.0, 0.0)
    moved = affine_transform(south_west, [1, 0, 0, 1, -40.0, -40.0])
    reached, _ = walked([north_east, moved])
    assert reached[-1, -1]

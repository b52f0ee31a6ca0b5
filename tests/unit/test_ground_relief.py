from __future__ import annotations

import numpy as np
import pytest

from graylight.errors import BadInput, Cancelled
from graylight.ground.relief import LOCAL_RELIEF_RADIUS_M, padded, relief, slope_and_aspect
from graylight.kernels.relief import curvature, slope_aspect, vector_ruggedness
from tests.unit.hand_ground import axes


def test_ramps_face_where_they_fall():
    north, east = axes(7, 9, 10.0)
    for ground, aspect in (
        (-north, 0.0),
        (-east, 90.0),
        (north, 180.0),
        (east, 270.0),
        (east + north, 225.0),
    ):
        slope, facing = slope_and_aspect(ground.astype(np.float32), cell_m=10.0)
        assert np.allclose(facing, aspect, atol=1e-4)
        assert np.allclose(
            slope, np.degrees(np.arctan(np.hypot(*(np.gradient(ground, 10.0)[k][3, 3] for k in (0, 1)))))
        )


def test_convergence_turns_the_aspect_to_true_north():
    north, _ = axes(5, 5, 10.0)
    _, facing = slope_and_aspect((-north).astype(np.float32), cell_m=10.0, convergence_deg=-1.5)
    assert np.allclose(facing, 358.5, atol=1e-4)
    assert (facing < 360.0).all()


def test_level_ground_faces_nowhere():
    shape = relief(np.full((6, 7), 1234.5, np.float32), cell_m=10.0)
    assert (shape.slope_deg == 0).all()
    for raster in (shape.aspect_deg, shape.plan_curvature, shape.profile_curvature):
        assert np.isnan(raster).all()
    assert (shape.local_relief_m == 0).all()
    assert np.allclose(shape.ruggedness, 0.0, atol=1e-6)


@pytest.mark.parametrize("size", [(1, 1), (1, 5), (3, 3), (2, 4)])
def test_tiny_ground(size):
    ground = np.arange(size[0] * size[1], dtype=np.float32).reshape(size)
    shape = relief(ground, cell_m=10.0)
    assert not np.isnan(shape.slope_deg).any()
    assert shape.local_relief_m.max() == ground.max() - ground.min()


def test_holes_stay_holes_and_do_not_flatten_their_rims():
    north, east = axes(9, 11, 10.0)
    plane = (0.5 * east + 0.2 * north).astype(np.float32)
    plane[3:5, 4:6] = np.nan
    shape = relief(plane, cell_m=10.0)
    for raster in (shape.slope_deg, shape.ruggedness, shape.local_relief_m):
        assert np.array_equal(np.isnan(raster), np.isnan(plane))
    assert np.nanmax(np.abs(shape.slope_deg - shape.slope_deg[0, 0])) < 1e-3


def test_nothing_known():
    shape = relief(np.full((4, 5), np.nan, np.float32), cell_m=10.0)
    assert np.isnan(shape.slope_deg).all()
    assert np.isnan(shape.local_relief_m).all()


def test_curvature_of_a_cone_is_one_over_the_radius():
    # on a cone contours are circles and fall lines straight: plan 1 / r, profile 0, convex positive
    north, east = axes(81, 81, 10.0)
    away = np.hypot(north, east)
    shape = relief((3000.0 - 0.5 * away).astype(np.float32), cell_m=10.0)
    ring = (away > 150.0) & (away < 380.0)
    assert np.abs(shape.plan_curvature[ring] * away[ring] - 1.0).max() < 0.02
    assert np.abs(shape.profile_curvature[ring]).max() < 2e-5


def test_curvature_of_a_ball_is_one_over_its_radius():
    north, east = axes(61, 61, 10.0)
    radius = 2000.0
    shape = relief(np.sqrt(radius**2 - north**2 - east**2).astype(np.float32), cell_m=10.0)
    ring = (np.hypot(north, east) > 60.0) & (np.hypot(north, east) < 280.0)
    # what single precision leaves of a height of 2000 m limits the second differences
    assert np.abs(shape.profile_curvature[ring] * radius - 1.0).max() < 0.02
    assert (
        relief(-np.sqrt(radius**2 - north**2 - east**2).astype(np.float32), cell_m=10.0).profile_curvature[
            10, 30
        ]
        < 0
    )


def test_plan_curvature_is_held_within_a_cell():
    rng = np.random.default_rng(3)
    shape = relief(rng.normal(size=(40, 50)).astype(np.float32), cell_m=10.0)
    assert np.nanmax(np.abs(shape.plan_curvature)) <= np.float32(0.1)


def test_local_relief_looks_as_far_as_a_disc_of_its_area():
    ground = np.zeros((201, 201), np.float32)
    ground[100, 100] = 7.0
    shape = relief(ground, cell_m=10.0)
    seen = (shape.local_relief_m == 7.0).sum() * 100.0
    assert seen == pytest.approx(np.pi * LOCAL_RELIEF_RADIUS_M**2, rel=0.03)


def test_a_constant_added_changes_nothing():
    rng = np.random.default_rng(1)
    ground = np.round(rng.normal(size=(30, 33)) * 64).astype(np.float32)
    low, high = relief(ground, cell_m=10.0), relief(ground + np.float32(512.0), cell_m=10.0)
    for name in Relief_fields():
        assert np.array_equal(getattr(low, name), getattr(high, name), equal_nan=True), name


def Relief_fields() -> tuple[str, ...]:
    return ("slope_deg", "aspect_deg", "plan_curvature", "profile_curvature", "local_relief_m", "ruggedness")


def test_turning_and_mirroring_the_country():
    rng = np.random.default_rng(2)
    ground = np.round(rng.normal(size=(26, 31)) * 64).astype(np.float32)
    shape, turned = relief(ground, cell_m=10.0), relief(np.ascontiguousarray(np.rot90(ground)), cell_m=10.0)
    mirrored = relief(np.ascontiguousarray(ground[:, ::-1]), cell_m=10.0)
    for name in Relief_fields():
        if name == "aspect_deg":
            continue
        assert np.allclose(np.rot90(getattr(shape, name)), getattr(turned, name), rtol=1e-4, atol=1e-6), name
        assert np.allclose(getattr(shape, name)[:, ::-1], getattr(mirrored, name), rtol=1e-4, atol=1e-6), name
    turn = (np.rot90(shape.aspect_deg) - 90.0 - turned.aspect_deg + 180.0) % 360.0 - 180.0
    assert np.nanmax(np.abs(turn)) < 1e-3
    flip = (360.0 - shape.aspect_deg[:, ::-1] - mirrored.aspect_deg + 180.0) % 360.0 - 180.0
    assert np.nanmax(np.abs(flip)) < 1e-3


def test_jit_off_gives_the_same():
    rng = np.random.default_rng(4)
    ground = rng.normal(size=(19, 23)).astype(np.float32) * 10
    ground[4, 5] = np.nan
    shape, frame = relief(ground, cell_m=10.0), padded(ground)
    slow = [np.empty_like(ground) for _ in range(7)]
    slope_aspect.py_func(frame, 10.0, 0.0, 0, 19, *slow[:4])
    curvature.py_func(frame, 10.0, 0, 19, *slow[4:6])
    vector_ruggedness.py_func(slow[2], slow[3], 4, 0, 19, slow[6])
    for mine, other in (
        (shape.slope_deg, slow[0]), (shape.aspect_deg, slow[1]), (shape.plan_curvature, slow[4]),
        (shape.profile_curvature, slow[5]), (shape.ruggedness, slow[6]),
    ):  # fmt: skip
        assert np.allclose(mine, other, rtol=1e-4, atol=1e-5, equal_nan=True)


def test_bands_do_not_show():
    rng = np.random.default_rng(6)
    ground = rng.normal(size=(200, 40)).astype(np.float32)
    whole, piece = relief(ground, cell_m=30.0), relief(ground[50:150].copy(), cell_m=30.0)
    assert np.array_equal(whole.slope_deg[51:149], piece.slope_deg[1:-1])
    assert np.allclose(whole.ruggedness[53:147], piece.ruggedness[3:-3], atol=1e-6)


def test_it_stops_when_told():
    def tick(fraction: float) -> None:
        if fraction > 0.1:
            raise Cancelled("stopped")

    with pytest.raises(Cancelled):
        relief(np.zeros((400, 50), np.float32), cell_m=10.0, tick=tick)


@pytest.mark.parametrize(
    ("ground", "cell_m"), [(np.zeros((0, 3)), 10.0), (np.zeros(5), 10.0), (np.zeros((3, 3)), 0.0)]
)
def test_bad_input_is_said_in_one_line(ground, cell_m):
    with pytest.raises(BadInput) as error:
        relief(ground.astype(np.float32), cell_m=cell_m)
    assert "\n" not in str(error.value)
    assert "accepted" in str(error.value)

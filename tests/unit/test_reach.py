"""Ground as a walker meets it, and walking time from the starts, on small grids drawn by hand."""

from __future__ import annotations

import numpy as np
import pytest

from graylight.errors import BadInput, Cancelled
from graylight.ground.cover import Kind
from graylight.kernels.costpath import NOT_REACHED
from graylight.reach.ground import OVER_DEEP, OVER_STREAM, walk_ground
from graylight.reach.pace import irmischer_off, on_path
from graylight.reach.walking import bytes_needed, quiet, reach
from graylight.settings import WalkSettings

PLAIN = WalkSettings(pack_factor=1.0, dark_factor=1.0)


def marks(picture: str, sign: str) -> np.ndarray:
    """Where the picture holds the sign."""
    return np.array([[s == sign for s in line.split()] for line in picture.strip().split("\n")])


def ground_of(picture: str, *, settings=PLAIN, dark=True, kind=Kind.UNKNOWN, slope=None, streams=None):
    """'.' open, 'p' path, 'w' deep water, 'b' path over deep water, 'x' private, 'q' path on private, '^' 50°."""
    at = {sign: marks(picture, sign) for sign in ".pwbxq^"}
    slopes = np.where(at["^"], 50.0, 0.0).astype(np.float32) if slope is None else slope.astype(np.float32)
    return walk_ground(
        slopes,
        np.full(slopes.shape, kind, np.uint8),
        deep_water=at["w"] | at["b"],
        path_cells=at["p"] | at["b"] | at["q"],
        private_cells=at["x"] | at["q"],
        settings=settings,
        dark=dark,
        stream_cells=streams,
    )


def reach_of(ground, starts, *, settings=PLAIN, z=None, limit_s=np.inf, cell_m=10.0):
    z = np.zeros(ground.factor.shape, np.float32) if z is None else z.astype(np.float32)
    rows, cols = [s[0] for s in starts], [s[1] for s in starts]
    return reach(z, ground, (rows, cols), cell_m=cell_m, settings=settings, limit_s=limit_s)


@pytest.mark.parametrize(
    ("kind", "longer"),
    [(Kind.GRASS, 1.25), (Kind.UNKNOWN, 1.67), (Kind.TIMBER, 2.0), (Kind.ROCK, 2.5), (Kind.WATER, 5.0)],
)
def test_herzogs_factors_relative_to_off_path(kind, longer):
    """Herzog's ground factors: meadow 1.25, off path 1.67, off path in timber 2.0, rock 2.5, swamp 5."""
    assert ground_of(".", kind=kind).factor[0, 0] == pytest.approx(longer / 1.67)


def test_a_code_that_is_no_kind_counts_as_unknown():
    assert ground_of(".", kind=200).factor[0, 0] == pytest.approx(1.0)


def test_every_kind_of_cover_has_a_factor():
    for kind in Kind:
        assert np.isfinite(ground_of(".", kind=kind).factor[0, 0])


def test_what_is_closed_and_why():
    ground = ground_of(". ^ w x p b q")
    assert np.isfinite(ground.factor[0]).tolist() == [True, False, False, False, True, True, False]
    assert ground.why_shut(0, 0) is None
    assert ground.why_shut(0, 1) == "ground steeper than 45°"
    assert ground.why_shut(0, 2) == "deep water"
    assert ground.why_shut(0, 3) == "private land"
    assert ground.why_shut(0, 6) == "private land"


def test_unknown_height_is_closed():
    ground = ground_of(". .", slope=np.array([[0.0, np.nan]]))
    assert ground.why_shut(0, 1) == "ground of unknown height"
    assert np.isinf(ground.factor[0, 1])


def test_private_land_opens_only_when_the_person_says_so():
    ground = ground_of("x q", settings=PLAIN.model_copy(update={"private_open": True}))
    assert np.isfinite(ground.factor).all()
    assert ground.surface.tolist() == [[0, 1]]


def test_a_scramble_is_far_slower_in_the_dark_but_not_on_a_path():
    slope = np.array([[40.0, 40.0, 34.0]])
    dark, day = ground_of(". p .", slope=slope), ground_of(". p .", slope=slope, dark=False)
    assert dark.factor[0].tolist() == [6.0, 1.0, 1.0]
    assert day.factor[0].tolist() == [1.5, 1.0, 1.0]


def test_water_that_is_crossed():
    ground = ground_of(". w b .", streams=np.array([[True, False, False, False]]))
    assert ground.over_water.tolist() == [[OVER_STREAM, OVER_DEEP, OVER_DEEP, 0]]


BRIDGE = """
    . . . . w w
    p . . w w w
    . p . w w w
    . . p w w w
    . w w b w w
    w w w w b .
    w w w w . p
"""


def test_a_path_may_turn_on_a_bridge():
    """One cell wide and drawn slantwise, it would end at its first corner of closed ground."""
    reached = reach_of(ground_of(BRIDGE), [(1, 0)])
    assert np.isfinite(reached.seconds[6, 5])
    assert np.isfinite(reached.back_seconds[6, 5])


def test_private_land_is_not_opened_where_a_path_turns():
    """A path drawn cell by cell across the corner where private parcels meet stays shut."""
    reached = reach_of(ground_of("p p x x\np p x x\nx x p p\nx x p p"), [(0, 0)])
    assert np.isinf(reached.seconds[2:, 2:]).all()


def test_walking_time_on_the_level_is_the_published_pace():
    reached = reach_of(ground_of("p p p p p\n. . . . ."), [(0, 0)])
    assert reached.seconds[0, 4] == pytest.approx(40.0 / float(on_path(0.0)), rel=1e-5)
    off = reach_of(ground_of(". . . . ."), [(0, 0)])
    assert off.seconds[0, 4] == pytest.approx(40.0 / float(irmischer_off(0.0)), rel=1e-5)


def test_up_is_not_down():
    z = np.tile(np.arange(30) * 3.0, (3, 1))
    reached = reach_of(ground_of("\n".join([". " * 30] * 3)), [(1, 0)], z=z)
    assert reached.seconds[1, 29] == pytest.approx(290.0 / float(irmischer_off(0.3)), rel=1e-4)
    assert reached.back_seconds[1, 29] == pytest.approx(290.0 / float(irmischer_off(-0.3)), rel=1e-4)


def test_pack_and_dark_count_for_reach_but_not_for_quiet():
    ground = ground_of(". . . . .")
    slow = WalkSettings(pack_factor=1.25, dark_factor=1.3)
    flat = np.zeros((1, 5), np.float32)
    by_day = quiet(flat, ground, np.array([0]), np.array([0]), cell_m=10.0)
    np.testing.assert_allclose(
        reach_of(ground, [(0, 0)], settings=slow).seconds, by_day * 1.25 * 1.3, rtol=1e-6
    )


def test_no_start_no_motor_route():
    ground = ground_of(". . .")
    reached = reach_of(ground, [])
    assert np.isinf(reached.seconds).all()
    assert (reached.came == NOT_REACHED).all()
    none = np.array([], np.int64)
    assert np.isinf(quiet(np.zeros((1, 3), np.float32), ground, none, none, cell_m=10.0)).all()


def test_the_nearest_of_several_starts():
    reached = reach_of(ground_of(". . . . . . ."), [(0, 6), (0, 0)])
    assert reached.seconds[0, 1] == reached.seconds[0, 5]
    assert reached.begin_cols.tolist() == [6, 0]


def test_a_start_on_closed_ground_begins_beside_it():
    reached = reach_of(ground_of("w w w . ."), [(0, 1)])
    assert (reached.begin_rows.tolist(), reached.begin_cols.tolist()) == ([0], [3])
    assert reached.seconds[0, 3] == 0.0


def test_a_start_far_from_open_ground_begins_nowhere():
    reached = reach_of(ground_of("w w w . ."), [(0, 0)], cell_m=30.0)
    assert reached.begin_rows.tolist() == [-1]
    assert np.isinf(reached.seconds).all()


@pytest.mark.parametrize("start", [(-1, 0), (0, 3), (1, 0)])
def test_a_start_outside_the_country_is_refused(start):
    with pytest.raises(BadInput, match=r"outside the country.*rows 0 to 0 and columns 0 to 2"):
        reach_of(ground_of(". . ."), [start])


def test_a_stop_is_heard():
    def stop(_fraction: float) -> None:
        raise Cancelled("stopped")

    with pytest.raises(Cancelled):
        reach(
            np.zeros((1, 3), np.float32),
            ground_of(". . ."),
            ([0], [0]),
            cell_m=10.0,
            settings=PLAIN,
            tick=stop,
        )


def test_the_same_input_gives_the_same_bytes():
    rng = np.random.default_rng(8)
    z = rng.normal(size=(40, 50)) * 4
    ground = ground_of("\n".join([". " * 50] * 40))
    one, two = (reach_of(ground, [(3, 3), (30, 40)], z=z) for _ in range(2))
    for name in ("seconds", "came", "back_seconds", "back_came"):
        assert getattr(one, name).tobytes() == getattr(two, name).tobytes()


def test_memory_is_said_beforehand():
    assert bytes_needed((1200, 1200)) > 1200 * 1200 * 2 * 24

"""Carrying an animal out: loads, trips, hours and the veto, on small grids drawn by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from graylight.approach.packout import ground_for_load, loads_of, pack_out, pack_reach
from graylight.approach.ways import Land
from graylight.errors import BadInput
from graylight.grid import RowCol
from graylight.habitat.profile import LoadNumbers, read_profile, shipped, shipped_names
from graylight.reach.burden import loaded_pace, slowing
from graylight.reach.pace import irmischer_off
from graylight.settings import PackSettings
from tests.unit.test_reach import PLAIN, ground_of

DEER = LoadNumbers(meat_kg=25, head_kg=9, dressing_hours=2)
PACK = PackSettings()


def land_of(picture, *, slope=None, z=None):
    ground = ground_of(picture, slope=slope, dark=False)
    z = np.zeros(ground.factor.shape) if z is None else z
    slope = np.zeros(ground.factor.shape) if slope is None else slope
    return Land(z.astype(np.float32), slope.astype(np.float32), ground, 10.0)


def out_of(land, place, start, *, numbers=DEER, pack=PACK, limit_s=np.inf):
    loads = loads_of(numbers, pack)
    reached = pack_reach(([start[0]], [start[1]]), land, loads, walk=PLAIN, pack=pack, limit_s=limit_s)
    return pack_out(RowCol(*place), reached, cell_m=land.cell_m, walk=PLAIN, pack=pack)


def test_trips_are_weight_over_people_times_load():
    """Trips = ceil(weight / (people x load)): common practice, no source."""
    found = loads_of(DEER, PACK)
    assert found.weight_kg == pytest.approx(25 * 1.15 + 9)
    assert (found.trips, found.each_kg) == (2, pytest.approx((25 * 1.15 + 9) / 2))
    assert loads_of(DEER, PACK, head=False).trips == 2
    assert loads_of(DEER, PackSettings(people=2)).trips == 1
    assert loads_of(LoadNumbers(meat_kg=50, head_kg=0, dressing_hours=1), PackSettings(more=0.0)).trips == 2


def test_hours_add_up():
    """Two trips out loaded, one in between without, and the dressing."""
    found = out_of(land_of(" ".join(["."] * 101)), (0, 100), (0, 0))
    speed = float(irmischer_off(0.0))
    assert found.empty_seconds == pytest.approx(1000.0 / speed, rel=1e-4)
    slower = float(slowing(speed, 0.0, load_kg=found.loads.each_kg, body_kg=80.0, terrain=1.3))
    assert found.loaded_seconds == pytest.approx(1000.0 / speed * slower, rel=1e-4)
    walking = 2 * found.loaded_seconds + found.empty_seconds
    assert found.hours == pytest.approx(2.0 + walking / 3600.0)
    assert found.hours_high == pytest.approx(2.0 + 1.12 * walking / 3600.0)
    assert (found.rows.tolist(), found.cols.tolist()) == ([0] * 101, list(range(100, -1, -1)))
    assert found.veto is None


def test_veto_where_it_takes_too_long():
    land = land_of(" ".join(["."] * 101))
    limit = out_of(land, (0, 100), (0, 0)).hours_high
    assert out_of(land, (0, 100), (0, 0), pack=PackSettings(hours_limit=limit + 0.01)).veto is None
    found = out_of(land, (0, 100), (0, 0), pack=PackSettings(hours_limit=limit - 0.01))
    assert found.veto.startswith("2 trips with 19 kg take up to")
    assert "over the" in found.veto
    four = out_of(land, (0, 100), (0, 0), numbers=LoadNumbers(meat_kg=99, head_kg=23, dressing_hours=4),
                  pack=PackSettings(people=4, hours_limit=4.0))  # fmt: skip
    assert four.veto.startswith("2 trips by each of 4 people with 17 kg")


def test_steep_ground_is_closed_under_a_load_but_not_a_path_over_it():
    slope = np.zeros((1, 9))
    slope[0, 4] = 40.0
    found = out_of(land_of(". . . . . . . . .", slope=slope), (0, 8), (0, 0))
    assert found.veto.startswith("no way out under a load: ")
    assert "too steep under a load" in found.veto
    assert math.isinf(found.hours)
    assert found.rows.size == 0
    assert out_of(land_of("p p p p p p p p p", slope=slope), (0, 8), (0, 0)).veto is None


def test_what_was_closed_stays_closed_for_its_own_reason():
    slope = np.full((1, 5), 40.0)
    ground = ground_for_load(ground_of(". x w p .", slope=slope), slope.astype(np.float32), PLAIN)
    assert [ground.why_shut(0, c) for c in (1, 2, 3)] == ["private land", "deep water", None]
    assert "too steep under a load" in ground.why_shut(0, 0)


def test_a_start_outside_is_refused():
    with pytest.raises(BadInput, match="lies outside the country"):
        out_of(land_of(". ."), (0, 0), (0, 5))


def test_more_load_is_never_faster_and_never_faster_than_without():
    before = loaded_pace(PLAIN, PACK, load_kg=0.0).seconds_per_m
    for load_kg in (10.0, 25.0, 40.0, 60.0):
        after = loaded_pace(PLAIN, PACK, load_kg=load_kg).seconds_per_m
        assert np.all(after >= before)
        before = after


def test_without_a_load_the_pace_is_the_persons_own():
    own = PLAIN.model_copy(update={"pace_factor": 1.2})
    free, plain = (loaded_pace(w, PACK, load_kg=0.0).seconds_per_m for w in (own, PLAIN))
    np.testing.assert_allclose(free, 1.2 * plain, rtol=1e-5)


@pytest.mark.parametrize("name", shipped_names())
def test_every_shipped_animal_says_what_it_weighs(name):
    load = shipped(name).load
    assert load is not None
    assert load.meat_kg > load.head_kg > 0


def test_a_profile_of_ones_own_may_leave_the_load_out():
    from importlib.resources import files

    text = files("graylight.habitat").joinpath("profiles", "elk-fall.toml").read_text()
    assert read_profile(text.split("[load]")[0], where="mine").load is None

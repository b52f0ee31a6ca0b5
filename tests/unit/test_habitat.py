"""Band, feed, beds, ways and pockets on country drawn by hand, and the profiles that carry their numbers."""

from __future__ import annotations

import numpy as np
import pytest

from graylight.errors import BadInput
from graylight.ground.cover import Kind
from graylight.habitat.band import band
from graylight.habitat.beds import bed
from graylight.habitat.crossings import crossings
from graylight.habitat.feed import feed, quietness
from graylight.habitat.habitat import dawn_use, habitat
from graylight.habitat.profile import read_profile, shipped, shipped_names
from graylight.habitat.suitability import falling, rising, together
from graylight.habitat.ways import Frame, going
from tests.unit.small_land import CELL_M, land_of, two_bowls

DEER = shipped("mule-deer-summer")


@pytest.fixture(scope="module")
def bowls():
    z, kind = two_bowls()
    land = land_of(z, kind)
    return land, habitat(land, DEER)


def test_steps_and_their_mean():
    x = np.array([0, 2.5, 5, 10], np.float32)
    assert rising(x, 0, 5).tolist() == [0, 0.5, 1, 1]
    assert falling(x, 0, 5).tolist() == [1, 0.5, 0, 0]
    worth = together([(np.float32([1, 0.25]), 1.0), (np.float32([1, 1]), 1.0), (np.float32([0, 0]), 0.0)])
    assert worth.tolist() == pytest.approx([1, 0.5])


def test_band_hangs_from_the_local_top():
    """On a cone the suitability is best where the ground lies below the smoothed top by the profile's number."""
    y, x = np.mgrid[-150:150, -150:150] * 20.0
    cone = (3500.0 - 0.45 * np.hypot(x, y)).astype(np.float32)
    found = band(cone, cell_m=20.0, numbers=DEER.band)
    ring = cone[found.suitability > 0.98]
    assert 200.0 < found.tops_m - ring.mean() < 420.0
    assert found.low_m < found.centre_m < found.high_m
    flat = band(
        np.full((60, 60), 1500, np.float32) + np.linspace(0, 1, 60, dtype=np.float32),
        cell_m=20.0,
        numbers=DEER.band,
    )
    assert flat.suitability.max() < 0.01  # no relief, no high country


def test_no_place_on_the_outermost_cells_or_beside_unknown_ground(bowls):
    land, result = bowls
    z = land.elevation_m.copy()
    z[60, 60] = np.nan
    holed = land_of(z, land.cover.kind)
    full = np.ones(z.shape, np.float32)
    feeding = feed(holed, full, full, DEER)
    for worth in (feeding, bed(holed, full, full, feeding, DEER.bed), result.parts.feed, result.parts.bed):
        assert max(worth[0].max(), worth[-1].max(), worth[:, 0].max(), worth[:, -1].max()) == 0
    assert feeding[59:62, 59:62].max() == 0
    assert feeding[1:-1, 1:-1].max() > 0
    assert (feeding[1, 1:-1] > 0).any()


def test_nothing_feeds_on_water_snow_or_unknown_ground(bowls):
    land, result = bowls
    z, kind = land.elevation_m.copy(), land.cover.kind.copy()
    kind[60:64, 60:64], kind[70:72, 60:64] = int(Kind.WATER), int(Kind.SNOW)
    z[80:82, 60:64] = np.nan
    wet = land_of(z, kind)
    worth = feed(wet, result.band.suitability, np.ones(z.shape, np.float32), DEER)
    assert (worth[60:64, 60:64] == 0).all()
    assert (worth[70:72, 60:64] == 0).all()
    assert (worth[80:82, 60:64] == 0).all()


def test_quiet_grows_with_walking_time():
    quiet = quietness(np.array([0, 1800, 1e9, np.inf], np.float32), DEER.quiet)
    assert quiet[0] == pytest.approx(DEER.quiet.least)
    assert (np.diff(quiet) >= 0).all()
    assert quiet[-1] == 1.0


def test_two_bowls_make_a_pocket_each(bowls):
    _, result = bowls
    sides = {("west" if p.col < 120 else "east") for p in result.pockets}
    assert sides == {"west", "east"}
    for pocket in result.pockets:
        assert 0 < pocket.score <= 1
        assert pocket.feed
        assert pocket.beds
        assert {f.name for f in pocket.facts} >= {
            "feed",
            "bed",
            "link",
            "band",
            "quiet",
            "water",
            "bowl",
            "cold_side",
        }


def test_beds_stand_in_cover_and_off_the_feed(bowls):
    land, result = bowls
    best = result.pockets[0]
    assert any(land.cover.closure[b.row, b.col] > 0 for b in best.beds)
    for b in best.beds:
        nearest = min(np.hypot(b.row - f.row, b.col - f.col) for f in best.feed) * CELL_M
        assert DEER.pocket.bed_off_feed_m <= nearest <= DEER.pocket.reach_m


def test_outlines_hold_their_places_and_labels_do_not_overlap(bowls):
    from shapely import Point, Polygon

    _, result = bowls
    for pocket in result.pockets:
        ring = Polygon(pocket.outline[0]).buffer(1.5)
        assert ring.contains(Point(pocket.row, pocket.col))
        assert (result.labels == pocket.label).sum() > 0


def test_private_ground_is_shown_but_ranked_last():
    z, kind = two_bowls()
    shut = np.zeros(z.shape, bool)
    shut[:, : z.shape[1] // 2] = True
    result = habitat(land_of(z, kind, shut=shut), DEER)
    closed = [p for p in result.pockets if p.shut]
    assert closed
    assert all(p.col < z.shape[1] // 2 for p in closed)
    first_open = next(i for i, p in enumerate(result.pockets) if p.shut is None)
    assert all(p.shut is None for p in result.pockets[first_open : -len(closed)])


def test_ways_cross_a_wall_at_its_only_gap():
    """A cliff wall with one gap: the crossing is the gap."""
    z = np.full((60, 80), 2000, np.float32)
    z[:, 40] += 200.0
    z[30:33, 40] = 2000.0
    kind = np.full(z.shape, int(Kind.GRASS), np.uint8)
    land = land_of(z, kind)
    move = going(land, DEER.ways, daylight=0.4)
    found = crossings([(20, 10)], [(40, 70)], Frame(0, 0, 60, 80), move, land)
    assert len(found) == 1
    assert 29 <= found[0].row <= 33
    assert 37 <= found[0].col <= 43
    assert found[0].width_m <= 120.0


def test_open_ground_is_dearer_by_day():
    z, kind = two_bowls()
    land = land_of(z, kind)
    dark, day = going(land, DEER.ways, daylight=0.0), going(land, DEER.ways, daylight=1.0)
    grass = (kind == Kind.GRASS) & np.isfinite(day.factor)
    assert (day.factor[grass] > dark.factor[grass]).all()
    assert np.isinf(day.factor[land.relief.slope_deg > DEER.ways.cliff_deg]).all()


def test_a_drawn_trace_is_cheaper_to_follow():
    z, kind = two_bowls()
    land = land_of(z, kind)
    land.traces[50, 20:60] = True
    plain, traced = going(land_of(z, kind), DEER.ways, daylight=0.4), going(land, DEER.ways, daylight=0.4)
    ratio = traced.factor[50, 20:60] / plain.factor[50, 20:60]
    assert ratio[np.isfinite(ratio)] == pytest.approx(DEER.ways.trace_factor)


def test_use_at_dawn_lies_in_pockets_alone(bowls):
    land, result = bowls
    use = dawn_use(result, DEER, land.cell_m)
    assert (use[result.labels == 0] == 0).all()
    assert use.max() <= 1.5


def test_turned_country_gives_turned_suitability():
    z, kind = two_bowls()
    one = habitat(land_of(z, kind), DEER)
    turned = habitat(
        land_of(np.ascontiguousarray(np.rot90(z, 2)), np.ascontiguousarray(np.rot90(kind, 2))), DEER
    )
    # water is inferred from drainage, whose ties are broken by place: a few cells may differ
    assert np.abs(np.rot90(one.parts.feed, 2) - turned.parts.feed).max() < 0.02


@pytest.mark.parametrize("name", shipped_names())
def test_every_number_of_a_profile_has_range_source_and_confidence(name):
    profile = shipped(name)
    assert profile.name == name
    for key, number in profile.numbers.items():
        low, high = number.range
        assert low <= number.value <= high, key
        assert len(number.source) > 5, key


def test_conflicts_between_sources_are_named():
    assert "King & Smith" in shipped("mule-deer-summer").numbers["feed.warm_side_weight"].conflict


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("below_tops_m = { value = 300", "below_tops_m = { value = 9000"),
        ("[band]", "[bund]"),
        ("sharpness", "sharpnes"),
        ('name = "', "name = "),
    ],
)
def test_a_broken_profile_is_told_in_one_line(change, words):
    from importlib.resources import files

    text = files("graylight.habitat").joinpath("profiles", "mule-deer-summer.toml").read_text()
    with pytest.raises(BadInput) as caught:
        read_profile(text.replace(change, words, 1), where="mine")
    assert "mine" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_unknown_animal_names_the_known():
    with pytest.raises(BadInput, match="mule-deer-summer"):
        shipped("unicorn")

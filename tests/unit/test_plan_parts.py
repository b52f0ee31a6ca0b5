"""The small parts a plan is put together from."""

from __future__ import annotations

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, MultiLineString, Point, box

from graylight.chance.prior import prior
from graylight.country.feature import Feature
from graylight.country.settings_file import changed
from graylight.errors import BadInput
from graylight.grid import Grid, LonLat
from graylight.habitat.profile import shipped
from graylight.plan.cautions import cautions, may_freeze
from graylight.plan.holdings import ask_first, is_shut
from graylight.plan.ids import Given, given_before
from graylight.plan.making import sightings_near, work_out
from graylight.plan.starts import starts
from graylight.settings import Settings
from tests.unit.sample_plan import sample_light

GRID = Grid.of(500_000.0, 4_402_000.0, 10.0, 200, 200, "EPSG:32612")


def country(settings: Settings | None = None, **tables: list[Feature]) -> SimpleNamespace:
    return SimpleNamespace(
        grid=GRID, settings=settings or Settings(), facts=(), features=lambda name: tables.get(name, [])
    )


@given(st.lists(st.floats(0, 1), min_size=1, max_size=8), st.floats(0.05, 0.95), st.floats(0.5, 6))
def test_chances_and_elsewhere_add_up_to_one(scores, elsewhere, sharpness):
    chances = prior(scores, elsewhere=elsewhere, sharpness=sharpness)
    if sum(s**sharpness for s in scores) > 0:
        assert sum(chances) + elsewhere == pytest.approx(1.0)
    order = np.argsort(scores, kind="stable")
    assert (np.diff(np.array(chances)[order]) >= -1e-12).all()


def test_what_was_seen_before_raises_the_odds():
    # two equal pockets, one seen twice at odds 1.5: 2.25 to 1 (Bayes in odds form)
    chances = prior([0.8, 0.8], [1.0, 2.25], elsewhere=0.35, sharpness=4.0)
    assert chances == pytest.approx([0.65 / 3.25, 0.65 * 2.25 / 3.25])


def test_sightings_count_for_their_own_animal_and_near_alone():
    seen = [
        Feature(Point(0, 0), {"animal": "mule deer"}), Feature(Point(500, 0), {"animal": "deer"}),
        Feature(Point(100, 0), {"animal": "elk"}), Feature(Point(200, 0), {}), Feature(Point(5000, 0), {"animal": "mule deer"}),
    ]  # fmt: skip
    assert sightings_near(seen, (0.0, 0.0), "mule-deer-summer", 1000.0) == 3
    assert sightings_near(seen, (0.0, 0.0), "elk-fall", 1000.0) == 2


def test_a_pocket_keeps_its_id_by_overlap_and_no_id_is_given_twice():
    given_ids = Given(pockets={"P2": box(0, 0, 10, 10)}, highest={"P": 7})
    names = given_ids.for_pockets([box(20, 20, 30, 30), box(1, 0, 11, 10), box(6, 0, 16, 10)])
    assert names == ["P8", "P2", "P9"]


def test_a_lookout_keeps_its_id_within_fifty_metres():
    here = LonLat(-111.5, 39.3)
    near, far = LonLat(-111.5005, 39.3), LonLat(-111.501, 39.3)  # about 43 m and 86 m
    assert Given(lookouts={"L4": here}, highest={"L": 4}).for_lookouts([near]) == ["L4"]
    assert Given(lookouts={"L4": here}, highest={"L": 4}).for_lookouts([far]) == ["L5"]


def test_the_nearest_keeps_the_id_whatever_the_order():
    """Two of another animal's lookouts near one of before: the one on its very place has its id."""
    before, beside = LonLat(-114.8, 40.45), LonLat(-114.8003, 40.45)
    given_ids = Given(lookouts={"L3": before}, highest={"L": 3})
    assert given_ids.for_lookouts([beside, before]) == ["L4", "L3"]
    assert given_ids.for_lookouts([before]) == ["L3"]


def test_every_id_ever_given_is_kept_and_read_back():
    first = Given()
    assert first.for_pockets([box(0, 0, 10, 10), box(20, 0, 30, 10)]) == ["P1", "P2"]
    assert first.for_lookouts([LonLat(-111.5, 39.3)]) == ["L1"]
    other = given_before(first.to_json())
    assert other.for_pockets([box(50, 0, 60, 10)]) == ["P3"]  # another animal's ground in between
    again = given_before(other.to_json())
    assert again.for_pockets([box(0, 0, 10, 10), box(20, 0, 30, 10)]) == ["P1", "P2"]
    assert again.for_lookouts([LonLat(-111.5, 39.3)]) == ["L1"]
    assert again.highest == {"P": 3, "L": 1}
    assert given_before(None).highest == {}


@pytest.mark.parametrize(
    "text",
    [
        "{",
        "[]",
        '{"highest": {}, "lookouts": {}, "pockets": {"P1": "BALL"}}',
        '{"highest": {}, "lookouts": {"L1": ["a", "b"]}, "pockets": {}}',
        '{"highest": {}, "lookouts": {"Lx": [1, 2]}, "pockets": {}}',
    ],
)
def test_a_damaged_list_of_ids_is_told(text):
    with pytest.raises(BadInput, match=r"ids\.json"):
        given_before(text)


def test_a_road_ends_where_no_other_road_meets_it_and_well_inside():
    x, y = GRID.xy(100, 100)
    through = LineString([(x - 1000, y), (x, y)])
    on = LineString([(x, y), (x, y + 400)])
    found = starts(
        country(roads=[Feature(MultiLineString([through, on]), {"name": "Gable Road"})]),
        np.ones(GRID.shape, bool),
    )
    assert [(w.kind, w.name) for w in found] == [("road end", "end of Gable Road")]
    assert found[0].cell.row == 60


def test_a_trailhead_at_a_road_end_is_one_start():
    x, y = GRID.xy(100, 100)
    road = Feature(LineString([(x - 1000, y), (x, y)]), {"name": None})
    head = Feature(Point(x + 20, y), {"name": "Pine", "kind": "trailhead"})
    found = starts(country(roads=[road], trailheads=[head]), np.ones(GRID.shape, bool))
    assert [w.name for w in found] == ["Pine"]


def test_a_start_on_shut_ground_moves_to_open_ground_or_is_refused():
    ground = np.zeros(GRID.shape, bool)
    ground[100, 100] = True
    lon, lat = GRID.lonlat(105, 100)
    found = starts(country(Settings(start=f"{lat}, {lon}")), ground)
    assert tuple(found[0].cell) == (100, 100)
    assert tuple(found[0].asked) == (105, 100)
    assert found[0].name == "open ground beside the start given"
    lon, lat = GRID.lonlat(150, 100)
    with pytest.raises(BadInput, match="shut"):
        starts(country(Settings(start=f"{lat}, {lon}")), ground)


@pytest.mark.parametrize(("lies", "moved"), [("private land", True), ("deep water", True), (None, False)])
def test_a_start_that_was_moved_is_told_with_what_it_lies_on(lies, moved):
    ground = np.ones(GRID.shape, bool)
    if moved:
        ground[90:112, 90:108] = False
    lon, lat = GRID.lonlat(100, 104)
    land = country(Settings(start=f"{lat}, {lon}"))
    land.invented = False
    walked = SimpleNamespace(
        starts=starts(land, ground), ground=SimpleNamespace(why_shut=lambda row, col: lies)
    )
    told = [
        w for w in cautions(land, SimpleNamespace(walked=walked), [], sample_light()) if "start given" in w
    ]
    if not moved:
        assert told == []
        return
    # 104 to 108: four cells east
    assert told[0].startswith(f"The start given lies on {lies}: the plan begins 40 m (131 ft) east of it")
    assert "whether one may, is not known" in told[0]


def test_only_private_and_closed_holdings_are_shut_and_unknown_words_are_asked_about():
    words = {
        "A": "private",
        "B": "Closed",
        "C": "open",
        "D": "restricted",
        "E": None,
        "F": "permit only",
        "G": "no",
    }
    held = [Feature(box(0, 0, 1, 1), {"owner": name, "access": word}) for name, word in words.items()]
    assert [f.properties["owner"] for f in held if is_shut(f.properties)] == ["A", "B", "G"]
    told = ask_first([*held, Feature(box(0, 0, 1, 1), {"owner": None, "access": "restricted"})])
    assert len(told) == 3
    assert "crossing E: the layers don't tell whether it is open" in told[0]
    assert "crossing F: access there is marked 'permit only'" in told[1]
    assert "crossing D, a holding without a name: access there is marked 'restricted'" in told[2]
    many = [Feature(box(0, 0, 1, 1), {"owner": f"N{i}"}) for i in range(9)]
    assert "N5 and 3 more" in ask_first(many)[0]


def test_settings_and_profile_that_leave_no_room_between_them_are_refused():
    land = country(changed(Settings(), sight={"radius_m": 450.0}))
    land.check_whole = lambda: None
    with pytest.raises(BadInput, match="standoff_m, 450 m"):
        work_out(land, shipped("mule-deer-summer"))


@pytest.mark.parametrize(
    ("lat", "month", "cold"), [(45.0, 1, True), (45.0, 7, False), (-45.0, 7, True), (-45.0, 1, False)]
)
def test_frost_comes_half_a_year_off_south_of_the_equator(lat, month, cold):
    """The seasons of the two halves of the earth."""
    country = SimpleNamespace(grid=SimpleNamespace(center=LonLat(-70.0, lat)))
    assert may_freeze(dt.date(2026, month, 15), country) == cold

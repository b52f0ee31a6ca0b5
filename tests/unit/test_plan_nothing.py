"""When nothing is found the plan says which rule shut out most of the ground."""

from __future__ import annotations

import re

import numpy as np
import pytest
import shapely
from pyogrio import raw
from scipy.ndimage import distance_transform_edt

from graylight.country.entry import Sources, make_country
from graylight.country.folder import Country
from graylight.grid import LonLat
from graylight.plan.keeping import make_plan
from graylight.settings import Settings
from graylight.telling import plain, tell_plan
from graylight.units import share
from tests.unit.country_sources import NORTH, WEST, ZONE, elevation, grid_affine, mountain_on, write_raster

RADIUS_M = 600.0


@pytest.fixture(scope="module")
def hills(tmp_path_factory) -> Country:
    """The mountain of the tests: a pocket and lookouts, no roads."""
    folder = tmp_path_factory.mktemp("hills")
    return make_country(folder / "c", Sources(elevation=elevation(folder)), Settings())


def told(country: Country) -> str:
    return plain(tell_plan(make_plan(country).plan, "metric"), 10_000)


def percent(text: str, words: str) -> int:
    found = re.search(rf"(\d+) % {words}", text)
    assert found, text
    return int(found[1])


def test_no_place_of_a_plan_lies_on_the_outermost_cells(hills):
    plan = make_plan(hills).plan
    places = [s.place for p in plan.pockets for s in (*p.feed, *p.beds)] + [k.place for k in plan.lookouts]
    assert len(places) > 5
    for place in places:
        row, col = hills.grid.rowcol(LonLat(place.lon, place.lat))
        assert 0 < row < hills.grid.rows - 1
        assert 0 < col < hills.grid.cols - 1
    worth = hills.read("watch_worth")
    assert max(np.abs(edge).max() for edge in (worth[0], worth[-1], worth[:, 0], worth[:, -1])) == 0.0
    assert worth.max() > 0.0


def test_nothing_is_explained_where_something_was_found(hills):
    assert make_plan(hills).plan.nothing_found == []


def test_the_rule_for_the_seat_is_told_with_its_part_of_the_ground(hills):
    strict = hills.with_settings(watch={"seat_slope_deg": 5.0}, sight={"radius_m": RADIUS_M})
    plan = make_plan(strict).plan
    assert plan.pockets
    assert not plan.lookouts
    text = told(strict)
    near = distance_transform_edt(hills.read("pockets") == 0) * 10.0 <= RADIUS_M
    steep = float((hills.read("slope") > 5.0)[near].mean())
    used = distance_transform_edt(hills.read("use_at_dawn") == 0) * 10.0 < 450.0
    assert f"{share(steep)} is steeper than 5°" in text
    assert f"{share(float(used[near].mean()))} lies nearer than 450 m to ground that the animals use" in text
    assert steep > used[near].mean() > 0.5
    assert text.index("is steeper than") < text.index("lies nearer than")


def test_a_walk_that_is_too_far_is_told_with_where_it_ends(hills):
    row, col = np.unravel_index(np.nanargmin(hills.read("elevation")), hills.grid.shape)
    lon, lat = hills.grid.lonlat(int(row), int(col))
    slow = hills.with_settings(
        start=f"{lat}, {lon}",
        watch={"walk_limit_hours": 0.25},
        walk={"pace_factor": 3.0, "pack_factor": 2.0, "dark_factor": 3.0},
    )
    assert not make_plan(slow).plan.lookouts
    text = told(slow)
    assert percent(text, "is not reached on foot within") > 50
    assert "it is farther than 0.3 hours on foot from every start; the nearest place reached lies" in text


def test_no_pocket_says_what_the_ground_lacks(tmp_path):
    """A plain with a few metres of relief: no high country, so no band."""
    ground = (0.01 * mountain_on(grid_affine(), 90, 110)).astype("float32")
    source = write_raster(tmp_path / "e.tif", ground)
    country = make_country(tmp_path / "c", Sources(elevation=source), Settings())
    plan = make_plan(country).plan
    assert not plan.pockets
    assert plan.nothing_found[0].startswith("No pocket was found: ")
    assert (
        "all of it lies outside the season's band, or has too little relief for one" in plan.nothing_found[1]
    )
    assert "all of it lies outside the season's band" in told(country)


def test_what_looked_doubtful_on_entry_is_told_with_the_plan(tmp_path):
    ground = mountain_on(grid_affine(), 90, 110).astype("float32")
    ground[:50] = np.nan
    source = write_raster(tmp_path / "e.tif", ground)
    country = make_country(tmp_path / "c", Sources(elevation=source), Settings())
    assert "The height of about 55 % of the country is not known" in told(country)


def test_a_road_that_only_passes_through_is_not_told_as_no_road(tmp_path):
    road = shapely.LineString([(WEST - 50, NORTH - 450), (WEST + 1200, NORTH - 450)])
    path = tmp_path / "roads.gpkg"
    raw.write(
        str(path), shapely.to_wkb(np.array([road], object)), [], [], layer="roads", driver="GPKG", crs=ZONE,
        geometry_type="LineString",
    )  # fmt: skip
    sources = Sources(elevation=elevation(tmp_path), vectors=(path,))
    plan = make_plan(make_country(tmp_path / "c", sources, Settings())).plan
    (start,) = [words for words in plan.not_known if "--start" in words]
    assert start.startswith("no known road ends, and no trailhead lies, on or near open ground")
    assert "quiet" not in start  # the road is there to be heard from

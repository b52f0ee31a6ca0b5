from __future__ import annotations

import numpy as np
import pytest

from graylight.errors import BadInput
from graylight.ground.cover import SCHEMES, Kind, cover, kinds_of
from graylight.ground.greenness import green_of_bands, green_of_picture, ndvi
from graylight.ground.relief import relief
from graylight.ground.treeline import treeline_by_latitude, treeline_of_trees

CELL_M = 10.0


def slope_up(rows: int = 60, cols: int = 40, low: float = 3000.0, rise: float = 10.0) -> np.ndarray:
    """Rises to the north, 45 degrees unless told otherwise."""
    return np.repeat(low + rise * np.arange(rows)[::-1, None], cols, axis=1).astype(np.float32)


def covered(ground: np.ndarray, **layers):
    return cover(ground, relief(ground, cell_m=CELL_M), cell_m=CELL_M, lat_deg=39.0, **layers)


def test_ndvi_by_hand_and_stretched():
    red, nir = np.array([[0.1, 0.2, 0.0, 0.3]]), np.array([[0.3, 0.2, 0.0, 0.1]])
    index = ndvi(red, nir)
    assert np.allclose(index, [[0.5, 0.0, np.nan, -0.5]], equal_nan=True)
    assert np.allclose(green_of_bands(red, nir), [[0.4 / 0.65, 0.0, np.nan, 0.0]], equal_nan=True)
    assert np.allclose(
        green_of_bands(red * 10000, nir * 10000), [[0.4 / 0.65, 0.0, np.nan, 0.0]], equal_nan=True
    )


def test_excess_green_by_hand():
    # Woebbecke et al. 1995: 2g - r - b of the parts of each colour; grey has none
    picture = np.array([[[80, 50, 0, 90]], [[80, 60, 0, 60]], [[80, 50, 0, 60]]], np.uint8)
    expected = [[0.0, (2 * 60 - 100) / 160 / 0.15, np.nan, 0.0]]
    assert np.allclose(green_of_picture(picture), expected, atol=1e-6, equal_nan=True)


def test_treeline_by_latitude_goes_through_the_two_known_places():
    # trade facts, seen at second hand: northern New Mexico about 12,000 ft, northern Colorado about 11,000 ft
    assert treeline_by_latitude(36.5) == pytest.approx(12000 * 0.3048, abs=1.0)
    assert treeline_by_latitude(40.7) == pytest.approx(11000 * 0.3048, abs=1.0)
    assert treeline_by_latitude(-39.0) == treeline_by_latitude(39.0)
    assert treeline_by_latitude(0.0) == 4000.0
    assert treeline_by_latitude(90.0) == 0.0


def test_treeline_is_seen_in_the_trees():
    ground = slope_up(120)
    assert treeline_of_trees(ground, ground < 3600) == 3600.0
    assert treeline_of_trees(ground, ground < 0) is None
    assert treeline_of_trees(ground, ground > 0) is None
    islands = (ground < 3600) | ((ground > 3800) & (ground < 3820))
    islands[:, 4:] &= ground[:, 4:] < 3600  # a tenth of a belt under trees is no treeline
    assert treeline_of_trees(ground, islands) == 3600.0


def test_with_nothing_but_the_ground_it_is_said():
    ground = slope_up(60, low=3300.0)
    made = covered(ground)
    line = treeline_by_latitude(39.0)
    assert (made.kind[ground < line] == Kind.UNKNOWN).all()
    assert (made.kind[ground >= line] == Kind.ROCK).all()
    assert np.isnan(made.green).all()
    assert (made.canopy_m, made.closure, made.confidence) == (None, None, "low")
    assert "no vegetation layer: cover unknown" in made.not_known
    gentle = covered(slope_up(60, low=3400.0, rise=3.0), treeline_m=3450.0)
    assert gentle.treeline_rule == "as set"
    assert set(np.unique(gentle.kind)) == {Kind.UNKNOWN, Kind.GRASS}


@pytest.mark.parametrize("scheme", sorted(SCHEMES))
def test_every_code_has_its_kind(scheme):
    codes = np.array([list(SCHEMES[scheme])])
    kinds, strange = kinds_of(codes, scheme)
    assert kinds.tolist() == [[int(kind) for kind in SCHEMES[scheme].values()]]
    assert strange == ()


def test_strange_codes_are_said_and_nodata_is_not():
    codes = np.full((60, 40), 10)
    codes[0, 0], codes[1, 1], codes[2, 2] = 7, 0, 300
    made = covered(slope_up(), codes=codes)
    assert any("codes 7 are not in worldcover" in note for note in made.notes)
    assert not any("300" in note for note in made.notes)


def test_unknown_scheme_and_shapes_are_refused():
    with pytest.raises(BadInput, match="accepted are nlcd, worldcover"):
        covered(slope_up(), codes=np.full((60, 40), 10), scheme="other")
    with pytest.raises(BadInput, match="canopy_m has shape"):
        covered(slope_up(), canopy_m=np.zeros((3, 3), np.float32))


def test_trees_without_a_canopy_layer_are_assumed_and_said():
    codes = np.full((60, 40), 30)
    codes[30:] = 10
    made = covered(slope_up(), codes=codes)
    assert made.canopy_m is not None
    assert (made.canopy_m[30:] == 12.0).all()
    assert (made.closure[30:] == np.float32(0.6)).all()
    assert (made.canopy_m[:30] == 0.0).all()
    assert made.confidence == "fair"
    assert any("trees taken as 12 m" in note for note in made.notes)
    assert "no canopy height: how far trees hide animals is assumed" in made.not_known


def test_measured_canopy_goes_before_mapped_codes():
    canopy, closure = np.zeros((60, 40), np.float32), np.zeros((60, 40), np.float32)
    canopy[:20], closure[:20] = 15.0, 0.7
    canopy[20:30], closure[20:30] = 1.2, 0.5
    canopy[50:], closure[50:] = 9.0, 0.1  # single trees
    canopy[0, 0] = closure[0, 0] = np.nan
    red, nir = np.full((60, 40), 0.05), np.full((60, 40), 0.25)
    made = covered(
        slope_up(rise=2.0), codes=np.full((60, 40), 10), canopy_m=canopy, closure=closure, red=red, nir=nir
    )
    assert (made.kind[:20] == Kind.TIMBER).all()
    assert (made.kind[20:30] == Kind.BRUSH).all()
    assert (made.kind[30:] == Kind.GRASS).all()
    assert not np.isnan(made.canopy_m).any()
    assert not np.isnan(made.closure).any()
    assert made.canopy_m[0, 0] == 12.0  # mapped as trees, not measured
    assert made.canopy_m[55, 5] == 9.0
    assert made.confidence == "good"


def test_closure_is_reckoned_from_heights_where_it_is_not_measured():
    canopy = np.zeros((60, 40), np.float32)
    canopy[:30] = 14.0
    made = covered(slope_up(), canopy_m=canopy)
    assert made.closure[10, 20] == pytest.approx(0.8)
    assert 0.25 <= made.closure[29, 20] < 0.6
    assert (made.closure[30:] == 0.0).all()


def test_growth_between_rock_counts():
    codes = np.full((60, 40), 60)
    red, nir = np.full((60, 40), 0.2), np.full((60, 40), 0.2)
    nir[:30] = 0.36  # NDVI 0.29
    made = covered(slope_up(), codes=codes, red=red, nir=nir)
    assert (made.kind[:30] == Kind.ROCK_GROWTH).all()
    assert (made.kind[30:] == Kind.ROCK).all()
    assert made.green[5, 5] == pytest.approx((0.16 / 0.56 - 0.1) / 0.65, rel=1e-5)


def test_imagery_alone_guesses_and_says_so():
    red, nir = np.full((60, 40), 0.05, np.float32), np.full((60, 40), 0.40, np.float32)
    nir[:, 20:] = 0.2  # as green, but dark: conifers
    made = covered(slope_up(low=2500.0, rise=2.0), red=red, nir=nir)
    assert (made.kind[:, :20] == Kind.GRASS).all()
    assert (made.kind[:, 20:] == Kind.TIMBER).all()
    assert made.confidence == "low"
    assert "no land cover or canopy layer: timber is guessed from colour" in made.not_known


def test_a_colour_picture_is_rough():
    picture = np.full((3, 60, 40), 120, np.uint8)
    picture[1, :30] = 160
    made = covered(slope_up(low=3600.0, rise=1.0), picture=picture)
    assert (made.kind[:30] == Kind.GRASS).all()
    assert (made.kind[30:] == Kind.ROCK).all()
    assert made.confidence == "low"
    assert any("rough, from a colour picture" in line for line in made.not_known)


def test_unknown_ground_has_no_kind():
    ground = slope_up()
    ground[3, 4] = np.nan
    made = covered(ground, codes=np.full((60, 40), 30))
    assert made.kind[3, 4] == Kind.UNKNOWN
    assert (made.kind == Kind.UNKNOWN).sum() == 1

from __future__ import annotations

import numpy as np
import pytest

from graylight.errors import BadInput
from graylight.ground.cover import Kind
from graylight.ground.drainage import drainage_area_m2
from graylight.ground.water import STREAM_AREA_M2, water
from tests.unit.hand_ground import axes

CELL_M = 20.0


def valley() -> np.ndarray:
    """Drains to its middle line and south: 3 km by 4 km."""
    north, east = axes(200, 150, CELL_M)
    return (2500.0 + 0.3 * np.abs(east) + 0.05 * north).astype(np.float32)


def test_streams_are_inferred_and_never_sure():
    found = water(valley(), cell_m=CELL_M)
    assert found.near.any()
    assert not found.sure.any()
    assert not found.deep.any()
    assert {place.kind for place in found.places} == {"inferred stream"}
    assert not any(place.sure for place in found.places)
    assert (found.near == (drainage_area_m2(valley(), cell_m=CELL_M) >= STREAM_AREA_M2)).all()
    rows, cols = np.nonzero(found.near)
    middle = (rows < 198) & (rows > 0)
    assert np.abs(cols[middle] - 74.5).max() <= 1.0  # along the middle line
    assert rows.min() * CELL_M > 300.0  # not at the valley's head


def test_drainage_area_of_a_plane_counts_the_cells_above():
    north, _ = axes(8, 5, 10.0)
    area = drainage_area_m2(north.astype(np.float32), cell_m=10.0)
    # the top row lies at the edge and drains out there
    assert area[:, 2].tolist() == [100.0, 100.0, 200.0, 300.0, 400.0, 500.0, 600.0, 700.0]


def test_mapped_streams_are_sure_where_they_last():
    ground = valley()
    lines = np.zeros(ground.shape, bool)
    lines[:, 75] = True
    lines[100, :60] = True
    found = water(ground, cell_m=CELL_M, stream_cells=lines)
    assert np.array_equal(found.near, lines)
    assert found.sure[190, 75]
    assert not found.sure[2, 75]
    assert not found.sure[100, 10]
    assert {place.kind for place in found.places} == {"stream"}
    told = water(ground, cell_m=CELL_M, stream_cells=lines, stream_sure=np.zeros_like(lines))
    assert not told.sure.any()


def test_lakes_are_deep_and_small_ones_unsure():
    ground = valley()
    lakes = np.zeros(ground.shape, bool)
    lakes[20:25, 30:35] = True
    lakes[60, 100:102] = True
    found = water(ground, cell_m=CELL_M, lake_cells=lakes, stream_cells=np.zeros_like(lakes))
    assert np.array_equal(found.deep, lakes)
    assert [(p.row, p.col, p.kind, p.sure) for p in found.places] == [
        (22, 32, "lake", True),
        (60, 100, "lake", False),
    ]
    kind = np.where(lakes, Kind.WATER, Kind.GRASS).astype(np.uint8)
    assert np.array_equal(water(ground, cell_m=CELL_M, kind=kind).deep, lakes)


def test_level_ground_is_a_lake_unless_heights_are_whole():
    ground = valley() + np.float32(0.37)
    ground[50:60, 20:32] = ground[50, 20]
    found = water(ground, cell_m=CELL_M)
    assert found.deep[50:60, 20:32].all()
    assert found.deep.sum() <= 124  # and what of the slope beside it has the very same height
    assert not found.sure[55, 25]
    whole = np.rint(ground)
    assert not water(whole, cell_m=CELL_M).deep.any()
    assert not water((whole * np.float32(0.3048)).astype(np.float32), cell_m=CELL_M).deep.any()


def test_an_empty_lake_layer_means_no_lakes():
    ground = valley() + np.float32(0.37)
    ground[50:60, 20:32] = ground[50, 20]
    assert not water(ground, cell_m=CELL_M, lake_cells=np.zeros(ground.shape, bool)).deep.any()


def test_places_stand_apart_and_hold_water():
    found = water(valley(), cell_m=CELL_M)
    assert all(found.near[place.row, place.col] for place in found.places)
    squares = {(place.row // 15, place.col // 15) for place in found.places}
    assert len(squares) == len(found.places)
    assert [(p.row, p.col) for p in found.places] == sorted((p.row, p.col) for p in found.places)


@pytest.mark.parametrize(
    "ground", [np.full((3, 3), 5.0), np.full((40, 40), 5.0), np.full((20, 30), np.nan), np.zeros((1, 1))]
)
def test_flat_tiny_and_unknown_ground(ground):
    found = water((ground + 0.4).astype(np.float32), cell_m=10.0)
    assert not found.near.any()
    assert found.places == ()


def test_holes_are_no_water():
    ground = valley()
    ground[80:90, 70:80] = np.nan
    found = water(ground, cell_m=CELL_M)
    assert not found.near[np.isnan(ground)].any()
    assert not found.deep.any()


def test_layers_must_fit():
    with pytest.raises(BadInput, match="water layer has shape"):
        water(valley(), cell_m=CELL_M, lake_cells=np.zeros((2, 2), bool))


def test_level_ground_at_zero_is_the_sea_even_in_whole_metres():
    slope = np.linspace(-300, 300, 60, dtype=np.float32)[:, np.newaxis] + np.zeros((60, 60), np.float32)
    found = water(np.round(np.maximum(slope, 0)), cell_m=20.0)
    assert found.deep[:25].all()
    assert not found.deep[35:].any()


def test_a_lake_at_a_round_height_is_a_lake_where_the_ground_has_fractions():
    rows, cols = np.mgrid[:60, :60]
    ground = (2250.0 + np.maximum(np.hypot(rows - 30, cols - 30) - 15.0, 0.0) * 3.37).astype(np.float32)
    found = water(ground, cell_m=20.0)
    assert found.deep[30, 30]
    assert not found.deep[2, 2]


# --- whole metres and feet: gentle ground is level too ---


def tarn(rows: int = 60, cols: int = 60) -> np.ndarray:
    """A lake 15 cells in radius at 2250 m whose banks rise 3.4 m a cell, with an outlet two cells wide."""
    y, x = np.mgrid[:rows, :cols]
    ground = 2250.0 + np.maximum(np.hypot(y - 30, x - 30) - 15.0, 0.0) * 3.37
    ground[45:, 29:31] = 2250.0 - 2.0 * np.arange(1, rows - 44)[:, np.newaxis]
    return ground


@pytest.mark.parametrize("unit_m", [1.0, 0.3048])
def test_a_lake_between_banks_is_water_in_whole_metres_and_feet(unit_m):
    found = water((np.round(tarn() / unit_m) * unit_m).round(2).astype(np.float32), cell_m=20.0)
    y, x = np.mgrid[:60, :60]
    away = np.hypot(y - 30, x - 30)
    assert found.deep[away < 14.9].all()
    assert not found.deep[away > 16.0].any()
    assert not found.sure.any()


def bowl(power: float) -> np.ndarray:
    """A dry bowl, its floor level to the rounding over 14 cells' radius or more."""
    y, x = np.mgrid[:80, :80]
    return 2000.0 + (np.hypot(y - 40, x - 40) / 15.0) ** power


def floor_of_a_valley() -> np.ndarray:
    """A floor 15 cells wide that falls a metre in 60 cells, between steep sides."""
    y, x = np.mgrid[:200, :80]
    return 2000.0 - y / 60.0 + 8.0 * np.maximum(np.abs(x - 40) - 7.5, 0.0)


def a_table() -> np.ndarray:
    y, x = np.mgrid[:80, :80]
    return 2000.0 - 9.0 * np.maximum(np.maximum(np.abs(y - 40), np.abs(x - 40)) - 15, 0)


DRY = {"a round bowl": bowl(2.0), "a flat-floored bowl": bowl(4.0), "a valley's floor": floor_of_a_valley(),
       "a table": a_table(), "a plain": np.full((80, 80), 2000.0)}  # fmt: skip


@pytest.mark.parametrize("name", DRY)
@pytest.mark.parametrize("shift", [0.0, 0.3, 0.5, 0.8])
def test_gentle_ground_rounded_to_metres_is_no_lake(name, shift):
    assert not water(np.round(DRY[name] + shift).astype(np.float32), cell_m=20.0).deep.any()


@pytest.mark.parametrize("roughness", [3.5, 4.0, 5.0])
@pytest.mark.parametrize("relief_m", [5.0, 60.0, 300.0])
def test_invented_hills_rounded_to_metres_hold_no_lake(roughness, relief_m):
    """Random ground with the power spectra of real ground (exponents 3 to 5; from memory)."""
    waves = np.hypot(*np.meshgrid(np.fft.fftfreq(300), np.fft.fftfreq(300)))
    waves[0, 0] = np.inf
    noise = np.fft.fft2(np.random.default_rng(7).normal(size=(300, 300)))
    hills = np.real(np.fft.ifft2(noise * waves ** (-roughness / 2)))
    ground = np.round(1000.0 + relief_m * hills / hills.std()).astype(np.float32)
    assert not water(ground, cell_m=10.0).deep.any()

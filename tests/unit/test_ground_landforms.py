from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from graylight.ground.bowls import bowls
from graylight.ground.landforms import Landforms, cliff_deg, landforms, least_peak_m, not_meant
from graylight.ground.relief import relief
from tests.unit.hand_ground import axes, cirque, hills, trough


def found(ground: np.ndarray, cell_m: float, **options: float) -> Landforms:
    return landforms(ground, relief(ground, cell_m=cell_m, **options), cell_m=cell_m, **options)


def two_hills() -> np.ndarray:
    return hills(120, 200, 20.0, (0.0, -900.0, 600.0, 500.0), (0.0, 900.0, 450.0, 500.0), base_m=2000.0)


def test_two_hills_have_two_peaks_and_a_saddle_between():
    forms = found(two_hills(), 20.0)
    assert [(top.row in (59, 60), top.at_least) for top in forms.peaks] == [(True, True), (True, False)]
    higher, lower = forms.peaks
    assert higher.height_m > lower.height_m
    (saddle,) = forms.saddles
    assert (saddle.higher, saddle.lower) == (0, 1)
    assert (saddle.row, saddle.col) == (lower.key_row, lower.key_col)
    assert higher.col < saddle.col < lower.col
    assert saddle.below_m == pytest.approx(lower.prominence_m)


def test_peaks_are_the_first_of_the_tops():
    rng = np.random.default_rng(8)
    places = [(*rng.uniform(-1500, 1500, 2), *rng.uniform((30, 100), (500, 300))) for _ in range(25)]
    forms = found(hills(160, 170, 20.0, *places), 20.0)
    assert forms.tops[: len(forms.peaks)] == forms.peaks
    assert len(forms.tops) > len(forms.peaks) > 3
    drops = [top.prominence_m for top in forms.tops]
    assert drops == sorted(drops, reverse=True)
    assert all(s.higher < len(forms.tops) and s.lower < len(forms.tops) for s in forms.saddles)


def test_a_crest_is_a_ridgeline():
    north, east = axes(120, 160, 10.0)
    crest = (3000.0 - 0.5 * np.abs(north - 0.2 * east) - 0.05 * np.abs(east)).astype(np.float32)
    lines = found(crest, 10.0).ridgelines
    on_crest = np.abs(north - 0.2 * east) < 15.0
    inner = (np.abs(east) < 700.0) & (np.abs(north) < 500.0)
    assert 0.3 < lines[on_crest & inner].mean() < 0.7  # a line one or two cells wide in a belt of three
    assert not lines[~on_crest & inner].any()
    assert all(lines[10:-10, c].any() for c in range(20, 140))


@pytest.mark.parametrize("cell_m", [10.0, 30.0, 90.0])
@pytest.mark.parametrize(("opens", "azimuth"), [(0, 180.0), (1, 90.0), (2, 0.0), (3, 270.0)])
def test_a_bowl_is_found_and_opens_where_it_does(cell_m, opens, azimuth):
    ground = cirque(cell_m, opens=opens)
    forms = found(ground, cell_m)
    (bowl,) = forms.basins
    assert abs((bowl.opens_true_deg - azimuth + 180.0) % 360.0 - 180.0) < 15.0
    assert 0.62 <= bowl.ringed < 0.95
    assert bowl.rim_m > 150.0
    assert forms.basin_labels[bowl.row, bowl.col] == bowl.label == 1
    assert 4e4 < bowl.area_m2 < 1.5e6
    middle = (ground.shape[0] - 1) / 2
    assert np.hypot(bowl.row - middle, bowl.col - middle) * cell_m < 450.0 + cell_m


def test_convergence_turns_the_open_side():
    ground = cirque(30.0)
    (plain,), (turned,) = found(ground, 30.0).basins, found(ground, 30.0, convergence_deg=2.0).basins
    assert (turned.opens_true_deg - plain.opens_true_deg) % 360.0 == pytest.approx(2.0)


@pytest.mark.parametrize("cell_m", [10.0, 90.0])
def test_a_trough_open_at_both_ends_is_no_bowl(cell_m):
    assert found(trough(cell_m), cell_m).basins == ()


def test_a_shallow_hollow_is_no_bowl():
    north, east = axes(200, 200, 20.0)
    ground = (2500.0 + 0.00006 * (north**2 + east**2)).astype(np.float32)
    assert found(ground, 20.0).basins == ()


def test_bowls_need_cells_fine_enough():
    ground = cirque(90.0)
    slope = relief(ground, cell_m=120.0).slope_deg
    listed, labels = bowls(ground, slope, cell_m=120.0)
    assert listed == ()
    assert not labels.any()


def bench_ground(cell_m: float) -> np.ndarray:
    """A slope of 30 degrees with a level step 80 m deep and 300 m long."""
    north, east = axes(int(1200 / cell_m), int(1400 / cell_m), cell_m)
    steep = np.tan(np.radians(30.0))
    drop = np.where(north > 40.0, north - 40.0, np.where(north < -40.0, north + 40.0, 0.0))
    inside = np.abs(east) < 150.0
    return (2500.0 + steep * np.where(inside, drop, north)).astype(np.float32)


@pytest.mark.parametrize("cell_m", [10.0, 20.0])
def test_a_step_in_a_hillside_is_a_bench(cell_m):
    forms = found(bench_ground(cell_m), cell_m)
    (bench,) = forms.benches
    assert 0.4 * 80 * 300 < bench.area_m2 < 1.3 * 80 * 300
    assert forms.bench_labels[bench.row, bench.col] == 1
    assert (forms.bench_labels > 0).sum() * cell_m**2 == pytest.approx(bench.area_m2)


def test_valley_floors_and_crests_are_no_benches():
    assert found(trough(20.0), 20.0).benches == ()
    assert found(-trough(20.0), 20.0).benches == ()


def test_a_small_top_on_a_spur_is_a_knob():
    north, east = axes(150, 200, 10.0)
    spur = 2600.0 - 0.5 * np.abs(north) - 0.25 * east
    knob = 30.0 * np.exp(-(north**2 + (east - 200.0) ** 2) / 40.0**2)
    forms = found((spur + knob).astype(np.float32), 10.0)
    (only,) = forms.knobs
    assert abs(east[only.row, only.col] - 200.0) <= 20.0
    assert abs(north[only.row, only.col]) <= 10.0
    assert 4.0 <= only.prominence_m < 30.0


def test_cliffs_by_cell_size():
    north, _ = axes(60, 60, 10.0)
    step = (2500.0 + np.where(north > 0, 60.0, 0.0) + 0.1 * north).astype(np.float32)
    assert found(step, 10.0).cliffs.sum() == 2 * 60
    assert found(step, 20.0).cliffs.sum() == 2 * 60
    assert not found(step, 30.0).cliffs.any()
    assert cliff_deg(10.0) > cliff_deg(20.0)


def test_too_coarse_is_said():
    assert not_meant(10.0) == ()
    assert "cliffs: cells of 90 m are too coarse (20 m at most)" in not_meant(90.0)
    assert not any(line.startswith("bowls") for line in not_meant(90.0))
    assert not any("peaks" in line for line in not_meant(90.0))


def test_least_peak_follows_the_relief():
    rng = np.random.default_rng(0)
    ground = rng.uniform(0, 1, (50, 50)).astype(np.float32)
    assert least_peak_m(2000.0 * ground) == 40.0
    assert least_peak_m(200.0 * ground) == pytest.approx(200 * 0.96 / 20, rel=0.05)
    assert least_peak_m(ground) == 5.0
    assert least_peak_m(np.full((2, 2), np.nan, np.float32)) == 40.0


@pytest.mark.parametrize(
    "ground",
    [
        np.full((3, 3), 10.0),
        np.full((40, 30), 2000.0),
        np.full((5, 6), np.nan),
        np.arange(9.0).reshape(3, 3),
        np.zeros((1, 1)),
        np.zeros((1, 40)),
    ],
)
@pytest.mark.parametrize("cell_m", [10.0, 90.0])
def test_flat_tiny_and_unknown_ground(ground, cell_m):
    forms = found(ground.astype(np.float32), cell_m)
    assert forms.peaks == ()
    assert (forms.saddles, forms.basins, forms.benches, forms.knobs) == ((), (), (), ())
    assert not forms.ridgelines.any()
    assert not forms.cliffs.any()
    assert forms.forms.shape == ground.shape


def test_a_hole_is_outside():
    ground = two_hills()
    ground[55:66, 95:106] = np.nan
    forms = found(ground, 20.0)
    assert len(forms.peaks) == 2
    assert all(top.at_least for top in forms.peaks)  # the way over the hole may be higher
    assert not forms.forms[np.isnan(ground)].any()


def test_turning_the_country_turns_the_landforms():
    ground = hills(
        130, 150, 20.0, (0, -600, 500, 300), (300, 500, 420, 260), (-500, 300, 300, 200), base_m=2000.0
    )
    plain, turned = found(ground, 20.0), found(np.ascontiguousarray(np.rot90(ground)), 20.0)
    assert [t.height_m for t in plain.peaks] == [t.height_m for t in turned.peaks]
    assert [t.prominence_m for t in plain.peaks] == [t.prominence_m for t in turned.peaks]
    assert (np.rot90(plain.ridgelines) == turned.ridgelines).mean() > 0.995
    assert np.array_equal(np.rot90(plain.cliffs), turned.cliffs)


def test_the_same_input_gives_the_same_bytes():
    rng = np.random.default_rng(9)
    ground = (hills(90, 100, 20.0, (0, 0, 500, 600)) + rng.normal(size=(90, 100))).astype(np.float32)
    one, two = found(ground, 20.0), found(ground, 20.0)
    for field in dataclasses.fields(Landforms):
        a, b = getattr(one, field.name), getattr(two, field.name)
        assert (a.tobytes() == b.tobytes()) if isinstance(a, np.ndarray) else a == b

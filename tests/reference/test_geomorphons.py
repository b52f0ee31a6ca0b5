"""Geomorphons beside the paper's definition and beside whitebox-workflows."""

from __future__ import annotations

import math

import numpy as np

from graylight.ground.landforms import FORMS, forms_of
from graylight.kernels.landform import FORM_OF_COUNTS, geomorphons
from tests.reference.real_ground import jacksboro
from tests.reference.slow_geomorphons import counts
from tests.reference.whitebox import whitebox
from tests.unit.hand_ground import axes


def piece() -> tuple[np.ndarray, float]:
    ground, cell_m = jacksboro()
    return np.ascontiguousarray(ground[60:98, 140:178]), cell_m


def test_the_table_is_whiteboxs(tmp_path):
    # whitebox-workflows 2, geomorphons: reach in cells along all directions, horizons never below level
    ground, cell_m = piece()
    theirs = whitebox(
        "geomorphons", ground, cell_m, tmp_path, search_distance=5, flatness_threshold=1.0, output_forms=True
    )
    lower, higher = counts(ground, cell_m, straight=5, slanted=5, flat_deg=1.0, level_counts=True)
    inner = (slice(6, -6), slice(6, -6))
    assert np.array_equal(FORM_OF_COUNTS[lower, higher][inner], theirs[inner])


def test_the_kernel_is_the_definition():
    # Jasiewicz & Stepinski 2013: reach in metres, so fewer cells along diagonals
    ground, cell_m = piece()
    reach = 6.2 * cell_m
    lower, higher = counts(ground, cell_m, straight=6, slanted=4, flat_deg=1.0, level_counts=False)
    forms = forms_of(ground, cell_m=cell_m, reach_m=reach)
    inner = (slice(1, -1), slice(1, -1))
    assert (FORM_OF_COUNTS[lower, higher] == forms)[inner].mean() > 0.999  # angles on the very threshold


def test_agreement_with_whitebox_on_real_ground(tmp_path):
    # measured: 88 % at 5 cells and 94 % at 10, the rest for diagonals searched as far in cells as rows
    ground, cell_m = jacksboro()
    theirs = whitebox(
        "geomorphons", ground, cell_m, tmp_path, search_distance=10, flatness_threshold=1.0, output_forms=True
    )
    forms = forms_of(ground, cell_m=cell_m, reach_m=10.0 * cell_m + 1.0)
    inner = (slice(11, -11), slice(11, -11))
    assert (forms == theirs)[inner].mean() > 0.93


def test_hand_drawn_ground():
    north, east = axes(31, 37, 10.0)
    away = np.hypot(north, east)
    for ground, form in (
        (-away, "summit"),
        (away, "depression"),
        (-np.abs(east), "ridge"),
        (np.abs(east), "valley"),
        (0.0 * east, "flat"),
        (0.5 * east, "slope"),
        (np.minimum(0.5 * east, 0.0), "shoulder"),
        (np.maximum(0.5 * east, 0.0), "footslope"),
    ):
        forms = forms_of(np.ascontiguousarray(ground, np.float32), cell_m=10.0, reach_m=100.0)
        assert FORMS[forms[15, 18]] == form


def test_jit_off_gives_the_same():
    ground, cell_m = piece()
    ground[5:8, 9:11] = np.nan
    slow = np.empty(ground.shape, np.uint8)
    flat = math.tan(math.radians(1.0))
    geomorphons.py_func(ground, 400.0, cell_m, flat, FORM_OF_COUNTS, 0, ground.shape[0], slow)
    assert np.array_equal(slow, forms_of(ground, cell_m=cell_m))
    assert np.array_equal(slow == 0, np.isnan(ground))


def test_turning_and_mirroring_the_country_turns_the_forms():
    ground, cell_m = piece()
    ground = np.ascontiguousarray(ground[:, :30])
    forms = forms_of(ground, cell_m=cell_m)
    turned = forms_of(np.ascontiguousarray(np.rot90(ground)), cell_m=cell_m)
    mirrored = forms_of(np.ascontiguousarray(ground[:, ::-1]), cell_m=cell_m)
    assert np.array_equal(np.rot90(forms), turned)
    assert np.array_equal(forms[:, ::-1], mirrored)

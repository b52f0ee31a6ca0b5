"""The wind in the face: whatever the ground, a wind that rules and blows from a pocket keeps scent off it."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.ndimage import gaussian_filter

from graylight.settings import AirSettings
from graylight.sky.drift import drift
from graylight.sky.wind import air_day, air_ground, wind_field
from graylight.wind import GeneralWind

RULES = AirSettings()
SIZE = 90


def rough(seed: int) -> np.ndarray:
    """Hills of some 150 m."""
    noise = np.random.default_rng(seed).normal(size=(SIZE, SIZE))
    hills = gaussian_filter(noise, 8.0)
    return (2500.0 + 150.0 * hills / np.abs(hills).max()).astype(np.float32)


@settings(max_examples=40)
@given(st.integers(0, 10_000), st.floats(0.0, 359.0), st.floats(200.0, 380.0), st.integers(6, 20))
def test_a_wind_from_pocket_to_lookout_never_scents_the_pocket(seed, from_deg, away_m, hour):
    z = rough(seed)
    row, col = np.mgrid[:SIZE, :SIZE]
    middle = SIZE // 2
    at_row = middle - np.cos(np.radians(from_deg)) * away_m / 10.0
    at_col = middle + np.sin(np.radians(from_deg)) * away_m / 10.0
    pocket = np.hypot(row - at_row, col - at_col) <= 8
    ground = air_ground(z, cell_m=10.0, convergence_deg=0.0, settings=RULES)
    sun = np.full(z.shape, 13 * 3600.0, np.float32)
    day = air_day(ground, sun, sun + np.float32(11 * 3600), settings=RULES)

    def scent(wind_from: float) -> np.ndarray:
        field = wind_field(ground, day, hour * 3600.0, general=GeneralWind(wind_from, 14.0), settings=RULES)
        return drift(field, middle, middle, settings=RULES).scent

    assert scent(from_deg)[pocket].max() == 0.0
    # and the test can tell: the same wind the other way reaches it
    assert scent((from_deg + 180.0) % 360.0)[pocket].max() > 0.0

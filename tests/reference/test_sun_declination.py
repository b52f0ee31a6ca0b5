"""Magnetic declination against the test values published with the World Magnetic Model 2025.

NOAA NCEI and British Geological Survey, World Magnetic Model 2025, doi:10.25921/aqfd-sd83: the table of the
technical report, and rows of WMM2025_TEST_VALUES. Published to 0.01 degrees.
"""

from __future__ import annotations

from datetime import date

import pytest

from graylight.grid import LonLat
from graylight.sky.declination import declination

# 1 January of year, height in km, latitude, longitude, declination
PUBLISHED = [
    (2025, 0, 80, 0, 1.28),
    (2025, 0, 0, 120, -0.16),
    (2025, 0, -80, -120, 68.78),
    (2025, 100, 80, 0, 0.85),
    (2025, 100, 0, 120, -0.15),
    (2025, 100, -80, -120, 68.21),
    (2025, 65, 43, 93, 0.50),
    (2025, 51, -33, 109, -5.49),
    (2025, 18, 0, 21, 1.29),
    (2026, 46, -24, -122, 14.01),
    (2026, 33, -3, -147, 9.71),
    (2026, 56, -81, 40, -59.77),
    (2027, 67, 72, -115, 13.73),
    (2027, 38, 27, -169, 8.48),
    (2027, 61, 59, -77, -16.48),
    (2028, 30, -36, -64, -4.65),
    (2028, 1, -76, -75, 29.87),
    (2029, 95, -60, -59, 8.58),
    (2029, 19, 46, -22, -5.65),
]


@pytest.mark.parametrize(("year", "height_km", "lat", "lon", "deg"), PUBLISHED)
def test_published_values(year, height_km, lat, lon, deg):
    found = declination(LonLat(lon, lat), height_m=height_km * 1000.0, day=date(year, 1, 1))
    assert found.deg == pytest.approx(deg, abs=0.0051)
    assert found.model == "WMM2025"


# 2.5 years into a model of five is 2 July in 2027 (day 182.5 of 365): half a day is under 0.002 degrees here
@pytest.mark.parametrize(
    ("height_km", "lat", "lon", "deg"),
    [
        (0, 80, 0, 2.59),
        (0, 0, 120, -0.24),
        (0, -80, -120, 68.49),
        (100, 80, 0, 2.16),
        (100, -80, -120, 67.93),
    ],
)
def test_published_values_in_mid_year(height_km, lat, lon, deg):
    found = declination(LonLat(lon, lat), height_m=height_km * 1000.0, day=date(2027, 7, 2))
    assert found.deg == pytest.approx(deg, abs=0.007)


@pytest.mark.parametrize(("lat", "lon"), [(89, -121)])
def test_no_compass_where_the_needle_dips(lat, lon):
    # 2025.0, 28 km, 89 N 121 W: published H 1504 nT, under the model's blackout limit of 2000
    assert declination(LonLat(lon, lat), height_m=28_000.0, day=date(2025, 1, 1)) is None


def test_the_interior_west():
    # 39 N, 111.5 W, 2.5 km, 2026.8: 10.27 E, value from memory
    found = declination(LonLat(-111.5, 39.0), height_m=2500.0, day=date(2026, 10, 20))
    assert found.deg == pytest.approx(10.27, abs=0.01)

"""Distances and azimuths against a published geodesic.

Flinders Peak to Buninyong on GRS80, the worked example of the Geocentric Datum of Australia Technical Manual
(Vincenty's inverse formula): 54972.271 m, azimuth 306 52 05.37. Coordinates and azimuth from memory, the
distance also in the project's check values. WGS 84 and GRS80 differ by 0.1 mm in the polar radius only.
"""

from __future__ import annotations

import pytest
from pyproj import Geod

from graylight.grid import LonLat, azimuth_deg, distance_m


def _dms(degrees: int, minutes: int, seconds: float) -> float:
    return degrees + minutes / 60 + seconds / 3600


FLINDERS_PEAK = LonLat(_dms(144, 25, 29.52440), -_dms(37, 57, 3.72030))
BUNINYONG = LonLat(_dms(143, 55, 35.38390), -_dms(37, 39, 10.15610))
DISTANCE_M = 54972.271
AZIMUTH_DEG = _dms(306, 52, 5.37)
BACK_DEG = _dms(127, 10, 25.07)


def test_the_library_gives_the_published_line():
    there, back, metres = Geod(ellps="GRS80").inv(*FLINDERS_PEAK, *BUNINYONG)
    assert metres == pytest.approx(DISTANCE_M, abs=0.001)
    assert there % 360 == pytest.approx(AZIMUTH_DEG, abs=0.01 / 3600)
    assert back % 360 == pytest.approx(BACK_DEG, abs=0.01 / 3600)


def test_our_distance_is_the_published_one():
    assert distance_m(FLINDERS_PEAK, BUNINYONG) == pytest.approx(DISTANCE_M, abs=0.001)
    assert distance_m(BUNINYONG, FLINDERS_PEAK) == pytest.approx(DISTANCE_M, abs=0.001)


def test_our_azimuths_are_the_published_ones():
    assert azimuth_deg(FLINDERS_PEAK, BUNINYONG) == pytest.approx(AZIMUTH_DEG, abs=0.01 / 3600)
    assert azimuth_deg(BUNINYONG, FLINDERS_PEAK) == pytest.approx(BACK_DEG, abs=0.01 / 3600)

"""Places come back from what was written, and agree with an independent library."""

from __future__ import annotations

import mgrs
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from graylight.errors import BadInput
from graylight.grid import LonLat, distance_m
from graylight.place import read_place, write_place

lats = st.floats(-80.0, 84.0)
lons = st.floats(-180.0, 180.0)
# How far a place may move when written and read: half the last digit, on the diagonal, and a little more.
MOVED_M = {"degrees": 0.80, "minutes": 1.33, "utm": 0.72, "usng": 7.08}


@settings(max_examples=300, deadline=None)
@given(lat=lats, lon=lons)
@example(lat=0.0, lon=0.0)
@example(lat=-0.0, lon=-180.0)
@example(lat=84.0, lon=180.0)
@example(lat=-80.0, lon=3.0)
@example(lat=39.9999999, lon=-114.0)
@example(lat=63.9999999, lon=3.0)
def test_every_form_comes_back(lat, lon):
    place = LonLat(lon, lat)
    for form, most in MOVED_M.items():
        back = read_place(write_place(place, form))
        assert distance_m(back, place) <= most, form


@settings(max_examples=200, deadline=None)
@given(lat=st.floats(-90.0, 90.0), lon=lons)
def test_degrees_and_minutes_hold_to_the_poles(lat, lon):
    place = LonLat(lon, lat)
    for form in ("degrees", "minutes"):
        back = read_place(write_place(place, form))
        assert back.lat == pytest.approx(lat, abs=1e-5)
        assert distance_m(back, place) <= MOVED_M[form] + 0.1


@settings(max_examples=300, deadline=None)
@given(lat=st.floats(-80.0, 83.999), lon=lons)
@example(lat=-3.7e-8, lon=0.0)  # GEOTRANS writes the equator itself, in band M
def test_squares_of_the_mgrs_library_are_read(lat, lon):
    """GEOTRANS in the mgrs package: the square of 1 m holds the place; its middle is within 0.71 m."""
    square = mgrs.MGRS().toMGRS(lat, lon, MGRSPrecision=5)
    assert distance_m(read_place(square), LonLat(lon, lat)) < 0.75


@settings(max_examples=300, deadline=None)
@given(lat=st.floats(-80.0, 83.999), lon=st.floats(-179.999, 179.999))
def test_the_mgrs_library_reads_ours(lat, lon):
    """Our 10 m square, read by GEOTRANS (as its middle or, in older versions, its corner)."""
    written = write_place(LonLat(lon, lat), "usng").replace(" ", "")
    corner_lat, corner_lon = mgrs.MGRS().toLatLon(written.zfill(13))
    assert distance_m(LonLat(corner_lon, corner_lat), LonLat(lon, lat)) < 14.2


@settings(max_examples=300, deadline=None)
@given(lat=st.floats(-80.0, 83.999), lon=st.floats(-179.999, 179.999))
def test_utm_against_the_mgrs_library(lat, lon):
    """Zone and coordinates against GEOTRANS, which shares no code with PROJ.

    A hair from the edges of zones and bands GEOTRANS rounds to the other side, or fails: those are left out.
    """
    assume(abs(lon - 3 * round(lon / 3)) > 1e-6)
    assume(abs(lat - 8 * round(lat / 8)) > 1e-4)
    zone, _, east, north = mgrs.MGRS().MGRSToUTM(mgrs.MGRS().toMGRS(lat, lon, MGRSPrecision=5))
    ours_zone, ours_east, ours_north = write_place(LonLat(lon, lat), "utm").split()
    assert int(ours_zone[:-1]) == zone
    assert (int(ours_east), int(ours_north)) == pytest.approx((east, north), abs=1.01)


@settings(max_examples=300, deadline=None)
@given(text=st.text(alphabet="0123456789.,-+°'\"NSEWTVJ north", max_size=30))
@example(text="12SVJ")
@example(text="1 C 100000 0")
@example(text="1S 100000 10000000")
@example(text="00C AA")
def test_any_text_gives_a_place_on_earth_or_one_plain_error(text):
    try:
        place = read_place(text)
    except BadInput:
        return
    assert -90.0 <= place.lat <= 90.0
    assert -180.0 <= place.lon <= 180.0

"""The sun against NREL's algorithm: its own worked example, and pvlib's independent writing of it.

Reda & Andreas 2004, Solar Position Algorithm for Solar Radiation Applications, NREL/TP-560-34302 (revised
2008), stated uncertainty 0.0003 degrees. pvlib (Anderson et al. 2023, doi:10.21105/joss.05994) is the oracle.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pvlib import irradiance, solarposition

from graylight.grid import LonLat
from graylight.sky.light import light_of_day, solar_noon
from graylight.sky.sun import sun_path, upper_limb_deg

GOLDEN = LonLat(-105.1786, 39.742476)
EXAMPLE = np.array(["2003-10-17T19:30:30"], dtype="datetime64[us]")

PLACES = {
    "interior west": LonLat(-111.5, 39.3),
    "southern alps": LonLat(169.0, -44.0),
    "69 N": LonLat(18.9, 69.0),
    "far south": LonLat(-68.3, -54.8),
    "equator": LonLat(100.0, 0.0),
    "date line": LonLat(179.99, -16.8),
    "84 N": LonLat(-30.0, 84.0),
    "79 S": LonLat(170.0, -79.0),
}
YEARS = (1900, 1935, 1971, 2003, 2026, 2050)


def apart_deg(a, b):
    return np.abs((np.asarray(a) - np.asarray(b) + 180.0) % 360.0 - 180.0)


def test_example_of_the_report():
    path = sun_path(GOLDEN, height_m=1830.14, times=EXAMPLE)
    # geometric zenith 50.127954 and azimuth 194.340241: the report's example without refraction, by pvlib;
    # 0.0003 is the report's uncertainty, and its UT1 is ours
    assert path.altitude_deg[0] == pytest.approx(90.0 - 50.127954, abs=4e-4)
    assert path.azimuth_deg[0] == pytest.approx(194.340241, abs=4e-4)


def test_incidence_of_the_report():
    path = sun_path(GOLDEN, height_m=1830.14, times=EXAMPLE)
    # The report's surface: slope 30, facing 10 degrees east of south; its incidence of 25.187 uses the
    # apparent zenith, 50.111622. pvlib works out the angle, we bring the azimuth.
    incidence = irradiance.aoi(30.0, 170.0, 50.111622, path.azimuth_deg[0])
    assert incidence == pytest.approx(25.18700, abs=5e-4)


@pytest.mark.parametrize("year", YEARS)
@pytest.mark.parametrize("place", PLACES.values(), ids=PLACES)
def test_path_against_pvlib(place, year):
    times = np.datetime64(f"{year}-01-01", "us") + np.arange(0, 365, 7) * np.timedelta64(24 * 60 + 37, "m")
    times = times[times < np.datetime64("2050-12-31")]
    # delta_t=None: pvlib takes its own estimate of TT - UT1 for the year, as we take Skyfield's. Far from now
    # the two part by tens of seconds, in which the sun moves 1 arcsec along the ecliptic: hence 0.0006.
    spa = solarposition.spa_python(
        pd.DatetimeIndex(times, tz="UTC"), place.lat, place.lon, altitude=2000.0, delta_t=None
    )
    path = sun_path(place, height_m=2000.0, times=times)
    assert np.abs(path.altitude_deg - spa["elevation"].to_numpy()).max() < 6e-4
    across = apart_deg(path.azimuth_deg, spa["azimuth"]) * np.cos(np.radians(path.altitude_deg))
    assert across.max() < 6e-4


def test_refraction_at_the_horizon_is_the_almanacs():
    # -50' is the almanac's geometric altitude of sunrise: 34' of refraction, 16' of semidiameter (definition)
    assert upper_limb_deg(np.array([-50.0 / 60.0]))[0] == pytest.approx(0.0, abs=0.01)
    # 5.4' at an apparent 10 degrees and 0' overhead: refraction tables, values from memory
    ten = 10.0 - 5.4 / 60.0 - 16.0 / 60.0
    assert upper_limb_deg(np.array([ten]))[0] == pytest.approx(10.0, abs=0.005)
    assert upper_limb_deg(np.array([89.0]))[0] == pytest.approx(89.0 + 16.0 / 60.0, abs=0.001)


def local(hour, minute, second):
    return datetime(2003, 10, 17, hour, minute, second, tzinfo=UTC) + timedelta(hours=7)


def test_twilight_of_the_example_day():
    # Times at which the geometric altitude passes -0.833, -6 and -12, by pvlib, UTC-7; ours passes -0.8333
    day = light_of_day(GOLDEN, date(2003, 10, 17), height_m=1830.14)
    wanted = {
        "nautical_dawn": local(5, 14, 8),
        "civil_dawn": local(5, 45, 29),
        "sunrise": local(6, 12, 44),
        "sunset": local(17, 18, 50),
        "civil_dusk": local(17, 46, 4),
        "nautical_dusk": local(18, 17, 22),
    }
    late = {name: abs((getattr(day, name) - moment).total_seconds()) for name, moment in wanted.items()}
    assert max(late.values()) <= 1.5, late


def test_usable_light_of_the_project_notes():
    # 21 August at 39.3 N 111.5 W, MDT, from pvlib, to the minute: -12 at 05:43, -8 at 06:06, -6 at 06:17,
    # sunrise at 06:45
    day = light_of_day(LonLat(-111.5, 39.3), date(2026, 8, 21))
    clock = [
        (moment - timedelta(hours=6)).strftime("%H:%M")
        for moment in (day.nautical_dawn, day.usable_from, day.civil_dawn, day.sunrise)
    ]
    wanted = ["05:43", "06:06", "06:17", "06:45"]
    for got, want in zip(clock, wanted, strict=True):
        minutes = [int(t[:2]) * 60 + int(t[3:]) for t in (got, want)]
        assert abs(minutes[0] - minutes[1]) <= 1, (clock, wanted)


@pytest.mark.parametrize("year", [1900, 1957, 2026, 2050])
@pytest.mark.parametrize("name", ["interior west", "southern alps", "equator", "far south"])
def test_sunrise_noon_and_sunset_against_pvlib(name, year):
    place = PLACES[name]
    for month in (1, 4, 6, 9, 12):
        mine = light_of_day(place, date(year, month, 15))
        for column, moment in (("sunrise", mine.sunrise), ("transit", mine.noon), ("sunset", mine.sunset)):
            utc_day = pd.DatetimeIndex([moment]).normalize()
            spa = solarposition.sun_rise_set_transit_spa(utc_day, place.lat, place.lon, delta_t=None)
            # A row holds what happens on that UTC date, but pvlib then names the date by the local noon (the
            # sunset printed in the report's own example is so a day old): so compare the time of day alone.
            late = (spa[column].iloc[0] - pd.Timestamp(moment)).total_seconds()
            late = (late + 43200.0) % 86400.0 - 43200.0
            # its rise and set are interpolated between days and without parallax
            assert abs(late) < (2.0 if column == "transit" else 10.0), (column, moment, late)


def test_noon_is_the_highest_sun_and_follows_the_equation_of_time():
    # The report's example gives 14.641511 min for the equation of time on this day
    noon = solar_noon(GOLDEN, date(2003, 10, 17))
    mean = np.datetime64("2003-10-17T12:00:00", "us") - np.timedelta64(round(GOLDEN.lon * 240e6), "us")
    assert (mean - noon) / np.timedelta64(1, "m") == pytest.approx(14.64, abs=0.02)


@pytest.mark.parametrize("name", ["interior west", "69 N", "southern alps", "79 S"])
def test_every_moment_stands_at_its_altitude(name):
    place = PLACES[name]
    levels = {
        "nautical_dawn": -12.0, "civil_dawn": -6.0, "usable_from": -8.0, "sunrise": -50 / 60,
        "sunset": -50 / 60, "usable_until": -8.0, "civil_dusk": -6.0, "nautical_dusk": -12.0,
    }  # fmt: skip
    found = []
    for n in range(0, 365, 19):
        day = light_of_day(place, date(2026, 1, 1) + timedelta(days=n))
        found += [(getattr(day, name), level) for name, level in levels.items() if getattr(day, name)]
    times = pd.DatetimeIndex([moment for moment, _ in found])
    stands = solarposition.spa_python(times, place.lat, place.lon)["elevation"].to_numpy()
    # half a second of rounding is at most 0.0021 degrees
    assert np.abs(stands - [level for _, level in found]).max() < 0.003
    assert len(found) >= 50


def test_no_dawn_is_missed_near_the_polar_circle():
    """A moment is None exactly when pvlib's sun does not pass the level between midnight and noon."""
    place = PLACES["69 N"]
    for n in range(0, 365, 8):
        when = date(2026, 1, 1) + timedelta(days=n)
        mine = light_of_day(place, when)
        noon = pd.Timestamp(mine.noon)
        minutes = noon + pd.to_timedelta(np.arange(-720, 1, 6), unit="min")
        altitude = solarposition.spa_python(minutes, place.lat, place.lon)["elevation"].to_numpy()
        for moment, level in ((mine.sunrise, -50 / 60), (mine.civil_dawn, -6.0), (mine.usable_from, -8.0)):
            if abs(altitude.min() - level) > 0.01 and abs(altitude.max() - level) > 0.01:
                assert (moment is not None) == (altitude.min() < level < altitude.max()), (when, level)


@settings(max_examples=60)
@given(
    st.floats(-89.5, 89.5), st.floats(-180.0, 180.0),
    st.integers(0, int((np.datetime64("2050-12-30") - np.datetime64("1950-01-01")) / np.timedelta64(1, "m"))),
)  # fmt: skip
def test_anywhere_at_any_time_against_pvlib(lat, lon, minute):
    """Both hemispheres, poles and date line, 1950 to 2050 (before, the estimates of UT1 part further)."""
    times = np.array([np.datetime64("1950-01-01", "us") + np.timedelta64(minute, "m")])
    spa = solarposition.spa_python(pd.DatetimeIndex(times, tz="UTC"), lat, lon, altitude=0.0, delta_t=None)
    path = sun_path(LonLat(lon, lat), height_m=0.0, times=times)
    assert abs(path.altitude_deg[0] - spa["elevation"].iloc[0]) < 6e-4
    across = apart_deg(path.azimuth_deg[0], spa["azimuth"].iloc[0]) * np.cos(np.radians(path.altitude_deg[0]))
    assert across < 6e-4


@settings(max_examples=40)
@given(st.floats(-75.0, 75.0), st.floats(-180.0, 180.0), st.dates(date(1980, 1, 2), date(2050, 12, 30)))
def test_twilight_anywhere_stands_at_its_altitude(lat, lon, day):
    """Every moment that comes, at pvlib's altitude of it; and they come in their order."""
    levels = (("nautical_dawn", -12.0), ("usable_from", -8.0), ("civil_dawn", -6.0), ("sunrise", -50 / 60))
    mirror = (("sunset", -50 / 60), ("civil_dusk", -6.0), ("usable_until", -8.0), ("nautical_dusk", -12.0))
    mine = light_of_day(LonLat(lon, lat), day)
    found = [(getattr(mine, name), level) for name, level in (*levels, *mirror) if getattr(mine, name)]
    moments = [moment for moment, _ in found]
    assert moments == sorted(moments)
    if found:
        stands = solarposition.spa_python(pd.DatetimeIndex(moments), lat, lon)["elevation"].to_numpy()
        assert np.abs(stands - [level for _, level in found]).max() < 0.004

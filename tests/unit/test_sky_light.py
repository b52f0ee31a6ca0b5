"""Clocks, calendars and twilight: the corners."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from graylight.errors import BadInput
from graylight.grid import LonLat
from graylight.sky.declination import declination
from graylight.sky.light import light_of_day, solar_noon
from graylight.sky.sun import sun_path
from graylight.sky.zone import timezone_of

HIGH = LonLat(-111.5, 39.3)


@pytest.mark.parametrize(
    ("lon", "lat", "name"),
    [
        (-111.5, 39.3, "America/Denver"),
        (-112.07, 33.45, "America/Phoenix"),
        (170.1, -43.7, "Pacific/Auckland"),
        (18.9, 69.6, "Europe/Oslo"),
        (-140.0, 30.0, "Etc/GMT+9"),
        (180.0, 0.0, "Etc/GMT-12"),
        (-179.9, 0.0, "Etc/GMT+12"),
    ],
)
def test_zone(lon, lat, name):
    assert timezone_of(LonLat(lon, lat)) == name


@pytest.mark.parametrize(
    ("lon", "name"), [(0, "Etc/GMT"), (-7.6, "Etc/GMT+1"), (180, "Etc/GMT-12"), (-180, "Etc/GMT+12")]
)
def test_zone_without_borders(monkeypatch, lon, name):
    monkeypatch.setattr("graylight.sky.zone.tzfpy.get_tz", lambda *_: "")
    assert timezone_of.__wrapped__(LonLat(lon, 51.3)) == name
    ZoneInfo(name)


@pytest.mark.parametrize("unknown", ["Europe/Nowhere", "../etc/passwd", "Invented"])
def test_zone_that_the_clock_does_not_know(monkeypatch, unknown):
    monkeypatch.setattr("graylight.sky.zone.tzfpy.get_tz", lambda *_: unknown)
    assert timezone_of.__wrapped__(LonLat(-111.5, 39.3)) == "Etc/GMT+7"


@given(st.floats(-180, 180), st.floats(-90, 90))
@settings(max_examples=60, deadline=None)
def test_every_place_has_a_clock(lon, lat):
    ZoneInfo(timezone_of(LonLat(lon, lat)))


@pytest.mark.parametrize(
    ("lon", "lat"), [(0, 91), (181, 0), (float("nan"), 0), (0, float("nan")), (float("inf"), 0)]
)
def test_no_such_place(lon, lat):
    place = LonLat(lon, lat)
    for ask in (
        lambda: timezone_of(place),
        lambda: light_of_day(place, date(2026, 8, 27)),
        lambda: sun_path(place, height_m=0.0, times=np.array(["2026-01-01"], dtype="datetime64[us]")),
        lambda: declination(place, height_m=0.0, day=date(2026, 8, 27)),
    ):
        with pytest.raises(BadInput, match="accepted is -90 to 90"):
            ask()


@pytest.mark.parametrize("day", [date(1899, 12, 31), date(2051, 1, 1)])
def test_no_sun_on_record(day):
    with pytest.raises(BadInput, match="1900-01-01 to 2050-12-31"):
        light_of_day(HIGH, day)


@pytest.mark.parametrize("day", [date(1900, 1, 1), date(2050, 12, 31)])
@pytest.mark.parametrize("lon", [-179.9, 0.0, 179.9])
def test_first_and_last_day_on_record(day, lon):
    assert light_of_day(LonLat(lon, 10.0), day).sunrise is not None


@pytest.mark.parametrize("wrong", ["NaT", "1890-01-01", "2060-01-01"])
def test_times_off_the_record(wrong):
    times = np.array(["2026-01-01", wrong], dtype="datetime64[us]")
    with pytest.raises(BadInput, match="no sun on record"):
        sun_path(HIGH, height_m=0.0, times=times)


@pytest.mark.parametrize("height", [-501.0, 9001.0, float("nan"), float("inf")])
def test_height_off_the_ground(height):
    with pytest.raises(BadInput, match="not on the ground"):
        light_of_day(HIGH, date(2026, 8, 27), height_m=height)


def test_no_times_no_path():
    path = sun_path(HIGH, height_m=0.0, times=np.array([], dtype="datetime64[us]"))
    assert path.azimuth_deg.shape == path.altitude_deg.shape == (0,)


def test_many_times_are_the_same_as_few():
    times = np.datetime64("2026-08-27", "us") + np.arange(2100) * np.timedelta64(37, "s")
    path = sun_path(HIGH, height_m=0.0, times=times)
    few = sun_path(HIGH, height_m=0.0, times=times[2040:2060])
    assert np.array_equal(path.altitude_deg[2040:2060], few.altitude_deg)
    assert path.azimuth_deg.dtype == np.float64


def test_moments_are_in_order_and_in_whole_seconds():
    day = light_of_day(HIGH, date(2026, 8, 27))
    moments = [
        day.nautical_dawn, day.usable_from, day.civil_dawn, day.sunrise, day.noon,
        day.sunset, day.civil_dusk, day.usable_until, day.nautical_dusk,
    ]  # fmt: skip
    assert moments == sorted(moments)
    assert all(m.microsecond == 0 and m.utcoffset() == timedelta(0) for m in moments)
    assert day.sunrise - day.legal_from == day.legal_until - day.sunset == timedelta(minutes=30)


def test_legal_minutes_and_usable_sun_are_settings():
    day = light_of_day(HIGH, date(2026, 8, 27), legal_minutes=-15, usable_sun_deg=-6.0)
    assert day.legal_from - day.sunrise == timedelta(minutes=15)
    assert day.usable_from == day.civil_dawn
    assert day.usable_until == day.civil_dusk


@pytest.mark.parametrize("day", [date(2026, 3, 8), date(2026, 11, 1), date(2026, 3, 7), date(2026, 11, 2)])
def test_the_day_the_clock_is_changed(day):
    """The moments belong to the local date whatever its length, and the sun knows nothing of the clock."""
    light = light_of_day(HIGH, day)
    zone = ZoneInfo(light.timezone)
    assert {m.astimezone(zone).date() for m in (light.nautical_dawn, light.noon, light.nautical_dusk)} == {
        day
    }
    before = light_of_day(HIGH, day - timedelta(days=1))
    assert abs((light.sunrise - before.sunrise) - timedelta(days=1)) < timedelta(minutes=3)


@pytest.mark.parametrize("lon", [-179.99, 179.99])
def test_either_side_of_the_date_line(lon):
    """One place by the sun, two by the calendar: the same date comes a day later on the western side."""
    day = date(2026, 8, 27)
    light = light_of_day(LonLat(lon, 0.0), day)
    assert light.noon.astimezone(ZoneInfo(light.timezone)).date() == day
    # 27 August at UTC+12 and at UTC-12: noon at about 00 UTC on the 27th and on the 28th
    middle = datetime(2026, 8, 27 if lon > 0 else 28, tzinfo=ZoneInfo("UTC"))
    assert abs(light.noon - middle) < timedelta(minutes=20)


def test_a_day_the_calendar_left_out():
    samoa = LonLat(-172.4, -13.6)
    with pytest.raises(BadInput, match="no 2011-12-30"):
        light_of_day(samoa, date(2011, 12, 30))
    assert light_of_day(samoa, date(2011, 12, 31)).sunrise is not None


@pytest.mark.parametrize(
    ("lat", "day", "up"),
    [
        (80.0, date(2026, 6, 21), True),
        (80.0, date(2026, 12, 21), False),
        (-79.0, date(2026, 6, 21), False),
        (-79.0, date(2026, 12, 21), True),
    ],
)
def test_polar_day_and_night(lat, day, up):
    light = light_of_day(LonLat(15.0, lat), day)
    assert light.sunrise is light.sunset is light.legal_from is light.legal_until is None
    assert light.noon is not None
    noon = np.array([light.noon.replace(tzinfo=None)], dtype="datetime64[us]")
    assert (sun_path(LonLat(15.0, lat), height_m=0.0, times=noon).altitude_deg[0] > 0) == up


def test_dusk_after_midnight_ends_its_own_day():
    """64.8 N in June: the sun sets after midnight by the clock, and the dusk stays behind its noon."""
    light = light_of_day(LonLat(-147.7, 64.8), date(2026, 6, 20))
    assert light.sunrise < light.noon < light.sunset
    assert light.sunset.astimezone(ZoneInfo(light.timezone)).date() == date(2026, 6, 21)


def test_southern_winter_days_are_short():
    light = light_of_day(LonLat(169.0, -44.0), date(2026, 6, 21))
    assert timedelta(hours=8) < light.sunset - light.sunrise < timedelta(hours=9)
    noon = np.array([light.noon.replace(tzinfo=None)], dtype="datetime64[us]")
    azimuth = sun_path(LonLat(169.0, -44.0), height_m=0.0, times=noon).azimuth_deg[0]
    assert min(azimuth, 360.0 - azimuth) < 0.05  # the sun stands north at noon


@given(
    st.floats(-180, 180), st.floats(-90, 90), st.dates(date(1900, 1, 1), date(2050, 12, 31)),
    st.floats(-12, -4), st.floats(0, 4000),
)  # fmt: skip
@settings(max_examples=25, deadline=None)
def test_light_of_any_day_anywhere(lon, lat, day, usable, height):
    place = LonLat(lon, lat)
    try:
        light = light_of_day(place, day, usable_sun_deg=usable, height_m=height)
    except BadInput as error:
        assert "crossed the date line" in str(error)  # noqa: PT017
        return
    before = [m for m in (light.nautical_dawn, light.civil_dawn, light.sunrise) if m]
    after = [m for m in (light.sunset, light.civil_dusk, light.nautical_dusk) if m]
    assert before == sorted(before)
    assert after == sorted(after)
    assert all(timedelta(0) <= light.noon - m <= timedelta(hours=12, seconds=1) for m in before)
    assert all(timedelta(0) <= m - light.noon <= timedelta(hours=12, seconds=1) for m in after)


def test_noon_is_on_the_meridian():
    noon = solar_noon(HIGH, date(2026, 8, 27))
    path = sun_path(HIGH, height_m=0.0, times=np.array([noon]))
    assert abs(path.hour_angle_deg[0]) < 1e-5
    assert path.azimuth_deg[0] == pytest.approx(180.0, abs=1e-4)


@pytest.mark.parametrize("day", [date(2024, 12, 31), date(2030, 1, 2), date(1900, 1, 1)])
def test_no_bearing_outside_the_model(day):
    assert declination(HIGH, height_m=2500.0, day=day) is None


def test_first_and_last_day_of_the_model():
    assert declination(HIGH, height_m=2500.0, day=date(2025, 1, 1)).deg == pytest.approx(10.4, abs=0.2)
    assert declination(HIGH, height_m=2500.0, day=date(2030, 1, 1)).date == date(2030, 1, 1)


@pytest.mark.parametrize("height", [-1001.0, 900_000.0, float("nan")])
def test_height_outside_the_model(height):
    with pytest.raises(BadInput, match="magnetic model"):
        declination(HIGH, height_m=height, day=date(2026, 8, 27))


@given(
    st.floats(-180, 180),
    st.floats(-90, 90),
    st.floats(-500, 9000),
    st.dates(date(2025, 1, 1), date(2030, 1, 1)),
)
@settings(max_examples=60, deadline=None)
def test_declination_anywhere(lon, lat, height, day):
    found = declination(LonLat(lon, lat), height_m=height, day=day)
    assert found is None or -180.0 <= found.deg <= 180.0

"""How quantities are said at the edge."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from graylight import units
from graylight.errors import BadInput


def test_exact_definitions():
    """International foot 0.3048 m, mile 1609.344 m, acre 4046.8564224 m2 (NIST SP 811, appendix B)."""
    assert units.FOOT_M == 0.3048
    assert pytest.approx(1609.344, rel=1e-12) == units.MILE_M
    assert pytest.approx(4046.8564224, rel=1e-12) == units.ACRE_M2


@pytest.mark.parametrize(
    ("metres", "us", "metric"),
    [
        (3121.2, "10,240 ft", "3,120 m"),
        (0.0, "0 ft", "0 m"),
        (-86.0, "-280 ft", "-85 m"),
        (304.8, "1,000 ft", "305 m"),
    ],
)
def test_height(metres, us, metric):
    assert units.height(metres, "us") == us
    assert units.height(metres, "metric") == metric


@pytest.mark.parametrize(
    ("metres", "us", "metric"),
    [
        (0.0, "under 10 yd", "under 10 m"),
        (320.0, "350 yd", "320 m"),
        (804.0, "0.5 mi", "800 m"),
        (1290.0, "0.8 mi", "1.3 km"),
        (998.0, "0.6 mi", "1.0 km"),
        (1609.344, "1.0 mi", "1.6 km"),
        (30_000.0, "19 mi", "30 km"),
    ],
)
def test_distance(metres, us, metric):
    assert units.distance(metres, "us") == us
    assert units.distance(metres, "metric") == metric


@pytest.mark.parametrize(
    ("square_metres", "us", "metric"),
    [
        (1_000.0, "under 1 acre", "under 1 hectare"),
        (4_046.9, "1 acre", "under 1 hectare"),
        (243_000.0, "60 acres", "25 hectares"),
        (1_050_000.0, "260 acres", "110 hectares"),
        (144e6, "55 square miles", "140 square kilometres"),
    ],
)
def test_area(square_metres, us, metric):
    assert units.area(square_metres, "us") == us
    assert units.area(square_metres, "metric") == metric


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (7900, 10000, "2 h 10 to 2 h 50"),
        (7800, 10200, "2 h 10 to 2 h 50"),
        (7800, 7800, "about 2 h 10"),
        (7200, 10800, "2 h to 3 h"),
        (600, 1500, "10 to 25 min"),
        (3100, 4700, "50 min to 1 h 20"),
        (120, 290, "up to 5 min"),
        (0, 0, "under 5 min"),
        (3300, 3590, "55 min to 1 h"),
    ],
)
def test_duration_range(low, high, words):
    assert units.duration_range(low, high) == words


@given(low=st.floats(0, 80_000), more=st.floats(0, 20_000))
def test_a_range_of_time_never_shuts_out_what_it_stands_for(low, more):
    words = units.duration_range(low, low + more)
    minutes = [_minutes(part) for part in re.split(" to ", re.sub("^(about|under|up to) ", "", words))]
    if words.startswith("about "):
        assert abs(minutes[0] - low / 60) <= 1e-6 + 10
    elif not words.startswith("under"):
        first = 0 if words.startswith("up to") else minutes[0]
        assert first <= low / 60 + 1e-6
        assert minutes[-1] >= (low + more) / 60 - 1e-6


def _minutes(words: str) -> int:
    if "h" not in words:
        return int(words.removesuffix(" min"))
    hours, _, rest = words.partition(" h")
    return 60 * int(hours) + int(rest or 0)


def test_duration():
    assert units.duration(7900) == "about 2 h 10"
    assert units.duration(1500) == "about 25 min"
    assert units.duration(60) == "under 5 min"


@pytest.mark.parametrize(
    ("fraction", "words"),
    [
        (0.0, "none"),
        (0.001, "under 5 %"),
        (0.03, "about 5 %"),
        (0.58, "about 60 %"),
        (0.97, "about 95 %"),
        (1.0, "over 95 %"),
    ],
)
def test_share(fraction, words):
    assert units.share(fraction) == words


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (0.46, 0.71, "45 to 70 %"),
        (0.58, 0.61, "about 60 %"),
        (0.0, 0.09, "up to 10 %"),
        (0.0, 0.0, "none"),
        (0.0, 0.01, "under 5 %"),
        (0.9, 1.0, "90 to 100 %"),
    ],
)
def test_share_range(low, high, words):
    assert units.share_range(low, high) == words


@given(low=st.floats(0, 1), high=st.floats(0, 1))
def test_shares_are_told_in_fives(low, high):
    words = units.share_range(min(low, high), max(low, high))
    assert all(int(number) % 5 == 0 for number in re.findall(r"\d+", words))
    assert "." not in words


def test_bearings():
    assert units.bearing(243.4, "magnetic") == "243° magnetic"
    assert units.bearing(359.7, "true") == "0° true"
    assert units.bearings(253.7, 243.4) == "243° magnetic (254° true)"
    assert units.bearings(253.7, None) == "254° true (no magnetic bearing)"


@pytest.mark.parametrize(
    ("azimuth", "word"),
    [
        (0, "north"),
        (22.4, "north"),
        (22.6, "north-east"),
        (90, "east"),
        (225, "south-west"),
        (359, "north"),
        (-45, "north-west"),
    ],
)
def test_compass(azimuth, word):
    assert units.compass(azimuth) == word


UTC = dt.UTC


@pytest.mark.parametrize(
    ("when", "zone", "words"),
    [
        (dt.datetime(2026, 8, 27, 11, 38, 20, tzinfo=UTC), "America/Denver", "05:38 MDT"),
        (dt.datetime(2026, 12, 27, 11, 38, 40, tzinfo=UTC), "America/Denver", "04:39 MST"),
        (dt.datetime(2026, 8, 27, 11, 38, 0, tzinfo=UTC), "America/Phoenix", "04:38 MST"),
        (dt.datetime(2026, 8, 27, 11, 38, 0, tzinfo=UTC), "America/Argentina/Ushuaia", "08:38 UTC-03"),
        (dt.datetime(2026, 8, 27, 11, 38, 0, tzinfo=UTC), "Asia/Kathmandu", "17:23 UTC+0545"),
        (dt.datetime(2026, 11, 1, 7, 59, 50, tzinfo=UTC), "America/Denver", "01:00 MST"),
        (dt.datetime(2026, 11, 1, 6, 59, 50, tzinfo=UTC), "America/Denver", "01:00 MDT"),
    ],
)
def test_clock_always_says_its_zone(when, zone, words):
    assert units.clock(when, zone) == words


def test_a_time_to_leave_by_is_never_made_later():
    when = dt.datetime(2026, 8, 27, 8, 43, 55, tzinfo=UTC)
    assert units.clock(when, "America/Denver", step_minutes=5, way="earlier") == "02:40 MDT"
    assert units.clock(when, "America/Denver", step_minutes=5) == "02:45 MDT"


def test_files_that_anybody_reads_have_both_units():
    """1609.344 m to the mile, 0.3048 m to the foot: international foot, exact by definition (1959)."""
    assert units.both_units("a cliff 12 m high; steep for 3218.688 m; on a 10 m grid") == (
        "a cliff 40 ft (12 m) high; steep for 2.0 mi (3218.688 m); on a 10 m grid"
    )


def test_what_is_refused_gives_its_lengths_in_the_listeners_units():
    def fail(listeners):
        with units.refused_in(listeners):
            raise BadInput("it lies 350 m off; accepted is 1609 m")

    with pytest.raises(BadInput, match=r"^it lies 380 yd off; accepted is 1\.0 mi$"):
        fail("us")
    with pytest.raises(BadInput, match=r"^it lies 350 m off; accepted is 1609 m$"):
        fail("metric")

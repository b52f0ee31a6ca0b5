"""How places are typed and written."""

from __future__ import annotations

import mgrs
import pytest

from graylight.errors import BadInput
from graylight.grid import LonLat, distance_m
from graylight.place import read_place, write_place

HERE = LonLat(-111.5, 39.3)

SAME_PLACE = [
    "39.30, -111.50",
    "39.3 -111.5",
    "39.3,-111.5",
    "+39.3 -111.5",
    "39.3-111.5",
    "39.3N 111.5W",
    "39.3 n, 111.5 w",
    "N39.3 W111.5",
    "39.3N111.5W",
    "39.3° N, 111.5° W",
    "39.3°, -111.5°",
    "39.3º N 111.5˚ W",
    "111.5W 39.3N",
    "lat 39.3, lon -111.5",
    "Latitude: 39.3 Longitude: -111.5",
    "39.3 north 111.5 west",
    "39 18.0 N 111 30.0 W",
    "39 18.0 N, 111 30.0 W",
    "39°18.000'N, 111°30.000'W",
    "39°18.000′N, 111°30.000′W",
    "39° 18’ N 111° 30’ W",
    "N 39° 18.000' W 111° 30.000'",
    "39 18.0, -111 30.0",
    "39 18.0 -111 30.0",
    "39°18' -111°30'",
    "39 deg 18 min N, 111 deg 30 min W",
    "39 deg 18 min 0 sec N, 111 deg 30 min 0 sec W",
    "39 18 00 N, 111 30 00 W",
    "39°18'00\"N 111°30'00\"W",
    "39°18′00″N 111°30′00″W",
    "39°18'00''N 111°30'00''W",
    "39.3, −111.5",
    "  39.3 ,\t-111.5\n",
    "39.3;-111.5",
]


@pytest.mark.parametrize("text", SAME_PLACE)
def test_degrees_in_many_dresses(text):
    assert read_place(text) == pytest.approx(HERE, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "lat", "lon"),
    [
        ("-39.3, 111.5", -39.3, 111.5),
        ("39.3S 111.5E", -39.3, 111.5),
        ("-0 30.0, 0 0.6", -0.5, 0.01),
        ("0.0, -180", 0.0, -180.0),
        ("90 0", 90.0, 0.0),
        ("33 51 24.48 S, 151 12 54 E", -(33 + 51 / 60 + 24.48 / 3600), 151.215),
    ],
)
def test_signs_and_letters(text, lat, lon):
    place = read_place(text)
    assert (place.lat, place.lon) == pytest.approx((lat, lon), abs=1e-12)


@pytest.mark.parametrize(
    "text",
    [
        "12S 456887 4350188",
        "12s 456887 4350188",
        "12 S 456887mE 4350188mN",
        "12S 456887E 4350188N",
        "12S 0456887 4350188",
        "12S, 456887, 4350188",
        "12S456887 4350188",
        "UTM 12S 456887 4350188",
        "12N 456887 4350188",
        "12 north 456887 4350188",
        "12S 456887.0 4350188.2",
    ],
)
def test_utm_in_many_dresses(text):
    assert distance_m(read_place(text), HERE) < 1.0


def test_the_letter_s_of_utm():
    """S is band S (32-40 N) where the northing fits, else the south; 'south' is always the south."""
    assert read_place("19S 500000 4400000").lat == pytest.approx(39.75, abs=0.01)
    assert read_place("19 south 500000 4400000").lat == pytest.approx(-50.55, abs=0.01)
    assert read_place("19S 500000 5500000").lat == pytest.approx(-40.65, abs=0.01)
    assert read_place("19F 500000 4400000").lat == pytest.approx(-50.55, abs=0.01)


def test_the_letter_n_of_utm():
    """N is band N (0-8 N) and the northern hemisphere at once: there is no trap."""
    assert read_place("31N 500000 400000").lat == pytest.approx(3.6, abs=0.05)
    assert read_place("31N 500000 5000000").lat == pytest.approx(45.15, abs=0.01)


def test_utm_against_a_published_pair():
    """CN Tower, Toronto: 43 38 33.24 N 79 23 13.7 W, 17T 630084 4833438 (from memory)."""
    published = LonLat(-(79 + 23 / 60 + 13.7 / 3600), 43 + 38 / 60 + 33.24 / 3600)
    assert distance_m(read_place("17T 630084mE 4833438mN"), published) < 1.0
    zone, east, north = write_place(published, "utm").split()
    assert zone == "17T"
    assert (int(east), int(north)) == pytest.approx((630084, 4833438), abs=1)


def test_square_against_a_published_pair():
    """Washington Monument, 38.8895 N 77.0353 W: 18S UJ 23483 06479 (FGDC-STD-011-2001, from memory)."""
    place = read_place("18S UJ 23483 06479")
    assert (place.lat, place.lon) == pytest.approx((38.8895, -77.0353), abs=1e-4)
    assert write_place(place, "usng") == "18S UJ 2348 0647"


@pytest.mark.parametrize(
    ("text", "middle"),
    [
        ("12SVJ 56887 50188", "12SVJ5688750188"),
        ("12SVJ5688750188", "12SVJ5688750188"),
        ("12svj 5688 5018", "12SVJ5688550185"),
        ("12S VJ 568 501", "12SVJ5685050150"),
        ("MGRS: 12S VJ 56 50", "12SVJ5650050500"),
        ("USNG 12SVJ 5 5", "12SVJ5500055000"),
        ("12SVJ", "12SVJ5000050000"),
    ],
)
def test_squares_of_any_precision_give_their_middle(text, middle):
    """The MGRS library (GEOTRANS) says where the square of 1 m lies that touches the middle."""
    lat, lon = mgrs.MGRS().toLatLon(middle)
    assert distance_m(read_place(text), LonLat(lon, lat)) < 1.5


REFUSED = [
    ("", "no form"),
    ("the big rock", "no form"),
    ("39.3", "not clear"),
    ("39.3N", "letter"),
    ("39.3, 111.5W", "letter"),
    ("39.3N 40.1N", "one latitude"),
    ("-111.5, 39.3", "beyond 90"),
    ("91N 20E", "beyond 90"),
    ("39.3, -190", "beyond 180"),
    ("39 18 111 30", "not clear"),
    ("39,3 -111,5", "comma"),
    ("-39.3N 111.5W", "sign"),
    ("39 75 N 111 30 W", "below 60"),
    ("39 18 60 N 111 30 0 W", "below 60"),
    ("39.5 18 N 111 30 W", "decimals"),
    ("39'18 N 111 30 W", "mark"),
    ("39 18 0 0 N 111 30 W", "one to three"),
    ("N39.3 111.5W", "decimals"),
    ("N W 39.3 111.5", "one to three"),
    ("lon -111.5, lat 39.3", "latitude is wanted first"),
    ("12T 456789 4350123", "band T"),
    ("12O 456789 4350123", "no latitude band"),
    ("61N 456789 4350123", "zone 61"),
    ("12 456789 4350123", "hemisphere"),
    ("12S 56789 4350123", "outside a UTM zone"),
    ("12S 4350123 456789", "easting comes first"),
    ("12 north 456789 9900000", "not defined"),
    ("12SVJ 567 5012", "as many digits"),
    ("12SVJ 567", "shared"),
    ("12SVJ 567890 501234", "five at most"),
    ("12SAJ 5678 5012", "square AJ"),
    ("12SVI 5678 5012", "square VI"),
    ("12IVJ 5678 5012", "no zone"),
    ("12TVE 5678 5012", "band T"),
    ("YXK 12345 67890", "polar"),
    ("nan, nan", "no form"),
    ("1e2, 3", "letter"),
    ("inf 3", "no form"),
    ("39.3, -111.5, 3000", "comma"),
    ("٣٩.٣, 11", "no form"),
]


@pytest.mark.parametrize(("text", "why"), REFUSED)
def test_what_is_refused_and_why(text, why):
    with pytest.raises(BadInput) as caught:
        read_place(text)
    message = str(caught.value)
    assert why in message
    assert text[:50].strip() in message or repr(text) in message
    assert "39.30, -111.50" in message
    assert "12SVJ 56789 50123" in message
    assert "\n" not in message
    assert caught.value.exit_code == 2


def test_a_very_long_text_is_not_repeated_whole():
    with pytest.raises(BadInput) as caught:
        read_place("9" * 5000)
    assert len(str(caught.value)) < 700


def test_written_forms():
    assert write_place(HERE, "degrees") == "39.30000, -111.50000"
    assert write_place(HERE, "minutes") == "39°18.000'N, 111°30.000'W"
    assert write_place(HERE, "utm") == "12S 456887 4350188"
    assert write_place(HERE, "usng") == "12S VJ 5688 5018"


def test_rounding_carries_and_no_minus_zero_is_written():
    assert write_place(LonLat(-1e-9, -1e-9), "degrees") == "0.00000, 0.00000"
    assert write_place(LonLat(-1e-9, 39.9999999), "minutes") == "40°00.000'N, 0°00.000'E"


@pytest.mark.parametrize("form", ["utm", "usng"])
def test_no_utm_near_the_poles(form):
    with pytest.raises(BadInput, match="polar"):
        write_place(LonLat(10.0, 85.0), form)
    assert write_place(LonLat(10.0, 85.0), "degrees") == "85.00000, 10.00000"


def test_unknown_form_is_refused():
    with pytest.raises(BadInput, match="usng"):
        write_place(HERE, "grid")  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("place", "zone"),
    [
        (LonLat(5.0, 60.0), "32V"),
        (LonLat(2.9, 60.0), "31V"),
        (LonLat(8.0, 78.0), "31X"),
        (LonLat(10.0, 78.0), "33X"),
        (LonLat(22.0, 78.0), "35X"),
        (LonLat(40.0, 78.0), "37X"),
        (LonLat(180.0, 10.0), "1P"),
        (LonLat(-180.0, 10.0), "1P"),
        (LonLat(20.0, 84.0), "33X"),
        (LonLat(20.0, -80.0), "34C"),
    ],
)
def test_odd_zones(place, zone):
    """Norway and Svalbard as the MGRS library has them, the date line, the ends of the bands."""
    assert write_place(place, "utm").split()[0] == zone
    square = mgrs.MGRS().toMGRS(place.lat, place.lon, MGRSPrecision=4)
    assert square.lstrip("0").startswith(zone)
    assert distance_m(read_place(write_place(place, "usng")), place) < 7.2

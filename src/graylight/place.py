"""How places are typed and written: degrees, minutes, seconds, UTM, and the squares of MGRS and USNG.

Everything is WGS 84. Latitude comes first unless letters say otherwise. Nothing is guessed: what can be
read in two ways is refused, with one exception that is stated in `read_place` (the letter S of UTM).
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from functools import lru_cache
from typing import Literal, NamedTuple, TypeAlias

from pyproj import Transformer

from graylight.errors import BadInput
from graylight.grid import LonLat

__all__ = ["PlaceForm", "read_place", "write_place"]

PlaceForm: TypeAlias = Literal["degrees", "minutes", "utm", "usng"]

ACCEPTED = (
    'degrees "39.30, -111.50" or "39.30N 111.50W", '
    'degrees and minutes "39 18.0 N, 111 30.0 W", '
    'degrees, minutes and seconds "39 18 00 N, 111 30 00 W", '
    'UTM "12S 456789 4350123" (zone and band, or "12 north"), '
    'MGRS or USNG "12SVJ 56789 50123"; all WGS 84, latitude first'
)

BANDS = "CDEFGHJKLMNPQRSTUVWX"
"""Latitude bands of 8 degrees from 80 S; the last, X, is 12 degrees high. I and O are left out."""

COLUMNS = ("STUVWXYZ", "ABCDEFGH", "JKLMNPQR")
"""Letters of the 100 km columns, by zone modulo 3, from 100 km east (WGS 84 lettering)."""

ROWS = "ABCDEFGHJKLMNPQRSTUV"
"""Letters of the 100 km rows, in turn every 2000 km from the equator; even zones begin at F."""

BAND_SLACK_DEG = 0.01
"""How far a typed coordinate may lie outside its band: whole metres round over the edge, and maps overlap."""


def read_place(text: str) -> LonLat:
    """Read a place as people type it or copy it from a receiver or a map.

    Parameters
    ----------
    text
        Decimal degrees, degrees and minutes, degrees, minutes and seconds, UTM, or MGRS/USNG of any
        precision (the middle of the square is taken). Signs or letters, before or after; commas or none;
        lower case; typographic primes and minus signs.

    Returns
    -------
    LonLat
        WGS 84 degrees. The datum is not asked: coordinates from old maps (NAD27) lie tens to hundreds
        of metres off and must be converted first.

    Raises
    ------
    BadInput
        The text can't be read, can be read in two ways, or contradicts itself (a band letter that does
        not fit the northing, 75 minutes, a minus sign and a letter).

    Notes
    -----
    The letter after a UTM zone is read as the latitude band, as on maps and in MGRS. Some programs write
    N or S for the hemisphere instead. Where the northing does not fit band N (0-8 N) or band S (32-40 N),
    the letter is taken as the hemisphere. What is left is "S" with a northing of about 3,540,000 to
    4,430,000: that is read as band S, north of the equator; for the south write "12 south".

    Examples
    --------
    >>> read_place("39°18.000'N, 111°30.000'W")
    LonLat(lon=-111.5, lat=39.3)
    """
    plain = _plain(text)
    for reader in (_read_utm, _read_square, _read_degrees):
        place = reader(plain, text)
        if place is not None:
            return LonLat(place.lon + 0.0, place.lat + 0.0)
    raise _unreadable(text, "it fits no form of coordinates")


def write_place(place: LonLat, form: PlaceForm) -> str:
    """Write a place so that `read_place` reads it back.

    Parameters
    ----------
    place
        WGS 84 degrees.
    form
        'degrees': five places, about 1.1 m; 'minutes': three places, about 1.9 m; 'utm': zone, band and
        whole metres; 'usng': eight digits, the square of 10 m that holds the place (cut, not rounded).

    Raises
    ------
    BadInput
        UTM and USNG beyond 84 N or 80 S, where they are not defined.

    Examples
    --------
    >>> write_place(LonLat(-111.5, 39.3), "minutes")
    "39°18.000'N, 111°30.000'W"
    """
    writers: dict[str, Callable[[LonLat], str]] = {
        "degrees": _write_degrees,
        "minutes": _write_minutes,
        "utm": _write_utm,
        "usng": _write_usng,
    }
    if form not in writers:
        raise BadInput(f"unknown form of place {form!r}; accepted are {', '.join(writers)}")
    return writers[form](place)


def _unreadable(text: str, why: str) -> BadInput:
    shown = text if len(text) <= 60 else text[:57] + "..."
    return BadInput(f"the place {shown!r} can't be read: {why}; accepted are {ACCEPTED}")


_PLAIN = str.maketrans(
    {
        **dict.fromkeys("′’‘´`ʹʼ‵", "'"),
        **dict.fromkeys("″”“„ʺ‶", '"'),
        **dict.fromkeys("º˚∘", "°"),
        **dict.fromkeys("−–—‐‑‒", "-"),
        **dict.fromkeys(";\uff0c\u060c", ","),
    }
)


def _plain(text: str) -> str:
    """Capitals, plain signs, single spaces."""
    plain = text.translate(_PLAIN).replace("''", '"')
    return " ".join(plain.upper().split())


# --- UTM ---------------------------------------------------------------------------------------------

_UTM = re.compile(
    r"(?P<zone>\d{1,2}) ?(?:(?P<letter>NORTH|SOUTH|[A-Z])[ ,]*|[ ,]+)"
    r"(?P<east>\d{5,7}(?:\.\d+)?) ?(?:M? ?E)?[ ,]+(?P<north>\d{1,8}(?:\.\d+)?) ?(?:M? ?N)?",
    re.ASCII,
)


def _read_utm(plain: str, text: str) -> LonLat | None:
    found = _UTM.fullmatch(plain.removeprefix("UTM").removeprefix(":").strip())
    if found is None:
        return None
    zone, letter = int(found["zone"]), found["letter"]
    east, north = float(found["east"]), float(found["north"])
    if not 1 <= zone <= 60:
        raise _unreadable(text, f"UTM zone {zone} does not exist (1 to 60)")
    if not 100_000 <= east <= 900_000 or north > 10_000_000:
        raise _unreadable(
            text, f"easting {east:.0f}, northing {north:.0f} lie outside a UTM zone (easting comes first)"
        )
    if letter is None:
        raise _unreadable(
            text, "the UTM zone has no letter, so the hemisphere is open; write the band or 'north'"
        )
    return _utm_place(zone, letter, east, north, text)


def _utm_place(zone: int, letter: str, east: float, north: float, text: str) -> LonLat:
    if letter in ("NORTH", "SOUTH"):
        return _hemisphere_place(zone, letter == "NORTH", east, north, text)
    if letter not in BANDS:
        raise _unreadable(text, f"{letter} is no latitude band ({BANDS[0]} to {BANDS[-1]} without I and O)")
    place = _from_utm(zone, letter >= "N", east, north)
    if _in_band(place.lat, letter):
        return place
    if letter in "NS":
        return _hemisphere_place(zone, letter == "N", east, north, text)
    low, high = _band_span(letter)
    raise _unreadable(
        text,
        f"band {letter} runs from latitude {low:g} to {high:g}, but northing {north:.0f} lies at latitude "
        f"{place.lat:.2f}, so a digit or the letter is wrong",
    )


def _hemisphere_place(zone: int, northern: bool, east: float, north: float, text: str) -> LonLat:
    place = _from_utm(zone, northern, east, north)
    if not -80.0 - BAND_SLACK_DEG <= place.lat <= 84.0 + BAND_SLACK_DEG:
        raise _unreadable(
            text, f"northing {north:.0f} lies at latitude {place.lat:.1f}, where UTM is not defined"
        )
    return place


def _band_span(band: str) -> tuple[float, float]:
    low = -80.0 + 8.0 * BANDS.index(band)
    return low, 84.0 if band == "X" else low + 8.0


def _in_band(lat: float, band: str, slack_deg: float = BAND_SLACK_DEG) -> bool:
    low, high = _band_span(band)
    return low - slack_deg <= lat <= high + slack_deg


@lru_cache(maxsize=16)
def _utm_to_lonlat(zone: int, northern: bool) -> Transformer:
    return Transformer.from_crs(_utm_code(zone, northern), "EPSG:4326", always_xy=True)


@lru_cache(maxsize=16)
def _lonlat_to_utm(zone: int, northern: bool) -> Transformer:
    return Transformer.from_crs("EPSG:4326", _utm_code(zone, northern), always_xy=True)


def _utm_code(zone: int, northern: bool) -> str:
    return f"EPSG:{(32600 if northern else 32700) + zone}"


def _from_utm(zone: int, northern: bool, east: float, north: float) -> LonLat:
    lon, lat = _utm_to_lonlat(zone, northern).transform(east, north)
    if not (math.isfinite(lon) and math.isfinite(lat)):
        raise BadInput(f"UTM {zone} {east:.0f} {north:.0f} lies nowhere on the globe; check the digits")
    return LonLat(lon, lat)


# --- MGRS and USNG -----------------------------------------------------------------------------------

_SQUARE = re.compile(
    r"(?P<zone>\d{1,2}) ?(?P<band>[A-Z]) ?(?P<col>[A-Z])(?P<row>[A-Z]) ?(?P<first>\d*)[ ,]*(?P<second>\d*)",
    re.ASCII,
)


class _Square(NamedTuple):
    """A square of the grid: its south-west corner within its 100 km square, and its side, in metres."""

    zone: int
    band: str
    col: str
    row: str
    east: float
    north: float
    side: float


def _read_square(plain: str, text: str) -> LonLat | None:
    stripped = re.sub(r"^(?:MGRS|USNG)\s*:?\s*", "", plain)
    found = _SQUARE.fullmatch(stripped)
    if found is None:
        if re.fullmatch(r"[ABYZ] ?[A-Z]{2} ?\d[\d ]*", stripped):
            raise _unreadable(text, "squares of the polar areas (UPS) are not read")
        return None
    first, second = _halves(found["first"], found["second"], text)
    side = 10.0 ** (5 - len(first))
    square = _Square(
        int(found["zone"]),
        found["band"],
        found["col"],
        found["row"],
        east=int(first or 0) * side,
        north=int(second or 0) * side,
        side=side,
    )
    return _square_middle(square, text)


def _halves(first: str, second: str, text: str) -> tuple[str, str]:
    """Easting and northing digits of a square, typed in one run or in two."""
    if not second:
        half, odd = divmod(len(first), 2)
        if odd:
            raise _unreadable(text, f"{len(first)} digits can't be shared between easting and northing")
        first, second = first[:half], first[half:]
    if len(first) != len(second) or len(first) > 5:
        raise _unreadable(text, "easting and northing of a square need as many digits each, five at most")
    return first, second


def _square_middle(square: _Square, text: str) -> LonLat:
    if not 1 <= square.zone <= 60 or square.band not in BANDS:
        raise _unreadable(text, f"there is no zone {square.zone}{square.band} (zones 1 to 60, bands C to X)")
    columns = COLUMNS[square.zone % 3]
    if square.col not in columns or square.row not in ROWS:
        raise _unreadable(text, f"square {square.col}{square.row} does not exist in zone {square.zone}")
    east = (columns.index(square.col) + 1) * 100_000.0 + square.east + square.side / 2
    north = _row_index(square.row, square.zone) * 100_000.0 + square.north + square.side / 2
    # A square of 100 km may reach over the edge of its band, and its middle with it.
    slack = BAND_SLACK_DEG + square.side / 111_000.0
    for turn in range(
        6
    ):  # the rows begin anew every 2000 km; the sixth turn is the equator seen from the south
        place = _from_utm(square.zone, square.band >= "N", east, north + turn * 2_000_000.0)
        if _in_band(place.lat, square.band, slack):
            return place
    raise _unreadable(text, f"square {square.col}{square.row} does not lie in band {square.band}")


def _row_index(letter: str, zone: int) -> int:
    return (ROWS.index(letter) - _row_start(zone)) % len(ROWS)


def _row_start(zone: int) -> int:
    return 5 if zone % 2 == 0 else 0


# --- degrees -----------------------------------------------------------------------------------------

_TOKEN = re.compile(
    r"(?P<number>[+-]?\d+(?:\.\d*)?)|(?P<unit>[°'\"])|(?P<letter>[NSEW])|(?P<comma>,)|\s+", re.ASCII
)
_WORDS = re.compile(r"LATITUDE|LONGITUDE|LAT\b|LON\b|LONG\b|LNG\b|[:=()]")
_LONG = {"NORTH": "N", "SOUTH": "S", "EAST": "E", "WEST": "W", "DEGREES": "°", "DEG": "°", "MINUTES": "'",
         "MIN": "'", "SECONDS": '"', "SEC": '"'}  # fmt: skip
_SIGN_OF = {"N": 1, "E": 1, "S": -1, "W": -1}


class _Token(NamedTuple):
    kind: str
    text: str


_Half: TypeAlias = list[_Token]


def _read_degrees(plain: str, text: str) -> LonLat | None:
    for long, short in _LONG.items():
        plain = re.sub(rf"\b{long}\b|(?<=\d){long}\b", short, plain)
    if re.search(r"\bLON\w*.*\bLAT", plain):
        raise _unreadable(text, "longitude stands first; latitude is wanted first")
    tokens = _tokens(_WORDS.sub(" ", plain))
    if tokens is None or not any(t.kind == "number" for t in tokens):
        return None
    halves = [_angle(half, text) for half in _split(tokens, text)]
    if halves[0][1] in ("E", "W"):
        halves.reverse()
    (lat, lat_letter), (lon, lon_letter) = halves
    if lat_letter in ("E", "W") or lon_letter in ("N", "S"):
        raise _unreadable(text, "one latitude (N or S) and one longitude (E or W) are wanted")
    if abs(lat) > 90.0:
        raise _unreadable(text, f"latitude {lat:g} lies beyond 90 degrees (latitude comes first)")
    if abs(lon) > 180.0:
        raise _unreadable(text, f"longitude {lon:g} lies beyond 180 degrees")
    return LonLat(lon, lat)


def _tokens(plain: str) -> list[_Token] | None:
    tokens, at = [], 0
    while at < len(plain):
        found = _TOKEN.match(plain, at)
        if found is None:
            return None
        if found.lastgroup is not None:
            tokens.append(_Token(found.lastgroup, found.group()))
        at = found.end()
    return tokens


def _split(tokens: list[_Token], text: str) -> tuple[_Half, _Half]:
    """Where the first coordinate ends: at letters, a comma, a second sign, or a second degree mark."""
    letters = [i for i, t in enumerate(tokens) if t.kind == "letter"]
    commas = [i for i, t in enumerate(tokens) if t.kind == "comma"]
    if len(commas) > 1:
        raise _unreadable(text, "there is more than one comma (decimals take a point)")
    if letters and len(letters) != 2:
        raise _unreadable(text, "either both coordinates have a letter or none has")
    cut = _cut(tokens, letters, commas)
    if cut is None:
        raise _unreadable(
            text, "it is not clear where latitude ends and longitude begins; put a comma or letters"
        )
    halves = [t for t in tokens[:cut] if t.kind != "comma"], [t for t in tokens[cut:] if t.kind != "comma"]
    for half in halves:
        if letters and sum(t.kind == "letter" for t in half) != 1:
            raise _unreadable(text, "letters stand before both coordinates or after both")
    return halves


def _cut(tokens: list[_Token], letters: list[int], commas: list[int]) -> int | None:
    if commas:
        return commas[0]
    if letters:
        return letters[1] if letters[0] == 0 else letters[0] + 1
    numbers = [i for i, t in enumerate(tokens) if t.kind == "number"]
    if len(numbers) == 2:
        return numbers[1]
    signed = [i for i in numbers[1:] if tokens[i].text[0] in "+-"]
    if len(signed) == 1:
        return signed[0]
    degrees = [i for i, t in enumerate(tokens) if t.text == "°"]
    return degrees[1] - 1 if len(degrees) == 2 else None


def _angle(half: _Half, text: str) -> tuple[float, str | None]:
    """One coordinate: signed degrees and its letter, if it has one."""
    letter = next((t.text for t in half if t.kind == "letter"), None)
    if letter and half[0].kind != "letter" and half[-1].kind != "letter":
        raise _unreadable(text, "a letter stands in the middle of a coordinate")
    numbers = [t.text for t in half if t.kind == "number"]
    if not 1 <= len(numbers) <= 3:
        raise _unreadable(text, "each coordinate has one to three numbers: degrees, minutes, seconds")
    _check_units(half, text)
    if any(n[0] in "+-" for n in numbers[1:]) or (letter and numbers[0][0] in "+-"):
        raise _unreadable(text, "a sign belongs before the degrees, and not beside a letter")
    if any("." in n for n in numbers[:-1]):
        raise _unreadable(text, "only the last number of a coordinate may have decimals")
    parts = [abs(float(n)) for n in numbers]
    if any(part >= 60.0 for part in parts[1:]):
        raise _unreadable(text, "minutes and seconds run from 0 to below 60")
    size = sum(part / 60.0**i for i, part in enumerate(parts))
    negative = numbers[0][0] == "-" or (letter is not None and _SIGN_OF[letter] < 0)
    return (-size if negative else size), letter


def _check_units(half: _Half, text: str) -> None:
    """Marks, where typed, must stand in the order degrees, minutes, seconds, each after its own number."""
    count = 0
    for token in half:
        if token.kind == "number":
            count += 1
        elif token.kind == "unit" and (count == 0 or token.text != "°'\""[count - 1]):
            raise _unreadable(text, f"the mark {token.text} stands in the wrong place")


# --- writing -----------------------------------------------------------------------------------------


def _write_degrees(place: LonLat) -> str:
    return f"{round(place.lat, 5) + 0.0:.5f}, {round(place.lon, 5) + 0.0:.5f}"


def _write_minutes(place: LonLat) -> str:
    return f"{_minutes(place.lat, 'NS')}, {_minutes(place.lon, 'EW')}"


def _minutes(angle: float, letters: str) -> str:
    thousandths = round(abs(angle) * 60_000)
    degrees, rest = divmod(thousandths, 60_000)
    letter = letters[1] if angle < 0 and thousandths else letters[0]
    return f"{degrees}°{rest // 1000:02d}.{rest % 1000:03d}'{letter}"


def _write_utm(place: LonLat) -> str:
    zone, band, east, north = _utm_of(place)
    return f"{zone}{band} {round(east):06d} {round(north):07d}"


def _write_usng(place: LonLat) -> str:
    zone, band, east, north = _utm_of(place)
    # A micrometre up: a whole UTM coordinate comes back from degrees a hair below itself.
    tens_east, tens_north = int((east + 1e-6) // 10), int((north + 1e-6) // 10)
    col = COLUMNS[zone % 3][tens_east // 10_000 - 1]
    row = ROWS[(tens_north // 10_000 + _row_start(zone)) % len(ROWS)]
    return f"{zone}{band} {col}{row} {tens_east % 10_000:04d} {tens_north % 10_000:04d}"


def _utm_of(place: LonLat) -> tuple[int, str, float, float]:
    if not -80.0 <= place.lat <= 84.0:
        raise BadInput(
            f"latitude {place.lat:.3f} lies in the polar areas; accepted is 80 S to 84 N, where UTM is "
            "defined; write the place in degrees"
        )
    zone, band = _zone(place), BANDS[min(int((place.lat + 80.0) // 8.0), len(BANDS) - 1)]
    east, north = _lonlat_to_utm(zone, band >= "N").transform(place.lon, place.lat)
    return zone, band, east, north


_SVALBARD = ((9.0, 31), (21.0, 33), (33.0, 35), (42.0, 37))
"""Eastern edges of the wide zones of band X, degrees."""


def _zone(place: LonLat) -> int:
    """UTM zone, with the wide zones of south-western Norway and Svalbard."""
    if 56.0 <= place.lat < 64.0 and 3.0 <= place.lon < 12.0:
        return 32
    if place.lat >= 72.0 and 0.0 <= place.lon < 42.0:
        return next(zone for edge, zone in _SVALBARD if place.lon < edge)
    return int((place.lon + 180.0) // 6.0) % 60 + 1

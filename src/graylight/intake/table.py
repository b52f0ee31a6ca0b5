"""CSV with coordinates: columns of latitude and longitude, of easting and northing with a zone, or one of places."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Mapping
from pathlib import Path

import shapely

from graylight.errors import BadInput
from graylight.intake.found import RECORD_HEAD, RECORD_TABLES, WRITTEN_BY_RECORD, Found, Unusable
from graylight.place import read_place

__all__ = ["read_table"]

MOST_BYTES = 64 * 2**20
MOST_ROWS = 100_000
MOST_SAID = 20
LAT = ("lat", "latitude", "y", "latdec", "latitudedec", "ycoord")
LON = ("lon", "lng", "long", "longitude", "x", "londec", "longdec", "xcoord")
PLACE = (
    "place",
    "coordinates",
    "coordinate",
    "position",
    "location",
    "latlon",
    "mgrs",
    "usng",
    "utm",
    "grid",
)
EAST, NORTH, ZONE = (
    ("easting", "east", "utme", "utmeasting"),
    ("northing", "north", "utmn", "utmnorthing"),
    ("zone", "utmzone"),
)


def read_table(path: Path) -> tuple[list[Found], list[str]]:
    """A point for each row of a CSV file, and rows that can't be used.

    Raises
    ------
    Unusable
        The file as a whole: too large, no text, no columns that tell a place.
    """
    rows, names = _rows(path)
    if tuple(names[: len(RECORD_HEAD)]) == RECORD_HEAD and {row["table"] for row in rows} <= RECORD_TABLES:
        raise Unusable(WRITTEN_BY_RECORD)
    where = _where(names)
    if where is None:
        raise Unusable(
            f"its columns ({', '.join(names)[:120]}) tell no place; accepted are latitude and longitude, or easting, northing "
            "and zone, or one column called place"
        )
    found: list[Found] = []
    said: list[str] = []
    for number, row in enumerate(rows, 2):
        spot = _spot(row, where)
        if spot is None:
            said.append(f"row {number} has no place on the earth")
        else:
            told = {key: value for key, value in row.items() if key not in where and value}
            found.append(Found(shapely.Point(spot), path.stem, told))
    if len(said) > MOST_SAID:
        said = [*said[:MOST_SAID], f"and {len(said) - MOST_SAID} more rows like these"]
    return found, said


def _rows(path: Path) -> tuple[list[dict[str, str]], list[str]]:
    if path.stat().st_size > MOST_BYTES:
        raise Unusable(f"it has more than {MOST_BYTES:,} bytes; split it")
    text = _text(path.read_bytes())
    first = text.partition("\n")[0]
    mark = max(",;\t|", key=first.count)
    try:
        lines = list(csv.reader(text.splitlines(), delimiter=mark))
    except csv.Error as error:
        raise Unusable(f"it can't be read as a table ({error})") from None
    if not lines or len(lines) > MOST_ROWS:
        raise Unusable(f"it has {len(lines):,} lines; accepted are 1 to {MOST_ROWS:,}")
    names = [name.strip() for name in lines[0]]
    rows = [
        {name: value.strip() for name, value in zip(names, line, strict=False) if name}
        for line in lines[1:]
        if any(value.strip() for value in line)
    ]
    return rows, names


def _text(data: bytes) -> str:
    """Text as spreadsheets save it: UTF-8 or UTF-16 with a mark in front, else the western code page."""
    code = "utf-16" if data[:2] in {b"\xff\xfe", b"\xfe\xff"} else "utf-8-sig"
    try:
        return data.decode(code)
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


def _plain(name: str) -> str:
    return re.sub(r"[^a-z]", "", name.lower())


def _where(names: list[str]) -> tuple[str, ...] | None:
    """The columns that tell the place: two, three or one."""
    for group in ((LAT, LON), (EAST, NORTH, ZONE), (PLACE,)):
        found = [_column(names, words) for words in group]
        if all(found):
            return tuple(name for name in found if name)
    return None


def _column(names: list[str], words: tuple[str, ...]) -> str | None:
    plain = {_plain(name): name for name in reversed(names) if name}
    return next((plain[word] for word in words if word in plain), None)


def _spot(row: Mapping[str, str], where: tuple[str, ...]) -> tuple[float, float] | None:
    values = [_pointed(row.get(name, "")) for name in where]
    try:
        if len(values) == 2:
            return _degrees(*values)
        text = values[0] if len(values) == 1 else f"{values[2]} {values[0]} {values[1]}"
        place = read_place(text)
    except BadInput:
        return None
    return place.lon, place.lat


def _pointed(text: str) -> str:
    """A number with a decimal comma, with a point; one that may be of thousands ("453,120") is left as it is."""
    told = re.fullmatch(r"([+-]?)(\d+),(\d+)", text)
    thousands = told is not None and len(told[2]) == 3 and len(told[3]) == 3 and int(told[2]) > 180
    return text if told is None or thousands else f"{told[1]}{told[2]}.{told[3]}"


def _degrees(lat_text: str, lon_text: str) -> tuple[float, float] | None:
    """Two plain numbers, or what a place typed in two halves says."""
    try:
        lat, lon = float(lat_text), float(lon_text)
    except ValueError:
        place = read_place(f"{lat_text}, {lon_text}")
        return place.lon, place.lat
    fine = math.isfinite(lat) and math.isfinite(lon) and abs(lat) <= 90.0 and abs(lon) <= 180.0
    return (lon, lat) if fine else None

"""Where, when and which way a photo was taken, by what the camera wrote into it (Exif 2.32, JEITA CP-3451)."""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from graylight.errors import BadInput
from graylight.grid import LonLat

__all__ = ["PhotoFacts", "photo_facts"]

_TIME, _OFFSET = 0x9003, 0x9011  # DateTimeOriginal, OffsetTimeOriginal
_EXIF, _GPS = 0x8769, 0x8825


@dataclass(frozen=True, slots=True)
class PhotoFacts:
    """What a photo says of itself; None where it doesn't.

    Parameters
    ----------
    place
        Where the camera stood, WGS 84.
    at
        When, UTC, where the photo tells its offset or the receiver's time.
    clock
        Date and time by the camera's clock where it tells no offset, "YYYY-MM-DD HH:MM:SS".
    bearing_deg, north
        Which way it looked, and by which north.
    """

    place: LonLat | None
    at: dt.datetime | None
    clock: str | None
    bearing_deg: float | None
    north: Literal["true", "magnetic"]


def photo_facts(data: bytes, *, name: str) -> PhotoFacts:
    """Read a photo's own position, time and direction.

    Raises
    ------
    BadInput
        Not a picture that can be read.
    """
    from PIL import Image, UnidentifiedImageError

    try:
        with Image.open(io.BytesIO(data)) as picture:
            exif = picture.getexif()
            gps, taken = dict(exif.get_ifd(_GPS)), dict(exif.get_ifd(_EXIF))
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        raise BadInput(
            f"{name} is not a picture that can be read; accepted is a photo as the camera wrote it (JPEG, PNG or WebP); give that"
        ) from None
    at, clock = _time(gps, taken)
    way = _number(gps.get(17))
    bearing = None if way is None or not 0.0 <= way <= 360.0 else way % 360.0
    return PhotoFacts(_place(gps), at, clock, bearing, "magnetic" if gps.get(16) == "M" else "true")


def _place(gps: Mapping[int, Any]) -> LonLat | None:
    lat, lon = _angle(gps.get(2), gps.get(1), "S"), _angle(gps.get(4), gps.get(3), "W")
    if lat is None or lon is None or not (-90.0 <= lat <= 90.0 and -180.0 <= lon <= 180.0):
        return None
    return None if lat == lon == 0.0 else LonLat(lon, lat)  # some cameras write zeros without a fix


def _angle(parts: Any, half: Any, negative: str) -> float | None:
    """Degrees, minutes and seconds as one number."""
    try:
        degrees, minutes, seconds = (float(part) for part in parts)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    value = degrees + minutes / 60.0 + seconds / 3600.0
    return -value if str(half).strip("\x00 ").upper() == negative else value


def _time(gps: Mapping[int, Any], taken: Mapping[int, Any]) -> tuple[dt.datetime | None, str | None]:
    """The camera's own time first: the receiver's may be that of its last fix."""
    clock = str(taken.get(_TIME) or "").strip("\x00 ")
    offset = str(taken.get(_OFFSET) or "").strip("\x00 ")
    try:
        local = dt.datetime.strptime(clock, "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return _gps_time(gps), None
    try:
        aware = dt.datetime.fromisoformat(local.isoformat() + offset)
    except ValueError:
        aware = local
    if aware.tzinfo is not None:
        return aware.astimezone(dt.UTC), None
    return _gps_time(gps), local.strftime("%Y-%m-%d %H:%M:%S")


def _gps_time(gps: Mapping[int, Any]) -> dt.datetime | None:
    try:
        year, month, day = (int(part) for part in str(gps.get(29)).strip("\x00 ").split(":"))
        hour, minute, second = (int(float(part)) for part in gps.get(7, ()))
        return dt.datetime(year, month, day, hour, minute, second, tzinfo=dt.UTC)
    except (TypeError, ValueError, ZeroDivisionError):
        return None


def _number(value: Any) -> float | None:
    try:
        return float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return None

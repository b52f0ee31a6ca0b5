"""Which clock a place keeps."""

from __future__ import annotations

import math
from functools import lru_cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import tzfpy

from graylight.errors import BadInput
from graylight.grid import LonLat

__all__ = ["on_the_globe", "timezone_of"]


def on_the_globe(place: LonLat) -> LonLat:
    """The place itself, once its degrees have been looked at.

    Raises
    ------
    BadInput
        A latitude beyond 90, a longitude beyond 180, or no number.
    """
    lon, lat = place
    # Written so that NaN, of which every comparison is false, is refused too.
    if math.isfinite(lon) and -90.0 <= lat <= 90.0 and -180.0 <= lon <= 180.0:
        return place
    raise BadInput(
        f"latitude {lat}, longitude {lon} is not a place; accepted is -90 to 90 and -180 to 180 degrees; "
        "check the order (latitude first when typed) and the signs"
    )


@lru_cache(maxsize=256)
def timezone_of(place: LonLat) -> str:
    """Name of the time zone of a place, as the tz database spells it.

    Parameters
    ----------
    place
        WGS 84 degrees; any place on the globe, oceans and poles included.

    Returns
    -------
    str
        A name that `zoneinfo` can open. From simplified borders (tzfpy), so within a few hundred metres of a
        border it may be the neighbour's. Where no border holds the place, or the name is newer than the
        installed tz database, the nautical zone of its longitude ("Etc/GMT+7" is seven hours *west*).

    Examples
    --------
    >>> timezone_of(LonLat(-111.5, 39.3))
    'America/Denver'
    """
    lon, lat = on_the_globe(place)
    name = str(tzfpy.get_tz(lon, lat) or "")
    return name if _opens(name) else _nautical(lon)


def _opens(name: str) -> bool:
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return False
    return True


def _nautical(lon: float) -> str:
    hours = math.floor((lon + 7.5) / 15.0)
    return "Etc/GMT" if hours == 0 else f"Etc/GMT{-hours:+d}"

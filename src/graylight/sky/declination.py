"""How far the compass needle points beside true north."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date

from pygeomag import GeoMag
from pygeomag.wmm.wmm_2025 import WMM_2025

from graylight.errors import BadInput
from graylight.grid import LonLat
from graylight.sky.zone import on_the_globe

__all__ = ["Declination", "declination"]

_MODEL = "WMM2025"
_FIRST, _LAST = date(2025, 1, 1), date(2030, 1, 1)
_LOWEST_M, _HIGHEST_M = -1000.0, 850_000.0  # span of the model, 1 km below to 850 km above the ellipsoid
_WEAK_NT = 2000.0  # the model's own blackout zone: too little pull sideways for a compass
_POLE_DEG = 89.9999  # at the pole itself every direction is north, or none


@dataclass(frozen=True, slots=True)
class Declination:
    """Angle from true north to magnetic north.

    Parameters
    ----------
    deg
        East positive: magnetic bearing = true bearing - deg.
    model, date
        Whose value it is, and for which day: it changes by up to about 0.2 degrees a year.
    """

    deg: float
    model: str
    date: date


def declination(place: LonLat, *, height_m: float, day: date) -> Declination | None:
    """Magnetic declination at a place and day from the World Magnetic Model 2025.

    Parameters
    ----------
    place
        WGS 84 degrees.
    height_m
        Height of the place; above sea level will do (50 m change nothing that can be read on a compass).
    day
        Any date.

    Returns
    -------
    Declination or None
        None outside the model's span, 2025.0 to 2030.0, and close to the magnetic poles, where the
        horizontal field is under 2000 nT and a compass does not settle.

    Notes
    -----
    The model (NOAA NCEI and British Geological Survey, doi:10.25921/aqfd-sd83) leaves out the rocks:
    iron-rich ground turns a needle by a degree or more (value from memory).

    Raises
    ------
    BadInput
        The place is not on the globe, or the height is not within the model.
    """
    lon, lat = on_the_globe(place)
    if not (math.isfinite(height_m) and _LOWEST_M <= height_m <= _HIGHEST_M):
        raise BadInput(
            f"a height of {height_m} m is outside the magnetic model; accepted is {_LOWEST_M:.0f} to "
            f"{_HIGHEST_M:.0f} m; check the unit"
        )
    if not _FIRST <= day <= _LAST:
        return None
    field = GeoMag(coefficients_data=WMM_2025).calculate(
        glat=min(max(lat, -_POLE_DEG), _POLE_DEG), glon=lon, alt=height_m / 1000.0, time=_decimal_year(day)
    )
    return None if field.h < _WEAK_NT else Declination(float(field.d), _MODEL, day)


def _decimal_year(day: date) -> float:
    start, end = date(day.year, 1, 1), date(day.year + 1, 1, 1)
    return day.year + (day - start).days / (end - start).days

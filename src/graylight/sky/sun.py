"""Where the sun stands: azimuth and altitude at a place over time, from a shipped piece of an ephemeris."""

from __future__ import annotations

import atexit
import math
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray
from skyfield.api import Loader, load_file, wgs84

from graylight.errors import BadInput
from graylight.grid import LonLat
from graylight.sky.zone import on_the_globe

__all__ = ["FIRST_DAY", "LAST_DAY", "SunPath", "Times", "on_record", "sun_path", "upper_limb_deg"]

Times: TypeAlias = NDArray[np.datetime64]

FIRST_DAY, LAST_DAY = date(1900, 1, 1), date(2050, 12, 31)
"""Days that can be asked for; the shipped ephemeris runs a month farther on either side."""

_EPHEMERIS = Path(__file__).parent / "ephemeris" / "de421-sun-earth.bsp"
_BEGIN, _END = np.datetime64("1899-12-02", "us"), np.datetime64("2051-01-31", "us")
_UNIX_EPOCH_JD = 2440587.5
_DAY_US = 86_400e6
_AT_ONCE = 2048  # the terms of nutation are held for all times at once: 22 MB
_LOWEST_M, _HIGHEST_M = -500.0, 9000.0
_SEMIDIAMETER_DEG = 16.0 / 60.0


@dataclass(frozen=True, slots=True, eq=False)
class SunPath:
    """The sun as seen from one place, at n times.

    Parameters
    ----------
    azimuth_deg : (n,) float64
        Clockwise from true north, [0, 360).
    altitude_deg : (n,) float64
        Of the middle of the disc above the level horizon; geometric, no refraction.
    hour_angle_deg : (n,) float64
        From the meridian, west positive, [-180, 180): apparent solar time less 12 h, 15 degrees an hour.
    """

    azimuth_deg: NDArray[np.float64]
    altitude_deg: NDArray[np.float64]
    hour_angle_deg: NDArray[np.float64]


def sun_path(place: LonLat, *, height_m: float, times: Times) -> SunPath:
    """Where the sun stands, from a place on the ellipsoid, at each of the times.

    Parameters
    ----------
    place
        WGS 84 degrees.
    height_m
        Height of the place; moves the sun by a millionth of a degree, and is not a dip of the horizon.
    times : (n,) datetime64[us]
        UTC, 1900 to 2050. Taken as UT1, from which UTC differs by less than 0.9 s (0.004 degrees of hour
        angle) by its definition since 1972; before that clocks kept mean solar time.

    Returns
    -------
    SunPath
        Apparent topocentric places (light time, aberration, IAU 2000A nutation), JPL DE421 (Folkner et al.
        2009, IPN Progress Report 42-178) through Skyfield.

    Notes
    -----
    Does not model refraction (`upper_limb_deg` does), the ground's horizon, or polar motion.
    """
    moments = np.atleast_1d(np.asarray(times)).astype("datetime64[us]")
    on_the_globe(place)
    _check_height(height_m)
    _check_times(moments)
    parts = [_seen(place, height_m, moments[i : i + _AT_ONCE]) for i in range(0, moments.size, _AT_ONCE)] or [
        np.empty((3, 0))
    ]
    azimuth, altitude, turned = np.concatenate(parts, axis=1)
    return SunPath(azimuth, altitude, turned)


def upper_limb_deg(altitude_deg: NDArray[np.float64]) -> NDArray[np.float64]:
    """Apparent altitude of the upper edge of the sun's disc.

    Parameters
    ----------
    altitude_deg : (n,) float64
        Geometric altitude of the middle of the disc.

    Returns
    -------
    (n,) float64
        Semidiameter of 16' and refraction at sea level and 10 degC added (Saemundsson 1986, Sky and
        Telescope 72:70, value from memory). Zero at the almanac's sunrise, -50', to 0.01 degrees. At 3000 m
        refraction is about 30 % less, 10' at the horizon; that is not modelled. Far below the horizon
        refraction is held: only the sign means anything there.
    """
    limb = altitude_deg + _SEMIDIAMETER_DEG
    held = np.maximum(limb, -1.0)
    bent = 1.02 / 60.0 / np.tan(np.radians(held + 10.3 / (held + 5.11)))
    return np.asarray(limb + np.maximum(bent, 0.0), dtype=np.float64)


def on_record(day: date) -> date:
    """The day itself, once it is known to lie within the ephemeris.

    Raises
    ------
    BadInput
        Outside 1900 to 2050.
    """
    if FIRST_DAY <= day <= LAST_DAY:
        return day
    raise BadInput(
        f"the date {day.isoformat()} has no sun on record; accepted is {FIRST_DAY} to {LAST_DAY}; choose a "
        "date in that span"
    )


def _check_height(height_m: float) -> None:
    if not (math.isfinite(height_m) and _LOWEST_M <= height_m <= _HIGHEST_M):
        raise BadInput(
            f"a height of {height_m} m is not on the ground; accepted is {_LOWEST_M:.0f} to {_HIGHEST_M:.0f} "
            "m; check whether it is in feet"
        )


def _check_times(moments: Times) -> None:
    wrong = moments[~((moments >= _BEGIN) & (moments <= _END))]  # NaT compares false: refused too
    if wrong.size:
        raise BadInput(
            f"the time {wrong[0]} has no sun on record; accepted is {FIRST_DAY} to {LAST_DAY}; choose a time "
            "in that span"
        )


def _seen(place: LonLat, height_m: float, moments: Times) -> NDArray[np.float64]:
    """Azimuth, altitude and hour angle in degrees, (3, n)."""
    earth, sun, timescale = _sky()
    julian = _UNIX_EPOCH_JD + moments.astype(np.int64) / _DAY_US
    here = earth + wgs84.latlon(place.lat, place.lon, elevation_m=height_m)
    # The light of the sun itself is not bent by the sun; Jupiter is not in the shipped piece, nor felt.
    seen = here.at(timescale.ut1_jd(julian)).observe(sun).apparent(deflectors=())
    altitude, azimuth, _ = seen.altaz()
    turned = seen.hadec()[0].hours * 15.0
    return np.stack([azimuth.degrees % 360.0, altitude.degrees, (turned + 180.0) % 360.0 - 180.0])


@lru_cache(maxsize=1)
def _sky() -> tuple[Any, Any, Any]:
    """Earth, sun and timescale, all from files that ship: nothing is fetched."""
    kernel = load_file(str(_EPHEMERIS))
    atexit.register(kernel.close)
    timescale = Loader(str(_EPHEMERIS.parent), verbose=False).timescale(builtin=True)
    return kernel["earth"], kernel["sun"], timescale

"""A sighting placed on the ground: along a bearing to a distance, or along a ray to where it meets the ground."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from graylight.errors import BadInput
from graylight.grid import WGS84, Grid, LonLat
from graylight.sight.viewshed import bend

__all__ = ["Errors", "Eye", "Placed", "place_by_angle", "place_by_distance"]

Values = NDArray[np.float64]
STEP_PART = 0.5
"""The ray is followed in steps of this part of a cell."""


@dataclass(frozen=True, slots=True)
class Eye:
    """Where the watcher looks from: place, ground by cell, height of the eye above it."""

    place: LonLat
    elevation_m: NDArray[np.float32]
    grid: Grid
    eye_m: float
    refraction: float = 1 / 7


@dataclass(frozen=True, slots=True)
class Errors:
    """One standard deviation of what was measured."""

    bearing_deg: float
    distance_m: float = 0.0
    angle_deg: float = 0.0


@dataclass(frozen=True, slots=True)
class Placed:
    """A place on the ground with its error.

    Parameters
    ----------
    place, height_m
        Where.
    distance_m
        On the ground, from the watcher.
    bearing_true_deg
        From the watcher.
    along_m, across_m
        Error ellipse: one standard deviation along the bearing and across it.
    hidden_m
        How far the ground before it stands above the line of sight; 0 where it is in view.
    """

    place: LonLat
    height_m: float
    distance_m: float
    bearing_true_deg: float
    along_m: float
    across_m: float
    hidden_m: float


@dataclass(frozen=True, slots=True)
class _Ray:
    """Ground below a bearing: distance, place, height, and the tangent of the angle at which it is seen."""

    bearing_deg: float
    away_m: Values
    lon: Values
    lat: Values
    height_m: Values
    tangent: Values
    rise_m: Values


def place_by_distance(eye: Eye, bearing_true_deg: float, distance_m: float, errors: Errors) -> Placed:
    """The ground on a bearing at a distance along the line of sight (as a range finder measures).

    Parameters
    ----------
    eye
        The watcher.
    bearing_true_deg
        Clockwise from true north; followed as a geodesic on WGS 84.
    distance_m
        Along the line of sight, from the eye.
    errors
        Of bearing and distance.

    Raises
    ------
    BadInput
        The bearing leaves the country, or known ground, before the distance is reached.
    """
    ray = _ray(eye, bearing_true_deg)
    slant = np.hypot(ray.away_m, ray.rise_m)
    reached = np.flatnonzero(slant >= distance_m)
    if not math.isfinite(distance_m) or distance_m <= 0.0 or reached.size == 0:
        raise BadInput(
            f"the bearing {bearing_true_deg:.0f} degrees true meets no ground of the country {distance_m:.0f} m off: known "
            f"ground ends after {_end(slant):.0f} m there; accepted is a place inside the country; check bearing and "
            "distance, and whether the bearing is magnetic or true"
        )
    away = _crossing(ray.away_m, slant, int(reached[0]), distance_m)
    along = errors.distance_m * away / distance_m
    return _placed(ray, away, along, errors)


def place_by_angle(eye: Eye, bearing_true_deg: float, up_deg: float, errors: Errors) -> Placed:
    """The first ground that a ray meets, by bearing and angle above the horizontal (below it: negative).

    Raises
    ------
    BadInput
        The ray passes over all ground of the country: it ends in the sky, or beyond the country.
    """
    ray = _ray(eye, bearing_true_deg)
    away = _meets(ray, up_deg)
    if away is None:
        raise BadInput(
            f"the ray on the bearing {bearing_true_deg:.0f} degrees true, {up_deg:.1f} degrees above the horizontal, meets no "
            "ground of the country; accepted is a point on the ground; pick a lower one, or give the distance"
        )
    return _placed(ray, away, _along_by_angle(ray, up_deg, errors.angle_deg, away), errors)


def _along_by_angle(ray: _Ray, up_deg: float, error_deg: float, away: float) -> float:
    """Half of the ground between the rays that are a standard deviation higher and lower."""
    near, far = _meets(ray, up_deg - error_deg), _meets(ray, up_deg + error_deg)
    near = away if near is None else near
    far = float(ray.away_m[-1]) if far is None else far  # passes over the rim: as far as is known
    return max((far - near) / 2.0, 0.0)


def _meets(ray: _Ray, up_deg: float) -> float | None:
    """How far off the ground first stands at an angle or higher."""
    wanted = math.tan(math.radians(up_deg))
    met = np.flatnonzero(ray.tangent >= wanted)
    return _crossing(ray.away_m, ray.tangent, int(met[0]), wanted) if met.size else None


def _crossing(x: Values, y: Values, i: int, wanted: float) -> float:
    """Where y, rising, passes a value between the samples i - 1 and i."""
    if i == 0 or y[i] == y[i - 1]:
        return float(x[i])
    part = (wanted - y[i - 1]) / (y[i] - y[i - 1])
    return float(x[i - 1] + min(max(part, 0.0), 1.0) * (x[i] - x[i - 1]))


def _placed(ray: _Ray, away: float, along_m: float, errors: Errors) -> Placed:
    before = ray.tangent[ray.away_m < away - 1e-6]
    here = float(np.interp(away, ray.away_m, ray.tangent))
    over = float(before.max(initial=-np.inf)) - here
    lon, lat = (float(np.interp(away, ray.away_m, side)) for side in (ray.lon, ray.lat))
    return Placed(
        LonLat(lon, lat), float(np.interp(away, ray.away_m, ray.height_m)), away, ray.bearing_deg % 360.0,
        along_m, away * math.tan(math.radians(errors.bearing_deg)), max(over, 0.0) * away,
    )  # fmt: skip


def _ray(eye: Eye, bearing_true_deg: float) -> _Ray:
    """The ground below a bearing, as far as it is known without a gap."""
    step = STEP_PART * eye.grid.cell_m
    far = math.hypot(*eye.grid.shape) * eye.grid.cell_m
    away = np.arange(1, int(far / step) + 1, dtype=np.float64) * step
    n = len(away)
    lon, lat, _ = WGS84.fwd(
        np.full(n, eye.place.lon), np.full(n, eye.place.lat), np.full(n, bearing_true_deg), away
    )
    height = _heights(eye, np.asarray(lon), np.asarray(lat))
    own = float(_heights(eye, np.array([eye.place.lon]), np.array([eye.place.lat]))[0])
    if math.isnan(own):
        raise BadInput(
            f"no ground is known at {eye.place.lat:.5f}, {eye.place.lon:.5f}, where it was looked from; accepted is a place "
            "inside the country, on known ground; check it"
        )
    unknown = np.flatnonzero(np.isnan(height))
    end = int(unknown[0]) if unknown.size else n
    away, lon, lat, height = away[:end], np.asarray(lon)[:end], np.asarray(lat)[:end], height[:end]
    rise = height - own - eye.eye_m - bend(eye.refraction) * away**2
    return _Ray(bearing_true_deg, away, lon, lat, height, rise / away, rise)


def _heights(eye: Eye, lon: Values, lat: Values) -> Values:
    """Height of the ground, linear between cell centres; NaN outside, and beside unknown cells."""
    row, col = eye.grid.locate_all(lon, lat)
    rows, cols = eye.grid.shape
    inside = (row >= -0.5) & (row < rows - 0.5) & (col >= -0.5) & (col < cols - 0.5)
    found = map_coordinates(
        eye.elevation_m, [row, col], order=1, mode="nearest", output=np.float64, prefilter=False
    )
    return np.where(inside, found, np.nan)


def _end(slant: Values) -> float:
    return float(slant[-1]) if len(slant) else 0.0

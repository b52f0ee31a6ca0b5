"""Shaded relief: several soft lights, and air that thins with height."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt, gaussian_filter

__all__ = ["Floats", "fill_gaps", "hillshade", "lit"]

Floats = NDArray[np.float32]


def lit(elevation_m: Floats, *, cell_m: float, azimuth_deg: float, altitude_deg: float) -> Floats:
    """Lambertian shade from one light: the cosine between surface normal and light.

    Parameters
    ----------
    elevation_m : (rows, cols) float32
        Heights in metres, row 0 in the north, no NaN.
    cell_m
        Side of a cell, metres.
    azimuth_deg, altitude_deg
        Where the light stands, clockwise from *grid* north and above the level.

    Returns
    -------
    (rows, cols) float32 in [-1, 1], negative on ground turned away. Cast shadows are not modelled.
    """
    return _facing(*_gradient(elevation_m, cell_m), azimuth_deg, altitude_deg)


def _gradient(ground: Floats, cell_m: float) -> tuple[Floats, Floats, Floats]:
    """Rise to the south and east, and the length of the normal."""
    if min(ground.shape) < 2:
        flat = np.zeros(ground.shape, dtype=np.float32)
        return flat, flat, flat + 1
    down, east = (
        np.asarray(np.gradient(ground, np.float32(cell_m), axis=axis), dtype=np.float32) for axis in (0, 1)
    )
    return down, east, np.asarray(np.sqrt(1.0 + east * east + down * down), dtype=np.float32)


def _facing(down: Floats, east: Floats, length: Floats, azimuth_deg: float, altitude_deg: float) -> Floats:
    azimuth, altitude = math.radians(azimuth_deg), math.radians(altitude_deg)
    towards_east = np.float32(math.cos(altitude) * math.sin(azimuth))
    towards_north = np.float32(math.cos(altitude) * math.cos(azimuth))
    flat = np.float32(math.sin(altitude))
    facing = flat - towards_east * east + towards_north * down
    return np.asarray(facing / length, dtype=np.float32)


def hillshade(
    elevation_m: Floats,
    *,
    cell_m: float,
    azimuth_deg: float = 315.0,
    altitude_deg: float = 42.0,
    exaggeration: float = 1.25,
    air: float = 0.35,
) -> Floats:
    """Soft shaded relief for maps, lit from one main side and three lesser ones.

    Four lights are weighed together (the main one, one to its left, one to its right, and a high one that
    keeps the shade side readable); a share comes from smoothed relief, so the large forms hold together;
    contrast grows with height, as though air lay in the valleys (aerial perspective after Imhof 1982,
    "Cartographic Relief Presentation"; the weights are this project's own, set by eye).

    Parameters
    ----------
    elevation_m : (rows, cols) float32
        Metres, NaN where not known.
    cell_m
        Side of a cell, metres.
    azimuth_deg, altitude_deg
        The main light, clockwise from grid north. North-west by the custom of maps: lit from the south, most
        eyes see valleys as ridges.
    exaggeration
        Vertical exaggeration.
    air
        How much contrast the lowest ground loses, 0 to 1.

    Returns
    -------
    (rows, cols) float32 in [0, 1]; level ground lies near 0.62; NaN where the elevation is.
    Not the sun of any hour: see the sky stage for real shade.
    """
    known = np.isfinite(elevation_m)
    if not known.any():
        return np.full(elevation_m.shape, np.nan, dtype=np.float32)
    ground = fill_gaps(elevation_m) * np.float32(exaggeration)
    broad = gaussian_filter(ground, sigma=max(1.0, 60.0 / cell_m), mode="nearest")
    shade = 0.68 * _lights(ground, cell_m, azimuth_deg, altitude_deg)
    shade += 0.32 * _lights(broad, cell_m, azimuth_deg, altitude_deg)
    shade = _aerial(shade, broad, air)
    return np.asarray(np.where(known, shade, np.nan), dtype=np.float32)


def _lights(ground: Floats, cell_m: float, azimuth_deg: float, altitude_deg: float) -> Floats:
    total = np.zeros(ground.shape, dtype=np.float32)
    surface = _gradient(ground, cell_m)
    lights = ((0.0, 0.0, 0.56), (-55.0, 4.0, 0.16), (50.0, 4.0, 0.16), (0.0, 40.0, 0.12))
    for turn, lift, weight in lights:
        raised = min(altitude_deg + lift, 88.0)
        light = _facing(*surface, azimuth_deg + turn, raised)
        total += np.float32(weight) * np.maximum(light, 0.0)
    return np.asarray(np.clip(total * np.float32(0.86), 0.0, 1.0), dtype=np.float32)


def _aerial(shade: Floats, height: Floats, air: float) -> Floats:
    low, high = np.percentile(height[::4, ::4], [2.0, 98.0])
    if high - low < 1.0:
        return shade
    up = np.clip((height - low) / (high - low), 0.0, 1.0)
    level = np.float32(0.62)
    kept = 1.0 - np.float32(air) * (1.0 - up)
    return np.asarray(
        np.clip(level + (shade - level) * kept + 0.05 * air * (1.0 - up), 0.0, 1.0), dtype=np.float32
    )


def fill_gaps(values: Floats) -> Floats:
    """Fill NaN with the nearest known value, so that filters may pass over; all NaN gives zeros."""
    known = np.isfinite(values)
    if known.all():
        return values
    if not known.any():
        return np.zeros_like(values)
    rows, cols = distance_transform_edt(~known, return_distances=False, return_indices=True)
    return np.asarray(values[rows, cols])

"""Feed: open, green, in the band, not too steep, quiet."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from graylight.ground.cover import Kind
from graylight.habitat.land import Land
from graylight.habitat.profile import KindNumbers, Profile, QuietNumbers
from graylight.habitat.suitability import Raster, at_rim, falling, rising, smooth, together

__all__ = ["feed", "quietness"]


def _by_kind(kind: NDArray[np.uint8], numbers: KindNumbers) -> Raster:
    lookup = np.zeros(256, np.float32)
    for key in Kind:
        lookup[int(key)] = getattr(numbers, key.name.lower())
    return lookup[kind]


def feed(land: Land, band: Raster, quiet: Raster, profile: Profile) -> Raster:
    """Suitability for feeding in [0, 1]; 0 on water, snow, unknown ground and the cells at its rim.

    A weighted geometric mean of openness, greenness, band, slope and quiet, with the profile's weights.
    Greenness is taken as measured whatever the kind of cover: growth between boulders is fed on. Without
    imagery it follows the kind of cover, and without any cover it says little.
    """
    cover, numbers = land.cover, profile.feed
    openness = _by_kind(cover.kind, profile.openness)
    if cover.closure is not None:
        openness = openness * (1 - smooth(cover.closure, 20.0, land.cell_m))
    growth = _by_kind(cover.kind, profile.growth)
    if cover.green is not None:
        growth = np.where(np.isnan(cover.green), growth, cover.green).astype(np.float32)
    slope = falling(land.relief.slope_deg, numbers.slope_best_deg, numbers.slope_limit_deg)
    worth = together(
        [
            (openness, numbers.weight_open),
            (growth, numbers.weight_green),
            (band, numbers.weight_band),
            (slope, numbers.weight_slope),
            (quiet, numbers.weight_quiet),
        ]
    )
    # the side counts in full from 10 degrees on: on nearly level ground the aspect is rounding, and warms nothing
    southness = -np.cos(np.radians(np.nan_to_num(land.relief.aspect_deg, nan=90.0)))
    sided = southness * rising(np.nan_to_num(land.relief.slope_deg), 0.0, 10.0)
    worth *= 1 + np.float32(0.5 * numbers.warm_side_weight) * sided
    none = np.isnan(land.elevation_m) | land.water.deep | np.isin(cover.kind, (Kind.WATER, Kind.SNOW))
    none |= at_rim(land.elevation_m)
    return np.where(none, 0, np.clip(worth, 0, 1)).astype(np.float32)


def quietness(quiet_s: Raster, numbers: QuietNumbers) -> Raster:
    """Suitability by walking time from where people come from: `least` at the road, 1 from `full_minutes` on."""
    part = np.clip(quiet_s / np.float32(60.0 * numbers.full_minutes), 0, 1)
    return np.asarray(numbers.least + (1 - numbers.least) * np.sqrt(part), np.float32)

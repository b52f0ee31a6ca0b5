"""Beds: cover or shade through the middle of the day, ground to lie on, near an edge, with a way out, quiet."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import distance_transform_edt

from graylight.ground.cover import Kind
from graylight.habitat.land import Land
from graylight.habitat.profile import BedNumbers
from graylight.habitat.suitability import Raster, at_rim, falling, rising, smooth, together

__all__ = ["bed", "distance_m", "shelter"]


def distance_m(mask: np.ndarray, cell_m: float) -> Raster:
    """Distance to the nearest cell of a mask; very far where there is none."""
    if not mask.any():
        return np.full(mask.shape, 1e6, np.float32)
    return (distance_transform_edt(~mask) * cell_m).astype(np.float32)


def shelter(land: Land, numbers: BedNumbers) -> Raster:
    """Cover or shade, whichever hides from sun and eyes, and the cooler the better.

    (1 - (1 - cover) (1 - shade)) (0.5 + 0.5 cool). Cover rises to the profile's best closure and falls a little
    beyond it; shade is the real sun's, through terrain and canopy; cool is the same shade held to a stricter mark,
    so that timber on a cold slope is worth more than timber in the sun.
    """
    closure = land.cover.closure
    if closure is None:
        below = (land.elevation_m < land.cover.treeline_m) & (land.cover.kind == Kind.UNKNOWN)
        cover = np.where(below, numbers.unknown_cover, 0).astype(np.float32)
    else:
        near = smooth(closure, 15.0, land.cell_m)
        best = numbers.closure_best
        cover = np.minimum(rising(near, 0.0, best), 1 - 0.35 * rising(near, best, 1.0))
    midday = np.nan_to_num(land.shade_midday)
    shade, cool = rising(midday, 0.25, 0.85), rising(midday, 0.3, 0.95)
    return ((1 - (1 - cover) * (1 - shade)) * (0.5 + 0.5 * cool)).astype(np.float32)


def bed(land: Land, band: Raster, quiet: Raster, feeding: Raster, numbers: BedNumbers) -> Raster:
    """Suitability for bedding in [0, 1]; 0 on water, cliffs, worked and unknown ground and the cells at its rim.

    A weighted geometric mean of shelter, slope, nearness to feed in the open (the edge), a way out (timber,
    crest or saddle near), band (wider than for feed) and quiet. Where neither timber nor crests are known, the
    way out drops out.
    """
    slope = land.relief.slope_deg
    ground = np.minimum(
        rising(slope, 0.0, numbers.slope_low_deg) * 0.6 + 0.4,
        falling(slope, numbers.slope_best_deg, numbers.slope_limit_deg),
    )
    edge = np.exp(-distance_m(feeding > 0.4, land.cell_m) / np.float32(2 * numbers.edge_m))
    kind = land.cover.kind
    out = land.landforms.ridgelines | (kind == Kind.TIMBER)
    way_out = np.exp(-distance_m(out, land.cell_m) / np.float32(numbers.wayout_m))
    worth = together(
        [
            (shelter(land, numbers), numbers.weight_cover),
            (ground.astype(np.float32), numbers.weight_slope),
            (edge.astype(np.float32), numbers.weight_edge),
            (way_out.astype(np.float32), numbers.weight_way_out if out.any() else 0.0),
            (np.sqrt(band), numbers.weight_band),
            (quiet, numbers.weight_quiet),
        ]
    )
    none = np.isnan(land.elevation_m) | land.water.deep | land.landforms.cliffs
    none |= np.isin(kind, (Kind.WATER, Kind.SNOW, Kind.WORKED)) | at_rim(land.elevation_m)
    return np.where(none, 0, worth).astype(np.float32)

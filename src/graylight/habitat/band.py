"""The band: the elevation belt to work, hung from the local tops."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import maximum_filter, minimum_filter, zoom

from graylight.habitat.profile import BandNumbers
from graylight.habitat.suitability import Raster, rising, smooth

__all__ = ["BandMap", "band"]

COARSE_M = 80.0


@dataclass(frozen=True, slots=True)
class BandMap:
    """The band over the country, and in a few words.

    Parameters
    ----------
    suitability : (rows, cols) float32
        1 in the middle of the band, soft edges; 0 over unknown ground.
    low_m, centre_m, high_m, tops_m : float
        Where the suitability is above a half: 5th percentile, median and 95th percentile of the elevation, and
        mean height of the local tops.
    """

    suitability: Raster
    low_m: float
    centre_m: float
    high_m: float
    tops_m: float


def band(elevation_m: Raster, *, cell_m: float, numbers: BandNumbers) -> BandMap:
    """Band from local relief.

    The local top of a cell is the highest ground within `tops_radius_m`, smoothed over half that distance; the
    band's centre lies `below_tops_m` lower, and its suitability falls as a Gaussian with `half_width_m` as the
    distance at which it is a half. Where the ground within the radius has less than `relief_needed_m` of relief
    it is not high country and the band fades out. Common practice, no source; see docs/habitat.md.
    """
    tops, relief = _local_tops(elevation_m, cell_m, numbers.tops_radius_m)
    off = (elevation_m - (tops - np.float32(numbers.below_tops_m))) / np.float32(numbers.half_width_m)
    high_country = rising(relief, 0.5 * numbers.relief_needed_m, numbers.relief_needed_m)
    suitability = np.nan_to_num(np.exp2(-off * off) * high_country).astype(np.float32)
    inside = suitability >= 0.5
    if not inside.any():
        inside = suitability >= 0.5 * suitability.max()
    low, centre, high = np.nanpercentile(elevation_m[inside], (5, 50, 95))
    return BandMap(suitability, float(low), float(centre), float(high), float(np.nanmean(tops[inside])))


def _local_tops(elevation_m: Raster, cell_m: float, radius_m: float) -> tuple[Raster, Raster]:
    """Smoothed highest ground within a radius, and the relief within it, on the country's own cells."""
    # odd, so that blocks can be laid evenly about the middle whatever the number of cells
    step = max(1, round(COARSE_M / cell_m)) // 2 * 2 + 1
    coarse = _blocks(elevation_m, step)
    lowest = np.nanmin(elevation_m)
    known = np.where(np.isnan(coarse), lowest, coarse)
    reach = max(1, round(radius_m / (cell_m * step)))
    disc = np.hypot(*np.ogrid[-reach : reach + 1, -reach : reach + 1]) <= reach
    highest = maximum_filter(known, footprint=disc, mode="nearest")
    relief = highest - minimum_filter(known, footprint=disc, mode="nearest")
    tops = smooth(highest, 0.5 * radius_m, cell_m * step)
    return _fine(tops, step, elevation_m.shape), _fine(relief, step, elevation_m.shape)


def _margin(cells: int, step: int) -> int:
    """Cells to be added on either side so that whole blocks of an odd number of cells lie evenly about the middle."""
    blocks = -(-cells // step)
    blocks += (blocks - cells) % 2
    return (blocks * step - cells) // 2


def _blocks(values: Raster, step: int) -> Raster:
    """Largest value of each block of step x step cells (those at the edges may be cut), laid about the middle."""
    down, right = (_margin(n, step) for n in values.shape)
    padded = np.pad(values, ((down, down), (right, right)), mode="edge")
    cut = padded.reshape(padded.shape[0] // step, step, padded.shape[1] // step, step)
    filled = np.where(np.isnan(cut), -np.inf, cut).max(axis=(1, 3))
    return np.where(np.isinf(filled), np.nan, filled).astype(np.float32)


def _fine(values: Raster, step: int, shape: tuple[int, int]) -> Raster:
    if step == 1:
        return values
    fine = zoom(values, step, order=1, mode="nearest", grid_mode=True)
    down, right = (_margin(n, step) for n in shape)
    return fine[down : down + shape[0], right : right + shape[1]].astype(np.float32, copy=False)

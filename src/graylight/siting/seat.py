"""Ground to sit on: where a watcher can be, and how good it is to sit there."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from graylight.kernels.nearness import near_any
from graylight.settings import WatchSettings

__all__ = ["distance_worth", "liking", "suited"]

Mask = NDArray[np.bool_]
Raster = NDArray[np.float32]


def suited(
    slope_deg: Raster,
    closure: Raster | None,
    walk_s: Raster | None,
    closed: Mask,
    used: Mask,
    *,
    cell_m: float,
    standoff_m: float,
    watch: WatchSettings,
) -> Mask:
    """Cells to sit on: reachable, open or within a few steps of an opening, not too steep, dry, far enough off.

    Parameters
    ----------
    slope_deg : (rows, cols) float32
        NaN over unknown ground, which is never suited.
    closure : (rows, cols) float32 or None
        Canopy closure; None when not known: then nothing is ruled out by it.
    walk_s : (rows, cols) float32 or None
        Walking time from the best start; None when no start is known: then nothing is ruled out by it.
    closed : (rows, cols) bool
        Water, private or closed ground.
    used : (rows, cols) bool
        Ground the animals use, from which the standoff is kept.
    """
    fit = (slope_deg <= watch.seat_slope_deg) & ~closed
    if closure is not None:
        fit &= _within(closure < 0.4, _most(lambda cells: cells <= watch.seat_open_m / cell_m))
    if walk_s is not None:
        fit &= walk_s <= watch.walk_limit_hours * 3600.0
    if used.any():
        fit &= ~_within(used, _most(lambda cells: cells * cell_m < standoff_m))
    return np.asarray(fit, bool)


def _within(mask: Mask, limit2: int) -> Mask:
    """Cells whose squared distance to the mask is at most so many squared cells; none when that is below 0."""
    out = np.zeros(mask.shape, np.bool_)
    if limit2 >= 0:
        near_any(np.ascontiguousarray(mask, np.bool_), limit2, np.empty(mask.shape, np.int32), out)
    return out


def _most(close: Callable[[float], bool]) -> int:
    """The largest squared distance in cells that is still close; -1: not even none at all."""
    squared = 0
    while close(math.sqrt(squared)):
        squared += 1
    return squared - 1


def liking(
    slope_deg: Raster, form: NDArray[np.uint8], walk_s: Raster | None, *, watch: WatchSettings
) -> Raster:
    """How good it is to sit there, in [0, 1]; common practice, no source.

    A spur, shoulder or the side of a ridge is best (a small rise with ground behind); a bare summit stands on the
    skyline; hollows and valleys see little and hold cold air. Gentle ground and a short walk are liked.

    Parameters
    ----------
    form : (rows, cols) uint8
        Geomorphon: 1 flat, 2 summit, 3 ridge, 4 shoulder, 5 spur, 6 slope, 7 hollow, 8 footslope, 9 valley,
        10 depression; 0 unknown.
    """
    by_form = np.array([0.85, 0.85, 0.85, 0.95, 1.0, 1.0, 0.9, 0.75, 0.8, 0.65, 0.6], np.float32)
    like = by_form[np.minimum(form, 10)]
    like = like * (1.0 - 0.4 * np.clip((slope_deg - 12.0) / 15.0, 0, 1))
    if walk_s is not None:
        like = like * (1.0 - 0.5 * np.clip(walk_s / (watch.walk_limit_hours * 3600.0), 0, 1))
    return np.asarray(np.nan_to_num(like), np.float32)


def distance_worth(radius_cells: int, *, cell_m: float, watch: WatchSettings) -> NDArray[np.float32]:
    """Worth of watching from a distance of i cells: 1 between the best distances, falling off on either side.

    Returns
    -------
    (radius_cells + 2,) float32
    """
    distance = np.arange(radius_cells + 2) * cell_m
    near = np.clip(0.3 + 0.7 * distance / max(watch.best_near_m, 1e-6), 0, 1)
    far = np.clip(1.0 - (distance - watch.best_far_m) / (1.2 * watch.best_far_m), 0.2, 1.0)
    return np.asarray(np.minimum(near, far), np.float32)

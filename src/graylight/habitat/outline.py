"""The ground of a pocket: feed that hangs together, its beds, the ways between, and the line drawn around it all."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise
from typing import Any

import contourpy
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_closing, binary_dilation, binary_fill_holes, distance_transform_edt, label

from graylight.habitat.land import Land
from graylight.habitat.suitability import Raster, smooth
from graylight.habitat.ways import Cell, Frame, Going

__all__ = ["body", "gathered", "joined", "outlined"]

Mask = NDArray[np.bool_]
Rings = tuple[NDArray[np.float64], ...]

HANGS_TOGETHER_M = 75.0
"""Feed and feed no farther apart than twice this belong to one pocket. Proposed default."""
AROUND_M = 40.0
"""Ground around a place and to either side of a way that belongs to the pocket too. Proposed default."""
SAME_WAY = 1.005
"""Ways no more than this much longer than the best are the same way. Proposed default."""
_EVERY_SIDE = np.ones((3, 3), np.bool_)


def gathered(mask: Mask, seed: Cell, cell_m: float) -> Mask:
    """Feed that hangs together, the group with most ground; crumbs are dropped.

    Crumbs are pieces (gaps up to about 60 m bridged) under 0.15 of the largest, except the seed's own.
    """
    bridged = binary_closing(np.pad(mask, 4), iterations=max(1, min(3, round(30.0 / cell_m))))[4:-4, 4:-4]
    groups, count = label(bridged, structure=_EVERY_SIDE)
    if count == 0:
        return mask
    sizes = np.bincount(groups[mask], minlength=count + 1)
    sizes[0] = 0
    keep = sizes >= 0.15 * sizes.max()
    keep[groups[seed]] = groups[seed] > 0
    return _together(np.asarray(mask & keep[groups], bool), cell_m)


def _together(mask: Mask, cell_m: float) -> Mask:
    groups, count = label(_widened(mask, HANGS_TOGETHER_M, cell_m), structure=_EVERY_SIDE)
    if count < 2:
        return mask
    most = 1 + int(np.argmax(np.bincount(groups[mask], minlength=count + 1)[1:]))
    return np.asarray(mask & (groups == most), bool)


def _widened(mask: Mask, by_m: float, cell_m: float) -> Mask:
    """A mask and all within a distance of it."""
    if not mask.any():
        return mask
    return np.asarray(distance_transform_edt(~mask) * cell_m <= by_m, bool)


def body(feeding: Mask, bedding: Mask, beds: Iterable[Cell], frame: Frame, land: Land) -> Mask:
    """Feed, and bed ground within 200 m of the bed places, with gaps up to about 120 m closed; known ground alone."""
    there = np.zeros(feeding.shape, bool)
    for cell in beds:
        there[frame.inside(cell)] = True
    near = _widened(there, max(200.0, 1.5 * land.cell_m), land.cell_m)
    turns = max(1, min(6, round(60.0 / land.cell_m)))
    whole = binary_closing(np.pad(feeding | (bedding & near), 8), iterations=turns)[8:-8, 8:-8]
    return _known(binary_fill_holes(whole), frame, land)


def _known(mask: NDArray[Any], frame: Frame, land: Land) -> Mask:
    """A mask without the ground whose elevation is not known: nothing is said of it."""
    return np.asarray(mask & ~np.isnan(land.elevation_m[frame.cut]), bool)


def joined(
    whole: Mask, main: Mask, feeds: list[Cell], places: Iterable[Cell], frame: Frame, going: Going, land: Land
) -> Mask:
    """The body with the animals' ways from the feed to each place that lies off its main piece.

    A bed across a creek, or a saddle between meadow and timber, belongs to the pocket, and so does the ground
    crossed on the way there: the least-time way, `AROUND_M` to either side.
    """
    apart = [cell for cell in places if not main[frame.inside(cell)]]
    if not apart:
        return whole
    near = np.zeros(whole.shape, bool)
    from_feed = going.seconds([f for f in feeds if main[frame.inside(f)]] or feeds, frame)
    for cell in apart:
        near |= _way(from_feed, cell, frame, going)
    return _known(binary_fill_holes(whole | _widened(near, AROUND_M, land.cell_m)), frame, land)


def _way(from_feed: Raster, cell: Cell, frame: Frame, going: Going) -> Mask:
    """Cells on the best ways from the feed to a cell; none where no way leads there."""
    best = float(from_feed[frame.inside(cell)])
    if not np.isfinite(best):
        return np.zeros(from_feed.shape, bool)
    total = from_feed + going.seconds([cell], frame, toward=True, limit_s=SAME_WAY * best + 1.0)
    way = np.asarray(total <= SAME_WAY * float(total.min()), bool)
    way[frame.inside(cell)] = True
    # a knight's move passes between cells: without this the way may be a row of dots
    return np.asarray(binary_dilation(way, structure=_EVERY_SIDE), np.bool_)


def outlined(whole: Mask, feeding: Mask, frame: Frame, land: Land) -> tuple[Rings, Mask]:
    """Smooth rings (row, col) of the piece of a mask that holds most feed, the outer one first, and that piece."""
    soft = whole.astype(np.float32)
    if land.cell_m <= 40.0:
        soft = np.where(_known(np.ones(whole.shape, bool), frame, land), smooth(soft, 20.0, land.cell_m), 0)
    groups, count = label(soft >= 0.5)
    if count == 0 or not (feeding & (groups > 0)).any():
        groups, count = label(whole, structure=_EVERY_SIDE)
        soft = whole.astype(np.float32)
    most = np.bincount(groups[feeding & (groups > 0)], minlength=count + 1)[1:]
    largest = groups == 1 + int(np.argmax(most))
    field = np.pad(np.where(largest, np.maximum(soft, 0.5001), np.minimum(soft, 0.4999)), 1)
    tracer = contourpy.contour_generator(z=field, fill_type="OuterOffset")
    pieces: list[tuple[Any, Any]] = list(zip(*tracer.filled(0.5, 2.0), strict=True))
    points, cuts = max(pieces, key=lambda piece: len(piece[0]))
    shift = np.array([frame.top - 1, frame.left - 1], np.float64)
    return tuple(points[a:b][:, ::-1] + shift for a, b in pairwise(cuts)), largest

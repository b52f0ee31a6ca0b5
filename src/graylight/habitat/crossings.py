"""Crossings: where the ways between feed and beds bundle (saddles, ledges, narrows), with alternates."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from graylight.habitat.land import Land
from graylight.habitat.suitability import Raster
from graylight.habitat.ways import Cell, Frame, Going

__all__ = ["Crossing", "crossings"]

SLACK = 1.12
"""Ways no more than this much longer than the best belong to the bundle. Proposed default."""
SLICE_M = 40.0
"""Length of the slices across which the bundle's width is measured. Proposed default."""
APART_M = 120.0
"""Crossings nearer to each other than this are one. Proposed default."""
MOST = 3


@dataclass(frozen=True, slots=True)
class Crossing:
    """Where animals cross: cell, form, width of the bundle, suitability in [0, 1], cells of the alternates."""

    row: int
    col: int
    form: Literal["saddle", "ledge", "narrows", "open"]
    width_m: float
    suitability: float
    alternates: tuple[Cell, ...]


class _Pinch(NamedTuple):
    cell: Cell
    width_m: float
    alternates: tuple[Cell, ...]


def crossings(
    feeds: list[Cell], beds: list[Cell], frame: Frame, going: Going, land: Land
) -> tuple[Crossing, ...]:
    """The narrowest places of the bundles of ways that join the feeds to each bed, most used first.

    For each bed the bundle is all ground over which a way from feed to bed is at most `SLACK` times the best. It
    is cut across into slices of equal time from the feed; between a fifth and four fifths of the way the
    narrowest slice is the crossing.
    """
    from_feed = going.seconds(feeds, frame)
    pinches = []
    for bed in beds:
        limit_s = SLACK * float(from_feed[frame.inside(bed)])
        to_bed = going.seconds([bed], frame, toward=True, limit_s=limit_s)
        pinch = _narrowest(from_feed, to_bed, frame, going)
        if pinch is not None:
            pinches.append(pinch)
    return _bundled(pinches, len(beds), land)


def _narrowest(from_feed: Raster, to_bed: Raster, frame: Frame, going: Going) -> _Pinch | None:
    total = from_feed + to_bed
    best = float(total.min())
    slices = int(best / (SLICE_M * going.flat_s_per_m))
    if not np.isfinite(best) or slices < 5:
        return None
    rows, cols = np.nonzero(total <= np.float32(best * SLACK))
    index = np.minimum((from_feed[rows, cols] / best * slices).astype(np.int64), slices - 1)
    counts = np.bincount(index, minlength=slices).astype(np.float64)
    counts = np.convolve(counts, np.ones(3) / 3, mode="same")
    middle = np.arange(slices // 5, slices - slices // 5)
    at = int(middle[np.argmin(counts[middle])])
    here = np.nonzero(index == at)[0]
    if len(here) == 0:
        return None
    order = here[_by_nearness(rows[here], cols[here], total[rows[here], cols[here]], best)]
    slice_m = best / slices / going.flat_s_per_m
    first = (int(rows[order[0]]), int(cols[order[0]]))
    others = _apart(first, list(zip(rows[order].tolist(), cols[order].tolist(), strict=True)), going.cell_m)
    width = counts[at] * going.cell_m**2 / max(min(slice_m, SLICE_M), going.cell_m)
    return _Pinch(frame.outside(first), float(width), tuple(frame.outside(c) for c in others))


def _by_nearness(
    rows: NDArray[np.int64], cols: NDArray[np.int64], total: Raster, best: float
) -> NDArray[np.int64]:
    """Order of a slice's cells: the best ways first, those alike by how near the slice's middle they lie.

    All cells of one best way are alike but for rounding: the middle of the narrowest place is what is meant.
    """
    over = total.astype(np.float64) / best - 1.0
    near = over <= over.min() + 0.01
    off = np.hypot(rows - rows[near].mean(), cols - cols[near].mean())
    return np.lexsort((cols, rows, over + 0.001 * off))


def _apart(first: Cell, ordered: list[Cell], cell_m: float) -> list[Cell]:
    """Up to two more cells, in order, each well away from those before."""
    kept = [first]
    for cell in ordered:
        if all(np.hypot(cell[0] - k[0], cell[1] - k[1]) * cell_m >= APART_M for k in kept):
            kept.append(cell)
        if len(kept) == 3:
            break
    return kept[1:]


def _bundled(pinches: list[_Pinch], beds: int, land: Land) -> tuple[Crossing, ...]:
    groups: list[list[_Pinch]] = []
    for pinch in pinches:
        for group in groups:
            if _distance_m(group[0].cell, pinch.cell, land.cell_m) < APART_M:
                group.append(pinch)
                break
        else:
            groups.append([pinch])
    groups.sort(key=lambda g: (-len(g), g[0].width_m, g[0].cell))
    made = [_crossing(g, beds, [o[0].cell for o in groups if o is not g], land) for g in groups]
    return tuple(sorted(made, key=lambda c: (-c.suitability, c.row, c.col))[:MOST])


def _crossing(group: list[_Pinch], beds: int, others: list[Cell], land: Land) -> Crossing:
    row, col = group[0].cell
    width = min(p.width_m for p in group)
    narrow = float(np.clip(1.2 - width / 400.0, 0.3, 1.0))
    alternates = list(group[0].alternates) or others
    return Crossing(
        row,
        col,
        _form((row, col), width, land),
        width,
        narrow * (0.5 + 0.5 * len(group) / beds),
        tuple(alternates[:2]),
    )


def _form(cell: Cell, width_m: float, land: Land) -> Literal["saddle", "ledge", "narrows", "open"]:
    if any(_distance_m(cell, (s.row, s.col), land.cell_m) <= 100.0 for s in land.landforms.saddles):
        return "saddle"
    around = Frame.around(cell, max(2, round(80.0 / land.cell_m)), land.elevation_m.shape)
    steep = float(np.nanmedian(land.relief.slope_deg[around.cut]))
    if steep >= 28.0 and float(land.relief.slope_deg[cell]) <= steep - 8.0:
        return "ledge"
    return "narrows" if width_m <= 100.0 else "open"


def _distance_m(a: Cell, b: Cell, cell_m: float) -> float:
    return float(np.hypot(a[0] - b[0], a[1] - b[1]) * cell_m)

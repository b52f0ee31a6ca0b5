"""Ways out when pushed: by a saddle, into timber, or up and over the crest, in different directions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from graylight.ground.cover import Kind
from graylight.habitat.land import Land
from graylight.habitat.suitability import Raster
from graylight.habitat.ways import Cell, Frame, Going

__all__ = ["WayOut", "ways_out"]

SECTORS = 8
LEAST_M = 250.0
"""Nearer than this is not out. Proposed default."""
MOST, EACH = 3, 2


@dataclass(frozen=True, slots=True)
class WayOut:
    """Where pushed animals go: cell, what it leads over or into, climb in metres, straight distance in metres."""

    row: int
    col: int
    over: str
    saddle: int | None
    climb_m: float
    distance_m: float


class _Candidate(NamedTuple):
    seconds: float
    cell: Cell
    over: str
    saddle: int | None


def ways_out(centre: Cell, beds: list[Cell], reach_m: float, going: Going, land: Land) -> tuple[WayOut, ...]:
    """The quickest ways out of each sort, no two in the same direction, quickest first."""
    frame = Frame.around(centre, round(reach_m / land.cell_m), land.elevation_m.shape)
    seconds = going.seconds(beds, frame, limit_s=1.6 * reach_m * going.flat_s_per_m)
    found: list[_Candidate] = []
    sorts = [
        _over_saddles(seconds, frame, land),
        _into_timber(centre, seconds, frame, land),
        _over_crest(centre, seconds, frame, land),
    ]
    for candidates in sorts:
        far = [c for c in sorted(candidates) if _straight(centre, c.cell, land) >= LEAST_M]
        kept = len(found) + EACH
        for candidate in far:
            if len(found) < kept and all(_turn(centre, candidate.cell, f.cell) >= 45.0 for f in found):
                found.append(candidate)
    found = sorted(found)[:MOST]
    return tuple(_told(centre, c, land) for c in found)


def _over_saddles(seconds: Raster, frame: Frame, land: Land) -> list[_Candidate]:
    inside = [
        (i, (s.row, s.col)) for i, s in enumerate(land.landforms.saddles) if frame.holds((s.row, s.col))
    ]
    all_of_them = [_Candidate(float(seconds[frame.inside(cell)]), cell, "a saddle", i) for i, cell in inside]
    return [c for c in all_of_them if np.isfinite(c.seconds)]


def _into_timber(centre: Cell, seconds: Raster, frame: Frame, land: Land) -> list[_Candidate]:
    timber = land.cover.kind[frame.cut] == Kind.TIMBER
    if land.cover.closure is not None:
        timber &= land.cover.closure[frame.cut] >= 0.4
    return _by_sector(centre, seconds, timber, frame, land, "timber")


def _over_crest(centre: Cell, seconds: Raster, frame: Frame, land: Land) -> list[_Candidate]:
    crest = land.landforms.ridgelines[frame.cut] & (
        land.elevation_m[frame.cut] >= land.elevation_m[centre] + 40.0
    )
    return _by_sector(centre, seconds, crest, frame, land, "up and over the crest")


def _by_sector(
    centre: Cell, seconds: Raster, mask: NDArray[np.bool_], frame: Frame, land: Land, over: str
) -> list[_Candidate]:
    """Quickest cell of a mask in each of eight directions, far enough away."""
    row, col = frame.inside(centre)
    rows, cols = np.nonzero(mask & np.isfinite(seconds))
    far = np.hypot(rows - row, cols - col) * land.cell_m >= LEAST_M
    rows, cols = rows[far], cols[far]
    if len(rows) == 0:
        return []
    sector = ((np.degrees(np.arctan2(cols - col, row - rows)) % 360.0) / (360.0 / SECTORS)).astype(np.int64)
    order = np.lexsort((cols, rows, seconds[rows, cols], sector))
    first = order[np.unique(sector[order], return_index=True)[1]]
    return [
        _Candidate(float(seconds[r, c]), frame.outside((r, c)), over, None)
        for r, c in zip(rows[first].tolist(), cols[first].tolist(), strict=True)
    ]


def _straight(a: Cell, b: Cell, land: Land) -> float:
    return float(np.hypot(a[0] - b[0], a[1] - b[1]) * land.cell_m)


def _turn(centre: Cell, a: Cell, b: Cell) -> float:
    """Angle between two cells as seen from the centre, degrees."""
    one = np.arctan2(a[1] - centre[1], centre[0] - a[0])
    two = np.arctan2(b[1] - centre[1], centre[0] - b[0])
    return float(abs((np.degrees(one - two) + 180.0) % 360.0 - 180.0))


def _told(centre: Cell, way: _Candidate, land: Land) -> WayOut:
    climb = float(land.elevation_m[way.cell] - land.elevation_m[centre])
    return WayOut(*way.cell, way.over, way.saddle, climb, _straight(centre, way.cell, land))

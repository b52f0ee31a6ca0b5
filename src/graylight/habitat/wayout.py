"""Ways out when pushed: by a saddle, into timber, or up and over the crest, in different directions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt

from graylight.ground.cover import Kind
from graylight.habitat.land import Land
from graylight.habitat.suitability import Raster
from graylight.habitat.ways import Cell, Frame, Going

__all__ = ["WayOut", "ways_out"]

Indices = NDArray[np.int64]
Degrees = NDArray[np.float64]

APART_DEG = 45.0
"""Two ways out nearer in direction than this are one. Proposed default."""
LEAST_M = 250.0
"""Nearer than this to the feed or to a bed is not out. Proposed default."""
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


class _Way(NamedTuple):
    seconds: float
    cell: Cell
    over: str
    saddle: int | None


class _Sort(NamedTuple):
    """Cells by which a sort of way leads out; `saddles` numbers them where they are saddles."""

    over: str
    rows: Indices
    cols: Indices
    saddles: list[int] | None


def ways_out(centre: Cell, beds: list[Cell], reach_m: float, going: Going, land: Land) -> tuple[WayOut, ...]:
    """The quickest ways out of each sort, each at least 45 degrees from those before it, quickest first."""
    frame = Frame.around(centre, round(reach_m / land.cell_m), land.elevation_m.shape)
    seconds = going.seconds(beds, frame, limit_s=1.6 * reach_m * going.flat_s_per_m)
    seconds[_near([centre, *beds], frame, land)] = np.inf
    found: list[_Way] = []
    for sort in (_saddles(frame, land), _timber(frame, land), _crest(centre, frame, land)):
        found += _quickest(sort, centre, seconds, found, frame)
    return tuple(_told(centre, way, land) for way in sorted(found)[:MOST])


def _near(cells: list[Cell], frame: Frame, land: Land) -> NDArray[np.bool_]:
    """Ground that is not out yet: near the middle of the feed, or near a bed (its own timber is no way out of it)."""
    away = np.ones(land.elevation_m[frame.cut].shape, bool)
    for cell in cells:
        if frame.holds(cell):
            away[frame.inside(cell)] = False
    return np.asarray(distance_transform_edt(away) * land.cell_m < LEAST_M, bool)


def _saddles(frame: Frame, land: Land) -> _Sort:
    inside = [(i, s) for i, s in enumerate(land.landforms.saddles) if frame.holds((s.row, s.col))]
    cells = np.array([frame.inside((s.row, s.col)) for _, s in inside], np.int64).reshape(-1, 2)
    return _Sort("a saddle", cells[:, 0], cells[:, 1], [i for i, _ in inside])


def _timber(frame: Frame, land: Land) -> _Sort:
    timber = land.cover.kind[frame.cut] == Kind.TIMBER
    if land.cover.closure is not None:
        timber &= land.cover.closure[frame.cut] >= 0.4
    rows, cols = np.nonzero(timber)
    return _Sort("timber", rows, cols, None)


def _crest(centre: Cell, frame: Frame, land: Land) -> _Sort:
    high = land.elevation_m[frame.cut] >= land.elevation_m[centre] + 40.0
    rows, cols = np.nonzero(land.landforms.ridgelines[frame.cut] & high)
    return _Sort("up and over the crest", rows, cols, None)


def _quickest(sort: _Sort, centre: Cell, seconds: Raster, before: list[_Way], frame: Frame) -> list[_Way]:
    """Up to two of a sort, the quickest first; ties by place."""
    row, col = frame.inside(centre)
    time = seconds[sort.rows, sort.cols]
    left = np.isfinite(time)
    toward = np.degrees(np.arctan2(sort.cols - col, row - sort.rows))
    for way in before:
        left &= _turn(toward, _toward(centre, way.cell)) >= APART_DEG
    found: list[_Way] = []
    while left.any() and len(found) < EACH:
        i = int(np.argmin(np.where(left, time, np.inf)))
        cell = frame.outside((int(sort.rows[i]), int(sort.cols[i])))
        found.append(_Way(float(time[i]), cell, sort.over, None if sort.saddles is None else sort.saddles[i]))
        left &= _turn(toward, toward[i]) >= APART_DEG
    return found


def _toward(centre: Cell, cell: Cell) -> float:
    return float(np.degrees(np.arctan2(cell[1] - centre[1], centre[0] - cell[0])))


def _turn(toward: Degrees, other: float) -> Degrees:
    """Angle between directions, degrees."""
    return np.asarray(np.abs((toward - other + 180.0) % 360.0 - 180.0), np.float64)


def _straight(a: Cell, b: Cell, land: Land) -> float:
    return float(np.hypot(a[0] - b[0], a[1] - b[1]) * land.cell_m)


def _told(centre: Cell, way: _Way, land: Land) -> WayOut:
    climb = float(land.elevation_m[way.cell] - land.elevation_m[centre])
    return WayOut(*way.cell, way.over, way.saddle, climb, _straight(centre, way.cell, land))

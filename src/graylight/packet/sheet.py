"""Maps at a true printed scale: which scale, which piece of country, how large on the paper."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from graylight.drawing.frame import Frame, frame_of
from graylight.grid import Bounds, Grid, LonLat

__all__ = ["PX_PER_MM", "SCALES", "MapSheet", "map_sheet", "whole_sheet"]

SCALES = (
    24_000, 30_000, 40_000, 50_000, 62_500, 75_000, 100_000, 125_000, 150_000, 200_000, 250_000, 500_000, 1_000_000,
    2_000_000,
)  # fmt: skip
"""Denominators, the one of the US 7.5 minute sheets first."""
UPRIGHT_MM, ACROSS_MM = (176, 206), (240, 140)
"""Most room for a map's body on an upright page and on one laid across: it fits both Letter and A4."""
PX_PER_MM = 6
"""Pixels of the ground's tints on a millimetre of paper; lines and letters are drawn sharp."""
_MARGIN_M = 250.0
"""Ground shown beyond what has to be on the map."""


@dataclass(frozen=True, slots=True)
class MapSheet:
    """A piece of country on paper.

    Parameters
    ----------
    frame
        Where places lie on its pixels; its box is in the grid's CRS.
    scale
        Denominator of the printed scale, in metres of the grid.
    across
        Whether the page is laid across.
    """

    frame: Frame
    scale: int
    across: bool

    @property
    def size_mm(self) -> tuple[int, int]:
        """Width and height of the body on the paper."""
        return self.frame.width // PX_PER_MM, self.frame.height // PX_PER_MM

    @property
    def metres_per_mm(self) -> float:
        """Of the grid, on a millimetre of paper."""
        return self.scale / 1000.0


def map_sheet(grid: Grid, places: Iterable[LonLat]) -> MapSheet:
    """The largest scale, 1:24,000 at the most, at which some places find room on a page.

    Parameters
    ----------
    grid
        The country's grid; the map never shows ground beyond it.
    places
        What has to be on the map; those outside the country are left out of account. None: the whole country.
    """
    lonlats = np.array([(p.lon, p.lat) for p in places if grid.contains(p)], dtype=np.float64)
    if not len(lonlats):
        return whole_sheet(grid)
    whole = frame_of(grid, width=1000, tallest=math.inf, flattest=0.0)
    at = whole.pixels(lonlats) * whole.metres_per_pixel
    edge = grid.bounds
    low, high = at.min(axis=0) - _MARGIN_M, at.max(axis=0) + _MARGIN_M
    asked = Bounds(edge.west + low[0], edge.north - high[1], edge.west + high[0], edge.north - low[1])
    wanted = Bounds(
        max(asked.west, edge.west), max(asked.south, edge.south), min(asked.east, edge.east), min(asked.north, edge.north)
    )  # fmt: skip
    return _sheet(grid, wanted)


def whole_sheet(grid: Grid) -> MapSheet:
    """The whole country on one page."""
    return _sheet(grid, grid.bounds)


def _sheet(grid: Grid, wanted: Bounds) -> MapSheet:
    wide, high = wanted.east - wanted.west, wanted.north - wanted.south
    for scale in SCALES:
        for across, room in ((False, UPRIGHT_MM), (True, ACROSS_MM)):
            if wide * 1000.0 <= room[0] * scale and high * 1000.0 <= room[1] * scale:
                return MapSheet(_frame(grid, wanted, scale, room), scale, across)
    return MapSheet(_frame(grid, wanted, SCALES[-1], UPRIGHT_MM), SCALES[-1], across=False)


def _frame(grid: Grid, wanted: Bounds, scale: int, room_mm: tuple[int, int]) -> Frame:
    """The whole room about the middle of what is wanted, moved and cut so that it lies on the grid."""
    edge, per_mm = grid.bounds, scale / 1000.0
    wide, west = _span(edge.west, edge.east, wanted.west, wanted.east, room_mm[0], per_mm)
    high, south = _span(edge.south, edge.north, wanted.south, wanted.north, room_mm[1], per_mm)
    box = Bounds(west, south, west + wide * per_mm, south + high * per_mm)
    return Frame(grid, box, wide * PX_PER_MM, high * PX_PER_MM)


def _span(
    edge_low: float, edge_high: float, low: float, high: float, most_mm: int, per_mm: float
) -> tuple[int, float]:
    """Whole millimetres shown along one side, and where they begin."""
    shown_mm = max(min(most_mm, math.floor((edge_high - edge_low) / per_mm + 1e-9)), 1)
    begin = (low + high) / 2.0 - shown_mm * per_mm / 2.0
    return shown_mm, float(min(max(begin, edge_low), edge_high - shown_mm * per_mm))

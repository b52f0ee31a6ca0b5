"""Animal ways: by an animal's own cost, not a walker's.

Contouring before climbing, cliffs shut, open ground dear by day.

Common practice, no source; the numbers are in the animal's profile.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from graylight.ground.cover import Kind
from graylight.habitat.land import Land
from graylight.habitat.profile import WayNumbers
from graylight.habitat.suitability import Raster
from graylight.kernels.costpath import EVERYWHERE, least_time, nodes

__all__ = ["Cell", "Frame", "Going", "going"]

Cell = tuple[int, int]
SLOPE_MIN, SLOPE_STEP, SLOPES = -1.5, 0.05, 61


@dataclass(frozen=True, slots=True)
class Frame:
    """A piece cut out of the country's grid: rows top..bottom - 1, columns left..right - 1."""

    top: int
    left: int
    bottom: int
    right: int

    @classmethod
    def around(cls, cell: Cell, reach: int, shape: tuple[int, int]) -> Frame:
        """A square about a cell, cut off at the country's edge."""
        row, col = cell
        return cls(
            max(row - reach, 0),
            max(col - reach, 0),
            min(row + reach + 1, shape[0]),
            min(col + reach + 1, shape[1]),
        )

    @property
    def cut(self) -> tuple[slice, slice]:
        """Index of the piece."""
        return slice(self.top, self.bottom), slice(self.left, self.right)

    def inside(self, cell: Cell) -> Cell:
        """The cell counted from the piece's own corner."""
        return cell[0] - self.top, cell[1] - self.left

    def outside(self, cell: Cell) -> Cell:
        """The cell counted from the country's corner."""
        return int(cell[0]) + self.top, int(cell[1]) + self.left

    def holds(self, cell: Cell) -> bool:
        """Whether the cell lies in the piece."""
        return self.top <= cell[0] < self.bottom and self.left <= cell[1] < self.right


@dataclass(frozen=True)
class Going:
    """How an animal gets over the country.

    Parameters
    ----------
    elevation_m, factor : (rows, cols) float32
        Factor on the time; inf where shut.
    pace : (1, slopes) float32
        Seconds per metre by slope.
    cell_m : float
    """

    elevation_m: NDArray[np.float32]
    factor: NDArray[np.float32]
    pace: NDArray[np.float32]
    cell_m: float

    def seconds(
        self, cells: list[Cell], frame: Frame, *, toward: bool = False, limit_s: float = 1e9
    ) -> Raster:
        """Time from the nearest of the cells (or toward it) over one piece; inf where not reached."""
        elevation = np.ascontiguousarray(self.elevation_m[frame.cut])
        factor = np.ascontiguousarray(self.factor[frame.cut])
        rows = np.array([frame.inside(c)[0] for c in cells], np.int64)
        cols = np.array([frame.inside(c)[1] for c in cells], np.int64)
        out = np.empty(elevation.shape, np.float32)
        came = np.empty(elevation.shape, np.int8)
        surface = np.zeros(elevation.shape, np.uint8)
        least_time(
            elevation, factor, surface, self.pace, SLOPE_MIN, SLOPE_STEP, self.cell_m,
            rows, cols, np.zeros(len(cells)), limit_s, toward, EVERYWHERE, nodes(out.shape), out, came,
        )  # fmt: skip
        return out

    @cached_property
    def flat_s_per_m(self) -> float:
        """Pace on flat open ground."""
        return float(self.pace[0, round(-SLOPE_MIN / SLOPE_STEP)])


def going(land: Land, numbers: WayNumbers, *, daylight: float) -> Going:
    """What the country costs an animal to cross.

    Parameters
    ----------
    daylight : float
        0 in the dark, when open ground is cheap; 1 by day; about a half at first light.
    """
    open_factor = 1.0 + (numbers.open_by_day - 1.0) * daylight
    lookup = np.full(256, open_factor, np.float32)
    lookup[int(Kind.TIMBER)] = 1.0
    lookup[int(Kind.BRUSH)] = 1.0 + 0.5 * (open_factor - 1.0)
    lookup[int(Kind.UNKNOWN)] = lookup[int(Kind.BRUSH)]
    lookup[int(Kind.ROCK)] = open_factor * numbers.rock_factor
    factor = lookup[land.cover.kind]
    if land.cover.closure is not None:
        factor = 1 + (factor - 1) * (1 - land.cover.closure)
    factor[land.traces] *= np.float32(numbers.trace_factor)
    steep = np.nan_to_num(land.relief.slope_deg, nan=90.0) > numbers.cliff_deg
    factor[steep | land.water.deep | np.isnan(land.elevation_m)] = np.inf
    # beyond the outermost cells nothing is known: no way runs along them and no place lies on them
    factor[[0, -1]], factor[:, [0, -1]] = np.inf, np.inf
    return Going(land.elevation_m, factor, _pace(numbers), land.cell_m)


def _pace(numbers: WayNumbers) -> NDArray[np.float32]:
    slope = SLOPE_MIN + SLOPE_STEP * np.arange(SLOPES)
    seconds = 1 / numbers.flat_speed_m_s + numbers.climb_s_per_m * np.maximum(slope, 0)
    seconds += numbers.fall_s_per_m * np.maximum(-slope, 0)
    return np.asarray(seconds[np.newaxis], np.float32)

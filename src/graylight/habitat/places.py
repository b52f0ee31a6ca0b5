"""The likeliest places of a pocket: a few cells, well apart, that stand for its feed or its beds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt

from graylight.ground.kind import WORDS, Kind
from graylight.habitat.land import Land
from graylight.habitat.suitability import Raster, smooth
from graylight.habitat.ways import Cell, Frame

__all__ = ["Spot", "best_spots", "compass"]

SIDES = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


@dataclass(frozen=True, slots=True)
class Spot:
    """A place in a pocket: cell, suitability in [0, 1], the area it stands for, what it is in plain words."""

    kind: Literal["feed", "bed"]
    row: int
    col: int
    suitability: float
    area_m2: float
    words: str


def best_spots(
    worth: Raster,
    mask: NDArray[np.bool_],
    frame: Frame,
    land: Land,
    *,
    kind: Literal["feed", "bed"],
    most: int,
    apart_m: float,
    near: tuple[Spot, ...] = (),
    reach_m: float = 0.0,
    off_m: float = 0.0,
) -> tuple[Spot, ...]:
    """The best cells of a mask by worth smoothed over about 40 m, each at least `apart_m` from the others.

    With `near`, only cells between `off_m` and `reach_m` from the nearest of those, the nearer ones preferred.
    """
    ground = smooth(np.where(mask, worth[frame.cut], 0).astype(np.float32), 40.0, land.cell_m)
    ground = np.where(mask, ground, 0)
    if near:
        ground = ground * _nearness(near, frame, ground.shape, land.cell_m, off_m, reach_m)
    cells = _peaks(ground, most, apart_m / land.cell_m)
    areas = _areas(mask, cells, land.cell_m)
    return tuple(_spot(kind, frame.outside(c), worth, a, land) for c, a in zip(cells, areas, strict=True))


def _nearness(
    near: tuple[Spot, ...], frame: Frame, shape: tuple[int, int], cell_m: float, off_m: float, reach_m: float
) -> Raster:
    away = np.ones(shape, bool)
    for spot in near:
        away[frame.inside((spot.row, spot.col))] = False
    far = distance_transform_edt(away) * cell_m
    return np.where((far >= off_m) & (far <= reach_m), np.exp(-far / (2.0 * reach_m)), 0).astype(np.float32)


def _peaks(ground: Raster, most: int, apart: float) -> list[Cell]:
    """Highest cells in turn, each clearing a disc around it; none under 0.6 of the first."""
    left = ground.copy()
    rows, cols = np.ogrid[: left.shape[0], : left.shape[1]]
    found: list[Cell] = []
    first = float(left.max())
    while len(found) < most:
        row, col = (int(i) for i in np.unravel_index(int(np.argmax(left)), left.shape))
        if left[row, col] <= 0.0 or left[row, col] < 0.6 * first:
            break
        found.append((row, col))
        left[np.hypot(rows - row, cols - col) < apart] = 0
    return found


def _areas(mask: NDArray[np.bool_], cells: list[Cell], cell_m: float) -> list[float]:
    """Area of the mask that lies nearest to each cell."""
    rows, cols = np.nonzero(mask)
    if not cells:
        return []
    far = np.stack([np.hypot(rows - r, cols - c) for r, c in cells])
    return (np.bincount(np.argmin(far, axis=0), minlength=len(cells)) * cell_m**2).tolist()  # type: ignore[no-any-return]


def _spot(kind: Literal["feed", "bed"], cell: Cell, worth: Raster, area: float, land: Land) -> Spot:
    cover = WORDS[Kind(int(land.cover.kind[cell]))]
    slope = float(land.relief.slope_deg[cell])
    aspect = float(land.relief.aspect_deg[cell])
    ground = "level" if slope < 4.0 or np.isnan(aspect) else f"facing {compass(aspect)}"
    words = f"{cover}, {ground}, slope {slope:.0f} degrees"
    if kind == "bed":
        words += f", in shade about {10 * round(10 * float(land.shade_midday[cell]))} % of midday"
    return Spot(kind, *cell, float(worth[cell]), area, words)


def compass(azimuth_deg: float) -> str:
    """Side of the compass in words.

    >>> compass(350.0), compass(47.0)
    ('north', 'north-east')
    """
    return SIDES[round(azimuth_deg / 45.0) % 8]

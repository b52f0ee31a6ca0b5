"""The viewshed of one place: margins in metres, and the plain yes or no that others can check it by."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from graylight.errors import BadInput
from graylight.kernels.viewshed import BLOCK, block_tops, crossing_margin, fan_margin

__all__ = [
    "CLOSE",
    "DEEP",
    "EARTH_RADIUS_M",
    "Tops",
    "bend",
    "margin_between",
    "margins",
    "reach_cells",
    "tops",
    "visible",
]

EARTH_RADIUS_M = 6371000.0
CLOSE = 0.15
"""Margins nearer to zero than this many cells are checked along their own direction (docs/sight.md: what it buys)."""
DEEP = 0.2
"""How many cells below zero a margin must lie before it may be told as just hidden, not by how much."""


FEW_RAYS = 192
"""Up to so many rays to an octant there may be two to a cell of the rim."""


@dataclass(frozen=True, slots=True)
class Tops:
    """The highest ground of each block of cells, by which whole wedges are known to be hidden.

    Parameters
    ----------
    highest_m : (blocks, blocks) float32
    holed : (blocks, blocks) bool
        Whether some ground in the block is not known.
    """

    highest_m: NDArray[np.float32]
    holed: NDArray[np.bool_]


def bend(refraction: float) -> float:
    """Apparent fall of the ground per square metre of distance, (1 - k) / (2 R), in 1/m.

    >>> round(bend(1 / 7) * 3000**2, 3)
    0.605
    """
    return (1.0 - refraction) / (2.0 * EARTH_RADIUS_M)


def reach_cells(radius_m: float, cell_m: float, shape: tuple[int, ...]) -> int:
    """A radius in cells, at least 1, and no farther than across the whole grid."""
    return max(1, min(int(radius_m // cell_m), int(math.hypot(*shape)) + 1))


def tops(ground_m: NDArray[np.float32], within: tuple[slice, slice] | None = None) -> Tops:
    """The highest ground of each block, of the whole grid or of a window of it."""
    rows, cols = ground_m.shape
    window = (slice(0, rows), slice(0, cols)) if within is None else within
    shape = (rows - 1) // BLOCK + 1, (cols - 1) // BLOCK + 1
    made = Tops(np.empty(shape, np.float32), np.empty(shape, np.bool_))
    block_tops(
        ground_m, window[0].start, window[0].stop, window[1].start, window[1].stop, made.highest_m, made.holed
    )
    return made


def margins(
    surface_m: NDArray[np.float32],
    ground_m: NDArray[np.float32],
    *,
    row: int,
    col: int,
    cell_m: float,
    eye_m: float,
    target_m: float,
    radius_cells: int,
    refraction: float = 1 / 7,
    known: Tops | None = None,
    deep_m: float = math.inf,
    coarseness: int = 1,
) -> NDArray[np.float32]:
    """Metres by which a target on each cell clears, at the target, the horizon in front of it.

    Parameters
    ----------
    surface_m, ground_m : (rows, cols) float32
        What stands in the way (ground, or ground plus canopy; NaN is opaque), and the bare ground on which
        watcher and targets stand.
    row, col : int
        The watcher's cell, whose ground must be known.
    cell_m, eye_m, target_m : float
        Cell size; heights above the ground.
    radius_cells : int
        How far to look.
    refraction : float
        Refraction coefficient k.
    known : Tops, optional
        Of `ground_m`, when many places look over the same ground.
    deep_m : float
        Targets hidden by more may be told as -1e6: what lies behind a high rim is then not gone through.
    coarseness : int
        1: a ray to each cell of the rim, close answers checked again. 2 or more: a ray to every second (...) cell
        and no check, for sums over many places (docs/sight.md tells how exact that is).

    Returns
    -------
    (2 radius_cells + 1, 2 radius_cells + 1) float32
        Centred on the watcher; negative where hidden, NaN outside the disc or the grid and over NaN ground.
        The ends' own cells are never in the way: what stands on them is taken to have openings.

    Notes
    -----
    Does not model light passing through foliage, haze, or anything smaller than a cell.
    """
    out = np.empty((2 * radius_cells + 1, 2 * radius_cells + 1), np.float32)
    if known is None:
        known = tops(ground_m, overlap(row, col, radius_cells, *ground_m.shape)[0])
    fan_margin(
        surface_m, ground_m, known.highest_m, known.holed, row, col, float(ground_m[row, col]) + eye_m, target_m,
        cell_m, bend(refraction), radius_cells, _rays(radius_cells, coarseness),
        CLOSE * cell_m if coarseness == 1 else 0.0, deep_m, out,
    )  # fmt: skip
    return out


def _rays(radius_cells: int, coarseness: int) -> int:
    """One to each cell of the rim, twice as many on small discs, where they cost little; a number that can be halved."""
    rays = max(1, radius_cells // coarseness)
    rays = max(rays, min(2 * rays, FEW_RAYS))
    return rays if rays < 16 else -(-rays // 16) * 16


def visible(
    elevation_m: NDArray[np.floating],
    *,
    row: int,
    col: int,
    cell_m: float,
    eye_m: float,
    target_m: float,
    radius_m: float | None = None,
    refraction: float = 1 / 7,
) -> NDArray[np.bool_]:
    """Which cells can be seen from one, over terrain alone.

    Parameters
    ----------
    elevation_m : (rows, cols) float
        NaN where unknown: opaque, and never visible.
    row, col : int
        The watcher's cell.
    cell_m, eye_m, target_m : float
        Cell size; heights of eye and of targets above the ground.
    radius_m : float, optional
        How far to look; none: over the whole grid.
    refraction : float
        Refraction coefficient k; GDAL's `-cc` is 1 - k.

    Returns
    -------
    (rows, cols) bool
        The watcher's own cell and those that touch it are visible.

    Raises
    ------
    BadInput
        The watcher stands outside the grid or on unknown ground.
    """
    rows, cols = elevation_m.shape
    if not (0 <= row < rows and 0 <= col < cols) or math.isnan(elevation_m[row, col]):
        raise BadInput(
            f"no ground is known at row {row}, column {col} of {rows} x {cols}; choose a cell with elevation"
        )
    farthest = int(math.hypot(max(row, rows - 1 - row), max(col, cols - 1 - col))) + 1
    radius = farthest if radius_m is None else min(int(radius_m // cell_m), farthest)
    ground = np.ascontiguousarray(elevation_m, np.float32)
    window = margins(
        ground, ground, row=row, col=col, cell_m=cell_m, eye_m=eye_m, target_m=target_m,
        radius_cells=radius, refraction=refraction, deep_m=DEEP * cell_m,
    )  # fmt: skip
    out = np.zeros((rows, cols), bool)
    inside, cut = overlap(row, col, radius, rows, cols)
    out[inside] = window[cut] >= 0.0
    return out


def overlap(
    row: int, col: int, radius: int, rows: int, cols: int
) -> tuple[tuple[slice, slice], tuple[slice, slice]]:
    """Where a window of a radius about a cell lies on the grid, and which part of the window that is."""
    top, left = max(row - radius, 0), max(col - radius, 0)
    bottom, right = min(row + radius + 1, rows), min(col + radius + 1, cols)
    on_grid = slice(top, bottom), slice(left, right)
    shift_row, shift_col = row - radius, col - radius
    return on_grid, (slice(top - shift_row, bottom - shift_row), slice(left - shift_col, right - shift_col))


def margin_between(
    surface_m: NDArray[np.float32],
    ground_m: NDArray[np.float32],
    *,
    eye: tuple[int, int],
    target: tuple[int, int],
    cell_m: float,
    eye_m: float,
    target_m: float,
    refraction: float = 1 / 7,
) -> tuple[float, float, float]:
    """Margin of one target by every crossing, and the (row, col) of the crossing that decides it."""
    z0 = float(ground_m[eye]) + eye_m
    z1 = float(ground_m[target]) + target_m
    return crossing_margin(surface_m, *eye, z0, *target, z1, cell_m, bend(refraction))  # type: ignore[no-any-return]

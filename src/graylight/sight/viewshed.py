"""The viewshed of one place: margins in metres, and the plain yes or no that others can check it by."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from graylight.errors import BadInput
from graylight.kernels.viewshed import crossing_margin, fan_margin

__all__ = ["CLOSE_M", "EARTH_RADIUS_M", "bend", "margin_between", "margins", "visible"]

EARTH_RADIUS_M = 6371000.0
CLOSE_M = 1.0
"""Margins nearer to zero than this are checked along their own direction (see docs/sight.md for what it buys)."""


def bend(refraction: float) -> float:
    """Apparent fall of the ground per square metre of distance, (1 - k) / (2 R), in 1/m.

    >>> round(bend(1 / 7) * 3000**2, 3)
    0.605
    """
    return (1.0 - refraction) / (2.0 * EARTH_RADIUS_M)


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
    eye_z = float(ground_m[row, col]) + eye_m
    fan_margin(
        surface_m,
        ground_m,
        row,
        col,
        eye_z,
        target_m,
        cell_m,
        bend(refraction),
        radius_cells,
        radius_cells,
        CLOSE_M,
        out,
    )
    return out


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
        radius_cells=radius, refraction=refraction,
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

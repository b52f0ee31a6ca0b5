"""Bowls: ground ringed by a rim over most of the horizon and open to one side, as glaciers leave it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from graylight.kernels.landform import ringed
from graylight.work import Tick, in_bands, silent

__all__ = ["COARSEST_BOWL_M", "Bowl", "bowls"]

COARSEST_BOWL_M = 100.0

LOOK_M = 1000.0
"""How far away the rim may stand. Common practice, no source: cirques are some hundreds of metres to 2 km wide."""
WALL_DEG = 9.0
"""Horizon angle that counts as rim. Common practice, no source."""
RINGED_LEAST = 0.62
"""Part of the horizon that must be rim: 10 of 16 directions. Common practice, no source."""
WAYS = 16
WORK_CELL_M = 30.0
"""Bowls are sought on cells no finer than this: they are hundreds of metres wide."""
FLOOR_DEG = 20.0
"""Floor is ground less steep than this; a bowl has at least `FLOOR_LEAST_M2` of it."""
FLOOR_LEAST_M2 = 40_000.0
RIM_LEAST_M = 80.0
"""The rim must stand so far above the floor, on average. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Bowl:
    """A bowl.

    Parameters
    ----------
    row, col
        The cell of its floor nearest to the floor's middle.
    label
        Its number in `Landforms.basin_labels`.
    area_m2
        Area of the floor and the foot of its walls: all ground that is ringed.
    opens_true_deg
        Azimuth of the open side, degrees clockwise from true north.
    ringed
        Part of the horizon that is rim, 0 to 1, mean over the floor.
    rim_m
        Mean height of the rim above the floor.
    """

    row: int
    col: int
    label: int
    area_m2: float
    opens_true_deg: float
    ringed: float
    rim_m: float


def bowls(
    elevation_m: NDArray[np.float32],
    slope_deg: NDArray[np.float32],
    *,
    cell_m: float,
    convergence_deg: float = 0.0,
    tick: Tick = silent,
) -> tuple[tuple[Bowl, ...], NDArray[np.int32]]:
    """Find the bowls of a raster.

    A cell is ringed when ground within 1 km rises to at least 9 degrees above it in at least 10 of 16 directions
    and the rest is one contiguous open side. A bowl is connected ringed ground with at least 4 ha of floor (less
    than 20 degrees steep) and a rim at least 80 m higher.

    Parameters
    ----------
    elevation_m, slope_deg
        (rows, cols) float32, NaN for unknown.
    cell_m, convergence_deg
        Cell size; true azimuth = grid azimuth + convergence.

    Returns
    -------
    bowls
        Largest first, ties by place.
    labels : (rows, cols) int32
        1, 2, ... in that order; 0 elsewhere.

    Notes
    -----
    Not modelled: how the bowl came about. A trough open at both ends is none; the blind head of a steep valley is.
    """
    labels = np.zeros(elevation_m.shape, np.int32)
    factor = max(1, int(WORK_CELL_M / cell_m))
    if cell_m > COARSEST_BOWL_M or min(elevation_m.shape) < 3 * factor:
        return (), labels
    ground, slope = _coarser(elevation_m, factor), _coarser(slope_deg, factor)
    size_m = cell_m * factor
    part, arcs, opening, rise = _look_round(ground, size_m, tick)
    inside = (part >= RINGED_LEAST) & (arcs <= 1)
    inside = ndimage.binary_opening(inside, structure=np.ones((2, 2), bool)) if size_m <= 45 else inside
    pieces, n = ndimage.label(inside, structure=np.ones((3, 3), int))
    floor = inside & (slope < FLOOR_DEG)
    found = []
    for k, window in enumerate(ndimage.find_objects(pieces, max_label=n), start=1):
        bowl = _bowl(k, window, pieces, floor, (part, opening, rise), size_m)
        if bowl is not None:
            found.append((bowl, window, k))
    found.sort(key=lambda entry: (-entry[0].area_m2, entry[0].row, entry[0].col))
    coarse = np.zeros(int(n) + 1, np.int32)
    for number, (_, _, k) in enumerate(found, start=1):
        coarse[k] = number
    labels = _finer(coarse[pieces], factor, elevation_m.shape)
    labels[np.isnan(elevation_m)] = 0
    return tuple(
        _placed(bowl, number, factor, convergence_deg, labels, cell_m)
        for number, (bowl, _, _) in enumerate(found, start=1)
    ), labels


def _bowl(
    k: int,
    window: tuple[slice, slice],
    pieces: NDArray[np.int32],
    floor: NDArray[np.bool_],
    rings: tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]],
    size_m: float,
) -> Bowl | None:
    """One piece of ringed ground as a bowl in the coarser cells and grid azimuths; none if it is not one."""
    here = pieces[window] == k
    low = here & floor[window]
    part, opening, rise = (ring[window] for ring in rings)
    if low.sum() * size_m**2 < FLOOR_LEAST_M2 or rise[low].mean() < RIM_LEAST_M:
        return None
    angle = np.radians(opening[low & ~np.isnan(opening)])
    opens = math.degrees(math.atan2(float(np.sin(angle).sum()), float(np.cos(angle).sum()))) % 360.0
    rows, cols = np.nonzero(low)
    nearest = int(np.argmin((rows - rows.mean()) ** 2 + (cols - cols.mean()) ** 2))
    row, col = int(rows[nearest]) + window[0].start, int(cols[nearest]) + window[1].start
    return Bowl(
        row, col, k, float(here.sum() * size_m**2), opens, float(part[low].mean()), float(rise[low].mean())
    )


def _placed(
    bowl: Bowl, number: int, factor: int, convergence_deg: float, labels: NDArray[np.int32], cell_m: float
) -> Bowl:
    """The bowl in the raster's own cells, with its final number and a true azimuth."""
    row = min(bowl.row * factor + factor // 2, labels.shape[0] - 1)
    col = min(bowl.col * factor + factor // 2, labels.shape[1] - 1)
    area = float((labels == number).sum() * cell_m**2)
    return Bowl(
        row, col, number, area, (bowl.opens_true_deg + convergence_deg) % 360.0, bowl.ringed, bowl.rim_m
    )


def _look_round(
    ground: NDArray[np.float32], size_m: float, tick: Tick
) -> tuple[NDArray[np.float32], NDArray[np.uint8], NDArray[np.float32], NDArray[np.float32]]:
    """Ringed part, open arcs, middle of the open side and rise of the rim of every coarser cell."""
    steps = max(1, round(LOOK_M / size_m))
    azimuth = 2.0 * np.pi * np.arange(WAYS) / WAYS
    reach = np.arange(1, steps + 1)
    rows = np.rint(-np.cos(azimuth)[:, None] * reach).astype(np.int64)
    cols = np.rint(np.sin(azimuth)[:, None] * reach).astype(np.int64)
    metres = (np.hypot(rows, cols) * size_m).astype(np.float32)
    part, opening, rise = (np.empty_like(ground) for _ in range(3))
    arcs = np.empty(ground.shape, np.uint8)
    wall = math.tan(math.radians(WALL_DEG))
    in_bands(
        lambda a, b: ringed(ground, rows, cols, metres, wall, a, b, part, arcs, opening, rise),
        ground.shape[0],
        rows_at_once=16,
        tick=tick,
    )
    return part, arcs, opening, rise


def _coarser(raster: NDArray[np.float32], factor: int) -> NDArray[np.float32]:
    """Means over blocks of factor x factor cells (whole blocks only), NaN where any cell is unknown."""
    if factor == 1:
        return raster
    rows, cols = raster.shape[0] // factor, raster.shape[1] // factor
    blocks = raster[: rows * factor, : cols * factor].reshape(rows, factor, cols, factor)
    mean: NDArray[np.float32] = blocks.mean(axis=(1, 3), dtype=np.float64).astype(np.float32)
    return mean


def _finer(labels: NDArray[np.int32], factor: int, shape: tuple[int, ...]) -> NDArray[np.int32]:
    """Labels of the coarser cells on the raster's own; 0 on what is left of a block at the far edges."""
    out = np.zeros(shape, np.int32)
    wide = labels.repeat(factor, axis=0).repeat(factor, axis=1)
    out[: wide.shape[0], : wide.shape[1]] = wide
    return out

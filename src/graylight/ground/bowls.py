"""Bowls: ground ringed by a rim over most of the horizon and open to one side, as glaciers leave it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from graylight.ground.drainage import drainage_area_m2
from graylight.ground.patches import Window, blocks, middle, patches, pieces_of, renumbered
from graylight.kernels.landform import ringed
from graylight.work import Tick, in_bands, silent

__all__ = ["COARSEST_BOWL_M", "Bowl", "bowls"]

COARSEST_BOWL_M = 100.0

LOOK_M = 1000.0
"""How far away the rim may stand. Common practice, no source: cirques are some hundreds of metres to 2 km
wide."""
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
WIDTH_M = 180.0
"""Ringed ground narrower than this is a gully or a gorge. Common practice, no source."""
TRUNK_M2 = 3.0e6
BANK_M = 150.0
"""Ground this near to a stream that drains more than `TRUNK_M2` is valley floor: a bowl heads its own water.
Common practice, no source."""
HEADWALL_DEG = 25.0
WALL_WIDTH_M = 200.0
"""A quarter of a bowl with its surroundings of this width must be at least so steep: ice leaves steep walls,
running water rounded hollows. Common practice, no source; cells of 80 m show 45 degrees as about 30."""


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

    A cell is ringed when ground within 1 km rises to at least 9 degrees above it in at least 10 of 16
    directions and the rest is one contiguous open side. Ground narrower than 180 m, and the floor of a
    valley that already drains more than 3 km2, is left out. A bowl is a connected piece of what remains with
    at least 4 ha of floor (less than 20 degrees steep), a rim at least 80 m higher and steep walls.

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
    Not modelled: how the bowl came about. A trough open at both ends is none; the blind head of a steep
    valley is. A bowl cut by the edge of the country is found only as far as its rim lies inside.
    """
    factor = max(1, int(WORK_CELL_M / cell_m))
    if cell_m > COARSEST_BOWL_M or min(elevation_m.shape) < 3 * factor:
        return (), np.zeros(elevation_m.shape, np.int32)
    ground, slope, size_m = blocks(elevation_m, factor), blocks(slope_deg, factor), cell_m * factor
    part, arcs, opening, rise = _look_round(ground, size_m, tick)
    inside = (part >= RINGED_LEAST) & (arcs <= 1) & ~_valley_floor(ground, size_m)
    width = max(1, round(WIDTH_M / size_m))
    pieces, n = patches(ndimage.binary_opening(inside, structure=np.ones((width, width), bool)))
    found = []
    for k, window, mask in pieces_of(pieces, n):
        low = mask & (slope[window] < FLOOR_DEG)
        if low.sum() * size_m**2 < FLOOR_LEAST_M2 or not _walled(slope, pieces, k, window, size_m):
            continue
        row, col = middle(low, window)
        opens = _mean_azimuth(opening[window][low])
        ring, rim_m = float(part[window][low].mean()), float(rise[window][low].mean())
        if rim_m >= RIM_LEAST_M:
            found.append(Bowl(row, col, k, float(mask.sum() * size_m**2), opens, ring, rim_m))
    found.sort(key=lambda bowl: (-bowl.area_m2, bowl.row, bowl.col))
    labels = _finer(renumbered(pieces, [bowl.label for bowl in found]), factor, elevation_m.shape)
    labels[np.isnan(elevation_m)] = 0
    placed = tuple(
        _placed(bowl, number, factor, convergence_deg) for number, bowl in enumerate(found, start=1)
    )
    return placed, labels


def _valley_floor(ground: NDArray[np.float32], size_m: float) -> NDArray[np.bool_]:
    """Ground along streams that come from farther than a bowl."""
    area = np.nan_to_num(drainage_area_m2(ground, cell_m=size_m))
    half = max(1, round(BANK_M / size_m))
    floor: NDArray[np.bool_] = ndimage.maximum_filter(area, 2 * half + 1) > TRUNK_M2
    return floor


def _walled(
    slope: NDArray[np.float32], pieces: NDArray[np.int32], k: int, window: Window, size_m: float
) -> bool:
    """Whether a quarter of a piece and its surroundings is as steep as a headwall."""
    more = max(1, round(WALL_WIDTH_M / size_m))
    wide = tuple(slice(max(s.start - more, 0), s.stop + more) for s in window)
    around = ndimage.binary_dilation(pieces[wide] == k, iterations=more)
    return bool(np.nanpercentile(slope[wide][around], 75.0) >= HEADWALL_DEG)


def _mean_azimuth(azimuth_deg: NDArray[np.float32]) -> float:
    """Circular mean in [0, 360) of the azimuths that are known."""
    angle = np.radians(azimuth_deg[~np.isnan(azimuth_deg)].astype(np.float64))
    return math.degrees(math.atan2(float(np.sin(angle).sum()), float(np.cos(angle).sum()))) % 360.0


def _placed(bowl: Bowl, number: int, factor: int, convergence_deg: float) -> Bowl:
    """The bowl in the raster's own cells, with its final number and a true azimuth."""
    row, col = bowl.row * factor + factor // 2, bowl.col * factor + factor // 2
    opens = (bowl.opens_true_deg + convergence_deg) % 360.0
    return replace(bowl, row=row, col=col, label=number, opens_true_deg=opens)


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


def _finer(labels: NDArray[np.int32], factor: int, shape: tuple[int, ...]) -> NDArray[np.int32]:
    """Labels of the coarser cells on the raster's own; 0 on what is left of a block at the far edges."""
    out = np.zeros(shape, np.int32)
    wide = labels.repeat(factor, axis=0).repeat(factor, axis=1)
    out[: wide.shape[0], : wide.shape[1]] = wide
    return out

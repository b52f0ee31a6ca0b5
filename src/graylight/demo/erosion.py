"""Uplift against running water: the valleys and ridges of the invented range.

Stream-power incision dz/dt = U - K A^m S (m 0.45, slope exponent 1), solved implicitly from the outlets
upward along the drainage (Braun & Willett 2013, doi:10.1016/j.geomorph.2012.10.008), with slopes that stand
no steeper than a threshold and a little creep. Time and rates have no calendar: only their ratio counts.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from graylight.kernels.drainage import accumulate, receivers

__all__ = [
    "Cells",
    "Floats",
    "Flow",
    "Numbers",
    "breach",
    "combed",
    "drainage",
    "erode",
    "open_ways",
    "slump",
]

Floats = NDArray[np.float32]
Cells = NDArray[np.int64]
Numbers = NDArray[np.int32]

AREA_EXPONENT = 0.45


@njit(cache=True, nogil=True)
def _stands(heights: Floats, at: int, cols: int, rise: float) -> float:
    """Highest the ground can stand here over its neighbours with a gradient of at most `rise` a cell.

    Upwind solution of |grad z| = s (Sethian 1996, doi:10.1073/pnas.93.4.1591): alike in all directions.
    """
    aside = min(heights[at - 1], heights[at + 1])
    along = min(heights[at - cols], heights[at + cols])
    apart = abs(aside - along)
    if apart >= rise:
        return float(min(aside, along) + rise)
    return float(0.5 * (aside + along + math.sqrt(2.0 * rise * rise - apart * apart)))


@njit(cache=True, nogil=True)
def _cut(
    z: Floats,
    uplift: Floats,
    erodibility: Floats,
    receiver: Cells,
    order: Cells,
    cells: NDArray[np.float64],
    cell_m: float,
    head_m2: float,
) -> None:
    """One implicit step from the outlets upward; streams begin where `head_m2` drains together."""
    cols = z.shape[1]
    heights = z.ravel()
    lift, k = uplift.ravel(), erodibility.ravel()
    for n in range(order.size):
        cell = order[n]
        down = receiver[cell]
        if down == cell:
            continue
        run = cell_m
        if cell // cols != down // cols and cell % cols != down % cols:
            run *= 1.4142135623730951
        area = cells[cell] * cell_m * cell_m
        pull = k[cell] * area**AREA_EXPONENT / run
        pull *= (area / (area + head_m2)) ** 2
        raised = heights[cell] + lift[cell]
        below = heights[down]
        if raised > below:
            raised = (raised + pull * below) / (1.0 + pull)
        heights[cell] = raised


@njit(cache=True, nogil=True)
def slump(z: Floats, steepest: Floats, cell_m: float) -> None:
    """Lower what stands steeper than its threshold: sweeps from all four corners.

    Fast sweeping (Zhao 2005, doi:10.1090/S0025-5718-04-01678-3), one round.
    """
    rows, cols = z.shape
    heights = z.ravel()
    for sweep in range(4):
        for i in range(1, rows - 1):
            r = i if sweep < 2 else rows - 1 - i
            for j in range(1, cols - 1):
                c = j if sweep % 2 == 0 else cols - 1 - j
                z[r, c] = min(z[r, c], _stands(heights, r * cols + c, cols, steepest[r, c] * cell_m))


@njit(cache=True, nogil=True)
def open_ways(z: Floats, lake: Numbers, receiver: Cells, order: Cells, most_m: float) -> None:
    """From the top down, cut a hollow's way out to the hollow's own depth, lakes and the edge left alone."""
    before = z.copy()
    for n in range(order.size - 1, -1, -1):
        cell = order[n]
        down = receiver[cell]
        if down == cell or lake[cell] > 0 or lake[down] > 0 or receiver[down] == down:
            continue
        if z[cell] < z[down]:
            z[down] = max(z[cell], before[down] - most_m)


class Flow(NamedTuple):
    """Drainage of a raster, flat: see `graylight.kernels.drainage`."""

    receiver: Cells
    order: Cells
    cells: NDArray[np.float64]


def drainage(z: Floats) -> Flow:
    """Receivers, order from the outlets upward, and number of cells drained, all flat."""
    receiver = np.empty(z.size, np.int64)
    order = np.empty(z.size, np.int64)
    cells = np.empty(z.size, np.float64)
    receivers(z, receiver, order)
    accumulate(receiver, order, cells)
    return Flow(receiver, order, cells)


def breach(z: Floats, *, most_m: float) -> None:
    """Cut a way out of every hollow, at most so deep."""
    receiver, order, _ = drainage(z)
    open_ways(z.ravel(), np.zeros(z.size, np.int32), receiver, order, most_m)


def erode(
    z: Floats,
    *,
    uplift: Floats,
    erodibility: Floats,
    steepest: Floats,
    cell_m: float,
    steps: int,
    creep: float,
    head_m2: float,
    wander_m: float,
    seed: int,
) -> Floats:
    """Raise and cut the land for a number of steps.

    Parameters
    ----------
    z : (rows, cols) float32
        Heights, metres; the raster's edge is held where it is.
    uplift : (rows, cols) float32
        Metres a step.
    erodibility : (rows, cols) float32
        K of the stream-power law for one step, m^(1 - 2 m).
    steepest : (rows, cols) float32
        Steepest rise over run on which the ground stands.
    cell_m
        Side of a cell, metres.
    steps
        How many.
    creep
        Standard deviation in cells of the smoothing that stands for soil creep, each step.

    Returns
    -------
    (rows, cols) float32, metres.
    """
    z = z.astype(np.float32, copy=True)
    rng = np.random.default_rng(seed)
    for step in range(steps):
        if step % 2 == 0:  # the streams move slowly: looking for them every other step is enough
            wander = rng.normal(0.0, wander_m, z.shape).astype(np.float32)
            receiver, order, cells = drainage(z + wander)
        _cut(z, uplift, erodibility, receiver, order, cells, cell_m, head_m2)
        slump(z, steepest, cell_m)
        if creep > 0.0:
            z[1:-1, 1:-1] = gaussian_filter(z, creep, mode="nearest")[1:-1, 1:-1]
    return z


@njit(cache=True, nogil=True)
def _follow(noise: Floats, south: Floats, east: Floats, steps: int, out: Floats) -> None:
    """Noise summed along the line of fall, `steps` cells either way, over the root of the count."""
    rows, cols = noise.shape
    for r in range(rows):
        for c in range(cols):
            total = noise[r, c]
            count = 1
            for sign in (-1.0, 1.0):
                y = float(r)
                x = float(c)
                for _ in range(steps):
                    i = int(y + 0.5)
                    j = int(x + 0.5)
                    y += sign * south[i, j]
                    x += sign * east[i, j]
                    if y < 0.0 or x < 0.0 or y > rows - 1 or x > cols - 1:
                        break
                    total += noise[int(y + 0.5), int(x + 0.5)]
                    count += 1
            out[r, c] = total / math.sqrt(count)


def combed(noise: Floats, z: Floats, *, smooth: float, steps: int) -> Floats:
    """Noise drawn out along the line of fall: ribs and chutes on a mountain face.

    A line integral convolution (Cabral & Leedom 1993, doi:10.1145/166117.166151) down the steepest way of the
    ground smoothed over `smooth` cells. Unit variance.
    """
    south, east = np.gradient(gaussian_filter(z, smooth))
    length = np.maximum(np.hypot(south, east), 1e-6)
    out = np.empty_like(noise)
    _follow(noise, (south / length).astype(np.float32), (east / length).astype(np.float32), steps, out)
    out = gaussian_filter(out, 0.7)
    return np.asarray(out / out.std(), dtype=np.float32)

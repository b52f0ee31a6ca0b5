"""What ice left: bowls below the crest on the cold sides, and stepped troughs below them.

From each chosen valley head a way is followed down the drainage. Along it the floor becomes a staircase of
gentle treads and short risers, cut into the old valley; walls rise from it as a parabola until they are as
steep as a headwall. Ice itself is not modelled: form only, after descriptions of glacial cirques and troughs
(Benn & Evans 2010, "Glaciers and Glaciation"; from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt, gaussian_filter

from graylight.demo.erosion import Cells, Floats, Flow, drainage
from graylight.demo.noise import Frame, fractal

__all__ = ["Bowl", "bowls", "carve"]

HOLLOW_M2 = 1.6e4  # the least ground that drains through a hollow which fed the ice
COLD_DEG = 25.0  # ice lasts longest on ground facing just east of north: shade, and snow blown over the crest

_BEND = 0.22  # a wall begins as a parabola, rise = bend x away^2, all in half widths of the floor
_STEEP = 1.05  # rise over run of a headwall, 46 degrees; strata make it steeper in bands


@dataclass(frozen=True)
class Bowl:
    """A glacial bowl to be cut.

    Parameters
    ----------
    path : (n,) int64
        Flat cells of the way the ice took, from the head down.
    above : (m,) int64
        Flat cells of the hollows that fed it, from the head up.
    behind_m : (m,) float
        How far each of them lies above the head along the drainage.
    radius_m : float
        Half width of the bowl's floor.
    """

    path: Cells
    above: Cells
    behind_m: NDArray[np.float64]
    radius_m: float


def bowls(z: Floats, frame: Frame, *, seed: int, count: int, spacing_m: float = 1150.0) -> list[Bowl]:
    """Choose valley heads where ice would have gathered: high, cold-facing, under a crest."""
    flow = drainage(z)
    worth = _ice_worth(z, flow.cells, frame)
    rng = np.random.default_rng(seed)
    chosen: list[Bowl] = []
    reach = round(spacing_m / frame.cell_m)
    for _ in range(count):
        head = int(np.argmax(worth))
        best = float(worth.flat[head])
        if best <= 0.0:
            break
        r, c = divmod(head, frame.cols)
        worth[max(r - reach, 0) : r + reach + 1, max(c - reach, 0) : c + reach + 1] = 0.0
        length_m = rng.uniform(900.0, 2600.0) * min(1.0, 0.4 + best)
        path = _way_down(head, flow.receiver, round(length_m / frame.cell_m))
        radius = rng.uniform(150.0, 290.0)
        fed, behind = _above(head, flow, frame, 1.5 * radius)
        chosen.append(Bowl(path, fed, behind, radius))
    return chosen


def _ice_worth(z: Floats, cells: NDArray[np.float64], frame: Frame) -> Floats:
    """How likely ice began at a cell: 0 off the valley heads."""
    broad = gaussian_filter(z, 180.0 / frame.cell_m)
    south, east = np.gradient(broad, frame.cell_m)
    facing = np.degrees(np.arctan2(-east, south))
    cold = 0.5 + 0.5 * np.cos(np.radians(facing - COLD_DEG))
    area = cells.reshape(z.shape) * frame.cell_m**2
    head = np.exp(-((np.log(area / 0.9e5) / 0.7) ** 2))
    top = float(np.percentile(z, 99.5))
    high = np.exp(-(((z - (top - 430.0)) / 230.0) ** 2))
    rng_edge = min(8, min(z.shape) // 4)
    worth = head * high * (0.15 + 0.85 * cold**1.5)
    worth[worth < 0.12] = 0.0
    for edge in (worth[:rng_edge], worth[-rng_edge:], worth[:, :rng_edge], worth[:, -rng_edge:]):
        edge[...] = 0.0
    return np.asarray(worth, dtype=np.float32)


def _way_down(head: int, receiver: Cells, steps: int) -> Cells:
    path = [head]
    for _ in range(steps):
        down = int(receiver[path[-1]])
        if down == path[-1]:
            break
        path.append(down)
    return np.array(path, dtype=np.int64)


def _above(head: int, flow: Flow, frame: Frame, reach_m: float) -> tuple[Cells, NDArray[np.float64]]:
    """The hollows that drain to a head, as far up as `reach_m`, and how far up each cell lies."""
    behind = {head: 0.0}
    later = flow.order[int(np.flatnonzero(flow.order == head)[0]) + 1 :]
    for cell in later[flow.cells[later] >= HOLLOW_M2 / frame.cell_m**2].tolist():
        down = int(flow.receiver[cell])
        if down in behind:
            rows, cols = cell // frame.cols - down // frame.cols, cell % frame.cols - down % frame.cols
            far = behind[down] + frame.cell_m * math.hypot(rows, cols)
            if far <= reach_m:
                behind[cell] = far
    del behind[head]
    return np.array(list(behind), dtype=np.int64), np.array(list(behind.values()), dtype=np.float64)


def _staircase(heights: Floats, along: NDArray[np.float64], rng: np.random.Generator) -> Floats:
    """Treads and risers under a falling profile: each tread lies at the height of its lower end."""
    floor = np.minimum.accumulate(heights).astype(np.float64)
    ends = [0.0]
    while ends[-1] < along[-1]:
        ends.append(ends[-1] + rng.uniform(380.0, 760.0))
    for start, end in pairwise(ends):
        on = (along >= start) & (along < end)
        if not on.any():
            continue
        low = float(np.interp(end, along, floor))
        part = (along[on] - start) / (end - start)
        scour = rng.uniform(5.0, 10.0) if start == 0.0 else rng.uniform(-4.0, 8.0)
        dip = max(scour, 0.0) * np.sin(np.pi * part) ** 2
        floor[on] = np.minimum(floor[on], low + 0.03 * (end - along[on])) - dip
    return floor.astype(np.float32)


def carve(z: Floats, frame: Frame, chosen: list[Bowl], *, seed: int) -> tuple[Floats, Floats]:
    """Cut the bowls and troughs.

    Returns
    -------
    carved, floor : (rows, cols) float32
        Heights in metres; and how much a cell is glacial floor, 0 to 1.
    """
    if not chosen:
        return z, np.zeros_like(z)
    bed, half = _beds(z, frame, chosen, seed)
    apart, (rows, cols) = distance_transform_edt(~np.isfinite(bed).reshape(z.shape), return_indices=True)
    nearest = rows * frame.cols + cols
    wide = gaussian_filter(half[nearest], 5.0)
    low = gaussian_filter(bed[nearest], 2.5)
    far = apart * frame.cell_m
    ragged = 48.0 * fractal(seed, 61, frame, 560.0, octaves=4, gain=0.6)
    away = np.maximum(far + ragged * np.clip(far / 150.0, 0.0, 1.0), 0.0) / wide
    steep = _STEEP * np.exp(0.16 * fractal(seed, 62, frame, 480.0, octaves=3))
    turn = steep / (2.0 * _BEND)  # where the parabola has that slope
    wall = wide * np.where(away < turn, _BEND * away**2, _BEND * turn**2 + steep * (away - turn))
    carved = _lesser(z, np.asarray(low + wall, dtype=np.float32), 14.0)
    floor = np.clip((z - carved) / 15.0, 0.0, 1.0) * np.exp(-(away**4))
    return carved, np.asarray(floor, dtype=np.float32)


def _beds(z: Floats, frame: Frame, chosen: list[Bowl], seed: int) -> tuple[Floats, Floats]:
    """Height of the ice's bed along all ways (infinite elsewhere), and half its width; flat."""
    bed = np.full(z.size, np.inf, np.float32)
    half = np.full(z.size, 1.0, np.float32)
    rng = np.random.default_rng(seed)
    for bowl in chosen:
        floor, trough = _profile(bowl, z, frame, rng)
        back = floor[0] + 0.05 * bowl.behind_m + 0.0006 * bowl.behind_m**2
        bed[bowl.above] = np.minimum(bed[bowl.above], np.minimum(back, z.ravel()[bowl.above]))
        half[bowl.above] = np.maximum(half[bowl.above], 0.75 * bowl.radius_m)
        bed[bowl.path] = np.minimum(bed[bowl.path], floor)
        half[bowl.path] = np.maximum(half[bowl.path], trough)
    return bed, half


def _profile(bowl: Bowl, z: Floats, frame: Frame, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Height and half width of the floor along a bowl's way."""
    r, c = np.divmod(bowl.path, frame.cols)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(r), np.diff(c)) * frame.cell_m)])
    trough = bowl.radius_m * (0.36 + 0.64 * np.exp(-((along / (1.6 * bowl.radius_m)) ** 2)))
    trough *= np.clip((along[-1] - along) / 500.0, 0.3, 1.0)
    return _staircase(z.ravel()[bowl.path], along, rng), trough.astype(np.float32)


def _lesser(a: Floats, b: Floats, soft: float) -> Floats:
    """The lesser of two surfaces, rounded over `soft` metres where they meet."""
    mix = np.clip(0.5 + 0.5 * (b - a) / soft, 0.0, 1.0)
    return np.asarray(b + (a - b) * mix - soft * mix * (1.0 - mix), dtype=np.float32)

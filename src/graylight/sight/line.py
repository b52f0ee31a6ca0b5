"""One line of sight drawn out: the ground and canopy under it, by how much it clears them, and what is left of it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from graylight.errors import BadInput
from graylight.kernels.viewshed import crossing_margin
from graylight.settings import SightSettings
from graylight.sight.foliage import Foliage, through
from graylight.sight.viewshed import bend

__all__ = ["Closest", "Sightline", "sightline"]

Line = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Closest:
    """Where a line comes nearest to the ground, by angle: the crossing that decides the margin.

    Parameters
    ----------
    distance_m : float
        From the watcher.
    row, col : float
        Where, in cells; one of the two is whole.
    clears_m : float
        Height of the line over the ground there; negative: how deep below it runs.
    """

    distance_m: float
    row: float
    col: float
    clears_m: float


@dataclass(frozen=True, slots=True)
class Sightline:
    """A line of sight between two places.

    Parameters
    ----------
    ground_distance_m, straight_distance_m : float
        Between the cell centres, on the grid; and from eye to target.
    angle_deg : float
        Up (positive) or down at which the target appears from the eye, bend of the earth and of light included.
    along_m : (n,) float64
        Distances of the two ends and of every crossing of the exact definition between them.
    ground_m, base_m, top_m : (n,) float64
        Bare ground, crown base and crown top there, metres above the datum; NaN where the ground is not known.
    ray_m : (n,) float64
        Height of the line there in the same heights; it sags by the bend of the earth less that of light.
    margin_m : float
        By which the target's top clears the horizon in front of it (`crossing_margin`); inf when nothing stands
        between the two.
    closest : Closest or None
        Where that is decided.
    rise_m : float
        By how much the eye would have to be higher for the ground to let the line by; 0 when it does, inf behind
        unknown ground.
    low, likely, high : float
        Transmittance of the foliage, [0, 1]; see `graylight.sight.foliage`.
    """

    ground_distance_m: float
    straight_distance_m: float
    angle_deg: float
    along_m: Line
    ground_m: Line
    base_m: Line
    top_m: Line
    ray_m: Line
    margin_m: float
    closest: Closest | None
    rise_m: float
    low: float
    likely: float
    high: float


def sightline(
    land: Foliage,
    *,
    eye: tuple[int, int],
    target: tuple[int, int],
    cell_m: float,
    eye_m: float,
    target_m: float,
    settings: SightSettings,
    openings_m: tuple[float, float] = (0.0, 0.0),
) -> Sightline:
    """Draw out the line of sight between two cells.

    Parameters
    ----------
    land : Foliage
        From `graylight.sight.foliage.foliage`; with or without a canopy.
    eye, target : (row, col)
        Two different cells whose ground is known.
    cell_m, eye_m, target_m : float
        Cell size, heights above the bare ground.
    openings_m : (float, float)
        As in `graylight.sight.foliage.through`.

    Raises
    ------
    BadInput
        The same cell twice, a cell off the grid, or unknown ground at an end.
    """
    _hold_to(land, eye, target)
    z0, z1 = float(land.ground_m[eye]) + eye_m, float(land.ground_m[target]) + target_m
    fall = bend(settings.refraction)
    light = through(
        land, eye=eye, rows=np.array([target[0]]), cols=np.array([target[1]]), cell_m=cell_m, eye_m=eye_m,
        target_m=target_m, settings=settings, openings_m=openings_m,
    )  # fmt: skip
    margin, row, col = crossing_margin(land.ground_m, *eye, z0, *target, z1, cell_m, fall)
    part, rows, cols = _crossings(eye, target)
    whole = math.hypot(target[0] - eye[0], target[1] - eye[1]) * cell_m
    ground, base, top = (_heights(one, rows, cols) for one in _surfaces(land))
    # straight to the eye, so against the ground it sags: fall * d * (whole - d) below the chord
    ray = z0 + (z1 - z0) * part - fall * whole**2 * part * (1.0 - part)
    return Sightline(
        ground_distance_m=whole,
        straight_distance_m=math.hypot(whole, z1 - z0),
        angle_deg=math.degrees(math.atan2(z1 - z0 - fall * whole**2, whole)),
        along_m=whole * part, ground_m=ground, base_m=base, top_m=top, ray_m=ray, margin_m=float(margin),
        closest=_closest(eye, target, float(margin), (float(row), float(col)), cell_m),
        rise_m=_rise(part, ground, ray),
        low=float(light.low[0]), likely=float(light.likely[0]), high=float(light.high[0]),
    )  # fmt: skip


def _hold_to(land: Foliage, eye: tuple[int, int], target: tuple[int, int]) -> None:
    rows, cols = land.ground_m.shape
    for row, col in (eye, target):
        if not (0 <= row < rows and 0 <= col < cols) or np.isnan(land.ground_m[row, col]):
            raise BadInput(
                f"no ground is known at row {row}, column {col} of {rows} x {cols}; choose a cell with elevation"
            )
    if eye == target:
        raise BadInput(
            f"both ends lie on row {eye[0]}, column {eye[1]}; accepted are two different cells; choose another place"
        )


def _surfaces(land: Foliage) -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]]:
    if land.leaf_per_m is None:
        return land.ground_m, land.ground_m, land.ground_m
    return land.ground_m, land.layers_m[..., 1], land.layers_m[..., 2]


def _crossings(eye: tuple[int, int], target: tuple[int, int]) -> tuple[Line, Line, Line]:
    """Part of the way, row and col of both ends and of every crossing between them, in order."""
    across = np.array([target[0] - eye[0], target[1] - eye[1]], dtype=np.int64)
    # whole numbers over one denominator, so that a crossing of both kinds is found once
    rows, cols = max(abs(int(across[0])), 1), max(abs(int(across[1])), 1)
    count = np.unique(np.concatenate([np.arange(rows + 1) * cols, np.arange(cols + 1) * rows]))
    # a whole row or column must come out whole: multiply before dividing
    row = eye[0] + count * across[0] / (rows * cols)
    col = eye[1] + count * across[1] / (rows * cols)
    return count / (rows * cols), row, col


def _heights(surface: NDArray[np.float32], row: Line, col: Line) -> Line:
    """Linear on the line between two neighbouring cell centres; one of row and col is whole."""
    r, c = np.floor(row).astype(np.int64), np.floor(col).astype(np.int64)
    down, right = row - r, col - c
    last = surface.shape[0] - 1, surface.shape[1] - 1
    other = surface[
        np.minimum(r + (down > 0), last[0]), np.minimum(c + (right > 0), last[1])
    ].astype(np.float64)  # fmt: skip
    here = surface[r, c].astype(np.float64)
    return np.asarray(here + np.maximum(down, right) * (other - here), dtype=np.float64)


def _closest(
    eye: tuple[int, int], target: tuple[int, int], margin: float, at: tuple[float, float], cell_m: float
) -> Closest | None:
    if math.isinf(margin):
        return None
    near = math.hypot(at[0] - eye[0], at[1] - eye[1])
    whole = math.hypot(target[0] - eye[0], target[1] - eye[1])
    return Closest(near * cell_m, *at, margin * near / whole)


def _rise(part: Line, ground: Line, ray: Line) -> float:
    """How far the eye must rise for no crossing to stand over the line; the target stays."""
    between = slice(1, -1)
    if np.isnan(ground[between]).any():
        return math.inf
    short = (ground[between] - ray[between]) / (1.0 - part[between])
    return max(0.0, float(short.max())) if short.size else 0.0

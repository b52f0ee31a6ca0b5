"""Light through foliage: how much of a line of sight is left after the canopy it passes through.

Beer-Lambert: transmittance = exp(-sum of extinction times length). The extinction inside a crown comes from its
closure: -ln(1 - closure) / crown depth. That is what is lost looking straight down, per metre; leaves without a
preferred angle (a spherical distribution) have the same projection, 0.5, in every direction, so the same holds
along a slant or level line (Nilson 1971, doi:10.1016/0002-1571(71)90092-6; Campbell & Norman 1998, ch. 15).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from graylight.errors import BadInput
from graylight.kernels.foliage import transmittances
from graylight.settings import SightSettings
from graylight.sight.viewshed import bend
from graylight.work import Tick, in_bands, silent, spread

__all__ = ["Canopy", "Foliage", "Through", "bytes_needed", "extinction_per_m", "foliage", "through"]

NEARLY_SHUT = 0.99
"""The stated error alone never makes a closure opaque: the higher reading stops here."""
AT_ONCE = 2048
"""Targets a job on the pool: about 20 ms."""


@dataclass(frozen=True, slots=True)
class Canopy:
    """What grows.

    Parameters
    ----------
    height_m, closure : (rows, cols) float32
        Top of the canopy above the ground, and the part of the sky it closes, [0, 1]; NaN counts as none.
    base_m : (rows, cols) float32, optional
        Where the crowns begin above the ground, when it is known; none: a share of the height, from settings.
    """

    height_m: NDArray[np.float32]
    closure: NDArray[np.float32]
    base_m: NDArray[np.float32] | None = None


@dataclass(frozen=True, slots=True)
class Foliage:
    """Ground and canopy made ready for sight lines; see `graylight.kernels.foliage`.

    Parameters
    ----------
    ground_m : (rows, cols) float32
        Bare ground, NaN where unknown.
    layers_m : (rows, cols, 3) float32
        Ground, crown base, crown top, metres above the datum.
    leaf_per_m : (rows, cols, 6) float32 or None
        Extinction of crown (per metre) and trunks (per horizontal metre) for the low, likely and high closure;
        none: no canopy is known.
    """

    ground_m: NDArray[np.float32]
    layers_m: NDArray[np.float32]
    leaf_per_m: NDArray[np.float32] | None


@dataclass(frozen=True, slots=True)
class Through:
    """What is left of the light on the way to each target.

    Parameters
    ----------
    margin_m : (targets,) float32
        Over the bare ground, as `graylight.sight.viewshed.margins`; NaN over unknown ground.
    low, likely, high : (targets,) float32
        Transmittance of the foliage alone, [0, 1], for closure raised by its stated error, as given, and lowered.
    """

    margin_m: NDArray[np.float32]
    low: NDArray[np.float32]
    likely: NDArray[np.float32]
    high: NDArray[np.float32]

    def seen(self) -> NDArray[np.float32]:
        """(targets,) the likely transmittance where the ground does not hide, else 0."""
        return np.where(self.margin_m >= 0, self.likely, np.float32(0)).astype(np.float32)


def bytes_needed(shape: tuple[int, int]) -> int:
    """Memory of a `Foliage` and of its making, which needs as much again."""
    return shape[0] * shape[1] * 4 * (10 + 13)


def extinction_per_m(closure: NDArray[np.float32], crown_depth_m: NDArray[np.float32]) -> NDArray[np.float32]:
    """Extinction inside a crown, -ln(1 - closure) / depth, per metre; inf where closed, 0 without a crown.

    >>> round(float(extinction_per_m(np.array([0.5], np.float32), np.array([10.0], np.float32))[0]), 4)
    0.0693
    """
    out = np.zeros(closure.shape, np.float32)
    some = (closure > 0) & (crown_depth_m > 0)
    shut = some & (closure >= 1)
    part = some & ~shut
    out[part] = -np.log1p(-closure[part].astype(np.float64)) / crown_depth_m[part]
    out[shut] = np.inf
    return out


def foliage(ground_m: NDArray[np.float32], canopy: Canopy | None, settings: SightSettings) -> Foliage:
    """Make ground and canopy ready; once for a country.

    Trunks stand below the crowns of trees, as many as the stems and diameter set, times the closure; what is lower
    than a tree has leaves down to the ground.

    Raises
    ------
    BadInput
        Ground and canopy differ in shape.
    """
    ground = np.ascontiguousarray(ground_m, np.float32)
    if canopy is None:
        return Foliage(ground, np.empty((0, 0, 3), np.float32), None)
    if not canopy.height_m.shape == canopy.closure.shape == ground.shape:
        raise BadInput(
            f"ground of {ground.shape}, canopy height of {canopy.height_m.shape} and closure of "
            f"{canopy.closure.shape} cells; accepted is one grid for all; bring them onto it"
        )
    layers, leaf = np.empty((*ground.shape, 3), np.float32), np.empty((*ground.shape, 6), np.float32)
    in_bands(partial(_fill, ground, canopy, settings, layers, leaf), len(ground))
    return Foliage(ground, layers, leaf)


def _fill(
    ground_m: NDArray[np.float32],
    canopy: Canopy,
    settings: SightSettings,
    layers: NDArray[np.float32],
    leaf: NDArray[np.float32],
    first: int,
    end: int,
) -> None:
    """Layers and extinctions of rows first to end."""
    band = slice(first, end)
    ground, known_base = ground_m[band], None if canopy.base_m is None else canopy.base_m[band]
    height = np.maximum(np.nan_to_num(canopy.height_m[band]), 0).astype(np.float32)
    closure = np.clip(np.nan_to_num(canopy.closure[band]), 0, 1).astype(np.float32)
    base = _crown_base(height, known_base, settings)
    trunk = np.where(base > 0, np.float32(settings.stems_per_ha * 1e-4 * settings.stem_m), np.float32(0))
    for n, layer in enumerate((ground, ground + base, ground + height)):
        layers[band, :, n] = layer
    for n, one in enumerate(_readings(closure, settings.closure_error)):
        leaf[band, :, n] = extinction_per_m(one, height - base)
        leaf[band, :, 3 + n] = one * trunk


def _crown_base(
    height_m: NDArray[np.float32], base_m: NDArray[np.float32] | None, settings: SightSettings
) -> NDArray[np.float32]:
    """Known, or a share of the height of trees; 0 for what is lower than a tree."""
    trees = height_m >= settings.tree_m
    shared = np.where(trees, height_m * np.float32(settings.crown_base_share), np.float32(0))
    if base_m is None:
        return shared.astype(np.float32)
    known = np.isfinite(base_m)
    return np.where(known, np.clip(np.nan_to_num(base_m), 0, height_m), shared).astype(np.float32)


def _readings(closure: NDArray[np.float32], error: float) -> list[NDArray[np.float32]]:
    """The closure lowered by its error, as it is, and raised; where nothing closes the sky nothing is added."""
    low = np.maximum(closure - np.float32(error), 0).astype(np.float32)
    raised = np.minimum(closure + np.float32(error), np.float32(NEARLY_SHUT))
    high = np.where(closure > 0, np.maximum(closure, raised), np.float32(0)).astype(np.float32)
    return [low, closure, high]


def through(
    land: Foliage,
    *,
    eye: tuple[int, int],
    rows: NDArray[np.integer],
    cols: NDArray[np.integer],
    cell_m: float,
    eye_m: float,
    target_m: float,
    settings: SightSettings,
    openings_m: tuple[float, float] = (0.0, 0.0),
    tick: Tick = silent,
) -> Through:
    """Margin over the ground and transmittance of the foliage from one watcher to each target.

    Parameters
    ----------
    land : Foliage
        From `foliage`.
    eye : (row, col)
        The watcher's cell, whose ground must be known; heights count from bare ground.
    rows, cols : (targets,) int
        Cells of the targets.
    cell_m, eye_m, target_m : float
        Cell size, heights above the ground.
    openings_m : (float, float)
        Leaves nearer than this to the watcher, and to the target, do not count. The two ends' own cells never do.

    Returns
    -------
    Through
        Light is not worked out, and is 0, where the ground hides by more than the stated elevation error.

    Raises
    ------
    BadInput
        The watcher or a target lies outside the grid, or the watcher's ground is not known.

    Notes
    -----
    Does not model clumps and gaps within a cell, undergrowth, branches of trunks, or leaves that fall; a margin
    is not dimmed, and light is not lessened by the ground.
    """
    row, col = np.asarray(rows, np.int32).ravel(), np.asarray(cols, np.int32).ravel()
    _hold_to(land.ground_m, eye, row, col)
    leaf = np.empty((0, 0, 0), np.float32) if land.leaf_per_m is None else land.leaf_per_m
    margin = np.empty(len(row), np.float32)
    light = np.empty((len(row), leaf.shape[2] // 2), np.float32)
    opened = float(openings_m[0]), float(openings_m[1])
    floor = -float(settings.elevation_error_m)

    def fill(first: int) -> None:
        transmittances(
            land.ground_m, land.layers_m, leaf, *eye, float(eye_m), row, col, float(target_m), float(cell_m),
            bend(settings.refraction), *opened, floor, first, min(first + AT_ONCE, len(row)), margin, light,
        )  # fmt: skip

    jobs: list[Callable[[], None]] = [partial(fill, first) for first in range(0, len(row), AT_ONCE)]
    if len(jobs) == 1:
        jobs[0]()
    elif jobs:
        spread(jobs, tick=tick)
    if land.leaf_per_m is None:
        light = np.where(np.isnan(margin), np.nan, 1.0).astype(np.float32)[:, None].repeat(3, axis=1)
    return Through(margin, light[:, 2], light[:, 1], light[:, 0])


def _hold_to(
    ground: NDArray[np.float32], eye: tuple[int, int], row: NDArray[np.int32], col: NDArray[np.int32]
) -> None:
    rows, cols = ground.shape
    if not (0 <= eye[0] < rows and 0 <= eye[1] < cols) or np.isnan(ground[eye]):
        raise BadInput(
            f"no ground is known at row {eye[0]}, column {eye[1]} of {rows} x {cols}; choose a cell with elevation"
        )
    if len(row) != len(col):
        raise BadInput(f"{len(row)} rows and {len(col)} columns of targets; accepted is one of each a target")
    outside = (row < 0) | (row >= rows) | (col < 0) | (col >= cols)
    if outside.any():
        at = int(np.flatnonzero(outside)[0])
        raise BadInput(
            f"target {at} at row {row[at]}, column {col[at]}; accepted are cells of the grid of {rows} x {cols}; "
            "leave it out"
        )

"""The ground as a walker meets it: how much longer than the published pace it takes, and what is closed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from graylight.ground.cover import Kind
from graylight.reach.pace import OFF_PATH, ON_PATH
from graylight.settings import WalkSettings

__all__ = ["OVER_BRIDGE", "OVER_DEEP", "OVER_FORD", "OVER_STREAM", "Mask", "WalkGround", "walk_ground"]

Mask: TypeAlias = NDArray[np.bool_]

# Times longer than on a path (Herzog's ground factors; those marked are proposed, no source).
MEADOW, ABOVE_TREELINE, OFF, IN_TIMBER, ON_ROCK, SWAMP = 1.25, 1.5, 1.67, 2.0, 2.5, 5.0
LONGER = {
    Kind.UNKNOWN: OFF,
    Kind.TIMBER: IN_TIMBER,
    Kind.BRUSH: IN_TIMBER,  # proposed: as slow as timber
    Kind.GRASS: MEADOW,
    Kind.ROCK_GROWTH: 2.0,  # proposed: midway between open ground above the treeline and rock
    Kind.ROCK: ON_ROCK,
    Kind.WATER: SWAMP,  # proposed: water that is not deep is waded like a swamp
    Kind.SNOW: ON_ROCK,  # proposed: as slow as rock
    Kind.WORKED: MEADOW,  # proposed
}
SCRAMBLE_DARK = 6.0
"""Proposed: between `scramble_deg` and `shut_deg` in the dark; taken only where there is no other way."""
SCRAMBLE_DAY = 1.5
"""Proposed: the same by day, hands needed now and then."""

OPEN, NOT_KNOWN, STEEP, DEEP, PRIVATE = 0, 1, 2, 3, 4
OVER_STREAM, OVER_DEEP, OVER_BRIDGE, OVER_FORD = 1, 2, 3, 4


@dataclass(frozen=True)
class WalkGround:
    """The ground as a walker meets it.

    Parameters
    ----------
    factor
        (rows, cols) float32, times longer than the pace of the cell's surface; inf where closed.
    surface
        (rows, cols) uint8: 0 off path, 1 on path (rows of the pace table).
    shut_words
        What may close a cell, in plain words.
    shut
        (rows, cols) uint8: 0 open, else 1 + the index into `shut_words`.
    over_water
        (rows, cols) uint8: 0 dry, 1 a stream or water to be waded, 2 deep water that a path crosses (by what
        is not known), 3 a mapped bridge, 4 a mapped ford.
    """

    factor: NDArray[np.float32]
    surface: NDArray[np.uint8]
    shut_words: tuple[str, ...]
    shut: NDArray[np.uint8]
    over_water: NDArray[np.uint8]

    def why_shut(self, row: int, col: int) -> str | None:
        """What closes a cell, in plain words; None where it is open."""
        code = int(self.shut[row, col])
        return self.shut_words[code - 1] if code else None


def walk_ground(
    slope_deg: NDArray[np.float32],
    kind: NDArray[np.uint8],
    *,
    deep_water: Mask,
    path_cells: Mask,
    private_cells: Mask,
    settings: WalkSettings,
    dark: bool = True,
    stream_cells: Mask | None = None,
    bridge_cells: Mask | None = None,
    ford_cells: Mask | None = None,
) -> WalkGround:
    """Ground factors and closed ground for a walker.

    Parameters
    ----------
    slope_deg
        (rows, cols) float32, degrees; NaN where the elevation is not known: closed.
    kind
        (rows, cols) uint8, kind of cover (`graylight.ground.cover.Kind`).
    deep_water, path_cells, private_cells, stream_cells
        (rows, cols) bool. A mapped path is open through timber, over steep ground and over deep water (a
        bridge or a ford: which is not known); through a private holding it is closed like the rest of it.
    bridge_cells, ford_cells
        (rows, cols) bool, mapped bridges and fords, where any are: they count where a path goes over water.
    settings
        Where scrambling begins, where walking ends, and whether private ground is open.
    dark
        Whether it is walked in the dark, where a scramble counts far more.

    Notes
    -----
    Herzog's factors are times the pace *on a path*. Irmischer & Clarke's off-path pace already holds what
    walking without a path costs, so off path they are taken relative to Herzog's factor for 'off path', 1.67.

    Does not model deadfall, wet rock, scree, ice, high water, fences, or cliffs that the grid is too coarse
    to hold.
    """
    path = path_cells & ((~private_cells) | settings.private_open)
    shut = _shut(slope_deg, deep_water, path, private_cells, settings)
    beside = _beside_bends(path & (shut == OPEN), shut)
    factor = _off_path(kind) * _scramble(slope_deg, settings, dark=dark)
    factor[path] = 1.0
    factor[beside] = np.float32(SWAMP)  # open, so that the path can turn there, but no way of its own
    shut[beside] = OPEN
    factor[shut != OPEN] = np.inf
    over_water = np.zeros(kind.shape, np.uint8)
    over_water[(kind == Kind.WATER) | (False if stream_cells is None else stream_cells)] = OVER_STREAM
    over_water[deep_water] = OVER_DEEP
    for cells, code in ((bridge_cells, OVER_BRIDGE), (ford_cells, OVER_FORD)):
        if cells is not None:
            over_water[cells & path & (over_water > 0)] = code
    surface = np.where(path, np.uint8(ON_PATH), np.uint8(OFF_PATH))
    return WalkGround(factor, surface, _shut_words(settings), shut, over_water)


def _shut_words(settings: WalkSettings) -> tuple[str, ...]:
    steep = f"ground steeper than {settings.shut_deg:.0f}°"
    return ("ground of unknown height", steep, "deep water", "private land")


def _shut(
    slope_deg: NDArray[np.float32], deep: Mask, path: Mask, private: Mask, settings: WalkSettings
) -> NDArray[np.uint8]:
    shut = np.zeros(slope_deg.shape, np.uint8)
    shut[(slope_deg > settings.shut_deg) & ~path] = STEEP
    shut[deep & ~path] = DEEP
    if not settings.private_open:
        shut[private] = PRIVATE
    shut[np.isnan(slope_deg)] = NOT_KNOWN
    return shut


def _off_path(kind: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Factor by kind of cover; a code that is not a kind counts as unknown."""
    table = np.full(256, LONGER[Kind.UNKNOWN] / OFF, np.float32)
    for code, longer in LONGER.items():
        table[int(code)] = longer / OFF
    return table[kind]


def _scramble(slope_deg: NDArray[np.float32], settings: WalkSettings, *, dark: bool) -> NDArray[np.float32]:
    longer = np.float32(SCRAMBLE_DARK if dark else SCRAMBLE_DAY)
    return np.where(slope_deg > settings.scramble_deg, longer, np.float32(1.0))


def _beside_bends(path: Mask, shut: NDArray[np.uint8]) -> Mask:
    """Closed cells beside a diagonal step of a path, where both are closed and neither is private.

    No way crosses a corner of closed ground, so a path drawn one cell wide would end at the first diagonal
    step of a bridge or of a ledge. Both cells are opened, whichever way the country is turned.
    """
    beside = np.zeros(path.shape, bool)
    natural = (shut == STEEP) | (shut == DEEP)
    upper, lower = slice(None, -1), slice(1, None)
    for left, right in ((upper, lower), (lower, upper)):
        # a step from (upper row, left col) to (lower row, right col) passes (upper, right) and (lower, left)
        step = path[upper, left] & path[lower, right] & natural[upper, right] & natural[lower, left]
        beside[upper, right] |= step
        beside[lower, left] |= step
    return beside

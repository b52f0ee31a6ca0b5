"""What a way crosses or passes that a person should know before walking it, in plain words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from graylight.reach.ground import OVER_DEEP, OVER_FORD, OVER_STREAM, WalkGround
from graylight.reach.timing import cells_of_moves
from graylight.settings import WalkSettings

__all__ = ["Steep", "Steps", "hazards", "steep_of", "steps_of"]

Cells: TypeAlias = NDArray[np.int64]
Flags: TypeAlias = NDArray[np.bool_]
Met: TypeAlias = tuple[float, str]

NEAR_CLIFF_M = 30.0
"""Ground too steep to walk counts as passed when it lies this near."""


@dataclass(frozen=True)
class Steps:
    """The moves of a way, with the cells that each lies in.

    Parameters
    ----------
    rows, cols
        (n, 4) int64. A straight or diagonal move lies in two cells, given twice.
    start_s, seconds
        (n,) float64, when each begins, counted from the start, and how long it takes.
    """

    rows: Cells
    cols: Cells
    start_s: NDArray[np.float64]
    seconds: NDArray[np.float64]

    def any(self, mask: NDArray[np.bool_]) -> Flags:
        """(n,) whether a move lies in a cell of the mask."""
        touched: Flags = np.any(mask[self.rows, self.cols], axis=1)
        return touched


def steps_of(rows: Cells, cols: Cells, seconds: NDArray[np.float64]) -> Steps:
    """The moves of a way from its cells and the walking time at each."""
    r, c = cells_of_moves(rows, cols)
    return Steps(r, c, seconds[:-1].astype(np.float64), np.diff(seconds.astype(np.float64)))


@dataclass(frozen=True)
class Steep:
    """Seconds of a way on ground steeper than `walk.scramble_deg`: off path, a scramble, and on a path."""

    off_path_s: float
    on_path_s: float


def steep_of(
    steps: Steps, slope_deg: NDArray[np.float32], ground: WalkGround, settings: WalkSettings
) -> Steep:
    """How long a way goes over steep ground.

    Parameters
    ----------
    steps
        The moves of the way.
    slope_deg, ground
        The country, (rows, cols).
    settings
        The walker's limits of slope.
    """
    steep = slope_deg > settings.scramble_deg
    off, on = steps.any(steep & (ground.surface == 0)), steps.any(steep & (ground.surface > 0))
    return Steep(float(steps.seconds[off].sum()), float(steps.seconds[on].sum()))


def hazards(
    steps: Steps,
    elevation_m: NDArray[np.float32],
    slope_deg: NDArray[np.float32],
    ground: WalkGround,
    *,
    cell_m: float,
    settings: WalkSettings,
) -> tuple[str, ...]:
    """Hazards met, in the order in which they first come, each with the time from the start.

    Parameters
    ----------
    steps
        The moves of the way.
    elevation_m, slope_deg, ground
        The country, (rows, cols).
    cell_m
        Side of a cell, metres.
    settings
        The walker's limits of slope.

    Notes
    -----
    Only what the grid holds: on 10 m cells a cliff lower than about a house does not show at all.
    """
    if steps.seconds.size == 0:
        return ()
    cliffs = np.nan_to_num(slope_deg, nan=0.0) > settings.shut_deg
    met = [
        *_scrambles(steps, slope_deg, ground, settings),
        *_waters(steps, ground),
        *_cliffs(steps, elevation_m, cliffs, cell_m),
    ]
    return tuple(f"{_in(start_s)}: {words}" for start_s, words in sorted(met, key=lambda m: m[0]))


def _in(seconds: float) -> str:
    """A time from the start, to five minutes.

    >>> _in(100.0), _in(5400.0)
    ('at the start', 'about 1 h 30 in')
    """
    minutes = 5 * round(seconds / 300.0)
    if minutes == 0:
        return "at the start"
    return f"about {minutes} min in" if minutes < 60 else f"about {minutes // 60} h {minutes % 60:02d} in"


def _met(steps: Steps, here: Flags) -> tuple[float, str]:
    """When it first comes, seconds from the start, and for how long in all."""
    minutes = max(1, round(float(steps.seconds[here].sum()) / 60.0))
    return float(steps.start_s[here][0]), f"for about {minutes} min in all"


def _scrambles(
    steps: Steps, slope_deg: NDArray[np.float32], ground: WalkGround, settings: WalkSettings
) -> Iterator[Met]:
    """Ground steeper than the limit for the dark, apart off path and on it."""
    steep = slope_deg > settings.scramble_deg
    limit = f"ground steeper than {settings.scramble_deg:.0f}°"
    rough = steep & (ground.surface == 0)
    here = steps.any(rough)
    if here.any():
        when, how_long = _met(steps, here)
        worst = np.where(rough, slope_deg, 0.0)[steps.rows[here], steps.cols[here]].max()
        yield when, f"across {limit}, up to {worst:.0f}°, {how_long}: a scramble, not for the dark or a load"
    here = steps.any(steep & (ground.surface > 0))
    if here.any():
        when, how_long = _met(steps, here)
        yield when, f"the path crosses {limit}, {how_long}: a slip may be a fall"


def _runs(flags: Flags) -> int:
    """How many runs; a gap of one or two moves is the grid's, not a far bank."""
    return int(np.count_nonzero(np.diff(np.flatnonzero(flags)) > 3)) + int(flags.any())


def _waters(steps: Steps, ground: WalkGround) -> Iterator[Met]:
    """Deep water that a path crosses, fords, and water to be waded; a mapped bridge is no hazard."""
    deep = steps.any(ground.over_water == OVER_DEEP)
    if deep.any():
        when, _ = _met(steps, deep)
        yield when, "the path crosses deep water: a bridge or a ford, which of the two is not known"
    ford = steps.any(ground.over_water == OVER_FORD)
    if ford.any():
        when, _ = _met(steps, ford)
        yield when, "a ford, as mapped: not to be forded when the water is high, after rain or in the melt"
    wet = steps.any(ground.over_water == OVER_STREAM)
    if wet.any():
        when, _ = _met(steps, wet)
        times = _runs(wet)
        often = "" if times == 1 else f", {times} times in all"
        yield when, f"water to be crossed{often}: it may be high after rain or in the melt"


def _cliffs(steps: Steps, elevation_m: NDArray[np.float32], cliffs: Flags, cell_m: float) -> Iterator[Met]:
    """Cliffs passed, apart those below (a fall) and those above (stones)."""
    below, above = _beside(steps, elevation_m, cliffs, max(int(NEAR_CLIFF_M / cell_m), 1))
    if below.any():
        when, how_long = _met(steps, below)
        yield when, f"close above cliffs, {how_long}: keep well back from them in the dark"
    if above.any():
        when, how_long = _met(steps, above)
        yield when, f"close below cliffs, {how_long}: stones may fall"


def _beside(steps: Steps, elevation_m: NDArray[np.float32], cliffs: Flags, near: int) -> tuple[Flags, Flags]:
    """(n,) whether cliffs lie near and lower, and near and higher, than where each move begins."""
    below = np.zeros(steps.seconds.size, bool)
    above = np.zeros(steps.seconds.size, bool)
    for i, (row, col) in enumerate(zip(steps.rows[:, 0], steps.cols[:, 0], strict=True)):
        window = (slice(max(row - near, 0), row + near + 1), slice(max(col - near, 0), col + near + 1))
        cliff = cliffs[window]
        if cliff.any():
            heights = elevation_m[window][cliff]
            below[i] = bool((heights < elevation_m[row, col]).any())
            above[i] = bool((heights > elevation_m[row, col]).any())
    return below, above

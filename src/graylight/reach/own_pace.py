"""A person's own pace, measured: how much longer than published walks of known track and time took."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from graylight.errors import BadInput
from graylight.reach.ground import WalkGround
from graylight.reach.pace import pace_table
from graylight.settings import WalkSettings

__all__ = ["OwnPace", "TimedWalk", "measured_factor", "published_seconds"]

Line: TypeAlias = NDArray[np.float64]

SAMPLE_M = 30.0
"""Slopes are taken over this much of a track, or a cell where that is more: shorter, its noise is steep."""
LEAST_S = 600.0
"""Proposed: a walk that should take less than this measures nothing."""


@dataclass(frozen=True)
class TimedWalk:
    """A walk that was timed.

    Parameters
    ----------
    rows, cols
        (n,) float64, the track in cells (a cell's centre is a whole number), in walking order.
    seconds
        How long it took, rests left out.
    pack, dark
        Whether it was walked with a day pack, and in the dark.
    """

    rows: Line
    cols: Line
    seconds: float
    pack: bool = False
    dark: bool = False


@dataclass(frozen=True)
class OwnPace:
    """What was measured.

    Parameters
    ----------
    factor
        For `walk.pace_factor`: time taken over time published, of all walks together.
    low, high
        Least and greatest of the single walks.
    walks
        How many counted.
    """

    factor: float
    low: float
    high: float
    walks: int


def measured_factor(
    walks: Sequence[TimedWalk],
    elevation_m: NDArray[np.float32],
    ground: WalkGround,
    *,
    cell_m: float,
    settings: WalkSettings,
) -> OwnPace:
    """A person's own factor on the published pace from walks that were timed.

    Parameters
    ----------
    walks
        At least one of ten minutes or more; shorter ones are left out.
    elevation_m, ground
        (rows, cols), the country; its ground is best made with ``dark=False``.
    cell_m
        Side of a cell, metres.
    settings
        The factors for pack and dark that the person reckons with; `pace_factor` itself is not used.

    Raises
    ------
    BadInput
        No walk is long enough, a track leaves the country, or a time is not above 0.

    Notes
    -----
    Ground that the plan holds for closed, but that was walked, counts at the pace of its surface. Rests that are
    not left out, a track's noise (which makes it longer) and a hurried day all end up in the factor.
    """
    plain = settings.model_copy(update={"pace_factor": 1.0})
    taken, published = [], []
    for walk in walks:
        _check(walk, elevation_m.shape)
        seconds = published_seconds(walk, elevation_m, ground, cell_m=cell_m, settings=plain)
        if seconds >= LEAST_S:
            taken.append(walk.seconds)
            published.append(seconds)
    if not taken:
        raise BadInput(
            f"none of {len(walks)} walks is long enough to measure a pace; accepted are tracks of ten minutes or "
            "more inside the country; give a longer one"
        )
    single = np.array(taken) / np.array(published)
    return OwnPace(sum(taken) / sum(published), float(single.min()), float(single.max()), len(taken))


def _check(walk: TimedWalk, shape: tuple[int, ...]) -> None:
    rows, cols = np.rint(walk.rows), np.rint(walk.cols)
    if not np.all((rows >= 0) & (cols >= 0) & (rows < shape[0]) & (cols < shape[1])):
        raise BadInput(
            f"a timed walk leaves the country of {shape[0]} by {shape[1]} cells; accepted are tracks inside it; "
            "cut the track at its edge, with its time"
        )
    if not (np.isfinite(walk.seconds) and walk.seconds > 0.0):
        raise BadInput(
            f"a timed walk took {walk.seconds:g} seconds; accepted is a time above 0; mend the track's times"
        )


def published_seconds(
    walk: TimedWalk,
    elevation_m: NDArray[np.float32],
    ground: WalkGround,
    *,
    cell_m: float,
    settings: WalkSettings,
) -> float:
    """What a track should take by the settings: pace at the slope of every 30 m, times the ground's factor."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(walk.rows), np.diff(walk.cols)) * cell_m)])
    if along[-1] == 0.0:
        return 0.0
    count = max(int(np.ceil(along[-1] / max(SAMPLE_M, cell_m))), 1)
    ends = np.linspace(0.0, along[-1], count + 1)
    step = along[-1] / count
    height = elevation_m[_cells(walk, along, ends)].astype(np.float64)
    middle = _cells(walk, along, (ends[:-1] + ends[1:]) / 2)
    table = pace_table(settings, pack=walk.pack, dark=walk.dark)
    column = table.slope_min + table.slope_step * np.arange(table.seconds_per_m.shape[1])
    slope = np.nan_to_num(np.diff(height) / step, nan=0.0)
    by_surface = np.stack([np.interp(slope, column, row) for row in table.seconds_per_m])
    pace = by_surface[ground.surface[middle], np.arange(count)]
    factor = ground.factor[middle].astype(np.float64)
    return float((step * pace * np.where(np.isfinite(factor), factor, 1.0)).sum())


def _cells(walk: TimedWalk, along: Line, at: Line) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """The cells in which places along a track lie."""
    rows, cols = np.interp(at, along, walk.rows), np.interp(at, along, walk.cols)
    return np.rint(rows).astype(np.int64), np.rint(cols).astype(np.int64)

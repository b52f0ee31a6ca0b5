"""The quickest way on foot from the nearest start to a place, and when to leave for it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from graylight.approach.barrier import why_not
from graylight.approach.hazards import Steep, hazards, steep_of, steps_of
from graylight.approach.profile import along, climb_and_fall, steepest_deg
from graylight.kernels.costpath import trace
from graylight.reach.ground import WalkGround
from graylight.reach.walking import Reach
from graylight.settings import WalkSettings

__all__ = ["Way", "leave_by", "way_over", "way_to", "why_not"]

Cells: TypeAlias = NDArray[np.int64]


@dataclass(frozen=True)
class Way:
    """A way on foot.

    Parameters
    ----------
    rows, cols
        (n,) int64, its cells, start first. Neighbouring ones are up to a chess knight's move apart.
    seconds, back_seconds
        Walking time there and, by the quickest way back, home (inf where there is none).
    distance_m
        Length on the map, metres; a slope of 30 degrees is 15 % longer than its map.
    climb_m, fall_m
        Metres climbed and fallen, noise kept out (see `graylight.approach.profile.climb_and_fall`).
    steepest_deg
        Steepest stretch of about 40 m, along the way.
    on_path
        Part of the distance on mapped paths, 0 to 1.
    hazards
        What it crosses or passes, in plain words.
    along_m
        (n,) float64, metres from the start to each cell.
    at_s
        (n,) float64, walking seconds from the start to each cell.
    height_m
        (n,) float64, height of each cell: with `along_m` the profile.
    steep
        How long it goes over steep ground.
    """

    rows: Cells
    cols: Cells
    seconds: float
    back_seconds: float
    distance_m: float
    climb_m: float
    fall_m: float
    steepest_deg: float
    on_path: float
    hazards: tuple[str, ...]
    along_m: NDArray[np.float64]
    at_s: NDArray[np.float64]
    height_m: NDArray[np.float64]
    steep: Steep


def way_to(
    row: int,
    col: int,
    reach: Reach,
    elevation_m: NDArray[np.float32],
    slope_deg: NDArray[np.float32],
    ground: WalkGround,
    *,
    cell_m: float,
    settings: WalkSettings,
) -> Way | None:
    """The quickest way from the nearest start to a place.

    Parameters
    ----------
    row, col
        The place.
    reach
        Walking time over the country.
    elevation_m, slope_deg, ground
        What it was worked out from; (rows, cols).
    cell_m
        Side of a cell, metres.
    settings
        The walker's limits.

    Returns
    -------
    Way or None
        None where the place is not reached; `why_not` says why.

    Notes
    -----
    Does not model being seen or smelled on the way.
    """
    rows, cols = _traced(reach.came, row, col)
    if rows.size == 0:
        return None
    return way_over(
        (rows, cols),
        reach.seconds[rows, cols].astype(np.float64),
        elevation_m,
        slope_deg,
        ground,
        back_seconds=float(reach.back_seconds[row, col]),
        cell_m=cell_m,
        settings=settings,
    )


def way_over(
    cells: tuple[Cells, Cells],
    at_s: NDArray[np.float64],
    elevation_m: NDArray[np.float32],
    slope_deg: NDArray[np.float32],
    ground: WalkGround,
    *,
    back_seconds: float,
    cell_m: float,
    settings: WalkSettings,
) -> Way:
    """What is to be said of a way whose cells are known.

    Parameters
    ----------
    cells
        Rows and columns, (n,) int64 each, in walking order.
    at_s
        (n,) float64, walking seconds to each.
    elevation_m, slope_deg, ground, cell_m, settings
        As for `way_to`.
    back_seconds
        Walking time of the way back, seconds.
    """
    rows, cols = cells
    along_m = along(rows, cols, cell_m=cell_m)
    height_m = elevation_m[rows, cols].astype(np.float64)
    climb, fall = climb_and_fall(along_m, height_m, cell_m=cell_m)
    steps = steps_of(rows, cols, at_s)
    return Way(
        rows=rows,
        cols=cols,
        seconds=float(at_s[-1]),
        back_seconds=back_seconds,
        distance_m=float(along_m[-1]),
        climb_m=climb,
        fall_m=fall,
        steepest_deg=steepest_deg(along_m, height_m, cell_m=cell_m),
        on_path=_on_path(rows, cols, along_m, ground),
        hazards=hazards(steps, elevation_m, slope_deg, ground, cell_m=cell_m, settings=settings),
        along_m=along_m,
        at_s=at_s,
        height_m=height_m,
        steep=steep_of(steps, slope_deg, ground, settings),
    )


def _traced(came: NDArray[np.int8], row: int, col: int) -> tuple[Cells, Cells]:
    """Cells from the start to the place; none where it is not reached."""
    rows, cols = np.empty(came.size, np.int64), np.empty(came.size, np.int64)
    count = trace(came, row, col, rows, cols)
    return rows[:count][::-1].copy(), cols[:count][::-1].copy()


def _on_path(rows: Cells, cols: Cells, along_m: NDArray[np.float64], ground: WalkGround) -> float:
    """Part of the distance on path: each move by the mean of its two ends."""
    on = (ground.surface[rows, cols] > 0).astype(np.float64)
    if along_m[-1] == 0.0:
        return float(on[0])
    return float(((on[:-1] + on[1:]) / 2 * np.diff(along_m)).sum() / along_m[-1])


def leave_by(usable_from: dt.datetime | None, slow_seconds: float, settle_minutes: int) -> dt.datetime | None:
    """When to leave so as to be in place in time, even at the slow end of the range.

    Parameters
    ----------
    usable_from
        First usable light.
    slow_seconds
        Walking time at the slow end of its range.
    settle_minutes
        How long before usable light to be in place.

    Returns
    -------
    datetime or None
        Cut to the whole minute before; None without usable light or without a way.

    >>> light = dt.datetime(2026, 8, 27, 12, 10, tzinfo=dt.UTC)
    >>> leave_by(light, 5430.0, 40).isoformat()
    '2026-08-27T09:59:00+00:00'
    """
    if usable_from is None or not np.isfinite(slow_seconds):
        return None
    leave = usable_from - dt.timedelta(minutes=settle_minutes, seconds=float(slow_seconds))
    return leave.replace(second=0, microsecond=0)

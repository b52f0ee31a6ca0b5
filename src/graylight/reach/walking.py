"""Walking time: from the nearest start to every cell and back, and from where people come by wheel."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from graylight.errors import BadInput
from graylight.kernels.costpath import EVERYWHERE, NOT_REACHED, least_time, nodes
from graylight.reach.ground import WalkGround
from graylight.reach.pace import PaceTable, pace_table, published_pace
from graylight.settings import WalkSettings
from graylight.work import Tick, silent, spread

__all__ = ["Reach", "begin_cells", "bytes_needed", "quiet", "reach", "walk_field"]

Cells: TypeAlias = NDArray[np.int64]
Raster: TypeAlias = NDArray[np.float32]

NEAR_START_M = 60.0
"""A start on closed ground (a trailhead mapped onto the lake beside it) begins on open ground this near."""

_BESIDE = 2  # cells that a knight move touches beside the straight line, and one for rounding


@dataclass(frozen=True)
class Reach:
    """Walking time over a country.

    Parameters
    ----------
    seconds
        (rows, cols) float32, from the nearest start; inf where not reached.
    came
        (rows, cols) int8, the move by which each cell is reached (see `graylight.kernels.costpath`).
    back_seconds
        (rows, cols) float32, from each cell to the nearest start; inf where none is reached.
    back_came
        (rows, cols) int8, the move, turned round, by which each cell is left on the way back.
    begin_rows, begin_cols
        (n,) int64, the cells where the starts begin, in the order of the starts; -1 for a start on closed
        ground with no open ground near.
    limit_s
        Beyond this nothing was looked for.
    """

    seconds: Raster
    came: NDArray[np.int8]
    back_seconds: Raster
    back_came: NDArray[np.int8]
    begin_rows: Cells
    begin_cols: Cells
    limit_s: float


def bytes_needed(shape: tuple[int, int]) -> int:
    """Most memory that `reach` takes beside its inputs: two runs at once."""
    return shape[0] * shape[1] * 2 * (24 + 5) + (4 << 20)


def reach(
    elevation_m: Raster,
    ground: WalkGround,
    starts: tuple[ArrayLike, ArrayLike],
    *,
    cell_m: float,
    settings: WalkSettings,
    limit_s: float = np.inf,
    dark: bool = True,
    tick: Tick = silent,
) -> Reach:
    """Walking time with a day pack from the nearest start to every cell and back.

    Parameters
    ----------
    elevation_m
        (rows, cols) float32, metres; NaN is closed.
    ground
        Factors and closed ground.
    starts
        Rows and columns of the starts.
    cell_m
        Side of a cell, metres.
    settings
        The person's pace.
    limit_s
        Longest time looked for, seconds.
    dark
        Whether it is walked in the dark, or by day.
    tick
        Told about progress. One run is a single stretch of compiled work, about a second for 1.4 million
        cells: a stop takes effect at its end.

    Raises
    ------
    BadInput
        A start lies outside the grid.

    Notes
    -----
    Where two starts are equally near, the way whose cells come first in order of row and column is kept.
    """
    begin_rows, begin_cols = begin_cells(starts, elevation_m, ground, cell_m=cell_m)
    pace = pace_table(settings, dark=dark)
    out, back = _blank(elevation_m.shape), _blank(elevation_m.shape)
    begin = (begin_rows, begin_cols)
    run = _Run(elevation_m, ground, pace, cell_m, limit_s)
    spread(
        [
            lambda: _run(run, begin=begin, toward=False, out=out),
            lambda: _run(run, begin=begin, toward=True, out=back),
        ],
        tick=tick,
    )
    return Reach(*out, *back, begin_rows, begin_cols, float(limit_s))


def quiet(
    elevation_m: Raster,
    ground: WalkGround,
    motor_rows: ArrayLike,
    motor_cols: ArrayLike,
    *,
    cell_m: float,
    limit_s: float = np.inf,
    tick: Tick = silent,
) -> Raster:
    """Walking time by day, without a pack, from the nearest road end, trailhead or motor route.

    Parameters
    ----------
    elevation_m, ground, cell_m, limit_s, tick
        As for `reach`; the ground is best made with ``dark=False``.
    motor_rows, motor_cols
        Cells that people reach by wheel; those on closed ground, or outside the grid, are left out.

    Returns
    -------
    (rows, cols) float32
        Seconds; inf beyond the limit, on closed ground, and everywhere when no such cell is known.

    Notes
    -----
    Does not say how many people come, or when.
    """
    begin = (_cells(motor_rows), _cells(motor_cols))
    out = _blank(elevation_m.shape)
    pace = published_pace()
    run = _Run(elevation_m, ground, pace, cell_m, limit_s)
    spread([lambda: _run(run, begin=begin, toward=False, out=out)], tick=tick)
    return out[0]


def walk_field(
    elevation_m: Raster,
    ground: WalkGround,
    pace: PaceTable,
    begin: tuple[ArrayLike, ArrayLike],
    *,
    cell_m: float,
    toward: bool = False,
    limit_s: float = np.inf,
    goals: tuple[ArrayLike, ArrayLike] | None = None,
) -> tuple[Raster, NDArray[np.int8]]:
    """One field of walking time at a pace: from the nearest of some cells, or toward it.

    Parameters
    ----------
    elevation_m, ground, cell_m, limit_s
        As for `reach`.
    pace
        Seconds per metre by surface and slope.
    begin
        Rows and columns; those closed or outside are left out.
    toward
        Whether each cell's time is that of going to the nearest of them.
    goals
        Rows and columns of the cells that are asked for: only these, and the ways to them, are as a whole run has
        them, and it takes less time; None: all are.

    Returns
    -------
    seconds : (rows, cols) float32
        inf where not reached.
    came : (rows, cols) int8
        The move by which each cell is reached, or left (see `graylight.kernels.costpath`).
    """
    out = _blank(elevation_m.shape)
    run = _Run(elevation_m, ground, pace, cell_m, limit_s)
    asked = EVERYWHERE if goals is None else np.stack([_cells(goals[0]), _cells(goals[1])], axis=1)
    _run(run, begin=(_cells(begin[0]), _cells(begin[1])), toward=toward, out=out, goals=asked)
    return out


def begin_cells(
    starts: tuple[ArrayLike, ArrayLike], elevation_m: Raster, ground: WalkGround, *, cell_m: float
) -> tuple[Cells, Cells]:
    """Where the starts begin: the nearest open cell to each, within 60 m; -1 where there is none.

    Raises
    ------
    BadInput
        A start lies outside the grid.
    """
    rows, cols = _inside(starts, elevation_m.shape)
    return _onto_open(rows, cols, elevation_m, ground.factor, cell_m)


def _cells(numbers: ArrayLike) -> Cells:
    return np.ascontiguousarray(np.atleast_1d(numbers), dtype=np.int64)


def _blank(shape: tuple[int, ...]) -> tuple[Raster, NDArray[np.int8]]:
    return np.empty(shape, np.float32), np.empty(shape, np.int8)


@dataclass(frozen=True)
class _Run:
    """What two runs over one country have in common."""

    elevation_m: Raster
    ground: WalkGround
    pace: PaceTable
    cell_m: float
    limit_s: float


def _run(
    run: _Run, *, begin: tuple[Cells, Cells], toward: bool, out: tuple[Raster, NDArray[np.int8]], goals: Cells = EVERYWHERE
) -> None:  # fmt: skip
    """Fill `out`: inf and not reached but in the part of the country that the limit lets one reach."""
    part = _within(run, begin)
    top, left = part[0].start, part[1].start
    whole = run.elevation_m[part].shape == run.elevation_m.shape
    found = out if whole else _blank(run.elevation_m[part].shape)
    least_time(
        np.ascontiguousarray(run.elevation_m[part], dtype=np.float32),
        np.ascontiguousarray(run.ground.factor[part]),
        np.ascontiguousarray(run.ground.surface[part]),
        run.pace.seconds_per_m,
        run.pace.slope_min,
        run.pace.slope_step,
        float(run.cell_m),
        begin[0] - top,
        begin[1] - left,
        np.zeros(begin[0].size),
        float(run.limit_s),
        toward,
        goals - np.array([top, left]),
        nodes(found[0].shape),
        *found,
    )
    if not whole:
        out[0].fill(np.inf)
        out[1].fill(NOT_REACHED)
        out[0][part], out[1][part] = found


def _within(run: _Run, begin: tuple[Cells, Cells]) -> tuple[slice, slice]:
    """Rows and columns that can be reached within the limit, at the best pace there is and straight on."""
    rows, cols = run.elevation_m.shape
    factor = run.ground.factor
    least = float(factor.min(initial=np.inf, where=factor > 0.0)) * float(run.pace.seconds_per_m.min())
    inside = (begin[0] >= 0) & (begin[0] < rows) & (begin[1] >= 0) & (begin[1] < cols)
    if not (np.isfinite(run.limit_s) and np.isfinite(least) and inside.any()):
        return slice(0, rows), slice(0, cols)
    far = int(run.limit_s / (least * run.cell_m)) + _BESIDE
    return tuple(  # type: ignore[return-value]
        slice(max(int(side[inside].min()) - far, 0), int(side[inside].max()) + far + 1) for side in begin
    )


def _inside(starts: tuple[ArrayLike, ArrayLike], shape: tuple[int, ...]) -> tuple[Cells, Cells]:
    rows, cols = _cells(starts[0]), _cells(starts[1])
    outside = (rows < 0) | (cols < 0) | (rows >= shape[0]) | (cols >= shape[1])
    if outside.any():
        first = int(np.argmax(outside))
        raise BadInput(
            f"start {first + 1} lies outside the country: row {rows[first]}, column {cols[first]}; accepted "
            f"are rows 0 to {shape[0] - 1} and columns 0 to {shape[1] - 1}; choose a start inside, or make a "
            "larger country"
        )
    return rows, cols


def _onto_open(
    rows: Cells,
    cols: Cells,
    elevation_m: Raster,
    factor: Raster,
    cell_m: float,
) -> tuple[Cells, Cells]:
    """The nearest open cell to each start, within `NEAR_START_M`; of equally near ones the first; else -1."""
    begin = np.full((2, len(rows)), -1, np.int64)
    reach_cells = int(NEAR_START_M / cell_m)
    for i, (row, col) in enumerate(zip(rows, cols, strict=True)):
        top, left = max(row - reach_cells, 0), max(col - reach_cells, 0)
        window = (slice(top, row + reach_cells + 1), slice(left, col + reach_cells + 1))
        near = np.argwhere(np.isfinite(factor[window]) & np.isfinite(elevation_m[window]))
        if near.size:
            square = (near[:, 0] + top - row) ** 2 + (near[:, 1] + left - col) ** 2
            best = int(np.argmin(square))  # the first of the nearest, in order of row and column
            if square[best] * cell_m**2 <= NEAR_START_M**2:
                begin[:, i] = near[best, 0] + top, near[best, 1] + left
    return begin[0], begin[1]

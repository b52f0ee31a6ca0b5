"""Ways from every start to a lookout: the quickest, the hidden one, and one in between, and the way out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from graylight.approach.barrier import barrier, why_not
from graylight.approach.exposure import Exposure, Notice, exposure
from graylight.approach.hazards import Steps, steps_of
from graylight.approach.way import Way, way_over
from graylight.approach.waymarks import Mark, NamedPaths, junctions, water_crossings
from graylight.errors import BadInput
from graylight.grid import RowCol
from graylight.kernels.costpath import trace
from graylight.reach.ground import WalkGround
from graylight.reach.pace import PaceTable, pace_table
from graylight.reach.timing import seconds_in_cells
from graylight.reach.walking import begin_cells, reach, walk_field
from graylight.settings import ApproachSettings, WalkSettings
from graylight.work import Tick, part, silent, spread

__all__ = ["Course", "FromStart", "Land", "bytes_needed", "retimed", "walked_back", "way_out", "ways_to"]

Cells: TypeAlias = NDArray[np.int64]
Raster: TypeAlias = NDArray[np.float32]
Field: TypeAlias = tuple[Raster, NDArray[np.int8]]
Kind: TypeAlias = Literal["quickest", "between", "hidden", "out"]

_Wanted: TypeAlias = tuple[WalkGround, bool, float]
"""A run: over which ground, whether toward the lookout, and how far, seconds."""

ROUNDING = 1.0 + 1e-5
"""Least sums are kept as float32: a bound on them is widened by more than that rounds."""


@dataclass(frozen=True)
class Land:
    """The country as a walker meets it.

    Parameters
    ----------
    elevation_m, slope_deg
        (rows, cols) float32; NaN where not known.
    ground
        Ground factors and what is closed.
    cell_m
        Side of a cell, metres.
    named
        Names of paths; None where none are known.
    """

    elevation_m: Raster
    slope_deg: Raster
    ground: WalkGround
    cell_m: float
    named: NamedPaths | None = None


@dataclass(frozen=True)
class Course:
    """One way, and what is to be said of it.

    Parameters
    ----------
    kind
        quickest, between, hidden, or out (the quickest way from the lookout to the start).
    way
        Its cells, time, profile and hazards, in walking order.
    exposure
        How much of it is seen from the pockets, or smelled.
    junctions
        Where it joins, leaves or crosses a path.
    crossings
        Where it goes over water, and by what.
    """

    kind: Kind
    way: Way
    exposure: Exposure
    junctions: tuple[Mark, ...]
    crossings: tuple[Mark, ...]


@dataclass(frozen=True)
class FromStart:
    """The ways from one start to a lookout, and back to that start.

    Parameters
    ----------
    start
        Which of the starts, counted from 0.
    begin
        The cell where it begins: the start's own, or the nearest open one.
    quickest, between, hidden
        The ways in. Where nothing is seen or smelled all three are the quickest.
    out
        The quickest way from the lookout to this start.
    """

    start: int
    begin: RowCol
    quickest: Course
    between: Course
    hidden: Course
    out: Course


def bytes_needed(shape: tuple[int, int]) -> int:
    """Most memory that `ways_to` takes beside its inputs: two runs, four fields, three sets of factors."""
    return shape[0] * shape[1] * (2 * 24 + 4 * 5 + 3 * 4) + (8 << 20)


def ways_to(
    place: RowCol,
    starts: tuple[ArrayLike, ArrayLike],
    land: Land,
    *,
    walk: WalkSettings,
    approach: ApproachSettings,
    notice: Notice | None = None,
    dark: bool = True,
    limit_s: float = np.inf,
    tick: Tick = silent,
) -> tuple[FromStart, ...]:
    """Ways in and out between every start and a lookout, with a day pack.

    Parameters
    ----------
    place
        The lookout.
    starts
        Rows and columns of the starts (road ends, trailheads, camps).
    land
        The country.
    walk, approach
        The person's pace and limits; what being noticed counts.
    notice
        Where a walker is seen from the pockets or smelled; None: not known.
    dark
        Whether it is walked in the dark: slower, and being in view counts less.
    limit_s
        Longest quickest way looked for, seconds.
    tick
        Told about progress.

    Returns
    -------
    tuple of FromStart
        For each start that reaches the lookout, in the order of the starts.

    Raises
    ------
    BadInput
        The lookout or a start lies outside the country, or none reaches it: what closes it, how near one gets.

    Notes
    -----
    The hidden way is the least sum of walking time and weight x time noticed; the one in between takes a part
    of the weights. So from quickest to hidden the walking time never falls and the weighed time noticed never
    rises. Both say how long a walker is noticed *if* an animal looks up: not whether it will.
    """
    _inside(place, land.elevation_m.shape)
    begin = begin_cells(starts, land.elevation_m, land.ground, cell_m=land.cell_m)
    seek = _Seek(place, begin, land, pace_table(walk, dark=dark), walk, notice or Notice())
    more = seek.notice.longer(approach, land.elevation_m.shape, dark=dark)
    (quickest,) = seek.fields([(land.ground, True, limit_s)], part(tick, 0.0, 0.3))
    reached = [i for i in range(len(begin[0])) if begin[0][i] >= 0 and np.isfinite(quickest[0][seek.cell(i)])]
    if not reached:
        raise BadInput(_unreached(seek, starts, limit_s))
    ins = {i: seek.course("quickest", seek.cells(quickest, i)) for i in reached}
    out, *hiding = seek.fields(seek.further(list(ins.values()), more, approach), part(tick, 0.3, 1.0))
    return tuple(seek.gathered(i, ins[i], hiding, out) for i in reached)


def way_out(
    place: RowCol, begin: RowCol, land: Land, *, walk: WalkSettings, dark: bool, limit_s: float = np.inf
) -> Course | None:
    """The quickest way from a lookout to one start alone, by day or in the dark.

    Parameters
    ----------
    place, begin
        The lookout, and the open cell where the way in begins (`FromStart.begin`).
    land, walk
        As for `ways_to`.
    dark
        Whether it is walked in the dark.
    limit_s
        Longest way looked for, seconds.

    Returns
    -------
    Course or None
        None where there is no way within the limit.
    """
    cells = np.array([begin.row], np.int64), np.array([begin.col], np.int64)
    seek = _Seek(place, cells, land, pace_table(walk, dark=dark), walk, Notice())
    (field,) = seek.fields([(land.ground, False, limit_s)], silent)
    rows, cols = seek.cells(field, 0)
    return seek.course("out", (rows[::-1].copy(), cols[::-1].copy())) if rows.size else None


def retimed(course: Course, land: Land, *, walk: WalkSettings, dark: bool) -> float:
    """Seconds of walking along the same way at another hour: over ground as by day, or as in the dark."""
    way, pace = course.way, pace_table(walk, dark=dark)
    parts = seconds_in_cells(way.rows, way.cols, land.elevation_m, land.ground, pace, cell_m=land.cell_m)
    return float(parts.sum())


def walked_back(course: Course, land: Land, *, walk: WalkSettings, dark: bool) -> NDArray[np.float64]:
    """(n,) seconds of walking back to where a way begins from each of its cells, along the same way, at another hour."""
    way, pace = course.way, pace_table(walk, dark=dark)
    turned = way.rows[::-1], way.cols[::-1]
    parts = seconds_in_cells(*turned, land.elevation_m, land.ground, pace, cell_m=land.cell_m)
    return np.concatenate([[0.0], np.cumsum(parts.sum(axis=1)[::-1])])


@dataclass(frozen=True)
class _Seek:
    """One lookout, its starts and how it is walked: what the runs have in common."""

    place: RowCol
    begin: tuple[Cells, Cells]
    land: Land
    pace: PaceTable
    walk: WalkSettings
    notice: Notice

    def cell(self, start: int) -> tuple[int, int]:
        return int(self.begin[0][start]), int(self.begin[1][start])

    def fields(self, runs: list[_Wanted], tick: Tick) -> list[Field]:
        """Fields of walking time between the lookout and the starts, one for each run."""
        found: dict[int, Field] = {}

        def run(i: int) -> None:
            ground, toward, limit_s = runs[i]
            begin = [self.place.row], [self.place.col]
            found[i] = walk_field(
                self.land.elevation_m, ground, self.pace, begin,
                cell_m=self.land.cell_m, toward=toward, limit_s=limit_s, goals=self.begin,
            )  # fmt: skip

        spread([partial(run, i) for i in range(len(runs))], tick=tick)
        return [found[i] for i in range(len(runs))]

    def further(self, quickest: list[Course], more: Raster, approach: ApproachSettings) -> list[_Wanted]:
        """The runs out, between and hidden; out alone where nothing counts for more.

        The quickest ways, as they would count there, bound the least sums: farther nothing is looked for.
        """
        ways = [(course.way.rows, course.way.cols) for course in quickest]
        back = [(rows[::-1], cols[::-1]) for rows, cols in ways]
        runs: list[_Wanted] = [(self.land.ground, False, self._bound(back, self.land.ground))]
        if more.any():
            for weighed in (more * np.float32(approach.between), more):
                # here a minute counts for (1 + more) minutes
                ground = replace(self.land.ground, factor=self.land.ground.factor * (1 + weighed))
                runs.append((ground, True, self._bound(ways, ground)))
        return runs

    def _bound(self, ways: list[tuple[Cells, Cells]], ground: WalkGround) -> float:
        return ROUNDING * max(float(self._parts(cells, ground).sum()) for cells in ways)

    def _parts(self, cells: tuple[Cells, Cells], ground: WalkGround) -> NDArray[np.float64]:
        return seconds_in_cells(*cells, self.land.elevation_m, ground, self.pace, cell_m=self.land.cell_m)

    def cells(self, field: Field, start: int) -> tuple[Cells, Cells]:
        """Cells of the way between a start and the lookout, the start's first; none where there is none."""
        came = field[1]
        rows, cols = np.empty(came.size, np.int64), np.empty(came.size, np.int64)
        count = trace(came, *self.cell(start), rows, cols)
        return rows[:count].copy(), cols[:count].copy()

    def course(self, kind: Kind, cells: tuple[Cells, Cells]) -> Course:
        """What is to be said of the way over some cells; its time is that of the ground alone."""
        land = self.land
        parts = self._parts(cells, land.ground)
        at_s = np.concatenate([[0.0], np.cumsum(parts.sum(axis=1))])
        way = way_over(
            cells, at_s, land.elevation_m, land.slope_deg, land.ground,
            back_seconds=float("nan"), cell_m=land.cell_m, settings=self.walk,
        )  # fmt: skip
        steps: Steps = steps_of(*cells, at_s)
        return Course(
            kind,
            way,
            exposure(steps, parts, self.notice),
            junctions(*cells, way.along_m, at_s, land.ground, land.named),
            water_crossings(steps, way.along_m, land.ground),
        )

    def gathered(self, start: int, quickest: Course, hiding: list[Field], out: Field) -> FromStart:
        """All ways of one start; `hiding` holds the fields of the way between and the hidden one, or nothing."""
        rows, cols = self.cells(out, start)
        home = self.course("out", (rows[::-1].copy(), cols[::-1].copy()))
        kinds: tuple[Kind, Kind] = ("between", "hidden")
        if hiding:
            ways = [self.course(k, self.cells(f, start)) for k, f in zip(kinds, hiding, strict=True)]
        else:
            ways = [replace(quickest, kind=k) for k in kinds]
        quick, between, hidden = (_returning(c, home) for c in (quickest, *ways))
        return FromStart(start, RowCol(*self.cell(start)), quick, between, hidden, _returning(home, quickest))


def _returning(course: Course, by: Course) -> Course:
    return replace(course, way=replace(course.way, back_seconds=by.way.seconds))


def _inside(place: RowCol, shape: tuple[int, ...]) -> None:
    if not (0 <= place.row < shape[0] and 0 <= place.col < shape[1]):
        raise BadInput(
            f"the lookout lies outside the country: row {place.row}, column {place.col}; accepted are rows 0 to "
            f"{shape[0] - 1} and columns 0 to {shape[1] - 1}; choose one inside, or make a larger country"
        )


def _unreached(seek: _Seek, starts: tuple[ArrayLike, ArrayLike], limit_s: float) -> str:
    """One line: what closes the lookout off and the nearest place that is reached."""
    land = seek.land
    walked = reach(
        land.elevation_m, land.ground, starts, cell_m=land.cell_m, settings=seek.walk, limit_s=limit_s
    )
    why = why_not(*seek.place, walked, land.ground, cell_m=land.cell_m)
    far = barrier(*seek.place, walked, land.ground, cell_m=land.cell_m).too_far
    longer = ", or allow a longer walk" if far else ""
    return (
        f"no start reaches the lookout at row {seek.place.row}, column {seek.place.col}: {why}; accepted is a "
        f"lookout that can be walked to; choose another, or a start on its side{longer}"
    )

"""The ways of one sit: in and out, what is noticed of them, water near, and carrying an animal out."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from graylight.approach.exposure import Notice
from graylight.approach.leaving import turn_around
from graylight.approach.packout import PackOut, PackReach, loads_of, pack_out, pack_reach
from graylight.approach.water import WaterWalk, nearest_water
from graylight.approach.waymarks import Mark
from graylight.approach.ways import Course, FromStart, Land, retimed, walked_back, way_out
from graylight.grid import RowCol
from graylight.ground.water import Water
from graylight.habitat.profile import LoadNumbers
from graylight.plan.looking import Ready
from graylight.plan.model import Approach, Lookout
from graylight.plan.on_foot import LEAST_GAIN_MIN, advised, smelled, starts_for, ways_in
from graylight.plan.sight_facts import PocketCells
from graylight.plan.starts import WayIn
from graylight.reach.walking import reach
from graylight.sit.facts import WayMark

__all__ = ["Begun", "OnFoot", "WayTaken", "marks_of", "turn_round"]

Raster = NDArray[np.float32]
SHARED_S = 300.0
"""Paths that part and meet again within so many seconds run together. Proposed."""
WATER_S = 5400.0
"""Water is looked for within so long a walk of a lookout. Proposed."""
WATER_NEAR_S = 3600.0
"""At first it is looked for this near: what is soonest there and back within a limit is soonest of all."""


@dataclass(frozen=True, slots=True)
class Begun:
    """Where a walk begins: a start of the country, and the open cell."""

    start: WayIn
    begin: RowCol


@dataclass(frozen=True, slots=True)
class WayTaken:
    """The way in that is advised, beside the others; the way out at the hour of a sit's end.

    Parameters
    ----------
    course
        The way advised, with what is noticed of it.
    ways
        All of them from that start.
    out
        The way out; `out_s` its walking time at the hour it is walked. None: there is none.
    begun
        Where it begins.
    dark, out_in_dark
        Whether the way in, and the way out, are walked in the dark.
    """

    course: Course
    ways: FromStart
    out: Course | None
    out_s: float
    begun: Begun
    dark: bool
    out_in_dark: bool

    @property
    def quickest_s(self) -> float:
        """Walking time of the quickest way in."""
        return self.ways.quickest.way.seconds


@dataclass(frozen=True, slots=True)
class OnFoot:
    """The country on foot, with what was worked out before: ways to lookouts, water near them, ways out under a load.

    Parameters
    ----------
    looking
        Layers, plan, and cells of the pockets.
    dark, day
        The ground as it is walked in the dark and by day.
    seen : (rows, cols) float32
        Part of what the ranked pockets hold that has a walker in view, 0 to 1.
    water
        The country's water.
    load
        What the animal weighs; None: its profile does not say.
    """

    looking: Ready
    dark: Land
    day: Land
    seen: Raster
    water: Water
    load: LoadNumbers | None
    _ways: dict[tuple[str, bool], FromStart] = field(default_factory=dict)
    _outs: dict[tuple[str, bool], Course | None] = field(default_factory=dict)
    _water: dict[str, tuple[WaterWalk, ...]] = field(default_factory=dict)
    _packs: dict[tuple[RowCol, bool, str], PackOut] = field(default_factory=dict)

    def forget(self) -> None:
        """Drop all that was worked out (a benchmark does)."""
        for kept in (self._ways, self._outs, self._water, self._packs):
            kept.clear()  # type: ignore[attr-defined]

    def land(self, dark: bool) -> Land:
        """The ground at an hour."""
        return self.dark if dark else self.day

    def starts(self, kept: Approach | None) -> list[WayIn]:
        """Where a walk to a lookout may begin."""
        return starts_for(self.looking, self.dark, kept)

    def taken(
        self, lookout: Lookout, cell: RowCol, kept: Approach | None, scented: Raster, *, dark: bool, dark_out: bool
    ) -> WayTaken | None:  # fmt: skip
        """The way advised; None where no start is known.

        Ways that keep out of view hang on the lookout and the hour alone and are worked out once; only where scent from
        the one advised would reach what is watched are they sought again, out of scent as well.

        Raises
        ------
        BadInput
            Starts are known and none reaches the lookout.
        """
        begin = self.starts(kept)
        if not begin:
            return None
        found = self._hidden(lookout, cell, kept, begin, dark=dark)
        course = smelled(self._best(found, dark), scented)
        if (course.exposure.scented_minutes or 0.0) >= LEAST_GAIN_MIN:
            found = self._seek(cell, kept, begin, Notice(self.seen, scented), dark=dark)
            course = self._best(found, dark)
        begun = Begun(begin[found.start], found.begin)
        out, out_s = self._out(lookout, cell, found, dark=dark, dark_out=dark_out)
        return WayTaken(course, found, out, out_s, begun, dark, dark_out)

    def ahead(
        self, lookout: Lookout, cell: RowCol, kept: Approach | None, pockets: Mapping[str, PocketCells], *,
        dark: bool, dark_out: bool,
    ) -> None:  # fmt: skip
        """Work out and keep what does not hang on the air: ways that keep out of view, out, water, carrying out.

        Raises
        ------
        BadInput
            As `taken`.
        """
        self.water_near(lookout, cell)
        begin = self.starts(kept)
        if begin:
            found = self._hidden(lookout, cell, kept, begin, dark=dark)
            self._out(lookout, cell, found, dark=dark, dark_out=dark_out)
            # who walks in by day sits at dusk, and carries out in the dark
            self.carried(Begun(begin[found.start], found.begin), pockets, dark=not dark)

    def _hidden(
        self, lookout: Lookout, cell: RowCol, kept: Approach | None, begin: list[WayIn], *, dark: bool
    ) -> FromStart:
        key = lookout.id, dark
        if key not in self._ways:
            self._ways[key] = self._seek(cell, kept, begin, Notice(self.seen), dark=dark)
        return self._ways[key]

    def _seek(
        self, cell: RowCol, kept: Approach | None, begin: list[WayIn], notice: Notice, *, dark: bool
    ) -> FromStart:
        settings = self.looking.country.settings
        # the plan's own time in the dark bounds the quickest way: farther need not be looked
        limit_s = 1.02 * kept.seconds if kept is not None else 1.2 * 3600.0 * settings.watch.walk_limit_hours
        return ways_in(self.looking, self.land(dark), cell, begin, notice, limit_s, dark=dark)

    def _best(self, ways: FromStart, dark: bool) -> Course:
        settings = self.looking.country.settings
        counts = settings.approach.seen_dark if dark else 1.0
        return advised(ways, detour_minutes=settings.sit.detour_minutes, seen_counts=counts)

    def _out(
        self, lookout: Lookout, cell: RowCol, found: FromStart, *, dark: bool, dark_out: bool
    ) -> tuple[Course | None, float]:
        """The way out, and its time at its own hour.

        The way that is quickest in the dark keeps off steep ground: it serves by day too, timed by day. The other way
        round it would not.
        """
        walk = self.looking.country.settings.walk
        if dark:
            out: Course | None = found.out if found.out.way.rows.size else None
        else:
            key = lookout.id, dark_out
            if key not in self._outs:
                self._outs[key] = way_out(cell, found.begin, self.dark, walk=walk, dark=True)
            out = self._outs[key]
        if out is None:
            return None, float("inf")
        return out, out.way.seconds if dark_out else retimed(out, self.day, walk=walk, dark=False)

    def water_near(self, lookout: Lookout, cell: RowCol) -> tuple[WaterWalk, ...]:
        """Water soonest fetched from a lookout by day, and the soonest that is sure."""
        if lookout.id not in self._water:
            limit_s, found = WATER_NEAR_S, self._water_within(cell, WATER_NEAR_S)
            while limit_s < WATER_S and not (found and found[-1].sure and found[-1].round_s <= limit_s):
                limit_s = min(2.0 * limit_s, WATER_S)
                found = self._water_within(cell, limit_s)
            self._water[lookout.id] = found
        return self._water[lookout.id]

    def _water_within(self, cell: RowCol, limit_s: float) -> tuple[WaterWalk, ...]:
        land, walk = self.day, self.looking.country.settings.walk
        walked = reach(
            land.elevation_m, land.ground, ([cell.row], [cell.col]), cell_m=land.cell_m, settings=walk,
            limit_s=limit_s, dark=False,
        )  # fmt: skip
        return nearest_water(walked, self.water, land.ground.factor)

    def carried(
        self, begun: Begun, pockets: Mapping[str, PocketCells], *, dark: bool
    ) -> list[PackOut | None]:
        """Carrying an animal out to a start from the middling cell of each pocket, by day or in the dark.

        None where its weight is not known, or the pocket holds no cell.
        """
        if self.load is None:
            return [None] * len(pockets)
        new = {
            one: cells
            for one, cells in pockets.items()
            if len(cells.rows) and (begun.begin, dark, one) not in self._packs
        }
        if new:
            pack = self._pack_reach(self.load, begun.begin, new, dark)
            for one, cells in new.items():
                self._packs[begun.begin, dark, one] = self._pack_out(pack, cells)
        return [self._packs.get((begun.begin, dark, one)) for one in pockets]

    def _pack_reach(
        self, load: LoadNumbers, begin: RowCol, pockets: Mapping[str, PocketCells], dark: bool
    ) -> PackReach:
        settings = self.looking.country.settings
        rows = np.concatenate([cells.rows for cells in pockets.values()])
        cols = np.concatenate([cells.cols for cells in pockets.values()])
        return pack_reach(
            ([begin.row], [begin.col]), self.land(dark), loads_of(load, settings.pack),
            walk=settings.walk, pack=settings.pack, dark=dark, goals=(rows, cols),
        )  # fmt: skip

    def _pack_out(self, pack: PackReach, cells: PocketCells) -> PackOut:
        settings = self.looking.country.settings
        seconds = pack.loaded.seconds[cells.rows, cells.cols]
        middle = int(np.argsort(seconds, kind="stable")[len(seconds) // 2])
        cell = RowCol(int(cells.rows[middle]), int(cells.cols[middle]))
        return pack_out(cell, pack, cell_m=self.day.cell_m, walk=settings.walk, pack=settings.pack)


def marks_of(course: Course, slower: float) -> tuple[WayMark, ...]:
    """What is met on the way in, by the slow end of the range."""
    met = (*_without_returns(course.junctions), *course.crossings)
    marks = [WayMark(m.words, m.at_s * slower) for m in met]
    return tuple(sorted(marks, key=lambda m: (m.after_s, m.words)))


def _without_returns(junctions: tuple[Mark, ...]) -> list[Mark]:
    """Without from one path onto another and straight back: two names for the same path."""
    kept: list[Mark] = []
    for mark in junctions:
        before = kept[-1].words.removeprefix("from ").split(" onto ") if kept else []
        back = len(before) == 2 and mark.words == f"from {before[1]} onto {before[0]}"
        if back and mark.at_s - kept[-1].at_s <= SHARED_S:
            kept.pop()
        else:
            kept.append(mark)
    return kept


def turn_round(
    way: WayTaken, foot: OnFoot, leave: dt.datetime | None, out_by: dt.datetime | None, slower: float
) -> dt.datetime | None:
    """When to turn round on the way in, wherever one is, so as to be out by a time: back along the same way."""
    if leave is None:
        return None
    walk = foot.looking.country.settings.walk
    back_s = walked_back(way.course, foot.land(way.out_in_dark), walk=walk, dark=way.out_in_dark)
    return turn_around(leave, out_by, at_s=way.course.way.at_s * slower, back_s=back_s * slower)

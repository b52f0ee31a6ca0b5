"""Carrying an animal out: how many loads, how long it takes, and a veto where it takes too long."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import partial
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from graylight.approach.barrier import why_not
from graylight.approach.ways import Land
from graylight.grid import RowCol
from graylight.habitat.profile import LoadNumbers
from graylight.kernels.costpath import trace
from graylight.reach.burden import loaded_pace
from graylight.reach.ground import WalkGround
from graylight.reach.pace import PaceTable, pace_table
from graylight.reach.walking import Reach, begin_cells, walk_field
from graylight.settings import PackSettings, WalkSettings
from graylight.work import Tick, silent, spread

__all__ = ["Loads", "PackOut", "PackReach", "ground_for_load", "loads_of", "pack_out", "pack_reach"]

Cells: TypeAlias = NDArray[np.int64]
Field: TypeAlias = tuple[NDArray[np.float32], NDArray[np.int8]]


@dataclass(frozen=True)
class Loads:
    """What there is to carry.

    Parameters
    ----------
    weight_kg
        All of it.
    trips
        How often each carrier goes out loaded.
    each_kg
        What one carrier has on the back on each trip.
    dressing_hours
        Time at the animal before the first load leaves.
    """

    weight_kg: float
    trips: int
    each_kg: float
    dressing_hours: float


def loads_of(numbers: LoadNumbers, pack: PackSettings, *, head: bool = True) -> Loads:
    """Loads by an animal's numbers: trips = weight / (people x load), rounded up, evenly shared.

    Parameters
    ----------
    numbers
        Weights of the animal, from its profile.
    pack
        How many carry, and how much.
    head
        Whether head and cape are carried too.

    >>> bull = LoadNumbers(meat_kg=99, head_kg=23, dressing_hours=4)
    >>> found = loads_of(bull, PackSettings(people=2, load_kg=25))
    >>> found.trips, round(found.weight_kg), round(found.each_kg, 1)
    (3, 137, 22.8)
    """
    weight = numbers.meat_kg * (1.0 + pack.more) + (numbers.head_kg if head else 0.0)
    trips = max(math.ceil(weight / (pack.people * pack.load_kg) - 1e-9), 1)
    return Loads(weight, trips, weight / (pack.people * trips), numbers.dressing_hours)


@dataclass(frozen=True)
class PackReach:
    """Time from every cell out to the nearest start under a load, and from it in again without one.

    Parameters
    ----------
    loaded
        Way out under a load; as `Reach`, but its `seconds` and `came` lead from each cell to the nearest start,
        and its `back_seconds` and `back_came` from the nearest start to the cell, without a load.
    ground
        The ground that was open to a load.
    loads
        What is carried.
    """

    loaded: Reach
    ground: WalkGround
    loads: Loads


def ground_for_load(ground: WalkGround, slope_deg: NDArray[np.float32], walk: WalkSettings) -> WalkGround:
    """The ground that is open under a load: steeper than `walk.scramble_deg` only on a path."""
    steep = (slope_deg > walk.scramble_deg) & (ground.surface == 0) & (ground.shut == 0)
    words = (*ground.shut_words, f"ground steeper than {walk.scramble_deg:.0f}°, too steep under a load")
    return replace(
        ground,
        factor=np.where(steep, np.float32(np.inf), ground.factor),
        shut=np.where(steep, np.uint8(len(words)), ground.shut),
        shut_words=words,
    )


def pack_reach(
    starts: tuple[ArrayLike, ArrayLike],
    land: Land,
    loads: Loads,
    *,
    walk: WalkSettings,
    pack: PackSettings,
    limit_s: float = np.inf,
    dark: bool = False,
    goals: tuple[ArrayLike, ArrayLike] | None = None,
    tick: Tick = silent,
) -> PackReach:
    """Fields of the walk out under a load and of the walk in without one, by day or in the dark.

    Parameters
    ----------
    starts
        Rows and columns of the starts.
    land
        The country; its ground is best made for the same hour.
    loads
        What is carried.
    walk, pack
        The person's pace and limits; who carries how much.
    limit_s
        Longest single walk looked for, seconds.
    dark
        Whether it is carried in the dark, as after a sit at dusk.
    goals
        Rows and columns of the cells from which is carried: the fields hold for them alone; None: for all.
    tick
        Told about progress.

    Raises
    ------
    BadInput
        A start lies outside the country.
    """
    ground = ground_for_load(land.ground, land.slope_deg, walk)
    begin = begin_cells(starts, land.elevation_m, ground, cell_m=land.cell_m)
    found: dict[bool, Field] = {}

    def run(loaded: bool, over: WalkGround, pace: PaceTable) -> None:
        found[loaded] = walk_field(
            land.elevation_m,
            over,
            pace,
            begin,
            cell_m=land.cell_m,
            toward=loaded,
            limit_s=limit_s,
            goals=goals,
        )

    heavy = loaded_pace(walk, pack, load_kg=loads.each_kg, dark=dark)
    light = pace_table(walk, pack=False, dark=dark)
    spread([partial(run, True, ground, heavy), partial(run, False, land.ground, light)], tick=tick)
    return PackReach(Reach(*found[True], *found[False], *begin, float(limit_s)), ground, loads)


@dataclass(frozen=True)
class PackOut:
    """Carrying an animal out from a place.

    Parameters
    ----------
    loads
        What is carried.
    loaded_seconds, empty_seconds
        One walk out under a load, and one in without; inf where there is none.
    hours, hours_high
        From the kill until all of it is at the start: dressing, every trip out, and the walks in between; and at
        the slow end of the stated spread. inf where there is no way.
    hours_limit
        Past this it is vetoed.
    rows, cols
        (n,) int64, cells of the way out under a load; none where there is none.
    veto
        Why the place is vetoed, in plain words; None where it can be done in time.
    """

    loads: Loads
    loaded_seconds: float
    empty_seconds: float
    hours: float
    hours_high: float
    hours_limit: float
    rows: Cells
    cols: Cells
    veto: str | None


def pack_out(
    place: RowCol, reached: PackReach, *, cell_m: float, walk: WalkSettings, pack: PackSettings
) -> PackOut:
    """How long it takes to carry an animal out from a place, and whether that is in time.

    Parameters
    ----------
    place
        Where it lies: a pocket's or a lookout's cell.
    reached
        Fields made by `pack_reach`.
    cell_m
        Side of a cell, metres.
    walk, pack
        As they were for the fields.

    Notes
    -----
    Does not model rests, warm weather (which shortens the time that meat keeps), a frame or a
    sled, pack animals, or help on the second day. Wheels are not allowed in a wilderness.
    """
    loads = reached.loads
    out_s = float(reached.loaded.seconds[place])
    in_s = float(reached.loaded.back_seconds[place])
    walking = loads.trips * out_s + (loads.trips - 1) * in_s if loads.trips > 1 else out_s
    hours = loads.dressing_hours + walking / 3600.0
    high = loads.dressing_hours + walking * (1.0 + walk.spread) / 3600.0
    rows, cols = np.empty(reached.loaded.came.size, np.int64), np.empty(reached.loaded.came.size, np.int64)
    count = trace(reached.loaded.came, place.row, place.col, rows, cols)
    return PackOut(
        loads, out_s, in_s, hours, high, pack.hours_limit, rows[:count].copy(), cols[:count].copy(),
        _veto(place, reached, high, cell_m, pack),
    )  # fmt: skip


def _veto(place: RowCol, reached: PackReach, high: float, cell_m: float, pack: PackSettings) -> str | None:
    loads = reached.loads
    if not np.isfinite(reached.loaded.seconds[place]):
        why = why_not(*place, reached.loaded, reached.ground, cell_m=cell_m)
        return f"no way out under a load: {why}"
    if high <= pack.hours_limit:
        return None
    if not np.isfinite(high):
        return (
            f"the walk in again takes longer than the {reached.loaded.limit_s / 3600.0:.1f} hours looked for"
        )
    trips = "1 trip" if loads.trips == 1 else f"{loads.trips} trips"
    each = "" if pack.people == 1 else f" by each of {pack.people} people"
    return (
        f"{trips}{each} with {loads.each_kg:.0f} kg take up to {high:.1f} hours with the dressing, over the "
        f"{pack.hours_limit:g} hours allowed"
    )

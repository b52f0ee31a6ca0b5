"""What a heavy load costs: metabolic power by Pandolf's equation, and the pace that the same effort gives."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from graylight.reach.pace import OFF_PATH, ON_PATH, PaceTable, pace_table
from graylight.settings import PackSettings, WalkSettings

__all__ = ["loaded_pace", "pandolf_watts", "slowing"]

SLOWEST = 0.2
"""Proposed: under a load one is not slower than this part of the unloaded speed; rests are not in it."""


def pandolf_watts(
    body_kg: float, load_kg: float, speed_m_s: ArrayLike, grade_percent: ArrayLike, terrain: ArrayLike
) -> NDArray[np.float64]:
    """Metabolic power of walking with a load, watts (Pandolf, Givoni & Goldman 1977, J. Appl. Physiol. 43:577).

    Parameters
    ----------
    body_kg, load_kg
        Weight of the person (clothed) and of the load.
    speed_m_s
        Walking speed.
    grade_percent
        Rise over run, percent, 0 or more: downhill the equation does not hold.
    terrain
        Factor for the ground: 1.0 hard and smooth, 1.2 light brush, 1.5 heavy brush (values from memory).

    >>> pandolf_watts(80, 20, 1.0, 10.0, 1.2).round(1).item()
    732.5
    """
    standing = 1.5 * body_kg + 2.0 * (body_kg + load_kg) * (load_kg / body_kg) ** 2
    v, grade = np.asarray(speed_m_s, np.float64), np.asarray(grade_percent, np.float64)
    moving = np.asarray(terrain) * (body_kg + load_kg) * (1.5 * v**2 + 0.35 * v * grade)
    watts: NDArray[np.float64] = standing + moving
    return watts


def slowing(
    speed_m_s: ArrayLike, slope: ArrayLike, *, load_kg: float, body_kg: float, terrain: float
) -> NDArray[np.float64]:
    """How many times longer the same ground takes under a load, at the same metabolic power.

    Parameters
    ----------
    speed_m_s, slope
        Speed without the load, and the slope (rise over run) that it holds for.
    load_kg, body_kg, terrain
        As for `pandolf_watts`.

    Notes
    -----
    The equation does not hold downhill: there it is as much slower as on the level at the level's own speed
    (proposed). Rests, tiring over the day and steep broken ground are not in it.

    >>> slowing(0.78, [0.0, 0.2], load_kg=25.0, body_kg=80.0, terrain=1.3).round(2).tolist()
    [1.29, 1.31]
    """
    v, grade = np.asarray(speed_m_s, np.float64), 100.0 * np.maximum(np.asarray(slope, np.float64), 0.0)
    power = pandolf_watts(body_kg, 0.0, v, grade, terrain)
    spare = power - pandolf_watts(body_kg, load_kg, 0.0, grade, terrain)
    a = 1.5 * terrain * (body_kg + load_kg)
    b = 0.35 * grade * terrain * (body_kg + load_kg)
    loaded = (np.sqrt(b**2 + 4.0 * a * np.maximum(spare, 0.0)) - b) / (2.0 * a)
    return v / np.maximum(loaded, SLOWEST * v)


def loaded_pace(walk: WalkSettings, pack: PackSettings, *, load_kg: float, dark: bool = False) -> PaceTable:
    """Pace under a load that is carried on the back, on and off path, by day or in the dark.

    The person's own pace at that hour without a pack (published pace times `walk.pace_factor`), slowed by slope so
    that the metabolic power stays as it was.
    """
    free = pace_table(walk, pack=False, dark=dark)
    slope = free.slope_min + free.slope_step * np.arange(free.seconds_per_m.shape[1])
    longer = np.ones(free.seconds_per_m.shape)
    for surface, terrain in ((OFF_PATH, pack.terrain_off), (ON_PATH, pack.terrain_on)):
        speed = 1.0 / free.seconds_per_m[surface].astype(np.float64)
        level = float(speed[int(np.argmin(np.abs(slope)))])
        longer[surface] = slowing(
            np.where(slope < 0.0, level, speed),
            slope,
            load_kg=load_kg,
            body_kg=pack.body_kg,
            terrain=terrain,
        )
    return PaceTable((free.seconds_per_m * longer).astype(np.float32), free.slope_min, free.slope_step)

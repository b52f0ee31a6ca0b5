"""A person's own pace from timed tracks inside the country: rests left out, the ground as by day."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from graylight.errors import BadInput
from graylight.grid import LonLat
from graylight.plan.looking import Ready
from graylight.plan.on_foot import land_on_foot
from graylight.plan.pace_model import MeasuredPace
from graylight.reach.own_pace import TimedWalk, measured_factor
from graylight.settings import Settings

__all__ = ["measured", "with_pace"]

Line = NDArray[np.float64]
Track: TypeAlias = tuple[Sequence[LonLat], Sequence[float]]
"""Places in walking order, and seconds at each."""
REST_MS, REST_S = 0.15, 120.0
"""Slower than this for so long is a rest. Proposed, no source."""


def measured(ready: Ready, tracks: Sequence[Track], *, pack: bool, dark: bool) -> MeasuredPace:
    """Measure it.

    Parameters
    ----------
    ready
        The country and its plan.
    tracks
        As recorded; what lies outside the country is cut off, with its time.
    pack, dark
        How they were walked.

    Raises
    ------
    BadInput
        No track lies inside the country, or none is long enough.
    """
    grid, settings = ready.country.grid, ready.country.settings
    walks, rest_s = [], 0.0
    for track in tracks:
        for rows, cols, seconds in _inside(ready, track):
            walking, rested = _without_rests(rows, cols, seconds, grid.cell_m)
            rest_s += rested
            if walking > 0.0:
                walks.append(TimedWalk(rows, cols, walking, pack, dark))
    if not walks:
        raise BadInput(
            f"none of {len(tracks)} tracks lies inside the country; accepted are timed tracks walked there; give others, or "
            "a country that holds them"
        )
    land = land_on_foot(ready, dark=dark)
    found = measured_factor(walks, land.elevation_m, land.ground, cell_m=grid.cell_m, settings=settings.walk)
    return MeasuredPace(
        factor=found.factor, low=found.low, high=found.high, walks=found.walks,
        taken_seconds=sum(w.seconds for w in walks), rest_seconds=rest_s, pack=pack, dark=dark,
        before=settings.walk.pace_factor,
    )  # fmt: skip


def _inside(ready: Ready, track: Track) -> list[tuple[Line, Line, Line]]:
    """Runs of a track's points inside the country, in cells: rows, columns, seconds."""
    grid = ready.country.grid
    rows, cols = np.array([grid.locate(place) for place in track[0]], np.float64).T
    within = (rows >= -0.5) & (cols >= -0.5) & (rows < grid.rows - 0.5) & (cols < grid.cols - 0.5)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], within, [False]]).astype(np.int8)))
    seconds = np.array(track[1], np.float64)
    return [
        (rows[a:b], cols[a:b], seconds[a:b])
        for a, b in zip(edges[::2], edges[1::2], strict=True)
        if b - a > 1
    ]


def _without_rests(rows: Line, cols: Line, seconds: Line, cell_m: float) -> tuple[float, float]:
    """Walking and resting time: a rest is a stretch of at least two minutes in which hardly any way is made."""
    taken = np.diff(seconds)
    speed = np.hypot(np.diff(rows), np.diff(cols)) * cell_m / taken
    slow = np.concatenate([[False], speed < REST_MS, [False]])
    edges = np.flatnonzero(np.diff(slow.astype(np.int8)))
    rested = [float(taken[a:b].sum()) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    rest_s = sum(s for s in rested if s >= REST_S)
    return float(taken.sum()) - rest_s, rest_s


def with_pace(settings: Settings, found: MeasuredPace) -> Settings:
    """Settings with the measured factor.

    Raises
    ------
    BadInput
        It lies outside what the setting accepts: most likely the tracks were not walked.
    """
    low, high = 0.3, 3.0
    if not low <= found.factor <= high:
        raise BadInput(
            f"the measured factor is {found.factor:g}; accepted is a pace factor of {low:g} to {high:g}; see that the "
            "tracks were walked, not ridden or slept on"
        )
    walk = settings.walk.model_copy(update={"pace_factor": found.factor})
    return settings.model_copy(update={"walk": walk})

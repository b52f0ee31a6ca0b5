"""Tracks as a receiver wrote them, made into fixes: each point with its time, in order."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from itertools import pairwise
from typing import Protocol

from graylight.errors import BadInput
from graylight.plan.record import Fix

__all__ = ["moment", "timed"]


class _Point(Protocol):
    """A point of a track with its time as written."""

    @property
    def lon(self) -> float:
        """Degrees east."""

    @property
    def lat(self) -> float:
        """Degrees north."""

    @property
    def time(self) -> str | None:
        """As it stands in the file; None where the point has none."""


def timed(points: Sequence[_Point], *, name: str) -> tuple[Fix, ...]:
    """The points of a track with their times.

    Parameters
    ----------
    points
        As they stand in the file; a time without an offset is UTC, as GPX has it.
    name
        Of the file.

    Raises
    ------
    BadInput
        No track, points without times, times that can't be read, that run backward, or that are all one.
    """
    if len(points) < 2:
        raise BadInput(
            f"{name} has no track; accepted is a GPX file with a track of two points or more; export the track"
        )
    without = sum(1 for p in points if not p.time)
    if without:
        raise BadInput(
            f"{name} has a track without times ({without} of {len(points)} points have none); accepted is a track with a time at "
            "every point; give --lookout or --at with --from and --until instead"
        )
    fixes = [Fix(p.lon, p.lat, moment(p.time or "", name)) for p in points]
    for i, (a, b) in enumerate(pairwise(fixes), 2):
        if b.at < a.at:
            raise BadInput(
                f"{name}: the clock of the track runs backward at point {i}, from {a.at.isoformat()} to {b.at.isoformat()}; "
                "accepted are times that rise; cut the track there, or mend its times"
            )
    kept = [fix for i, fix in enumerate(fixes) if i == 0 or fix.at > fixes[i - 1].at]
    if len(kept) < 2:
        raise BadInput(
            f"{name}: all points of the track have one time; accepted are times that rise; export the track as recorded"
        )
    return tuple(kept)


def moment(text: str, name: str) -> dt.datetime:
    """A time as GPX writes it; without an offset it is UTC.

    Raises
    ------
    BadInput
        It can't be read, or its year is that of a clock never set.
    """
    try:
        found = dt.datetime.fromisoformat(text.strip())
    except ValueError:
        found = None
    if found is None or not 1990 <= found.year <= 2050:
        raise BadInput(
            f"{name} has a point with the time {text!r}; accepted is UTC as GPX writes it, such as 2026-08-27T12:10:00Z; mend it "
            "(a receiver whose clock was never set writes a wrong year)"
        )
    return found.replace(tzinfo=dt.UTC) if found.tzinfo is None else found.astimezone(dt.UTC)

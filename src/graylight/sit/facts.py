"""What is known of one morning at one lookout, as the clock and the verdict take it. All moments are aware, UTC."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import NamedTuple

__all__ = ["AirHere", "Bed", "SitFacts", "Span", "WalkIn", "Watched", "WayMark", "Whiff"]


class Span(NamedTuple):
    """From one moment to another."""

    begin: dt.datetime
    end: dt.datetime

    def minutes_within(self, begin: dt.datetime, end: dt.datetime) -> float:
        """How much of it lies within two moments."""
        return max(0.0, (min(self.end, end) - max(self.begin, begin)).total_seconds() / 60.0)


class Whiff(NamedTuple):
    """How much of a pocket the lookout's air reaches at a moment (0 to 1).

    `doubtful`: the air at the lookout is still or unreliable then; `within`: the pocket lies no farther off than scent
    carries in that air, so that it would be reached if the air went its way; `toward`: a general wind blows at it, and it
    lies within a mile, though scent as reckoned may be gone before.
    """

    at: dt.datetime
    share: float
    doubtful: bool
    within: bool
    toward: bool = False


class WayMark(NamedTuple):
    """A junction or water on the way in: in words, and walking seconds from the start."""

    words: str
    after_s: float


@dataclass(frozen=True, slots=True)
class Bed:
    """A bed and when it lies in shade, over the hours of daylight."""

    id: str
    shaded: tuple[Span, ...]


@dataclass(frozen=True, slots=True)
class Watched:
    """A pocket in sight.

    Parameters
    ----------
    id
        Its id.
    weight
        Part of all that is watched, 0 to 1: chance times share in sight; the weights of a morning add up to 1.
    sun_from, sun_half
        When the sun reaches a tenth, and half, of the ground used at dawn; None: not that day.
    glass
        When the sun stands in the glass.
    whiffs
        Scent by the clock.
    beds
        Its beds.
    """

    id: str
    weight: float
    sun_from: dt.datetime | None
    sun_half: dt.datetime | None
    glass: tuple[Span, ...]
    whiffs: tuple[Whiff, ...]
    beds: tuple[Bed, ...]


@dataclass(frozen=True, slots=True)
class WalkIn:
    """The way in: when to leave, what is passed, and how long it is back, all at the slow end of the range.

    `scented_minutes` is walking time from which scent reaches a pocket, None: not known; `steep` whether ground too
    steep for the dark is on it; `long` whether it is over the limit for a walk in.
    """

    leave_by: dt.datetime | None
    slow_seconds: float
    back_slow_seconds: float | None
    marks: tuple[WayMark, ...]
    scented_minutes: float | None
    steep: bool
    long: bool


@dataclass(frozen=True, slots=True)
class AirHere:
    """When the lookout's own air turns up (None: not that day), and when it is unreliable."""

    turns: dt.datetime | None
    unreliable: tuple[Span, ...]


@dataclass(frozen=True, slots=True)
class SitFacts:
    """One morning at one lookout.

    Parameters
    ----------
    usable_from
        First usable light; a morning without it is refused before.
    legal_from, sunrise
        None where they do not come that day.
    settled
        When to sit still.
    dusk
        Civil dusk, for the last time to start back; None: none.
    walk
        None: no way on foot known.
    air
        Rule of thumb.
    pockets
        Those in sight.
    """

    usable_from: dt.datetime
    legal_from: dt.datetime | None
    sunrise: dt.datetime | None
    settled: dt.datetime
    dusk: dt.datetime | None
    walk: WalkIn | None
    air: AirHere
    pockets: tuple[Watched, ...]

    @property
    def morning_from(self) -> dt.datetime:
        """Sunrise, or usable light where the sun does not rise: from here the hours of the animals are counted."""
        return self.sunrise or self.usable_from

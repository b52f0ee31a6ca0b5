"""What is known of one sit at one lookout, as the clock and the verdict take it. All moments are aware, UTC."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Literal, NamedTuple, TypeAlias

__all__ = ["AirHere", "Bed", "SitFacts", "SitKind", "Span", "Turn", "WalkIn", "Watched", "WayMark", "Whiff"]

SitKind: TypeAlias = Literal["dawn", "dusk", "day"]
"""From before first usable light; until last usable light; or from the one to the other."""


class Span(NamedTuple):
    """From one moment to another."""

    begin: dt.datetime
    end: dt.datetime

    def holds(self, at: dt.datetime) -> bool:
        """Whether a moment lies in it, its ends included."""
        return self.begin <= at <= self.end

    def minutes_within(self, begin: dt.datetime, end: dt.datetime) -> float:
        """How much of it lies within two moments."""
        return max(0.0, (min(self.end, end) - max(self.begin, begin)).total_seconds() / 60.0)


class Whiff(NamedTuple):
    """How much of a pocket the lookout's air reaches at a moment (0 to 1).

    `doubtful`: the air at the lookout is still or unreliable then; `within`: the pocket lies no farther off than scent
    carries in that air, so that it would be reached if the air went its way; `toward`: how strong scent
    is on the part of it that the air goes to, in the middle of its course (0 to 1); None: the air does not go to it.
    """

    at: dt.datetime
    share: float
    doubtful: bool
    within: bool
    toward: float | None = None


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
    sun_left
        When the sun last lies on half of that ground; None: not that day.
    too_far
        Whether an animal could not be carried out from there in time.
    """

    id: str
    weight: float
    sun_from: dt.datetime | None
    sun_half: dt.datetime | None
    glass: tuple[Span, ...]
    whiffs: tuple[Whiff, ...]
    beds: tuple[Bed, ...]
    sun_left: dt.datetime | None = None
    too_far: bool = False


@dataclass(frozen=True, slots=True)
class WalkIn:
    """The way in: when to leave, what is passed, and how long it is back, all at the slow end of the range.

    `scented_minutes` is walking time from which scent reaches a pocket, None: not known; `steep` whether ground too
    steep for the dark is walked in the dark, `steep_path_minutes` how long a path across such ground is then; `long`
    whether it is over the limit for a walk in; `turn_by` when to turn round on the way in, wherever one is;
    `seen_minutes` walking time in view of pockets *in the light*.
    """

    leave_by: dt.datetime | None
    slow_seconds: float
    back_slow_seconds: float | None
    marks: tuple[WayMark, ...]
    scented_minutes: float | None
    steep: bool
    long: bool
    seen_minutes: float = 0.0
    steep_path_minutes: float = 0.0


class Turn(NamedTuple):
    """When the air turns, and whether to up the slope or valley, or down."""

    at: dt.datetime
    up: bool


@dataclass(frozen=True, slots=True)
class AirHere:
    """When the lookout's own air turns, and when it is unreliable."""

    turns: tuple[Turn, ...]
    unreliable: tuple[Span, ...]


@dataclass(frozen=True, slots=True)
class SitFacts:
    """One sit at one lookout.

    Parameters
    ----------
    usable_from
        First usable light; a sit at dawn or for the day without it is refused before.
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
    kind
        Dawn, dusk or the whole day.
    sunset, legal_until, usable_until
        None where they do not come that day; a sit at dusk or for the day without last usable light is refused before.
    close
        Ids of the pockets that air goes to should the general wind be a little weaker or stronger than was said.
    wind_ms
        Speed of the general wind, as a forecast says it.
    """

    usable_from: dt.datetime | None
    legal_from: dt.datetime | None
    sunrise: dt.datetime | None
    settled: dt.datetime
    dusk: dt.datetime | None
    walk: WalkIn | None
    air: AirHere
    pockets: tuple[Watched, ...]
    kind: SitKind = "dawn"
    sunset: dt.datetime | None = None
    legal_until: dt.datetime | None = None
    usable_until: dt.datetime | None = None
    close: tuple[str, ...] = ()
    wind_ms: float = 0.0

    @property
    def has_dawn(self) -> bool:
        """Whether first light is watched."""
        return self.kind != "dusk"

    @property
    def has_dusk(self) -> bool:
        """Whether last light is watched."""
        return self.kind != "dawn"

    @property
    def morning_from(self) -> dt.datetime:
        """Sunrise, or usable light where the sun does not rise: from here the morning of the animals is counted."""
        begin = self.sunrise or self.usable_from
        assert begin is not None  # refused before
        return begin

    @property
    def evening_to(self) -> dt.datetime:
        """Sunset, or last usable light where the sun does not set: back from here their evening is counted."""
        end = self.sunset or self.usable_until
        assert end is not None  # refused before
        return end

    @property
    def watch_from(self) -> dt.datetime:
        """From when there is light to watch by, and someone who watches."""
        if self.has_dawn and self.usable_from is not None:
            return self.usable_from
        return self.settled

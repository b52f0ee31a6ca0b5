"""One timeline from leaving the start to being back at it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal, TypeAlias, get_args

from graylight.settings import SitSettings
from graylight.sit.facts import SitFacts, Span, Watched

__all__ = ["Event", "EventKind", "end_of_watch", "moves", "timeline"]

EventKind: TypeAlias = Literal[
    "leave", "passes", "settled", "usable light", "legal light", "sunrise", "air unreliable", "air turns", "scent",
    "leave or move", "first sun", "sun in the glass", "moves to bed", "bed in sun", "end of watch", "back",
    "start back at the latest",
]  # fmt: skip
"""In the order in which they are told where they fall on one moment."""

_ORDER = {kind: i for i, kind in enumerate(get_args(EventKind))}
_RULES = frozenset({"air unreliable", "air turns", "scent", "leave or move", "moves to bed", "end of watch"})
_LEAST = dt.timedelta(minutes=30)


@dataclass(frozen=True, slots=True)
class Event:
    """One line of the timeline.

    Parameters
    ----------
    at, until
        When it begins and, where it lasts, ends.
    kind
        What it is.
    of
        Id of the pocket or bed that it is about; None: of the whole.
    words
        What is met on the way; empty otherwise.
    """

    at: dt.datetime
    until: dt.datetime | None
    kind: EventKind
    of: str | None = None
    words: str = ""

    @property
    def rule_of_thumb(self) -> bool:
        """Whether it rests on a rule of thumb rather than on the sun's place and the walk."""
        return self.kind in _RULES


def end_of_watch(facts: SitFacts, settings: SitSettings) -> dt.datetime:
    """When the watch ends: so long after sunrise, and not before the animals are likely bedded."""
    plain = facts.morning_from + dt.timedelta(minutes=settings.watch_minutes)
    return max([plain, *(moves(p, facts, settings).end for p in facts.pockets)])


def moves(pocket: Watched, facts: SitFacts, settings: SitSettings) -> Span:
    """When the animals likely move from feed to beds [common practice].

    It begins at sunrise and ends some time after the sun lies on half of the pocket, at the latest some hours after
    sunrise, at least half an hour after it.
    """
    begin = facts.morning_from
    end = begin + dt.timedelta(minutes=settings.bed_by_minutes)
    if pocket.sun_half is not None:
        end = min(end, pocket.sun_half + dt.timedelta(minutes=settings.bed_sun_minutes))
    return Span(begin, max(end, begin + _LEAST))


def timeline(facts: SitFacts, settings: SitSettings) -> tuple[Event, ...]:
    """All that happens, in the order of the clock.

    Returns
    -------
    tuple of Event
        By `at`; nothing of it depends on the order in which the facts are given but for equal moments.
    """
    told = [*_way_in(facts), *_light(facts), *_air(facts, settings), *_way_out(facts, settings)]
    for pocket in facts.pockets:
        told += _of_pocket(pocket, facts, settings)
    return tuple(sorted(told, key=lambda e: (e.at, _ORDER[e.kind], e.of or "", e.words)))


def _way_in(facts: SitFacts) -> Iterator[Event]:
    yield Event(facts.settled, None, "settled")
    walk = facts.walk
    if walk is None or walk.leave_by is None:
        return
    yield Event(walk.leave_by, None, "leave")
    for mark in walk.marks:
        at = walk.leave_by + dt.timedelta(seconds=mark.after_s)
        yield Event(min(at, facts.settled), None, "passes", words=mark.words)


def _light(facts: SitFacts) -> Iterator[Event]:
    yield Event(facts.usable_from, None, "usable light")
    if facts.legal_from is not None:
        yield Event(facts.legal_from, None, "legal light")
    if facts.sunrise is not None:
        yield Event(facts.sunrise, None, "sunrise")


def _air(facts: SitFacts, settings: SitSettings) -> Iterator[Event]:
    end = end_of_watch(facts, settings)
    for span in facts.air.unreliable:
        if span.begin < end and span.end > facts.settled:
            yield Event(max(span.begin, facts.settled), span.end, "air unreliable")
    if facts.air.turns is not None and facts.settled <= facts.air.turns <= end:
        yield Event(facts.air.turns, None, "air turns")
    move_at = _leave_or_move(facts, settings)
    if move_at is not None and move_at < end:
        yield Event(move_at, None, "leave or move")


def _leave_or_move(facts: SitFacts, settings: SitSettings) -> dt.datetime | None:
    """The last moment known clean before scent begins to reach a pocket whose animals may still be out."""
    found = []
    for pocket in facts.pockets:
        bedded = moves(pocket, facts, settings).end
        spoilt = [w.at for w in pocket.whiffs if w.share > settings.scent_care and w.at <= bedded]
        if spoilt:
            clean = [w.at for w in pocket.whiffs if w.at < spoilt[0]]
            found.append(max(clean[-1:] or [facts.settled]))
    return min(found, default=None)


def _of_pocket(pocket: Watched, facts: SitFacts, settings: SitSettings) -> Iterator[Event]:
    end = end_of_watch(facts, settings)
    if pocket.sun_from is not None:
        yield Event(pocket.sun_from, pocket.sun_half, "first sun", pocket.id)
    for span in pocket.glass:
        if span.begin < end:
            yield Event(span.begin, span.end, "sun in the glass", pocket.id)
    yield Event(*moves(pocket, facts, settings), "moves to bed", pocket.id)
    for span in _scented(pocket, settings):
        yield Event(span.begin, span.end, "scent", pocket.id)
    for bed in pocket.beds:
        for span in bed.shaded[:1]:
            if facts.usable_from < span.end < end:
                yield Event(span.end, None, "bed in sun", bed.id)


def _scented(pocket: Watched, settings: SitSettings) -> list[Span]:
    """Runs of moments at which scent reaches it."""
    runs: list[Span] = []
    before = None
    for whiff in pocket.whiffs:
        if whiff.share > settings.scent_care:
            if runs and before is not None and runs[-1].end == before:
                runs[-1] = Span(runs[-1].begin, whiff.at)
            else:
                runs.append(Span(whiff.at, whiff.at))
        before = whiff.at
    return runs


def _way_out(facts: SitFacts, settings: SitSettings) -> Iterator[Event]:
    end = end_of_watch(facts, settings)
    yield Event(end, None, "end of watch")
    back_s = None if facts.walk is None else facts.walk.back_slow_seconds
    if back_s is None:
        return
    yield Event(end + dt.timedelta(seconds=back_s), None, "back")
    if facts.dusk is not None:
        latest = (facts.dusk - dt.timedelta(seconds=back_s)).replace(second=0, microsecond=0)
        if latest > end:
            yield Event(latest, None, "start back at the latest")

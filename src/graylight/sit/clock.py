"""One timeline from leaving the start to being back at it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal, TypeAlias, get_args

from graylight.approach.leaving import leave_lookout_by
from graylight.settings import SitSettings
from graylight.sit.facts import SitFacts, Span, Watched
from graylight.sit.hours import clean_until, end_of_watch, moves, rises

__all__ = ["Event", "EventKind", "timeline"]

EventKind: TypeAlias = Literal[
    "leave", "passes", "settled", "usable light", "legal light", "sunrise", "air unreliable", "air turns",
    "scent", "leave or move", "first sun", "last sun", "sun in the glass", "moves to bed", "bed in sun", "comes to feed",
    "sunset", "legal light ends", "end of light", "end of watch", "back", "start back at the latest",
]  # fmt: skip
"""In the order in which they are told where they fall on one moment."""

_ORDER = {kind: i for i, kind in enumerate(get_args(EventKind))}
_RULES = frozenset(
    {"air unreliable", "air turns", "scent", "leave or move", "moves to bed", "comes to feed", "end of watch"}
)


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
        What is met on the way; 'up' or 'down' of a turn of the air; empty otherwise.
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
    marks: tuple[tuple[EventKind, dt.datetime | None, bool], ...] = (
        ("usable light", facts.usable_from, facts.has_dawn),
        ("legal light", facts.legal_from, facts.has_dawn),
        ("sunrise", facts.sunrise, facts.has_dawn),
        ("sunset", facts.sunset, facts.has_dusk),
        ("legal light ends", facts.legal_until, facts.has_dusk),
    )
    for kind, at, told in marks:
        if told and at is not None:
            yield Event(at, None, kind)


def _air(facts: SitFacts, settings: SitSettings) -> Iterator[Event]:
    end = end_of_watch(facts, settings)
    for span in facts.air.unreliable:
        if span.begin < end and span.end > facts.settled:
            yield Event(max(span.begin, facts.settled), span.end, "air unreliable")
    for turn in facts.air.turns:
        if facts.settled <= turn.at <= end:
            yield Event(turn.at, None, "air turns", words="up" if turn.up else "down")
    move_at = clean_until(facts, settings)
    if move_at is not None and move_at < end:
        yield Event(move_at, None, "leave or move")


def _of_pocket(pocket: Watched, facts: SitFacts, settings: SitSettings) -> Iterator[Event]:
    end = end_of_watch(facts, settings)
    if facts.has_dawn:
        if pocket.sun_from is not None:
            yield Event(pocket.sun_from, pocket.sun_half, "first sun", pocket.id)
        yield Event(*moves(pocket, facts, settings), "moves to bed", pocket.id)
    if facts.has_dusk:
        if pocket.sun_left is not None:
            yield Event(pocket.sun_left, None, "last sun", pocket.id)
        yield Event(*rises(pocket, facts, settings), "comes to feed", pocket.id)
    for span in pocket.glass:
        if span.begin < end and span.end > facts.settled:
            yield Event(max(span.begin, facts.settled), span.end, "sun in the glass", pocket.id)
    for span in _scented(pocket, settings):
        yield Event(span.begin, span.end, "scent", pocket.id)
    for bed in pocket.beds:
        for span in bed.shaded[:1]:
            if facts.watch_from < span.end < _sun_matters_until(facts, end):
                yield Event(span.end, None, "bed in sun", bed.id)


def _sun_matters_until(facts: SitFacts, end: dt.datetime) -> dt.datetime:
    """A bed that the sun reaches in its last half hour is left for the feed, not for shade."""
    return end if facts.sunset is None else min(end, facts.sunset - dt.timedelta(minutes=30))


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
    yield Event(end, None, "end of light" if facts.has_dusk else "end of watch")
    back_s = None if facts.walk is None else facts.walk.back_slow_seconds
    if back_s is None:
        return
    yield Event(end + dt.timedelta(seconds=back_s), None, "back")
    latest = leave_lookout_by(facts.dusk, back_s)
    if facts.kind == "dawn" and latest is not None and latest > end:
        yield Event(latest, None, "start back at the latest")

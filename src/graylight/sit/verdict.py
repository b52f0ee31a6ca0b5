"""Whether a morning is worth it: good, with care, or not this morning, with the two facts that decide."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal, TypeAlias

from graylight.settings import SitSettings
from graylight.sit.clock import moves
from graylight.sit.facts import SitFacts

__all__ = ["Finding", "FindingKind", "Judgement", "Verdict", "judge"]

Verdict: TypeAlias = Literal["good", "with care", "not this morning"]
FindingKind: TypeAlias = Literal[
    "scent", "wind toward", "air unreliable", "sun in the glass", "scent on the way in", "nothing in sight",
    "no way known", "long walk", "steep in the dark", "no sunrise", "clean air", "sun out of the glass", "shade lasts",
]  # fmt: skip

FOR = 0
_SHADE_LASTS_MIN = 60.0
"""The sun comes to the pocket so much later than the almanac's, and it is worth saying. Proposed."""
_SCENTED_MIN = 5.0
"""Fewer minutes of the way in from which scent reaches a pocket are the grid's. Proposed."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One fact for or against.

    Parameters
    ----------
    kind
        What it is.
    severity
        2 speaks against the morning, 1 calls for care, 0 speaks for it.
    size
        How much of it, to tell which decides: a part from 0 to 1.
    of
        Id of the pocket that it is about most.
    begin, until
        When.
    """

    kind: FindingKind
    severity: Literal[0, 1, 2]
    size: float
    of: str | None = None
    begin: dt.datetime | None = None
    until: dt.datetime | None = None


@dataclass(frozen=True, slots=True)
class Judgement:
    """The verdict, the (at most) two facts that decide, and all of them, gravest first."""

    verdict: Verdict
    decides: tuple[Finding, ...]
    reasons: tuple[Finding, ...]


def judge(facts: SitFacts, settings: SitSettings) -> Judgement:
    """Judge a morning.

    One finding of severity 2 and it is not this morning; one of severity 1 and it is with care; else it is good.
    The two that decide are the gravest, and of equal ones the largest.
    """
    found = [*_sight(facts), *_scent(facts, settings), *_glass(facts, settings), *_way(facts), *_shade(facts)]
    found.sort(key=lambda f: (-f.severity, -f.size, f.kind, f.of or ""))
    worst = max((f.severity for f in found), default=FOR)
    verdict: Verdict = ("good", "with care", "not this morning")[worst]
    return Judgement(verdict, tuple(_two(found, worst)), tuple(found))


def _two(found: list[Finding], worst: int) -> list[Finding]:
    """The two gravest; beside a single one of its severity the next that tells something."""
    return found[:2] if worst else [f for f in found if f.severity == FOR][:2]


def _sight(facts: SitFacts) -> Iterator[Finding]:
    if not facts.pockets:
        yield Finding("nothing in sight", 2, 1.0)


def _bedded(facts: SitFacts, settings: SitSettings) -> dt.datetime:
    return max((moves(p, facts, settings).end for p in facts.pockets), default=facts.morning_from)


def _scent(facts: SitFacts, settings: SitSettings) -> Iterator[Finding]:
    """Scent on what is watched before the animals have bedded: the most at any moment, by weight."""
    until = _bedded(facts, settings)
    by_time: dict[dt.datetime, float] = {}
    for pocket in facts.pockets:
        bedded = moves(pocket, facts, settings).end
        for whiff in pocket.whiffs:
            if whiff.at <= bedded:
                by_time[whiff.at] = by_time.get(whiff.at, 0.0) + pocket.weight * whiff.share
    most = max(by_time.values(), default=0.0)
    if most > settings.scent_care:
        when = [at for at, share in sorted(by_time.items()) if share > settings.scent_care]
        worst = max(facts.pockets, key=lambda p: (max((w.share for w in p.whiffs), default=0.0), p.id))
        severity: Literal[1, 2] = 2 if most >= settings.scent_spoils else 1
        yield Finding("scent", severity, most, worst.id, when[0], when[-1])
    doubts = [f for f in (_doubtful(facts, settings), _toward(facts, settings)) if f is not None]
    yield from doubts
    if not doubts and most <= settings.scent_care and by_time:
        yield Finding("clean air", 0, 1.0 - most, None, min(by_time), until)


def _doubtful(facts: SitFacts, settings: SitSettings) -> Finding | None:
    """Unreliable air while animals may be out, in which scent would carry as far as they are."""
    doubts = [
        (w.at, p.weight)
        for p in facts.pockets
        for w in p.whiffs
        if w.doubtful and w.within and w.at <= moves(p, facts, settings).end
    ]
    if not doubts:
        return None
    begin, end = min(doubts)[0], max(doubts)[0]
    for span in facts.air.unreliable:  # the moments looked at are apart: the span about a turn says more
        if span.begin <= end and span.end >= begin:
            begin, end = min(begin, span.begin), max(end, span.end)
    weight = sum(p.weight for p in facts.pockets if any(w.doubtful and w.within for w in p.whiffs))
    return Finding("air unreliable", 1, min(1.0, weight), None, max(begin, facts.settled), end)


def _toward(facts: SitFacts, settings: SitSettings) -> Finding | None:
    """A general wind from the lookout at a pocket [common practice: hunt with the wind in the face]."""
    blown = [
        (w.at, p)
        for p in facts.pockets
        for w in p.whiffs
        if w.toward and w.share <= settings.scent_care and w.at <= moves(p, facts, settings).end
    ]
    if not blown:
        return None
    times = sorted(at for at, _ in blown)
    most = max((p for _, p in blown), key=lambda p: (p.weight, p.id))
    weight = sum({p.id: p.weight for _, p in blown}.values())
    return Finding("wind toward", 1, min(1.0, weight), most.id, times[0], times[-1])


def _glass(facts: SitFacts, settings: SitSettings) -> Iterator[Finding]:
    lost, whole, spans = 0.0, 0.0, []
    for pocket in facts.pockets:
        bedded = moves(pocket, facts, settings).end
        whole += pocket.weight * (bedded - facts.usable_from).total_seconds() / 60.0
        for span in pocket.glass:
            minutes = span.minutes_within(facts.usable_from, bedded)
            if minutes > 0.0:
                lost += pocket.weight * minutes
                spans.append((pocket.weight * minutes, pocket.id, span))
    if not spans:
        if facts.pockets:
            yield Finding("sun out of the glass", 0, 0.5)
        return
    part = lost / whole if whole > 0.0 else 0.0
    if part < settings.glass_care:
        return  # a few minutes: the timeline has them
    _, of, span = max(spans, key=lambda s: (s[0], s[1]))
    severity: Literal[1, 2] = 2 if part >= settings.glass_spoils else 1
    yield Finding("sun in the glass", severity, part, of, span.begin, span.end)


def _way(facts: SitFacts) -> Iterator[Finding]:
    walk = facts.walk
    if walk is None:
        yield Finding("no way known", 1, 1.0)
        return
    minutes = walk.scented_minutes or 0.0
    if minutes >= _SCENTED_MIN:
        yield Finding("scent on the way in", 1, min(1.0, 60.0 * minutes / max(walk.slow_seconds, 1.0)))
    if walk.steep:
        yield Finding("steep in the dark", 1, 0.3)
    if walk.long:
        yield Finding("long walk", 1, 0.5)


def _shade(facts: SitFacts) -> Iterator[Finding]:
    """How long the pocket watched most keeps its shade after sunrise."""
    if facts.sunrise is None:
        yield Finding("no sunrise", 1, 0.4)
        return
    main = max(facts.pockets, key=lambda p: (p.weight, p.id), default=None)
    if main is None or main.sun_half is None:
        return
    minutes = (main.sun_half - facts.sunrise).total_seconds() / 60.0
    if minutes >= _SHADE_LASTS_MIN:
        yield Finding("shade lasts", 0, min(1.0, minutes / 180.0), main.id, facts.sunrise, main.sun_half)

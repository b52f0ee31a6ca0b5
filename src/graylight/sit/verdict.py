"""Whether a sit is worth it: good, with care, or not this morning, with the two facts that decide."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal, NamedTuple, TypeAlias

from graylight.settings import SitSettings
from graylight.sit.facts import SitFacts, Span, Watched, Whiff
from graylight.sit.hours import clean_until, out, spoilt

__all__ = ["Finding", "FindingKind", "Judgement", "Verdict", "judge"]

Verdict: TypeAlias = Literal["good", "with care", "not this morning"]
FindingKind: TypeAlias = Literal[
    "scent", "wind toward", "air unreliable", "sun in the glass", "scent on the way in", "seen on the way in",
    "nothing in sight", "no way known", "long walk", "steep in the dark", "carrying out", "no sunrise", "no sunset",
    "clean air", "too far for scent", "sun out of the glass", "shade lasts", "shade comes",
    "path on steep ground", "wind near the limit", "leave before", "strong wind",
]  # fmt: skip

FOR = 0
_SHADE_LASTS_MIN = 60.0
"""The sun comes to the pocket so much later than the almanac's, and it is worth saying. Proposed."""
_HALF = 0.5
"""So much of what is watched must be spoilt. Proposed."""
_NEAR = dt.timedelta(minutes=30)
"""Doubtful moments no farther apart than they are looked at are one stretch."""
_NOTICED_MIN = 5.0
"""Fewer minutes of the way in from which scent reaches a pocket, or in its view by day, are the grid's. Proposed."""


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
    """Judge a sit.

    One finding of severity 2 and it is not to be; one of severity 1 and it is with care; else it is good.
    The two that decide are the gravest, and of equal ones the largest.
    """
    found = [
        *_sight(facts), *_strong_wind(facts, settings), *_scent(facts, settings), *_glass(facts, settings),
        *_way(facts, settings), *_carrying(facts), *_shade(facts),
    ]  # fmt: skip
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


def _strong_wind(facts: SitFacts, settings: SitSettings) -> Iterator[Finding]:
    """A general wind in which one walks and glasses badly, or should not be on a crest or under dead trees at all."""
    if facts.wind_ms >= settings.wind_care_ms:
        severity: Literal[1, 2] = 2 if facts.wind_ms >= settings.wind_spoils_ms else 1
        yield Finding("strong wind", severity, 1.0)


def _while_out(pocket: Watched, facts: SitFacts, settings: SitSettings) -> list[Whiff]:
    """Its scent at the moments at which animals may be out."""
    spans = out(pocket, facts, settings)
    return [w for w in pocket.whiffs if any(s.holds(w.at) for s in spans)]


def _scent(facts: SitFacts, settings: SitSettings) -> Iterator[Finding]:
    """Scent on what is watched while animals may be out: the most at any moment, by weight."""
    whiffs = {p.id: _while_out(p, facts, settings) for p in facts.pockets}
    late = _leave_before(facts, settings)
    if late is not None:
        whiffs = {id: [w for w in some if w.at < late.begin] for id, some in whiffs.items()}
    by_time: dict[dt.datetime, float] = {}
    for pocket in facts.pockets:
        for whiff in whiffs[pocket.id]:
            by_time[whiff.at] = by_time.get(whiff.at, 0.0) + pocket.weight * whiff.share
    most = max(by_time.values(), default=0.0)
    if most > settings.scent_care:
        when = _about_the_most(by_time, settings.scent_care)
        worst = max(facts.pockets, key=lambda p: (max((w.share for w in whiffs[p.id]), default=0.0), p.id))
        severity: Literal[1, 2] = 2 if most >= settings.scent_spoils else 1
        yield Finding("scent", severity, most, worst.id, *when)
    toward = _toward(facts, whiffs, settings)
    doubts = [
        *([] if late is None else [late.finding]), *_doubtful(facts, whiffs, settings),
        *([] if toward is None else [toward]), *_close(facts, whiffs),
    ]  # fmt: skip
    yield from doubts
    if doubts or most > settings.scent_care or not by_time:
        return
    if not any(w.within or w.share > 0.0 for some in whiffs.values() for w in some):
        yield Finding("too far for scent", 0, 1.0)
    else:
        until = max(span.end for p in facts.pockets for span in out(p, facts, settings))
        yield Finding("clean air", 0, 1.0 - most, None, min(by_time), until)


class _Late(NamedTuple):
    """From when on scent goes to what is watched, and what follows."""

    begin: dt.datetime
    finding: Finding


def _leave_before(facts: SitFacts, settings: SitSettings) -> _Late | None:
    """A morning that is clean for the better half of the animals' hours is not lost: one leaves before it is spoilt.

    Not so at dusk, when the best hours are the last ones, nor for a day, which is sat through [common practice].
    """
    found, clean = spoilt(facts, settings), clean_until(facts, settings)
    if facts.kind != "dawn" or clean is None:
        return None
    ends = max(out(p, facts, settings)[0].end for p in facts.pockets)
    if clean - facts.watch_from < _HALF * (ends - facts.watch_from):
        return None
    begin, pockets = found[0]
    weight = sum(p.weight for p in facts.pockets if p.id in pockets)
    return _Late(begin, Finding("leave before", 1, min(1.0, weight), pockets[0], begin, found[-1][0]))


def _about_the_most(by_time: dict[dt.datetime, float], limit: float) -> Span:
    """The run of moments over a limit in which the most lies."""
    times = sorted(by_time)
    first = last = max(range(len(times)), key=lambda i: (by_time[times[i]], -i))
    while first > 0 and by_time[times[first - 1]] > limit:
        first -= 1
    while last + 1 < len(times) and by_time[times[last + 1]] > limit:
        last += 1
    return Span(times[first], times[last])


def _doubtful(facts: SitFacts, whiffs: dict[str, list[Whiff]], settings: SitSettings) -> Iterator[Finding]:
    """Unreliable air while animals may be out, in which scent would carry as far as they are: morning, evening apart."""
    out_at = [span for p in facts.pockets for span in out(p, facts, settings)]
    doubts = sorted({w.at for p in facts.pockets for w in whiffs[p.id] if w.doubtful and w.within})
    weight = sum(p.weight for p in facts.pockets if any(w.doubtful and w.within for w in whiffs[p.id]))
    while doubts:
        begin = end = doubts[0]
        while doubts and doubts[0] <= end + _NEAR:
            at = doubts.pop(0)
            # the moments looked at are apart: the span about a turn says more
            about = [span for span in facts.air.unreliable if span.holds(at)]
            begin = min([begin, *(span.begin for span in about)])
            end = max([end, at, *(span.end for span in about)])
        met = [span for span in out_at if span.begin <= end and span.end >= begin]
        begin = max(begin, min((span.begin for span in met), default=begin))
        end = min(end, max((span.end for span in met), default=end))
        yield Finding("air unreliable", 1, min(1.0, weight), None, begin, end)


def _close(facts: SitFacts, whiffs: dict[str, list[Whiff]]) -> Iterator[Finding]:
    """Pockets that the air does not go to, but would in a wind a little weaker or stronger."""
    near = [
        p
        for p in facts.pockets
        if p.id in facts.close and not any(w.toward is not None for w in whiffs[p.id])
    ]
    if near:
        most = max(near, key=lambda p: (p.weight, p.id))
        yield Finding("wind near the limit", 1, min(1.0, sum(p.weight for p in near)), most.id)


def _toward(facts: SitFacts, whiffs: dict[str, list[Whiff]], settings: SitSettings) -> Finding | None:
    """Air that goes from the lookout to a pocket [common practice: hunt with the wind in the face].

    It speaks against the sit where half of what is watched would get as much scent as spoils it, in the middle of the
    air's course; where scent is thin by then, or it is the lesser part, it calls for care.
    """
    blown = [(w, p) for p in facts.pockets for w in whiffs[p.id] if w.toward is not None]
    if not blown:
        return None
    times = sorted(w.at for w, _ in blown)
    strong = {p.id: p.weight for w, p in blown if (w.toward or 0.0) >= settings.scent_spoils}
    # what gets the most of it is named, though another may weigh more
    most = max((p for _, p in blown), key=lambda p: (p.id in strong, p.weight, p.id))
    severity: Literal[1, 2] = 2 if sum(strong.values()) >= _HALF else 1
    weight = sum({p.id: p.weight for _, p in blown}.values())
    return Finding("wind toward", severity, min(1.0, weight), most.id, times[0], times[-1])


def _glass(facts: SitFacts, settings: SitSettings) -> Iterator[Finding]:
    lost, whole = 0.0, 0.0
    spans: list[tuple[float, str, Span]] = []
    for pocket in facts.pockets:
        for hours in out(pocket, facts, settings):
            whole += pocket.weight * hours.minutes_within(hours.begin, hours.end)
            for span in pocket.glass:
                minutes = span.minutes_within(hours.begin, hours.end)
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


def _way(facts: SitFacts, settings: SitSettings) -> Iterator[Finding]:
    walk = facts.walk
    if walk is None:
        yield Finding("no way known", 1, 1.0)
        return
    noticed: tuple[tuple[FindingKind, float], ...] = (
        ("scent on the way in", walk.scented_minutes or 0.0),
        ("seen on the way in", walk.seen_minutes),
    )
    for kind, minutes in noticed:
        if minutes >= _NOTICED_MIN:
            yield Finding(kind, 1, min(1.0, 60.0 * minutes / max(walk.slow_seconds, 1.0)))
    if walk.steep:
        yield Finding("steep in the dark", 1, 0.3)
    if walk.steep_path_minutes > settings.steep_path_minutes:
        part = 60.0 * walk.steep_path_minutes / max(walk.slow_seconds, 1.0)
        yield Finding("path on steep ground", 1, min(0.25, part))
    if walk.long:
        yield Finding("long walk", 1, 0.5)


def _carrying(facts: SitFacts) -> Iterator[Finding]:
    """Pockets from which an animal could not be carried out in time: known before, not after."""
    far = [p for p in facts.pockets if p.too_far]
    if far:
        most = max(far, key=lambda p: (p.weight, p.id))
        yield Finding("carrying out", 1, min(1.0, sum(p.weight for p in far)), most.id)


def _shade(facts: SitFacts) -> Iterator[Finding]:
    """How long after sunrise the pocket watched most keeps its shade, and how long before sunset it comes back."""
    if facts.has_dawn and facts.sunrise is None:
        yield Finding("no sunrise", 1, 0.4)
    if facts.has_dusk and facts.sunset is None:
        yield Finding("no sunset", 1, 0.4)
    main = max(facts.pockets, key=lambda p: (p.weight, p.id), default=None)
    if main is None:
        return
    if facts.has_dawn and facts.sunrise is not None and main.sun_half is not None:
        yield from _long_shade("shade lasts", main.id, Span(facts.sunrise, main.sun_half))
    if facts.has_dusk and facts.sunset is not None and main.sun_left is not None:
        yield from _long_shade("shade comes", main.id, Span(main.sun_left, facts.sunset))


def _long_shade(kind: FindingKind, of: str, span: Span) -> Iterator[Finding]:
    minutes = (span.end - span.begin).total_seconds() / 60.0
    if minutes >= _SHADE_LASTS_MIN:
        yield Finding(kind, 0, min(1.0, minutes / 180.0), of, span.begin, span.end)

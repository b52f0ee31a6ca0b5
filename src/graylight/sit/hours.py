"""When animals are likely out in the open, and when the watch ends. Common practice, no source."""

from __future__ import annotations

import datetime as dt
from typing import NamedTuple

from graylight.settings import SitSettings
from graylight.sit.facts import SitFacts, Span, Watched

__all__ = ["clean_until", "end_of_watch", "moves", "out", "rises", "spoilt"]

_LEAST = dt.timedelta(minutes=30)


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


def rises(pocket: Watched, facts: SitFacts, settings: SitSettings) -> Span:
    """When the animals likely come from beds to feed [common practice].

    It begins when the sun has left half of the pocket, at the earliest some hours before sunset, at the latest half an hour
    before it, and ends at sunset.
    """
    end = facts.evening_to
    begin = end - dt.timedelta(minutes=settings.rise_minutes)
    if pocket.sun_left is not None:
        begin = max(begin, pocket.sun_left)
    return Span(min(begin, end - _LEAST), end)


def out(pocket: Watched, facts: SitFacts, settings: SitSettings) -> tuple[Span, ...]:
    """When animals may be out in the open and are watched: what spoils these hours spoils the sit."""
    found = []
    if facts.has_dawn:
        found.append(Span(facts.watch_from, moves(pocket, facts, settings).end))
    if facts.has_dusk:
        end = facts.usable_until or facts.evening_to
        found.append(Span(max(rises(pocket, facts, settings).begin, facts.settled), end))
    return tuple(found)


def spoilt(facts: SitFacts, settings: SitSettings) -> list[tuple[dt.datetime, tuple[str, ...]]]:
    """Moments at which scent goes to what is watched while animals may be out, with the pockets that it goes to.

    Either more of it reaches them, by weight, than calls for care, or the air goes to so much of them, strong enough to
    spoil it in the middle of its course.
    """
    met: dict[dt.datetime, list[_Met]] = {}
    for pocket in facts.pockets:
        spans = out(pocket, facts, settings)
        for whiff in pocket.whiffs:
            if any(span.holds(whiff.at) for span in spans):
                strong = pocket.weight if (whiff.toward or 0.0) >= settings.scent_spoils else 0.0
                met.setdefault(whiff.at, []).append(_Met(pocket.id, pocket.weight * whiff.share, strong))
    limit = settings.scent_care
    return [
        (at, tuple(one.id for one in sorted(met[at], key=_most_first) if one.most > 0.0))
        for at in sorted(met)
        if sum(one.scented for one in met[at]) > limit or sum(one.blown_at for one in met[at]) > limit
    ]


class _Met(NamedTuple):
    """How much scent there is on a pocket, and how much of it the air goes to, by weight."""

    id: str
    scented: float
    blown_at: float

    @property
    def most(self) -> float:
        return max(self.scented, self.blown_at)


def _most_first(one: _Met) -> tuple[float, str]:
    return -one.most, one.id


def clean_until(facts: SitFacts, settings: SitSettings) -> dt.datetime | None:
    """The last moment known clean before scent goes to what is watched; when one sits, if none is; None: it never goes."""
    found = spoilt(facts, settings)
    if not found:
        return None
    before = [w.at for pocket in facts.pockets for w in pocket.whiffs if w.at < found[0][0]]
    return max(before, default=facts.settled)


def end_of_watch(facts: SitFacts, settings: SitSettings) -> dt.datetime:
    """When the watch ends: with the light; at dawn so long after sunrise, and not before the animals have likely bedded."""
    if facts.has_dusk:
        return facts.usable_until or facts.evening_to
    plain = facts.morning_from + dt.timedelta(minutes=settings.watch_minutes)
    return max([plain, *(moves(p, facts, settings).end for p in facts.pockets)])

"""The odds as they are handed over."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from graylight.plan.composing import PROGRAM
from graylight.plan.model import Share
from graylight.plan.notebook import Notebook
from graylight.plan.odds import Found, as_of, day_number, old_sightings, reckon, when_seen
from graylight.plan.record import Outing, Record
from graylight.plan.record_in_plan import day_of
from graylight.plan.record_model import AGE_WORDS, Moved, OddsTold, PocketOdds
from graylight.plan.record_words import sureness, why_words

__all__ = ["odds_now", "record_lines", "tell_odds"]

LEAST_MOVE = 0.01
SAME_SEASON_DAYS = 21
"""So far from the plan's date its habitat is doubted. Proposed."""


def odds_now(book: Notebook, record: Record, date: dt.date | None = None) -> Found:
    """The odds on a date (that of the last entry, or the plan's, if None) by the record up to that day's end."""
    if date is not None:
        record = _until(record, date, book.country.grid.center.lon)
    at = as_of(record, date or book.plan.light.date)
    return reckon(record, book.places, book.ground, animal=book.plan.animal, at=at)


def _until(record: Record, date: dt.date, lon_deg: float) -> Record:
    """The record without what came after a day; what has no date stays."""

    def by_then(at: float | None) -> bool:
        return at is None or day_of(at, lon_deg) <= date

    return replace(
        record,
        outings=tuple(one for one in record.outings if by_then(day_number(one.began))),
        sightings=tuple(one for one in record.sightings if by_then(when_seen(one))),
        sign=tuple(one for one in record.sign if by_then(when_seen(one))),
    )


def tell_odds(book: Notebook, date: dt.date | None = None) -> OddsTold:
    """The odds with their reasons and history.

    Parameters
    ----------
    book
        The notebook.
    date
        For which day; what was recorded later is left out.
    """
    record = book.record()
    found = odds_now(book, record, date)
    outings, sightings, sign = found.counted
    plan = book.plan
    order = sorted(
        range(len(plan.pockets)), key=lambda i: (-found.pockets[i].chance.likely, plan.pockets[i].rank)
    )
    open_ones = [i for i in order if plan.pockets[i].shut is None]
    return OddsTold(
        program=PROGRAM, country=book.country.name, invented=book.country.invented, animal=plan.animal,
        date=day_of(found.at, found.lon_deg), timezone=book.timezone, outings=outings, sightings=sightings, sign=sign,
        fade_days=book.country.settings.record.fade_days,
        seen_fade_days=book.country.settings.record.seen_fade_days,
        pockets=[_pocket(book, found, i, rank) for rank, i in enumerate(open_ones, 1)],
        elsewhere=found.elsewhere, elsewhere_prior=found.prior.elsewhere, rows=record_lines(book, record, found),
        left_out=list(found.left_out), not_known=not_known(book, day_of(found.at, found.lon_deg)),
    )  # fmt: skip


def _pocket(book: Notebook, found: Found, i: int, rank: int) -> PocketOdds:
    told, pocket = found.pockets[i], book.plan.pockets[i]
    history = [
        Moved(
            date=day_of(s.evidence.day, found.lon_deg), by=s.evidence.name, before=s.before.pockets[i],
            after=s.after.pockets[i],
        )
        for s in found.steps if abs(s.after.pockets[i] - s.before.pockets[i]) >= LEAST_MOVE
    ]  # fmt: skip
    return PocketOdds(
        id=pocket.id, name=pocket.name, rank=rank, prior=told.prior,
        chance=Share(low=told.chance.low, likely=told.chance.likely, high=told.chance.high), searched=told.searched,
        sureness=sureness(told), why=why_words(told), history=history,
    )  # fmt: skip


def record_lines(book: Notebook, record: Record, found: Found) -> list[str]:
    """Every entry in one line, oldest first, with what does not move the pockets' odds of that day."""
    until = day_of(found.at, found.lon_deg)
    old = old_sightings(record, found.at, book.country.settings.record)

    def mark(at: float | None) -> str:
        return "" if at is None or day_of(at, found.lon_deg) <= until else " (later than this day)"

    lines: list[tuple[float, str, int, str]] = [
        (at := day_number(o.began), "outing", o.id, _outing_line(book, o) + mark(at)) for o in record.outings
    ]
    for one in record.sightings:
        when = one.day.isoformat() if one.day else "no date"
        when = f"{book.local(one.at):%Y-%m-%d %H:%M}" if one.at else when
        head = " ".join(str(part) for part in (one.count, one.sex, one.animal) if part)
        why = "without a date" if when_seen(one) is None else "of another season"
        basin = f" ({why}: it counts for the basin)" if one.id in old else ""
        words = f"sighting {one.id}, {when}: {head or 'animals'}{basin or mark(when_seen(one))}"
        lines.append((when_seen(one) or 0.0, "sighting", one.id, words))
    for sign in record.sign:
        when = sign.day.isoformat() if sign.day else "no date"
        words = f"sign {sign.id}, {when}: {sign.kind}, {AGE_WORDS[sign.age]}{mark(when_seen(sign))}"
        lines.append((when_seen(sign) or 0.0, "sign", sign.id, words))
    return [line[-1] for line in sorted(lines)]


def _outing_line(book: Notebook, one: Outing) -> str:
    where = f"at {one.lookout}" if one.lookout else "along a track" if one.track else "at a place of your own"
    began, ended = book.local(one.began), book.local(one.ended)
    beside = [
        "" if one.weather == "clear" else one.weather, f"wind {one.wind}" if one.wind else "",
        "animals pushed" if one.pushed else "",
    ]  # fmt: skip
    words = ", ".join([where, *one.glasses, *filter(None, beside)])
    return f"outing {one.id}, {began:%Y-%m-%d %H:%M} to {ended:%H:%M}: {words}"


def not_known(book: Notebook, date: dt.date) -> list[str]:
    """What the odds of a date can't know."""
    settings = book.country.settings.record
    planned = book.plan.light.date
    told = []
    if abs((date - planned).days) > SAME_SEASON_DAYS:
        told.append(
            f"pockets and habitat are those of {planned.isoformat()}: for {date.isoformat()} plan again with that date, and "
            "with the animal's profile for that season"
        )
    return [
        *told,
        f"how fast ground is covered ({settings.glass_ha_per_hour:g} ha an hour), that animals show themselves on "
        f"{100 * settings.shows:.0f} of 100 outings, and how they keep hours are assumptions: no published curve of finding "
        "animals with optics was found",
        "how many groups live here: the chances are for the animals that are met next, and where several groups live, those "
        "never met are forgotten; not seen is never proof that none are there",
    ]

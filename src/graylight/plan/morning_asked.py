"""What a person asks of a morning, read before anything is worked out."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import get_args

from graylight.errors import BadInput
from graylight.plan.model import Lookout, Plan
from graylight.plan.morning_ready import kept_lookout
from graylight.sit.facts import SitKind
from graylight.wind import NO_WIND, read_wind

__all__ = ["Asked", "camps_asked", "check_span", "read_date", "read_sit", "understood"]

LONGEST_SPAN = 366


@dataclass(frozen=True, slots=True)
class Asked:
    """Id of a kept lookout, the date, the last date of a span or None, and which sit."""

    lookout: str
    date: dt.date
    last: dt.date | None
    sit: SitKind


def understood(
    plan: Plan, *, lookout: str, date: str | None, wind: str | None, until: str | None, sit: str = "dawn"
) -> Asked:
    """Read what was typed; without a date it is the plan's own.

    Raises
    ------
    BadInput
        Any of it is not understood; the message says what is accepted.
    """
    name = kept_lookout(plan, lookout).id
    day = _day_and_wind(plan, date, wind)
    last = None if until is None else read_date(until, "--until")
    if last is not None:
        check_span(day, last)
    return Asked(name, day, last, read_sit(sit))


def camps_asked(
    plan: Plan, *, lookout: str | None, date: str | None, wind: str | None
) -> tuple[list[Lookout], dt.date]:
    """The lookouts that camps are for (all kept ones where none is named), and the day.

    Raises
    ------
    BadInput
        As `understood`.
    """
    chosen = list(plan.lookouts) if lookout is None else [kept_lookout(plan, lookout)]
    return chosen, _day_and_wind(plan, date, wind)


def _day_and_wind(plan: Plan, date: str | None, wind: str | None) -> dt.date:
    """The day; a wind is only seen to be understood."""
    if wind is not None and wind.strip().lower() != NO_WIND:
        read_wind(wind)
    return plan.light.date if date is None else read_date(date, "--date")


def check_span(first: dt.date, last: dt.date) -> None:
    """See that a span of dates runs forward and is no longer than a year.

    Raises
    ------
    BadInput
        It is not.
    """
    days = (last - first).days
    if not 0 <= days <= LONGEST_SPAN:
        raise BadInput(
            f"the span from {first.isoformat()} to {last.isoformat()} is {days} days; accepted is 0 to {LONGEST_SPAN}; "
            "give --until a date on or after --date, within a year"
        )


def read_sit(text: str) -> SitKind:
    """Which sit is asked for.

    Raises
    ------
    BadInput
        It is none of the three.
    """
    word = text.strip().lower()
    for kind in get_args(SitKind):
        if word == kind:
            return kind  # type: ignore[no-any-return]
    raise BadInput(
        f"--sit is {text!r}; accepted are dawn, dusk and day; give one of them, or leave it out for dawn"
    )


def read_date(text: str, name: str) -> dt.date:
    """A date as it is typed; `name` is what it is called in the message.

    Raises
    ------
    BadInput
        It is none, or lies outside the span of the ephemeris.
    """
    word = text.strip()
    try:
        found = dt.date.fromisoformat(word) if len(word) == 10 else None
    except ValueError:
        found = None
    if found is None or not 1900 <= found.year <= 2050:
        raise BadInput(
            f"{name} is {text!r}; accepted is a day from 1900 to 2050 written YYYY-MM-DD; write it so"
        )
    return found

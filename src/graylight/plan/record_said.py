"""What is said of a sighting or of sign, as it is kept: its date, its outing, a word of a few."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from graylight.errors import BadInput
from graylight.plan.moments import read_day, read_moment, written
from graylight.plan.notebook import Notebook
from graylight.sky.light import light_of_day

__all__ = ["has_light", "kept_date", "on_its_day", "one_of"]


def kept_date(book: Notebook, when: str | dt.datetime | None) -> str | None:
    """A moment or a day as it is kept; where none is given, nothing: the record has no clock of its own."""
    if when is None:
        return None
    if isinstance(when, dt.datetime):
        return written(when)
    text = when.strip()
    day = read_day(text)
    if day is not None and len(text) == 10:
        return day.isoformat()
    return written(read_moment(text, book.timezone, name="--when"))


def on_its_day(book: Notebook, number: object, date: str) -> None:
    """Refuse an outing with a date of another day, which is no outing of what was seen.

    Raises
    ------
    BadInput
        So it is. An outing that is no more, or a date that can't be read, is nothing to go against.
    """
    one = next((o for o in book.record().outings if str(o.id) == str(number)), None)
    day = read_day(date)
    if one is None or day is None:
        return
    if len(date) > 10:
        day = book.local(dt.datetime.fromisoformat(date)).date()
    began, ended = book.local(one.began).date(), book.local(one.ended).date()
    if not began <= day <= ended:
        raise BadInput(
            f"--when is {day.isoformat()}, but outing {number} was on {began.isoformat()}; accepted is a time of that day, or "
            "another outing; give one of them"
        )


def one_of(text: str, known: Sequence[str], name: str) -> str:
    """A word of a few, however it is spelled.

    Raises
    ------
    BadInput
        It is none of them.
    """
    word = text.strip().lower().replace("-", " ")
    if word not in known:
        raise BadInput(f"{name} is {text!r}; accepted is {', '.join(known)}; give one of them")
    return word


def has_light(book: Notebook, at: dt.datetime) -> bool:
    """Whether there is usable light at a moment; a day on which it never ends has it all day."""
    grid, sun_deg = book.country.grid, book.country.settings.usable_light_sun_deg
    light = light_of_day(grid.center, book.local(at).date(), usable_sun_deg=sun_deg)
    if light.usable_from is None or light.usable_until is None:
        return True
    return light.usable_from <= at <= light.usable_until

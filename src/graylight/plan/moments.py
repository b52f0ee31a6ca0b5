"""Moments as people type them: by the local clock of the country, or with their own offset from UTC."""

from __future__ import annotations

import datetime as dt
import re
from zoneinfo import ZoneInfo

from graylight.errors import BadInput

__all__ = ["read_day", "read_moment", "written"]

_CLOCK = re.compile(
    r"(?:(?P<day>\d{4}-\d{2}-\d{2})[T ]+)?(?P<hour>\d{1,2}):(?P<minute>\d{2})(?::(?P<second>\d{2})(?:\.\d+)?)?"
    r"\s*(?P<zone>Z|z|UTC|[+-]\d{2}:?\d{2})?"
)
ACCEPTED = '"2026-08-27 06:10" by the clock of the country, or with an offset, "2026-08-27T12:10Z" or "2026-08-27 06:10-06:00"'


def read_moment(text: str, timezone: str, *, name: str, day: dt.date | None = None) -> dt.datetime:
    """A moment in UTC.

    Parameters
    ----------
    text
        Date and time; the time alone where a day is given.
    timezone
        Of the country, as `graylight.sky.zone.timezone_of` names it; holds where the text has no offset.
    name
        What it is called in a message.
    day
        The day that a time alone belongs to.

    Raises
    ------
    BadInput
        Not a moment, a clock time that did not exist that day (the clocks went forward), or one that came twice
        (they went back).
    """
    match = _CLOCK.fullmatch(" ".join(text.split()))
    found = None if match is None else _local(match, day)
    if match is None or found is None:
        alone = "" if day is None else ", or a time alone"
        alone += ", of a day that there is, from 1900 to 2050" if match else ""
        raise BadInput(f"{name} is {text!r}; accepted is {ACCEPTED}{alone}; write it so")
    if match["zone"]:
        return _with_offset(found, match["zone"])
    return _by_the_clock(found, timezone, text, name)


def _local(match: re.Match[str], day: dt.date | None) -> dt.datetime | None:
    """Year to second as written, without a zone; None where there is no such day or time."""
    try:
        date = dt.date.fromisoformat(match["day"]) if match["day"] else day
        if date is None or not 1900 <= date.year <= 2050:
            return None
        time = dt.time(int(match["hour"]), int(match["minute"]), int(match["second"] or 0))
        return dt.datetime.combine(date, time)
    except ValueError:
        return None


def _with_offset(found: dt.datetime, zone: str) -> dt.datetime:
    if zone.upper() in {"Z", "UTC"}:
        return found.replace(tzinfo=dt.UTC)
    sign = -1 if zone[0] == "-" else 1
    digits = zone[1:].replace(":", "")
    offset = dt.timedelta(hours=int(digits[:2]), minutes=int(digits[2:]))
    return (found - sign * offset).replace(tzinfo=dt.UTC)


def _by_the_clock(found: dt.datetime, timezone: str, text: str, name: str) -> dt.datetime:
    """The moment at which the clocks of the country showed it."""
    zone = ZoneInfo(timezone)
    first, second = (found.replace(tzinfo=zone, fold=fold).astimezone(dt.UTC) for fold in (0, 1))
    if first == second:
        return first
    back = [at for at in (first, second) if at.astimezone(zone).replace(tzinfo=None) == found]
    what = "came twice that day (the clocks went back)" if back else "did not exist (the clocks went forward)"
    raise BadInput(
        f"{name} is {text!r}, a time that {what} in {timezone}; accepted is a time with its offset from UTC, such as "
        f"{first.strftime('%Y-%m-%dT%H:%MZ')}; write it so"
    )


def read_day(text: str) -> dt.date | None:
    """The day that a kept date begins with; None where it begins with none."""
    try:
        return dt.date.fromisoformat(text.strip()[:10])
    except ValueError:
        return None


def written(at: dt.datetime) -> str:
    """As it is kept: UTC, whole seconds."""
    return at.astimezone(dt.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")

"""What a person asks of a packet, read before anything is worked out."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from graylight.plan.model import Plan
from graylight.plan.morning_asked import read_date
from graylight.plan.morning_asked import understood as of_a_morning

__all__ = ["MOST_SITS", "Asked", "understood"]

MOST_SITS = 3
"""Lookouts told in full where no set was found and none were named."""


@dataclass(frozen=True, slots=True)
class Asked:
    """Ids of the lookouts told in full, the date, and the general wind as it was typed or None."""

    lookouts: tuple[str, ...]
    date: dt.date
    wind: str | None = None


def understood(
    plan: Plan, *, lookouts: str | None = None, date: str | None = None, wind: str | None = None
) -> Asked:
    """Read what was typed.

    Parameters
    ----------
    lookouts
        Ids with commas between; None: those of the plan's largest set.
    date
        YYYY-MM-DD; None: the plan's own.
    wind
        As people write it; None: calm.

    Raises
    ------
    BadInput
        Any of it is not understood; the message says what is accepted.
    """
    day = plan.light.date if date is None else read_date(date, "--date")
    if lookouts is None:
        kept = {one.id for one in plan.lookouts}
        names = [name for name in plan.sets[-1].lookouts if name in kept] if plan.sets else []
        names = names or [one.id for one in plan.lookouts[:MOST_SITS]]
    else:
        names = [word for word in lookouts.split(",") if word.strip()] or [lookouts]
    asked = [of_a_morning(plan, lookout=name, date=date, wind=wind, until=None) for name in names]
    return Asked(tuple(dict.fromkeys(one.lookout for one in asked)), day, wind)

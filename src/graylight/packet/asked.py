"""What a person asks of a packet, read before anything is worked out."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from graylight.plan.model import Plan
from graylight.plan.morning import kept_lookout
from graylight.plan.morning_asked import read_date
from graylight.sky.general_wind import read_wind

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
    if wind is not None:
        read_wind(wind)
    day = plan.light.date if date is None else read_date(date, "--date")
    if lookouts is None:
        kept = {one.id for one in plan.lookouts}
        names = [name for name in plan.sets[-1].lookouts if name in kept] if plan.sets else []
        names = names or [one.id for one in plan.lookouts[:MOST_SITS]]
    else:
        names = [kept_lookout(plan, word).id for word in lookouts.split(",") if word.strip()]
        names = names or [kept_lookout(plan, lookouts).id]
    return Asked(tuple(dict.fromkeys(names)), day, wind)

"""When to turn round on the way in of a morning, wherever one is by then."""

from __future__ import annotations

import datetime as dt

from graylight.approach.leaving import turn_around
from graylight.plan.morning_model import Morning

__all__ = ["turned_by"]


def turned_by(morning: Morning) -> dt.datetime | None:
    """The latest time to turn round so as to be back at the start by civil dusk; None where it is not known.

    Reckoned from the time to leave by, with the slow end of the time in and the way back slowed alike.
    """
    way = morning.way
    if way is None or way.leave_by is None or way.back_seconds is None or way.seconds <= 0.0:
        return None
    slower = way.seconds_high / way.seconds
    return turn_around(
        way.leave_by,
        morning.light.civil_dusk,
        in_seconds=way.seconds_high,
        out_seconds=way.back_seconds * slower,
    )

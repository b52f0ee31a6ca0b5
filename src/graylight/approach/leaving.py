"""When to turn round, and when to leave a lookout, so as to be out in time."""

from __future__ import annotations

import datetime as dt

import numpy as np

__all__ = ["leave_lookout_by", "turn_around"]


def leave_lookout_by(out_by: dt.datetime | None, slow_seconds: float) -> dt.datetime | None:
    """When to leave a lookout so as to be at the start by a time, even at the slow end of the range.

    Parameters
    ----------
    out_by
        When to be out: civil dusk, or any later time for someone who walks out by lamp.
    slow_seconds
        Walking time out at the slow end of its range.

    Returns
    -------
    datetime or None
        Cut to the whole minute before; None without such a time or without a way out.

    >>> leave_lookout_by(dt.datetime(2026, 8, 28, 2, 20, tzinfo=dt.UTC), 5430.0).isoformat()
    '2026-08-28T00:49:00+00:00'
    """
    if out_by is None or not np.isfinite(slow_seconds):
        return None
    return (out_by - dt.timedelta(seconds=float(slow_seconds))).replace(second=0, microsecond=0)


def turn_around(
    left: dt.datetime, out_by: dt.datetime | None, *, in_seconds: float, out_seconds: float
) -> dt.datetime | None:
    """When to turn round on the way in, wherever one is by then, so as to be back at the start by a time.

    Parameters
    ----------
    left
        When the start was left.
    out_by
        When to be back.
    in_seconds, out_seconds
        Walking time in and out. However slow the day turns out, the way back from where one is takes the same
        part of the time since leaving as the whole way out does of the whole way in.

    Returns
    -------
    datetime or None
        Cut to the whole minute before, never before `left`; None without such a time, or without a way out.

    Notes
    -----
    A rule of thumb (proposed): the way back may be slower than its share where the first part of the way in
    is the easier one downhill.

    >>> left = dt.datetime(2026, 8, 27, 20, 0, tzinfo=dt.UTC)
    >>> turn_around(left, left + dt.timedelta(hours=5), in_seconds=3600, out_seconds=2400).isoformat()
    '2026-08-27T23:00:00+00:00'
    """
    if out_by is None or not (np.isfinite(in_seconds) and np.isfinite(out_seconds)):
        return None
    if in_seconds <= 0.0:
        return max(out_by, left)
    spare = max((out_by - left).total_seconds(), 0.0)
    turn = left + dt.timedelta(seconds=spare / (1.0 + out_seconds / in_seconds))
    return max(turn.replace(second=0, microsecond=0), left)

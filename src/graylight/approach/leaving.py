"""When to turn round, and when to leave a lookout, so as to be out in time."""

from __future__ import annotations

import datetime as dt

import numpy as np
from numpy.typing import NDArray

__all__ = ["leave_lookout_by", "turn_around"]

NO_TIME_S = 600.0
"""From nearer the start than this one is back in no time. Proposed."""


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
    left: dt.datetime,
    out_by: dt.datetime | None,
    *,
    at_s: NDArray[np.float64],
    back_s: NDArray[np.float64],
) -> dt.datetime | None:
    """When to turn round on the way in, wherever one is by then, so as to be back at the start by a time.

    Parameters
    ----------
    left
        When the start was left.
    out_by
        When to be back.
    at_s, back_s
        (n,) walking seconds from the start to each point of the way in, and back from each *along the same way*.
        However slow the day turns out, the way back from where one is takes the same part of the time gone as these
        say; of all points the one from which it takes the largest part is reckoned with.

    Returns
    -------
    datetime or None
        Cut to the whole minute before, never before `left`; None without such a time, or where it can't be walked back.

    Notes
    -----
    A rule of thumb (proposed). The first minutes of a way count for nothing: whoever is there is back in no time.

    >>> left = dt.datetime(2026, 8, 27, 20, 0, tzinfo=dt.UTC)
    >>> at_s, back_s = np.array([0.0, 1800.0, 3600.0]), np.array([0.0, 1000.0, 2400.0])
    >>> turn_around(left, left + dt.timedelta(hours=5), at_s=at_s, back_s=back_s).isoformat()
    '2026-08-27T23:00:00+00:00'
    """
    if out_by is None or not np.isfinite(back_s).all():
        return None
    far = at_s >= min(NO_TIME_S, float(at_s[-1]))
    part = float(np.max(back_s[far] / np.maximum(at_s[far], 1.0)))
    spare = max((out_by - left).total_seconds(), 0.0)
    turn = left + dt.timedelta(seconds=spare / (1.0 + part))
    return max(turn.replace(second=0, microsecond=0), left)

"""When the air turned up the slope, as it was felt, beside when the sun came: the setting read anew from both."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

__all__ = ["OwnTurn", "measured_turn"]

PRIOR_WORTH = 3.0
"""The setting in use counts as so many turns felt. Proposed."""


@dataclass(frozen=True, slots=True)
class OwnTurn:
    """Minutes from the sun's coming to the air's turning.

    Parameters
    ----------
    minutes
        For `air.up_slope_minutes`: the middle of what was felt, drawn toward the setting in use.
    low, high
        Least and greatest felt.
    count
        How many turns.
    """

    minutes: float
    low: float
    high: float
    count: int


def measured_turn(felt_minutes: Sequence[float], in_use: float) -> OwnTurn:
    """The lag of the turn from turns that were felt.

    Parameters
    ----------
    felt_minutes
        Of each turn, minutes after the sun first came to that place; at least one.
    in_use
        The setting now; it counts as three turns, so that one cold morning does not move it far.

    >>> measured_turn([50.0, 55.0, 60.0], 30.0).minutes
    42.5
    """
    felt = np.asarray(felt_minutes, np.float64)
    middle = float(np.median(felt))
    pulled = (PRIOR_WORTH * in_use + len(felt) * middle) / (PRIOR_WORTH + len(felt))
    return OwnTurn(pulled, float(felt.min()), float(felt.max()), len(felt))

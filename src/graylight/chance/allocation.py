"""Where a stretch of time is worth most: effort shared out so that no hour would find more elsewhere.

Charnes & Cooper 1958 (The theory of search: optimum distribution of search effort, doi:10.1287/mnsc.5.1.44): the
chance found, the sum of POA (1 - exp(-w t)), is largest when w POA exp(-w t) is the same wherever any time is spent,
and nowhere larger.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Allocation", "allocate"]


@dataclass(frozen=True, slots=True)
class Allocation:
    """Time for each area, and the chance of finding with it."""

    hours: tuple[float, ...]
    found: float


def allocate(chance: Sequence[float], rate: Sequence[float], hours: float) -> Allocation:
    """Share time out over areas, exactly.

    Parameters
    ----------
    chance
        That it is in each area; need not add up to 1.
    rate
        How fast each is searched, per hour: the chance found in t hours is 1 - exp(-rate t). 0: can't be.
    hours
        Time there is; all of it is used unless no area has both a chance and a rate.

    >>> [round(t, 6) for t in allocate((2, 6, 4), (6, 2, 3), 0.5).hours]
    [0.083333, 0.25, 0.166667]
    """
    poa, w = np.asarray(chance, np.float64), np.asarray(rate, np.float64)
    worth = poa * w
    spent = np.zeros(len(poa))
    order = [int(i) for i in np.argsort(-worth, kind="stable") if worth[i] > 0.0]
    if order and hours > 0.0:
        taken = order[: _how_many(worth, w, order, hours)]
        level = _level(worth, w, taken, hours)
        spent[taken] = np.maximum((np.log(worth[taken]) - level) / w[taken], 0.0)
    return Allocation(tuple(float(t) for t in spent), float(np.sum(poa * -np.expm1(-w * spent))))


def _how_many(worth: NDArray[np.float64], w: NDArray[np.float64], order: list[int], hours: float) -> int:
    """How many areas get time: those whose first hour is worth more than the level that all are brought to."""
    for count in range(1, len(order)):
        if np.log(worth[order[count]]) <= _level(worth, w, order[:count], hours):
            return count
    return len(order)


def _level(worth: NDArray[np.float64], w: NDArray[np.float64], taken: list[int], hours: float) -> float:
    """Logarithm of what an hour is worth everywhere once the time is used up."""
    share = 1.0 / w[taken]
    return float((np.sum(np.log(worth[taken]) * share) - hours) / np.sum(share))

"""Mornings shared out over lookouts: the best row of sits, with rest between, and what each adds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from graylight.chance.update import LEAST_LEFT, Odds

__all__ = ["Campaign", "Row", "best_row", "rested", "worth_of"]

MOST_ROWS = 20_000
"""Up to so many rows of sits all are looked at; beyond, the best of each length go on."""
KEPT = 400
TINY = 1e-12


@dataclass(frozen=True, slots=True)
class Campaign:
    """The mornings to be shared out.

    Parameters
    ----------
    odds : one a morning
        By the record alone, as faded by then.
    found : (mornings, lookouts, pockets) float64
        Chance of finding, in one rested sit, what uses each pocket; by the morning's own wind.
    idle : (lookouts,) float64
        Days since each was last sat at; inf: never.
    rest_days, rest_part
        A lookout sat at a day before is worth `rest_part`, and all of itself again after `rest_days`.
    days
        When the mornings are, in days from now, rising.
    fade_days
        After so many days half of what an empty morning said is forgotten; see `graylight.chance.update`.
    """

    odds: tuple[Odds, ...]
    found: NDArray[np.float64]
    idle: NDArray[np.float64]
    rest_days: float
    rest_part: float
    days: tuple[float, ...]
    fade_days: float


@dataclass(frozen=True, slots=True)
class Row:
    """A row of sits: the lookout of each morning, and the chance that each finds what no earlier one did."""

    lookouts: tuple[int, ...]
    each: tuple[float, ...]

    @property
    def found(self) -> float:
        """Chance that any of them finds."""
        return sum(self.each)


@dataclass(frozen=True, slots=True)
class _State:
    """After some mornings: what they leave by place (logarithm, elsewhere last), the chance that none found, rest, row."""

    left: NDArray[np.float64]
    missed: float
    sat: tuple[float, ...]
    row: Row


def rested(days: float, *, rest_days: float, part: float) -> float:
    """What a sit is worth some days after the last at the same lookout.

    >>> rested(1.0, rest_days=3.0, part=0.7), rested(2.0, rest_days=3.0, part=0.7), rested(9.0, rest_days=3.0, part=0.7)
    (0.7, 0.85, 1.0)
    """
    if days >= rest_days:
        return 1.0
    return part + (1.0 - part) * max(days - 1.0, 0.0) / max(rest_days - 1.0, TINY)


def best_row(plan: Campaign) -> Row:
    """The row of sits most likely to find; of equal ones the first by number.

    All rows are looked at where there are at most 20 000; beyond, the 400 best of each length go on, which is
    not proved best.
    """
    mornings, lookouts, _ = plan.found.shape
    states = [_begun(plan)]
    exact = float(lookouts) ** mornings <= MOST_ROWS
    for i in range(mornings):
        states = [_sit(state, plan, i, j) for state in states for j in range(lookouts)]
        if not exact:
            states = sorted(states, key=lambda s: (-s.row.found, s.row.lookouts))[:KEPT]
    return min(
        (s.row for s in states), key=lambda row: (-round(row.found, 12), row.lookouts), default=Row((), ())
    )


def worth_of(plan: Campaign, lookouts: Sequence[int]) -> Row:
    """A given row of sits, worked out."""
    state = _begun(plan)
    for i, j in enumerate(lookouts):
        state = _sit(state, plan, i, j)
    return state.row


def _begun(plan: Campaign) -> _State:
    return _State(np.zeros(plan.found.shape[2] + 1), 1.0, tuple(-plan.idle.astype(float)), Row((), ()))


def _sit(state: _State, plan: Campaign, morning: int, lookout: int) -> _State:
    """One more morning: the odds are the record's of that day, less what the empty mornings of the row leave by then."""
    day = plan.days[morning]
    left = state.left * 0.5 ** ((day - plan.days[morning - 1]) / plan.fade_days) if morning else state.left
    odds = np.array(plan.odds[morning].all) * np.exp(left)
    rest = rested(day - state.sat[lookout], rest_days=plan.rest_days, part=plan.rest_part)
    found = np.append(plan.found[morning, lookout] * rest, 0.0)
    caught = state.missed * float(odds @ found) / float(odds.sum())
    sat = (*state.sat[:lookout], day, *state.sat[lookout + 1 :])
    row = Row((*state.row.lookouts, lookout), (*state.row.each, caught))
    return _State(left + np.log(np.maximum(1.0 - found, LEAST_LEFT)), state.missed - caught, sat, row)

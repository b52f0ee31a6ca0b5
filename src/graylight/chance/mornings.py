"""Mornings shared out over lookouts: the best row of sits, with rest between, and what each adds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from graylight.chance.update import Odds

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
    odds, prior
        Now, and where they fade to.
    found : (mornings, lookouts, pockets) float64
        Chance of finding, in one rested sit, what uses each pocket; by the morning's own wind.
    idle : (lookouts,) float64
        Days since each was last sat at; inf: never.
    rest_days, rest_part
        A lookout sat at a day before is worth `rest_part`, and all of itself again after `rest_days`.
    days
        When the mornings are, in days from now, rising.
    fade_days
        See `graylight.chance.update.later`.
    worth, prior_worth
        How many sightings the odds and the prior are worth: the more was seen, the slower they fade.
    """

    odds: Odds
    prior: Odds
    found: NDArray[np.float64]
    idle: NDArray[np.float64]
    rest_days: float
    rest_part: float
    days: tuple[float, ...]
    fade_days: float
    worth: float = 1.0
    prior_worth: float = 1.0


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
    """What is left after some mornings: chance not yet found by pocket (elsewhere last), rest, row so far."""

    left: NDArray[np.float64]
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
    states = [_State(np.array(plan.odds.all), tuple(-plan.idle.astype(float)), Row((), ()))]
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
    state = _State(np.array(plan.odds.all), tuple(-plan.idle.astype(float)), Row((), ()))
    for i, j in enumerate(lookouts):
        state = _sit(state, plan, i, j)
    return state.row


def _sit(state: _State, plan: Campaign, morning: int, lookout: int) -> _State:
    """One more morning."""
    day = plan.days[morning]
    left = _moved_on(state.left, plan, plan.days[morning - 1] if morning else 0.0, day)
    rest = rested(day - state.sat[lookout], rest_days=plan.rest_days, part=plan.rest_part)
    caught = left[:-1] * plan.found[morning, lookout] * rest
    left = left - np.append(caught, 0.0)
    sat = (*state.sat[:lookout], day, *state.sat[lookout + 1 :])
    row = Row((*state.row.lookouts, lookout), (*state.row.each, float(caught.sum())))
    return _State(left, sat, row)


def _moved_on(left: NDArray[np.float64], plan: Campaign, before: float, day: float) -> NDArray[np.float64]:
    """What is left from one day to another: part of it goes where the prior is."""
    still = plan.prior_worth + (plan.worth - plan.prior_worth) * 0.5 ** (max(before, 0.0) / plan.fade_days)
    keep = 0.5 ** (max(day - before, 0.0) / plan.fade_days)
    stays = keep * still / (keep * still + (1.0 - keep) * plan.prior_worth)
    return np.asarray(stays * left + (1.0 - stays) * left.sum() * np.array(plan.prior.all), np.float64)

"""Habitat weights read anew from sightings, against what was in sight and searched, with strong priors.

Where the pockets are scored by prod(worth_i ^ g_i), and pocket p was searched with the effort e_p, a sighting falls
into p with the chance e_p prod(worth_ip ^ g_i) over the sum of all: used against available, conditional logit
(McFadden 1974; Manly et al. 2002, Resource Selection by Animals). Never against the whole map: where nobody looked
nobody saw. The prior is a normal distribution about the exponents in use.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Learnt", "learn_weights"]

Values = NDArray[np.float64]
LEAST_WORTH = 1e-3
"""Worths below this say no more: one pocket without a fact must not decide alone."""
ROUNDS = 60


@dataclass(frozen=True, slots=True)
class Learnt:
    """Exponents before and after, (facts,) each, with the spread left (standard deviation, by Laplace)."""

    before: Values
    after: Values
    spread: Values


def learn_weights(
    worth: Values, effort: Values, seen: Values, exponents: Values, *, spread_part: float
) -> Learnt:
    """The exponents most likely given the sightings.

    Parameters
    ----------
    worth : (pockets, facts) float64
        Each fact's worth, [0, 1].
    effort : (pockets,) float64
        Sum over the outings of the chance of having found what is there; pockets never searched have 0.
    seen : (pockets,) float64
        Sightings in each, counted once a pocket and outing; those in pockets without effort are left out.
    exponents : (facts,) float64
        In use now, not below 0.
    spread_part
        Standard deviation of the prior, as a part of each exponent.

    Notes
    -----
    Newton's method on a concave function, so there is one answer; exponents stay at 0 or above. A fact that is
    the same in all pockets searched keeps its exponent.
    """
    searched = effort > 0.0
    logs = np.log(np.maximum(worth[searched], LEAST_WORTH))
    count, offset = seen[searched], np.log(effort[searched])
    tight = 1.0 / np.maximum(spread_part * exponents, 1e-6) ** 2
    now: Values = exponents.astype(np.float64).copy()
    curve = np.diag(tight)
    for _ in range(ROUNDS):
        slope, curve = _slope(now, logs, offset, count, exponents, tight)
        free = (now > 0.0) | (slope > 0.0)  # those held at 0 would go below it
        step = np.zeros(len(now))
        step[free] = np.linalg.solve(curve[np.ix_(free, free)], slope[free])
        now = np.asarray(np.maximum(now + _shortened(step, now), 0.0), np.float64)
        if float(np.abs(step).max(initial=0.0)) < 1e-10:
            break
    return Learnt(exponents, now, np.sqrt(np.diag(np.linalg.inv(curve))))


def _slope(
    now: Values, logs: Values, offset: Values, count: Values, before: Values, tight: Values
) -> tuple[Values, Values]:
    """Gradient of the logarithm of the posterior, and minus its second derivatives."""
    power = offset + logs @ now
    chance = np.exp(power - power.max()) if len(power) else power
    chance = chance / max(float(chance.sum()), 1e-300)
    mean = chance @ logs
    total = float(count.sum())
    spread = (logs - mean).T @ ((logs - mean) * chance[:, None])
    slope = count @ logs - total * mean - tight * (now - before)
    return np.asarray(slope, np.float64), np.asarray(total * spread + np.diag(tight), np.float64)


def _shortened(step: Values, now: Values) -> Values:
    """No exponent moves by more than 1 or half of itself at once."""
    most = np.maximum(0.5 * now, 1.0)
    return np.asarray(step / max(1.0, float(np.abs(step / most).max(initial=0.0))), np.float64)

"""The set of k candidates that covers most: exact where it can be proved, and with a bound where it can't.

The maximal covering location problem (Church & ReVelle 1974, doi:10.1007/BF01942293) with part coverage:
maximise sum_t w_t max_{j in S} gain[j, t] over sets S of at most k candidates.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from graylight.errors import BadInput
from graylight.kernels.covering import best_of, dominated, dual, marginals

__all__ = ["Cover", "best_cover", "covered_by", "gap", "greedy"]

Values = NDArray[np.float64]

SLACK = 1e-9
"""Relative room for rounding in sums of float64: a bound this close above is met."""


@dataclass(frozen=True, slots=True)
class Cover:
    """A set, what it covers, and how good any set could be.

    Parameters
    ----------
    chosen : tuple of int
        Candidates, the one that covers most first, then by what each adds; none that adds nothing, so
        possibly fewer than k.
    covered : float
        sum_t w_t max gain over the set.
    bound : float
        No set of k candidates covers more.
    gap : float
        (bound - covered) / bound; 0 when the set is proved best.
    prices : (targets,) float64
        Lagrangian prices behind the bound: they also bound candidates that were not in the list.
    """

    chosen: tuple[int, ...]
    covered: float
    bound: float
    gap: float
    prices: Values


def best_cover(
    gain: ArrayLike,
    weight: ArrayLike,
    k: int,
    *,
    node_limit: int = 20_000,
    steps: int = 300,
    prices: Values | None = None,
    hint: tuple[int, ...] = (),
) -> Cover:
    """The best set of k candidates.

    Greedy with exchange gives a first set. Subgradient steps on the Lagrangian dual give a bound and shut out
    every candidate that can't be in a better set; the dominated are dropped, and branch and bound decides
    among the rest. The same input gives the same set; of equals the candidate that stands first is kept.

    Parameters
    ----------
    gain : (candidates, targets) array of float in [0, 1]
        How well each target is covered from each candidate.
    weight : (targets,) array of float >= 0
    k : int
        At least 1; more than there are candidates means all of them.
    node_limit : int
        Nodes of the search; past it the best set so far is given, with its gap; 0: no search. No clock is
        used, so that the same input gives the same set.
    steps : int
        Subgradient steps.
    prices : (targets,) float64, optional
        Prices to start from, as an earlier answer gave them.
    hint : tuple of int
        A set known to be good.

    Returns
    -------
    Cover

    Raises
    ------
    BadInput
        The shapes don't fit, k is below 1, or values lie outside their range.

    Examples
    --------
    >>> best_cover([[1, 1, 0, 0], [0, 1, 1, 0], [0, 0, 1, 1]], [1, 1, 1, 1], 2).chosen
    (0, 2)
    """
    value = _values(gain, weight, k)
    start = np.zeros(value.shape[0]) if prices is None else np.asarray(prices, np.float64).copy()
    k = min(k, value.shape[1])
    if k == 0 or not value.any():
        return Cover((), 0.0, 0.0, 0.0, np.zeros(value.shape[0]))
    known = [_improved(value, first) for first in (greedy(value, k), hint[:k]) if first]
    best = max(known, key=lambda s: covered_by(value, s))
    bound = float(dual(value, k, covered_by(value, best), steps, start))
    chosen, bound = _search(value, k, best, bound=bound, prices=start, node_limit=node_limit)
    ordered = _by_addition(value, chosen)
    covered = covered_by(value, ordered)
    bound = max(bound, covered)
    return Cover(ordered, covered, bound, gap(covered, bound), start)


def gap(covered: float, bound: float) -> float:
    """(bound - covered) / bound; 0 within rounding."""
    part = 1.0 - covered / bound
    return part if part > SLACK else 0.0


def _values(gain: ArrayLike, weight: ArrayLike, k: int) -> Values:
    """(targets, candidates) weighted gains."""
    gains, weights = np.asarray(gain, np.float64), np.asarray(weight, np.float64)
    if gains.ndim != 2 or weights.shape != gains.shape[1:]:
        raise BadInput(
            f"gain of shape {gains.shape} and weight of shape {weights.shape} do not fit; accepted is "
            "(candidates, targets) and (targets,); turn or cut one of them"
        )
    if k < 1:
        raise BadInput(f"a set of {k} lookouts was asked for; accepted is 1 or more; ask for at least one")
    if gains.size and not (gains.min() >= 0.0 and gains.max() <= 1.0 and weights.min() >= 0.0):
        raise BadInput(
            f"gain from {gains.min()} to {gains.max()} and least weight {weights.min()} were given; "
            "accepted is gain in [0, 1] and weight of 0 or more, no NaN; scale or fill them"
        )
    return np.ascontiguousarray((gains * weights).T)


def covered_by(value: Values, chosen: tuple[int, ...]) -> float:
    """Covered by a set of columns of (targets, candidates) weighted gains."""
    return float(value[:, list(chosen)].max(axis=1).sum()) if chosen else 0.0


def _added(value: Values, cover: Values) -> Values:
    out = np.empty(value.shape[1])
    marginals(value, cover, out)
    return out


def greedy(value: Values, k: int) -> tuple[int, ...]:
    """Columns taken one by one, each time the one that adds most (ties: the first), until nothing is added.

    Covers at least 1 - (1 - 1/k)^k of the best (Nemhauser, Wolsey & Fisher 1978, doi:10.1007/BF01588971).
    """
    chosen: list[int] = []
    cover = np.zeros(value.shape[0])
    for _ in range(k):
        added = _added(value, cover)
        j = int(np.argmax(added))
        if added[j] <= 0.0:
            break
        chosen.append(j)
        cover = np.maximum(cover, value[:, j])
    return tuple(chosen)


def _improved(value: Values, chosen: tuple[int, ...]) -> tuple[int, ...]:
    """Exchange one member at a time for the best other column, until none is better."""
    now, covered = list(chosen), covered_by(value, chosen)
    for _ in range(20):
        before = covered
        for i in range(len(now)):
            rest = now[:i] + now[i + 1 :]
            cover = value[:, rest].max(axis=1) if rest else np.zeros(value.shape[0])
            added = _added(value, cover)
            j = int(np.argmax(added))
            total = float(cover.sum()) + float(added[j])
            if total > covered * (1.0 + SLACK):
                now[i], covered = j, total
        if covered == before:
            break
    return tuple(now)


def _search(
    value: Values, k: int, best: tuple[int, ...], *, bound: float, prices: Values, node_limit: int
) -> tuple[tuple[int, ...], float]:
    """Fix by reduced gains, drop the dominated, and branch: the best set found and the bound."""
    floor = covered_by(value, best)
    if bound <= floor * (1.0 + SLACK) or node_limit < 1:
        return best, bound
    rho = _added(value, prices)
    order = np.lexsort((np.arange(len(rho)), -rho))
    enters = bound - rho[order[k - 1]] + rho[order] > floor  # else no set with it covers more than the floor
    keep = _undominated(value, order[enters], k)
    small = np.ascontiguousarray(value[:, keep])
    found = np.full(k, -1, np.int64)
    nodes = best_of(small, k, prices, rho[keep], floor * (1.0 + SLACK), node_limit, found)
    chosen = best if found[0] < 0 else tuple(int(keep[j]) for j in found)
    return chosen, bound if nodes > node_limit else covered_by(value, chosen)


def _undominated(value: Values, order: NDArray[np.int64], k: int) -> NDArray[np.int64]:
    """Candidates, in their order, that none of larger sum equals or beats on every target; k at least."""
    some = np.ascontiguousarray(value[:, order])
    total = some.sum(axis=0)
    drop = np.zeros(len(order), np.bool_)
    dominated(some, np.lexsort((order, -total)), drop)
    return order[~drop] if np.count_nonzero(~drop) >= k else order


def _by_addition(value: Values, chosen: tuple[int, ...]) -> tuple[int, ...]:
    """The members by what each adds to those before it; those that add nothing are left out."""
    members = sorted(chosen)
    return tuple(members[i] for i in greedy(np.ascontiguousarray(value[:, members]), len(members)))

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

__all__ = ["Cover", "best_cover", "covered_by", "greedy"]

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

    Dominated candidates are dropped; greedy with exchange gives a first set; subgradient steps on the Lagrangian
    dual give a bound and drop every candidate that can't be in a better set; branch and bound decides among
    the rest. The same input gives the same set: ties go to the candidate that stands first.

    Parameters
    ----------
    gain : (candidates, targets) array of float in [0, 1]
        How well each target is covered from each candidate.
    weight : (targets,) array of float >= 0
    k : int
        At least 1; more than there are candidates means all of them.
    node_limit : int
        Nodes of the search; past it the best set so far is given, with its gap. No clock is used.
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
    keep = _undominated(value)
    if len(keep) == 0:
        return Cover((), 0.0, 0.0, 0.0, np.zeros(value.shape[0]))
    kept = np.ascontiguousarray(value[:, keep])
    k = min(k, len(keep))
    known = [_improved(kept, s) for s in _firsts(kept, k, keep, hint)]
    best = max(known, key=lambda s: covered_by(kept, s))
    chosen, bound = _search(kept, k, best, start, steps, node_limit)
    ordered = _by_addition(kept, chosen)
    covered = covered_by(kept, ordered)
    bound = max(bound, covered)
    gap = (bound - covered) / bound if bound > 0 else 0.0
    return Cover(tuple(int(keep[j]) for j in ordered), covered, bound, gap, start)


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
            f"gain from {gains.min()} to {gains.max()} and least weight {weights.min()} were given; accepted is gain in "
            "[0, 1] and weight of 0 or more, no NaN; scale or fill them"
        )
    return np.ascontiguousarray((gains * weights).T)


def _undominated(value: Values) -> NDArray[np.int64]:
    """Candidates that see something and that no other equals or beats on every target, in their order."""
    total = value.sum(axis=0)
    order = np.lexsort((np.arange(len(total)), -total))
    drop = np.zeros(len(total), np.bool_)
    dominated(value, order, drop)
    return np.flatnonzero(~drop & (total > 0))


def covered_by(value: Values, chosen: tuple[int, ...]) -> float:
    """Covered by a set of columns of (targets, candidates) weighted gains."""
    return float(value[:, list(chosen)].max(axis=1).sum()) if chosen else 0.0


def _added(value: Values, cover: Values) -> Values:
    out = np.empty(value.shape[1])
    marginals(value, cover, out)
    return out


def greedy(value: Values, k: int) -> tuple[int, ...]:
    """Columns taken one by one, each time the one that adds most (ties: the first); stops when nothing is added.

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


def _firsts(value: Values, k: int, keep: NDArray[np.int64], hint: tuple[int, ...]) -> list[tuple[int, ...]]:
    """First sets: greedy, and what is left of the hint."""
    where = {int(c): i for i, c in enumerate(keep)}
    known = tuple(where[c] for c in hint if c in where)[:k]
    return [greedy(value, k), known] if known else [greedy(value, k)]


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
    value: Values, k: int, best: tuple[int, ...], prices: Values, steps: int, node_limit: int
) -> tuple[tuple[int, ...], float]:
    """Bound by the dual, fix, and branch: the set found and the bound; `prices` is left at the dual's best."""
    floor = covered_by(value, best)
    bound = float(dual(value, k, floor, steps, prices))
    if bound <= floor * (1.0 + SLACK):
        return best, bound
    rho = _added(value, prices)
    order = np.lexsort((np.arange(len(rho)), -rho))
    keep = order[_may_enter(rho[order], k, bound, floor)]
    found = np.full(k, -1, np.int64)
    small = np.ascontiguousarray(value[:, keep])
    nodes = best_of(small, k, prices, rho[keep], floor * (1.0 + SLACK), node_limit, found)
    chosen = best if found[0] < 0 else tuple(int(keep[j]) for j in found)
    return chosen, bound if nodes > node_limit else covered_by(value, chosen)


def _may_enter(rho: Values, k: int, bound: float, floor: float) -> NDArray[np.bool_]:
    """Which columns, by falling reduced gain, could be in a set that covers more than the floor."""
    return bound - rho[k - 1] + rho > floor


def _by_addition(value: Values, chosen: tuple[int, ...]) -> tuple[int, ...]:
    """The members by what each adds to those before it; those that add nothing are left out."""
    members = sorted(chosen)
    return tuple(members[i] for i in greedy(np.ascontiguousarray(value[:, members]), len(members)))

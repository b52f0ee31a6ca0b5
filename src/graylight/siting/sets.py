"""The best set of lookouts for each k: exact over a shortlist that grows, and a bound over every cell.

Column generation (Gilmore & Gomory 1961, doi:10.1287/opre.9.6.849): the Lagrangian prices of the shortlist's answer
tell what any other cell could add; cells that could add most join the shortlist, until the bound over all cells
lies close to what the set covers.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from graylight.siting.covering import Cover, best_cover
from graylight.siting.field import LISTS_AT_ONCE, Cells, Field, peaks
from graylight.work import Tick, part

__all__ = ["Found", "best_sets", "overlap"]

CLOSE = 0.01
"""The bound over all cells is close enough at 1 %."""

ROUNDS = 6
"""Most rounds of adding cells to the shortlist."""

ROUNDING = 1.0 + 1e-6
"""Bounds over all cells are sums of float32 products: raised by more than their rounding."""


@dataclass(frozen=True, slots=True)
class Found:
    """A set of cells and its bounds.

    Parameters
    ----------
    cells : tuple of int
        Flat indices.
    covered, bound : float
        What is seen from at least one of them, and at most from any k cells (worth of distance counted, liking not).
    shortlist_gap, choice_gap : float
        How far the set could be from the best by the measure it was chosen by (what is seen times liking), over the
        shortlist and over every cell.
    """

    cells: tuple[int, ...]
    covered: float
    bound: float
    shortlist_gap: float
    choice_gap: float


@dataclass(frozen=True, slots=True)
class _Shortlist:
    """Cells with what is seen from each."""

    cells: Cells
    seen: NDArray[np.float32]
    liking: NDArray[np.float64]

    def gain(self, liked: bool) -> NDArray[np.float64]:
        return self.seen * self.liking[:, None] if liked else self.seen.astype(np.float64)

    def with_more(self, field: Field, cells: Cells) -> _Shortlist:
        new = np.unique(cells[~np.isin(cells, self.cells)])
        return _Shortlist(
            np.concatenate([self.cells, new]),
            np.concatenate([self.seen, field.seen(new)[1]]),
            np.concatenate([self.liking, field.liking(new)]),
        )


@dataclass(slots=True)
class _Problem:
    """One k under one measure: its answer over the shortlist, and the least bound over all cells so far."""

    k: int
    liked: bool
    cover: Cover | None = None
    bound: float = np.inf

    def solve(self, shortlist: _Shortlist, weight: NDArray[np.float32]) -> Cover:
        before = self.cover
        self.cover = best_cover(
            shortlist.gain(self.liked), weight, self.k,
            prices=None if before is None else before.prices, hint=() if before is None else before.chosen,
        )  # fmt: skip
        return self.cover

    @property
    def is_open(self) -> bool:
        covered = 0.0 if self.cover is None else self.cover.covered
        return covered < (1.0 - CLOSE) * self.bound


def best_sets(field: Field, first: Cells, worth: NDArray[np.float64], k: int, *, tick: Tick) -> list[Found]:
    """Best sets of 2 to k cells; fewer when another lookout adds nothing.

    Parameters
    ----------
    field : Field
    first : (n,) int64
        The shortlist to begin with.
    worth : (rows, cols) float64
        What is seen from each cell, the bound of a single lookout.
    k : int
    """
    weight = field.targets.weight
    none = np.empty((0, len(weight)), np.float32)
    shortlist = _Shortlist(np.empty(0, np.int64), none, np.empty(0)).with_more(field, first)
    problems = [_Problem(size, liked) for size in range(2, k + 1) for liked in (True, False)]
    for turn in range(ROUNDS):
        for problem in problems:
            problem.solve(shortlist, weight)
        todo = [p for p in problems if p.is_open]
        more = _priced(field, todo, turn, tick=part(tick, turn / ROUNDS, (turn + 1) / ROUNDS))
        size = len(shortlist.cells)
        shortlist = shortlist.with_more(field, more)
        if len(shortlist.cells) == size:
            break
    else:
        for problem in problems:
            problem.solve(shortlist, weight)
    return _found(problems, shortlist, weight, float(worth.max()))


def _priced(field: Field, todo: list[_Problem], turn: int, *, tick: Tick) -> Cells:
    """Bound every open problem over all cells; returns the cells that could add most to those still open."""
    more: list[Cells] = [np.empty(0, np.int64)]
    batches = [todo[i : i + LISTS_AT_ONCE] for i in range(0, len(todo), LISTS_AT_ONCE)]
    for i, batch in enumerate(batches):
        covers = [p.cover for p in batch if p.cover is not None]
        prices = np.array([c.prices for c in covers])
        liked = np.array([p.liked for p in batch])
        rho = field.reduced(prices, liked, tick=part(tick, i / len(batches), (i + 1) / len(batches)))
        for problem, cover, gain in zip(batch, covers, rho, strict=True):
            most = np.partition(gain, max(gain.size - problem.k, 0), axis=None)[-problem.k :]
            problem.bound = min(problem.bound, ROUNDING * (float(cover.prices.sum()) + float(most.sum())))
            if problem.is_open:
                more.append(peaks(gain, 40, block=max(1, 4 - turn)))
    return np.concatenate(more)


def _found(problems: list[_Problem], shortlist: _Shortlist, weight: NDArray[np.float32], single: float) -> list[Found]:
    """The answers by k, without those in which a member adds nothing; bounds are made to rise with k."""
    seen_bounds = [p.bound for p in problems if not p.liked]
    liked_bounds = [p.bound for p in problems if p.liked]
    found = []
    for i, problem in enumerate(p for p in problems if p.liked):
        cover = problem.cover
        if cover is None or len(cover.chosen) < problem.k:
            break
        chosen = list(cover.chosen)
        covered = float(overlap(shortlist.seen[chosen], weight)[1])
        bound = max(min(seen_bounds[i:] + [single * problem.k]), covered)
        best = max(min(liked_bounds[i:]), cover.covered)
        cells = tuple(int(c) for c in shortlist.cells[chosen])
        found.append(Found(cells, covered, bound, cover.gap, 1.0 - cover.covered / best if best > 0 else 0.0))
    return found


def overlap(seen: NDArray[np.float32], weight: NDArray[np.float32]) -> tuple[float, float]:
    """Weighted sums of what all of the cells see, and of what at least one of them sees; seen is (cells, targets)."""
    whole = weight.astype(np.float64)
    return float(seen.min(axis=0) @ whole), float(seen.max(axis=0) @ whole)

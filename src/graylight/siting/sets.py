"""The best set of lookouts for each k: exact over a shortlist that grows, and a bound over every cell.

Column generation (Gilmore & Gomory 1961, doi:10.1287/opre.9.6.849): the Lagrangian prices of the shortlist's
answer tell what any other cell could add; cells that could add most join the shortlist, until the bound over
all cells lies close to what the set covers.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from graylight.kernels.covering import most
from graylight.siting.covering import Cover, best_cover, gap
from graylight.siting.field import LISTS_AT_ONCE, Cells, Field, peaks
from graylight.work import Tick, part

__all__ = ["Found", "best_sets", "overlap"]

CLOSE = 0.01
"""The bound over all cells is close enough at 1 %."""

ROUNDS = 6
"""Most rounds of adding cells to the shortlist."""

NODES = 20_000
"""Most nodes of the last, exact search."""

NEXT_TO_NOTHING = 0.002
"""Part of what a set covers that may be lost so that it shares its places with smaller sets."""

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
        What is seen from at least one of them, and at most from any k cells (liking left out).
    shortlist_gap, choice_gap : float
        How far the set could be from the best by the measure it was chosen by (what is seen times liking),
        over the shortlist and over every cell.
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
        """(cells, ground) what each cell sees, times how well it is liked where that counts."""
        return self.seen * self.liking[:, None] if liked else self.seen.astype(np.float64)

    def with_more(self, field: Field, cells: Cells) -> _Shortlist:
        """The same and the cells that are not on it yet."""
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

    def solve(self, shortlist: _Shortlist, weight: NDArray[np.float32], *, exactly: bool) -> None:
        """Find the best cover from the shortlist, from where the last one left off."""
        before = self.cover
        self.cover = best_cover(
            shortlist.gain(self.liked), weight, self.k, node_limit=NODES if exactly else 0,
            prices=None if before is None else before.prices, hint=() if before is None else before.chosen,
        )  # fmt: skip

    @property
    def is_open(self) -> bool:
        """Whether cells off the shortlist might still do better."""
        covered = 0.0 if self.cover is None else self.cover.covered
        return covered < (1.0 - CLOSE) * self.bound


def best_sets(
    field: Field, first: Cells, worth: NDArray[np.float64], k: int, *, apart: float, tick: Tick
) -> list[Found]:
    """Best sets of 2 to k cells; fewer when another lookout adds nothing.

    Parameters
    ----------
    field : Field
    first : (n,) int64
        The shortlist to begin with, the best single cell first.
    worth : (rows, cols) float64
        What is seen from each cell, the bound of a single lookout.
    k : int
    apart : float
        A member nearer than this, in cells, to a member of a smaller set gives way to it if next to nothing
        is lost.
    """
    weight = field.targets.weight
    none = np.empty((0, len(weight)), np.float32)
    shortlist = _Shortlist(np.empty(0, np.int64), none, np.empty(0)).with_more(field, first)
    problems = [_Problem(size, liked) for size in range(2, k + 1) for liked in (True, False)]
    for turn in range(ROUNDS):
        todo = [p for p in problems if p.is_open]
        for problem in todo:
            problem.solve(shortlist, weight, exactly=False)
        apart_now = max(1.0, 4.0 - turn)
        more = _priced(field, todo, apart_now, tick=part(tick, turn / ROUNDS, (turn + 1) / ROUNDS))
        size = len(shortlist.cells)
        shortlist = shortlist.with_more(field, more)
        if len(shortlist.cells) == size and (not todo or apart_now == 1.0):
            break  # else closer cells may yet add something
    for problem in problems:
        problem.solve(shortlist, weight, exactly=problem.liked)
    best = int(np.flatnonzero(shortlist.cells == first[0])[0])
    covers = _settled(
        [p.cover for p in problems if p.liked and p.cover is not None], best, shortlist, field, apart
    )
    return _found(problems, covers, shortlist, weight, float(worth.max()))


def _priced(field: Field, todo: list[_Problem], apart: float, *, tick: Tick) -> Cells:
    """Bound every open problem over all cells; returns the cells that could add most to those still open."""
    more: list[Cells] = [np.empty(0, np.int64)]
    batches = [todo[i : i + LISTS_AT_ONCE] for i in range(0, len(todo), LISTS_AT_ONCE)]
    for i, batch in enumerate(batches):
        covers = [p.cover for p in batch if p.cover is not None]
        prices = np.array([c.prices for c in covers])
        liked = np.array([p.liked for p in batch])
        rho = field.reduced(prices, liked, tick=part(tick, i / len(batches), (i + 1) / len(batches)))
        for problem, cover, gain in zip(batch, covers, rho, strict=True):
            problem.bound = min(
                problem.bound, ROUNDING * (float(cover.prices.sum()) + _largest(gain, problem.k))
            )
            if problem.is_open:
                more.append(peaks(gain, 40, apart=apart))
    return np.concatenate(more)


def _largest(gain: NDArray[np.float64], k: int) -> float:
    """Sum of the k largest reduced gains of all cells."""
    top = np.empty(k, np.int64)
    n = most(gain.ravel(), 0, k, top)
    return float(gain.ravel()[top[:n]].sum())


def _settled(
    covers: list[Cover], best: int, shortlist: _Shortlist, field: Field, apart: float
) -> list[Cover]:
    """Sets that share their places with smaller sets where they can, and see no less than a smaller set.

    Up to the first in which a member adds nothing.
    """
    weight = field.targets.weight
    gain = shortlist.gain(True) * weight
    place = np.column_stack(np.divmod(shortlist.cells, field.shape[1]))
    taken, out, before = [best], list[Cover](), [best]
    for k, cover in enumerate(covers, 2):
        if len(cover.chosen) < k:
            break
        chosen = _sharing(list(cover.chosen), taken, gain, place, apart)
        if overlap(shortlist.seen[chosen], weight)[1] < overlap(shortlist.seen[before], weight)[1]:
            chosen = [*before, _adding_most(gain, before)]
        covered = float(gain[chosen].max(axis=0).sum())
        out.append(replace(cover, chosen=tuple(chosen), covered=covered, gap=gap(covered, cover.bound)))
        taken += [j for j in chosen if j not in taken]
        before = chosen
    return out


def _sharing(
    chosen: list[int], taken: list[int], gain: NDArray[np.float64], place: Cells, apart: float
) -> list[int]:
    """The set with places taken already in place of members near them, if next to nothing is lost."""
    floor = (1.0 - NEXT_TO_NOTHING) * float(gain[chosen].max(axis=0).sum())
    for i in range(len(chosen)):
        for j in taken:
            other = [*chosen[:i], j, *chosen[i + 1 :]]
            near = np.hypot(*(place[chosen[i]] - place[j])) < apart
            if j not in chosen and near and gain[other].max(axis=0).sum() >= floor:
                chosen = other
    return chosen


def _adding_most(gain: NDArray[np.float64], chosen: list[int]) -> int:
    cover = gain[chosen].max(axis=0)
    return int(np.argmax(np.maximum(gain - cover, 0.0).sum(axis=1)))


def _found(
    problems: list[_Problem],
    covers: list[Cover],
    shortlist: _Shortlist,
    weight: NDArray[np.float32],
    single: float,
) -> list[Found]:
    """The answers by k; the bounds are made to rise with k."""
    seen_bounds = [p.bound for p in problems if not p.liked]
    liked_bounds = [p.bound for p in problems if p.liked]
    found = []
    for i, cover in enumerate(covers):
        chosen = list(cover.chosen)
        _, covered = overlap(shortlist.seen[chosen], weight)
        bound = max(min([*seen_bounds[i:], single * len(chosen)]), covered)
        best = max(min(liked_bounds[i:]), cover.covered)
        cells = tuple(int(c) for c in shortlist.cells[chosen])
        found.append(Found(cells, covered, bound, cover.gap, gap(cover.covered, best)))
    return found


def overlap(seen: NDArray[np.float32], weight: NDArray[np.float32]) -> tuple[float, float]:
    """Weighted sums of what all of the cells see and of what at least one sees; seen is (cells, targets)."""
    whole = weight.astype(np.float64)
    return float(seen.min(axis=0) @ whole), float(seen.max(axis=0) @ whole)

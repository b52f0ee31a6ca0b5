"""Lookouts: from every cell that can be sat on, the best single places and the best sets of k."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from graylight.errors import BadInput
from graylight.siting.covering import gap
from graylight.siting.field import Cells, Field, Light, Seat, Targets, field, peaks
from graylight.siting.sets import Found, best_sets, overlap
from graylight.work import Tick, part, silent

__all__ = ["Light", "Pick", "PickedSet", "Seat", "Siting", "Targets", "picks_of", "siting"]

Raster = NDArray[np.float32]

AT_ONCE = 256
"""Cells that are looked from through the foliage at a time, in the search for the best single place."""

SINGLES = 6
"""Most single places given."""

SAME_VIEW = 0.75
"""Two places see the same thing when they share this part of what either sees. Proposed default."""

FAVOUR = 1.05
"""A member of a set goes before a single place worth up to this many times as much. Proposed default."""

LEAST = 0.2
"""A single place is given when it is worth at least this part of the best. Proposed default."""


@dataclass(frozen=True, slots=True)
class Pick:
    """A place to sit.

    Parameters
    ----------
    row, col : int
    worth : float
        sum_t w_t g(d_t) s_t with s 1 for clear, 1/2 for touch-and-go, 0 for blocked.
    low, high : float
        The same with all touch-and-go ground taken as blocked, and as clear.
    liking : float
        How good it is to sit there, in [0, 1].
    """

    row: int
    col: int
    worth: float
    low: float
    high: float
    liking: float


@dataclass(frozen=True, slots=True)
class PickedSet:
    """The best set of k lookouts.

    Parameters
    ----------
    k : int
    picks : tuple of int
        Indices into `Siting.picks`, the one that sees most first.
    covered : float
        sum_t w_t max over the set of g s: what is seen from at least one.
    bound : float
        No k cells that can be sat on see more.
    gap : float
        (bound - covered) / bound. It holds what was given up for better ground to sit on, too.
    shortlist_gap : float
        By how much the set could fall short of the best of the shortlist, by what is seen times liking; 0:
        proved best.
    choice_gap : float
        The same over every cell that can be sat on.
    """

    k: int
    picks: tuple[int, ...]
    covered: float
    bound: float
    gap: float
    shortlist_gap: float
    choice_gap: float


@dataclass(frozen=True, slots=True)
class Siting:
    """Where to sit.

    Parameters
    ----------
    worth : (rows, cols) float32
        What is seen from each cell, weighted by chance and distance, touch-and-go half; 0 where one can't
        sit.
    picks : tuple of Pick
        The best singles and all members of sets, the best single first; no cell twice.
    singles : tuple of int
        Indices into picks, by worth times liking (members of sets 5 % before others), each at least apart_m
        from those before it, sharing less than 3/4 of what either sees, and worth at least 1/5 of the best.
    sets : tuple of PickedSet
        For k = 1, 2, ... up to the k asked for; fewer when another lookout would add nothing.
    """

    worth: Raster
    picks: tuple[Pick, ...]
    singles: tuple[int, ...]
    sets: tuple[PickedSet, ...]


def siting(
    windows: NDArray[np.uint8],
    targets: Targets,
    seat: Seat,
    distance_worth: NDArray[np.float32],
    *,
    cell_m: float,
    k: int,
    apart_m: float = 250.0,
    shortlist: int = 300,
    light: Light | None = None,
    tick: Tick = silent,
) -> Siting:
    """Choose lookouts from every cell that can be sat on.

    A set S is chosen by sum_t w_t max_{j in S} (liking_j g_jt s_jt): exactly over a shortlist, which takes in
    further cells until no set anywhere could be better by more than about 1 %, or the rounds are over. What
    it covers and the bound are then told without liking.

    Parameters
    ----------
    windows : (T, 2 R + 1, 2 R + 1) uint8
        [t, R + dr, R + dc] tells how target t is seen from dr, dc of it: 0 blocked, 1 touch-and-go, 2 clear,
        3 outside (counts as blocked). Cells beyond the grid are not read.
    targets : Targets
    seat : Seat
    distance_worth : (R + 2,) float32
        Worth in [0, 1] of watching from i cells off; in between it is interpolated.
    k : int
        Most lookouts in a set, 1 or more.
    apart_m : float
        Least distance between single places.
    shortlist : int
        Cells in the shortlist at the start.
    light : callable, optional
        Sight through foliage for the shortlist; none: the windows' answers are the last word.

    Returns
    -------
    Siting
        Empty of picks when there is no target or nothing is seen from anywhere.

    Raises
    ------
    BadInput
        The arrays don't fit together, or k is below 1.

    Notes
    -----
    What is not modelled: glare, drift and the skyline (they may enter through liking); that one person can't
    hold two lookouts at once; any error of the windows beyond touch-and-go.
    """
    if k < 1:
        raise BadInput(f"a set of {k} lookouts was asked for; accepted is 1 or more; ask for at least one")
    view = field(windows, targets, seat, distance_worth, light)
    free, unliked = np.zeros((1, len(targets.row))), np.zeros(1, np.bool_)
    worth = view.reduced(free, unliked, tick=part(tick, 0.0, 0.1))[0]
    liked = worth * view.seat.liking
    if not liked.any():
        return Siting(worth.astype(np.float32), (), (), ())
    best = _best_single(view, liked)
    first = np.concatenate([[best], _first_cells(worth, liked, shortlist, cell_m)])
    apart = apart_m / cell_m
    more = best_sets(view, first, worth, k, apart=apart, tick=part(tick, 0.1, 0.95))
    found = [_single(view, best, worth), *more]
    members = list(dict.fromkeys(cell for one in found for cell in one.cells))
    tick(1.0)
    return _told(view, worth, _different(view, liked, best, members, apart), members, found)


def _first_cells(worth: NDArray[np.float64], liked: NDArray[np.float64], n: int, cell_m: float) -> Cells:
    """The shortlist to begin with: the best by worth and by worth times liking, 60 m apart."""
    each, apart = max(1, n // 2), 60.0 / cell_m
    return np.concatenate([peaks(liked, each, apart=apart), peaks(worth, each, apart=apart)])


def _best_single(view: Field, liked: NDArray[np.float64]) -> int:
    """The best of all cells by what is seen times liking, foliage counted.

    Foliage only takes away, so cells are looked at by falling worth without it until none left can be better.
    """
    if view.light is None:
        return int(np.argmax(liked))
    flat = liked.ravel()
    some = np.flatnonzero(flat > 0.0)  # the others can't be sat on, or see nothing
    order = some[np.lexsort((some, -flat[some]))]
    best, most = int(order[0]), -1.0
    for start in range(0, order.size, AT_ONCE):
        cells = order[start : start + AT_ONCE]
        if flat[cells[0]] <= most:
            break
        true = _worth(view, cells) * view.liking(cells)
        first = int(np.argmax(true))
        if true[first] > most:
            best, most = int(cells[first]), float(true[first])
    return best


def _worth(view: Field, cells: Cells) -> NDArray[np.float64]:
    """What is seen from cells, weighted by chance and distance, foliage counted."""
    return np.asarray(view.seen(cells)[1].astype(np.float64) @ view.targets.weight.astype(np.float64))


def _single(view: Field, best: int, worth: NDArray[np.float64]) -> Found:
    """The set of one: the best of all cells by the measure it is chosen by; bounded by what any cell sees."""
    _, covered = overlap(view.seen(np.array([best]))[1], view.targets.weight)
    return Found((best,), covered, max(float(worth.max()), covered), 0.0, 0.0)


def _different(
    view: Field, liked: NDArray[np.float64], best: int, members: list[int], apart: float
) -> list[int]:
    """Single places, best first: each far enough from those before it, seeing something else, worth it."""
    some = peaks(liked, 400, apart=apart / 2, above=LEAST * float(liked.flat[best]))
    cells = np.array(list(dict.fromkeys([*members, *some.tolist()])), np.int64)
    seen = view.seen(cells)[1]
    true = (seen.astype(np.float64) @ view.targets.weight.astype(np.float64)) * view.liking(cells)
    least = LEAST * float(true[cells == best][0])
    rank = true * np.where(np.isin(cells, members), FAVOUR, 1.0)
    order = np.lexsort((cells, -rank))
    row, col = np.divmod(cells, view.shape[1])
    kept: list[int] = []
    for i in order:
        far = all(np.hypot(row[i] - row[j], col[i] - col[j]) >= apart for j in kept)
        if far and true[i] > least and _unlike(view, seen, int(i), kept):
            kept.append(int(i))
        if len(kept) == SINGLES:
            break
    return [int(cells[i]) for i in kept]


def _unlike(view: Field, seen: NDArray[np.float32], i: int, kept: list[int]) -> bool:
    for j in kept:
        both, either = overlap(seen[[i, j]], view.targets.weight)
        if both >= SAME_VIEW * either:
            return False
    return True


def _told(
    view: Field, worth: NDArray[np.float64], singles: list[int], members: list[int], found: list[Found]
) -> Siting:
    """All in terms of picks."""
    cells = list(dict.fromkeys([*singles, *members]))
    where = {cell: i for i, cell in enumerate(cells)}
    sets = tuple(
        PickedSet(
            len(one.cells), tuple(where[c] for c in one.cells), one.covered, one.bound,
            gap(one.covered, one.bound), one.shortlist_gap, one.choice_gap,
        )
        for one in found
    )  # fmt: skip
    picks = picks_of(view, np.array(cells, np.int64))
    return Siting(worth.astype(np.float32), picks, tuple(where[c] for c in singles), sets)


def picks_of(view: Field, cells: Cells) -> tuple[Pick, ...]:
    """What is seen from cells, and how good it is to sit there."""
    low, likely, high = view.seen(cells).astype(np.float64) @ view.targets.weight.astype(np.float64)
    row, col = np.divmod(cells, view.shape[1])
    columns = zip(row, col, likely, low, high, view.liking(cells), strict=True)
    return tuple(Pick(int(r), int(c), *(float(v) for v in rest)) for r, c, *rest in columns)

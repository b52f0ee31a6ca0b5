"""Lookouts that the person holds to: sets that have them all, and the best places beside them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from graylight.siting.covering import gap
from graylight.siting.field import Field
from graylight.siting.lookouts import PickedSet, Siting, picks_of
from graylight.siting.sets import overlap

__all__ = ["with_held"]

AT_ONCE = 256
"""Cells that are looked from through the foliage at a time."""


def with_held(
    view: Field, free: Siting, own: Sequence[tuple[int, int]], *, held: int, k: int, apart: float
) -> Siting:
    """Siting with the person's own places.

    Parameters
    ----------
    view : Field
    free : Siting
        The answer without them.
    own : sequence of (row, col)
        Any cells of the grid, suited for sitting or not; no cell twice.
    held : int
        The first so many of them are held to; the others are told with what they see, and change no set.
    k : int
        Most lookouts in a set; more are held to where the person has more.
    apart : float
        Single places nearer than this to one held to, in cells, are left out.

    Returns
    -------
    Siting
        The first picks are the own ones, in their order. Where some are held to, each set has all of them, and up to k
        the best others, taken one by one: each adds most to those before it (by what is seen times liking) of
        all cells that can be sat on. No better choice of several at once is looked for.
    """
    cells = [row * view.shape[1] + col for row, col in own]
    found = [pick.row * view.shape[1] + pick.col for pick in free.picks]
    sets = _sets(view, cells[:held], k) if held else [tuple(found[i] for i in one.picks) for one in free.sets]
    members = list(dict.fromkeys(cell for one in sets for cell in one))
    singles = [found[i] for i in free.singles if _off(found[i], cells[:held], view, apart)]
    where = {cell: i for i, cell in enumerate(dict.fromkeys([*cells, *singles, *members]))}
    told = [
        _told(view, free, one, where)
        if held
        else replace(free.sets[i], picks=tuple(where[cell] for cell in one))
        for i, one in enumerate(sets)
    ]
    picks = picks_of(view, np.array(list(where), np.int64))
    return replace(free, picks=picks, singles=tuple(where[c] for c in singles), sets=tuple(told))


def _sets(view: Field, held: list[int], k: int) -> list[tuple[int, ...]]:
    """The cells held to, then one more at a time, until k or nothing is added."""
    chosen, sets = list(held), [tuple(held)]
    while len(chosen) < k and (more := _best_beside(view, chosen, len(held))) is not None:
        chosen.append(more)
        sets.append(tuple(chosen))
    return sets


def _best_beside(view: Field, chosen: list[int], held: int) -> int | None:
    """The cell that adds most, foliage counted; None when none adds anything.

    Foliage only takes away, so cells are looked at by falling gain without it until none left can be better.
    """
    cover = _cover(view, chosen, held)
    weight = view.targets.weight.astype(np.float64)
    most = view.reduced((cover * weight)[None], np.ones(1, np.bool_))[0].ravel()
    some = np.flatnonzero(most > 0.0)
    order = some[np.lexsort((some, -most[some]))]
    best, adds = None, 1e-9
    for start in range(0, order.size, AT_ONCE):
        cells = order[start : start + AT_ONCE]
        if most[cells[0]] <= adds:
            break
        gain = view.seen(cells)[1] * view.liking(cells)[:, None]
        true = np.maximum(gain - cover, 0.0) @ weight
        first = int(np.argmax(true))
        if true[first] > adds:
            best, adds = int(cells[first]), float(true[first])
    return best


def _cover(view: Field, chosen: list[int], held: int) -> NDArray[np.float64]:
    """What is seen already; a place that the person holds to is liked in full."""
    cells = np.array(chosen, np.int64)
    liking = view.liking(cells)
    liking[:held] = 1.0
    seen = view.seen(cells)[1] * liking[:, None]
    return np.asarray(seen.max(axis=0), np.float64)


def _off(cell: int, held: list[int], view: Field, apart: float) -> bool:
    rows, cols = np.divmod(np.array(held, np.int64), view.shape[1])
    row, col = divmod(cell, view.shape[1])
    return bool((np.hypot(rows - row, cols - col) >= apart).all())


def _bound(view: Field, free: Siting, cells: tuple[int, ...]) -> float:
    """No set with those of the cells that can't be sat on, and as many others as the cells are, sees more.

    What a set sees is at most the sum of what its parts see.
    """
    bad = [cell for cell in cells if not view.seat.eligible.flat[cell]]
    alone = overlap(view.seen(np.array(bad, np.int64))[1], view.targets.weight)[1] if bad else 0.0
    k = len(cells) - len(bad)
    known = [one.bound for one in free.sets if one.k == k]
    rest = min([*known, k * float(free.worth.max())])
    return min(alone + rest, float(view.targets.weight.sum()))


def _told(view: Field, free: Siting, cells: tuple[int, ...], where: dict[int, int]) -> PickedSet:
    """A set in terms of picks; nothing but the bound proves how good it is."""
    covered = overlap(view.seen(np.array(cells, np.int64))[1], view.targets.weight)[1]
    most = max(_bound(view, free, cells), covered)
    short = gap(covered, most) if most > 0 else 0.0
    return PickedSet(len(cells), tuple(where[c] for c in cells), covered, most, short, short, short)

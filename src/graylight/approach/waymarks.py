"""Places along a way that a walker looks out for: where it joins or leaves a path, and where it crosses water."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from graylight.approach.hazards import Steps
from graylight.reach.ground import OVER_BRIDGE, OVER_DEEP, OVER_FORD, OVER_STREAM, WalkGround

__all__ = ["Mark", "NamedPaths", "junctions", "water_crossings"]

Cells: TypeAlias = NDArray[np.int64]
Line: TypeAlias = NDArray[np.float64]

SHORT_M = 40.0
"""Shorter than this a stretch off a path, or on one, is the grid's, or a path that is only crossed."""
UNNAMED = -1
WATER = {
    OVER_STREAM: "water to be crossed",
    OVER_DEEP: "deep water under the path: a bridge or a ford, which of the two is not known",
    OVER_BRIDGE: "a bridge, as mapped",
    OVER_FORD: "a ford, as mapped",
}


@dataclass(frozen=True)
class NamedPaths:
    """Paths that have a name.

    Parameters
    ----------
    index
        (rows, cols) integers: 0 for none, else 1 + the index into `names`.
    names
        Their names.
    """

    index: NDArray[np.integer]
    names: tuple[str, ...]

    def name(self, number: int) -> str:
        """The name, or 'an unnamed path'."""
        return "an unnamed path" if number == UNNAMED else self.names[number - 1]


@dataclass(frozen=True)
class Mark:
    """One place along a way.

    Parameters
    ----------
    words
        What is met, in plain words.
    row, col
        Its cell.
    at_m, at_s
        Metres and walking seconds from where the way begins.
    """

    words: str
    row: int
    col: int
    at_m: float
    at_s: float


def junctions(
    rows: Cells, cols: Cells, along_m: Line, at_s: Line, ground: WalkGround, named: NamedPaths | None
) -> tuple[Mark, ...]:
    """Where a way joins, leaves, crosses or changes a path, in walking order.

    Parameters
    ----------
    rows, cols, along_m, at_s
        (n,), the cells of the way, with metres and seconds from its beginning.
    ground
        Says which cells are on a path.
    named
        Names of paths; None where no names are known.

    Notes
    -----
    A stretch shorter than 40 m off a path is passed over; one on a path is said as crossing it, but for one at
    either end of the way.
    """
    known = named or NamedPaths(np.zeros(ground.surface.shape, np.uint8), ())
    number = known.index[rows, cols].astype(np.int64)
    on = np.where(ground.surface[rows, cols] > 0, np.where(number > 0, number, UNNAMED), 0)
    long, short = _stretches(on, along_m)
    told = _changes(long, known) + [(a, f"crosses {known.name(path)}") for path, a in short if path != 0]
    return tuple(
        Mark(words, int(rows[a]), int(cols[a]), float(along_m[a]), float(at_s[a]))
        for a, words in sorted(told)
    )


_Stretches: TypeAlias = list[tuple[int, int]]


def _stretches(on: Cells, along_m: Line) -> tuple[_Stretches, _Stretches]:
    """Path number and first cell of each stretch: those that count, and those too short, the ends left out."""
    firsts = np.concatenate([[0], np.flatnonzero(np.diff(on)) + 1])
    ends = np.append(firsts[1:], on.size - 1)
    found = [(int(on[a]), int(a)) for a in firsts]
    counts = along_m[ends] - along_m[firsts] >= SHORT_M
    if not counts.any():
        return found[:1], []
    long = [stretch for stretch, fine in zip(found, counts, strict=True) if fine]
    if not counts[0]:  # what comes first is on the way from the start itself
        long[0] = long[0][0], 0
    return long, [found[i] for i in np.flatnonzero(~counts) if 0 < i < len(found) - 1]


def _changes(stretches: _Stretches, known: NamedPaths) -> list[tuple[int, str]]:
    """Cell and words of each change from one stretch to the next; the way may begin on a path."""
    first = stretches[0][0]
    told = [(0, f"begins on {known.name(first)}")] if first != 0 else []
    for (before, _), (after, a) in pairwise(stretches):
        if after == before:
            continue
        if before == 0:
            told.append((a, f"joins {known.name(after)}"))
        elif after == 0:
            told.append((a, f"leaves {known.name(before)}"))
        else:
            told.append((a, f"from {known.name(before)} onto {known.name(after)}"))
    return told


def water_crossings(steps: Steps, along_m: Line, ground: WalkGround) -> tuple[Mark, ...]:
    """Where a way goes over water, and by what: bridge, ford, or not known; each time apart."""
    told = []
    for code, words in WATER.items():
        here = np.flatnonzero(steps.any(ground.over_water == code))
        # a gap of one or two moves is the grid's, not a far bank
        firsts = here[np.concatenate([[True], np.diff(here) > 3])] if here.size else here
        told += [(int(i), words) for i in firsts]
    return tuple(
        Mark(
            words,
            int(steps.rows[i, 0]),
            int(steps.cols[i, 0]),
            float(along_m[i]),
            float(steps.start_s[i]),
        )
        for i, words in sorted(told)
    )

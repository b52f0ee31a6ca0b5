"""Tops and the saddles between them: prominence, key saddles, and who is whose neighbour."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from graylight.kernels.prominence import flood

__all__ = ["Col", "Flood", "Top", "flooded", "high_to_low", "saddles_between", "tops_of"]


@dataclass(frozen=True, slots=True)
class Top:
    """A local highest cell.

    Parameters
    ----------
    row, col, height_m
        Where, and how high.
    prominence_m
        Height above the key saddle, the highest ground over which higher ground is reached. With `at_least`
        a lower bound: height above the highest ground by which one could leave the known ground.
    at_least
        The key saddle may lie beyond the edge (of the raster or of known ground).
    key_row, key_col
        The key saddle, where it is known.
    """

    row: int
    col: int
    height_m: float
    prominence_m: float
    at_least: bool
    key_row: int | None
    key_col: int | None


@dataclass(frozen=True, slots=True)
class Col:
    """A saddle: the lowest ground on the ridge between two neighbouring tops.

    Parameters
    ----------
    row, col, height_m
        Where, and how high.
    higher, lower
        The two tops, as places in `Landforms.tops`, of which `Landforms.peaks` are the first.
    below_m
        How far the saddle lies below the lower of the two.
    """

    row: int
    col: int
    height_m: float
    higher: int
    lower: int
    below_m: float


@dataclass(frozen=True, slots=True)
class Flood:
    """Every top of a raster, numbered from the highest; see `kernels.prominence.flood`.

    Parameters
    ----------
    owner : (rows, cols) int32
        The top each cell leads up to; -1 unknown.
    cell, key, edge : (tops,) int64
        Flat indices of the top, its key saddle on this raster and where its way out to the edge is lowest;
        -1 none.
    sides : (tops, 2) int32
        The tops on both sides of the key saddle.
    height_m, drop_m, bound_m : (tops,) float64
        Height; height above the key saddle on this raster (inf: none); lower bound of the prominence,
        whatever lies beyond the edge.
    """

    owner: NDArray[np.int32]
    cell: NDArray[np.int64]
    key: NDArray[np.int64]
    edge: NDArray[np.int64]
    sides: NDArray[np.int32]
    height_m: NDArray[np.float64]
    drop_m: NDArray[np.float64]
    bound_m: NDArray[np.float64]


def high_to_low(elevation_m: NDArray[np.float32]) -> NDArray[np.int64]:
    """Flat indices of the known cells, highest first, equal heights by place (row, then column).

    >>> high_to_low(np.array([[1, 3], [np.nan, 3]], np.float32)).tolist()
    [1, 3, 0]
    """
    # + 0.0 turns -0.0 into 0.0; sorting one integer of height and place is several times faster than argsort
    bits = (elevation_m.ravel() + np.float32(0.0)).view(np.uint32)
    sign = np.uint32(0x80000000)
    rising = np.where(bits & sign, ~bits, bits | sign)
    keys = (~rising).astype(np.uint64) << np.uint64(32) | np.arange(bits.size, dtype=np.uint64)
    keys = keys[~np.isnan(elevation_m.ravel())]
    keys.sort()
    return (keys & np.uint64(0xFFFFFFFF)).astype(np.int64)


def flooded(elevation_m: NDArray[np.float32]) -> Flood:
    """Find every top with its key saddle by sorting cells high to low and joining them (union-find).

    Conventions: cells touch by side or corner; of a level top the first cell by place is the top. The
    highest top of a raster has no key saddle on it. Ground beyond the edge, and unknown ground, may be of
    any height, so a top is only sure to rise above the lowest cell on the highest way there: where that cell
    is higher than the key saddle found on the raster (or there is none), the prominence is a lower bound
    down to that cell.

    Parameters
    ----------
    elevation_m
        (rows, cols) float32, NaN for unknown.
    """
    rows, cols = elevation_m.shape
    # two tops never touch, so there is at most one in each 2 x 2 block
    most = ((rows + 1) // 2) * ((cols + 1) // 2)
    owner = np.full((rows, cols), -1, np.int32)
    cell, key, edge = (np.full(most, -1, np.int64) for _ in range(3))
    sides = np.full((most, 2), -1, np.int32)
    n = flood(elevation_m, high_to_low(elevation_m), owner, cell, key, sides, edge)
    cell, key, edge, sides = cell[:n], key[:n], edge[:n], sides[:n].copy()
    flat = elevation_m.ravel().astype(np.float64)
    height = flat[cell]
    drop = np.where(key >= 0, height - flat[key], np.inf)
    out = np.where(edge >= 0, height - flat[edge], np.inf)
    bound = np.minimum(drop, out)
    lowest = float(flat[~np.isnan(flat)].min()) if n else 0.0
    bound = np.where(np.isfinite(bound), bound, height - lowest)
    return Flood(owner, cell, key, edge, sides, height, drop, bound)


def tops_of(flood_: Flood, *, least_m: float) -> tuple[tuple[Top, ...], NDArray[np.int64]]:
    """Tops that rise at least so far above their saddle on this raster, most prominent first, ties by place.

    Returns
    -------
    tops
        What is known of each.
    number
        Its number in the flood, in the same order.
    """
    kept = np.flatnonzero(flood_.drop_m >= least_m)
    kept = kept[np.lexsort((flood_.cell[kept], -flood_.bound_m[kept]))]
    return tuple(_top(flood_, int(k)) for k in kept), kept


def _top(flood_: Flood, k: int) -> Top:
    cols = flood_.owner.shape[1]
    row, col = divmod(int(flood_.cell[k]), cols)
    at_least = bool(flood_.bound_m[k] < flood_.drop_m[k] or flood_.key[k] < 0)
    key_row, key_col = (None, None) if at_least else divmod(int(flood_.key[k]), cols)
    return Top(row, col, float(flood_.height_m[k]), float(flood_.bound_m[k]), at_least, key_row, key_col)


def saddles_between(
    flood_: Flood, tops: tuple[Top, ...], number: NDArray[np.int64], elevation_m: NDArray[np.float32]
) -> tuple[Col, ...]:
    """The saddles that part neighbouring tops, deepest first, ties by place.

    A saddle lies between the two tops reached from it by going up on either side; a top too small to count is
    passed over towards the top across its own saddle.
    """
    cols = elevation_m.shape[1]
    place = _territories(flood_, number)
    found = []
    for k in number:
        if flood_.key[k] < 0:
            continue
        row, col = divmod(int(flood_.key[k]), cols)
        pair = sorted(
            (int(place[side]) for side in flood_.sides[k]),
            key=lambda t: (-tops[t].height_m, tops[t].row, tops[t].col),
        )
        height = float(elevation_m[row, col])
        found.append(Col(row, col, height, pair[0], pair[1], tops[pair[1]].height_m - height))
    return tuple(sorted(found, key=lambda s: (-s.below_m, s.row, s.col)))


def _territories(flood_: Flood, number: NDArray[np.int64]) -> NDArray[np.int64]:
    """For every top of the flood, the place in the kept tops of the one whose ground it stands on."""
    place = np.full(flood_.cell.size, -1, np.int64)
    place[number] = np.arange(number.size)
    onward = np.where(place >= 0, np.arange(place.size), flood_.sides[:, 0])
    while True:  # each round doubles how far one looks along the chain of ever greater ground
        further = onward[onward]
        if np.array_equal(further, onward):
            return place[onward]
        onward = further

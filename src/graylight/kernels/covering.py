"""Maximal covering: gains over the whole grid, dominance, greedy, the Lagrangian dual, and branch and bound.

Church & ReVelle (1974), The maximal covering location problem, doi:10.1007/BF01942293; the dual follows
Cornuejols, Fisher & Nemhauser (1977), Location of bank accounts to optimize float, doi:10.1287/mnsc.23.8.789.

What is covered is sum_t max_{j in S} value[t, j], with value >= 0.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

__all__ = ["best_of", "dominated", "dual", "grid_gains", "marginals", "most"]

Bools = NDArray[np.bool_]
Bytes = NDArray[np.uint8]
Indices = NDArray[np.int64]
Places = NDArray[np.int32]
Single = NDArray[np.float32]
Double = NDArray[np.float64]


@njit(cache=True, nogil=True)
def _seen_along(window: Bytes, near: Single, weight: np.float32, out: Single) -> None:
    """Weighted gain along one row of a window: 0 blocked, 1 half, 2 whole, 3 outside and so nothing."""
    half = np.float32(0.5) * weight
    for i in range(window.shape[0]):
        code = window[i]
        out[i] = (half * near[i]) * (np.float32(code) if code < 3 else np.float32(0.0))


@njit(cache=True, nogil=True)
def _add_over_price(seen: NDArray[np.floating], price: float, add: Double) -> None:
    """Add what lies above the price."""
    for i in range(seen.shape[0]):
        over = seen[i] - price
        add[i] += over if over > 0.0 else 0.0


@njit(cache=True, nogil=True)
def grid_gains(
    windows: Bytes, near: Single, row: Places, col: Places, weight: Single, liking: Single, liked: Bools,
    price: Double, eligible: Bools, row0: int, row1: int, out: Double,
) -> None:  # fmt: skip
    """Reduced gain of every eligible cell, sum_t max(0, liking w_t g_t - price_t), for rows row0 to row1.

    Parameters
    ----------
    windows : (T, D, D) uint8
        How each target is seen from the cells around it: 0 blocked, 1 touch-and-go, 2 clear, 3 outside.
    near : (D, D) float32
        Worth of watching from that far.
    row, col : (T,) int32
    weight : (T,) float32
    liking : (rows, cols) float32
    liked : (M,) bool
        Whether the m-th price list takes liking into account.
    price : (M, T) float64
        Zero prices give the plain worth.
    eligible : (rows, cols) bool
    row0, row1 : int
        Rows to fill.
    out : (M, rows, cols) float64, out
        0 where not eligible. Sums run over the targets in their order.
    """
    lists, cols = price.shape[0], eligible.shape[1]
    radius = near.shape[0] // 2
    seen = np.empty(near.shape[0], np.float32)
    fond = np.empty(near.shape[0], np.float32)
    for r in range(row0, row1):
        out[:, r, :] = 0.0
        for t in range(row.shape[0]):
            down = r - row[t] + radius
            if down < 0 or down >= near.shape[0]:
                continue
            first = max(0, col[t] - radius)
            n = min(cols, col[t] + radius + 1) - first
            skip = first - col[t] + radius
            _seen_along(windows[t, down, skip : skip + n], near[down, skip : skip + n], weight[t], seen)
            for i in range(n):
                fond[i] = seen[i] * liking[r, first + i]
            for m in range(lists):
                _add_over_price(fond[:n] if liked[m] else seen[:n], price[m, t], out[m, r, first : first + n])
        for c in range(cols):
            if not eligible[r, c]:
                out[:, r, c] = 0.0


@njit(cache=True, nogil=True)
def dominated(value: Double, order: Indices, out: Bools) -> None:
    """Mark the columns that another column, earlier in the order, equals or beats everywhere.

    Parameters
    ----------
    value : (T, C) float64
    order : (C,) int64
        Columns by falling sum, ties by index.
    out : (C,) bool, out
    """
    for j in range(order.shape[0]):
        out[order[j]] = False
        for i in range(j):
            if out[order[i]]:
                continue
            beaten = True
            for t in range(value.shape[0]):
                if value[t, order[i]] < value[t, order[j]]:
                    beaten = False
                    break
            if beaten:
                out[order[j]] = True
                break


@njit(cache=True, nogil=True)
def marginals(value: Double, price: Double, out: Double) -> None:
    """Fill out[j] = sum_t max(0, value[t, j] - price[t]) for each column of value (T, C)."""
    for j in range(out.shape[0]):
        out[j] = 0.0
    for t in range(value.shape[0]):
        _add_over_price(value[t], price[t], out)


@njit(cache=True, nogil=True)
def most(gain: Double, first: int, k: int, picked: Indices) -> int:
    """Indices of the k columns of most gain from `first` on, most first, ties by index; returns how many."""
    n = 0
    for j in range(first, gain.shape[0]):
        if n == k and (k == 0 or gain[j] <= gain[picked[k - 1]]):
            continue
        i = n if n < k else k - 1
        while i > 0 and gain[picked[i - 1]] < gain[j]:
            picked[i] = picked[i - 1]
            i -= 1
        picked[i] = j
        n = min(n + 1, k)
    return n


@njit(cache=True, nogil=True)
def _slopes(value: Double, price: Double, top: Indices, out: Double) -> float:
    """Subgradient of the dual, 1 - how many of the top columns lie above each price; returns its square."""
    square = 0.0
    for t in range(value.shape[0]):
        out[t] = 1.0
        for i in range(top.shape[0]):
            if value[t, top[i]] > price[t]:
                out[t] -= 1.0
        if price[t] <= 0.0 and out[t] > 0.0:
            out[t] = 0.0  # the price would go below nothing
        square += out[t] * out[t]
    return square


@njit(cache=True, nogil=True)
def _dual_value(price: Double, rho: Double, top: Indices) -> float:
    """L(price) = sum_t price_t + the k largest reduced gains."""
    total = 0.0
    for t in range(price.shape[0]):
        total += price[t]
    for i in range(top.shape[0]):
        total += rho[top[i]]
    return total


@njit(cache=True, nogil=True)
def _copy(one: Double, other: Double) -> None:
    for i in range(one.shape[0]):  # an assignment of slices takes seconds to compile
        other[i] = one[i]


@njit(cache=True, nogil=True)
def dual(value: Double, k: int, lower: float, steps: int, price: Double) -> float:
    """Lower the Lagrangian bound by subgradient steps (Polyak's, aimed at a known lower bound).

    L(price) is an upper bound for any price >= 0; its least value is the bound of the linear relaxation.

    Parameters
    ----------
    value : (T, C) float64
    k : int
        At most C.
    lower : float
        Covered by the best set known.
    steps : int
    price : (T,) float64, in and out
        Where to start; the best prices found.

    Returns
    -------
    float
        The bound.
    """
    rho, slope, now = np.empty(value.shape[1]), np.empty(price.shape[0]), np.empty(price.shape[0])
    _copy(price, now)
    top = np.empty(k, np.int64)
    best, scale, idle = math.inf, 1.0, 0
    for _ in range(steps):
        marginals(value, now, rho)
        most(rho, 0, k, top)
        bound = _dual_value(now, rho, top)
        if bound < best - 1e-12:
            best, idle = bound, 0
            _copy(now, price)
        else:
            idle += 1
        if idle > 12:  # shorter steps, from the best prices
            scale, idle = scale * 0.6, 0
            _copy(price, now)
            continue
        square = _slopes(value, now, top, slope)
        if square == 0.0 or bound <= lower:
            break
        stride = scale * (bound - lower) / square
        for t in range(now.shape[0]):
            now[t] = max(0.0, now[t] - stride * slope[t])
    return best


@njit(cache=True, nogil=True)
def _cut(j: int, gain: Double, rho: Double, covered: float, paid: float, best: float, top: Indices) -> int:
    """Whether no set that goes on with column j, or (2) with any from j on, covers more than the best.

    top holds as many places as columns may follow j.
    """
    hope = paid
    for i in range(j, j + top.shape[0] + 1):
        hope += rho[i]
    if hope <= best:
        return 2
    reach = covered + gain[j]
    for i in range(most(gain, j + 1, top.shape[0], top)):
        reach += gain[top[i]]
    return 1 if reach <= best else 0


@njit(cache=True, nogil=True)
def best_of(
    value: Double, k: int, price: Double, rho: Double, floor: float, limit: int, chosen: Indices
) -> int:
    """Depth-first branch and bound over columns sorted by falling reduced gain.

    A branch is cut by the Lagrangian bound at the given prices and by the submodular bound (what is covered
    plus the largest marginal gains still to be had).

    Parameters
    ----------
    value : (T, C) float64
    k : int
        1 to C.
    price : (T,) float64
    rho : (C,) float64
        Reduced gains at these prices, falling.
    floor : float
        Only sets that cover more are looked for.
    limit : int
        Nodes at most.
    chosen : (k,) int64, out
        The best set; untouched when none covers more than the floor.

    Returns
    -------
    int
        Nodes used; limit + 1: nothing is proved.
    """
    n = value.shape[1]
    cover, gain = np.zeros((k, value.shape[0])), np.zeros((k, n))
    at, top = np.zeros(k, np.int64), np.empty(k, np.int64)
    covered, paid = np.zeros(k), np.zeros(k)  # by the columns above, and the Lagrangian bound's part for them
    for t in range(price.shape[0]):
        paid[0] += price[t]
    marginals(value, cover[0], gain[0])
    best, nodes, d = floor, 1, 0
    while d >= 0 and nodes <= limit:
        j, left = at[d], k - d
        if left == 1:
            last = most(gain[d], j, 1, top[:1])
            if last == 1 and covered[d] + gain[d, top[0]] > best:
                best = covered[d] + gain[d, top[0]]
                for i in range(d):
                    chosen[i] = at[i] - 1
                chosen[d] = top[0]
        cut = 2
        if left > 1 and j <= n - left:
            cut = _cut(j, gain[d], rho, covered[d], paid[d], best, top[: left - 1])
        at[d] = j + 1
        if cut == 2:
            d -= 1
        elif cut == 0:
            nodes += 1
            for t in range(value.shape[0]):
                cover[d + 1, t] = max(cover[d, t], value[t, j])
            marginals(value, cover[d + 1], gain[d + 1])
            covered[d + 1], paid[d + 1], at[d + 1] = covered[d] + gain[d, j], paid[d] + rho[j], j + 1
            d += 1
    return nodes

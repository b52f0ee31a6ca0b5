"""Least time holds on any ground: against scipy's Dijkstra on an explicit graph, and by what must not change.

The graph is built here from the words of the definition (a move costs its length times the mean, over the
cells it lies in, of pace at its slope times factor; every cell touched must be open), one edge at a time, and
solved by scipy.sparse.csgraph.dijkstra: another queue, another edge arithmetic, float64 throughout.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

from graylight.kernels.costpath import (
    EVERYWHERE,
    MOVE_COLS,
    MOVE_ROWS,
    NOT_REACHED,
    SOURCE,
    least_time,
    nodes,
    trace,
)

SLOPE_MIN, SLOPE_STEP = -1.0, 0.05
RELATIVE = 1e-6  # one rounding to float32, half an ulp is 6e-8


def steep_pace() -> NDArray[np.float32]:
    """Two made-up pace rows, uneven uphill and downhill, so that a turned sign shows."""
    slope = SLOPE_MIN + SLOPE_STEP * np.arange(41)
    return np.stack([1.0 + 3.0 * (slope + 0.1) ** 2, 0.7 + 2.0 * np.abs(slope + 0.05)]).astype(np.float32)


@dataclass(frozen=True)
class Land:
    z: NDArray[np.float32]
    factor: NDArray[np.float32]
    ground: NDArray[np.uint8]
    cell_m: float = 10.0

    def turned(self, how: str) -> Land:
        return replace(
            self, z=turn(self.z, how), factor=turn(self.factor, how), ground=turn(self.ground, how)
        )


def turn(array: NDArray, how: str) -> NDArray:
    """Turn or mirror an array."""
    turned = {
        "quarter": np.rot90(array),
        "half": np.rot90(array, 2),
        "flip": array[::-1],
        "transpose": array.T,
    }
    return np.ascontiguousarray(turned[how])


def land(seed: int, rows: int, cols: int, *, closed: float = 0.15, relief: float = 6.0) -> Land:
    rng = np.random.default_rng(seed)
    z = (rng.normal(size=(rows, cols)) * relief).astype(np.float32)
    factor = rng.choice([0.5, 1.0, 1.25, 2.0, 5.0], size=(rows, cols)).astype(np.float32)
    kind = rng.random((rows, cols))
    factor[kind < closed] = np.inf
    factor[kind < closed / 2] = np.nan
    z[(kind > closed / 2) & (kind < closed * 0.75)] = np.nan
    return Land(z, factor, (rng.random((rows, cols)) < 0.3).astype(np.uint8))


def solve(
    here: Land, sources: list[tuple[int, int, float]], *, toward=False, limit_s=math.inf, goals=EVERYWHERE
):
    seconds = np.full(here.z.shape, -9.0, np.float32)
    came = np.full(here.z.shape, 99, np.int8)
    rows, cols, gone = (np.array(column) for column in zip(*sources, strict=True))
    least_time(
        here.z,
        here.factor,
        here.ground,
        steep_pace(),
        SLOPE_MIN,
        SLOPE_STEP,
        here.cell_m,
        rows.astype(np.int64),
        cols.astype(np.int64),
        gone.astype(np.float64),
        limit_s,
        toward,
        goals,
        nodes(seconds.shape),
        seconds,
        came,
    )
    return seconds, came


def way(came, row, col):
    """Cells from a cell back to its source."""
    rows, cols = np.empty(came.size, np.int64), np.empty(came.size, np.int64)
    count = trace(came, row, col, rows, cols)
    return list(zip(rows[:count].tolist(), cols[:count].tolist(), strict=True))


def is_open(here: Land, r: int, c: int) -> bool:
    inside = 0 <= r < here.z.shape[0] and 0 <= c < here.z.shape[1]
    return inside and bool(np.isfinite(here.z[r, c]) and np.isfinite(here.factor[r, c]))


def move_cost(here: Land, r: int, c: int, dr: int, dc: int) -> float:
    """Seconds from (r, c) to (r + dr, c + dc); inf where the move is closed."""
    ends = [(r, c), (r + dr, c + dc)]
    if abs(dr) == 2:
        between = [(r + dr // 2, c), (r + dr // 2, c + dc)]
    elif abs(dc) == 2:
        between = [(r, c + dc // 2), (r + dr, c + dc // 2)]
    else:
        between = []
    corners = [(r + dr, c), (r, c + dc)] if abs(dr) == abs(dc) == 1 else []
    if not all(is_open(here, *cell) for cell in ends + between + corners):
        return math.inf
    length = math.hypot(dr, dc) * here.cell_m
    slope = (float(here.z[r + dr, c + dc]) - float(here.z[r, c])) / length
    column = SLOPE_MIN + SLOPE_STEP * np.arange(41)
    each = [
        np.interp(slope, column, steep_pace()[here.ground[cell]].astype(float)) * float(here.factor[cell])
        for cell in ends + between
    ]
    return length * float(np.mean(each))


def graph(here: Land) -> csr_array:
    rows, cols = here.z.shape
    start, stop, cost = [], [], []
    for r in range(rows):
        for c in range(cols):
            for dr, dc in zip(MOVE_ROWS.tolist(), MOVE_COLS.tolist(), strict=True):
                if is_open(here, r, c) and math.isfinite(seconds := move_cost(here, r, c, dr, dc)):
                    start.append(r * cols + c)
                    stop.append((r + dr) * cols + c + dc)
                    cost.append(seconds)
    return csr_array((cost, (start, stop)), shape=(rows * cols, rows * cols))


def truth(here: Land, sources: list[tuple[int, int, float]], *, toward=False) -> NDArray[np.float64]:
    rows, cols = here.z.shape
    edges = graph(here)
    best = np.full(rows * cols, np.inf)
    for r, c, gone in sources:
        if is_open(here, r, c):
            best = np.minimum(
                best, gone + dijkstra(edges.T.tocsr() if toward else edges, indices=r * cols + c)
            )
    return best.reshape(rows, cols)


def follow(here: Land, seconds, came, *, toward: bool) -> None:
    """Every traced way must add up to the cell's own time, move by move, along open moves only."""
    rows_out, cols_out = np.zeros(seconds.size, np.int64), np.zeros(seconds.size, np.int64)
    for r, c in np.argwhere(np.isfinite(seconds)):
        n = trace(came, r, c, rows_out, cols_out)
        assert n >= 1
        assert came[rows_out[n - 1], cols_out[n - 1]] == SOURCE
        cells = list(zip(rows_out[:n].tolist(), cols_out[:n].tolist(), strict=True))
        walked = cells if toward else cells[::-1]
        total = float(seconds[cells[-1]])
        for a, b in itertools.pairwise(walked):
            total += move_cost(here, *a, b[0] - a[0], b[1] - a[1])
        np.testing.assert_allclose(seconds[r, c], total, rtol=RELATIVE)


seeds = st.integers(0, 2**32 - 1)
sides = st.integers(1, 9)


@settings(max_examples=60, deadline=None)
@given(
    seed=seeds,
    rows=sides,
    cols=sides,
    toward=st.booleans(),
    relief=st.sampled_from([0.0, 1.0, 6.0, 40.0]),
    data=st.data(),
)
def test_equals_dijkstra_on_the_explicit_graph(seed, rows, cols, toward, relief, data):
    here = land(seed, rows, cols, relief=relief)
    spot = st.tuples(
        st.integers(0, rows - 1), st.integers(0, cols - 1), st.sampled_from([0.0, 0.0, 7.5, 90.0])
    )
    sources = data.draw(st.lists(spot, min_size=1, max_size=4))
    seconds, came = solve(here, sources, toward=toward)
    np.testing.assert_allclose(seconds, truth(here, sources, toward=toward), rtol=RELATIVE)
    np.testing.assert_array_equal(came == NOT_REACHED, np.isinf(seconds))
    follow(here, seconds, came, toward=toward)


@settings(max_examples=30, deadline=None)
@given(seed=seeds)
def test_exact_where_many_ways_are_nearly_equal(seed):
    """Nearly even ground, many late sources: here a lower bound only a little too high would lose ways."""
    rng = np.random.default_rng(seed)
    z = (rng.normal(size=(9, 9)) * 0.2 - np.arange(9) * 0.5).astype(np.float32)
    factor = (1.0 + 0.4 * rng.random((9, 9))).astype(np.float32)
    here = Land(z, factor, np.ones((9, 9), np.uint8))
    cells = rng.choice(81, 30, replace=False).tolist()
    sources = [
        (cell // 9, cell % 9, float(gone)) for cell, gone in zip(cells, rng.random(30) * 60, strict=True)
    ]
    seconds, _ = solve(here, sources)
    np.testing.assert_allclose(seconds, truth(here, sources), rtol=RELATIVE)


@settings(max_examples=15, deadline=None)
@given(seed=seeds, cheap=st.sampled_from([1e-3, 1e-2, 0.1]))
def test_exact_where_a_few_cells_are_far_cheaper_than_a_bucket(seed, cheap):
    """The queue's bucket is then wider than the cheapest move, and cells are taken again."""
    here = land(seed, 9, 9, closed=0.05)
    rng = np.random.default_rng(seed + 1)
    factor = np.where(rng.random((9, 9)) < 0.08, np.float32(cheap), here.factor).astype(np.float32)
    here = replace(here, factor=factor, z=np.nan_to_num(here.z))
    seconds, _ = solve(here, [(4, 4, 0.0), (0, 0, 3.0)])
    np.testing.assert_allclose(seconds, truth(here, [(4, 4, 0.0), (0, 0, 3.0)]), rtol=RELATIVE)


@settings(max_examples=15, deadline=None)
@given(seed=seeds, dear=st.sampled_from([1e3, 1e5, 1e7]))
def test_exact_where_a_few_cells_are_dearer_than_the_ring_is_long(seed, dear):
    """Labels then lie farther ahead than the ring of buckets reaches, and wait."""
    here = land(seed, 9, 9, closed=0.1)
    rng = np.random.default_rng(seed + 1)
    factor = np.where(
        (rng.random((9, 9)) < 0.5) & np.isfinite(here.factor), np.float32(dear), here.factor
    ).astype(np.float32)
    here = replace(here, factor=factor)
    seconds, _ = solve(here, [(4, 4, 0.0)])
    np.testing.assert_allclose(seconds, truth(here, [(4, 4, 0.0)]), rtol=RELATIVE)


@settings(max_examples=30, deadline=None)
@given(seed=seeds, how=st.sampled_from(["quarter", "half", "flip", "transpose"]), toward=st.booleans())
def test_turning_the_country_turns_the_answer(seed, how, toward):
    here = land(seed, 7, 12)
    mark = np.zeros(here.z.shape, bool)
    mark[2, 3] = mark[6, 11] = True
    plain, _ = solve(here, [(2, 3, 0.0), (6, 11, 0.0)], toward=toward)
    spots = [(int(r), int(c), 0.0) for r, c in np.argwhere(turn(mark, how))]
    turned, _ = solve(here.turned(how), spots, toward=toward)
    np.testing.assert_allclose(turned, turn(plain, how), rtol=RELATIVE)


@settings(max_examples=30, deadline=None)
@given(seed=seeds)
def test_toward_is_from_on_reversed_slopes(seed):
    """Going back over ground turned upside down costs what going out did: one graph edge, two readings."""
    here = land(seed, 8, 10)
    upside_down = replace(here, z=-here.z)
    out, out_came = solve(here, [(3, 4, 0.0)])
    back, back_came = solve(upside_down, [(3, 4, 0.0)], toward=True)
    np.testing.assert_array_equal(out, back)
    np.testing.assert_array_equal(out_came, back_came)


@settings(max_examples=20, deadline=None)
@given(seed=seeds)
def test_from_and_toward_agree_between_two_places(seed):
    here = land(seed, 8, 10)
    a, b = (1, 2), (6, 8)
    out, _ = solve(here, [(*a, 0.0)])
    home, _ = solve(here, [(*b, 0.0)], toward=True)
    np.testing.assert_allclose(out[b], home[a], rtol=RELATIVE)


@settings(max_examples=30, deadline=None)
@given(seed=seeds, where=st.integers(0, 79))
def test_a_closed_cell_never_shortens_a_way(seed, where):
    here = land(seed, 8, 10)
    before, _ = solve(here, [(3, 4, 0.0)])
    factor = here.factor.copy()
    factor.flat[where] = np.inf
    after, _ = solve(replace(here, factor=factor), [(3, 4, 0.0)])
    assert np.all(after >= before * (1 - RELATIVE))


@settings(max_examples=20, deadline=None)
@given(seed=seeds, up=st.sampled_from([-512.0, 1024.0, 2048.0]))
def test_raising_the_country_changes_nothing(seed, up):
    here = land(seed, 8, 10)
    z = np.round(here.z * 64) / 64  # so that float32 holds the raised heights exactly
    plain = solve(replace(here, z=z), [(3, 4, 0.0)])
    raised = solve(replace(here, z=(z + np.float32(up))), [(3, 4, 0.0)])
    np.testing.assert_array_equal(plain[0], raised[0])
    np.testing.assert_array_equal(plain[1], raised[1])


@settings(max_examples=20, deadline=None)
@given(seed=seeds, limit=st.floats(0.0, 200.0))
def test_the_limit_only_cuts(seed, limit):
    here = land(seed, 8, 10)
    whole, whole_came = solve(here, [(3, 4, 0.0)])
    cut, cut_came = solve(here, [(3, 4, 0.0)], limit_s=limit)
    inside = whole < limit * (1 - RELATIVE)
    np.testing.assert_array_equal(cut[inside], whole[inside])
    np.testing.assert_array_equal(cut_came[inside], whole_came[inside])
    assert np.all(np.isinf(cut[whole > limit * (1 + RELATIVE)]))


@given(seed=st.integers(0, 10**6), toward=st.booleans(), spare=st.sampled_from([1.0, 1.02, 1.5, math.inf]))
@settings(max_examples=60, deadline=None)
def test_goals_and_the_ways_to_them_are_those_of_a_whole_run(seed, toward, spare):
    """Whatever is left out for being asked only for some goals, under a limit or under none."""
    rng = np.random.default_rng(seed)
    here = land(seed, 40, 31, closed=rng.choice([0.0, 0.1, 0.3]))
    source = [(int(rng.integers(40)), int(rng.integers(31)), 0.0)]
    goals = np.stack([rng.integers(-2, 42, 5), rng.integers(-2, 33, 5)], axis=1)
    whole, whole_came = solve(here, source, toward=toward)
    inside = [(r, c) for r, c in goals.tolist() if 0 <= r < 40 and 0 <= c < 31 and np.isfinite(whole[r, c])]
    limit = spare * max((float(whole[cell]) for cell in inside), default=1.0) * (1 + 1e-6)
    part, came = solve(here, source, toward=toward, goals=goals, limit_s=limit)
    for cell in inside:
        assert part[cell] == whole[cell]
        assert way(came, *cell) == way(whole_came, *cell)
    assert np.isfinite(part).sum() <= np.isfinite(whole).sum()


def test_goals_spare_work():
    """On even ground a goal near the source is reached without going all over the country."""
    here = land(1, 60, 60, closed=0.0)
    part, _ = solve(here, [(30, 30, 0.0)], goals=np.array([[30, 33]]))
    assert 3 < np.isfinite(part).sum() < 600

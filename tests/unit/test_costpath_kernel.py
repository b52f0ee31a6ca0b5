"""The least-time kernel on small grids drawn by hand, compiled and with the compiler off."""

from __future__ import annotations

import json
import math
import os
import subprocess
import sys

import numpy as np
import pytest

from graylight.kernels.costpath import NOT_REACHED, SOURCE, least_time, nodes, trace


def drawn(picture: str) -> np.ndarray:
    """'.' open, '#' closed, digits: that many times slower."""
    signs = {".": 1.0, "#": np.inf}
    return np.array(
        [[signs.get(s) or float(s) for s in line.split()] for line in picture.strip().split("\n")]
    )


def run(factor, sources=((0, 0),), *, z=None, limit_s=np.inf, toward=False, gone=None, cell_m=10.0, goals=()):
    factor = np.asarray(factor, np.float32)
    z = np.zeros(factor.shape, np.float32) if z is None else np.asarray(z, np.float32)
    seconds, came = np.empty(factor.shape, np.float32), np.empty(factor.shape, np.int8)
    rows = np.array([s[0] for s in sources], np.int64)
    cols = np.array([s[1] for s in sources], np.int64)
    gone = np.zeros(len(sources)) if gone is None else np.asarray(gone, np.float64)
    pace = np.ones((1, 3), np.float32)
    ground = np.zeros(factor.shape, np.uint8)
    goals = np.array(goals, np.int64).reshape(-1, 2)
    least_time(
        z,
        factor,
        ground,
        pace,
        -1.0,
        1.0,
        cell_m,
        rows,
        cols,
        gone,
        limit_s,
        toward,
        goals,
        nodes(seconds.shape),
        seconds,
        came,
    )
    return seconds, came


def way(came, row, col):
    rows, cols = np.empty(came.size, np.int64), np.empty(came.size, np.int64)
    n = trace(came, row, col, rows, cols)
    return list(zip(rows[:n].tolist(), cols[:n].tolist(), strict=True))


def test_straight_diagonal_and_knight():
    seconds, _ = run(np.ones((3, 3)))
    root2, root5 = math.sqrt(2), math.sqrt(5)
    expected = [[0, 1, 2], [1, root2, root5], [2, root5, 2 * root2]]
    np.testing.assert_allclose(seconds, 10.0 * np.array(expected), rtol=1e-6)


def test_a_move_costs_the_mean_of_the_cells_it_lies_in():
    seconds, _ = run(drawn("1 4\n2 1"))
    assert seconds[0, 1] == pytest.approx(10 * (1 + 4) / 2)
    assert seconds[1, 1] == pytest.approx(10 * math.sqrt(2))  # the cells beside a diagonal do not count
    knight, _ = run(drawn("1 1 9\n9 1.3 1"))
    assert knight[1, 2] == pytest.approx(10 * math.sqrt(5) * (1 + 1 + 1.3 + 1) / 4)


def test_corners_are_never_crossed():
    """Four parcels meet: from the open one no way leads to the one across the corner."""
    seconds, came = run(drawn(". . # #\n. . # #\n# # . .\n# # . ."))
    assert np.isfinite(seconds[:2, :2]).all()
    assert np.isinf(seconds[2:, 2:]).all()
    assert (came[2:, 2:] == NOT_REACHED).all()


def test_a_diagonal_needs_both_cells_beside_it():
    seconds, _ = run(drawn(". #\n. ."))
    assert seconds[1, 1] == pytest.approx(20.0)


def test_a_knight_move_is_closed_by_either_cell_it_passes():
    open_way, _ = run(drawn(". . .\n. . ."))
    for picture in (". # .\n. . .", ". . .\n. # ."):
        seconds, _ = run(drawn(picture))
        assert seconds[1, 2] > open_way[1, 2] + 1.0


def test_a_wall_one_cell_thick_is_not_jumped():
    seconds, _ = run(drawn(". . # . .\n. . # . .\n. . # . ."))
    assert np.isinf(seconds[:, 3:]).all()


@pytest.mark.parametrize("closed", [np.nan, np.inf, 0.0, -1.0])
def test_what_is_closed(closed):
    factor = np.ones((1, 4))
    factor[0, 2] = closed
    seconds, _ = run(factor)
    assert np.isinf(seconds[0, 2:]).all()


def test_unknown_height_is_closed():
    z = np.zeros((1, 4))
    z[0, 2] = np.nan
    seconds, _ = run(np.ones((1, 4)), z=z)
    assert np.isinf(seconds[0, 2:]).all()


def test_closed_or_outside_sources_are_left_out():
    factor = np.ones((2, 3))
    factor[0, 0] = np.inf
    seconds, came = run(factor, sources=[(0, 0), (-1, 2), (2, 0), (0, 99)])
    assert np.isinf(seconds).all()
    assert (came == NOT_REACHED).all()


def test_no_source_at_all():
    seconds, came = run(np.ones((2, 2)), sources=[])
    assert np.isinf(seconds).all()
    assert (came == NOT_REACHED).all()


def test_one_cell():
    seconds, came = run(np.ones((1, 1)))
    assert seconds.tolist() == [[0.0]]
    assert came.tolist() == [[SOURCE]]
    assert way(came, 0, 0) == [(0, 0)]


def test_sources_begin_with_their_own_seconds():
    seconds, came = run(np.ones((1, 9)), sources=[(0, 0), (0, 8), (0, 0)], gone=[30.0, 0.0, 50.0])
    np.testing.assert_allclose(seconds[0], [30, 40, 50, 50, 40, 30, 20, 10, 0])
    assert came[0, 0] == SOURCE


def test_a_late_source_is_overtaken_by_an_early_one():
    seconds, came = run(np.ones((1, 4)), sources=[(0, 0), (0, 3)], gone=[0.0, 1e6])
    np.testing.assert_allclose(seconds[0], [0, 10, 20, 30])
    assert came[0, 3] != SOURCE
    assert way(came, 0, 3)[-1] == (0, 0)


def test_of_equal_ways_the_one_by_the_first_cell_is_kept():
    """From a source on either side the middle is equally far: the way comes from the lesser column or row."""
    _, came = run(np.ones((1, 5)), sources=[(0, 4), (0, 0)])
    assert way(came, 0, 2)[-1] == (0, 0)
    _, came = run(np.ones((5, 1)), sources=[(4, 0), (0, 0)])
    assert way(came, 2, 0)[-1] == (0, 0)


def test_the_limit():
    seconds, came = run(np.ones((1, 5)), limit_s=20.0)
    assert np.isfinite(seconds[0]).tolist() == [True, True, True, False, False]
    assert came[0, 3] == NOT_REACHED


def test_trace_of_what_is_not_reached_is_empty():
    _, came = run(drawn(". # ."))
    assert way(came, 0, 2) == []


def test_trace_that_does_not_fit_is_empty():
    _, came = run(np.ones((1, 9)))
    assert trace(came, 0, 8, np.empty(3, np.int64), np.empty(3, np.int64)) == 0


def test_toward_traces_in_walking_order():
    _, came = run(np.ones((1, 4)), toward=True)
    assert way(came, 0, 3) == [(0, 3), (0, 2), (0, 1), (0, 0)]


def test_many_sources_fill_many_buckets():
    """Enough sources that the queue has to be made longer before it begins."""
    sources = [(r, c) for r in range(60) for c in range(60)]
    seconds, _ = run(np.ones((60, 60)), sources=sources, gone=np.arange(3600.0) * 5000.0)
    assert np.isfinite(seconds).all()
    assert seconds[0, 0] == 0.0


SCRIPT = """
import json, sys
import numpy as np
from graylight.kernels.costpath import EVERYWHERE, least_time, nodes, trace
rng = np.random.default_rng(5)
shape = (14, 19)
z = (rng.normal(size=shape) * 5).astype(np.float32)
factor = rng.choice([1.0, 2.0, 0.01, np.inf], p=[0.5, 0.3, 0.05, 0.15], size=shape).astype(np.float32)
factor[4, 4] = 1.0
ground = (rng.random(shape) < 0.3).astype(np.uint8)
pace = (1.0 + rng.random((2, 41))).astype(np.float32)
seconds, came = np.empty(shape, np.float32), np.empty(shape, np.int8)
one = np.array([4])
frame = (pace, -1.0, 0.05, 10.0, one, one, np.zeros(1), np.inf, False, EVERYWHERE, nodes(shape))
least_time(z, factor, ground, *frame, seconds, came)
rows, cols = np.empty(99, np.int64), np.empty(99, np.int64)
far = np.unravel_index(np.argmax(np.where(np.isfinite(seconds), seconds, -1)), shape)
n = trace(came, int(far[0]), int(far[1]), rows, cols)
print(json.dumps([seconds.astype(float).ravel().tolist(), came.tolist(), int(n), rows[:n].tolist()]))
"""


def test_the_same_answer_with_the_compiler_off():
    answers = []
    for off in ("0", "1"):
        done = subprocess.run(
            [sys.executable, "-c", SCRIPT],
            env={**os.environ, "NUMBA_DISABLE_JIT": off},
            capture_output=True,
            text=True,
            check=True,
        )
        answers.append(json.loads(done.stdout))
    assert answers[0][2] > 3
    np.testing.assert_allclose(answers[0][0], answers[1][0], rtol=1e-6)
    assert answers[0][1:] == answers[1][1:]

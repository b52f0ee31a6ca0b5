"""Own places among the siting's, against every possible choice counted out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from graylight.plan.kept import Kept, fingerprint
from graylight.siting.field import Seat, Targets, field
from graylight.siting.held import with_held
from graylight.siting.lookouts import siting

RADIUS, ROWS, COLS = 9, 12, 15


@pytest.fixture
def view():
    """Random answers on a small grid; a fifth of it can't be sat on."""
    draw = np.random.default_rng(5)
    n = 14
    pocket = np.repeat([0, 1], n // 2).astype(np.int32)
    weight = draw.random(n).astype(np.float32)
    targets = Targets(
        draw.integers(0, ROWS, n).astype(np.int32), draw.integers(0, COLS, n).astype(np.int32), weight / weight.sum(), pocket
    )  # fmt: skip
    seat = Seat(draw.random((ROWS, COLS)) > 0.2, draw.random((ROWS, COLS)).astype(np.float32))
    seen = draw.choice(np.array([0, 1, 2], np.uint8), (n, 2 * RADIUS + 1, 2 * RADIUS + 1), p=[0.6, 0.2, 0.2])
    worth = np.linspace(1.0, 0.4, RADIUS + 2).astype(np.float32)
    return field(seen, targets, seat, worth)


@pytest.fixture
def free(view):
    return siting(
        view.windows,
        view.targets,
        view.seat,
        np.linspace(1.0, 0.4, RADIUS + 2).astype(np.float32),
        cell_m=30.0,
        k=3,
    )


def likely(view):
    return view.seen(np.arange(ROWS * COLS))[1].astype(float)


def covered(view, cells):
    return float(likely(view)[list(cells)].max(axis=0) @ view.targets.weight)


def cell_of(pick):
    return pick.row * COLS + pick.col


def a_place(view, *, suited):
    rows, cols = np.nonzero(view.seat.eligible == suited)
    return int(rows[3]), int(cols[3])


def test_the_next_place_beside_a_held_one_is_the_best_of_all(view, free):
    row, col = a_place(view, suited=True)
    found = with_held(view, free, [(row, col)], held=1, k=2, apart=2.0)
    assert cell_of(found.picks[0]) == row * COLS + col
    assert found.sets[0].picks == (0,)
    seen, liking = likely(view), view.seat.liking.ravel()
    cover = seen[row * COLS + col]
    adds = np.maximum(seen * liking[:, None] - cover, 0) @ view.targets.weight
    adds[~view.seat.eligible.ravel()] = 0
    assert cell_of(found.picks[found.sets[1].picks[1]]) == int(np.argmax(adds))


@pytest.mark.parametrize("suited", [True, False])
def test_covered_is_what_is_seen_and_no_choice_sees_more_than_the_bound(view, free, suited):
    """Every pair and triple with the held place, by brute force."""
    place = a_place(view, suited=suited)
    mine = place[0] * COLS + place[1]
    found = with_held(view, free, [place], held=1, k=3, apart=2.0)
    able = np.flatnonzero(view.seat.eligible.ravel())
    seen = likely(view)
    for one in found.sets:
        cells = [cell_of(found.picks[i]) for i in one.picks]
        assert mine in cells
        assert one.covered == pytest.approx(covered(view, cells), rel=1e-6)
        assert one.gap == pytest.approx(1 - one.covered / one.bound, abs=1e-9)
    pairs = np.maximum(seen[able], seen[mine])
    best_pair = float((pairs @ view.targets.weight).max())
    triples = max(float((np.maximum(pairs, p) @ view.targets.weight).max()) for p in pairs)
    assert found.sets[1].bound >= best_pair - 1e-9
    assert found.sets[2].bound >= triples - 1e-9
    assert found.sets[1].covered <= best_pair + 1e-6


def test_places_not_held_to_change_no_set(view, free):
    place = a_place(view, suited=False)
    found = with_held(view, free, [place], held=0, k=3, apart=2.0)
    assert cell_of(found.picks[0]) == place[0] * COLS + place[1]
    told = [(one.covered, one.bound, [cell_of(found.picks[i]) for i in one.picks]) for one in found.sets]
    before = [(one.covered, one.bound, [cell_of(free.picks[i]) for i in one.picks]) for one in free.sets]
    assert told == before
    assert found.picks[0].worth == pytest.approx(covered(view, [place[0] * COLS + place[1]]), rel=1e-6)


def test_more_held_than_a_set_may_have_are_all_in_it(view, free):
    places = [(0, 0), (5, 5), (11, 14), (2, 9)]
    found = with_held(view, free, places, held=4, k=3, apart=2.0)
    assert [one.picks for one in found.sets] == [(0, 1, 2, 3)]


def test_singles_beside_a_held_place_are_left_out(view, free):
    best = free.picks[free.singles[0]]
    found = with_held(view, free, [(best.row, best.col)], held=1, k=1, apart=4.0)
    away = [np.hypot(found.picks[i].row - best.row, found.picks[i].col - best.col) for i in found.singles]
    assert all(far >= 4.0 for far in away)


# --- kept results --------------------------------------------------------------------------------------------------


def test_a_result_is_kept_as_long_as_its_key():
    kept, done = Kept(), []

    def work():
        done.append(1)
        return object()

    first = kept.get("stage", "a", work)
    assert kept.get("stage", "a", work) is first
    assert kept.get("other", "a", work) is not first
    assert kept.get("stage", "b", work) is not first
    assert kept.get("stage", "a", work) is not first  # the last one only
    assert len(done) == 4


def test_a_stage_that_is_stopped_leaves_nothing_kept():
    kept = Kept()
    kept.get("stage", "a", lambda: 1)
    with pytest.raises(ZeroDivisionError):
        kept.get("stage", "b", lambda: 1 // 0)
    assert kept.get("stage", "a", lambda: 2) == 2


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ((1,), ("1",)), ((1,), (1.0,)), ((True,), (1,)), (("ab", ""), ("a", "b")), ((["a"], "b"), (["a", "b"],)),
        ((None,), ("None",)), (({"a": 1},), ({"a": 2},)), ((0.1,), (0.1000001,)), (([],), ()),
        ((np.zeros(4, np.float32),), (np.zeros(4, np.float64),)), ((np.zeros((2, 2)),), (np.zeros(4),)),
        ((np.array([0.0]),), (np.array([-0.0]),)),
    ],
)  # fmt: skip
def test_fingerprints_differ_where_inputs_do(one, other):
    assert fingerprint(*one) == fingerprint(*one)
    assert fingerprint(*one) != fingerprint(*other)


def test_fingerprints_do_not_hang_on_the_order_of_keys_or_on_memory_order():
    assert fingerprint({"a": 1, "b": 2}) == fingerprint({"b": 2, "a": 1})
    square = np.arange(9.0).reshape(3, 3)
    assert fingerprint(square) == fingerprint(np.asfortranarray(square))

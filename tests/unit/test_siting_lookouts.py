"""Lookouts on drawn and small invented ground, against sums written out slowly."""

from __future__ import annotations

from itertools import combinations, pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from graylight.errors import BadInput, Cancelled
from graylight.siting.field import peaks
from graylight.siting.lookouts import Seat, Targets, siting

LIKELY = {0: 0.0, 1: 0.5, 2: 1.0, 3: 0.0}


def drawn(picture: list[str]) -> np.ndarray:
    """A window from rows of '.', '?', '#' and ' ': blocked, touch-and-go, clear, outside."""
    return np.array([[".?# ".index(c) for c in line] for line in picture], np.uint8)


def at(*places: tuple[int, int], weight: float = 0.1) -> Targets:
    row, col = np.array(places, np.int32).T
    return Targets(row, col, np.full(len(row), weight, np.float32), np.zeros(len(row), np.int32))


def open_ground(rows: int, cols: int) -> Seat:
    return Seat(np.ones((rows, cols), bool), np.ones((rows, cols), np.float32))


def slowly(windows, targets, seat, worth_of_distance, *, answer):
    """(rows, cols, T) weighted gain, cell by cell, straight from the definition."""
    radius = windows.shape[1] // 2
    rows, cols = seat.eligible.shape
    out = np.zeros((rows, cols, len(targets.row)))
    for r in range(rows):
        for c in range(cols):
            for t in range(len(targets.row)):
                dr, dc = r - int(targets.row[t]), c - int(targets.col[t])
                if seat.eligible[r, c] and abs(dr) <= radius and abs(dc) <= radius:
                    far = np.interp(
                        np.hypot(dr, dc), np.arange(len(worth_of_distance)), worth_of_distance, right=0
                    )
                    out[r, c, t] = targets.weight[t] * far * answer[int(windows[t, dr + radius, dc + radius])]
    return out


def some_ground(seed: int, *, rows: int = 9, cols: int = 7, n: int = 6, radius: int = 4):
    rng = np.random.default_rng(seed)
    side = 2 * radius + 1
    windows = rng.choice([0, 1, 2, 3], (n, side, side), p=[0.6, 0.15, 0.2, 0.05]).astype(np.uint8)
    targets = Targets(
        rng.integers(0, rows, n).astype(np.int32), rng.integers(0, cols, n).astype(np.int32),
        rng.uniform(0.02, 0.15, n).astype(np.float32), np.arange(n, dtype=np.int32) // 2,
    )  # fmt: skip
    seat = Seat(rng.random((rows, cols)) < 0.7, rng.uniform(0.5, 1.0, (rows, cols)).astype(np.float32))
    distance = np.concatenate([[0.2, 0.7], np.linspace(1.0, 0.3, radius)]).astype(np.float32)
    return windows, targets, seat, distance


def test_one_window_is_laid_around_its_target():
    windows = drawn([
        ".?#",
        "..#",
        " ..",
    ])[None]  # fmt: skip
    found = siting(windows, at((2, 2)), open_ground(5, 4), np.ones(3, np.float32), cell_m=10, k=1)
    worth = np.zeros((5, 4))
    worth[1, 2], worth[1, 3], worth[2, 3] = 0.05, 0.1, 0.1
    np.testing.assert_allclose(found.worth, worth, atol=1e-7)
    best = found.picks[0]
    assert (best.row, best.col) == (1, 3)  # of two alike the one that stands first
    assert (best.low, best.worth, best.high) == pytest.approx((0.1, 0.1, 0.1))


def test_a_window_hangs_over_the_edge():
    windows = np.full((1, 5, 5), 2, np.uint8)
    found = siting(windows, at((0, 3)), open_ground(2, 4), np.ones(4, np.float32), cell_m=10, k=1)
    np.testing.assert_allclose(found.worth, [[0, 0.1, 0.1, 0.1], [0, 0.1, 0.1, 0.1]], atol=1e-7)


def test_touch_and_go_makes_low_and_high():
    windows = drawn(["?"])[None]
    found = siting(windows, at((0, 0)), open_ground(1, 1), np.ones(2, np.float32), cell_m=10, k=1)
    assert (found.picks[0].low, found.picks[0].worth, found.picks[0].high) == pytest.approx((0.0, 0.05, 0.1))


def test_far_corners_of_a_window_are_worth_nothing():
    windows = np.full((1, 7, 7), 2, np.uint8)
    found = siting(windows, at((3, 3)), open_ground(7, 7), np.ones(5, np.float32), cell_m=10, k=1)
    assert found.worth[0, 0] == 0.0  # 4.24 cells off, the last distance given is 4
    assert found.worth[0, 1] == pytest.approx(0.1)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_worth_is_the_sum_over_targets(seed):
    windows, targets, seat, distance = some_ground(seed)
    found = siting(windows, targets, seat, distance, cell_m=10, k=2)
    slow = slowly(windows, targets, seat, distance, answer=LIKELY).sum(axis=2)
    np.testing.assert_allclose(found.worth, slow, atol=1e-6)
    for answer, name in (({**LIKELY, 1: 0.0}, "low"), (LIKELY, "worth"), ({**LIKELY, 1: 1.0}, "high")):
        slow = slowly(windows, targets, seat, distance, answer=answer).sum(axis=2)
        for pick in found.picks:
            assert getattr(pick, name) == pytest.approx(slow[pick.row, pick.col], abs=1e-6)
    assert all(p.low <= p.worth <= p.high for p in found.picks)


@given(st.integers(0, 10_000), st.integers(1, 3))
@settings(deadline=None, max_examples=40)
def test_the_bound_holds_over_every_cell(seed, k):
    """Every set of k cells is tried: none sees more than the bound, none is better by liking than said."""
    windows, targets, seat, distance = some_ground(seed, rows=5, cols=4)
    found = siting(windows, targets, seat, distance, cell_m=10, k=k, shortlist=4)
    gain = slowly(windows, targets, seat, distance, answer=LIKELY).reshape(20, -1)
    liked = gain * seat.liking.reshape(20, 1)
    for one in found.sets:
        most = max(gain[list(s)].max(axis=0).sum() for s in combinations(range(20), one.k))
        best = max(liked[list(s)].max(axis=0).sum() for s in combinations(range(20), one.k))
        cells = [found.picks[i].row * 4 + found.picks[i].col for i in one.picks]
        assert len(set(cells)) == one.k
        assert one.covered == pytest.approx(gain[cells].max(axis=0).sum(), abs=1e-6)
        assert one.bound >= most - 1e-6
        assert one.gap == pytest.approx(1 - one.covered / one.bound, abs=1e-6)
        assert liked[cells].max(axis=0).sum() >= (1 - one.choice_gap) * best - 1e-6


@given(st.integers(0, 10_000))
@settings(deadline=None, max_examples=20)
def test_sets_are_near_the_best_of_every_cell(seed):
    """However short the shortlist was, the best pair is found to within what is let go."""
    windows, targets, seat, distance = some_ground(seed, rows=6, cols=5)
    seat = Seat(seat.eligible, np.ones_like(seat.liking))
    gain = slowly(windows, targets, seat, distance, answer=LIKELY).reshape(30, -1)
    for one in siting(windows, targets, seat, distance, cell_m=10, k=2, shortlist=2).sets:
        best = max(gain[list(s)].max(axis=0).sum() for s in combinations(range(30), one.k))
        assert one.covered >= 0.988 * best  # 1 % at which no more cells are taken in, 0.2 % for shared places


@pytest.mark.parametrize("seed", range(6))
def test_more_lookouts_never_see_less(seed):
    windows, targets, seat, distance = some_ground(seed, rows=14, cols=12, n=12)
    sets = siting(windows, targets, seat, distance, cell_m=10, k=4).sets
    assert [s.k for s in sets] == list(range(1, len(sets) + 1))
    assert all(a.covered <= b.covered + 1e-9 and a.bound <= b.bound + 1e-6 for a, b in pairwise(sets))


@pytest.mark.parametrize("seed", [702, 1189])
def test_liking_never_makes_a_larger_set_see_less(seed):
    """Invented ground on which the pair of most worth times liking sees less than the best single does."""
    windows, targets, seat, distance = some_ground(seed, rows=6, cols=5)
    one, two, *_ = siting(windows, targets, seat, distance, cell_m=10, k=3).sets
    gain = slowly(windows, targets, seat, distance, answer=LIKELY).reshape(30, -1)
    liked = gain * seat.liking.reshape(30, 1)
    best = max(combinations(range(30), 2), key=lambda s: liked[list(s)].max(axis=0).sum())
    assert gain[list(best)].max(axis=0).sum() < one.covered
    assert two.covered >= one.covered
    assert two.choice_gap > 0.01  # and what that costs is said


def test_the_best_single_is_the_set_of_one_and_stands_first():
    windows, targets, seat, distance = some_ground(5)
    found = siting(windows, targets, seat, distance, cell_m=10, k=3)
    ranked = found.worth * seat.liking
    assert found.singles[0] == 0
    assert found.sets[0].picks == (0,)
    assert ranked[found.picks[0].row, found.picks[0].col] == pytest.approx(ranked.max())
    assert found.sets[0].bound == pytest.approx(found.worth.max())
    assert len({(p.row, p.col) for p in found.picks}) == len(found.picks)


@pytest.mark.parametrize("seed", range(8))
def test_the_best_single_is_the_best_with_foliage_counted(seed):
    """Foliage takes away from the windows' answers: the pick and its worth are those of every cell tried."""
    windows, targets, seat, distance = some_ground(seed, rows=14, cols=12, n=8)
    rng = np.random.default_rng(seed)
    through = np.sort(rng.random((3, 14 * 12, 8)).astype(np.float32), axis=0)

    def light(cells, wanted):
        return np.where(wanted, through[:, cells], np.float32(0))

    found = siting(windows, targets, seat, distance, cell_m=10, k=2, light=light)
    plain = (
        slowly(windows, targets, seat, np.ones_like(distance), answer=LIKELY).reshape(-1, 8) / targets.weight
    )
    far = slowly(windows, targets, seat, distance, answer={0: 1.0, 1: 1.0, 2: 1.0, 3: 1.0}).reshape(-1, 8)
    true = (np.minimum(plain, through[1]) * far).sum(axis=1)
    best = int(np.argmax(true * seat.liking.ravel()))
    assert (found.picks[found.sets[0].picks[0]].row, found.picks[found.sets[0].picks[0]].col) == divmod(
        best, 12
    )
    for pick in found.picks:
        assert pick.worth == pytest.approx(true[pick.row * 12 + pick.col], abs=1e-6)
    assert all(one.bound >= one.covered for one in found.sets)


def test_liking_ranks_but_is_not_seen():
    windows = drawn(["##"])[:, :1].repeat(3, axis=0).repeat(3, axis=1)[None]  # all clear, 3 x 3
    seat = Seat(np.ones((3, 3), bool), np.full((3, 3), 0.5, np.float32))
    seat.liking[2, 1] = 0.9
    found = siting(windows, at((1, 1)), seat, np.ones(3, np.float32), cell_m=10, k=1)
    assert (found.picks[0].row, found.picks[0].col) == (2, 1)
    assert found.picks[0].worth == pytest.approx(0.1)
    assert found.picks[0].liking == pytest.approx(0.9)
    assert found.sets[0].covered == pytest.approx(0.1)


def test_singles_differ_in_place_and_in_view():
    windows, targets, seat, distance = some_ground(8, rows=24, cols=20, n=20)
    found = siting(windows, targets, seat, distance, cell_m=10, k=2, apart_m=40)
    singles = [found.picks[i] for i in found.singles]
    gain = slowly(windows, targets, seat, distance, answer=LIKELY)
    assert len(singles) > 1
    for a, b in combinations(singles, 2):
        assert np.hypot(a.row - b.row, a.col - b.col) * 10 >= 40
        both = np.minimum(gain[a.row, a.col], gain[b.row, b.col]).sum()
        either = np.maximum(gain[a.row, a.col], gain[b.row, b.col]).sum()
        assert both < 0.75 * either + 1e-6


def test_a_lookout_that_adds_nothing_is_not_given():
    windows = np.full((2, 3, 3), 2, np.uint8)
    found = siting(windows, at((1, 1), (1, 2)), open_ground(3, 4), np.ones(3, np.float32), cell_m=10, k=3)
    assert [s.k for s in found.sets] == [1]
    assert found.sets[0].covered == pytest.approx(0.2)


@pytest.mark.parametrize("why", ["no target", "nowhere to sit", "no weight", "no sight", "no liking"])
def test_nothing_to_site(why):
    windows, targets, seat, distance = some_ground(1)
    if why == "no target":
        targets = Targets(*(a[:0] for a in (targets.row, targets.col, targets.weight, targets.pocket)))
        windows = windows[:0]
    elif why == "nowhere to sit":
        seat = Seat(np.zeros_like(seat.eligible), seat.liking)
    elif why == "no weight":
        targets = Targets(targets.row, targets.col, 0 * targets.weight, targets.pocket)
    elif why == "no sight":
        windows = 0 * windows
    else:
        seat = Seat(seat.eligible, np.full_like(seat.liking, np.nan))
    found = siting(windows, targets, seat, distance, cell_m=10, k=3)
    assert (found.picks, found.singles, found.sets) == ((), (), ())
    assert found.worth.shape == seat.eligible.shape
    assert found.worth.dtype == np.float32


def test_the_same_input_gives_the_same_answer():
    windows, targets, seat, distance = some_ground(9, rows=80, cols=70, n=20, radius=20)
    first = siting(windows, targets, seat, distance, cell_m=10, k=3)
    second = siting(windows, targets, seat, distance, cell_m=10, k=3)
    assert first.picks == second.picks
    assert first.sets == second.sets
    assert first.worth.tobytes() == second.worth.tobytes()


def test_progress_rises_to_the_end_and_can_be_stopped():
    windows, targets, seat, distance = some_ground(3)
    told: list[float] = []
    siting(windows, targets, seat, distance, cell_m=10, k=2, tick=told.append)
    assert told == sorted(told)
    assert told[-1] == 1.0

    def stop(fraction: float) -> None:
        raise Cancelled("stopped")

    with pytest.raises(Cancelled):
        siting(windows, targets, seat, distance, cell_m=10, k=2, tick=stop)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"windows": np.zeros((6, 8, 8), np.uint8)}, "odd side"),
        ({"windows": np.zeros((5, 9, 9), np.uint8)}, "for 6 targets"),
        ({"distance_worth": np.ones(3, np.float32)}, "3 distances"),
        ({"seat": Seat(np.ones((9, 7), bool), np.ones((7, 9), np.float32))}, "one shape"),
        ({"k": 0}, "a set of 0"),
    ],
)
def test_bad_input_is_told(change, said):
    windows, targets, seat, distance = some_ground(1)
    given_ = {
        "windows": windows,
        "targets": targets,
        "seat": seat,
        "distance_worth": distance,
        "k": 2,
        **change,
    }
    with pytest.raises(BadInput, match=said):
        siting(**given_, cell_m=10)


def test_peaks_stand_apart():
    values = np.array([[1, 9, 2, 2, 7], [8, 3, 2, 2, 0], [5, 5, 0, 0, 9]], float)
    cells = peaks(values, 10, apart=2)
    # the 8 lies 1.41 from the first 9, one 5 lies 1.00 from the other
    assert [divmod(int(c), 5) for c in cells] == [(0, 1), (2, 4), (0, 4), (2, 0)]
    assert len(peaks(values, 2, apart=2)) == 2
    assert len(peaks(values, 10, apart=2, above=5.0)) == 3
    assert [divmod(int(c), 5) for c in peaks(values, 3, apart=1)] == [(0, 1), (2, 4), (1, 0)]


@given(st.integers(0, 10_000), st.floats(1.0, 6.0), st.integers(1, 3))
@settings(max_examples=40)
def test_peaks_are_the_greedy_ones_and_turn_with_the_values(seed, apart, quarters):
    """Against the definition written out: take the most, strike out all nearer than the distance, again."""
    values = np.random.default_rng(seed).random((11, 14))
    row, col = np.indices(values.shape)
    left, slow = values.copy(), []
    while len(slow) < 8 and left.max() > 0.2:
        r, c = np.unravel_index(np.argmax(left), left.shape)
        slow.append(int(r * 14 + c))
        left[np.hypot(row - r, col - c) < apart] = -1.0
        left[r, c] = -1.0
    assert peaks(values, 8, apart=apart, above=0.2).tolist() == slow
    turned = peaks(np.ascontiguousarray(np.rot90(values, quarters)), 8, apart=apart, above=0.2)
    numbers = np.rot90(np.arange(11 * 14).reshape(11, 14), quarters).ravel()
    assert numbers[turned].tolist() == slow

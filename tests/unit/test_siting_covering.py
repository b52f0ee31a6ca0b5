"""Covering: odd input, ties, limits."""

from __future__ import annotations

import numpy as np
import pytest

from graylight.errors import BadInput
from graylight.siting.covering import best_cover


def test_more_asked_for_than_there_are():
    cover = best_cover([[1, 0, 0], [0, 1, 0]], [1, 2, 4], 5)
    assert cover.chosen == (1, 0)  # the one that covers most first
    assert cover.covered == 3.0
    assert cover.gap == 0.0


def test_a_member_that_adds_nothing_is_left_out():
    cover = best_cover([[1, 1], [1, 0], [0, 1]], [1, 1], 2)
    assert cover.chosen == (0,)
    assert cover.covered == 2.0


def test_ties_go_to_the_candidate_that_stands_first():
    assert best_cover([[1, 0], [1, 0], [0, 1], [0, 1]], [1, 1], 2).chosen == (0, 2)


@pytest.mark.parametrize("gain", [np.zeros((3, 4)), np.zeros((0, 4)), np.zeros((3, 0))])
def test_nothing_to_be_seen(gain):
    cover = best_cover(gain, np.ones(gain.shape[1]), 2)
    assert (cover.chosen, cover.covered, cover.bound, cover.gap) == ((), 0.0, 0.0, 0.0)


def test_weights_of_nothing():
    assert best_cover(np.ones((3, 2)), [0, 0], 1).chosen == ()


def test_a_search_cut_short_says_so():
    rng = np.random.default_rng(20)  # a case that greedy with exchange does not solve
    gain = rng.choice([0.0, 0.5, 1.0], (18, 24), p=[0.7, 0.15, 0.15])
    weight = rng.uniform(0.5, 2.0, 24)
    short, whole = best_cover(gain, weight, 3, node_limit=1), best_cover(gain, weight, 3)
    assert short.gap > 0.0
    assert short.bound >= whole.covered >= short.covered
    assert whole.gap == 0.0


def test_prices_and_a_hint_from_before_change_nothing_when_solved():
    rng = np.random.default_rng(14)
    gain, weight = rng.random((15, 12)), rng.random(12)
    before = best_cover(gain[:9], weight, 3)
    again = best_cover(gain, weight, 3, prices=before.prices, hint=before.chosen)
    assert again.chosen == best_cover(gain, weight, 3).chosen


@pytest.mark.parametrize(
    ("gain", "weight", "k", "said"),
    [
        ([[1, 0]], [1], 1, "do not fit"),
        ([1, 0], [1, 1], 1, "do not fit"),
        ([[1, 0]], [1, 1], 0, "a set of 0"),
        ([[1.5, 0]], [1, 1], 1, "1.5"),
        ([[np.nan, 0]], [1, 1], 1, "no NaN"),
        ([[1, 0]], [-1, 1], 1, "least weight -1"),
    ],
)
def test_bad_input_is_told(gain, weight, k, said):
    with pytest.raises(BadInput, match=said):
        best_cover(gain, weight, k)

"""Target cells: parts of equal use, each with a cell that stands for it, however the ground is turned."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.ndimage import gaussian_filter

from graylight.sight.watching import sample


def patchy(seed: int) -> tuple[np.ndarray, np.ndarray]:
    """A ragged pocket on 40 x 60 cells, and its use."""
    rng = np.random.default_rng(seed)
    soft = gaussian_filter(rng.random((40, 60)), 4)
    return (soft > np.median(soft)).astype(np.int32), rng.random((40, 60)).astype(np.float32)


def test_a_strip_is_cut_into_equal_lengths():
    labels, use = np.zeros((3, 12), np.int32), np.ones((3, 12), np.float32)
    labels[1] = 1
    found = sample(labels, use, [0.6], per_pocket=4)
    assert sorted(found.col.tolist()) == [1, 4, 7, 10]
    assert found.row.tolist() == [1, 1, 1, 1]
    assert found.weight == pytest.approx([0.15] * 4)


def test_ground_used_twice_as_much_has_twice_the_cells():
    labels, use = np.ones((10, 30), np.int32), np.ones((10, 30), np.float32)
    use[:, 15:] = 2.0
    found = sample(labels, use, [1.0], per_pocket=30)
    assert (found.col >= 15).sum() == pytest.approx(20, abs=1)


def test_a_cell_used_more_than_its_part_carries_its_own_weight():
    labels, use = np.ones((1, 5), np.int32), np.array([[1, 1, 96, 1, 1]], np.float32)
    found = sample(labels, use, [1.0], per_pocket=5)
    assert dict(zip(found.col.tolist(), found.weight.tolist(), strict=True)) == pytest.approx(
        {0: 0.01, 1: 0.01, 2: 0.96, 3: 0.01, 4: 0.01}
    )


def test_pockets_without_chance_or_use_have_no_cells():
    labels = np.array([[1, 2, 3]], np.int32)
    found = sample(labels, np.array([[1, 1, 0]], np.float32), [0.0, 0.2, 0.3], per_pocket=4)
    assert (found.pocket.tolist(), found.col.tolist()) == ([1], [1])
    assert found.weight == pytest.approx([0.2])
    assert len(sample(labels, np.zeros((1, 3), np.float32), [0.1] * 3, per_pocket=4).row) == 0


@given(st.integers(0, 10_000), st.integers(1, 25))
@settings(max_examples=40)
def test_cells_are_the_pockets_own_distinct_and_weigh_its_chance(seed, each):
    labels, use = patchy(seed)
    found = sample(labels, use, [0.4], per_pocket=each)
    assert len({*zip(found.row.tolist(), found.col.tolist(), strict=True)}) == len(found.row) == each
    assert (labels[found.row, found.col] == 1).all()
    assert found.weight.sum(dtype=np.float64) == pytest.approx(0.4, rel=1e-5)
    assert found.weight.max() < 1.6 * found.weight.min()


@given(st.integers(0, 10_000), st.integers(0, 3), st.booleans())
@settings(max_examples=40)
def test_cells_turn_with_the_ground(seed, quarters, mirrored):
    labels, use = patchy(seed)

    def turn(values: np.ndarray) -> np.ndarray:
        turned = np.rot90(values, quarters)
        return np.ascontiguousarray(turned[:, ::-1] if mirrored else turned)

    one = sample(labels, use, [1.0], per_pocket=20)
    two = sample(turn(labels), turn(use), [1.0], per_pocket=20)
    numbers = turn(np.arange(labels.size).reshape(labels.shape))
    first = {*(one.row * labels.shape[1] + one.col).tolist()}
    second = {*numbers[two.row, two.col].tolist()}
    assert len(first & second) >= 19


def test_shares_by_the_cells_are_near_the_shares_by_all():
    """A half plane in view: the cells' share against the sum over the whole pocket."""
    errors = []
    for seed in range(40):
        labels, use = patchy(seed)
        found = sample(labels, use, [1.0], per_pocket=20)
        row, col = np.indices(labels.shape)
        in_view = (row - 20) * np.cos(seed) + (col - 30) * np.sin(seed) > 0
        whole = use[(labels == 1) & in_view].sum() / use[labels == 1].sum()
        errors.append(float(found.weight[in_view[found.row, found.col]].sum()) - whole)
    # simple random sampling of 20 cells has 0.11 here (binomial, p = 1/2)
    assert np.sqrt(np.mean(np.square(errors))) < 0.05

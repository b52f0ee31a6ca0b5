"""Search theory and distance sampling against published values and against brute force."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.stats import norm

from graylight.chance.allocation import allocate
from graylight.chance.detection import (
    Stand,
    coverage,
    effective_radius,
    found,
    found_part,
    glass_part,
    half_normal,
    hazard_rate,
)
from graylight.chance.mornings import Campaign, best_row, rested, worth_of
from graylight.chance.update import Evidence, Fading, Odds, after_search, follow, odds_on, seen_at
from graylight.chance.weights import learn_weights


@pytest.mark.parametrize(
    ("c", "pod"),
    [(0.25, 0.2212), (0.5, 0.3935), (1.0, 0.6321), (1.5, 0.7769), (2.0, 0.8647), (3.0, 0.9502)],
)
def test_random_search(c, pod):
    """Koopman's 1 - exp(-C), from the project's table of check values (computed from the published equation)."""
    assert found(c) == pytest.approx(pod, abs=5e-5)


def test_coverage_is_sweep_times_way_over_area():
    """C = W v t / A: 100 m swept at 1 m/s for an hour over 0.36 km2 covers it once."""
    assert coverage(100.0, 1.0, 3600.0, 360_000.0) == pytest.approx(1.0)


def test_bayes_after_a_search_that_found_nothing():
    """POA .30/.35/.20/.15, POD .5 on the second: the table of check values."""
    after = after_search(Odds((0.30, 0.35, 0.20), 0.15), (0.0, 0.5, 0.0))
    assert after.all == pytest.approx((0.3636, 0.2121, 0.2424, 0.1818), abs=5e-5)
    assert sum(after.all) == pytest.approx(1.0, abs=1e-12)


ALLOCATIONS = [
    ((8, 4, 1, 2), (1, 4, 12, 8), 0.05, (0, 0.033333, 0, 0.016667), 0.74896),
    ((4, 2, 8, 1), (4, 1, 1, 12), 0.10, (0.09298, 0, 0, 0.00702), 1.323152),
    ((2, 4, 2), (9, 3, 6), 0.20, (0.073224, 0.084517, 0.042259), 2.309043),
    ((1, 4, 20, 0), (8, 4, 0, 10), 0.50, (0.108904, 0.391096, 0, 0), 3.744697),
    ((2, 6, 4), (6, 2, 3), 0.50, (0.083333, 0.25, 0.166667), 4.721632),
    ((0, 7, 0, 5), (8, 0, 0, 0), 0.50, (0, 0, 0, 0), 0.0),
]
"""Chances, rates, hours, hours for each, found: cases of the SORAL library's tests (values only), recomputed."""


@pytest.mark.parametrize(("poa", "w", "hours", "each", "pos"), ALLOCATIONS)
def test_allocation_cases(poa, w, hours, each, pos):
    got = allocate(poa, w, hours)
    assert got.hours == pytest.approx(each, abs=6e-6)
    assert got.found == pytest.approx(pos, abs=6e-6)


def test_allocation_beats_a_general_optimiser():
    """SLSQP (scipy) over the simplex finds nothing better, and the condition of Charnes and Cooper holds."""
    rng = np.random.default_rng(8)
    for _ in range(25):
        n = int(rng.integers(2, 7))
        poa, w, hours = rng.random(n), rng.random(n) * 5 + 0.05, float(rng.random() * 4 + 0.1)
        got = allocate(poa, w, hours)

        def lost(t, poa=poa, w=w):
            return -float(np.sum(poa * -np.expm1(-w * t)))

        other = minimize(
            lost, np.full(n, hours / n), bounds=[(0, hours)] * n, method="SLSQP",
            constraints={"type": "eq", "fun": lambda t, hours=hours: np.sum(t) - hours}, options={"ftol": 1e-12},
        )  # fmt: skip
        assert sum(got.hours) == pytest.approx(hours, rel=1e-9)
        assert got.found >= -other.fun - 1e-7
        t = np.array(got.hours)
        level = poa * w * np.exp(-w * t)
        assert np.ptp(level[t > 1e-9]) < 1e-9
        assert level[t <= 1e-9].max(initial=0.0) <= level[t > 1e-9].min() + 1e-9


def test_allocation_against_all_ways_to_share_out_steps():
    """Brute force: no sharing out of 20 steps of time among three areas finds more."""
    poa, w, hours, steps = (0.3, 0.5, 0.1), (2.0, 0.7, 9.0), 2.0, 20
    best = max(
        sum(
            p * -np.expm1(-r * hours * k / steps)
            for p, r, k in zip(poa, w, (a, b, steps - a - b), strict=True)
        )
        for a in range(steps + 1)
        for b in range(steps + 1 - a)
    )
    got = allocate(poa, w, hours).found
    assert best <= got <= best + 0.01


# --- distance sampling ---------------------------------------------------------------------------------------------


def test_half_normal_point_transect():
    """Value of Rdistance's tests, w = 265 m (values only): sigma exp(4.342358) -> radius 108.5937, p 0.1679257."""
    radius, p = effective_radius(lambda d: half_normal(d, np.exp(4.342358)), 265.0)
    assert radius == pytest.approx(108.5937, abs=2e-3)
    assert p == pytest.approx(0.1679257, abs=5e-6)


def test_hazard_rate_point_transect():
    """The same: sigma exp(4.540434), k 4.199565 -> radius 118.6254, p 0.2003842."""
    radius, p = effective_radius(lambda d: hazard_rate(d, np.exp(4.540434), 4.199565), 265.0)
    assert radius == pytest.approx(118.6254, abs=2e-3)
    assert p == pytest.approx(0.2003842, abs=5e-6)


def test_glass_is_a_half_normal_with_the_half_where_it_is_said():
    """Effective radius of a half-normal without a limit: sigma times the root of 2 (Buckland et al. 2001)."""
    half_m = 3600.0
    radius, _ = effective_radius(lambda d: glass_part(d, half_m), 40_000.0)
    assert radius == pytest.approx(half_m / np.sqrt(np.log(2.0)), rel=1e-4)


def test_a_pocket_is_found_by_the_part_in_sight_and_the_time():
    """By hand: two cells used alike, one hidden; coverage ln 2 finds half of the other; animals show 80 mornings in 100."""
    one = Stand(np.array([1.0, 0.0]), np.full(2, np.log(2.0)))
    other = Stand(np.array([0.0, 1.0]), np.full(2, 50.0))
    weight = np.ones(2, np.float32)
    assert found_part(weight, [one], shows=0.8) == pytest.approx(0.2)
    assert found_part(weight, [one, one], shows=0.8) == pytest.approx(0.3)
    assert found_part(weight, [one, other], shows=0.8) == pytest.approx(0.6)
    assert found_part(weight, [], shows=0.8) == 0.0
    assert found_part(np.zeros(2, np.float32), [one], shows=0.8) == 0.0


def test_finding_against_placing_animals_at_random():
    """Monte Carlo: an animal stands in a cell by its use, shows or not, and each look has its own chance."""
    rng = np.random.default_rng(5)
    weight, sight = rng.random(30), [rng.random(30), rng.random(30)]
    covered = [rng.random(30) * 2, rng.random(30) * 0.5]
    told = found_part(weight, [Stand(s, c) for s, c in zip(sight, covered, strict=True)], shows=0.7)
    cell = rng.choice(30, 200_000, p=weight / weight.sum())
    seen = np.zeros(len(cell), bool)
    for s, c in zip(sight, covered, strict=True):
        seen |= (rng.random(len(cell)) < s[cell]) & (rng.exponential(size=len(cell)) < c[cell])
    seen &= rng.random(len(cell)) < 0.7
    assert told == pytest.approx(seen.mean(), abs=4 * np.sqrt(0.25 / len(cell)))


# --- odds ----------------------------------------------------------------------------------------------------------


def test_evidence_is_bayes_and_its_order_on_one_day_does_not_matter():
    prior = Odds((0.2, 0.5), 0.3)
    a = Evidence(0.0, (0.4, 1.0), 1.0, "a")
    b = Evidence(0.0, (1.0, 0.3), 0.6, "b")
    got = follow(prior, [b, a], 0.0, Fading(10.0, 10.0))
    raw = np.array([0.2 * 0.4, 0.5 * 0.3, 0.3 * 0.6])
    assert got.odds.all == pytest.approx(raw / raw.sum())
    assert [s.evidence.name for s in got.steps] == ["a", "b"]


def test_empty_mornings_are_the_hidden_markov_chain_where_nothing_fades_and_near_it_else():
    """Rabiner 1989, filtered forward by matrices: exact for animals that stay; for animals of which half have gone
    elsewhere after eight days, within two hundredths, searches finding half of what is there.
    """
    prior = Odds((0.2, 0.5), 0.3)
    like = [np.array([0.5, 1.0, 1.0]), np.array([0.6, 0.5, 1.0]), np.array([1.0, 0.7, 1.0])]
    evidence = [Evidence(2.0 * i, tuple(one[:2]), one[2], str(i)) for i, one in enumerate(like)]
    for fade_days, near in ((1e9, 1e-6), (8.0, 0.02)):
        keep = 0.5 ** (2.0 / fade_days)
        move = keep * np.eye(3) + (1 - keep) * np.tile(np.array(prior.all), (3, 1))
        by_hand = np.array(prior.all)
        for one in like:
            by_hand = by_hand * one / (by_hand @ one) @ move
        got = odds_on(prior, evidence, 6.0, Fading(fade_days, fade_days))
        assert got.all == pytest.approx(by_hand, abs=near)
        assert max(abs(np.array(got.all) - prior.all)) > 4 * near


@pytest.mark.parametrize("sightings", [0, 1, 6])
def test_half_of_what_an_empty_morning_said_is_gone_after_its_days(sightings):
    """In logarithms, of the odds between two places, whatever was seen before: by hand."""
    prior, fading = Odds((0.2, 0.5), 0.3), Fading(10.0, 1e9)
    before = [seen(0.0, 1.0, 0.0, 0.0)] * sightings
    empty = Evidence(1.0, (0.3, 1.0), 1.0, "empty")

    def ratio(evidence: list[Evidence], day: float) -> float:
        odds = odds_on(prior, evidence, day, fading)
        return np.log(odds.pockets[0] / odds.pockets[1])

    for day, left in ((1.0, 1.0), (11.0, 0.5), (21.0, 0.25)):
        said = ratio([*before, empty], day) - ratio(before, day)
        assert said == pytest.approx(left * np.log(0.3), rel=1e-6)


def test_a_sighting_counts_half_after_its_days():
    """By hand: (1 * 0.2 + 4 * 0.5) / (1 + 4 * 0.5)."""
    got = odds_on(Odds((0.2,), 0.8), [seen(0.0, 1.0, 0.0)] * 4, 7.0, Fading(1.0, 7.0))
    assert got.pockets[0] == pytest.approx(2.2 / 3.0)


def test_after_empty_mornings_or_a_push_the_odds_go_back_to_what_was_seen():
    """Six sightings, three empty mornings that find half: then quiet days. The same for animals pushed out."""
    prior, fading = Odds((0.05, 0.15), 0.8), Fading(10.0, 1e6)
    sightings = [seen(float(day), 1.0, 0.0, 0.0) for day in range(6)]
    empties = [Evidence(6.0 + i, (0.5, 1.0), 1.0, f"empty {i}") for i in range(3)]
    push = Evidence(6.0, (1.0, 1.0), 1.0, "pushed", ((0.2, 0.2, 0.6), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)))
    held = odds_on(prior, sightings, 6.0, fading).pockets[0]
    for later in (empties, [push]):
        told = [
            odds_on(prior, [*sightings, *later], day, fading).pockets[0] for day in (8.5, 18.0, 38.0, 150.0)
        ]
        assert told == sorted(told)
        assert told[0] < 0.6 * held
        assert told[1] > 2.0 * prior.pockets[0]
        assert told[-1] == pytest.approx(held, abs=0.01)


def test_animals_seen_where_empty_mornings_were_before_are_there():
    """An empty morning speaks of what was known before it, not of what is seen afterwards: by hand."""
    prior = Odds((0.5,), 0.5)
    got = odds_on(prior, [Evidence(0.0, (0.25,), 1.0, "empty"), seen(1.0, 3.0, 0.0)], 1.0, Fading(1e9, 1e9))
    assert got.all == pytest.approx([(0.2 + 3.0) / 4.0, 0.8 / 4.0])


def test_what_comes_later_is_not_known_yet():
    prior = Odds((0.4,), 0.6)
    got = follow(prior, [Evidence(5.0, (0.1,), 1.0, "later")], 4.0, Fading(10.0, 10.0))
    assert (got.odds, got.steps) == (prior, ())


def seen(day: float, *worth: float) -> Evidence:
    return Evidence(day, (1.0,) * (len(worth) - 1), 1.0, "seen", seen=worth)


def test_sightings_are_draws_beside_a_dirichlet_prior():
    """Posterior mean (alpha + n) / (sum alpha + n), Gelman et al. 2013, 3.4: prior worth 0.5 sightings, seen 2 and 1."""
    prior = Odds((0.2, 0.5), 0.3)
    evidence = [seen(0.0, 1.0, 0.0, 0.0), seen(0.0, 0.0, 1.0, 0.0), seen(0.0, 1.0, 0.0, 0.0)]
    got = follow(prior, evidence, 0.0, Fading(10.0, 10.0, 0.5))
    assert got.worth == pytest.approx(3.5)
    assert got.odds.all == pytest.approx([(0.1 + 2.0) / 3.5, (0.25 + 1.0) / 3.5, 0.15 / 3.5])


def test_what_is_seen_counts_where_it_was_seen_and_strays_count_for_nothing():
    assert seen_at([1.0, 0.0], stray=0.1) == pytest.approx((0.9, 0.0, 0.0))
    assert seen_at([0.6, 0.2], stray=0.0, roam=0.25) == pytest.approx((0.45, 0.15, 0.3))
    assert seen_at([0.0], stray=0.2, roam=0.7, counts=0.5) == pytest.approx((0.0, 0.12))
    assert sum(seen_at([1.0, 1.0], stray=0.0)) == pytest.approx(1.0)


def test_seen_in_two_pockets_by_turns_both_keep_what_was_seen():
    """Fourteen mornings, seen on each in one of three pockets: none that was seen yesterday falls below its prior."""
    prior = Odds((0.05, 0.05, 0.06, 0.1), 0.74)
    places = [0, 1, 2, 0, 1, 0, 1, 0, 2, 1, 0, 2, 0, 1]
    evidence = [seen(float(day), *np.eye(5)[place] * 0.88) for day, place in enumerate(places)]
    got = follow(prior, evidence, 14.0, Fading(10.0, 10.0, 0.5))
    counted = np.bincount(places, minlength=5)[:3] / len(places)
    assert np.abs(np.array(got.odds.all[:3]) - counted).max() < 0.08
    assert got.odds.all[3] < prior.all[3]


# --- mornings ------------------------------------------------------------------------------------------------------


def campaign(seed: int, *, mornings: int, lookouts: int, pockets: int) -> Campaign:
    rng = np.random.default_rng(seed)
    chances = rng.dirichlet(np.ones(pockets + 1), mornings)
    odds = tuple(Odds(tuple(one[:-1]), float(one[-1])) for one in chances)
    found = rng.random((lookouts, pockets)) * (rng.random((lookouts, pockets)) < 0.5)
    idle = np.where(rng.random(lookouts) < 0.5, np.inf, 1.0)
    days = tuple(float(i + 1) for i in range(mornings))
    return Campaign(
        odds,
        np.tile(found, (mornings, 1, 1)),
        idle,
        3.0,
        0.7,
        days,
        12.0,
    )


def slow_worth(plan: Campaign, row: tuple[int, ...]) -> float:
    """The same written out plainly: the odds by Bayes after every empty morning of the row, each fading by itself."""
    empties: list[tuple[float, list[float]]] = []
    last, missed = dict(enumerate(-plan.idle)), 1.0
    for morning, (seat, day) in enumerate(zip(row, plan.days, strict=True)):
        weights = list(plan.odds[morning].all)
        for when, looked in empties:
            weights = [w * (1 - f) ** (0.5 ** ((day - when) / plan.fade_days))
                       for w, f in zip(weights, looked, strict=True)]  # fmt: skip
        gap = day - last[seat]
        part = (
            1.0
            if gap >= plan.rest_days
            else plan.rest_part + (1 - plan.rest_part) * (gap - 1) / (plan.rest_days - 1)
        )
        found = [part * f for f in plan.found[morning, seat]] + [0.0]
        missed *= 1.0 - sum(w * f for w, f in zip(weights, found, strict=True)) / sum(weights)
        empties.append((day, found))
        last[seat] = day
    return 1.0 - missed


@pytest.mark.parametrize("seed", range(12))
def test_the_row_of_sits_is_the_best_of_all(seed):
    """Brute force over every row of three mornings at four lookouts."""
    plan = campaign(seed, mornings=3, lookouts=4, pockets=5)
    rows = list(itertools.product(range(4), repeat=3))
    best = max(slow_worth(plan, row) for row in rows)
    got = best_row(plan)
    assert got.found == pytest.approx(best, abs=1e-12)
    assert got.found == pytest.approx(slow_worth(plan, got.lookouts), abs=1e-12)
    assert worth_of(plan, got.lookouts) == got


def test_many_mornings_are_near_the_best():
    """Where not all rows are looked at: within 1 % of all of them, on a case that brute force can still do."""
    plan = campaign(3, mornings=5, lookouts=8, pockets=6)
    rows = itertools.product(range(8), repeat=5)
    assert best_row(plan).found >= 0.99 * max(slow_worth(plan, row) for row in rows)


def test_a_lookout_rests():
    plan = campaign(1, mornings=2, lookouts=1, pockets=3)
    tired = worth_of(plan, (0, 0))
    fresh = Campaign(plan.odds, plan.found, plan.idle, 1.0, 0.7, plan.days, plan.fade_days)
    assert worth_of(fresh, (0, 0)).found > tired.found
    assert rested(2.0, rest_days=3.0, part=0.6) == pytest.approx(0.8)
    assert rested(np.inf, rest_days=3.0, part=0.6) == 1.0


# --- weights -------------------------------------------------------------------------------------------------------


def test_weights_come_back_from_sightings_that_were_made_with_them():
    """Simulation: thousands of sightings made with known exponents and uneven effort give these back."""
    rng = np.random.default_rng(11)
    worth, effort = rng.uniform(0.2, 1.0, (40, 3)), rng.uniform(0.05, 2.0, 40)
    true = np.array([3.0, 0.5, 1.5])
    chance = effort * np.prod(worth**true, axis=1)
    seen = rng.multinomial(20_000, chance / chance.sum()).astype(float)
    got = learn_weights(worth, effort, seen, np.array([1.5, 1.5, 1.5]), spread_part=1.0)
    assert np.all(np.abs(got.after - true) < 4 * got.spread)
    assert got.spread.max() < 0.1
    assert got.after == pytest.approx(true, abs=0.2)


def test_effort_is_not_taken_for_habitat():
    """Pockets alike but for the effort: sightings where one looked teach nothing."""
    worth = np.array([[0.9, 0.3], [0.9, 0.6], [0.9, 0.9]])
    effort = np.array([5.0, 1.0, 1.0])
    before = np.array([2.0, 1.0])
    expected = effort * np.prod(worth**before, axis=1)
    got = learn_weights(worth, effort, 70 * expected / expected.sum(), before, spread_part=0.5)
    assert got.after == pytest.approx(before, abs=1e-6)


def test_few_sightings_move_little_and_none_nothing():
    worth = np.array([[0.9, 0.3], [0.5, 0.9]])
    before = np.array([2.0, 1.0])
    none = learn_weights(worth, np.ones(2), np.zeros(2), before, spread_part=0.25)
    assert none.after == pytest.approx(before)
    few = learn_weights(worth, np.ones(2), np.array([0.0, 3.0]), before, spread_part=0.25)
    many = learn_weights(worth, np.ones(2), np.array([0.0, 300.0]), before, spread_part=0.25)
    assert 0 < abs(few.after - before).max() < abs(many.after - before).max()
    assert np.all(few.after >= 0)
    assert np.all(many.spread <= few.spread + 1e-12)


def test_the_posterior_is_at_a_peak():
    """No step in any direction is more likely: prior and multinomial written out with scipy's normal."""
    rng = np.random.default_rng(2)
    worth, effort = rng.uniform(0.2, 1.0, (6, 3)), rng.uniform(0.1, 1.0, 6)
    seen, before = rng.integers(0, 9, 6).astype(float), np.array([1.0, 2.0, 0.6])
    got = learn_weights(worth, effort, seen, before, spread_part=0.3).after

    def logarithm(g):
        chance = effort * np.prod(worth**g, axis=1)
        return float(seen @ np.log(chance / chance.sum()) + norm.logpdf(g, before, 0.3 * before).sum())

    for i in range(3):
        for step in (-1e-3, 1e-3):
            other = got.copy()
            other[i] = max(other[i] + step, 0.0)  # exponents don't go below 0
            assert np.array_equal(other, got) or logarithm(other) < logarithm(got)
    assert got.min() == 0.0, "the case should hold one at the edge"

"""The record on the invented range: how soon the proposed sits find, and how long odds and next take."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from tests.reference.search_party import Policy, World, mornings_until_found

from benchmarks.row import Row, cpu_seconds, wall_seconds
from graylight.chance.mornings import Campaign, best_row, rested
from graylight.chance.update import Evidence, Fading, Odds, odds_on
from graylight.cli.demonstration import invented_country
from graylight.grid import LonLat
from graylight.plan.effort import Sitting, glass_named, searched
from graylight.plan.keeping import make_plan
from graylight.plan.next_sit import Asked, next_sits, whole_morning
from graylight.plan.notebook import GivenOuting, Notebook, open_notebook
from graylight.plan.odds_told import tell_odds

RUNS = 200_000
MORNINGS = 3


def rows() -> list[Row]:
    """On the invented range and its own lookouts, 10x42, calm."""
    with tempfile.TemporaryDirectory() as scratch:
        country = invented_country(Path(scratch) / "country")
        book = open_notebook(country, make_plan(country).plan)
        return [*found_sooner(book), *timed(book)]


def found_sooner(book: Notebook) -> list[Row]:
    """Animals placed by the odds, sits that find as reckoned; each way of sharing mornings out, simulated."""
    light = whole_morning(book, book.plan.light.date)
    seats = [Sitting(LonLat(one.place.lon, one.place.lat), *light) for one in book.plan.lookouts]
    sits = [searched([one], book.ground, (glass_named("10x42"),), weather="clear") for one in seats]
    found = np.array([one.found(len(book.plan.pockets)) for one in sits])
    prior, settings = book.places.prior, book.country.settings.record
    rested_seats = np.full(len(found), np.inf)
    idle = np.where(np.arange(len(found)) == 0, 1.0, np.inf)
    told = []
    for mornings, empty, last, words in (
        (3, 0, rested_seats, "before anything is recorded"),
        (6, 0, rested_seats, "before anything is recorded"),
        (3, 2, idle, "after two empty mornings at the first lookout"),
    ):
        case = Campaign(
            _emptied(prior, found[0], empty, mornings, settings.fade_days), np.tile(found, (mornings, 1, 1)), last,
            float(settings.rest_days), settings.rest_part, tuple(float(i) for i in range(mornings)), settings.fade_days,
        )  # fmt: skip
        told += _beside(case, prior, words)
    return told


def _emptied(
    prior: Odds, found: NDArray[np.float64], empty: int, mornings: int, days: float
) -> tuple[Odds, ...]:
    """The odds of each morning after some empty ones on the first morning's day."""
    said = [_empty(0.0, found, str(i)) for i in range(empty)]
    return tuple(odds_on(prior, said, float(i), Fading(days, days)) for i in range(mornings))


def _empty(day: float, found: NDArray[np.float64], name: str) -> Evidence:
    return Evidence(day, tuple(float(v) for v in 1.0 - found), 1.0, name)


def _beside(case: Campaign, prior: Odds, words: str) -> list[Row]:
    """The proposed sits beside plainer ways of sharing the mornings out, in the same simulated worlds."""
    mornings = len(case.days)
    ours = _simulated(case, prior, [_fixed(best_row(case).lookouts)])
    told = []
    for name, ways in _rivals(case, prior).items():
        other = _simulated(case, prior, ways)
        gain = (ours <= mornings).astype(float) - (other <= mornings).mean(axis=0)
        error = float(gain.std() / np.sqrt(gain.size))
        told.append(
            Row(
                f"found within {mornings} mornings, {words}, beside {name}",
                f"{_percent(ours, mornings)}, mean morning {ours.mean():.2f}",
                f"{_percent(other, mornings)}, mean morning {other.mean():.2f}",
                f"{100.0 * gain.mean():+.1f} points, give or take {100.0 * error:.2f} (higher is better)", "over 0",
            )
        )  # fmt: skip
    return told


def _percent(when: NDArray[np.int64], mornings: int) -> str:
    """How often it was found, with the standard error over the worlds (the mean over the ways in each)."""
    hit = (when <= mornings).mean(axis=0)
    return f"{100.0 * hit.mean():.1f} % (±{100.0 * hit.std() / np.sqrt(hit.size):.2f})"


def _rivals(case: Campaign, prior: Odds) -> dict[str, list[Policy]]:
    """Ways a sensible person has without reckoning rows of sits: what they watch is what shows, from where it shows best."""
    mornings, seats, _ = case.found.shape
    shown = [
        int(p)
        for p in np.argsort(-np.array(case.odds[0].pockets), kind="stable")
        if case.found[0][:, p].max() > 0.0
    ]
    best_view = [int(np.argmax(case.found[0][:, p])) for p in shown]
    turns = [_fixed([(i + k) % seats for i in range(mornings)]) for k in range(seats)]
    return {
        "the lookouts in turn": turns,
        "equal time for the pockets in sight, best-ranked first": [
            _fixed([best_view[i % len(best_view)] for i in range(mornings)])
        ],
        "the best-ranked pocket every morning": [_fixed([best_view[0]] * mornings)],
        "the pocket ranked best by that morning's odds": [_by_the_odds(case, prior, shown, best_view)],
    }


def _fixed(lookouts: Sequence[int]) -> Policy:
    return lambda morning, _: lookouts[morning]


def _by_the_odds(case: Campaign, prior: Odds, shown: list[int], best_view: list[int]) -> Policy:
    """Every morning the pocket in sight that is likeliest by then, nothing having been found so far."""

    def choose(morning: int, sat: list[int]) -> int:
        said = [_empty(float(i), case.found[i, lookout], str(i)) for i, lookout in enumerate(sat)]
        beside = odds_on(prior, said, float(morning), Fading(case.fade_days, case.fade_days))
        chance = [
            now * then / max(habitat, 1e-12)
            for now, then, habitat in zip(
                case.odds[morning].pockets, beside.pockets, prior.pockets, strict=True
            )
        ]
        return best_view[max(range(len(shown)), key=lambda i: (chance[shown[i]], -i))]

    return choose


def _simulated(case: Campaign, prior: Odds, ways: list[Policy]) -> NDArray[np.int64]:
    """(ways, worlds): the morning that finds, one more than there are where none does; the same worlds for every way."""
    world = World(np.array(prior.all), case.found[0], case.fade_days, np.array(case.odds[0].all))
    rest = partial(rested, rest_days=case.rest_days, part=case.rest_part)

    def part(sat: list[int], lookout: int) -> float:
        gaps = [float(len(sat) - i) for i, other in enumerate(sat) if other == lookout]
        return rest(min([*gaps, len(sat) + float(case.idle[lookout])]))

    return np.array(
        [
            mornings_until_found(
                world, way, runs=RUNS, most=len(case.days), rng=np.random.default_rng(1), part=part
            )
            for way in ways
        ]
    )


def timed(book: Notebook) -> list[Row]:
    """After five outings; layers in memory."""
    for i in range(5):
        seat = book.plan.lookouts[i % len(book.plan.lookouts)]
        day = f"2026-08-{20 + i}"
        book.add_outing(GivenOuting(where=seat.id, begin=f"{day} 05:00", end=f"{day} 09:00"))
    return [
        _row("odds after five outings", lambda: tell_odds(book)),
        _row("where to sit on three mornings", lambda: next_sits(book, Asked(MORNINGS))),
    ]


def _row(what: str, work: Callable[[], object]) -> Row:
    wall, user = wall_seconds(work, runs=3), cpu_seconds(work, runs=3)
    return Row(what, f"{wall:.2f} s, user time {user:.2f} s")

"""The record on the invented range: how soon the proposed sits find, and how long odds and next take."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np
from tests.reference.search_party import World, mornings_until_found

from benchmarks.row import Row, cpu_seconds, wall_seconds
from graylight.chance.mornings import Campaign, best_row, rested
from graylight.chance.update import after_search
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
    tired = prior
    for _ in range(2):
        tired = after_search(tired, found[0])
    rested_seats = np.full(len(found), np.inf)
    idle = np.where(np.arange(len(found)) == 0, 1.0, np.inf)
    told = []
    for mornings, odds, last, words in (
        (3, prior, rested_seats, "before anything is recorded"),
        (6, prior, rested_seats, "before anything is recorded"),
        (3, tired, idle, "after two empty mornings at the first lookout"),
    ):
        case = Campaign(
            odds, prior, np.tile(found, (mornings, 1, 1)), last, float(settings.rest_days), settings.rest_part,
            tuple(float(i) for i in range(mornings)), settings.fade_days,
        )  # fmt: skip
        told += _beside(case, words)
    return told


def _beside(case: Campaign, words: str) -> list[Row]:
    """The proposed sits beside equal time and beside the best-ranked pocket every morning."""
    mornings, seats, _ = case.found.shape
    shown = np.where(case.found[0].max(axis=0) > 0.0, np.array(case.odds.pockets), 0.0)
    ranked = int(np.argmax(case.found[0][:, int(np.argmax(shown))]))
    turns = [[(i + k) % seats for i in range(mornings)] for k in range(seats)]
    ours, first = _simulated(case, [list(best_row(case).lookouts)])
    told = []
    for name, ways in (
        ("equal time", turns),
        ("the best-ranked pocket every morning", [[ranked] * mornings]),
    ):
        other, later = _simulated(case, ways)
        told.append(
            Row(
                f"found within {mornings} mornings, {words}, beside {name}",
                f"{100 * ours:.1f} %, mean morning {first:.2f}", f"{100 * other:.1f} %, mean morning {later:.2f}",
                f"{ours / other:.2f} (higher is better)", "over 1",
            )
        )  # fmt: skip
    return told


def _simulated(case: Campaign, ways: list[list[int]]) -> tuple[float, float]:
    """Part of the runs that find, and the mean morning on which they do (not at all counts as one more), over the ways."""
    mornings = len(case.days)
    world = World(np.array(case.prior.all), case.found[0], case.fade_days, np.array(case.odds.all))
    rest = partial(rested, rest_days=case.rest_days, part=case.rest_part)
    whens = []
    for way in ways:

        def part(sat: list[int], lookout: int) -> float:
            gaps = [float(len(sat) - i) for i, other in enumerate(sat) if other == lookout]
            return rest(min([*gaps, len(sat) + float(case.idle[lookout])]))

        whens.append(
            mornings_until_found(
                world, lambda i, _, way=way: way[i], runs=RUNS // len(ways), most=mornings,
                rng=np.random.default_rng(1), part=part,
            )
        )  # fmt: skip
    when = np.concatenate(whens)
    return float((when <= mornings).mean()), float(when.mean())


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

"""A morning at each kept lookout of the invented range, warm, in one process."""

from __future__ import annotations

import datetime as dt
import tempfile
import time
from collections.abc import Callable
from itertools import cycle
from pathlib import Path

from benchmarks.row import Row, cpu_seconds, wall_seconds
from graylight.cli.demonstration import invented_country
from graylight.plan.keeping import make_plan
from graylight.plan.morning_ready import MorningReady, ready_for_morning
from graylight.plan.mornings import morning

WINDS = ("calm", "SW 8mph", "NW 15mph", "E 12mph")


def rows() -> list[Row]:
    """In one process, country read, kernels compiled."""
    with tempfile.TemporaryDirectory() as scratch:
        country = invented_country(Path(scratch) / "country")
        plan = make_plan(country).plan
        ready = ready_for_morning(country, plan)
        began = time.perf_counter()
        ready = ready_for_morning(country, plan)
        readying = time.perf_counter() - began
        return [Row("country made ready for mornings, once", f"{readying:.1f} s"), *timed(ready)]


def timed(ready: MorningReady) -> list[Row]:
    """Other lookouts and winds on the same date; then each on a date not asked before."""
    names = [one.id for one in ready.looking.plan.lookouts]
    turn, winds = cycle(names), cycle(WINDS)
    dates = (ready.looking.plan.light.date + dt.timedelta(days=i) for i in range(1, 100))
    for name in names:  # the ways to each lookout, once
        morning(ready, name)

    def same() -> None:
        morning(ready, next(turn), wind=next(winds))

    def other() -> None:
        morning(ready, next(turn), date=next(dates), wind=next(winds))

    def anew() -> None:
        ready.foot.forget()
        ready.winds.clear()
        ready._days.clear()
        same()

    def evening() -> None:
        morning(ready, next(turn), wind=next(winds), sit="dusk")

    def whole_day() -> None:
        morning(ready, next(turn), wind=next(winds), sit="day")

    for name in names:
        morning(ready, name, sit="dusk")
    return [
        _row("a morning: another lookout and wind, date and ways known", same),
        _row("the same on a date not asked before", other),
        _row("the same with the ways, water and carrying out worked out anew as well", anew),
        _row("an evening: another lookout and wind, date and ways known", evening),
        _row("a whole day, the same", whole_day),
    ]


def _row(what: str, work: Callable[[], None]) -> Row:
    wall, user = wall_seconds(work, runs=7), cpu_seconds(work, runs=7)
    return Row(what, f"{wall:.2f} s, user time {user:.2f} s", target="1 s")

"""One line of the table, and how things are timed."""

from __future__ import annotations

import resource
import time
from collections.abc import Callable
from dataclasses import dataclass

__all__ = ["Row", "cpu_seconds", "wall_seconds"]


@dataclass(frozen=True)
class Row:
    """What was measured: our figure, the other engine's (if any) in the same run, the target (if any)."""

    what: str
    ours: str
    other: str = ""
    ratio: str = ""
    target: str = ""


def wall_seconds(work: Callable[[], object], *, runs: int = 5) -> float:
    """Median wall time of a few runs, after one that is not counted."""
    work()
    taken = []
    for _ in range(runs):
        began = time.perf_counter()
        work()
        taken.append(time.perf_counter() - began)
    return sorted(taken)[len(taken) // 2]


def cpu_seconds(work: Callable[[], object], *, runs: int = 5, least_s: float = 0.6) -> float:
    """Median user time (all threads) of a few runs, after one that is not counted.

    The kernel tells user from system time by sampling: a run is repeated until it lasts long enough for that.
    """
    work()
    taken = []
    for _ in range(runs):
        repeats, began, start = 0, time.perf_counter(), _user_seconds()
        while repeats == 0 or time.perf_counter() - began < least_s:
            work()
            repeats += 1
        taken.append((_user_seconds() - start) / repeats)
    return sorted(taken)[len(taken) // 2]


def _user_seconds() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_utime

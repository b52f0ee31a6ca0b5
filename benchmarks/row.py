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


def cpu_seconds(work: Callable[[], object], *, runs: int = 5) -> float:
    """Median user time (all threads) of a few runs, after one that is not counted."""
    work()
    taken = []
    for _ in range(runs):
        began = resource.getrusage(resource.RUSAGE_SELF).ru_utime
        work()
        taken.append(resource.getrusage(resource.RUSAGE_SELF).ru_utime - began)
    return sorted(taken)[len(taken) // 2]

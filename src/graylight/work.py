"""How long work is run: in bands of rows on one thread pool, with progress and a way to stop.

A band is kept short, so that a tick (and with it Ctrl-C or a cancelled job) is never far away. The kernels
release the GIL and write only their own rows, so the answer is the same on one core or many.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_EXCEPTION, Future, ThreadPoolExecutor, wait
from functools import lru_cache
from typing import TypeAlias, TypeVar

__all__ = ["Tick", "begin", "beside", "in_bands", "part", "silent", "spread"]

Made = TypeVar("Made")
Tick: TypeAlias = Callable[[float], None]
"""Called with the fraction done, 0 to 1; raises `Cancelled` when the work is no longer wanted."""


def silent(_fraction: float) -> None:
    """The tick of someone who does not want to know."""


def part(tick: Tick, start: float, stop: float) -> Tick:
    """A tick for a piece of work that fills start to stop of the whole."""
    return lambda fraction: tick(start + (stop - start) * fraction)


@lru_cache(maxsize=1)
def _pool() -> ThreadPoolExecutor:
    return ThreadPoolExecutor(max_workers=max(1, os.cpu_count() or 1), thread_name_prefix="graylight")


def begin(job: Callable[[], Made]) -> Future[Made]:
    """Begin one job on the pool; as those of `spread`, it must not wait for the pool itself."""
    return _pool().submit(job)


@lru_cache(maxsize=1)
def _beside() -> ThreadPoolExecutor:
    return ThreadPoolExecutor(max_workers=max(1, os.cpu_count() or 1), thread_name_prefix="graylight-beside")


def beside(job: Callable[[], Made]) -> Future[Made]:
    """Begin a job that itself spreads its work over the pool, beside the caller's own; it must not call `beside`."""
    return _beside().submit(job)


def spread(jobs: list[Callable[[], None]], *, tick: Tick = silent) -> None:
    """Run the jobs on the pool, ticking after each; the first error (or a stop) drops those not yet begun.

    A job must not itself call `spread`: the pool has a fixed number of threads.
    """
    waiting: set[Future[None]] = {_pool().submit(job) for job in jobs}
    total = len(waiting)
    try:
        while waiting:
            done, waiting = wait(waiting, timeout=0.1, return_when=FIRST_EXCEPTION)
            for future in done:
                future.result()
            tick(1.0 - len(waiting) / total)
    except BaseException:
        for future in waiting:
            future.cancel()
        wait(waiting)
        raise


def in_bands(
    kernel: Callable[[int, int], None], rows: int, *, rows_at_once: int = 64, tick: Tick = silent
) -> None:
    """Call ``kernel(first_row, end_row)`` over all rows, band by band, on the pool."""
    spread([_bound(kernel, a, b) for a, b in _bands(rows, rows_at_once)], tick=tick)


def _bands(rows: int, rows_at_once: int) -> Iterator[tuple[int, int]]:
    for first in range(0, rows, rows_at_once):
        yield first, min(first + rows_at_once, rows)


def _bound(kernel: Callable[[int, int], None], a: int, b: int) -> Callable[[], None]:
    return lambda: kernel(a, b)

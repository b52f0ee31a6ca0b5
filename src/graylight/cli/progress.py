"""A progress bar with the time left, on standard error, for anything that takes longer than two seconds."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager

from graylight.work import Tick

__all__ = ["bar"]

PATIENCE_S = 2.0


@contextmanager
def bar(words: str) -> Iterator[Tick]:
    """A tick that shows a bar once the work has lasted two seconds; none where nobody sees it."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

    shown = Progress(
        TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeRemainingColumn(),
        console=Console(stderr=True), transient=True,
    )  # fmt: skip
    task = shown.add_task(words, total=1.0)
    began = time.monotonic()
    started = False

    def tick(fraction: float) -> None:
        nonlocal started
        if shown.console.is_terminal and not started and time.monotonic() - began > PATIENCE_S:
            shown.start()
            started = True
        shown.update(task, completed=fraction)

    try:
        yield tick
    finally:
        if started:
            shown.stop()

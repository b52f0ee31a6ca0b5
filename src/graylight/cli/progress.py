"""A progress bar with the time left, on standard error, for anything that takes longer than two seconds."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager

from graylight.work import Tick

__all__ = ["bar"]

PATIENCE_S = 2.0


@contextmanager
def bar(words: str) -> Iterator[Tick]:
    """A tick that shows a bar once the work has lasted two seconds; none where nobody sees it."""
    began = time.monotonic()
    shown: _Shown | None = None

    def tick(fraction: float) -> None:
        nonlocal shown
        if shown is None and time.monotonic() - began > PATIENCE_S and sys.stderr.isatty():
            shown = _Shown(words)
        if shown is not None:
            shown.move(fraction)

    try:
        yield tick
    finally:
        if shown is not None:
            shown.stop()


class _Shown:
    """The bar itself: what draws it is loaded only for who waits."""

    def __init__(self, words: str) -> None:
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

        self._bar = Progress(
            TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeRemainingColumn(),
            console=Console(stderr=True), transient=True,
        )  # fmt: skip
        self._task = self._bar.add_task(words, total=1.0)
        self._bar.start()

    def move(self, fraction: float) -> None:
        """Show how far it is, 0 to 1."""
        self._bar.update(self._task, completed=fraction)

    def stop(self) -> None:
        """Take the bar off the terminal."""
        self._bar.stop()

"""A stop waits while the compiler is at work: it calls back into Python, and an exception in there is lost or a crash."""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Callable, Iterator

import pytest

from graylight.__main__ import heed_stops


@pytest.fixture(autouse=True)
def handlers() -> Iterator[None]:
    before = {stop: signal.getsignal(stop) for stop in (signal.SIGINT, signal.SIGTERM)}
    heed_stops()
    yield
    for stop, handler in before.items():
        signal.signal(stop, handler)


def working(module: str, steps: list[str]) -> Callable[[int], None]:
    """Work of a module of that name that a stop strikes in the middle."""
    made: dict[str, object] = {"__name__": module, "os": os, "time": time, "steps": steps}
    exec(
        "def work(stop):\n"
        "    steps.append('begun')\n"
        "    os.kill(os.getpid(), stop)\n"
        "    ends = time.perf_counter() + 0.1\n"
        "    while time.perf_counter() < ends:\n"
        "        pass\n"
        "    steps.append('ended')\n",
        made,
    )
    return made["work"]  # type: ignore[return-value]


@pytest.mark.parametrize("stop", [signal.SIGINT, signal.SIGTERM])
def test_our_own_work_is_stopped_at_once(stop):
    steps: list[str] = []
    with pytest.raises(KeyboardInterrupt):
        working("graylight.sight", steps)(stop)
    assert steps == ["begun"]


@pytest.mark.parametrize("stop", [signal.SIGINT, signal.SIGTERM])
def test_the_compiler_ends_what_it_does_and_the_stop_comes_then(stop):
    steps: list[str] = []

    def compile_and_wait() -> None:
        working("llvmlite.binding.executionengine", steps)(stop)
        steps.append("back")
        time.sleep(60)
        steps.append("never stopped")

    with pytest.raises(KeyboardInterrupt):
        compile_and_wait()
    assert steps == ["begun", "ended", "back"]

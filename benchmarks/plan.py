"""The whole line on the invented range, as a person runs it: in its own process, warm and for the first time ever."""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from benchmarks.row import Row

HERE = Path(sys.executable).parent / "graylight"


def rows() -> list[Row]:
    """Time and memory of `graylight plan`, and the time of `graylight --help`."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "country"
        first, _ = _run(["demo", str(folder)], NUMBA_CACHE_DIR=str(Path(scratch) / "numba"))
        plan_first, _ = _run(["plan", str(folder)], NUMBA_CACHE_DIR=str(Path(scratch) / "numba2"))
        _run(["plan", str(folder)])
        warm = sorted(_run(["plan", str(folder)]) for _ in range(3))[1]
    helps = sorted(_run(["--help"])[0] for _ in range(5))[2]
    return [
        Row("graylight plan, invented range, warm", f"{warm[0]:.1f} s", target="20 s"),
        Row("the same: most memory", f"{warm[1] / 2**20:.2f} GB", target="2 GB"),
        Row("the same, first run ever (compilation included)", f"{plan_first:.1f} s", target="90 s"),
        Row("graylight demo, first run ever (range invented, planned, drawn)", f"{first:.1f} s"),
        Row("graylight --help", f"{helps:.2f} s", target="0.5 s"),
    ]


def _run(words: list[str], **environment: str) -> tuple[float, int]:
    """Wall seconds, and the largest resident set of any child so far in kB."""
    began = time.perf_counter()
    subprocess.run(
        [HERE, *words],
        check=True,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        env={**os.environ, **environment},
    )
    return time.perf_counter() - began, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss

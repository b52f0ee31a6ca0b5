"""The map page's server: times over loopback on the invented range, layers read, each tile and place asked for once."""

from __future__ import annotations

import http.client
import json
import math
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.row import Row
from graylight.cli.demonstration import invented_country
from graylight.plan.keeping import make_plan

ZOOM = 14
TILES, PLACES = 60, 40
MORE = {"time": "&time=2026-08-27T14:30:00Z", "lookout": "&lookout=L1"}


class Asking:
    """One connection to the server, kept open as a browser keeps it."""

    def __init__(self, port: int) -> None:
        self._wire = http.client.HTTPConnection("127.0.0.1", port, timeout=120)

    def __call__(self, path: str) -> tuple[float, bytes]:
        """Milliseconds until the whole answer is there, and the answer."""
        began = time.perf_counter()
        self._wire.request("GET", path)
        answer = self._wire.getresponse()
        data = answer.read()
        assert answer.status == 200, (path, data[:300])
        return 1000 * (time.perf_counter() - began), data

    def json(self, path: str) -> Any:
        """The answer, read."""
        return json.loads(self(path)[1])


def rows() -> list[Row]:
    """Tiles, answers about places, and the first things a page asks for."""
    with tempfile.TemporaryDirectory() as scratch:
        country = invented_country(Path(scratch) / "country")
        make_plan(country)
        with _served(country.folder) as ask:
            return [*_first(ask), *_tiles(ask), *_places(ask)]


@contextmanager
def _served(folder: Path) -> Iterator[Asking]:
    """The command in a process of its own, warmed up."""
    command = [sys.executable, "-m", "graylight", "serve", str(folder), "--no-browser", "--port", "0"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        line = next(line for line in process.stdout if "http://" in line)
        ask = Asking(int(line.rsplit(":", 1)[1].strip().strip("/")))
        lon, lat = _patiently(ask, "/api/state")["country"]["center"]
        for path in ("day", "from-here", "horizon", "sight"):
            ask(f"/api/{path}?lon={lon}&lat={lat}")
        time.sleep(3.0)  # what it reads by itself at the start is done
        try:
            yield ask
        finally:
            process.kill()


def _patiently(ask: Asking, path: str) -> Any:
    for _ in range(100):
        try:
            return ask.json(path)
        except OSError:
            time.sleep(0.2)
    raise TimeoutError(path)


def _p95(times: Sequence[float]) -> str:
    return f"{np.percentile(times, 95):.0f} ms (median {np.median(times):.0f})"


def _row(what: str, times: Sequence[float], target: str) -> Row:
    return Row(f"page: {what}, 95 of 100", _p95(times), target=target)


def _first(ask: Asking) -> list[Row]:
    paths = {
        "state": "state",
        "plan": "plan",
        "notes": "notes",
        "vectors": "features",
        "contours, 200 ft": "contours?level=1",
        "rows": "rows",
    }
    return [
        _row(what, [ask(f"/api/{path}")[0] for _ in range(20)], "-" if "contours" in what else "100 ms")
        for what, path in paths.items()
    ]


def _tiles(ask: Asking) -> list[Row]:
    """Each layer warmed by one tile, then tiles that were not asked for before."""
    state = ask.json("/api/state")
    found = []
    for layer in state["layers"]:
        if layer["name"] == "watch":
            continue
        more = "".join(MORE[key] for key in layer["needs"])
        paths = [layer["tiles"].format(z=z, x=x, y=y) + more for z, x, y in _over(state["country"]["bounds"])]
        ask(paths[0])
        times = [ask(path)[0] for path in paths[1:]]
        found.append(_row(f"tile of {layer['name']}", times, "60 ms"))
    return found


def _over(bounds: Sequence[float]) -> list[tuple[int, int, int]]:
    """Tiles spread over the country."""
    west, south, east, north = bounds
    (x0, y0), (x1, y1) = _at(west, north), _at(east, south)
    every = [(ZOOM, x, y) for x, y in product(range(x0, x1 + 1), range(y0, y1 + 1))]
    return every[:: max(1, len(every) // TILES)]


def _at(lon: float, lat: float) -> tuple[int, int]:
    size = 2**ZOOM
    return int((lon + 180) / 360 * size), int(
        (1 - math.asinh(math.tan(math.radians(lat))) / math.pi) / 2 * size
    )


def _places(ask: Asking) -> list[Row]:
    """Places a few steps from each other, as a lookout is dragged."""
    plan = ask.json("/api/plan")
    here = plan["lookouts"][0]["place"]
    other = plan["pockets"][0]["centre"]

    def asked(path: str, step: int, more: str = "") -> float:
        lon, lat = (
            here["lon"] + 0.0004 * math.cos(step) * step / 8,
            here["lat"] + 0.0003 * math.sin(step) * step / 8,
        )
        return ask(f"/api/{path}?lon={lon:.6f}&lat={lat:.6f}{more}")[0]

    def line(step: int) -> float:
        start = f"{here['lon'] + 0.0002 * step:.6f},{here['lat']:.6f}"
        return ask(f"/api/line?from={start}&to={other['lon']},{other['lat']}")[0]

    each = range(1, PLACES + 1)
    return [
        _row("from here", [asked("from-here", step) for step in each], "200 ms"),
        _row("sight of a dragged lookout with its picture", [asked("sight", step + 50) for step in each], "100 ms"),
        _row("line with profile", [line(step) for step in each], "200 ms"),
        _row("horizon strip, 1000 px", [asked("horizon", step + 100, "&width=1000") for step in each[:20]], "-"),
        _row("day strip", [asked("day", step + 150) for step in each[:20]], "-"),
    ]  # fmt: skip

"""Choosing lookouts, watching marks and looking from a moved place: wall time on the invented range, warm."""

from __future__ import annotations

import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from functools import partial
from itertools import cycle
from pathlib import Path

import numpy as np

from benchmarks.row import Row, wall_seconds
from graylight.cli.demonstration import invented_country
from graylight.cli.pictures import strip_of
from graylight.country.folder import Country
from graylight.drawing.panorama import landmarks
from graylight.drawing.strip import Landmark
from graylight.grid import LonLat
from graylight.plan import making
from graylight.plan.animals import find_profile
from graylight.plan.keeping import Made, make_plan
from graylight.plan.looking import Ready, look_from, ready_to_look
from graylight.plan.seats import Seats
from graylight.plan.stages_kept import Kept
from graylight.plan.watch import ready_to_watch, watch_marks


def rows() -> list[Row]:
    """In one process with the layers read, and at last whole commands."""
    with tempfile.TemporaryDirectory() as scratch:
        country = invented_country(Path(scratch) / "country")
        made = make_plan(country)
        return [
            _siting(country, made), *_watching(country, made), _looking(country, made), *_commands(country, made)
        ]  # fmt: skip


def _siting(country: Country, made: Made) -> Row:
    """From the pockets to the best three: windows of sight, every cell, foliage for the shortlist."""
    worked = made.worked
    profile = find_profile(country)
    of = making.Watching(country, worked.read, worked.walked, worked.habitat, worked.chance, profile)

    def choose() -> None:
        making.watch(of, Seats((), ()), Kept())  # nothing kept: all of it anew

    cells = int(np.isfinite(worked.read.elevation_m).sum())
    return Row(
        f"best three lookouts over {cells:,} cells, all pockets, foliage for the shortlist",
        f"{wall_seconds(choose, runs=3):.1f} s", target="10 s",
    )  # fmt: skip


def _watching(country: Country, made: Made) -> list[Row]:
    ready = ready_to_watch(country, made.plan)
    spots = _spots(made)
    found = []
    for marks in (spots[:4], spots):
        look = partial(watch_marks, ready, "; ".join(marks), within_m=1931.0)
        found.append(
            Row(
                f"from where {len(marks)} marks show within 1.2 mi",
                f"{wall_seconds(look):.2f} s",
                target="1 s",
            )
        )
    return found


def _looking(country: Country, made: Made) -> Row:
    ready = ready_to_look(country, made.plan)
    marks = landmarks(made.plan, country.grid)
    look = _moved(iter(cycle(_steps(made))), lambda place: _picture(ready, place, marks))
    return Row(
        "look from a moved place: shares, spots, foliage, glasses, strip 1440 px as PNG",
        f"{1000 * wall_seconds(look, runs=15):.0f} ms",
        target="150 ms",
    )


def _commands(country: Country, made: Made) -> list[Row]:
    """Whole commands, from the shell and back: start, reading, answer, files written. The compiled loops are kept."""
    folder, lookout = str(country.folder), made.plan.lookouts[0].place
    at, marks = f"{lookout.lat:.5f}, {lookout.lon:.5f}", "; ".join(_spots(made)[:4])
    asked = {
        "watch FOLDER --targets (4 marks) --within 1.2mi --json": (
            ["watch", folder, "--targets", marks, "--within", "1.2mi", "--json"], "1 s"
        ),
        "look FOLDER --at PLACE --json, map and strip drawn": (["look", folder, "--at", at, "--json"], "3 s"),
        "info FOLDER": (["info", folder], ""),
        "--help": (["--help"], "0.2 s"),
    }  # fmt: skip
    return [
        Row(
            f"the whole command `graylight {what}`",
            f"{wall_seconds(_command(words), runs=7):.2f} s",
            target=target,
        )
        for what, (words, target) in asked.items()
    ]


def _command(words: list[str]) -> Callable[[], object]:
    whole = [sys.executable, "-m", "graylight", *words]
    return partial(subprocess.run, whole, check=True, stdout=subprocess.DEVNULL)


def _spots(made: Made) -> list[str]:
    return [s.id for p in made.plan.pockets[:2] for s in (*p.feed[:1], *p.beds[:1], *p.crossings[:1])]


def _picture(ready: Ready, place: LonLat, marks: list[Landmark]) -> bytes:
    return strip_of(ready, look_from(ready, place), marks=marks).png()


def _steps(made: Made) -> list[LonLat]:
    """Places a few steps from each lookout."""
    return [
        LonLat(one.place.lon + 0.0004 * step, one.place.lat - 0.0002 * step)
        for step in range(1, 6)
        for one in made.plan.lookouts
    ]


def _moved(places: Iterator[LonLat], look: Callable[[LonLat], object]) -> Callable[[], object]:
    return lambda: look(next(places))

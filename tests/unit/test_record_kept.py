"""The record is never half kept: photos with their rows, kills in the middle, two writing at once."""

from __future__ import annotations

import shutil
import signal
import sqlite3
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from PIL import Image

from graylight.cli.main import main
from graylight.country.folder import PACKAGE, Country
from graylight.country.photos import read_photo
from graylight.plan.keeping import kept_plan
from graylight.plan.notebook import Notebook, open_notebook

DAY = "2026-08-27"


@pytest.fixture
def folder(small, tmp_path) -> Path:
    copy = tmp_path / "country"
    shutil.copytree(small, copy)
    return copy


def book_of(folder: Path) -> Notebook:
    country = Country.open(folder)
    return open_notebook(country, kept_plan(country))


def picture(path: Path, shade: int = 0) -> Path:
    Image.new("RGB", (8, 8), (shade, 0, 0)).save(path)
    return path


def here(folder: Path) -> str:
    spot = kept_plan(Country.open(folder)).pockets[0].centre
    return f"{spot.lat}, {spot.lon}"


def photos(folder: Path) -> list[str]:
    """Every file under photos/, also hidden ones."""
    return sorted(str(p.relative_to(folder)) for p in (folder / "photos").rglob("*") if p.is_file())


def rows(folder: Path, table: str) -> list[tuple[object, ...]]:
    with sqlite3.connect(folder / PACKAGE) as db:
        return db.execute(f"SELECT * FROM {table} ORDER BY 1").fetchall()


@pytest.mark.parametrize(
    "wrong",
    [
        ("seen", "--at", "12.0, 13.0", "--when", DAY),
        ("seen", "--from", "L1", "--bearing", "10", "--distance", "60km", "--when", DAY),
        ("seen", "--at", "HERE", "--when", DAY, "--sex", "buck"),
        ("seen", "--at", "HERE", "--when", "2026-02-30"),
        ("seen", "--change", "999", "--at", "HERE", "--when", DAY),
        ("sign", "--at", "HERE", "--when", DAY, "--kind", "hair"),
        ("sign", "--at", "12.0, 13.0", "--when", DAY),
    ],
    ids=" ".join,
)
def test_a_photo_of_what_is_refused_is_not_kept(folder, tmp_path, wrong, capsys):
    before = rows(folder, "sightings"), rows(folder, "sign")
    command, *words = [here(folder) if word == "HERE" else word for word in wrong]
    assert main([command, str(folder), "--photo", str(picture(tmp_path / "a.jpg")), *words]) == 2
    assert "\n" not in capsys.readouterr().err.strip()
    assert photos(folder) == []
    assert (rows(folder, "sightings"), rows(folder, "sign")) == before


KILLED = """
import os, signal, sys
from graylight.cli.main import main
import graylight.country.photos as photos, graylight.country.rows as rows, graylight.plan.photographed as photographed
def die(*_, **__):
    os.kill(os.getpid(), signal.SIGKILL)
WHERE
sys.exit(main(sys.argv[1:]))
"""
MOMENTS = {
    "before the photo lies there": ("photographed.set_aside = die", False),
    "between photo and row": ("rows._insert = die", False),
    "before the step is noted": ("rows.note_step = die", False),
    "after the row, before the photo is taken up": ("photographed.take_up = die", True),
}


@pytest.mark.parametrize("moment", MOMENTS)
def test_killed_at_any_moment_photo_and_row_are_both_there_or_neither(folder, tmp_path, moment):
    where, written = MOMENTS[moment]
    before = len(rows(folder, "sightings"))
    words = ["seen", str(folder), "--at", here(folder), "--when", f"{DAY} 06:20"]
    code = KILLED.replace("WHERE", where)
    done = subprocess.run(
        [sys.executable, "-c", code, *words, "--photo", str(picture(tmp_path / "a.jpg", 40))],
        capture_output=True, timeout=300, check=False,
    )  # fmt: skip
    assert done.returncode == -signal.SIGKILL, done.stderr
    assert len(rows(folder, "sightings")) == before + written
    if written:  # the row's photo can be read, wherever it lies
        named = book_of(folder).rows.read("sightings")[-1].values["photo"]
        assert read_photo(Country.open(folder), named).data == (tmp_path / "a.jpg").read_bytes()
    assert main([*words, "--photo", str(picture(tmp_path / "b.jpg", 90))]) == 0
    named = {r.values["photo"] for r in book_of(folder).rows.read("sightings")} - {None}
    assert photos(folder) == sorted(f"photos/{name}" for name in named)
    assert len(named) == 1 + written


def test_two_processes_writing_at_once_lose_nothing(folder, tmp_path):
    """Six sightings with photos from six processes, and six outings on the same morning: one of these is kept."""
    seat = kept_plan(Country.open(folder)).lookouts[0].id
    before = len(rows(folder, "sightings"))
    seen = [
        ["seen", str(folder), "--at", here(folder), "--when", f"{DAY} 06:2{i}", "--photo",
         str(picture(tmp_path / f"{i}.jpg", 10 * i))]
        for i in range(6)
    ]  # fmt: skip
    sat = [
        ["outing", str(folder), "--lookout", seat, "--from", f"{DAY} 05:{10 + i}", "--until", "08:40"]
        for i in range(3)
    ]

    def started(words: list[str]) -> int:
        command = [sys.executable, "-m", "graylight", *words]
        return subprocess.run(command, capture_output=True, timeout=500, check=False).returncode

    with ThreadPoolExecutor(4) as pool:
        ended = list(pool.map(started, seen + sat))
    assert ended[:6] == [0] * 6
    assert sorted(ended[6:]) == [0, 2, 2]
    kept = book_of(folder).rows.read("sightings")[before:]
    assert {r.values["date"][14:16] for r in kept} == {f"2{i}" for i in range(6)}
    assert photos(folder) == sorted(f"photos/{r.values['photo']}" for r in kept)
    assert len(rows(folder, "outings")) == 1
    with sqlite3.connect(folder / PACKAGE) as db:
        assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"

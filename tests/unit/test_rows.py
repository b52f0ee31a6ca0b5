"""Rows added and changed live: kept at once, taken back and done again, whole after a killed process."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
import threading
from contextlib import closing

import pyogrio
import pytest
import shapely

from graylight.country.entry import Sources, make_country
from graylight.country.folder import Country
from graylight.country.photos import keep_photo, read_photo
from graylight.country.rows import Rows
from graylight.country.shape_blob import from_blob, to_blob
from graylight.country.tables import LIVE
from graylight.errors import BadInput
from graylight.settings import Settings
from tests.unit.country_sources import NORTH, WEST, elevation

HERE = shapely.Point(WEST + 500, NORTH - 400)
THERE = shapely.Point(WEST + 700, NORTH - 300)
RING = shapely.box(WEST + 100, NORTH - 800, WEST + 600, NORTH - 200)


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> Country:
    home = tmp_path_factory.mktemp("made")
    return make_country(home / "c", Sources(elevation=elevation(home)), Settings())


@pytest.fixture
def country(made, tmp_path) -> Country:
    shutil.copytree(made.folder, tmp_path / "c")
    return Country.open(tmp_path / "c")


@pytest.fixture
def rows(country) -> Rows:
    return Rows(country)


def package(country):
    return country.folder / "country.gpkg"


def asked(country, sql):
    with closing(sqlite3.connect(package(country))) as db:
        return db.execute(sql).fetchall()


def left_behind(country):
    return sorted(p.name for p in country.folder.iterdir() if p.name.startswith("country.gpkg-"))


def check_package(country):
    """What OGC 12-128 asks of the contents, SQLite's own check, and OGR's reading of every table."""
    assert asked(country, "PRAGMA integrity_check") == [("ok",)]
    assert asked(country, "PRAGMA foreign_key_check") == []
    told = dict(asked(country, "SELECT table_name, data_type FROM gpkg_contents"))
    for spec in LIVE:
        assert told[spec.name] == "features"
        fids = [fid for (fid,) in asked(country, f"SELECT fid FROM {spec.name} ORDER BY fid")]
        _, seen, shapes, _ = pyogrio.raw.read(str(package(country)), layer=spec.name, return_fids=True)
        assert seen.tolist() == fids
        counted = asked(
            country, f"SELECT feature_count FROM gpkg_ogr_contents WHERE table_name = '{spec.name}'"
        )
        assert counted == [(len(fids),)]
        here = [shape for shape in shapely.from_wkb(shapes) if shape is not None]
        box = asked(
            country, f"SELECT min_x, min_y, max_x, max_y FROM gpkg_contents WHERE table_name = '{spec.name}'"
        )
        assert box == ([tuple(shapely.total_bounds(here))] if here else [(None,) * 4])
    assert left_behind(country) == []


# --- rows ----------------------------------------------------------------------------------------------------------


def test_a_row_is_added_changed_and_removed(country, rows):
    kept = rows.add("places", HERE, kind="water", name="Cold\x1b one", note="dry\r\nin fall")
    assert kept.values == {"kind": "water", "name": "Cold one", "note": "dry\nin fall", "photo": None}
    moved = rows.change("places", kept.id, geometry=THERE, note="wet")
    assert moved.geometry.equals(THERE)
    assert moved.values == {**kept.values, "note": "wet"}
    assert rows.get("places", kept.id) == moved
    assert rows.read("places") == [moved]
    check_package(country)
    assert rows.remove("places", kept.id) == moved
    assert rows.read("places") == []
    check_package(country)


def test_a_number_is_given_once(rows):
    first = rows.add("sign", HERE, kind="tracks")
    rows.remove("sign", first.id)
    assert rows.add("sign", HERE, kind="tracks").id > first.id


def test_every_shape_is_read_by_ogr_as_it_was_given(country, rows):
    line = shapely.LineString([HERE, THERE])
    rows.add("traces", line, name="up")
    rows.add("edits", RING, what="add", target="")
    rows.add("edits", HERE, what="add", target="")
    rows.add("edits", None, what="drop", target="P3")
    rows.add("sightings", shapely.Point(HERE.x, HERE.y, 2700.0), animal="elk", count=3, distance_m=120)
    assert country.features("traces")[0].geometry.equals(shapely.MultiLineString([line]))
    assert [f.geometry.geom_type for f in country.features("edits")] == ["Polygon", "Point"]
    (seen,) = country.features("sightings")
    assert (seen.geometry.has_z, seen.properties["count"], seen.properties["distance_m"]) == (False, 3, 120.0)
    assert [row.geometry for row in rows.read("edits")][2] is None
    check_package(country)


def test_geometry_bytes_are_those_that_ogr_writes(country, rows):
    """A polygon written by OGR into another GeoPackage has the same bytes as ours, head and all."""
    rows.add("edits", RING, what="add")
    other = country.folder / "other.gpkg"
    pyogrio.raw.write(
        str(other), shapely.to_wkb([RING]), [], [], layer="t", driver="GPKG", geometry_type="Polygon", crs=country.grid.crs
    )  # fmt: skip
    with closing(sqlite3.connect(other)) as db:
        (theirs,) = db.execute("SELECT geom FROM t").fetchone()
    assert to_blob(RING, 32612) == theirs
    assert from_blob(theirs).equals(RING)


@pytest.mark.parametrize(
    "blob", [None, b"", b"GP", b"GP\0\x01\0\0\0\0\1\2", b"GP\0\x0f\0\0\0\0" + b"\1" * 99, "text"]
)
def test_a_geometry_that_cant_be_read_is_none(blob):
    assert from_blob(blob) is None


def test_columns_of_a_newer_version_are_kept(country, rows):
    with closing(sqlite3.connect(package(country))) as db, db:
        db.execute("ALTER TABLE places ADD COLUMN mood TEXT")
        db.execute("ALTER TABLE places ADD COLUMN extra BLOB")
    kept = rows.add("places", HERE, name="Camp")
    with closing(sqlite3.connect(package(country))) as db, db:
        db.execute("UPDATE places SET mood = 'calm', extra = x'00ff'")
    changed = rows.change("places", kept.id, name="Low camp")
    assert (changed.values["mood"], changed.values["extra"]) == ("calm", b"\x00\xff")
    rows.remove("places", kept.id)
    rows.undo()
    assert rows.get("places", kept.id) == changed


@pytest.mark.parametrize(
    ("table", "geometry", "values", "words"),
    [
        ("roads", HERE, {}, "no rows are kept in a table 'roads'; accepted are places"),
        ("places; DROP TABLE places", HERE, {}, "no rows are kept"),
        ("steps", HERE, {}, "no rows are kept"),
        ("places", HERE, {"fid": 7}, "a place has no 'fid'; accepted are kind, name"),
        ("places", HERE, {'name" = 1 --': "x"}, "a place has no"),
        ("places", HERE, {"name": 7}, "the name of a place is 7; accepted is text"),
        ("places", HERE, {"name": "x" * 100_001}, "at most 100000 characters"),
        ("sightings", HERE, {"count": True}, "accepted is a whole number"),
        ("sightings", HERE, {"count": 2**63}, "accepted is a whole number"),
        ("sightings", HERE, {"distance_m": float("nan")}, "accepted is a number"),
        ("places", RING, {}, "was given Polygon as its shape; accepted is Point"),
        ("places", None, {}, "was given nothing as its shape"),
        ("places", shapely.Point(), {}, "empty or endless"),
        ("places", shapely.Point(float("inf"), 1), {}, "empty or endless"),
        ("edits", shapely.Polygon([(0, 0), (9, 9), (9, 0), (0, 9)]), {}, "crosses itself"),
        ("edits", shapely.GeometryCollection([HERE]), {}, "GeometryCollection"),
    ],
)
def test_what_cant_be_kept_is_refused_in_one_line(country, rows, table, geometry, values, words):
    before = package(country).read_bytes()
    with pytest.raises(BadInput, match=words) as told:
        rows.add(table, geometry, **values)
    assert "\n" not in str(told.value)
    assert package(country).read_bytes() == before


@pytest.mark.parametrize("id", [0, 99, -1, 2**70])
def test_a_row_that_is_not_there(rows, id):
    for ask in (rows.get, rows.change, rows.remove):
        with pytest.raises(BadInput, match=f"there is no place {id};"):
            ask("places", id)


# --- steps ---------------------------------------------------------------------------------------------------------


def test_undo_and_redo_survive_a_restart(country):
    kept = Rows(country).add("places", HERE, name="Camp")
    Rows(country).change("places", kept.id, name="Low camp")
    Rows(country).remove("places", kept.id)
    seen = []
    for _ in range(3):
        rows = Rows(Country.open(country.folder))
        seen.append(rows.can_undo())
        assert rows.undo().words == seen[-1]
    assert seen == [
        "remove the place 'Low camp'",
        "change the place 'Low camp': name",
        "add the place 'Camp'",
    ]
    assert Rows(country).undo() is None
    assert Rows(country).can_undo() is None
    assert Rows(country).read("places") == []
    for words in reversed(seen):
        assert Rows(country).redo().words == words
    assert Rows(country).redo() is None
    assert Rows(country).read("places") == []
    Rows(country).undo()
    assert Rows(country).get("places", kept.id).values["name"] == "Low camp"
    check_package(country)


def add_and_fail(rows):
    with rows.together():
        rows.add("places", THERE, name="Other")
        rows.get("places", 99)


def test_several_changes_are_one_step_or_none(rows):
    with rows.together():
        spot = rows.add("places", HERE, name="Camp")
        rows.add("edits", None, what="drop", target="P3")
        assert rows.read("places") == [spot]  # the thread that writes sees its own
    assert rows.revision() == 1
    assert rows.can_undo() == "add the place 'Camp' and drop P3"
    rows.undo()
    assert rows.read("places") == rows.read("edits") == []
    rows.redo()
    assert rows.read("places") == [spot]
    with pytest.raises(BadInput, match="there is no place 99"):
        add_and_fail(rows)
    assert [row.values["name"] for row in rows.read("places")] == ["Camp"]
    assert rows.revision() == 3


def test_the_revision_grows_with_every_step_and_with_nothing_else(rows):
    assert rows.revision() == 0
    kept = rows.add("places", HERE, name="Camp")
    rows.change("places", kept.id, name="Camp")  # as it was: no step
    with rows.together():
        pass
    assert rows.revision() == 1
    rows.undo()
    rows.undo()
    assert rows.revision() == 2
    rows.redo()
    assert rows.revision() == 3
    rows.undo()
    rows.add("places", THERE)  # what was taken back can't be done again now
    assert (rows.revision(), rows.can_redo()) == (5, None)


def test_edits_are_told_as_they_were_said(rows):
    said = [
        ("drop", "P3", None),
        ("rename", "L2", "Raven seat"),
        ("set", "date", "2026-09-12"),
        ("accept", "P1", ""),
    ]
    for what, target, value in said:
        rows.add("edits", None, what=what, target=target, value=value)
    told = [rows.undo().words for _ in said]
    assert told == [
        "accept P1",
        "set the morning planned for to 2026-09-12",
        "rename L2 to 'Raven seat'",
        "drop P3",
    ]


def test_what_was_added_is_told_by_what_it_is(rows):
    seat = rows.add("edits", HERE, what="add", target="", value="Raven seat")
    assert rows.can_undo() == "add a lookout 'Raven seat'"
    rows.change("edits", seat.id, geometry=THERE)
    assert rows.can_undo() == "move the lookout 'Raven seat'"
    ring = rows.add("edits", RING, what="add", target="")
    assert rows.can_undo() == "add a pocket"
    rows.change("edits", ring.id, geometry=RING.buffer(20))
    assert rows.can_undo() == "redraw the pocket"
    rows.remove("edits", ring.id)
    assert rows.can_undo() == "take back: add a pocket"


def test_undo_leaves_alone_what_another_program_changed_since(country, rows):
    kept = rows.add("places", HERE, name="Camp", note="old")
    rows.change("places", kept.id, name="Low camp")
    with closing(sqlite3.connect(package(country))) as db, db:
        db.execute("UPDATE places SET note = 'from elsewhere'")
    rows.undo()
    assert rows.get("places", kept.id).values == {
        "kind": None, "name": "Camp", "note": "from elsewhere", "photo": None,
    }  # fmt: skip
    with closing(sqlite3.connect(package(country))) as db, db:
        db.execute("DELETE FROM places")
    rows.redo()  # the row is back rather than lost
    assert rows.get("places", kept.id).values["name"] == "Low camp"


# --- killed, locked, two at once -----------------------------------------------------------------------------------

SAVING = """
import sys
from pathlib import Path
import shapely
from graylight.country.folder import Country
from graylight.country.rows import Rows
rows = Rows(Country.open(Path(sys.argv[1])))
for i in range(10_000):
    row = rows.add("places", shapely.Point(400_500 + i, 4_399_600), name=f"{sys.argv[2]}{i}")
    print(row.id, flush=True)
"""
SPILLING = """
import os, signal, sys
from pathlib import Path
import shapely
from graylight.country.folder import Country
from graylight.country.rows import Rows
rows = Rows(Country.open(Path(sys.argv[1])))
with rows.together():
    for i in range(60):
        rows.add("places", shapely.Point(400_500, 4_399_600), note="x" * 99_000)
    os.kill(os.getpid(), signal.SIGKILL)
"""
no_kill = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs SIGKILL")


def started(code, *words):
    return subprocess.Popen([sys.executable, "-c", code, *map(str, words)], stdout=subprocess.PIPE, text=True)


@no_kill
@pytest.mark.parametrize("after", [1, 3, 8, 20])
def test_a_killed_process_loses_nothing_that_was_shown_as_saved(country, after):
    with started(SAVING, country.folder, "a") as process:
        shown = [int(process.stdout.readline()) for _ in range(after)]
        process.kill()
        shown += map(int, process.stdout.read().split())
    found = [row.id for row in Rows(country).read("places")]
    assert found[: len(shown)] == shown
    assert len(found) <= len(shown) + 1  # the one that was saved and not yet shown
    assert len(country.features("places")) == len(found)
    assert Rows(country).revision() == len(found)
    Rows(country).add(
        "sign", HERE
    )  # a journal in which nothing had been written yet stays until the next change
    check_package(country)


@no_kill
def test_a_step_cut_off_half_written_is_taken_back_by_whoever_reads_first(country):
    """The step is bigger than SQLite's page cache, so the file itself is half changed when the process dies."""
    Rows(country).add("places", HERE, name="Camp")
    before = package(country).stat().st_size
    with started(SPILLING, country.folder) as process:
        assert process.wait() != 0
    assert left_behind(country) == ["country.gpkg-journal"]
    assert package(country).stat().st_size > before
    assert [f.properties["name"] for f in country.features("places")] == [
        "Camp"
    ]  # by a reader that may not write
    assert Rows(country).can_undo() == "add the place 'Camp'"
    check_package(country)


def test_two_processes_write_at_once(country):
    both = [started(SAVING.replace("10_000", "40"), country.folder, name) for name in "ab"]
    ids = [int(line) for process in both for line in process.communicate()[0].split()]
    assert sorted(ids) == list(range(1, 81))
    names = {row.values["name"] for row in Rows(country).read("places")}
    assert names == {f"{letter}{i}" for letter in "ab" for i in range(40)}
    assert Rows(country).revision() == 80
    check_package(country)


def test_threads_share_one_handle(country, rows):
    def work(name):
        for i in range(10):
            with rows.together():
                kept = rows.add("places", HERE, name=f"{name}{i}")
                rows.change("places", kept.id, note="twice")
            rows.read("places")

    threads = [threading.Thread(target=work, args=(name,)) for name in "abcd"]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    found = rows.read("places")
    assert len({row.values["name"] for row in found}) == 40
    assert all(row.values["note"] == "twice" for row in found)
    assert rows.revision() == 40
    check_package(country)


def test_a_locked_file_is_said_in_one_line(country, rows, monkeypatch):
    monkeypatch.setattr("graylight.country.tables.WAIT_S", 0.05)
    with closing(sqlite3.connect(package(country), isolation_level=None)) as db:
        db.execute("BEGIN EXCLUSIVE")
        for ask in (
            lambda: rows.add("places", HERE),
            rows.undo,
            lambda: rows.read("places"),
            lambda: country.features("places"),
        ):
            with pytest.raises(BadInput, match=r"country\.gpkg is locked: another program"):
                ask()
    assert rows.add("places", HERE).id == 1


def test_a_file_that_another_program_left_with_a_log_is_put_back(country, rows):
    """Some programs turn write-ahead logging on, which stays with the file and leaves two more beside it."""
    with closing(sqlite3.connect(package(country))) as db:
        assert db.execute("PRAGMA journal_mode=WAL").fetchone() == ("wal",)
    rows.add("places", HERE, name="Camp")
    assert asked(country, "PRAGMA journal_mode") == [("delete",)]
    check_package(country)


def test_a_damaged_or_missing_file_is_said(country, rows):
    package(country).write_bytes(b"not a database" * 100)
    with pytest.raises(BadInput, match="is damaged"):
        rows.add("places", HERE)
    package(country).unlink()
    with pytest.raises(BadInput, match="unable to open"):
        rows.read("places")
    assert not package(country).exists()


# --- photos --------------------------------------------------------------------------------------------------------

JPEG, PNG = b"\xff\xd8\xff\xe0rest", b"\x89PNG\r\n\x1a\nrest"


def test_a_photo_is_kept_as_it_is_under_a_name_of_its_own(country):
    name = keep_photo(country, JPEG)
    assert name.endswith(".jpg")
    assert keep_photo(country, JPEG) == name
    found = read_photo(country, name)
    assert (found.data, found.media) == (JPEG, "image/jpeg")
    assert keep_photo(country, PNG).endswith(".png")
    assert len(list((country.folder / "photos").iterdir())) == 2


@pytest.mark.parametrize("data", [b"", b"GIF89a", b"<svg/>", b"<html>", b"RIFF1234WAVE"])
def test_other_files_are_no_photos(country, data):
    with pytest.raises(BadInput, match="accepted is a JPEG, PNG or WebP picture"):
        keep_photo(country, data)
    assert not (country.folder / "photos").exists()


@pytest.mark.parametrize(
    "name", ["../country.json", "/etc/hosts", "", "x.jpg", "0" * 32 + ".svg", "0" * 32 + ".jpg\n"]
)
def test_only_names_of_photos_are_read(country, name):
    assert read_photo(country, name) is None

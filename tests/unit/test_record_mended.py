"""Rows of the record put right and taken away by the commands; rows of a newer version are left as they are."""

from __future__ import annotations

import sqlite3

import pytest

from graylight.country.folder import PACKAGE
from graylight.plan.notebook import GivenOuting
from graylight.plan.record import RECORD
from graylight.plan.sighted import GivenSighting, GivenSign, add_sighting, add_sign, add_trace
from tests.unit.test_record_told import DAY, book, folder, run, spot  # noqa: F401

# ruff: noqa: F811


def kept(folder, table):
    """The rows as they lie in the file."""
    with sqlite3.connect(folder / PACKAGE) as db:
        return db.execute(f"SELECT * FROM {table} ORDER BY 1").fetchall()


def all_kept(folder):
    return [kept(folder, table) for table in ("outings", "sightings", "sign", "traces", "steps")]


def the_sign(book, number):
    return next(one for one in book.record().sign if one.id == number)


# --- sign ----------------------------------------------------------------------------------------------------------


def test_sign_is_corrected_as_a_sighting_is_and_the_rest_stays(book, folder, capsys):
    told = add_sign(book, GivenSign(spot(book), "rub", "old", DAY, note="on a fir"))
    before = the_sign(book, told.id)
    assert run("sign", folder, "--change", told.id, "--age", "fresh") == 0
    now = the_sign(book, told.id)
    assert (now.kind, now.age, now.day) == ("rub", "fresh", before.day)
    assert book.rows.get("sign", told.id).values["note"] == "on a fir"
    assert now.point == before.point
    assert (
        run(
            "sign",
            folder,
            "--change",
            told.id,
            "--kind",
            "bed",
            "--at",
            "{0.lat}, {0.lon}".format(spot(book, 1)),
        )
        == 0
    )
    now = the_sign(book, told.id)
    assert (now.kind, now.age) == ("bed", "fresh")
    assert now.point.distance(book.point(spot(book, 1))) < 1.0
    assert book.rows.can_undo().startswith("move the sign")
    capsys.readouterr()
    assert run("sign", folder, "--remove", told.id) == 0
    assert "The sign" in capsys.readouterr().out
    assert book.rows.undo() is not None
    assert the_sign(book, told.id) == now


@pytest.mark.parametrize(
    ("words", "options"),
    [
        ("there is no sign 99", ("--change", 99, "--age", "fresh")),
        ("--kind is 'hair'", ("--change", 1, "--kind", "hair")),
        ("--age is 'new'", ("--change", 1, "--age", "new")),
        ("lies outside the country", ("--change", 1, "--at", "12.0, 13.0")),
        ("there is no outing 7", ("--change", 1, "--outing", 7)),
        ("but outing 1 was on", ("--change", 1, "--outing", 1)),
        ("by itself", ("--change", 1, "--remove", 1)),
        ("by itself", ("--change", 1, "--remove-trail", 1)),
        ("a trail's course", ("--change", 1, "--line", "40.4, -114.8; 40.5, -114.8")),
        ("can't be read", ("--change", 1, "--photo", "none.jpg")),
    ],
)
def test_a_correction_of_sign_that_is_refused_changes_nothing(book, folder, capsys, words, options):
    book.add_outing(GivenOuting(where=book.plan.lookouts[0].id, begin="2026-08-20 05:10", end="08:40"))
    add_sign(book, GivenSign(spot(book), "rub", "old", DAY))
    before = all_kept(folder)
    capsys.readouterr()
    assert run("sign", folder, *options) == 2
    said = capsys.readouterr().err
    assert words in said
    assert len(said.strip().splitlines()) == 1
    assert all_kept(folder) == before


def test_new_sign_is_tracks_where_no_kind_is_given(book, folder):
    assert run("sign", folder, "--at", "{0.lat}, {0.lon}".format(spot(book)), "--when", DAY) == 0
    assert book.record().sign[-1].kind == "tracks"


# --- rows of a newer version -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("table", ["outings", "sightings", "sign"])
def test_a_row_of_a_newer_version_is_refused_in_one_line_and_nothing_is_lost(book, folder, capsys, table):
    """By every way in: what is changed, placed anew, taken away or added beside it."""
    book.add_outing(GivenOuting(where=book.plan.lookouts[0].id, begin=f"{DAY} 05:10", end="08:40"))
    number = add_sighting(book, GivenSighting(at=spot(book), when=f"{DAY} 06:20", count=2)).id
    add_sign(book, GivenSign(spot(book), "rub", "old", DAY))
    add_trace(book, [spot(book), spot(book, 1)], None)
    with sqlite3.connect(folder / PACKAGE) as db:
        db.execute(f"ALTER TABLE {table} ADD COLUMN mood TEXT")
        db.execute(
            f"UPDATE {table} SET record = {RECORD + 1}, mood = 'fine' WHERE fid = (SELECT max(fid) FROM {table})"
        )
    before = all_kept(folder)
    at = "{0.lat}, {0.lon}".format(spot(book, 1))
    for command in (
        ("seen", folder, "--change", number, "--count", "3"),
        ("seen", folder, "--change", number, "--at", at),
        ("seen", folder, "--remove", number),
        ("seen", folder, "--at", at, "--when", DAY),
        ("sign", folder, "--change", 1, "--age", "fresh"),
        ("sign", folder, "--remove", 1),
        ("outing", folder, "--change", 1, "--people", "1"),
        ("outing", folder, "--remove", 1),
    ):
        capsys.readouterr()
        assert run(*command) == 2, command
        said = capsys.readouterr().err.strip()
        assert "newer version" in said, command
        assert len(said.splitlines()) == 1
        assert all_kept(folder) == before, command

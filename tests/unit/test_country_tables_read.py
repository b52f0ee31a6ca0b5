"""Tables are read as GDAL reads them, and while rows are being written."""

from __future__ import annotations

import shutil
import sqlite3
import threading

import pyogrio
import pytest
import shapely
from shapely import Point

from graylight.country.folder import Country
from graylight.country.rows import Rows
from graylight.country.tables import TABLES, read_table, table_names


@pytest.mark.parametrize("table", TABLES)
def test_tables_are_read_as_gdal_reads_them(small, table):
    path = small / "country.gpkg"
    if table not in table_names(path):
        assert read_table(path, table) == []
        return
    meta, _, shapes, columns = pyogrio.raw.read(str(path), layer=table, datetime_as_string=True)
    found = read_table(path, table)
    assert len(found) == len(shapes)
    for i, (one, shape) in enumerate(zip(found, shapely.from_wkb(shapes), strict=True)):
        assert one.geometry.wkb == shapely.force_2d(shape).wkb
        assert list(one.properties) == list(meta["fields"])
        for value, column in zip(one.properties.values(), columns, strict=True):
            theirs = column[i]
            assert value == theirs or (value is None and (theirs is None or theirs != theirs))


def test_what_another_program_put_into_a_column_keeps_its_kind(small, tmp_path):
    """SQLite keeps any value in any column; what is no number in a column of numbers is none."""
    folder = shutil.copytree(small, tmp_path / "country")
    rows = Rows(Country.open(folder))
    for count in (1, 2, 3):
        rows.add("sightings", Point(700000.0, 4480000.0), animal="deer", count=count)
    ids = [row.id for row in rows.read("sightings")][-3:]
    db = sqlite3.connect(folder / "country.gpkg")
    db.execute("UPDATE sightings SET count = 'four' WHERE fid = ?", (ids[0],))
    db.execute("UPDATE sightings SET count = X'35', distance_m = 7 WHERE fid = ?", (ids[1],))
    db.commit()
    db.close()
    told = [
        (one.properties["count"], one.properties["distance_m"])
        for one in read_table(folder / "country.gpkg", "sightings")
    ]
    assert told[-3:] == [(None, None), (5, 7.0), (3, None)]
    assert isinstance(told[-2][1], float)


def test_a_table_is_read_while_rows_are_written(small, tmp_path):
    """A step that is not done yet is not seen, and reading neither waits for it nor breaks it."""
    folder = shutil.copytree(small, tmp_path / "country")
    rows, path = Rows(Country.open(folder)), folder / "country.gpkg"
    before = len(read_table(path, "places"))
    inside, go = threading.Event(), threading.Event()

    def write():
        with rows.together():
            rows.add("places", Point(700000.0, 4480000.0), name="a")
            inside.set()
            go.wait(10)
            rows.add("places", Point(700000.0, 4480000.0), name="b")

    writer = threading.Thread(target=write)
    writer.start()
    inside.wait(10)
    assert len(read_table(path, "places")) == before
    go.set()
    writer.join(20)
    assert len(read_table(path, "places")) == before + 2

"""What would harm whoever opens it, handed over at every door: a country made, a boundary, files taken in, the page's files.

Each attack was first seen to work on the reader that the program uses, or is one that its format allows.
"""

from __future__ import annotations

import json
import shutil
import sqlite3
import struct
import zipfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
import shapely
from pyogrio import raw
from pyproj import Transformer

from graylight.cli.main import main
from graylight.country.entry import Sources, make_country
from graylight.country.incoming import receiving
from graylight.country.sealed import MOST_TABLES, why_unsealed
from graylight.errors import BadInput
from graylight.settings import Settings
from tests.unit.country_sources import NORTH, WEST, ZONE, elevation

ENDLESS = "WITH RECURSIVE c(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM c) SELECT x AS fid, geom FROM c, unit"
SIDES = np.random.default_rng(1).uniform(50.0, 800.0, (1500, 2))
"""Of an outline of nothing but crossings, about a million."""


def degrees(east: float, south: float) -> tuple[float, float]:
    lon, lat = Transformer.from_crs(ZONE, "EPSG:4326", always_xy=True).transform(WEST + east, NORTH - south)
    return float(lon), float(lat)


def layer(path: Path, count: int = 3) -> Path:
    """A GeoPackage of plain squares, as a reader's own writer makes it."""
    corners = np.array([degrees(100.0 + i % 40 * 10, 100.0 + i // 40 * 5) for i in range(count)])
    squares = shapely.box(corners[:, 0], corners[:, 1], corners[:, 0] + 1e-5, corners[:, 1] + 1e-5)
    raw.write(
        str(path), shapely.to_wkb(squares), [np.array(["a"] * count, object)], ["name"], geometry_type="Polygon",
        crs="EPSG:4326", layer="unit", driver="GPKG",
    )  # fmt: skip
    return path


def changed(path: Path, *lines: str) -> Path:
    with closing(sqlite3.connect(path)) as db, db:
        db.execute("BEGIN")
        for line in lines:
            db.execute(line)
    return path


def listed(name: str) -> tuple[str, str]:
    return (
        f"INSERT INTO gpkg_contents(table_name, data_type, identifier, srs_id) VALUES('{name}', 'features', '{name}', 4326)",
        f"INSERT INTO gpkg_geometry_columns VALUES('{name}', 'geom', 'POLYGON', 4326, 0, 0)",
    )


def view(path: Path) -> Path:
    return changed(layer(path), f"CREATE VIEW more AS {ENDLESS}", *listed("more"))


def crossed(path: Path) -> Path:
    query = "SELECT a.fid, a.geom FROM unit a, unit b, unit c, unit d, unit e"
    return changed(layer(path, 300), f"CREATE VIEW more AS {query}", *listed("more"))


def disguised(path: Path) -> Path:
    """The same behind a comment, and with a plain table's kind."""
    changed(layer(path), f"CREATE VIEW more AS {ENDLESS}", *listed("more"))
    with closing(sqlite3.connect(path)) as db, db:
        db.execute("PRAGMA writable_schema = 1")
        db.execute(
            "UPDATE sqlite_master SET sql = '/* create table */ ' || sql, type = 'table' WHERE name = 'more'"
        )
    return path


def virtual(path: Path) -> Path:
    return changed(layer(path), "CREATE VIRTUAL TABLE other USING fts5(text)")


def reckoned(path: Path) -> Path:
    """A column of 800 MB of text a row, in a file of 100 kB."""
    layer(path)
    column = '"name" TEXT, "big" TEXT GENERATED ALWAYS AS (hex(zeroblob(400000000))) VIRTUAL'
    with closing(sqlite3.connect(path)) as db, db:
        db.execute("PRAGMA writable_schema = 1")
        db.execute(
            "UPDATE sqlite_master SET sql = replace(sql, '\"name\" TEXT', ?) WHERE name = 'unit'", (column,)
        )
    return path


def looped(path: Path) -> Path:
    """A spatial index thirty levels deep, every node of which leads fifty times to the next: 50 ** 30 leaves."""
    layer(path, 3000)
    with closing(sqlite3.connect(path)) as db, db:
        (size,) = db.execute("SELECT length(data) FROM rtree_unit_geom_node WHERE nodeno = 1").fetchone()
        count = (size - 4) // 24
        db.execute("DELETE FROM rtree_unit_geom_node")
        for node in range(1, 32):
            cells = struct.pack(">q4f", node + 1, -180, 180, -90, 90) * count
            data = struct.pack(">HH", 30 if node == 1 else 0, count) + cells
            db.execute("INSERT INTO rtree_unit_geom_node VALUES(?, ?)", (node, data.ljust(size, b"\0")))
    return path


def crowded(path: Path) -> Path:
    tables = [f"CREATE TABLE t{n}(fid INTEGER PRIMARY KEY, geom BLOB)" for n in range(MOST_TABLES)]
    return changed(layer(path), *tables, *(line for n in range(MOST_TABLES) for line in listed(f"t{n}")))


def many(path: Path) -> Path:
    """Few enough tables, too many layers: each is opened anew."""
    tables = [f"CREATE TABLE t{n}(fid INTEGER PRIMARY KEY, geom BLOB)" for n in range(210)]
    return changed(layer(path), *tables, *(line for n in range(210) for line in listed(f"t{n}")))


def noise(path: Path) -> Path:
    path.write_bytes(b"SQLite format 3\0" + np.random.default_rng(1).bytes(50_000))
    return path


def cut(path: Path) -> Path:
    path.write_bytes(layer(path).read_bytes()[:20_000])
    return path


def no_magic(path: Path) -> Path:
    path.write_bytes(np.random.default_rng(1).bytes(50_000))
    return path


def tangle(path: Path) -> Path:
    ring = [degrees(*spot) for spot in SIDES]
    path.write_text(json.dumps({"type": "Polygon", "coordinates": [[*ring, ring[0]]]}))
    return path


def long_json(path: Path) -> Path:
    """Well formed and useless: 64 MB and a little more."""
    path.write_text('{"type": "FeatureCollection", "features": [], "x": "' + "a" * 2**26 + '"}')
    return path


def points_elsewhere(path: Path) -> Path:
    """A virtual layer under another name: the reader alone would open what it points to."""
    secret = layer(path.with_name("secret.gpkg"))
    path.write_text(
        f'<OGRVRTDataSource><OGRVRTLayer name="unit"><SrcDataSource>{secret}</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>'
    )
    return path


def pipeline(path: Path) -> Path:
    """A file that is an order to the reader."""
    path.write_text(
        json.dumps({"type": "gdal_streamed_alg", "command_line": "gdal vector pipeline ! read x ! write y"})
    )
    return path


ATTACKS: dict[str, tuple[str, Callable[[Path], Path], str]] = {
    "endless view": ("unit.gpkg", view, "views"),
    "cross join": ("unit.gpkg", crossed, "views"),
    "disguised view": ("unit.gpkg", disguised, "views|can't be read"),
    "virtual table": ("unit.gpkg", virtual, "virtual tables"),
    "reckoned column": ("unit.gpkg", reckoned, "reckoned when they are read"),
    "index that loops": ("unit.gpkg", looped, "leads back to itself"),
    "thousands of tables": ("unit.gpkg", crowded, "1,000 tables"),
    "hundreds of layers": ("unit.gpkg", many, "211 layers"),
    "noise": ("unit.gpkg", noise, "can't be read"),
    "cut short": ("unit.gpkg", cut, "can't be read"),
    "no magic": ("unit.gpkg", no_magic, "can't be read|no GeoPackage|no file that can be"),
    "crossings": ("unit.geojson", tangle, "crosses itself more than"),
    "long JSON": ("unit.geojson", long_json, "64|67,108,864"),
    "points elsewhere": ("unit.gpx", points_elsewhere, "accepted is <gpx>|not gpx"),
    "an order": ("unit.json", pipeline, "GeoJSON"),
}


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    folder = tmp_path_factory.mktemp("home")
    make_country(folder / "country", Sources(elevation=elevation(folder)), Settings())
    return folder


def words_of(door: str, home: Path, path: Path, tmp_path: Path) -> list[str]:
    if door == "new":
        return [
            "new",
            str(tmp_path / "made"),
            "--elevation",
            str(next(home.glob("*.tif"))),
            "--vectors",
            str(path),
        ]
    if door == "inside":
        return ["gather", str(tmp_path / "made"), "--inside", str(path), "--estimate"]
    shutil.copytree(home / "country", tmp_path / "country")
    return ["take", str(tmp_path / "country"), str(path)]


@pytest.mark.parametrize("packed", [False, True], ids=["bare", "zip"])
@pytest.mark.parametrize("door", ["new", "inside", "take"])
@pytest.mark.parametrize("attack", [*ATTACKS])
def test_one_line_and_nothing_made(home, tmp_path, capsys, attack, door, packed):
    name, make, words = ATTACKS[attack]
    path = make(tmp_path / name)
    if packed:
        with zipfile.ZipFile(tmp_path / "unit.zip", "w") as out:
            out.write(path, name)
        path = tmp_path / "unit.zip"
    if attack == "crossings" and door == "new":
        told_in_the_record(home, tmp_path, path, words)
        return
    assert main(words_of(door, home, path, tmp_path)) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert any(word in said for word in words.split("|")), said
    assert not (tmp_path / "made").exists()


def told_in_the_record(home: Path, tmp_path: Path, path: Path, words: str) -> None:
    """An area that can't be used is no reason to make no country: it is left out, and said."""
    made = make_country(
        tmp_path / "made", Sources(elevation=next(home.glob("*.tif")), vectors=(path,)), Settings()
    )
    assert any(words in line for line in made.record)
    assert not made.features("unit")


@pytest.mark.parametrize(
    "attack", [a for a in ATTACKS if a not in {"crossings", "hundreds of layers", "no magic"}]
)
def test_the_pages_files_go_by_the_same(tmp_path, attack):
    name, make, words = ATTACKS[attack]
    path = make(tmp_path / name)
    with receiving() as incoming, path.open("rb") as file, pytest.raises(BadInput) as told:
        incoming.take(name, file)
    assert any(word in str(told.value) for word in words.split("|"))


def test_changes_that_lie_beside_a_file_are_part_of_it(home, tmp_path, capsys):
    """The view lies in the log of changes alone, which the reader takes in, and into the file, too."""
    path = layer(tmp_path / "first.gpkg")
    with closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA journal_mode = WAL")
        db.execute("PRAGMA wal_autocheckpoint = 0")
        db.execute(f"CREATE VIEW more AS {ENDLESS}")
        for line in listed("more"):
            db.execute(line)
        db.commit()
        shutil.copy(path, tmp_path / "unit.gpkg")
        shutil.copy(tmp_path / "first.gpkg-wal", tmp_path / "unit.gpkg-wal")
    before = (tmp_path / "unit.gpkg").read_bytes()
    for door in ("new", "inside", "take"):
        assert main(words_of(door, home, tmp_path / "unit.gpkg", tmp_path)) == 2
        assert "was not closed" in capsys.readouterr().err
    assert (tmp_path / "unit.gpkg").read_bytes() == before


def test_a_link_in_an_archive_is_refused_at_every_door(home, tmp_path, capsys):
    info = zipfile.ZipInfo("unit.gpkg")
    info.external_attr = 0o120777 << 16
    with zipfile.ZipFile(tmp_path / "unit.zip", "w") as out:
        out.writestr(info, "/etc/hostname")
    for door in ("new", "inside", "take"):
        assert main(words_of(door, home, tmp_path / "unit.zip", tmp_path)) == 2
        assert "a link to another place" in capsys.readouterr().err


@pytest.mark.parametrize("count", [1, 3000])
def test_plain_ones_pass(home, tmp_path, count):
    """The reader's own spatial index, of one node and of many; triggers for its upkeep are not run by reading."""
    path = changed(
        layer(tmp_path / "unit.gpkg", count),
        "CREATE TRIGGER more AFTER INSERT ON unit BEGIN SELECT load_extension('x'); END",
    )
    assert why_unsealed(path) is None
    with zipfile.ZipFile(tmp_path / "packed.zip", "w") as out:
        out.write(path, "folder/unit.gpkg")
    made = make_country(
        tmp_path / "made",
        Sources(elevation=next(home.glob("*.tif")), vectors=(tmp_path / "packed.zip",)),
        Settings(),
    )
    assert len(made.features("unit")) == count
    assert {fact.source for fact in made.facts if fact.name == "unit"} == {"packed.zip"}


@pytest.mark.parametrize("ending", [".fgb", ".gdb", ".shp"])
def test_other_kinds_that_hold_all_they_need_are_still_taken(home, tmp_path, ending):
    path = tmp_path / f"unit{ending}"
    driver = {".fgb": "FlatGeobuf", ".gdb": "OpenFileGDB", ".shp": "ESRI Shapefile"}[ending]
    square = shapely.to_wkb(np.array([shapely.box(*degrees(100, 300), *degrees(300, 100))], object))
    raw.write(
        str(path), square, [np.array(["a"], object)], ["name"], geometry_type="MultiPolygon" if ending == ".gdb" else "Polygon",
        crs="EPSG:4326", layer="unit", driver=driver,
    )  # fmt: skip
    made = make_country(
        tmp_path / "made", Sources(elevation=next(home.glob("*.tif")), vectors=(path,)), Settings()
    )
    assert len(made.features("unit")) == 1

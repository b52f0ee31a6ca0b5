"""Features added to the tables of what was brought in, after the country was made: one transaction, all or none."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from contextlib import closing
from pathlib import Path

import shapely
from shapely.geometry.base import BaseGeometry

from graylight.country.feature import Feature
from graylight.country.folder import PACKAGE, Country
from graylight.country.shape_blob import from_blob, to_blob
from graylight.country.tables import BROUGHT_IN, WRITTEN, TableSpec
from graylight.errors import BadInput

__all__ = ["add_brought"]

WAIT_S = 10.0
_TYPES = {"point": "POINT", "line": "MULTILINESTRING", "area": "MULTIPOLYGON"}
_KINDS = {"text": "TEXT", "whole": "INTEGER", "number": "REAL"}
_SPECS = {spec.name: spec for spec in BROUGHT_IN}


def add_brought(country: Country, features: Mapping[str, Sequence[Feature]]) -> None:
    """Add features in the country's CRS to the tables they belong to; tables that are not there yet are made.

    Raises
    ------
    BadInput
        The GeoPackage can't be written to, or is damaged.
    """
    path = country.folder / PACKAGE
    try:
        with closing(_connected(path)) as db:
            db.execute("BEGIN IMMEDIATE")
            for table, rows in sorted(features.items()):
                if rows:
                    _add(db, _SPECS[table], rows)
            db.execute("COMMIT")
    except sqlite3.Error as error:
        raise BadInput(
            f"can't write into {PACKAGE} ({error}); accepted is the GeoPackage that graylight made, free of other programs and "
            "in a folder that may be written to; close it elsewhere, or put a copy back"
        ) from None


def _connected(path: Path) -> sqlite3.Connection:
    db = sqlite3.connect(
        f"{path.absolute().as_uri()}?mode=rw", uri=True, isolation_level=None, timeout=WAIT_S
    )
    db.execute("PRAGMA synchronous=EXTRA")
    return db


def _add(db: sqlite3.Connection, spec: TableSpec, rows: Sequence[Feature]) -> None:
    srs = int(
        db.execute("SELECT srs_id FROM gpkg_geometry_columns WHERE table_name = 'places'").fetchone()[0]
    )
    told = db.execute(
        "SELECT column_name FROM gpkg_geometry_columns WHERE table_name = ?", (spec.name,)
    ).fetchone()
    if told is None:
        _make(db, spec, srs)
    shape = "geom" if told is None else str(told[0])
    names = [shape, *spec.columns]
    marks = ", ".join("?" * len(names))
    columns = ", ".join(f'"{name}"' for name in names)
    db.executemany(
        f'INSERT INTO "{spec.name}" ({columns}) VALUES ({marks})',
        [(to_blob(_kept(f.geometry, spec), srs), *(f.properties.get(c) for c in spec.columns)) for f in rows],
    )
    blobs = db.execute(f'SELECT "{shape}" FROM "{spec.name}"')
    shapes = [found for (blob,) in blobs if (found := from_blob(blob)) is not None]
    box = tuple(map(float, shapely.total_bounds(shapes)))
    db.execute(
        "UPDATE gpkg_contents SET min_x = ?, min_y = ?, max_x = ?, max_y = ? WHERE table_name = ?",
        (*box, spec.name),
    )


def _make(db: sqlite3.Connection, spec: TableSpec, srs: int) -> None:
    """A feature table as the GeoPackage standard has it (OGC 12-128, clauses 2.1.5 and 2.1.6)."""
    kind = _TYPES[spec.shape]
    columns = "".join(f', "{name}" {_KINDS[k]}' for name, k in spec.columns.items())
    db.execute(
        f'CREATE TABLE "{spec.name}" (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, geom {kind}{columns})'
    )
    db.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change, srs_id) "
        "VALUES (?, 'features', ?, ?, ?, ?)",
        (spec.name, spec.name, spec.words, WRITTEN, srs),
    )
    db.execute(
        "INSERT INTO gpkg_geometry_columns (table_name, column_name, geometry_type_name, srs_id, z, m) "
        "VALUES (?, 'geom', ?, ?, 0, 0)",
        (spec.name, kind, srs),
    )


def _kept(geometry: BaseGeometry, spec: TableSpec) -> BaseGeometry:
    """Lines and areas are kept as collections of parts, as the tables declare."""
    parts = list(shapely.get_parts(geometry))
    if spec.shape == "line":
        return shapely.MultiLineString(parts)
    return shapely.MultiPolygon(parts) if spec.shape == "area" else geometry

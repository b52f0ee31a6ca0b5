"""The plan as GeoPackage (OGC 12-128r19): a table for each kind of feature, with styles as SLD beside them."""

from __future__ import annotations

import json
import sqlite3
import struct
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import shapely
from pyproj import CRS
from shapely.geometry import shape
from shapely.geometry.base import BaseGeometry

from graylight.drawing.palettes import ANIMAL, INK, LIGHT, RGB, WATER, hex_of
from graylight.exchange.geojson import write_geojson
from graylight.plan.model import Plan

__all__ = ["geopackage"]

WGS84_ID = 4326
_KINDS = {"POLYGON": "POLYGON", "LINESTRING": "LINESTRING", "POINT": "POINT"}
_SQL_TYPES = {bool: "BOOLEAN", int: "INTEGER", float: "REAL", str: "TEXT"}
_SCHEMA = """
CREATE TABLE gpkg_spatial_ref_sys (srs_name TEXT NOT NULL, srs_id INTEGER PRIMARY KEY, organization TEXT NOT NULL,
 organization_coordsys_id INTEGER NOT NULL, definition TEXT NOT NULL, description TEXT);
CREATE TABLE gpkg_contents (table_name TEXT NOT NULL PRIMARY KEY, data_type TEXT NOT NULL, identifier TEXT UNIQUE,
 description TEXT DEFAULT '', last_change DATETIME NOT NULL, min_x DOUBLE, min_y DOUBLE, max_x DOUBLE, max_y DOUBLE,
 srs_id INTEGER, CONSTRAINT fk_gc_r_srs_id FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys(srs_id));
CREATE TABLE gpkg_geometry_columns (table_name TEXT NOT NULL, column_name TEXT NOT NULL, geometry_type_name TEXT NOT NULL,
 srs_id INTEGER NOT NULL, z TINYINT NOT NULL, m TINYINT NOT NULL,
 CONSTRAINT pk_geom_cols PRIMARY KEY (table_name, column_name), CONSTRAINT uk_gc_table_name UNIQUE (table_name),
 CONSTRAINT fk_gc_tn FOREIGN KEY (table_name) REFERENCES gpkg_contents(table_name),
 CONSTRAINT fk_gc_srs FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys (srs_id));
CREATE TABLE layer_styles (id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, f_table_catalog TEXT(256), f_table_schema TEXT(256),
 f_table_name TEXT(256), f_geometry_column TEXT(256), styleName TEXT(30), styleQML TEXT, styleSLD TEXT,
 useAsDefault BOOLEAN, description TEXT, owner TEXT(30), ui TEXT(30), update_time DATETIME);
"""


@dataclass(frozen=True, slots=True)
class _Table:
    """A table: its name, the kinds of feature that go into it, and how it is drawn."""

    name: str
    geometry: str
    kinds: tuple[str, ...]
    words: str
    colour: RGB
    mark: str = "circle"


_TABLES = (
    _Table("pockets", "POLYGON", ("pocket",), "pieces of country where feed and beds lie within reach", ANIMAL),
    _Table("approaches", "LINESTRING", ("approach",), "ways on foot to the lookouts", INK),
    _Table("lookouts", "POINT", ("lookout",), "places to sit and glass from", LIGHT, "triangle"),
    _Table("starts", "POINT", ("start",), "where the walk begins", INK, "square"),
    _Table("feed", "POINT", ("feed",), "places to feed", ANIMAL),
    _Table("beds", "POINT", ("bed",), "places to lie by day", ANIMAL, "square"),
    _Table("crossings", "POINT", ("crossing", "other crossing"), "where animals cross, and where if not there", ANIMAL, "x"),
    _Table("water", "POINT", ("water",), "water near the pockets; may be dry where not sure", WATER),
    _Table("ways_out", "POINT", ("way out",), "ways that animals take when pushed", ANIMAL, "triangle"),
    _Table("landforms", "POINT", ("saddle", "peak", "basin"), "saddles, tops and bowls", INK, "triangle"),
)  # fmt: skip


def geopackage(plan: Plan, *, date: str) -> bytes:
    """The plan as one GeoPackage.

    Parameters
    ----------
    plan
        A plan; what is shut is in it, with the reason.
    date
        YYYY-MM-DD, stated as the date of last change: never the clock, so that bytes repeat.
    """
    features = json.loads(write_geojson(plan))["features"]
    stamp = f"{date}T00:00:00.000Z"
    with tempfile.TemporaryDirectory() as scratch:
        path = Path(scratch) / "plan.gpkg"
        with sqlite3.connect(path) as base:
            base.execute("PRAGMA application_id = 0x47504B47")
            base.execute("PRAGMA user_version = 10300")
            base.executescript(_SCHEMA)
            base.executemany("INSERT INTO gpkg_spatial_ref_sys VALUES (?, ?, ?, ?, ?, ?)", _frames())
            for table in _TABLES:
                mine = [f for f in features if f["properties"]["what"] in table.kinds]
                mine = [f for f in mine if f["geometry"]["type"].upper() == table.geometry]
                _write(base, table, mine, stamp)
        base.close()
        return path.read_bytes()


def _frames() -> list[tuple[Any, ...]]:
    """The three rows that every GeoPackage has."""
    text = CRS.from_epsg(WGS84_ID).to_wkt("WKT1_GDAL")
    return [
        (
            "Undefined Cartesian SRS",
            -1,
            "NONE",
            -1,
            "undefined",
            "undefined Cartesian coordinate reference system",
        ),
        (
            "Undefined geographic SRS",
            0,
            "NONE",
            0,
            "undefined",
            "undefined geographic coordinate reference system",
        ),
        ("WGS 84 geodetic", WGS84_ID, "EPSG", WGS84_ID, text, "longitude and latitude in decimal degrees"),
    ]


def _write(base: sqlite3.Connection, table: _Table, features: Sequence[dict[str, Any]], stamp: str) -> None:
    shapes = [shape(f["geometry"]) for f in features]
    rows = [_flat(f["properties"]) for f in features]
    columns = _columns(rows)
    declared = "".join(f', "{name}" {kind}' for name, kind in columns.items())
    base.execute(
        f'CREATE TABLE "{table.name}" (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, geom {table.geometry}{declared})'
    )
    box = tuple(shapely.total_bounds(shapes)) if shapes else (None,) * 4
    box = tuple(None if v is None else float(v) for v in box)
    base.execute(
        "INSERT INTO gpkg_contents VALUES (?, 'features', ?, ?, ?, ?, ?, ?, ?, ?)",
        (table.name, table.name, table.words, stamp, *box, WGS84_ID),
    )
    base.execute(
        "INSERT INTO gpkg_geometry_columns VALUES (?, 'geom', ?, ?, 0, 0)",
        (table.name, table.geometry, WGS84_ID),
    )
    marks = ", ".join("?" * (len(columns) + 1))
    named = "".join(f', "{name}"' for name in columns)
    base.executemany(
        f'INSERT INTO "{table.name}" (geom{named}) VALUES ({marks})',
        [(_blob(one), *(row.get(name) for name in columns)) for one, row in zip(shapes, rows, strict=True)],
    )
    base.execute(
        "INSERT INTO layer_styles (f_table_catalog, f_table_schema, f_table_name, f_geometry_column, styleName, styleQML, "
        "styleSLD, useAsDefault, description, owner, ui, update_time) VALUES ('', '', ?, 'geom', ?, '', ?, 1, ?, '', NULL, ?)",
        (table.name, table.name, _style(table), table.words, stamp),
    )


def _flat(properties: dict[str, Any]) -> dict[str, Any]:
    """Lists and objects as JSON text; what a name means is told in docs/exchange.md."""
    return {
        name: json.dumps(value, ensure_ascii=False) if isinstance(value, (list, dict)) else value
        for name, value in properties.items()
    }


def _columns(rows: list[dict[str, Any]]) -> dict[str, str]:
    """Columns in the order they are met, with the type of their values; whole numbers among others become REAL."""
    found: dict[str, str] = {"what": "TEXT", "id": "TEXT"}
    for name in dict.fromkeys(name for row in rows for name in row):
        kinds = {_SQL_TYPES[type(row[name])] for row in rows if row.get(name) is not None}
        found[name] = kinds.pop() if len(kinds) == 1 else "REAL" if kinds == {"INTEGER", "REAL"} else "TEXT"
    return found


def _blob(one: BaseGeometry) -> bytes:
    """A geometry as GeoPackageBinary: header without envelope, little-endian, then WKB (OGC 12-128r19, 2.1.3)."""
    return struct.pack("<2sBBi", b"GP", 0, 1, WGS84_ID) + shapely.to_wkb(
        one, byte_order=1, output_dimension=2
    )


def _style(table: _Table) -> str:
    """A style of one rule, OGC Styled Layer Descriptor 1.0.0 (02-070)."""
    colour = hex_of(table.colour)
    width = '<CssParameter name="stroke-width">2</CssParameter>'
    line = f'<Stroke><CssParameter name="stroke">{colour}</CssParameter>{width}</Stroke>'
    fill = f'<Fill><CssParameter name="fill">{colour}</CssParameter>{{}}</Fill>'
    thin = '<CssParameter name="fill-opacity">0.25</CssParameter>'
    symbols = {
        "POLYGON": f"<PolygonSymbolizer>{fill.format(thin)}{line}</PolygonSymbolizer>",
        "LINESTRING": f"<LineSymbolizer>{line}</LineSymbolizer>",
        "POINT": (
            f"<PointSymbolizer><Graphic><Mark><WellKnownName>{table.mark}</WellKnownName>{fill.format('')}</Mark>"
            "<Size>9</Size></Graphic></PointSymbolizer>"
        ),
    }
    return (
        '<?xml version="1.0" encoding="UTF-8"?><StyledLayerDescriptor version="1.0.0" xmlns="http://www.opengis.net/sld">'
        f"<NamedLayer><Name>{table.name}</Name><UserStyle><FeatureTypeStyle><Rule>{symbols[table.geometry]}</Rule>"
        "</FeatureTypeStyle></UserStyle></NamedLayer></StyledLayerDescriptor>"
    )

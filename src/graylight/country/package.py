"""A new GeoPackage (OGC 12-128): every table of a country, written at once."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from pyogrio import raw
from shapely.geometry.base import BaseGeometry

from graylight.country.feature import Feature
from graylight.country.tables import LIVE, TABLES, WRITTEN, Shape, TableSpec

__all__ = ["make_tables"]

_OGR = {"point": "Point", "line": "MultiLineString", "area": "MultiPolygon", "any": "Unknown"}
_DTYPES = {"text": np.dtype("O"), "whole": np.dtype("int64"), "number": np.dtype("float64")}


def make_tables(path: Path, brought: Mapping[str, Sequence[Feature]], crs: str) -> None:
    """Write a new GeoPackage with every live table and whatever was brought in.

    Parameters
    ----------
    path
        A new file.
    brought
        Features in the CRS by table name.
    crs
        "EPSG:...".

    Notes
    -----
    No table has a spatial index: its triggers call functions that plain sqlite3 lacks, and then no row could
    be added through it. Tables of a country are small; they are read whole.
    """
    for spec in TABLES.values():
        features = brought.get(spec.name, ())
        if features or spec in LIVE:
            _write(path, spec, features, crs)
    _fix_dates(path)


def _write(path: Path, spec: TableSpec, features: Sequence[Feature], crs: str) -> None:
    shapes = np.array([_as_kept(f.geometry, spec.shape) for f in features], dtype=object)
    columns = {name: _column(features, name, kind) for name, kind in spec.columns.items()}
    raw.write(
        str(path), shapely.to_wkb(shapes), [values for values, _ in columns.values()],
        np.array(list(columns)),
        field_mask=[mask for _, mask in columns.values()], layer=spec.name, driver="GPKG",
        geometry_type=_OGR[spec.shape], crs=crs, append=path.exists(), promote_to_multi=False,
        layer_options={"SPATIAL_INDEX": "NO", "GEOMETRY_NAME": "geom", "DESCRIPTION": spec.words},
    )  # fmt: skip


def _column(features: Sequence[Feature], name: str, kind: str) -> tuple[np.ndarray, np.ndarray]:
    """Values of a column, and where it is empty."""
    values = [f.properties.get(name) for f in features]
    mask = np.array([v is None for v in values], bool)
    blank: Any = None if kind == "text" else 0
    filled = [blank if v is None else (str(v) if kind == "text" else v) for v in values]
    return np.array(filled, dtype=_DTYPES[kind]), mask


def _as_kept(geometry: BaseGeometry, shape: Shape) -> BaseGeometry:
    """Lines and areas are kept as collections of parts, as the tables declare."""
    parts = list(shapely.get_parts(geometry))
    if shape == "line":
        return shapely.MultiLineString(parts)
    return shapely.MultiPolygon(parts) if shape == "area" else geometry


def _fix_dates(path: Path) -> None:
    """Put a fixed date of change into the contents and leave no journal behind."""
    with contextlib.closing(sqlite3.connect(path)) as db, db:
        db.execute("PRAGMA synchronous=FULL")
        db.execute("UPDATE gpkg_contents SET last_change = ?", (WRITTEN,))

"""The record in open formats: GeoJSON (RFC 7946) and a table (CSV, RFC 4180); WGS 84, UTC, repeatable bytes."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Protocol

from graylight.grid import Grid

__all__ = ["RECORD_TABLES", "write_record_csv", "write_record_geojson"]

RECORD_TABLES = ("outings", "sightings", "sign", "traces")
HEAD = ("table", "id", "lat", "lon")


class _Row(Protocol):
    """A live row."""

    @property
    def table(self) -> str:
        """The table it stands in."""

    @property
    def id(self) -> int:
        """Its number there."""

    @property
    def geometry(self) -> Any:
        """Its shape in the country's CRS, or None."""

    @property
    def values(self) -> Mapping[str, Any]:
        """Its columns."""


def write_record_geojson(rows: Sequence[_Row], grid: Grid) -> str:
    """Every row of the record as a feature, with all its columns, those of a newer version too.

    Parameters
    ----------
    rows
        Of the tables of the record, in the country's CRS.
    grid
        The country's frame.

    Returns
    -------
    str
        One feature a line; `what` is the table. A row without a place has the geometry null.
    """
    lines = ",\n".join(_dump(_feature(row, grid)) for row in rows)
    return f'{{"type": "FeatureCollection", "name": "record", "features": [\n{lines}\n]}}\n'


def write_record_csv(rows: Sequence[_Row], grid: Grid) -> str:
    """Every row of the record as a line; lines have their first point. Columns by name, the same for all tables.

    Cells that a spreadsheet would take for a formula are written with a quote in front.
    """
    columns = sorted({key for row in rows for key in row.values})
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\r\n")
    table.writerow([*HEAD, *columns])
    for row in rows:
        lon, lat = next(_positions(row.geometry, grid), ("", ""))
        table.writerow([row.table, row.id, lat, lon, *(_cell(row.values.get(key)) for key in columns)])
    return out.getvalue()


def _dump(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def _feature(row: _Row, grid: Grid) -> dict[str, Any]:
    properties = {"what": row.table, "id": row.id, **{k: _plain(v) for k, v in row.values.items()}}
    return {"type": "Feature", "geometry": _geometry(row.geometry, grid), "properties": properties}


def _plain(value: Any) -> Any:
    """A value that JSON holds."""
    return value if value is None or isinstance(value, str | int | float | bool) else str(value)


def _geometry(shape: Any, grid: Grid) -> dict[str, Any] | None:
    if shape is None or shape.is_empty:
        return None
    if shape.geom_type == "Point":
        return {"type": "Point", "coordinates": list(next(_positions(shape, grid)))}
    lines = [[list(p) for p in _positions(part, grid)] for part in getattr(shape, "geoms", [shape])]
    return {"type": "MultiLineString", "coordinates": lines}


def _positions(shape: Any, grid: Grid) -> Iterator[tuple[float, float]]:
    """Longitude and latitude to six places of every point."""
    if shape is None or shape.is_empty:
        return
    a, _, west, _, _, north = grid.transform
    for part in getattr(shape, "geoms", [shape]):
        for x, y in part.coords:
            lon, lat = grid.lonlat((north - y) / a - 0.5, (x - west) / a - 0.5)
            yield round(lon, 6) + 0.0, round(lat, 6) + 0.0


def _cell(value: Any) -> Any:
    if value is None:
        return ""
    return f"'{value}" if isinstance(value, str) and value[:1] in {"=", "+", "-", "@"} else value

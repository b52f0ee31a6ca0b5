"""The country's GeoPackage (OGC 12-128): what was brought in, and the rows that the person will add."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, TypeAlias

from graylight.country.feature import Feature, plain_text
from graylight.country.shape_blob import from_blob
from graylight.errors import BadInput

__all__ = ["BROUGHT_IN", "LIVE", "TABLES", "WRITTEN", "Shape", "TableSpec", "read_table", "table_names"]

Shape: TypeAlias = Literal["point", "line", "area", "any"]
WRITTEN = "2000-01-01T00:00:00.000Z"
"""The date of change told in the file: fixed, so that the same input gives the same bytes."""


@dataclass(frozen=True, slots=True)
class TableSpec:
    """A table: its shape, its columns by kind ("text", "whole", "number"), and what it is for."""

    name: str
    shape: Shape
    columns: Mapping[str, Literal["text", "whole", "number"]]
    words: str


def _text(*names: str) -> dict[str, Literal["text", "whole", "number"]]:
    return dict.fromkeys(names, "text")


BROUGHT_IN = (
    TableSpec("roads", "line", _text("name", "kind"), "roads and motor routes"),
    TableSpec("trails", "line", _text("name"), "ways on foot"),
    TableSpec("trailheads", "point", _text("name", "kind"), "where a walk begins: trailhead or road end"),
    TableSpec("streams", "line", _text("name", "kind"), "running water: perennial or intermittent"),
    TableSpec("lakes", "area", _text("name"), "standing water"),
    TableSpec("ownership", "area", _text("owner", "access"), "holdings: open, restricted, private or closed"),
    TableSpec("unit", "area", _text("name"), "the unit a tag is for"),
    TableSpec("names", "point", _text("name", "kind"), "named places: peak, saddle, basin, other"),
)
LIVE = (
    TableSpec("places", "point", _text("kind", "name", "note", "photo"), "points the person cares for"),
    TableSpec("traces", "line", _text("kind", "name", "note"), "lines drawn or walked"),
    TableSpec("edits", "any", _text("what", "target", "value", "note"),
              "what the person said: accepted, dropped, moved, added, renamed, redrawn"),
    TableSpec("outings", "point",
              {**_text("lookout", "began", "ended", "optics", "light", "searched", "note", "weather", "wind", "air",
                       "track", "watched", "pushed"), "people": "whole", "record": "whole"},
              "where, when and how was watched; searched: JSON, part of each pocket in view"),
    TableSpec("sightings", "point",
              {**_text("animal"), "count": "whole", **_text("date", "note", "outing"),
               "bearing_true_deg": "number", "distance_m": "number", **_text("sex", "class", "doing", "placed", "photo"),
               "toward_true_deg": "number", "along_m": "number", "across_m": "number", "record": "whole"},
              "animals seen"),
    TableSpec("sign", "point", {**_text("kind", "age", "date", "note", "outing", "photo"), "record": "whole"},
              "tracks, rubs, droppings, beds found"),
    TableSpec("starts", "point", _text("name", "kind", "note"), "where the person begins a walk"),
)  # fmt: skip
TABLES = {spec.name: spec for spec in (*LIVE, *BROUGHT_IN)}
"""All tables by name. The live ones are always there; the brought-in ones where something was brought in."""


def table_names(path: Path) -> list[str]:
    """Names of the tables with geometry in a GeoPackage; none when there is no file.

    Raises
    ------
    BadInput
        The file is not a GeoPackage.
    """
    if not path.is_file():
        return []
    try:
        _settle(path)
        with contextlib.closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as db:
            found = db.execute(
                "SELECT table_name FROM gpkg_contents WHERE data_type = 'features' ORDER BY table_name"
            )
            return [name for (name,) in found]
    except sqlite3.DatabaseError:
        raise _damaged(path) from None


def _settle(path: Path) -> None:
    """Take back what a killed process had begun: only a connection that may write can, and all readers need it."""
    if not any(path.with_name(path.name + left).exists() for left in ("-journal", "-wal")):
        return
    with contextlib.closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=rw", uri=True)) as db:
        db.execute("SELECT count(*) FROM sqlite_master").fetchone()


def _damaged(path: Path) -> BadInput:
    return BadInput(
        f"{path.name} is not a GeoPackage, or is damaged; accepted is the one that graylight made; put a "
        "copy back or make the country anew"
    )


def read_table(path: Path, table: str) -> list[Feature]:
    """All features of a table in the order of their row numbers; none when the table is not there.

    Raises
    ------
    BadInput
        The file is damaged.
    """
    if table not in table_names(path):
        return []
    try:
        with contextlib.closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as db:
            return list(_features(db, table))
    except sqlite3.DatabaseError:
        raise _damaged(path) from None


def _features(db: sqlite3.Connection, table: str) -> Iterator[Feature]:
    """Rows with a shape, none of a table without; how its column and the numbers' are called is told in the file."""
    told = db.execute(
        "SELECT column_name FROM gpkg_geometry_columns WHERE table_name = ?", (table,)
    ).fetchone()
    columns = db.execute(f"PRAGMA table_info({_quoted(table)})").fetchall()
    if told is None:
        return
    shape, number = told[0], next((name for _, name, *_, key in columns if key), "rowid")
    names = [name for _, name, *_ in columns if name not in (shape, number)]
    listed = ", ".join(map(_quoted, (shape, *names)))
    for blob, *row in db.execute(f"SELECT {listed} FROM {_quoted(table)} ORDER BY {_quoted(number)}"):
        geometry = from_blob(blob)
        if geometry is not None:
            yield Feature(geometry, dict(zip(names, map(_plain, row), strict=True)))


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def _plain(value: Any) -> Any:
    """A value as it is told: another program may have written the row since."""
    return plain_text(value) if isinstance(value, (str, bytes)) else value

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

__all__ = [
    "BROUGHT_IN", "LIVE", "TABLES", "WRITTEN", "Shape", "TableSpec", "read_table", "refused", "table_names",
]  # fmt: skip

Shape: TypeAlias = Literal["point", "line", "area", "any"]
WAIT_S = 10.0
"""How long a reader or writer waits for another program that is writing."""
WRITTEN = "2000-01-01T00:00:00.000Z"
"""The date of change told in the file: fixed, so that the same input gives the same bytes."""


@dataclass(frozen=True, slots=True)
class TableSpec:
    """A table: its shape, its columns by kind ("text", "whole", "number"), and what it is for."""

    name: str
    shape: Shape
    columns: Mapping[str, Literal["text", "whole", "number"]]
    words: str
    one: str = "row"
    """What people call a row of it, where one may be told of."""

    @property
    def a(self) -> str:
        """The same with its article; sign is not counted."""
        return self.one if self.one == "sign" else f"{'an' if self.one[0] in 'aeiou' else 'a'} {self.one}"


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
    TableSpec("places", "point", _text("kind", "name", "note", "photo"), "points the person cares for", "place"),
    TableSpec("traces", "line", _text("kind", "name", "note"), "lines drawn or walked", "trail"),
    TableSpec("edits", "any", _text("what", "target", "value", "note"),
              "what the person said: accepted, dropped, moved, added, renamed, redrawn", "change to the plan"),
    TableSpec("outings", "point",
              {**_text("lookout", "began", "ended", "optics", "light", "searched", "note", "weather", "wind", "air",
                       "track", "watched", "pushed"), "people": "whole", "record": "whole"},
              "where, when and how was watched; searched: JSON, part of each pocket in view", "outing"),
    TableSpec("sightings", "point",
              {**_text("animal"), "count": "whole", **_text("date", "note", "outing"),
               "bearing_true_deg": "number", "distance_m": "number", **_text("sex", "class", "doing", "placed", "photo"),
               "toward_true_deg": "number", "along_m": "number", "across_m": "number", "record": "whole"},
              "animals seen", "sighting"),
    TableSpec("sign", "point", {**_text("kind", "age", "date", "note", "outing", "photo"), "record": "whole"},
              "tracks, rubs, droppings, beds found", "sign"),
    TableSpec("starts", "point", _text("name", "kind", "note"), "where the person begins a walk", "start"),
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
        with contextlib.closing(
            sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=WAIT_S)
        ) as db:
            found = db.execute(
                "SELECT table_name FROM gpkg_contents WHERE data_type = 'features' ORDER BY table_name"
            )
            return [name for (name,) in found]
    except sqlite3.Error as error:
        raise refused(path, error) from None


def _settle(path: Path) -> None:
    """Take back what a killed process had begun: only a connection that may write can, and all readers need it."""
    if not any(path.with_name(path.name + left).exists() for left in ("-journal", "-wal")):
        return
    with contextlib.closing(
        sqlite3.connect(f"{path.absolute().as_uri()}?mode=rw", uri=True, timeout=WAIT_S)
    ) as db:
        db.execute("SELECT count(*) FROM sqlite_master").fetchone()


def refused(path: Path, error: sqlite3.Error) -> BadInput:
    """What SQLite said, as one line for the person."""
    said = str(error)
    if "locked" in said:
        return BadInput(
            f"{path.name} is locked: another program has been writing to it for over {WAIT_S:.0f} s; accepted is a file "
            "that others leave free; save and close it there, and try again"
        )
    if any(words in said for words in ("unable to open", "readonly", "full", "I/O")):
        return BadInput(
            f"can't open or write {path.name} ({said}); accepted is a file in a folder that may be written to, on a disk "
            "with room; change its rights, or put a copy back"
        )
    return BadInput(
        f"{path.name} is not a GeoPackage, or is damaged ({said}); accepted is the one that graylight made; put a copy "
        "back or make the country anew"
    )


def read_table(path: Path, table: str) -> list[Feature]:
    """All features of a table in the order of their row numbers; none when the table is not there.

    Notes
    -----
    Read through the standard library's SQLite, as rows are written: GDAL brings a SQLite of its own, and of two in one
    process neither sees the other's locks, and either drops them when it closes the file (SQLite, "How To Corrupt",
    2.2.1). So a plan may be worked out while a mark is saved.

    Raises
    ------
    BadInput
        The file is damaged.
    """
    if table not in table_names(path):
        return []
    try:
        with contextlib.closing(
            sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=WAIT_S)
        ) as db:
            return list(_features(db, table))
    except sqlite3.Error as error:
        raise refused(path, error) from None


def _features(db: sqlite3.Connection, table: str) -> Iterator[Feature]:
    """The features; a row without a shape is none."""
    told = db.execute(
        "SELECT column_name FROM gpkg_geometry_columns WHERE table_name = ?", (table,)
    ).fetchone()
    columns = db.execute(f"PRAGMA table_info({_quoted(table)})").fetchall()
    number = next((name for _, name, *_, key in columns if key), None)
    if told is None or number is None:
        raise sqlite3.DatabaseError(f"the table {table} is gone")
    names = [name for _, name, *_ in columns if name not in (told[0], number)]
    kinds = TABLES[table].columns if table in TABLES else {}
    listed = ", ".join(map(_quoted, (told[0], *names)))
    for blob, *row in db.execute(f"SELECT {listed} FROM {_quoted(table)} ORDER BY {_quoted(number)}"):
        geometry = from_blob(blob)
        if geometry is not None:
            values = (_plain(value, kinds.get(name, "")) for name, value in zip(names, row, strict=True))
            yield Feature(geometry, dict(zip(names, values, strict=True)))


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def _plain(value: Any, kind: str) -> Any:
    """A value as its column is declared; another program may have written it, and SQLite keeps anything anywhere."""
    if isinstance(value, (str, bytes)):
        text = plain_text(value)
        return text if kind not in {"whole", "number"} else _number(text, kind)
    return float(value) if kind == "number" and value is not None else value


def _number(text: str, kind: str) -> int | float | None:
    try:
        return int(text) if kind == "whole" else float(text)
    except ValueError:
        return None

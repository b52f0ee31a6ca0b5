"""Rows that the person adds and changes while looking: kept in the country's GeoPackage, each change at once."""

from __future__ import annotations

import math
import sqlite3
import threading
from collections.abc import Iterable, Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import shapely
from shapely.geometry.base import BaseGeometry

from graylight.country import tables
from graylight.country.feature import plain_text
from graylight.country.folder import PACKAGE, Country
from graylight.country.shape_blob import from_blob, to_blob
from graylight.country.steps import (
    COLUMNS,
    Change,
    Kept,
    Step,
    last_done,
    next_undone,
    note_step,
    revision,
    turn_over,
)
from graylight.country.tables import LIVE, Shape, TableSpec, refused
from graylight.errors import BadInput

__all__ = ["Row", "Rows", "Step"]

MOST_TEXT = 100_000
NOWHERE = frozenset({"edits", "outings"})
"""Tables whose rows may have no place."""
_SHAPES: dict[Shape, frozenset[str]] = {
    "point": frozenset({"Point"}),
    "line": frozenset({"LineString", "MultiLineString"}),
    "area": frozenset({"Polygon", "MultiPolygon"}),
    "any": frozenset({"Point", "LineString", "MultiLineString", "Polygon", "MultiPolygon"}),
}
_LIVE = {spec.name: spec for spec in LIVE}
_SQL = {"text": "TEXT", "whole": "INTEGER", "number": "REAL"}
"""Types of columns as the standard names them (OGC 12-128, table 1)."""


class _Same:
    """Stands for a geometry that is left as it is."""


SAME: Final = _Same()


@dataclass(frozen=True, slots=True)
class Row:
    """A row: its table and number, its geometry in the country's CRS, its values by column."""

    table: str
    id: int
    geometry: BaseGeometry | None
    values: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class _Layout:
    """How a table lies in the file; it may have columns of a newer version, which are kept."""

    spec: TableSpec
    number: str
    shape: str
    srs_id: int
    columns: tuple[str, ...]


@dataclass(slots=True)
class _Writing:
    """Changes under way in one thread."""

    db: sqlite3.Connection
    changes: list[Change] = field(default_factory=list)


class Rows:
    """The live rows of a country, safe between threads and between processes.

    Every change is a transaction of its own, or part of one (`together`), and on the disk when the call returns.
    A killed process leaves either all of it or nothing.
    """

    def __init__(self, country: Country) -> None:
        self._path = country.folder / PACKAGE
        self._here = threading.local()

    def revision(self) -> int:
        """A number that grows by one with every step done, undone or redone, by any process."""
        with self._looking() as db:
            return revision(db)

    def read(self, table: str) -> list[Row]:
        """All rows of a live table, by number.

        Raises
        ------
        BadInput
            No live table is called so, or the file is gone, damaged, or locked by another program.
        """
        with self._looking() as db:
            layout = _layout(db, table)
            found = db.execute(f"SELECT {_listed(layout)} FROM {_q(table)} ORDER BY {_q(layout.number)}")
            return [_row(layout, kept) for kept in found]

    def get(self, table: str, id: int) -> Row:
        """One row.

        Raises
        ------
        BadInput
            It is not there; and as `read`.
        """
        with self._looking() as db:
            layout = _layout(db, table)
            kept = _fetch(db, layout, id)
        if kept is None:
            raise _gone(table, id)
        return _row(layout, kept)

    def add(self, table: str, geometry: BaseGeometry | None, **values: Any) -> Row:
        """Add a row; columns that are not given stay empty.

        Raises
        ------
        BadInput
            The geometry is not of the table's shape, a column is unknown or its value of the wrong kind; and as `read`.
        """
        with self._writing() as at:
            layout = _widened(at.db, _layout(at.db, table))
            kept = {layout.shape: _shape(layout, geometry), **_values(layout, values)}
            number = _insert(at.db, layout, kept)
            return self._note(at, layout, number, None)

    def add_all(self, table: str, rows: Iterable[tuple[BaseGeometry | None, Mapping[str, Any]]]) -> int:
        """Add many rows as one step, all or none; returns how many.

        Raises
        ------
        BadInput
            As `add`.
        """
        with self._writing() as at:
            layout = _layout(at.db, table)
            before = len(at.changes)
            for geometry, values in rows:
                number = _insert(
                    at.db, layout, {layout.shape: _shape(layout, geometry), **_values(layout, values)}
                )
                after = _columns(layout, _fetch(at.db, layout, number))
                at.changes.append(Change(layout.spec.name, number, None, after))
            _fit_extent(at.db, layout)
            return len(at.changes) - before

    def change(
        self, table: str, id: int, *, geometry: BaseGeometry | _Same | None = SAME, **values: Any
    ) -> Row:
        """Change some columns of a row, or its geometry; what is not given stays as it is.

        Raises
        ------
        BadInput
            As `add` and `get`.
        """
        with self._writing() as at:
            layout = _widened(at.db, _layout(at.db, table))
            before = _fetch(at.db, layout, id)
            if before is None:
                raise _gone(table, id)
            kept = _values(layout, values)
            if not isinstance(geometry, _Same):
                kept[layout.shape] = _shape(layout, geometry)
            _update(at.db, layout, id, kept)
            return self._note(at, layout, id, before)

    def remove(self, table: str, id: int) -> Row:
        """Remove a row, and return what it was.

        Raises
        ------
        BadInput
            As `get`.
        """
        with self._writing() as at:
            layout = _layout(at.db, table)
            before = _fetch(at.db, layout, id)
            if before is None:
                raise _gone(table, id)
            _delete(at.db, layout, id)
            self._note(at, layout, id, before)
            return _row(layout, before)

    @contextmanager
    def together(self) -> Iterator[None]:
        """Make several changes as one step: all or none."""
        with self._writing():
            yield

    def undo(self) -> Step | None:
        """Take back the last step; None when there is none."""
        return self._turn(undone=True)

    def redo(self) -> Step | None:
        """Do again the step that was taken back last; None when there is none."""
        return self._turn(undone=False)

    def can_undo(self) -> str | None:
        """What `undo` would take back, in words."""
        with self._looking() as db:
            step = last_done(db)
        return step.words if step else None

    def can_redo(self) -> str | None:
        """What `redo` would do again, in words."""
        with self._looking() as db:
            step = next_undone(db)
        return step.words if step else None

    def _turn(self, *, undone: bool) -> Step | None:
        if getattr(self._here, "writing", None) is not None:
            raise ValueError("a step can't be taken back while another is under way")
        with _opened(self._path) as db:
            db.execute("BEGIN IMMEDIATE")
            step = last_done(db) if undone else next_undone(db)
            if step is None:
                return None
            for change in reversed(step.changes) if undone else step.changes:
                old, new = (change.after, change.before) if undone else (change.before, change.after)
                _put(db, change, old, new)
            turn_over(db, step, undone=undone)
            db.execute("COMMIT")
            return step

    def _note(self, at: _Writing, layout: _Layout, number: int, before: Kept | None) -> Row:
        """Note what became of a row, and return it."""
        after = _fetch(at.db, layout, number)
        if after != before:
            at.changes.append(
                Change(layout.spec.name, number, _columns(layout, before), _columns(layout, after))
            )
            _fit_extent(at.db, layout)
        return _row(layout, after or before or {})

    @contextmanager
    def _looking(self) -> Iterator[sqlite3.Connection]:
        under_way: _Writing | None = getattr(self._here, "writing", None)
        if under_way is not None:
            yield under_way.db
            return
        with _opened(self._path) as db:
            db.execute("BEGIN")
            yield db

    @contextmanager
    def _writing(self) -> Iterator[_Writing]:
        under_way: _Writing | None = getattr(self._here, "writing", None)
        if under_way is not None:
            yield under_way
            return
        with _opened(self._path) as db:
            db.execute("BEGIN IMMEDIATE")
            self._here.writing = at = _Writing(db)
            try:
                yield at
            finally:
                self._here.writing = None
            if at.changes:
                note_step(db, at.changes)
                db.execute("COMMIT")


@contextmanager
def _opened(path: Path) -> Iterator[sqlite3.Connection]:
    """A connection; what was begun on it and not committed is taken back when it is closed."""
    try:
        with closing(_connected(path)) as db:
            yield db
    except sqlite3.Error as error:
        raise refused(path, error) from None


def _connected(path: Path) -> sqlite3.Connection:
    db = sqlite3.connect(
        f"{path.absolute().as_uri()}?mode=rw", uri=True, isolation_level=None, timeout=tables.WAIT_S
    )
    db.row_factory = sqlite3.Row
    try:
        # FULL, and the folder is synced too once the journal is gone: a power cut takes back no finished step
        db.execute("PRAGMA synchronous=EXTRA")
        if db.execute("PRAGMA journal_mode").fetchone()[0] == "wal":  # another program left it so
            db.execute("PRAGMA journal_mode=DELETE")
    except sqlite3.Error:
        db.close()
        raise
    return db


def _gone(table: str, id: int) -> BadInput:
    return BadInput(
        f"there is no {_LIVE[table].one} {id}; accepted is the number of one that is there; it may have been removed or "
        "taken back meanwhile: look at what is kept"
    )


def _q(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def _layout(db: sqlite3.Connection, table: str) -> _Layout:
    if table not in _LIVE:
        raise BadInput(
            f"no rows are kept in a table {plain_text(table)[:40]!r}; accepted are {', '.join(_LIVE)}; choose one of them"
        )
    told = db.execute(
        "SELECT column_name, srs_id FROM gpkg_geometry_columns WHERE table_name = ?", (table,)
    ).fetchone()
    columns = db.execute(f"PRAGMA table_info({_q(table)})").fetchall()
    number = next((c["name"] for c in columns if c["pk"]), None)
    if told is None or number is None:
        raise sqlite3.DatabaseError(f"the table {table} is gone")
    shape, srs_id = str(told[0]), int(told[1])
    others = tuple(c["name"] for c in columns if c["name"] not in (number, shape))
    return _Layout(_LIVE[table], number, shape, srs_id, others)


def _widened(db: sqlite3.Connection, layout: _Layout) -> _Layout:
    """The layout with every column of today: a table of an older country gets those it lacks."""
    lacking = [name for name in layout.spec.columns if name not in layout.columns]
    for name in lacking:
        kind = _SQL[layout.spec.columns[name]]
        db.execute(f"ALTER TABLE {_q(layout.spec.name)} ADD COLUMN {_q(name)} {kind}")
    return _layout(db, layout.spec.name) if lacking else layout


def _listed(layout: _Layout) -> str:
    return ", ".join(map(_q, (layout.number, layout.shape, *layout.columns)))


def _fetch(db: sqlite3.Connection, layout: _Layout, id: int) -> Kept | None:
    if not 0 < id < 2**63:
        return None
    sql = f"SELECT {_listed(layout)} FROM {_q(layout.spec.name)} WHERE {_q(layout.number)} = ?"
    found = db.execute(sql, (id,)).fetchone()
    return None if found is None else dict(found)


def _columns(layout: _Layout, kept: Kept | None) -> Kept | None:
    return None if kept is None else {key: value for key, value in kept.items() if key != layout.number}


def _row(layout: _Layout, kept: Any) -> Row:
    values = {name: _shown(name, kept[name]) for name in layout.columns}
    return Row(layout.spec.name, int(kept[layout.number]), from_blob(kept[layout.shape]), values)


def _shown(column: str, value: Any) -> Any:
    """A value as it is told; another program may have written it."""
    return _text(column, value) if isinstance(value, str) else value


def _text(column: str, value: str) -> str:
    """One line without control characters; notes keep their lines."""
    if column != "note":
        return plain_text(value)
    return "\n".join(map(plain_text, value.splitlines())).strip()


def _values(layout: _Layout, given: Mapping[str, Any]) -> Kept:
    return {column: _value(layout, column, value) for column, value in given.items()}


def _value(layout: _Layout, column: str, value: Any) -> Any:
    if column not in layout.columns:
        raise BadInput(
            f"{layout.spec.a} has no {plain_text(column)[:40]!r}; accepted are {', '.join(layout.columns)}; leave it out"
        )
    kind = layout.spec.columns.get(column, "text")
    if value is None:
        return None
    if kind == "text" and isinstance(value, str) and len(value) <= MOST_TEXT:
        return _text(column, value)
    if kind == "whole" and isinstance(value, int) and not isinstance(value, bool) and abs(value) < 2**53:
        return value
    if (
        kind == "number"
        and isinstance(value, (int, float))
        and not isinstance(value, bool)
        and math.isfinite(value)
    ):
        return float(value)
    accepted = {
        "text": f"text of at most {MOST_TEXT} characters",
        "whole": "a whole number",
        "number": "a number",
    }[kind]
    raise BadInput(
        f"the {COLUMNS.get(column, column)} of {layout.spec.a} is {plain_text(repr(value))[:60]}; accepted is {accepted}, or "
        "nothing; change it"
    )


def _shape(layout: _Layout, geometry: BaseGeometry | None) -> bytes | None:
    """The geometry as the table keeps it."""
    table, shape = layout.spec.name, layout.spec.shape
    if geometry is None and table in NOWHERE:
        return None
    got = "nothing" if geometry is None else geometry.geom_type
    accepted = ", ".join(sorted(_SHAPES[shape]))
    if geometry is None or got not in _SHAPES[shape]:
        raise BadInput(
            f"{layout.spec.a} was given {got} as its shape; accepted is {accepted}; draw it so, or leave the row out"
        )
    flat = shapely.force_2d(geometry)
    if flat.is_empty or not all(map(math.isfinite, flat.bounds)):
        raise BadInput(f"{layout.spec.a} has an empty or endless shape; accepted is {accepted}; draw it anew")
    if "Polygon" in got and not flat.is_valid:
        raise BadInput(
            f"the outline of {layout.spec.a} crosses itself ({shapely.is_valid_reason(flat)}); accepted is a ring that does "
            "not; draw it anew"
        )
    return to_blob(_as_declared(flat, shape), layout.srs_id)


def _as_declared(geometry: BaseGeometry, shape: Shape) -> BaseGeometry:
    """Lines and areas are kept as collections of parts, as the tables declare."""
    if shape == "line":
        return shapely.MultiLineString(list(shapely.get_parts(geometry)))
    return shapely.MultiPolygon(list(shapely.get_parts(geometry))) if shape == "area" else geometry


def _insert(db: sqlite3.Connection, layout: _Layout, kept: Kept) -> int:
    names, marks = ", ".join(map(_q, kept)), ", ".join("?" for _ in kept)
    done = db.execute(f"INSERT INTO {_q(layout.spec.name)} ({names}) VALUES ({marks})", tuple(kept.values()))
    return int(done.lastrowid or 0)


def _update(db: sqlite3.Connection, layout: _Layout, id: int, kept: Kept) -> None:
    if kept:
        names = ", ".join(f"{_q(name)} = ?" for name in kept)
        sql = f"UPDATE {_q(layout.spec.name)} SET {names} WHERE {_q(layout.number)} = ?"
        db.execute(sql, (*kept.values(), id))


def _delete(db: sqlite3.Connection, layout: _Layout, id: int) -> None:
    db.execute(f"DELETE FROM {_q(layout.spec.name)} WHERE {_q(layout.number)} = ?", (id,))


def _put(db: sqlite3.Connection, change: Change, old: Kept | None, new: Kept | None) -> None:
    """Bring a row from one state to another; columns that the step did not touch stay as they are by now."""
    layout = _layout(db, change.table)
    there = _fetch(db, layout, change.row) is not None
    if new is None:
        _delete(db, layout, change.row)
    elif there:
        known = {k: v for k, v in new.items() if old is None or old.get(k) != v}
        _update(db, layout, change.row, known)
    else:
        _insert(db, layout, {layout.number: change.row, **new})
    _fit_extent(db, layout)


def _fit_extent(db: sqlite3.Connection, layout: _Layout) -> None:
    """The table's extent in the contents: other programs take it for the place to look at."""
    blobs = db.execute(f"SELECT {_q(layout.shape)} FROM {_q(layout.spec.name)}")
    shapes = [shape for (blob,) in blobs if (shape := from_blob(blob)) is not None]
    box = tuple(float(v) for v in shapely.total_bounds(shapes)) if shapes else (None,) * 4
    db.execute(
        "UPDATE gpkg_contents SET min_x = ?, min_y = ?, max_x = ?, max_y = ? WHERE table_name = ?",
        (*box, layout.spec.name),
    )

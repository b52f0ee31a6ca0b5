"""The steps of the person, kept in the GeoPackage beside the rows: what each changed, and whether it was taken back."""

from __future__ import annotations

import json
import re
import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any, TypeAlias

from graylight.country.shape_blob import from_blob
from graylight.country.tables import TABLES, WRITTEN
from graylight.settings.words import called, value_words

__all__ = ["Change", "Kept", "Step", "last_done", "next_undone", "note_step", "revision", "turn_over"]

TABLE = "steps"
MOST_STEPS = 1000
"""Older steps are forgotten: they can no longer be taken back, their rows stay."""
COLUMNS = {
    "kind": "kind", "name": "name", "note": "note", "photo": "photo", "lookout": "lookout", "began": "when it began",
    "ended": "when it ended", "optics": "glasses", "light": "light", "searched": "what it searched", "weather": "weather",
    "wind": "wind", "air": "what was felt of the air", "track": "track", "watched": "pockets looked at",
    "pushed": "whether animals were pushed out", "people": "people met", "animal": "animal", "count": "count",
    "date": "time", "outing": "outing", "bearing_true_deg": "bearing", "distance_m": "distance", "sex": "sex",
    "class": "class", "doing": "what they did", "placed": "how it was placed", "toward_true_deg": "where they went",
    "along_m": "error of distance", "across_m": "error of bearing", "age": "age",
}  # fmt: skip
"""What people call the columns of the rows, but those of `edits`; `UNSAID` follow from the others."""
UNSAID = frozenset({"record", "searched", "light"})

_ID = re.compile(r"[PLpl]\d+")

Kept: TypeAlias = dict[str, Any]
"""A row as it is kept: value by column, the geometry as its bytes."""


@dataclass(frozen=True, slots=True)
class Change:
    """One row before and after; None where it was not there."""

    table: str
    row: int
    before: Kept | None
    after: Kept | None


@dataclass(frozen=True, slots=True)
class Step:
    """What was done at once."""

    number: int
    changes: tuple[Change, ...]

    @property
    def words(self) -> str:
        """The step in words: "drop P3"."""
        told = [_told(change) for change in self.changes]
        if len(set(told)) == 1 and len(told) > 1:
            return f"{told[0]} ({len(told)} times)"
        return " and ".join(told[:2]) + (f" and {len(told) - 2} more" if len(told) > 2 else "")


def _told(change: Change) -> str:
    row = change.after or change.before or {}
    if change.table == "edits":
        return _edit(change, row)
    spec = TABLES[change.table]
    name = next((str(row[k]) for k in ("name", "animal", "kind", "lookout") if row.get(k)), "")
    it = f"the {spec.one} {name!r}" if name else spec.a if change.before is None else f"the {spec.one}"
    if change.before is None:
        return f"add {it}"
    if change.after is None:
        return f"remove {it}"
    parts = [k for k in change.after if change.after[k] != change.before.get(k)]
    if any(isinstance(change.after[k], bytes) for k in parts):
        return f"move {it}"
    words = ", ".join(COLUMNS.get(k, "more") for k in parts if k not in UNSAID)
    return f"change {it}: {words}" if words else f"change {it}"


def _edit(change: Change, row: Mapping[str, Any]) -> str:
    words = _said(row)
    if change.before is None:
        return words
    if change.after is None:
        return f"take back: {words}"
    added = row.get("what") == "add"
    if added and _place(change.before) != _place(change.after):
        return words.replace("add a", "move the" if "lookout" in words else "redraw the", 1)
    return f"change: {words}"


def _said(row: Mapping[str, Any]) -> str:
    """What a row of the edits says."""
    what, target, value = (str(row.get(k) or "") for k in ("what", "target", "value"))
    if what == "set":
        return f"set {called(target)} to {value_words(target, value)}"
    if what == "rename":
        return f"rename {target} to {value!r}"
    if what == "add":
        shape = from_blob(_place(row))
        thing = "lookout" if shape is not None and shape.geom_type == "Point" else "pocket"
        return f"add a {thing}" + (f" {value!r}" if value else "")
    if what == "accept" and not _ID.fullmatch(target):
        return f"begin walks at {target!r}"
    return " ".join(part for part in (what, target, value) if part)


def _place(row: Mapping[str, Any]) -> bytes | None:
    """The bytes of a row's geometry."""
    return next((value for value in row.values() if isinstance(value, bytes) and value[:2] == b"GP"), None)


def revision(db: sqlite3.Connection) -> int:
    """How many steps were ever done, undone or redone; 0 before the first."""
    return int(db.execute(f"SELECT max(revision) FROM {TABLE}").fetchone()[0] or 0) if _there(db) else 0


def note_step(db: sqlite3.Connection, changes: Sequence[Change]) -> None:
    """Note what was done at once as the newest step; steps that were taken back can no more be done again."""
    if not _there(db):
        _make(db)
    now = revision(db) + 1
    db.execute(f"DELETE FROM {TABLE} WHERE undone")
    number = int(db.execute(f"SELECT max(number) FROM {TABLE}").fetchone()[0] or 0) + 1
    db.executemany(
        f'INSERT INTO {TABLE} (number, "table", "row", before, after, undone, revision) VALUES (?, ?, ?, ?, ?, 0, ?)',
        [(number, c.table, c.row, _written(c.before), _written(c.after), now) for c in changes],
    )
    db.execute(f"DELETE FROM {TABLE} WHERE number <= ?", (number - MOST_STEPS,))


def turn_over(db: sqlite3.Connection, step: Step, *, undone: bool) -> None:
    """Note that a step was taken back, or done again."""
    now = revision(db) + 1
    db.execute(f"UPDATE {TABLE} SET undone = ?, revision = ? WHERE number = ?", (undone, now, step.number))


def last_done(db: sqlite3.Connection) -> Step | None:
    """The newest step that was not taken back."""
    return _step(db, f"SELECT max(number) FROM {TABLE} WHERE NOT undone")


def next_undone(db: sqlite3.Connection) -> Step | None:
    """The step that would be done again first."""
    return _step(db, f"SELECT min(number) FROM {TABLE} WHERE undone")


def _step(db: sqlite3.Connection, which: str) -> Step | None:
    if not _there(db):
        return None
    rows = db.execute(
        f'SELECT number, "table", "row", before, after FROM {TABLE} WHERE number = ({which}) ORDER BY id'
    ).fetchall()
    steps = [
        Step(number, tuple(Change(table, row, _read(a), _read(b)) for _, table, row, a, b in group))
        for number, group in groupby(rows, key=lambda r: int(r[0]))
    ]
    return steps[0] if steps else None


def _written(row: Kept | None) -> str | None:
    return None if row is None else json.dumps(row, default=lambda blob: {"bytes": blob.hex()})


def _read(text: str | None) -> Kept | None:
    if text is None:
        return None
    return {
        key: bytes.fromhex(value["bytes"]) if isinstance(value, dict) else value
        for key, value in json.loads(text).items()
    }


def _there(db: sqlite3.Connection) -> bool:
    return db.execute("SELECT 1 FROM sqlite_master WHERE name = ?", (TABLE,)).fetchone() is not None


def _make(db: sqlite3.Connection) -> None:
    """The table, registered as attributes (OGC 12-128, clause 2.4): countries made before it get it here."""
    db.execute(
        f'CREATE TABLE {TABLE} (id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, number INTEGER NOT NULL, "table" TEXT '
        'NOT NULL, "row" INTEGER NOT NULL, before TEXT, after TEXT, undone BOOLEAN NOT NULL, revision INTEGER NOT NULL)'
    )
    db.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change) "
        "VALUES (?, 'attributes', ?, 'what the person changed, step by step; undone: taken back', ?)",
        (TABLE, TABLE, WRITTEN),
    )

"""GeoPackages from outside: looked over before a reader opens them, for what would lead elsewhere or never end.

A GeoPackage is a SQLite database, and a reader runs what its schema says: a view is a query, a reckoned column an expression,
a virtual table may stand for another file. Its spatial index is a tree of nodes by number, which can be made to lead back to
itself (the nodes: R-Tree module of SQLite, "Shadow Tables"). Changes that lie in a file beside it are part of it.
"""

from __future__ import annotations

import re
import sqlite3
import struct
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

__all__ = ["MOST_TABLES", "why_unsealed"]

MOST_TABLES = 1000
"""Each layer of a GeoPackage takes five with its index. Readers take seconds for a thousand and minutes for more. Proposed."""
_PLAIN = re.compile(r"create\s+(table|index|unique\s+index|trigger)\b")
_INDEX = re.compile(
    r"create\s+virtual\s+table\s+(?:\"([^\"]*)\"|(\w+))\s+using\s+rtree\s*\(\s*\"?\w+\"?(\s*,\s*\"?\w+\"?){4}\s*\)\s*"
)
_NODES = re.compile(
    r"create\s+table\s+\S.*\(\s*nodeno\s+integer\s+primary\s+key\s*,\s*data(\s+blob)?\s*\)\s*", re.DOTALL
)
_RECKONED = (
    "SELECT 1 FROM sqlite_master AS made, pragma_table_xinfo(made.name) AS col "
    "WHERE made.type = 'table' AND made.sql NOT LIKE 'create virtual%' AND col.hidden <> 0 LIMIT 1"
)
_CELL = 24
"""Bytes of an entry of a node: a number of 8, and four sides of 4."""


def why_unsealed(path: Path) -> str | None:
    """Why a SQLite file is not opened: a clause that goes on after its name; None where it may be.

    Parameters
    ----------
    path
        A file that begins as SQLite's do. It is not changed, and nothing is written beside it.
    """
    beside = [path.with_name(path.name + ending) for ending in ("-wal", "-journal")]
    if any(one.exists() and one.stat().st_size > 0 for one in beside):
        return "it was not closed: changes lie in a file beside it; open and close it in the program that wrote it"
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro&immutable=1", uri=True)) as db:
            return _why(db)
    except (sqlite3.Error, OSError, struct.error, OverflowError):
        return "it can't be read, or is cut short or damaged"


def _why(db: sqlite3.Connection) -> str | None:
    made = {
        str(name).lower(): str(sql).lower()
        for name, sql in db.execute("SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL AND sql <> ''")
    }
    indexes = {name: sql for name, sql in made.items() if _INDEX.fullmatch(sql)}
    if any(_PLAIN.match(sql) is None for name, sql in made.items() if name not in indexes):
        return "it holds virtual tables or views, which can point to other files or never end"
    if _tables(db) > MOST_TABLES:
        return f"it holds more than {MOST_TABLES:,} tables, or names one of them again; save the layer that is wanted alone"
    if db.execute(_RECKONED).fetchone():
        return "it holds columns that are reckoned when they are read, which can fill the memory"
    if any(_returns(db, name, made.get(f"{name}_node", "")) for name in indexes):
        return "its spatial index leads back to itself, so that reading it would never end"
    return None


def _tables(db: sqlite3.Connection) -> float:
    """How many tables there are; infinity where the list of layers names one twice."""
    names = [
        str(name).lower() for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
    ]
    for list_ in {"gpkg_contents", "gpkg_geometry_columns"}.intersection(names):
        told, apart = db.execute(
            f"SELECT count(*), count(DISTINCT lower(table_name)) FROM {list_}"
        ).fetchone()
        if told != apart:
            return float("inf")
    return len(names)


def _returns(db: sqlite3.Connection, index: str, nodes: str) -> bool:
    """Whether a spatial index leads to one of its nodes twice, or its nodes are no table of theirs."""
    if _NODES.fullmatch(nodes) is None:
        return True
    level, met = [1], {1}
    for _ in range(_depth(db, index)):
        level = [child for node in level for child in _children(db, index, node)]
        if len(set(level)) < len(level) or not met.isdisjoint(level):
            return True
        met.update(level)
    return False


def _depth(db: sqlite3.Connection, index: str) -> int:
    data = _node(db, index, 1)
    return struct.unpack(">H", data[:2])[0] if data else 0


def _children(db: sqlite3.Connection, index: str, node: int) -> Iterator[int]:
    data = _node(db, index, node)
    count = struct.unpack(">H", data[2:4])[0] if data else 0
    for at in range(4, 4 + count * _CELL, _CELL):
        yield struct.unpack(">q", data[at : at + 8])[0]


def _node(db: sqlite3.Connection, index: str, node: int) -> bytes:
    quoted = index.replace('"', '""')
    found = db.execute(f'SELECT data FROM "{quoted}_node" WHERE nodeno = ?', (node,)).fetchone()
    return bytes(found[0]) if found and isinstance(found[0], bytes) else b""

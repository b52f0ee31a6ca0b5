"""What the person said, read from the country's rows: an input to the stages. What can't be read is told, not used."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal, TypeAlias

from shapely import MultiPolygon, Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from graylight.country.folder import PACKAGE, Country
from graylight.country.rows import Row, Rows
from graylight.country.settings_file import put
from graylight.errors import BadInput
from graylight.grid import RowCol
from graylight.habitat.profile import shipped_names
from graylight.place import read_place
from graylight.plan.ids import Given
from graylight.settings import Settings
from graylight.settings.words import called

__all__ = ["Edits", "Own", "cell_of", "check_edit", "edited", "read_edits"]

How: TypeAlias = Literal["added", "redrawn", "moved", "accepted"]
WHAT = ("accept", "drop", "rename", "redraw", "add", "move", "set")
MOST_NAME = 80


@dataclass(frozen=True, slots=True)
class Own:
    """A pocket or lookout of the person's own: its id, its shape in the country's CRS, and what was done.

    The shape of an accepted one may be None: then it stands where it was found. A lookout is held to, so that the
    sets are made about it, when it was moved or accepted.
    """

    id: str
    shape: BaseGeometry | None
    how: How
    held: bool = True


@dataclass(frozen=True, slots=True)
class Edits:
    """What was said, the last word on each thing.

    Parameters
    ----------
    own : tuple of Own
        By id; not those dropped, except pockets, which stay to be shown.
    accepted, dropped : frozenset of str
        Ids.
    names : dict
        Name by id.
    starts : tuple of str
        Names of the starts chosen; empty: all.
    settings : tuple of (key, value)
        Settings changed, as they were said.
    unread : tuple of str
        What could not be used and why, in words.
    """

    own: tuple[Own, ...] = ()
    accepted: frozenset[str] = frozenset()
    dropped: frozenset[str] = frozenset()
    names: dict[str, str] = field(default_factory=dict)
    starts: tuple[str, ...] = ()
    settings: tuple[tuple[str, str], ...] = ()
    unread: tuple[str, ...] = ()

    def of(self, letter: str) -> tuple[Own, ...]:
        """The person's own pockets ("P") or lookouts ("L")."""
        return tuple(one for one in self.own if one.id.startswith(letter))


@dataclass(slots=True)
class _Thing:
    """The state of one pocket or lookout while the rows are gone through."""

    how: How | None = None
    shape: BaseGeometry | None = None
    accepted: bool = False
    dropped: bool = False
    name: str | None = None


class _Unread(Exception):
    """Why a row can't be used."""


@dataclass(slots=True)
class _Reading:
    """What is gathered from the rows."""

    country: Country
    given: Given
    things: dict[str, _Thing] = field(default_factory=dict)
    starts: dict[str, None] = field(default_factory=dict)
    unread: list[str] = field(default_factory=list)


def edited(country: Country) -> Country:
    """The country with the settings that were changed by edits; those that can't be used are left out.

    `read_edits` tells which were used. What a command is given goes on top.
    """
    if not (country.folder / PACKAGE).is_file():
        return country  # `Country.check_whole` tells what is gone
    return replace(country, settings=_set(country, Rows(country).read("edits")).settings)


def check_edit(country: Country, row: Row) -> None:
    """See that an edit can be used as it is said; one that is changed, in the stead of what it was.

    Raises
    ------
    BadInput
        It can't: why, and what is accepted.
    """
    if row.values.get("what") == "set":
        return _check_set(country, row)
    reading = _Reading(country, Given())
    _take(reading, row)
    if reading.unread:
        raise BadInput(reading.unread[0].removeprefix("not used: "))
    return None


def _check_set(country: Country, said: Row) -> None:
    key = str(said.values.get("target") or "").strip()
    others = [row for row in Rows(country).read("edits") if row.id != said.id]
    why = _set(country, [*others, said]).unread.get(key)
    if why is not None:
        raise BadInput(why)


def read_edits(country: Country, given: Given) -> Edits:
    """Read what the person said.

    Parameters
    ----------
    country
    given
        Ids given so far; a pocket or lookout that was added gets its id here, by its row, and keeps it.

    Raises
    ------
    BadInput
        The country's rows can't be read at all.
    """
    rows = Rows(country).read("edits")
    sets = _set(country, rows)
    reading = _Reading(country, given)
    for row in rows:
        if row.values.get("what") != "set":
            _take(reading, row)
    things = dict(sorted(reading.things.items(), key=lambda one: (one[0][0] != "P", int(one[0][1:]))))
    return Edits(
        own=tuple(
            Own(key, one.shape, one.how, one.accepted or one.how != "added")
            for key, one in things.items()
            if one.how and (key.startswith("P") or not one.dropped)
        ),
        accepted=frozenset(key for key, one in things.items() if one.accepted),
        dropped=frozenset(key for key, one in things.items() if one.dropped),
        names={key: one.name for key, one in things.items() if one.name},
        starts=tuple(reading.starts),
        settings=sets.said,
        unread=(*(f"not used: {why}" for why in sets.unread.values()), *reading.unread),
    )


def _take(reading: _Reading, row: Row) -> None:
    what, target = str(row.values.get("what") or ""), str(row.values.get("target") or "")
    take = _TAKE.get(what)
    try:
        if take is None:
            raise _Unread(f"accepted are {', '.join(WHAT)}")
        take(reading, row, target)
    except _Unread as why:
        said = " ".join(part for part in (what, target) if part)[:60] or "nothing"
        where = f" (row {row.id} of the edits)" if row.id else ""
        reading.unread.append(f"not used: {said!r}{where}: {why}")


def _thing(reading: _Reading, target: str, *, letters: str = "PL") -> tuple[str, _Thing]:
    key = target.strip().upper()
    if not re.fullmatch(rf"[{letters}][1-9]\d{{0,8}}", key):
        kinds = {"P": "a pocket, such as P3", "L": "a lookout, such as L2"}
        raise _Unread(f"accepted is the id of {' or of '.join(kinds[k] for k in letters)}")
    return key, reading.things.setdefault(key, _Thing())


def _accept(reading: _Reading, row: Row, target: str) -> None:
    if not re.fullmatch(r"[PLpl]\d+", target.strip()):
        if not target.strip():
            raise _Unread("accepted is the id of a pocket or lookout, or the name of a start")
        reading.starts[target.strip()] = None
        return
    key, thing = _thing(reading, target)
    thing.accepted, thing.dropped = True, False
    if key.startswith("L") and thing.how is None:
        thing.how, thing.shape = "accepted", None if row.geometry is None else _spot(reading.country, row)


def _drop(reading: _Reading, _row: Row, target: str) -> None:
    _, thing = _thing(reading, target)
    thing.dropped, thing.accepted = True, False


def _rename(reading: _Reading, row: Row, target: str) -> None:
    name = str(row.values.get("value") or "").strip()
    if not name or len(name) > MOST_NAME:
        raise _Unread(f"the name is empty or too long; accepted are 1 to {MOST_NAME} characters")
    _thing(reading, target)[1].name = name


def _redraw(reading: _Reading, row: Row, target: str) -> None:
    outline = _outline(reading.country, row)
    _, thing = _thing(reading, target, letters="P")
    thing.shape, thing.how, thing.dropped = outline, thing.how or "redrawn", False


def _move(reading: _Reading, row: Row, target: str) -> None:
    spot = _spot(reading.country, row)
    _, thing = _thing(reading, target, letters="L")
    thing.shape, thing.how, thing.dropped = spot, "added" if thing.how == "added" else "moved", False


def _add(reading: _Reading, row: Row, _target: str) -> None:
    lookout = isinstance(row.geometry, Point)
    shape = _spot(reading.country, row) if lookout else _outline(reading.country, row)
    key = reading.given.for_row("L" if lookout else "P", row.id)
    name = str(row.values.get("value") or "").strip()[:MOST_NAME]
    thing = reading.things.setdefault(key, _Thing())
    thing.how, thing.shape, thing.name = "added", shape, name or None


_TAKE: dict[str, Callable[[_Reading, Row, str], None]] = {
    "accept": _accept, "drop": _drop, "rename": _rename, "redraw": _redraw, "add": _add, "move": _move,
}  # fmt: skip


def _spot(country: Country, row: Row) -> Point:
    """A point on the country's ground."""
    west, south, east, north = country.grid.bounds
    if not isinstance(row.geometry, Point):
        raise _Unread("its place is missing; accepted is a point")
    if not (west <= row.geometry.x < east and south < row.geometry.y <= north):
        raise _Unread("its place lies outside the country; accepted is a point inside")
    return row.geometry


def _outline(country: Country, row: Row) -> Polygon:
    """One outline on the country's ground, at least a cell large."""
    shape = row.geometry
    if isinstance(shape, MultiPolygon) and len(shape.geoms) == 1:
        shape = shape.geoms[0]
    if not isinstance(shape, Polygon) or not shape.is_valid:
        raise _Unread(
            "its outline is missing, in parts, or crosses itself; accepted is one ring around the ground"
        )
    inside = shape.intersection(box(*country.grid.bounds))
    if not isinstance(inside, Polygon) or inside.area < country.grid.cell_m**2:
        raise _Unread(
            "its outline lies outside the country or holds less than a cell; accepted is ground inside"
        )
    return inside


# --- settings ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Sets:
    settings: Settings
    said: tuple[tuple[str, str], ...]
    unread: dict[str, str]


def _set(country: Country, rows: Sequence[Row]) -> _Sets:
    """The settings with what was said of them: the last word on each key, all that go together."""
    wanted = {
        str(row.values.get("target") or "").strip(): str(row.values.get("value") or "").strip()
        for row in rows
        if row.values.get("what") == "set"
    }
    settings, said = country.settings, list[tuple[str, str]]()
    unread: dict[str, str] = {}
    for key, value in (*wanted.items(), *wanted.items()):  # twice: one may go only together with a later one
        if key in dict(said):
            continue
        try:
            settings = _with(country, settings, key, value)
            said.append((key, value))
            unread.pop(key, None)
        except BadInput as why:
            unread[key] = f"{called(key[:60])} set to {value[:60]!r}: {why}"
    return _Sets(settings, tuple(sorted(said)), unread)


def _with(country: Country, settings: Settings, key: str, value: str) -> Settings:
    """Settings with one changed; the value is tried as text, then as TOML has numbers, dates, true and false."""
    _check_meaning(country, key, value)
    if key.count(".") > 1:
        raise BadInput("no setting is called so; accepted are those of docs/settings.md; leave it out")
    first: BadInput | None = None
    for way in _ways_to_read(value):
        try:
            return put(settings, key, way)
        except BadInput as why:
            first = first or why
    raise first or BadInput("it has no value")


def _ways_to_read(value: str) -> list[Any]:
    if not value:
        return [None]
    try:
        return [value, tomllib.loads(f"value = {value}")["value"]]
    except tomllib.TOMLDecodeError:
        return [value]


def _check_meaning(country: Country, key: str, value: str) -> None:
    """Names and places that only the country can tell right from wrong."""
    if key == "animal" and value not in (*country.own_profiles(), *shipped_names()):
        known = ", ".join([*country.own_profiles(), *shipped_names()])
        raise BadInput(f"unknown animal; accepted are {known}")
    if key == "start" and value:
        country.grid.rowcol(read_place(value))


def cell_of(country: Country, point: Point) -> RowCol:
    """The cell that a point in the country's CRS lies in."""
    a, _, west, _, _, north = country.grid.transform
    row, col = int((north - point.y) // a), int((point.x - west) // a)
    return RowCol(min(row, country.grid.rows - 1), min(col, country.grid.cols - 1))

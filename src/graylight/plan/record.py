"""The record as it is kept in the country's tables, read back: outings, sightings, sign."""

from __future__ import annotations

import datetime as dt
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal, NamedTuple, TypeAlias, get_args

from shapely import Point
from shapely.geometry.base import BaseGeometry

from graylight.country.folder import Country
from graylight.country.rows import Row, Rows
from graylight.errors import BadInput
from graylight.plan.moments import read_day

__all__ = [
    "AGES", "FELT", "KINDS", "RECORD", "WEATHERS", "Age", "Felt", "Fix", "Kind", "Outing", "Record", "Seen", "Sign",
    "Weather", "outing_of", "outings_of_day", "read_record", "sun_day",
]  # fmt: skip

RECORD = 1
"""Version of the rows; raised when a value comes to mean something else."""
Weather: TypeAlias = Literal["clear", "overcast", "fog", "rain", "snow"]
WEATHERS = get_args(Weather)
Kind: TypeAlias = Literal["tracks", "bed", "droppings", "rub", "trail", "other"]
KINDS = get_args(Kind)
Age: TypeAlias = Literal["fresh", "days", "old", "last season"]
AGES: dict[Age, float] = {"fresh": 0.5, "days": 3.0, "old": 21.0, "last season": 300.0}
"""Days that sign of each age was made before it was found. Common practice, no source."""
Felt: TypeAlias = Literal["up", "down", "still", "unsteady"]
FELT = get_args(Felt)


class Fix(NamedTuple):
    """A point of a track: degrees, and when."""

    lon: float
    lat: float
    at: dt.datetime


@dataclass(frozen=True, slots=True)
class Outing:
    """One outing; moments in UTC.

    Parameters
    ----------
    id
        Number of its row.
    point
        Where was sat, in the country's CRS; of a track, its first point.
    lookout
        Id of the plan's lookout it was at, if any.
    glasses
        Names such as "10x42", "naked eye"; at least one.
    people
        People met.
    pushed
        Whether animals were pushed out.
    wind
        General wind as it was typed, or "".
    air
        What was felt of the air: when, and which way it moved on the slope.
    track
        The way with its times; empty where one sat.
    watched
        Ids of the pockets that were looked at; empty: all in sight.
    """

    id: int
    point: Point
    lookout: str | None
    began: dt.datetime
    ended: dt.datetime
    glasses: tuple[str, ...]
    weather: Weather
    people: int
    pushed: bool
    wind: str
    air: tuple[tuple[dt.datetime, Felt], ...]
    track: tuple[Fix, ...]
    watched: tuple[str, ...]
    note: str


@dataclass(frozen=True, slots=True)
class Seen:
    """Animals seen. `at` is a moment where the time is known, `day` where only the date is; both None: neither."""

    id: int
    point: Point
    animal: str
    count: int | None
    at: dt.datetime | None
    day: dt.date | None
    outing: int | None
    sex: str
    along_m: float | None
    across_m: float | None
    bearing_true_deg: float | None
    words: str


@dataclass(frozen=True, slots=True)
class Sign:
    """Sign found; see `Seen` for `at` and `day`."""

    id: int
    point: Point
    kind: str
    age: Age
    at: dt.datetime | None
    day: dt.date | None
    outing: int | None


@dataclass(frozen=True, slots=True)
class Record:
    """All of it, by number; `left_out` says which rows say nothing, and why."""

    outings: tuple[Outing, ...]
    sightings: tuple[Seen, ...]
    sign: tuple[Sign, ...]
    left_out: tuple[str, ...]

    @property
    def empty(self) -> bool:
        """Whether nothing was recorded."""
        return not (self.outings or self.sightings or self.sign)


class _Unread(Exception):
    """A row that another program left unreadable."""


def read_record(country: Country) -> Record:
    """Read the record of a country.

    Raises
    ------
    BadInput
        A row was written by a newer version, whose values may mean something else. Nothing is changed.
    """
    rows = Rows(country)
    left_out: list[str] = []
    outings = [o for r in rows.read("outings") if (o := _taken(r, outing_of, left_out)) is not None]
    seen = [s for r in rows.read("sightings") if (s := _taken(r, _seen, left_out)) is not None]
    sign = [s for r in rows.read("sign") if (s := _taken(r, _sign, left_out)) is not None]
    linked = tuple(_linked(s, outings, country.grid.center.lon) for s in seen)
    return Record(tuple(outings), linked, tuple(sign), tuple(left_out))


def _linked(one: Seen, outings: Sequence[Outing], lon_deg: float) -> Seen:
    """A sighting with the outing it was made on where none is named, or one that is no more: by its time, or its day."""
    if any(o.id == one.outing for o in outings):
        return one
    if one.at is None:
        during = outings_of_day(one, outings, lon_deg)
        return replace(one, outing=during[0].id if len(during) == 1 else None)
    return replace(one, outing=next((o.id for o in outings if o.began <= one.at <= o.ended), None))


def outings_of_day(one: Seen, outings: Sequence[Outing], lon_deg: float) -> list[Outing]:
    """The outings on the day of a sighting of which the day alone is known; none where more or less is."""
    if one.at is not None or one.day is None:
        return []
    return [o for o in outings if sun_day(o.began, lon_deg) <= one.day <= sun_day(o.ended, lon_deg)]


def sun_day(at: dt.datetime, lon_deg: float) -> dt.date:
    """The day by the sun at a longitude: by UTC an evening west of Greenwich would be cut in two."""
    return (at + dt.timedelta(hours=lon_deg / 15.0)).date()


_NAMES = {"outings": "outing", "sightings": "sighting", "sign": "sign"}


def _taken(row: Row, read: Any, left_out: list[str]) -> Any:
    """A row read; one that can't be is named in `left_out` and stays as it is in the file."""
    version = row.values.get("record")
    if isinstance(version, int) and version > RECORD:
        raise BadInput(
            f"{_NAMES[row.table]} {row.id} was recorded by a newer version of graylight (record {version}); accepted is record "
            f"{RECORD} or older; install the newer version: nothing was changed"
        )
    try:
        return read(row)
    except _Unread as why:
        left_out.append(f"{_NAMES[row.table]} {row.id} is left out: {why}")
        return None


def outing_of(row: Row) -> Outing:
    """An outing from its row."""
    v = row.values
    began, ended = _moment(v.get("began")), _moment(v.get("ended"))
    if began is None or ended is None or ended <= began:
        raise _Unread("it has no time from which and until when")
    return Outing(
        row.id, _point(row.geometry), _text(v, "lookout") or None, began, ended,
        tuple(_parts(_text(v, "optics"))) or ("naked eye",), _one_of(WEATHERS, _text(v, "weather"), "clear"),
        int(_real(v.get("people")) or 0), _text(v, "pushed") == "yes", _text(v, "wind"), _air(_text(v, "air")),
        _track(_text(v, "track")), tuple(_parts(_text(v, "watched"))), _text(v, "note"),
    )  # fmt: skip


def _seen(row: Row) -> Seen:
    v = row.values
    at, day = _when(v.get("date"))
    count = _real(v.get("count"))
    return Seen(
        row.id, _point(row.geometry), _text(v, "animal"), None if count is None else int(count), at, day,
        _number(v.get("outing")), _text(v, "sex"), _real(v.get("along_m")), _real(v.get("across_m")),
        _real(v.get("bearing_true_deg")), _text(v, "note"),
    )  # fmt: skip


def _sign(row: Row) -> Sign:
    v = row.values
    at, day = _when(v.get("date"))
    age = _one_of(tuple(AGES), _text(v, "age"), "old")
    return Sign(row.id, _point(row.geometry), _text(v, "kind"), age, at, day, _number(v.get("outing")))


def _point(geometry: BaseGeometry | None) -> Point:
    if geometry is None or geometry.is_empty:
        raise _Unread("it has no place")
    return geometry if isinstance(geometry, Point) else geometry.centroid


def _text(values: Mapping[str, Any], key: str) -> str:
    return str(values.get(key) or "").strip()


def _parts(text: str) -> list[str]:
    return [part.strip() for part in text.split(",") if part.strip()]


def _one_of(known: tuple[Any, ...], text: str, otherwise: Any) -> Any:
    return text if text in known else otherwise


def _number(value: object) -> int | None:
    text = str(value or "")
    return int(text) if text.isdigit() else None


def _real(value: object) -> float | None:
    """A number; SQLite keeps anything anywhere, and another program may have written words there."""
    try:
        found = float(str(value))
    except ValueError:
        return None
    return found if math.isfinite(found) else None


def _moment(value: object) -> dt.datetime | None:
    """A moment as it is kept; without an offset it is UTC."""
    try:
        found = dt.datetime.fromisoformat(str(value or "").strip())
    except ValueError:
        return None
    return found.replace(tzinfo=dt.UTC) if found.tzinfo is None else found.astimezone(dt.UTC)


def _when(value: object) -> tuple[dt.datetime | None, dt.date | None]:
    text = str(value or "").strip()
    day = read_day(text)
    return (_moment(text) if len(text) > 10 else None), day


def _air(text: str) -> tuple[tuple[dt.datetime, Felt], ...]:
    found = []
    for part in _parts(text):
        when, _, felt = part.partition(" ")
        at = _moment(when)
        if at is not None and felt in FELT:
            found.append((at, _one_of(FELT, felt, "still")))
    return tuple(found)


def _track(text: str) -> tuple[Fix, ...]:
    if not text:
        return ()
    try:
        given = json.loads(text)
        fixes = [Fix(float(lon), float(lat), _moment(at)) for lon, lat, at in given]  # type: ignore[arg-type]
    except (ValueError, TypeError):
        raise _Unread("its track can't be read") from None
    if any(fix.at is None for fix in fixes):
        raise _Unread("its track has points without times")
    return tuple(fixes)

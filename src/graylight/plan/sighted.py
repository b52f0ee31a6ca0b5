"""Animals and sign put on the ground: by bearing and distance, by angle, by coordinates, from photos and files."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from shapely import LineString, Point

from graylight.country.folder import Country
from graylight.country.rows import Row
from graylight.errors import BadInput
from graylight.grid import WGS84, LonLat, azimuth_deg
from graylight.place import read_place
from graylight.plan.animals import is_animal, kind_words
from graylight.plan.felt import is_remark
from graylight.plan.moments import read_day, read_moment, written
from graylight.plan.morning_ready import kept_lookout
from graylight.plan.notebook import Notebook
from graylight.plan.odds import when_seen
from graylight.plan.photographed import with_photo
from graylight.plan.record import AGES, KINDS, RECORD, Record
from graylight.plan.record_model import SightingTold, SignTold
from graylight.plan.record_said import has_light, kept_date, on_its_day, one_of
from graylight.sight.placing import Errors, Eye, Placed, place_by_angle, place_by_distance
from graylight.sky.declination import declination
from graylight.units import read_distance, refused_in

__all__ = [
    "GivenSighting",
    "GivenSign",
    "add_sighting",
    "add_sign",
    "add_trace",
    "change_sighting",
    "take_in",
    "told_sign",
    "trail_course",
    "undated",
    "watcher",
]

_CLOCK = re.compile(r"\d{1,2}:\d{2}(:\d{2})?")
SEXES = ("male", "female", "young", "mixed", "unknown")
SAME_M = 1.0
"""Nearer than this, at the same time and with the same words, a row that is taken in is there already."""


@dataclass(frozen=True, slots=True)
class GivenSighting:
    """A sighting as a person gives it; None: not given.

    Parameters
    ----------
    at
        A PLACE: where the animals were.
    seen_from
        Id of a lookout, or a PLACE: where the watcher was; with a bearing and a distance or an angle.
    bearing_deg, true_north
        As read; from magnetic north unless said otherwise.
    distance, distance_error
        With their units; along the line of sight.
    up_deg
        Angle above the horizontal, below: negative.
    when
        Moment or day, as typed.
    placed
        How it was placed, where a photo, the strip or a file says.
    """

    at: str | LonLat | None = None
    seen_from: str | LonLat | None = None
    bearing_deg: float | None = None
    true_north: bool = False
    bearing_error_deg: float | None = None
    distance: str | None = None
    distance_error: str | None = None
    up_deg: float | None = None
    when: str | dt.datetime | None = None
    animal: str | None = None
    count: int | None = None
    sex: str | None = None
    group: str | None = None
    doing: str | None = None
    toward: float | None = None
    outing: int | None = None
    note: str | None = None
    photo: str | None = None
    placed: str | None = None


@dataclass(frozen=True, slots=True)
class GivenSign:
    """Sign as a person gives it; None: not given."""

    at: str | LonLat | None
    kind: str
    age: str | None = None
    when: str | dt.datetime | None = None
    outing: int | None = None
    note: str | None = None
    photo: str | None = None


@dataclass(frozen=True, slots=True)
class _Put:
    """A sighting on the ground: its point and what goes into the row beside."""

    point: Point
    values: dict[str, Any]
    hidden_m: float | None


# --- sightings -----------------------------------------------------------------------------------------------------


def add_sighting(book: Notebook, given: GivenSighting, *, photo: bytes | None = None) -> SightingTold:
    """Place a sighting and keep it.

    Parameters
    ----------
    photo
        A photo to be kept with it; only once all else is found good.

    Raises
    ------
    BadInput
        The bearing meets no ground, the place lies outside the country, or something isn't understood.
    """
    record = book.record()
    put = _put(book, given, record)
    put.values["date"] = put.values["date"] or _day_of_outing(book, given.outing)
    on_its_day(book, given.outing, put.values["date"])
    same = _known(record).get(_key(put))
    with with_photo(book.country, book.rows, photo) as name:
        put.values["photo"] = name or put.values["photo"]
        kept = book.rows.add("sightings", put.point, **put.values)
    return _tell(book, kept, put.hidden_m).model_copy(update={"same_as": same})


def change_sighting(
    book: Notebook, number: int, given: GivenSighting, *, photo: bytes | None = None
) -> SightingTold:
    """Correct a sighting; what is not given stays.

    Raises
    ------
    BadInput
        As `add_sighting`; or there is no such sighting, or a newer version wrote it.
    """
    book.record()  # refuses what a newer version wrote
    before = book.rows.get("sightings", number)
    values = {k: v for k, v in _remarks(book, given, new=False).items() if v is not None}
    shape: dict[str, Any] = {}
    if given.outing is not None or given.when is not None:
        told = {**before.values, **values}
        on_its_day(book, told.get("outing"), str(told.get("date") or ""))
    put = None
    if _placed_anew(given):
        here = book.lonlat(next(s for s in book.record().sightings if s.id == number).point)
        put = _put(book, _completed(given, before, here), book.record())
        values |= {k: put.values.get(k) for k in _PLACING}
        shape = {"geometry": put.point}
    with with_photo(book.country, book.rows, photo) as name:
        values |= {} if name is None else {"photo": name}
        kept = book.rows.change("sightings", number, **shape, **values)
    return _tell(book, kept, None if put is None else put.hidden_m)


def _placed_anew(given: GivenSighting) -> bool:
    """Whether a correction moves a sighting."""
    by_bearing = any(getattr(given, name) is not None for name in _BY_BEARING)
    return given.at is not None or given.true_north or by_bearing


def _completed(given: GivenSighting, before: Row, here: LonLat) -> GivenSighting:
    """A correction of the place with what the row knows already: its time, its true bearing, where it was seen from."""
    told = before.values
    given = replace(given, when=given.when or told.get("date"))
    bearing, away_m = told.get("bearing_true_deg"), told.get("distance_m")
    if given.at is not None or bearing is None or away_m is None:
        return given
    if given.seen_from is None and given.outing is None:
        lon, lat, _ = WGS84.fwd(here.lon, here.lat, float(bearing) + 180.0, float(away_m))
        given = replace(given, seen_from=LonLat(float(lon), float(lat)))
    if given.bearing_deg is None:
        given = replace(given, bearing_deg=float(bearing), true_north=True)
    return given


def _day_of_outing(book: Notebook, number: int | None) -> str:
    """The day of an outing, for what was seen on it without a time of its own."""
    if number is None:
        raise BadInput(
            'it is not said when; accepted is --when "2026-08-27 06:40" by the country\'s clock, a day, or the number of an '
            "outing; give one of these"
        )
    return book.local(book.outing(number).began).date().isoformat()


_PLACING = ("bearing_true_deg", "distance_m", "along_m", "across_m", "placed")
_BY_BEARING = ("seen_from", "bearing_deg", "bearing_error_deg", "distance", "distance_error", "up_deg")
"""What places a sighting by a bearing; any of them given anew puts it on the ground anew."""


def _put(book: Notebook, given: GivenSighting, record: Record) -> _Put:
    values = _remarks(book, given, new=True)
    if values["outing"] is not None:
        book.outing(int(values["outing"]))
    if given.at is not None:
        point = book.point(_place(given.at))
        _goes_with(book, given, _place(given.at), values["date"])
        error = book.country.settings.record.place_error_m
        values |= {"placed": given.placed or "coordinates", "along_m": error, "across_m": error}
        return _Put(point, values, None)
    placed, how = _placed(book, given, values["date"], record)
    values |= {
        "placed": given.placed or how, "bearing_true_deg": placed.bearing_true_deg, "distance_m": placed.distance_m,
        "along_m": placed.along_m, "across_m": placed.across_m,
    }  # fmt: skip
    return _Put(book.point(placed.place), values, placed.hidden_m)


def _goes_with(book: Notebook, given: GivenSighting, at: LonLat, when: str | None) -> None:
    """Refuse a place beside a bearing from elsewhere that does not lead there: one of them is a slip.

    Raises
    ------
    BadInput
        They lie farther apart than three times the bearing's error.
    """
    if given.bearing_deg is None or given.seen_from is None:
        return
    eye = _watcher(book, given, Record((), (), (), ()), when)
    said, leads = _true_bearing(book, given, eye, when), azimuth_deg(eye, at)
    error = given.bearing_error_deg or book.country.settings.record.bearing_error_deg
    if abs((said - leads + 180.0) % 360.0 - 180.0) > 3.0 * error:
        raise BadInput(
            f"the place lies at {leads:.0f} degrees true from where the bearing was taken, and the bearing said is {said:.0f} "
            "degrees true; accepted is a place or a bearing with its distance, or both where they go together; leave the wrong "
            "one out"
        )


def _place(given: str | LonLat) -> LonLat:
    return given if isinstance(given, LonLat) else read_place(given)


def _placed(book: Notebook, given: GivenSighting, when: str | None, record: Record) -> tuple[Placed, str]:
    """The ground on the bearing."""
    if given.bearing_deg is None or (given.distance is None and given.up_deg is None):
        raise BadInput(
            "it is not said where the animals were; accepted is a PLACE (--at), or a bearing with a distance or an angle "
            "(--from, --bearing, --distance or --up), a point of the strip (--strip) or a photo; give one of these"
        )
    settings = book.country.settings
    place = _watcher(book, given, record, when)
    true_deg = _true_bearing(book, given, place, when)
    eye = Eye(
        place,
        book.ready.survey.elevation_m,
        book.country.grid,
        settings.sight.eye_m,
        settings.sight.refraction,
    )
    book.country.grid.rowcol(place)
    bearing_error = given.bearing_error_deg or settings.record.bearing_error_deg
    if given.distance is not None:
        away = read_distance(given.distance)
        part = settings.record.distance_error_part * away
        error = part if given.distance_error is None else read_distance(given.distance_error)
        with refused_in(settings.units):
            placed = place_by_distance(eye, true_deg, away, Errors(bearing_error, distance_m=error))
        return placed, "bearing and distance"
    assert given.up_deg is not None
    if not -90.0 < given.up_deg < 90.0:
        raise BadInput(
            f"--up is {given.up_deg:g}; accepted is -89 to 89 degrees, negative below the horizontal; mend it"
        )
    errors = Errors(bearing_error, angle_deg=settings.record.angle_error_deg)
    with refused_in(settings.units):
        placed = place_by_angle(eye, true_deg, given.up_deg, errors)
    return placed, "bearing and angle"


def watcher(book: Notebook, given: GivenSighting) -> LonLat:
    """Where a sighting was looked from: as said, or where the outing was.

    Raises
    ------
    BadInput
        It is not said, and no outing tells it.
    """
    return _watcher(book, given, book.record(), kept_date(book, given.when))


def _watcher(book: Notebook, given: GivenSighting, record: Record, when: str | None) -> LonLat:
    if isinstance(given.seen_from, LonLat):
        return given.seen_from
    if given.seen_from is not None:
        text = given.seen_from.strip()
        if text[:1].upper() == "L" and text[1:].isdigit():
            seat = kept_lookout(book.plan, text)
            return LonLat(seat.place.lon, seat.place.lat)
        return read_place(text)
    number = given.outing
    if number is None and when is not None and len(when) > 10:
        at = dt.datetime.fromisoformat(when)
        number = next((o.id for o in record.outings if o.began <= at <= o.ended), None)
    if number is None:
        raise BadInput(
            "it is not said where the bearing was taken from; accepted is --from with a lookout or a PLACE, or the time or "
            "number of an outing; give one of these"
        )
    return book.lonlat(book.outing(number).point)


def _true_bearing(book: Notebook, given: GivenSighting, place: LonLat, when: str | None) -> float:
    assert given.bearing_deg is not None
    if not 0.0 <= given.bearing_deg <= 360.0:
        raise BadInput(f"--bearing is {given.bearing_deg:g}; accepted is 0 to 360 degrees; mend it")
    if given.true_north:
        return given.bearing_deg % 360.0
    day = read_day(when or "") or book.country.settings.date
    east = declination(place, height_m=0.0, day=day)
    if east is None:
        raise BadInput(
            f"there is no magnetic north on record for {day.isoformat()} here (World Magnetic Model 2025: 2025 to 2029); "
            "accepted is a bearing from true north; give it with --true"
        )
    return (given.bearing_deg + east.deg) % 360.0


def _remarks(book: Notebook, given: GivenSighting, *, new: bool) -> dict[str, Any]:
    """The columns beside place and error."""
    kind = kind_words(book.plan.animal)
    if given.count is not None and not 0 < given.count <= 10_000:
        raise BadInput(
            f"--count is {given.count}; accepted is 1 to 10000; nothing seen is an outing without a sighting"
        )
    if given.sex is not None and given.sex.strip().lower() not in SEXES:
        raise BadInput(f"--sex is {given.sex!r}; accepted is {', '.join(SEXES)}; give one of them")
    if given.toward is not None and not 0.0 <= given.toward <= 360.0:
        raise BadInput(f"--toward is {given.toward:g}; accepted is 0 to 360 degrees true; mend it")
    return {
        "animal": given.animal or (kind if new else None), "count": given.count, "sex": given.sex and given.sex.strip().lower(),
        "class": given.group, "doing": given.doing, "toward_true_deg": given.toward, "note": given.note,
        "date": kept_date(book, given.when), "outing": None if given.outing is None else str(given.outing),
        "photo": given.photo, "record": RECORD,
    }  # fmt: skip


def _tell(book: Notebook, row: Row, hidden_m: float | None) -> SightingTold:
    kept = next(s for s in book.record().sightings if s.id == row.id)
    v = row.values
    error = book.country.settings.record.place_error_m
    errors = (kept.along_m or error, kept.across_m or error, kept.bearing_true_deg or 0.0)
    pocket, belongs = book.pocket_at(kept.point, errors)
    dark = kept.at is not None and not has_light(book, kept.at)
    return SightingTold(
        id=row.id, at=kept.at, date=kept.day, animal=kept.animal, count=kept.count, sex=kept.sex or "unknown",
        group=str(v.get("class") or ""), doing=str(v.get("doing") or ""), toward_true_deg=v.get("toward_true_deg"),
        place=book.place(kept.point), placed=str(v.get("placed") or ""), distance_m=v.get("distance_m"),
        counts=is_animal(kept.animal, book.plan.animal),
        bearing_true_deg=kept.bearing_true_deg, along_m=kept.along_m, across_m=kept.across_m, hidden_m=hidden_m,
        outing=kept.outing, pocket=pocket, belongs=belongs, note=kept.words, photo=v.get("photo"), dark=dark,
    )  # fmt: skip


# --- sign ----------------------------------------------------------------------------------------------------------


def add_sign(book: Notebook, given: GivenSign, *, photo: bytes | None = None) -> SignTold:
    """Keep sign that was found.

    Parameters
    ----------
    photo
        A photo to be kept with it; only once all else is found good.

    Raises
    ------
    BadInput
        The place lies outside the country, or something isn't understood.
    """
    if given.at is None:
        raise BadInput("it is not said where the sign was; accepted is a PLACE; give one")
    kind, age = one_of(given.kind, KINDS, "--kind"), one_of(given.age or "old", tuple(AGES), "--age")
    date = kept_date(book, given.when) or _day_of_outing(book, given.outing)
    if given.outing is not None:
        book.outing(given.outing)
    on_its_day(book, given.outing, date)
    point = book.point(_place(given.at))
    with with_photo(book.country, book.rows, photo) as name:
        row = book.rows.add(
            "sign", point, kind=kind, age=age, date=date, note=given.note,
            outing=None if given.outing is None else str(given.outing), photo=name or given.photo, record=RECORD,
        )  # fmt: skip
    return told_sign(book, row)


def told_sign(book: Notebook, row: Row) -> SignTold:
    """Sign that is kept, told."""
    kept = next(s for s in book.record().sign if s.id == row.id)
    error = book.country.settings.record.place_error_m
    pocket, belongs = book.pocket_at(kept.point, (error, error, 0.0))
    return SignTold(
        id=row.id, kind=kept.kind, age=kept.age, at=kept.at, date=kept.day, place=book.place(kept.point),
        pocket=pocket, belongs=belongs, outing=kept.outing, note=str(row.values.get("note") or ""), trace=False,
    )  # fmt: skip


def add_trace(book: Notebook, places: Sequence[LonLat], note: str | None) -> SignTold:
    """Keep a trail that a person sees on the ground or on imagery: animals' own ways take it as cheaper.

    Raises
    ------
    BadInput
        Fewer than two places, or one outside the country.
    """
    course = trail_course(book.country, places)
    row = book.rows.add("traces", course, kind="trail", note=note)
    middle = course.interpolate(0.5, normalized=True)
    pocket, belongs = book.pocket_at(middle, (1.0, 1.0, 0.0))
    return SignTold(
        id=row.id, kind="trail", age="old", at=None, date=None, place=book.place(middle), pocket=pocket,
        belongs=belongs, outing=None, note=note or "", trace=True,
    )  # fmt: skip


def trail_course(country: Country, places: Sequence[LonLat]) -> LineString:
    """The course of a trail in the country's CRS.

    Raises
    ------
    BadInput
        Fewer than two places, or one outside the country.
    """
    for place in places:
        country.grid.rowcol(place)
    spots = [country.grid.xy(*country.grid.locate(place)) for place in places]
    if len(set(spots)) < 2:
        raise BadInput(
            f"a trail of {len(spots)} places is no line; accepted are two or more different ones; give its course"
        )
    return LineString(spots)


# --- files ---------------------------------------------------------------------------------------------------------


def take_in(
    book: Notebook,
    points: Sequence[tuple[str, LonLat | None, Mapping[str, str]]],
    *,
    name: str,
    zone: str | None = None,
) -> tuple[list[int], int]:
    """Take sightings in from a file, all or none.

    Remarks on the air, which waypoints may be, and rows of other tables of a record that was exported are passed over.

    Parameters
    ----------
    points
        Of each its line or number, its place where it is given in degrees, and its values by column.
    name
        Of the file, for messages.
    zone
        Time zone that times without an offset are in; None: the country's. GPX keeps UTC.

    Returns
    -------
    added, there
        Numbers of the new rows; how many were there already.

    Raises
    ------
    BadInput
        A line can't be read or lies outside the country: its number is said, and nothing is taken in.
    """
    known = _known(book.record())
    added, there = [], 0
    ready = [
        _line(book, where, place, values, name, zone)
        for where, place, values in points
        if _is_sighting(values)
    ]
    with book.rows.together():
        for put in ready:
            key = _key(put)
            if key in known:
                there += 1
                continue
            known[key] = book.rows.add("sightings", put.point, **put.values).id
            added.append(known[key])
    return added, there


def undated(book: Notebook, numbers: Sequence[int]) -> int:
    """How many of some sightings have no date: they count for the basin only."""
    return sum(s.id in numbers and when_seen(s) is None for s in book.record().sightings)


def _is_sighting(values: Mapping[str, str]) -> bool:
    """Whether a line tells animals seen: not a remark on the air, nor a row of another table of a record that was exported."""
    if values.get("table", "sightings") != "sightings":
        return False
    return bool(values.get("animal")) or not is_remark(values.get("note", ""))


def _line(
    book: Notebook, where: str, place: LonLat | None, values: Mapping[str, str], name: str, zone: str | None
) -> _Put:
    try:
        spot = place or (read_place(values["place"]) if values.get("place") else None)
        if spot is None:
            raise BadInput("it has no place; accepted is lat and lon in degrees, or a place")
        when = values.get("time") or values.get("date")
        if _CLOCK.fullmatch(values.get("time", "")) and values.get("date"):
            when = f"{values['date']} {values['time']}"  # day and hour in columns of their own
        if when and zone == "UTC" and len(when) > 10:
            when = written(read_moment(when, "UTC", name="the time"))
        given = GivenSighting(
            at=spot, when=when or None, animal=values.get("animal") or None, count=_whole(values.get("count")),
            sex=values.get("sex") or None, group=values.get("class") or None, doing=values.get("doing") or None,
            toward=_float(values.get("toward") or values.get("toward_true_deg")), note=_unquoted(values.get("note")) or None,
            placed="file",
        )  # fmt: skip
        put = _put(book, given, Record((), (), (), ()))
        return replace(put, values=put.values | _as_exported(values))
    except BadInput as error:
        raise BadInput(f"{name}, {where}: {error}; nothing was taken in") from None


def _as_exported(values: Mapping[str, str]) -> dict[str, Any]:
    """How a sighting was placed, as an exported record has it; nothing where the line does not come from one."""
    names = ("along_m", "across_m", "bearing_true_deg", "distance_m")
    found: dict[str, Any] = {name: _float(values[name]) for name in names if values.get(name)}
    return found | ({"placed": values["placed"]} if values.get("placed") else {})


def _unquoted(text: str | None) -> str:
    """A note without the quote that an exported table has before what a spreadsheet would take for a formula."""
    return "" if not text else text[1:] if text[:1] == "'" and text[1:2] in {"=", "+", "-", "@"} else text


def _whole(text: str | None) -> int | None:
    if not text:
        return None
    try:
        return int(text)
    except ValueError:
        raise BadInput(f"the count is {text!r}; accepted is a whole number") from None


def _float(text: str | None) -> float | None:
    if not text:
        return None
    try:
        return float(text)
    except ValueError:
        raise BadInput(f"toward is {text!r}; accepted is degrees from true north") from None


_Key = tuple[int, int, str, str, object, str, str]


def _known(record: Record) -> dict[_Key, int]:
    """Numbers of the sightings kept, by what makes two the same."""
    found: dict[_Key, int] = {}
    for one in record.sightings:
        day = when_seen(one)
        stamp = "" if day is None else f"{day:.5f}"
        spot = (round(one.point.x / SAME_M), round(one.point.y / SAME_M))
        key = (*spot, stamp, one.words, one.count, *_kind(one.animal, one.sex))
        found.setdefault(key, one.id)
    return found


def _key(put: _Put) -> _Key:
    date = put.values["date"] or ""
    day: float | None = None
    if len(date) > 10:
        day = dt.datetime.fromisoformat(date).timestamp() / 86_400.0
    elif date:
        day = (dt.date.fromisoformat(date) - dt.date(1970, 1, 1)).days + 0.5
    stamp = "" if day is None else f"{day:.5f}"
    spot = (round(put.point.x / SAME_M), round(put.point.y / SAME_M))
    kind = _kind(put.values["animal"], put.values["sex"])
    return (*spot, stamp, put.values["note"] or "", put.values["count"], *kind)


def _kind(animal: str | None, sex: str | None) -> tuple[str, str]:
    """Which animals, however it is spelled."""
    return (animal or "").strip().lower(), (sex or "").strip().lower()

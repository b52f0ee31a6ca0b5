"""The commands of the record: outing, seen, sign, odds, next, learn. Heavy imports wait until a command is called."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

from cyclopts import Parameter

from graylight.cli.begin import opened, plan_of
from graylight.cli.progress import bar
from graylight.cli.words import Folder, Json, Note, Text, Whole, say, whole

if TYPE_CHECKING:
    from graylight.exchange.photo import PhotoFacts
    from graylight.plan.felt import Remarks
    from graylight.plan.notebook import Notebook
    from graylight.plan.record import Fix
    from graylight.plan.record_model import SignTold
    from graylight.plan.sighted import GivenSighting
    from graylight.plan.sign_corrected import CorrectedSign

__all__ = ["learn", "next_sit", "odds", "outing", "seen", "sign"]

Degrees = Annotated[float | None, Parameter(allow_leading_hyphen=True)]
Yes = Annotated[bool, Parameter(negative="")]


def outing(
    folder: Folder,
    *,
    lookout: str | None = None,
    at: Text = None,
    begin: Annotated[str | None, Parameter(name="--from")] = None,
    until: str | None = None,
    track: Path | None = None,
    glass: str | None = None,
    weather: str | None = None,
    watched: str | None = None,
    people: Whole = None,
    pushed: Annotated[bool | None, Parameter(negative="--not-pushed")] = None,
    wind: str | None = None,
    air: str | None = None,
    note: Note = None,
    change: Whole = None,
    remove: Whole = None,
    json: Json = False,
) -> None:
    """Record a time of watching, and tell what it searched.

    Parameters
    ----------
    lookout
        Id of a lookout of the plan where was sat, such as L1.
    at
        A PLACE of your own where was sat.
    begin
        When it began, "2026-08-27 05:20" by the country's clock, or with an offset.
    until
        When it ended; a time alone is taken as of the same day.
    track
        GPX file of the way with its times, instead of place and times; its waypoints may say the air ("air down").
    glass
        What was looked through, "10x42" or "10x42, 45x80" or "naked eye"; 10x42 if not given.
    weather
        clear, overcast, fog, rain or snow; clear if not given.
    watched
        Ids of the pockets that were looked at, such as "P4, P9"; all in sight if not given.
    people
        How many people were met.
    pushed
        Animals were pushed out.
    wind
        General wind, such as "SW 8mph".
    air
        What was felt of the air: "07:10 down, 08:40 up" (up, down, still or unsteady), where you sat or along the
        track.
    change
        Number of an outing to correct: what is given is changed, the rest stays.
    remove
        Number of an outing to take away.
    """
    from graylight.plan.notebook import GivenOuting
    from graylight.telling.record import tell_outing

    book = _book(folder)
    if remove is not None:
        _alone(change)
        _taken_away(book, "outings", remove)
        return
    fixes, remarks = ((), None) if track is None else _track(track)
    given = GivenOuting(
        where=lookout if lookout is not None else at, begin=begin, end=until, glasses=glass, weather=weather,
        people=people, pushed=pushed, wind=wind or (remarks.wind if remarks else None), air=air, watched=watched,
        note=note, track=fixes, felt=remarks.air if remarks else (),
    )  # fmt: skip
    with bar("working out what was in sight") as tick:
        told = book.add_outing(given) if change is None else book.change_outing(change, given)
        tick(1.0)
    print(told.model_dump_json(indent=1) if json else say(tell_outing(told, book.country.settings.units)))


def seen(
    folder: Folder,
    *,
    at: Text = None,
    origin: Annotated[str | None, Parameter(name="--from", allow_leading_hyphen=True)] = None,
    bearing: float | None = None,
    true: Yes = False,
    bearing_error: float | None = None,
    distance: str | None = None,
    distance_error: str | None = None,
    up: Degrees = None,
    strip: str | None = None,
    photo: Path | None = None,
    file: Path | None = None,
    when: str | None = None,
    outing: Whole = None,
    count: Whole = None,
    animal: str | None = None,
    sex: str | None = None,
    group: Annotated[str | None, Parameter(name="--class")] = None,
    doing: str | None = None,
    toward: float | None = None,
    note: Note = None,
    change: Whole = None,
    remove: Whole = None,
    json: Json = False,
) -> None:
    """Record animals seen, put on the ground where they were.

    Parameters
    ----------
    at
        A PLACE: where they were.
    origin
        A lookout or a PLACE from which the bearing was taken; the outing's own place if not given.
    bearing
        Degrees from magnetic north.
    true
        The bearing, and that of a photo, is from true north.
    bearing_error
        How far off it may be, degrees.
    distance
        Along the line of sight, such as 1200yd or 1.1km.
    distance_error
        How far off that may be, such as 50yd.
    up
        Angle above the horizontal instead of a distance, degrees; -4 is four below.
    strip
        A point "X,Y" of the strip that 'graylight look' drew from that place, in pixels of the picture.
    photo
        A photo: its own place, time and direction are read; with --distance it is where the camera stood.
    file
        GPX waypoints or a CSV table of sightings, all taken in at once.
    when
        "2026-08-27 06:40" by the country's clock, with an offset, or a day.
    outing
        Number of the outing on which they were seen; found by the time if not given.
    count
        How many.
    animal
        What they were; the plan's animal if not given.
    sex
        male, female, young, mixed or unknown.
    group
        Class in your own words, such as "four points".
    doing
        Feeding, bedded, walking ...
    toward
        Which way they went, degrees from true north.
    change
        Number of a sighting to correct.
    remove
        Number of a sighting to take away.
    """
    from graylight.plan.sighted import GivenSighting, add_sighting, change_sighting
    from graylight.telling.record import tell_sighting

    book = _book(folder)
    if remove is not None:
        _alone(change, file)
        _taken_away(book, "sightings", remove)
        return
    if file is not None:
        _take_in(book, file, json)
        return
    given = GivenSighting(
        at=at, seen_from=origin, bearing_deg=bearing, true_north=true, bearing_error_deg=bearing_error,
        distance=distance, distance_error=distance_error, up_deg=up, when=when, animal=animal, count=count, sex=sex,
        group=group, doing=doing, toward=toward, outing=outing, note=note,
    )  # fmt: skip
    data = None
    if photo is not None:
        facts, data = _photo(photo)
        given = _by_photo(given, facts, photo)
    if strip is not None:
        given = _from_strip(book, given, strip)
    told = (
        add_sighting(book, given, photo=data)
        if change is None
        else change_sighting(book, change, given, photo=data)
    )
    units = book.country.settings.units
    print(told.model_dump_json(indent=1) if json else say(tell_sighting(told, book.timezone, units)))


def sign(
    folder: Folder,
    *,
    kind: str | None = None,
    at: Text = None,
    age: str | None = None,
    line: Text = None,
    file: Path | None = None,
    photo: Path | None = None,
    when: str | None = None,
    outing: Whole = None,
    note: Note = None,
    change: Whole = None,
    remove: Whole = None,
    remove_trail: Whole = None,
    json: Json = False,
) -> None:
    """Record sign found, or a trail that animals use.

    Parameters
    ----------
    kind
        tracks, bed, droppings, rub, trail or other; tracks if not given.
    at
        A PLACE.
    age
        fresh, days, old or "last season"; old if not given.
    line
        The course of a trail: PLACES with semicolons between.
    file
        GPX file whose tracks and routes are trails.
    photo
        A photo: its own place and time are read.
    when
        When it was found, as for seen.
    outing
        Number of the outing on which it was found.
    change
        Number of sign to correct: what is given is changed, the rest stays.
    remove
        Number of sign to take away.
    remove_trail
        Number of a trail (from --line or --file) to take away.
    """
    from graylight.plan.sighted import add_trace
    from graylight.plan.sign_corrected import CorrectedSign
    from graylight.telling.record import tell_sign

    book = _book(folder)
    if remove is not None or remove_trail is not None:
        _alone(line, file, at, change, remove if remove_trail is not None else None)
        if remove is not None:
            _taken_away(book, "sign", remove)
        if remove_trail is not None:
            _taken_away(book, "traces", remove_trail)
        return
    given = CorrectedSign(at=at, kind=kind, age=age, when=when, outing=outing, note=note)
    if change is None and (line is not None or file is not None):
        with book.rows.together():
            found = [add_trace(book, one, note) for one in _lines(line, file)]
    else:
        if change is not None:
            _no_course(line, file)
        found = [_sign_kept(book, given, photo, change)]
    for told in found:
        units = book.country.settings.units
        print(told.model_dump_json(indent=1) if json else say(tell_sign(told, book.timezone, units)))


def odds(folder: Folder, *, date: str | None = None, json: Json = False) -> None:
    """Tell where the animals likely are, by habitat and record, and why.

    Parameters
    ----------
    date
        For which day, YYYY-MM-DD; the plan's, or the last entry's if that is later.
    """
    from graylight.plan.morning_asked import read_date
    from graylight.plan.odds_told import tell_odds as reckon
    from graylight.telling.record import tell_odds

    day = None if date is None else read_date(date, "--date")
    book = _book(folder)
    with bar("working out the odds") as tick:
        told = reckon(book, day)
        tick(1.0)
    print(told.model_dump_json(indent=1) if json else say(tell_odds(told, book.country.settings.units)))


def next_sit(
    folder: Folder,
    *,
    mornings: Annotated[int, Parameter(converter=whole)] = 3,
    date: str | None = None,
    wind: Annotated[list[str] | None, Parameter(negative="")] = None,
    off: Annotated[list[str] | None, Parameter(negative="")] = None,
    glass: str | None = None,
    json: Json = False,
) -> None:
    """Tell where the mornings left are worth most, and why.

    Parameters
    ----------
    mornings
        How many are left.
    date
        The first of them, YYYY-MM-DD; the day after the last entry if not given.
    wind
        General wind, such as "SW 8mph", "forecast" for that of the forecast kept, or "none"; the setting sit.wind if not
        given, else calm. Given again, it is that of the next morning; the last holds for those that follow.
    off
        A day on which you do not go out, YYYY-MM-DD; may be given again.
    glass
        What will be looked through; as on the last outing if not given.
    """
    from graylight.plan.morning_asked import read_date
    from graylight.plan.next_sit import Asked, next_sits
    from graylight.telling.record import tell_next

    day = None if date is None else read_date(date, "--date")
    free = tuple(read_date(one, "--off") for one in off or ())
    asked = Asked(mornings, day, None if wind is None else "; ".join(wind), glass, free)
    book = _book(folder)
    with bar("weighing the mornings") as tick:
        told = next_sits(book, asked, tick=tick)
    print(told.model_dump_json(indent=1) if json else say(tell_next(told, book.country.settings.units)))


def learn(
    folder: Folder, *, use: Literal["pace", "air", "habitat"] | None = None, json: Json = False
) -> None:
    """Tell what the record says of pace, air and habitat weights, beside those in use.

    Parameters
    ----------
    use
        Put one of them to use, as an edit that the map page can take back; else nothing is changed.
    """
    from graylight.plan.learning import learning
    from graylight.plan.taught import put_to_use
    from graylight.telling.record import tell_learning

    book = _book(folder)
    with bar("reading the record") as tick:
        told = learning(book)
        tick(1.0)
    if use is not None:
        told = told.model_copy(update={"used": [put_to_use(book, told, use)]})
    print(told.model_dump_json(indent=1) if json else say(tell_learning(told)))


# --- shared --------------------------------------------------------------------------------------------------------


def _book(folder: Path) -> Notebook:
    from graylight.plan.notebook import open_notebook

    country = opened(folder)
    return open_notebook(country, plan_of(country))


def _taken_away(book: Notebook, table: str, number: int) -> None:
    """Remove a row of the record and say so."""
    on_it = [one.id for one in book.record().sightings if one.outing == number] if table == "outings" else []
    book.remove(table, number)
    word = {"outings": "outing", "sightings": "sighting", "sign": "sign", "traces": "trail"}[table]
    print(f"The {word} {number} is taken away; what hangs on it follows. The map page can take that back.")
    if on_it:
        print(f"Sightings made on it stay, and stand by themselves: {', '.join(map(str, on_it))}.")


def _alone(*others: object) -> None:
    """See that taking away stands by itself: else a slip would take away what was to be mended."""
    from graylight.errors import BadInput

    if any(other is not None for other in others):
        raise BadInput(
            "--remove is given with other options; accepted is the number of what to take away, by itself; leave the others out"
        )


def _no_course(*given: object) -> None:
    from graylight.errors import BadInput

    if any(one is not None for one in given):
        raise BadInput(
            "--change is given with a trail's course; accepted is a number of sign; take a trail away (--remove-trail) and give "
            "its course anew"
        )


def _sign_kept(book: Notebook, given: CorrectedSign, photo: Path | None, change: int | None) -> SignTold:
    """Sign added or put right, with its photo's place and time where none were said."""
    from dataclasses import replace

    from graylight.errors import BadInput
    from graylight.plan.sighted import GivenSign, add_sign
    from graylight.plan.sign_corrected import change_sign

    data = None
    if photo is not None:
        facts, data = _photo(photo)
        given = replace(given, at=given.at or facts.place, when=given.when or facts.at or facts.clock)
    if change is not None:
        return change_sign(book, change, given, photo=data)
    if given.at is None:
        raise BadInput(
            "it is not said where the sign was; accepted is a PLACE (--at), a photo with its place, or a trail's course "
            "(--line or --file); give one of these"
        )
    kept = GivenSign(given.at, given.kind or "tracks", given.age, given.when, given.outing, given.note)
    return add_sign(book, kept, photo=data)


def _bytes(path: Path) -> bytes:
    from graylight.errors import BadInput

    try:
        return path.read_bytes()
    except OSError as error:
        raise BadInput(
            f"{str(path)!r} can't be read ({error.strerror or error}); accepted is a file that is there; check the path"
        ) from None


def _track(path: Path) -> tuple[tuple[Fix, ...], Remarks]:
    """A track with its times, and what the waypoints of its file say of the air."""
    from graylight.exchange.field_files import read_gpx
    from graylight.plan.felt import remarks_of
    from graylight.plan.tracks import timed

    file = read_gpx(_bytes(path), name=path.name)
    fixes = timed(file.track, name=path.name)
    return fixes, remarks_of(file.waypoints, fixes, name=path.name)


def _take_in(book: Notebook, path: Path, json: bool) -> None:
    """Sightings from a file."""
    from graylight.exchange.field_files import read_gpx, read_sightings_csv
    from graylight.grid import LonLat
    from graylight.plan.sighted import take_in, undated
    from graylight.telling.record import taken_in_words

    data = _bytes(path)
    unknown: tuple[str, ...] = ()
    gpx = path.suffix.lower() == ".gpx" or data.lstrip()[:1] == b"<"
    if gpx:
        points = read_gpx(data, name=path.name).waypoints
    else:
        points, unknown = read_sightings_csv(data, name=path.name)
    given = [
        (p.where, None if p.lon is None or p.lat is None else LonLat(p.lon, p.lat), p.values) for p in points
    ]
    added, there = take_in(book, given, name=path.name, zone="UTC" if gpx else None)
    if json:
        import json as text

        print(text.dumps({"added": added, "there_already": there, "not_read": list(unknown)}, indent=1))
        return
    passed = len(given) - len(added) - there
    told = taken_in_words(path.name, len(added), there, passed=passed, undated=undated(book, added))
    if unknown:
        told.append(f"These headings were not read: {', '.join(unknown)}.")
    print(" ".join(told))


def _photo(path: Path) -> tuple[PhotoFacts, bytes]:
    """What a photo says, and its bytes."""
    from graylight.exchange.photo import photo_facts

    data = _bytes(path)
    return photo_facts(data, name=path.name), data


def _by_photo(given: GivenSighting, facts: PhotoFacts, path: Path) -> GivenSighting:
    """A sighting with what a photo says filled in where the person said nothing."""
    from dataclasses import replace

    from graylight.errors import BadInput

    given = replace(given, when=given.when or facts.at or facts.clock)
    if given.at is not None or given.seen_from is not None:
        return given
    if facts.place is None:
        raise BadInput(
            f"{path.name} tells no position; accepted is a photo with its position, or a place of your own; give --at or --from"
        )
    if given.distance is None and given.up_deg is None:
        return replace(given, at=facts.place, placed="photo: where the camera stood")
    if given.bearing_deg is None:
        north = facts.north == "true"
        given = replace(given, bearing_deg=facts.bearing_deg, true_north=north)
    return replace(given, seen_from=facts.place, placed="photo, direction and distance")


def _from_strip(book: Notebook, given: GivenSighting, strip: str) -> GivenSighting:
    """A sighting by the direction of a point on the strip that was drawn from the watcher's place."""
    from dataclasses import replace

    from graylight.cli.pictures import strip_direction
    from graylight.plan.sighted import watcher

    bearing, up = strip_direction(book.ready, watcher(book, given), strip)
    return replace(
        given,
        bearing_deg=bearing,
        true_north=True,
        up_deg=up,
        distance=None,
        bearing_error_deg=0.3,
        placed="strip",
    )


def _lines(line: str | None, file: Path | None) -> list[list[Any]]:
    """Courses of trails."""
    from graylight.exchange.field_files import read_gpx
    from graylight.grid import LonLat
    from graylight.place import read_place

    if line is not None:
        return [[read_place(part) for part in line.split(";") if part.strip()]]
    if file is None:
        return []
    return [[LonLat(p.lon, p.lat) for p in one] for one in read_gpx(_bytes(file), name=file.name).lines]

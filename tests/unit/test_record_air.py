"""The air as it was felt: remarks typed and from waypoints, along a track, morning and evening, beside the air reckoned."""

from __future__ import annotations

import datetime as dt
import json
import shutil
from pathlib import Path

import pytest

from graylight.cli.begin import opened
from graylight.cli.main import main
from graylight.country.folder import Country
from graylight.errors import BadInput
from graylight.exchange.field_files import FieldPoint
from graylight.grid import LonLat
from graylight.plan.felt import felt_in, remarks_of
from graylight.plan.keeping import kept_plan
from graylight.plan.learning import learning
from graylight.plan.moments import written
from graylight.plan.notebook import GivenOuting, Notebook, open_notebook
from graylight.plan.own_air import Skies, felt_minutes, turn_felt
from graylight.plan.record import Fix, read_record
from graylight.sky.wind import turns_at
from graylight.telling.paragraph import plain
from graylight.telling.record import tell_learning

DAY = "2026-08-27"
UTC = dt.UTC
NOON = dt.datetime(2026, 8, 27, 19, tzinfo=UTC)


@pytest.fixture
def book(small, tmp_path) -> Notebook:
    folder = tmp_path / "country"
    shutil.copytree(small, folder)
    country = Country.open(folder)
    return open_notebook(country, kept_plan(country))


def at(hours: float) -> dt.datetime:
    return NOON + dt.timedelta(hours=hours)


@pytest.mark.parametrize(
    ("text", "felt"),
    [
        ("air down", "down"), ("Air going UP", "up"), ("thermals rising now", "up"), ("downslope", "down"),
        ("wind is swirling", "unsteady"), ("breeze still", "still"), ("air turned uphill", "up"),
        ("up", None), ("three bucks going uphill", None), ("wind SW 8mph", None), ("air up and down", None),
        ("water down the hill", None), ("camp, calm", None), ("", None), ("air", None),
    ],
)  # fmt: skip
def test_only_a_note_about_nothing_but_the_air_is_a_remark(text, felt):
    assert felt_in(text) == felt


def test_the_turn_lies_between_two_remarks():
    """By hand: up between the last down or still and the first up; down only after it was felt to go up."""
    down, up, still = "down", "up", "still"
    assert turn_felt([(at(-6), down), (at(-5), still), (at(-4), up)], "up") == (at(-5), at(-4))
    assert turn_felt([(at(-6), down), (at(-4), up), (at(6), up), (at(7), down)], "down") == (at(6), at(7))
    assert turn_felt([(at(5), up), (at(6), still), (at(7), down)], "down") == (at(6), at(7))
    assert turn_felt([(at(-6), still), (at(-5), down)], "down") is None
    assert turn_felt([(at(-6), up)], "up") is None
    assert turn_felt([(at(-6), down), (at(-1), up)], "up") is None, "five hours apart tell no turn"


# --- from the waypoints of a track ---------------------------------------------------------------------------------


def waypoint(note: str, when: dt.datetime | None) -> FieldPoint:
    return FieldPoint(
        "waypoint", -114.8, 40.45, {"note": note, "time": "" if when is None else written(when)}
    )


def test_remarks_are_taken_from_waypoints_made_on_the_way():
    track = (Fix(-114.8, 40.45, at(-6)), Fix(-114.8, 40.45, at(-2)))
    points = [
        waypoint("004; air going up", at(-3)), waypoint("air down", at(-5)), waypoint("air up", at(3)),
        waypoint("air up", None), waypoint("wind SW 8mph", at(-5)), waypoint("spring; wind N 30mph", at(-4)),
        waypoint("buck", at(-4)),
    ]  # fmt: skip
    told = remarks_of(points, track, name="t.gpx")
    assert list(told.air) == [(at(-5), "down"), (at(-3), "up")]
    assert told.wind == "SW 8mph"
    assert remarks_of([], track, name="t.gpx") == ((), None)
    with pytest.raises(BadInput, match="'noon'"):
        remarks_of([FieldPoint("w", 0.0, 0.0, {"note": "air up", "time": "noon"})], track, name="t.gpx")


def gpx(book, path: Path, begin: dt.datetime, minutes: int, remarks: dict[int, str]) -> Path:
    """A track of someone who stays at the first lookout, with waypoints so many minutes after it begins."""
    place = book.plan.lookouts[0].place
    where = f'lat="{place.lat}" lon="{place.lon}"'

    def stamp(minute: int) -> str:
        return f"<time>{written(begin + dt.timedelta(minutes=minute))}</time>"

    spots = "".join(f"<trkpt {where}>{stamp(m)}</trkpt>" for m in range(0, minutes + 1, 5))
    marks = "".join(f"<wpt {where}>{stamp(m)}<name>{text}</name></wpt>" for m, text in remarks.items())
    head = '<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">'
    path.write_text(f"{head}{marks}<trk><trkseg>{spots}</trkseg></trk></gpx>")
    return path


def test_the_command_takes_remarks_from_the_file_and_beside_it(book, tmp_path, capsys):
    begin = dt.datetime(2026, 8, 27, 12, 20, tzinfo=UTC)
    path = gpx(
        book,
        tmp_path / "t.gpx",
        begin,
        180,
        {20: "air down", 140: "air up", 30: "wind W 6mph", 60: "two bucks"},
    )
    folder = str(book.country.folder)
    capsys.readouterr()
    assert main(["outing", folder, "--track", str(path), "--air", "06:40 downhill", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["air"] == [
        "2026-08-27T12:40:00Z down",
        "2026-08-27T13:40:00Z down",
        "2026-08-27T14:40:00Z up",
    ]
    assert told["wind"] == "W 6mph"
    assert main(["seen", folder, "--file", str(path)]) == 0
    words = " ".join(capsys.readouterr().out.split())
    assert "One sighting taken in" in words
    assert "Passed over: 3 that are no sightings (remarks on the air, outings, sign)." in words
    assert "two bucks" in {s.words for s in read_record(book.country).sightings}
    assert main(["outing", folder, "--change", "1", "--air", "06:40 sideways"]) == 2
    assert "--air is '06:40 sideways'" in capsys.readouterr().err


# --- what is learnt ------------------------------------------------------------------------------------------------


def turns(book, day: dt.date, place: LonLat):
    """When the air turns by the settings in use, at a place on a day."""
    sky = Skies(book).of(day)
    return sky, turns_at(
        sky.ground, sky.air, *book.country.grid.rowcol(place), settings=book.country.settings.air
    )


def on_a_slope(book) -> LonLat:
    """A lookout whose air is the slope's, not the valley's."""
    for seat in book.plan.lookouts:
        place = LonLat(seat.place.lon, seat.place.lat)
        _, told = turns(book, dt.date(2026, 8, 27), place)
        if told.of == "slope" and told.up_s is not None and told.down_s is not None:
            return place
    raise AssertionError("no lookout on a slope with sun")


@pytest.mark.parametrize(("way", "words"), [("up", ("down", "up")), ("down", ("up", "down"))])
def test_a_turn_felt_along_a_track_is_placed_where_the_walker_was(book, way, words):
    """Felt 25 minutes later than reckoned: the lag is the setting's and 25, morning and evening."""
    place = on_a_slope(book)
    sky, told = turns(book, dt.date(2026, 8, 27), place)
    reckoned = sky.moment(told.up_s if way == "up" else told.down_s)
    turned = reckoned + dt.timedelta(minutes=25)
    fixes = tuple(Fix(place.lon, place.lat, turned + dt.timedelta(minutes=m)) for m in range(-60, 61, 10))
    first, last = turned - dt.timedelta(minutes=10), turned + dt.timedelta(minutes=10)
    air = f"{written(first)} {words[0]}, {written(last)} {words[1]}"
    outing = book.outing(book.add_outing(GivenOuting(track=fixes, air=air)).id)
    settings = book.country.settings.air
    in_use = settings.up_slope_minutes if way == "up" else settings.down_slope_minutes
    assert felt_minutes(book, Skies(book), outing, way) == pytest.approx(in_use + 25.0, abs=0.6)
    moved = [f._replace(lon=f.lon + 0.01) if f.at > turned else f for f in fixes]
    book.remove("outings", outing.id)
    far = book.outing(book.add_outing(GivenOuting(track=tuple(moved), air=air)).id)
    assert felt_minutes(book, Skies(book), far, way) is None, "felt at two places 850 m apart"


def test_the_evening_turn_is_learnt_shown_and_put_to_use_only_when_asked(book, capsys):
    place = on_a_slope(book)
    settings = book.country.settings.air
    for i in range(4):
        day = dt.date(2026, 8, 27 + i)
        sky, told = turns(book, day, place)
        turned = sky.moment(told.down_s) + dt.timedelta(minutes=28)
        begin, end = turned - dt.timedelta(hours=1), turned + dt.timedelta(minutes=50)
        near = [turned + dt.timedelta(minutes=m) for m in (-5, 5)]
        book.add_outing(
            GivenOuting(
                where=f"{place.lat:.6f}, {place.lon:.6f}", begin=written(begin), end=written(end),
                air=f"{written(near[0])} up, {written(near[1])} down",
            )
        )  # fmt: skip
    found = learning(book)
    before = settings.down_slope_minutes
    assert (found.evening_air.turns, found.evening_air.before, found.air.turns) == (4, before, 0)
    assert found.evening_air.after == pytest.approx((3 * before + 4 * (before + 28.0)) / 7, abs=1.0)
    words = " ".join(plain(tell_learning(found), 200).split())
    assert f"the delay of the air's turn down a slope is {before:g} minutes; what you felt says" in words
    assert "Air: no turns felt; 4 are needed" in words
    folder = book.country.folder
    assert Country.open(folder).settings.air.down_slope_minutes == before
    assert main(["learn", str(folder), "--use", "air"]) == 0
    kept = opened(folder).settings.air
    assert kept.down_slope_minutes == pytest.approx(found.evening_air.after, abs=0.01)
    assert kept.up_slope_minutes == settings.up_slope_minutes
    assert "the delay of the air's turn down a slope is" in " ".join(capsys.readouterr().out.split())


def test_remarks_are_held_against_the_air_as_reckoned(book):
    """Two hours before the turn of the morning the slope's air goes down, two hours after it up, in calm weather."""
    place = on_a_slope(book)
    sky, told = turns(book, dt.date(2026, 8, 27), place)
    turn = sky.moment(told.up_s)
    early, late = turn - dt.timedelta(hours=1), turn + dt.timedelta(hours=2)
    where = f"{place.lat:.6f}, {place.lon:.6f}"
    begin, end = written(early - dt.timedelta(minutes=30)), written(late + dt.timedelta(minutes=30))

    def counted(air: str) -> tuple[int, int, int]:
        kept = book.add_outing(GivenOuting(where=where, begin=begin, end=end, air=air))
        told = learning(book).air_remarks
        book.remove("outings", kept.id)
        return told.count, told.agree, told.against

    assert counted(f"{written(early)} down, {written(late)} up") == (2, 2, 0)
    assert counted(f"{written(early)} up, {written(late)} down") == (2, 0, 2)
    assert counted(f"{written(turn)} up, {written(late)} unsteady") == (1, 0, 0), "unreliable about the turn"

"""The record as a person keeps it: outings, sightings, sign, odds, next, learning, and what is refused."""

from __future__ import annotations

import datetime as dt
import json
import shutil
import sqlite3
from pathlib import Path

import numpy as np
import pytest
from shapely import Point

from graylight.cli.begin import opened
from graylight.cli.main import main
from graylight.country.folder import PACKAGE, Country
from graylight.country.rows import Rows
from graylight.errors import BadInput
from graylight.grid import WGS84, LonLat, azimuth_deg, distance_m
from graylight.plan.keeping import kept_plan, make_plan
from graylight.plan.moments import read_moment, written
from graylight.plan.next_sit import Asked, next_sits
from graylight.plan.notebook import GivenOuting, Notebook, open_notebook
from graylight.plan.odds import belongs_to
from graylight.plan.odds_told import tell_odds
from graylight.plan.record import Fix, read_record
from graylight.plan.record_model import Next, OddsTold, OutingTold, SightingTold
from graylight.plan.sighted import GivenSighting, GivenSign, add_sighting, add_sign, add_trace, take_in
from graylight.plan.tracks import timed
from graylight.sky.declination import declination
from graylight.telling.paragraph import plain
from graylight.telling.record import tell_next
from graylight.telling.record import tell_odds as say_odds

DAY = "2026-08-27"


@pytest.fixture
def folder(small, tmp_path) -> Path:
    copy = tmp_path / "country"
    shutil.copytree(small, copy)
    return copy


@pytest.fixture
def book(folder) -> Notebook:
    country = Country.open(folder)
    return open_notebook(country, kept_plan(country))


def best_seat(book) -> str:
    """The lookout that sees most of any one pocket."""
    return max(book.plan.lookouts, key=lambda one: max(s.share.likely for s in one.sees)).id


def morning(book, day=DAY, where=None, **given) -> OutingTold:
    return book.add_outing(
        GivenOuting(where=where or best_seat(book), begin=f"{day} 05:10", end="08:40", **given)
    )


def run(*words: object) -> int:
    return main([str(word) for word in words])


def refused(capsys, *words: object) -> str:
    """The one line with which a command refuses."""
    capsys.readouterr()
    assert run(*words) == 2
    said = capsys.readouterr().err.strip()
    assert "\n" not in said
    assert said.startswith("graylight: ")
    return said


def rows(folder: Path, table: str) -> list[tuple[object, ...]]:
    with sqlite3.connect(folder / PACKAGE) as db:
        return db.execute(f"SELECT * FROM {table} ORDER BY 1").fetchall()


# --- outings -------------------------------------------------------------------------------------------------------


def test_an_empty_morning_lowers_what_was_in_sight_and_raises_the_rest(book):
    before = tell_odds(book)
    told = morning(book)
    assert told.searched
    assert not told.doubts
    main_one = told.searched[0]
    seat = next(one for one in book.plan.lookouts if one.id == told.lookout)
    sees = next(s for s in seat.sees if s.pocket == main_one.pocket)
    assert main_one.share.likely == pytest.approx(
        sees.share.likely, abs=0.02
    )  # as the plan says of that lookout
    assert 0.0 < main_one.found.low <= main_one.found.likely <= main_one.found.high <= 0.75
    after = tell_odds(book)
    chance = {one.id: one.chance.likely for one in after.pockets}
    prior = {one.id: one.chance.likely for one in before.pockets}
    assert chance[main_one.pocket] < prior[main_one.pocket]
    hidden = [name for name in chance if name not in {s.pocket for s in told.searched}]
    assert hidden
    assert all(chance[name] >= prior[name] for name in hidden)
    assert after.elsewhere.likely > before.elsewhere.likely
    assert sum(chance.values()) + after.elsewhere.likely == pytest.approx(1.0, abs=0.004)


def test_the_odds_are_bayes_on_what_the_outing_searched(book):
    """Prior times (1 - chance of having found), renormalised; reckoned for the moment of the outing itself."""
    told = morning(book)
    pod = {s.pocket: s.found.likely for s in told.searched}
    prior = dict(zip(book.places.ids, book.places.prior.pockets, strict=True))
    raw = {name: p * (1.0 - pod.get(name, 0.0)) for name, p in prior.items()}
    total = sum(raw.values()) + book.places.prior.elsewhere
    for one in tell_odds(book).pockets:
        assert one.chance.likely == pytest.approx(raw[one.id] / total, abs=0.002)


def test_two_mornings_say_more_than_one_and_the_words_say_so(book):
    pocket = morning(book).searched[0].pocket
    once = next(p for p in tell_odds(book).pockets if p.id == pocket)
    assert len(once.why) == 1
    assert once.why[0].startswith("one empty outing with about")
    morning(book, "2026-08-28")
    told = tell_odds(book)
    twice = next(p for p in told.pockets if p.id == pocket)
    assert twice.chance.likely < once.chance.likely
    assert twice.why[0].startswith("two empty outings with about")
    assert len(twice.history) <= 2
    words = " ".join(plain(say_odds(told, "us"), 100).split())
    assert "Two empty outings with about" in words
    assert "no deer" not in words.lower()


def test_what_was_said_fades(book):
    pocket = morning(book).searched[0].pocket
    prior = next(p for p in tell_odds(book).pockets if p.id == pocket).prior

    def on(day):
        return next(
            p for p in tell_odds(book, dt.date.fromisoformat(day)).pockets if p.id == pocket
        ).chance.likely

    near, later, year = on("2026-08-28"), on("2026-09-06"), on("2027-08-27")
    assert near < later < prior
    assert year == pytest.approx(prior, abs=0.002)
    assert on("2026-08-26") == pytest.approx(prior, abs=0.001), "what comes later is not known yet"

    # half of what it said is gone after fade_days, counted from the outing (16.5 h before noon UTC of the next day)
    def said(chance):  # of the pocket's odds against all other places, as none but it was lowered
        return np.log(chance / (1 - chance) * (1 - prior) / prior)

    assert said(later) == pytest.approx(said(near) / 2**0.9, rel=0.05)


def test_an_outing_is_corrected_or_removed_and_all_follows(book):
    before = tell_odds(book)
    told = morning(book)
    with_it = tell_odds(book)
    book.change_outing(told.id, GivenOuting(weather="fog"))
    in_fog = tell_odds(book)
    pocket = told.searched[0].pocket

    def of(odds):
        return next(p for p in odds.pockets if p.id == pocket).chance.likely

    assert of(with_it) < of(in_fog) <= of(before)
    kept = book.outing(told.id)
    assert (kept.weather, kept.began.isoformat()) == ("fog", told.began.isoformat())
    book.remove("outings", told.id)
    assert tell_odds(book).pockets == before.pockets
    step = book.rows.undo()
    assert step is not None
    assert of(tell_odds(book)) == of(in_fog)


def test_recording_is_one_step_to_take_back(book):
    told = morning(book)
    book.rows.undo()
    assert not read_record(book.country).outings
    book.rows.redo()
    kept = book.rows.get("outings", told.id)
    assert json.loads(kept.values["searched"])[told.searched[0].pocket][1] == told.searched[0].share.likely
    assert kept.values["record"] == 1


def test_midday_through_the_naked_eye_says_next_to_nothing(book):
    good = morning(book)
    noon = book.add_outing(
        GivenOuting(where=best_seat(book), begin=f"{DAY} 11:00", end="14:30", glasses="naked eye")
    )
    assert good.searched[0].found.likely > 0.2
    assert max((s.found.likely for s in noon.searched), default=0.0) < 0.05


def test_only_the_pockets_watched_count(book):
    whole = morning(book)
    one = whole.searched[0].pocket
    told = book.change_outing(whole.id, GivenOuting(watched=one))
    assert [s.pocket for s in told.searched] == [one]
    # all the time goes to it: at least as much is found as with the time spread over what else is in sight
    assert told.searched[0].found.likely >= whole.searched[0].found.likely
    hidden = next(p.id for p in book.plan.pockets if p.id not in {s.pocket for s in whole.searched})
    assert book.change_outing(whole.id, GivenOuting(watched=hidden)).searched == []


def test_a_track_searches_along_its_way(book):
    """Half an hour still at the lookout, with times, finds as much as the same half hour at the lookout itself."""
    seat = next(s for s in book.plan.lookouts if s.id == best_seat(book))
    begin = dt.datetime(2026, 8, 27, 12, 30, tzinfo=dt.UTC)
    track = tuple(
        Fix(seat.place.lon, seat.place.lat, begin + dt.timedelta(minutes=m)) for m in range(0, 31, 5)
    )
    along = book.add_outing(GivenOuting(track=track))
    there = book.add_outing(GivenOuting(where=seat.id, begin="2026-08-28T12:30Z", end="2026-08-28T13:00Z"))
    assert along.track_points == len(track)
    assert along.lookout is None
    assert along.searched[0].found.likely == pytest.approx(there.searched[0].found.likely, rel=0.1)


# --- sightings -----------------------------------------------------------------------------------------------------


def test_a_sighting_by_magnetic_bearing_and_distance(book):
    """Against pyproj.Geod: azimuth true = magnetic + WMM 2025 declination; distance along the line of sight."""
    seat = next(s for s in book.plan.lookouts if s.id == best_seat(book))
    pocket = max(seat.sees, key=lambda s: s.share.likely)
    told = add_sighting(
        book, GivenSighting(
            seen_from=seat.id, bearing_deg=pocket.bearing_magnetic_deg, distance=f"{pocket.distance_m:.0f}m",
            when=f"{DAY} 06:30", count=2, sex="male",
        ),
    )  # fmt: skip
    here, there = LonLat(seat.place.lon, seat.place.lat), LonLat(told.place.lon, told.place.lat)
    east = declination(here, height_m=0.0, day=dt.date(2026, 8, 27)).deg
    assert azimuth_deg(here, there) == pytest.approx(pocket.bearing_magnetic_deg + east, abs=0.05)
    rise = told.place.height_m - seat.place.height_m
    assert np.hypot(distance_m(here, there), rise) == pytest.approx(pocket.distance_m, abs=3.0)
    assert told.across_m == pytest.approx(told.distance_m * np.tan(np.radians(3.0)), abs=0.2)
    assert told.along_m == pytest.approx(0.15 * told.distance_m, rel=0.05)
    assert told.pocket == pocket.pocket


def test_seen_on_an_outing_raises_its_pocket_and_is_found_by_its_time(book):
    seat = next(s for s in book.plan.lookouts if s.id == best_seat(book))
    pocket = max(seat.sees, key=lambda s: s.share.likely).pocket
    outing = morning(book, where=seat.id)
    feed = next(p for p in book.plan.pockets if p.id == pocket).feed[0].place
    empty = next(p for p in tell_odds(book).pockets if p.id == pocket)
    told = add_sighting(book, GivenSighting(at=LonLat(feed.lon, feed.lat), when=f"{DAY} 06:20", count=3))
    assert (told.outing, told.pocket) == (outing.id, pocket)
    seen = next(p for p in tell_odds(book).pockets if p.id == pocket)
    assert seen.chance.likely > seen.prior > empty.chance.likely
    assert seen.sureness == "animals seen"
    assert seen.why[0] == "animals seen there once"
    outside = add_sighting(book, GivenSighting(at=corner(book), when=f"{DAY} 07:00"))
    assert outside.pocket is None
    assert tell_odds(book).elsewhere.likely > 0.0


def corner(book) -> LonLat:
    """A place far from every pocket."""
    grid = book.country.grid
    spots = [grid.lonlat(r, c) for r in (3, grid.rows - 4) for c in (3, grid.cols - 4)]
    centres = [LonLat(p.centre.lon, p.centre.lat) for p in book.plan.pockets]
    return max(spots, key=lambda s: min(distance_m(s, c) for c in centres))


def test_an_animal_in_no_pocket_speaks_for_elsewhere_and_another_animal_not_at_all(book):
    before = tell_odds(book).elsewhere.likely
    place = corner(book)
    add_sighting(book, GivenSighting(at=place, when=DAY, animal="elk"))
    told = tell_odds(book)
    assert told.elsewhere.likely == pytest.approx(before)
    assert any("another animal" in words for words in told.left_out)
    add_sighting(book, GivenSighting(at=place, when=DAY))
    assert tell_odds(book).elsewhere.likely > before


def test_old_sightings_count_for_the_basin_as_before(book, folder):
    """A sighting of three years ago moves no pocket by itself (the plan's prior has it)."""
    feed = book.plan.pockets[-1].feed[0].place
    before = tell_odds(book)
    add_sighting(book, GivenSighting(at=LonLat(feed.lon, feed.lat), when="2023-08-20", animal="mule deer"))
    assert [p.chance for p in tell_odds(book).pockets] == [p.chance for p in before.pockets]
    country = Country.open(folder)
    worked = make_plan(country).plan
    told = next(p for p in worked.pockets if p.id == book.plan.pockets[-1].id)
    assert any(r.fact == "sightings" for r in told.reasons)
    assert worked.record is None


def test_many_sightings_of_one_day_count_once(book):
    """Waypoints of one herd are not so many herds; another day's count again."""
    feed = book.plan.pockets[0].feed[0].place
    spot, name = LonLat(feed.lon, feed.lat), book.plan.pockets[0].id

    def chance():
        return next(p.chance.likely for p in tell_odds(book, dt.date(2026, 8, 29)).pockets if p.id == name)

    add_sighting(book, GivenSighting(at=spot, when=f"{DAY} 06:20"))
    once = chance()
    for minute in (25, 30, 35):
        add_sighting(book, GivenSighting(at=spot, when=f"{DAY} 06:{minute}"))
    assert chance() == once
    add_sighting(book, GivenSighting(at=spot, when="2026-08-28 06:20"))
    assert chance() > once


def test_belonging_falls_with_distance():
    """1 inside, a half at near_m outside, by hand; a wide ellipse belongs less."""
    from shapely import box

    from graylight.settings import RecordSettings

    settings = RecordSettings(near_m=200.0)
    area = [box(0, 0, 1000, 1000)]
    tiny = (0.01, 0.01, 0.0)
    assert belongs_to(Point(500, 500), tiny, area, settings)[0] == pytest.approx(1.0)
    assert belongs_to(Point(1200, 500), tiny, area, settings)[0] == pytest.approx(0.5, abs=1e-3)
    assert belongs_to(Point(1400, 500), tiny, area, settings)[0] == pytest.approx(0.5**4, abs=1e-3)
    assert belongs_to(Point(900, 500), (400.0, 400.0, 0.0), area, settings)[0] < 0.95
    across = belongs_to(Point(1200, 500), (10.0, 300.0, 0.0), area, settings)[0]
    along = belongs_to(Point(1200, 500), (300.0, 10.0, 90.0), area, settings)[0]
    assert across == pytest.approx(along, abs=1e-9)


def test_the_other_sex_says_less(book, folder):
    (folder / "settings.toml").write_text('[record]\nwanted = "male"\n')
    country = Country.open(folder)
    picky = open_notebook(country, book.plan)
    feed = book.plan.pockets[0].feed[0].place
    one = add_sighting(picky, GivenSighting(at=LonLat(feed.lon, feed.lat), when=DAY, sex="female"))
    little = tell_odds(picky).pockets
    picky.rows.change("sightings", one.id, sex="male")
    much = tell_odds(picky).pockets
    name = book.plan.pockets[0].id
    chance = [next(p.chance.likely for p in told if p.id == name) for told in (little, much)]
    assert chance[0] < chance[1]


# --- sign, traces --------------------------------------------------------------------------------------------------


def test_fresh_sign_says_more_than_old(book):
    pocket = book.plan.pockets[0]
    bed = LonLat(pocket.beds[0].place.lon, pocket.beds[0].place.lat)

    def with_sign(age):
        told = add_sign(book, GivenSign(bed, "bed", age, DAY))
        assert told.pocket == pocket.id
        chance = next(p for p in tell_odds(book).pockets if p.id == pocket.id).chance.likely
        book.rows.undo()
        return chance

    none = next(p for p in tell_odds(book).pockets if p.id == pocket.id).chance.likely
    assert with_sign("fresh") > with_sign("days") > with_sign("old") > none
    assert with_sign("last season") == pytest.approx(none, abs=0.002)


def test_a_trail_goes_into_the_traces_that_the_ways_use(book, folder):
    pocket = book.plan.pockets[0]
    ends = [LonLat(s.place.lon, s.place.lat) for s in (pocket.feed[0], pocket.beds[0])]
    told = add_trace(book, ends, "worn")
    assert told.trace
    trace = Country.open(folder).features("traces")[-1]
    assert trace.properties["kind"] == "trail"
    with pytest.raises(BadInput, match="no line"):
        add_trace(book, ends[:1], None)


# --- next ----------------------------------------------------------------------------------------------------------


def test_next_moves_off_what_was_empty(book):
    first = next_sits(book, Asked(1))
    chosen = next(one for one in first.lookouts if one.lookout == first.sits[0].lookout)
    best = max(first.lookouts, key=lambda one: one.morning)
    assert chosen.morning >= 0.9 * best.morning
    assert chosen is best or chosen.walk_seconds < best.walk_seconds
    assert first.sits[0].date.isoformat() == DAY
    seat = first.sits[0].lookout
    for day in ("2026-08-27", "2026-08-28", "2026-08-29"):
        morning(book, day, seat)
    told = next_sits(book, Asked(2, wind="SW 8mph"))
    assert told.sits[0].date.isoformat() == "2026-08-30"
    worth = {one.lookout: one.morning for one in told.lookouts}
    before = {one.lookout: one.morning for one in first.lookouts}
    assert worth[seat] < before[seat]
    assert (
        told.better.proposed >= max(told.better.equal, told.better.ranked) * 0.89
    )  # the nearer of two alike is taken
    assert told.proved
    tired = next(one for one in told.lookouts if one.lookout == seat)
    assert tired.rest < 1.0
    words = " ".join(plain(tell_next(told, "us"), 100).split())
    assert f"Sit at lookout {told.sits[0].lookout}" in words
    assert "empty outing" in words
    assert sum(one.hours for one in told.hours) <= 2 * 5.0


def test_animals_pushed_out_make_a_lookout_rest_longer(book):
    seat = best_seat(book)
    untouched = next(one for one in next_sits(book, Asked(1)).lookouts if one.lookout == seat)
    told = morning(book, where=seat)
    plainly = next(one for one in next_sits(book, Asked(1)).lookouts if one.lookout == seat)
    book.change_outing(told.id, GivenOuting(pushed=True))
    pushed = next(one for one in next_sits(book, Asked(1)).lookouts if one.lookout == seat)
    assert pushed.rest < plainly.rest
    # such an outing is no empty one, so the odds are as they were: rest alone is taken off
    assert pushed.morning == pytest.approx(pushed.rest * untouched.morning, abs=0.002)


# --- the plan uses it ----------------------------------------------------------------------------------------------


def test_the_plan_uses_the_record_and_says_so(book, folder, capsys):
    told = morning(book)
    pocket = told.searched[0].pocket
    assert run("plan", folder) == 0
    words = " ".join(capsys.readouterr().out.split())
    assert "Chances and ranks are moved by the record: one outing" in words
    plan = kept_plan(Country.open(folder))
    assert plan.record is not None
    assert plan.record.outings == 1
    one = next(p for p in plan.pockets if p.id == pocket)
    assert one.chance < one.prior
    assert any(r.fact == "record" and r.words.startswith("one empty outing") for r in one.reasons)
    open_ones = sorted((p for p in plan.pockets if p.shut is None), key=lambda p: p.rank)
    assert [p.rank for p in open_ones] == list(range(1, len(open_ones) + 1))
    assert [p.chance for p in open_ones] == sorted((p.chance for p in open_ones), reverse=True)
    odds = {p.id: p.chance.likely for p in tell_odds(open_notebook(Country.open(folder), plan)).pockets}
    for p in open_ones:
        assert p.chance == pytest.approx(odds[p.id], abs=0.005)
    same = (folder / "plan" / "plan.json").read_bytes()
    assert run("plan", folder) == 0
    assert (folder / "plan" / "plan.json").read_bytes() == same


# --- commands ------------------------------------------------------------------------------------------------------


def test_the_commands_as_a_person_runs_them(folder, capsys):
    country = Country.open(folder)
    seat = best_seat(open_notebook(country, kept_plan(country)))
    capsys.readouterr()

    def told(*words):
        assert run(*words) == 0
        return capsys.readouterr().out

    outing = OutingTold.model_validate_json(
        told("outing", folder, "--lookout", seat, "--from", f"{DAY} 05:10", "--until", "08:40", "--people", "2",
             "--wind", "SW 8mph", "--air", "06:30 down, 08:10 up", "--glass", "10x42, 45x80", "--json")
    )  # fmt: skip
    assert (outing.people, outing.glasses) == (2, ["10x42", "45x80"])
    assert outing.air == ["2026-08-27T13:30:00Z down", "2026-08-27T15:10:00Z up"]
    words = told("outing", folder, "--change", outing.id, "--people", "0")
    assert words.startswith("The outing")
    seen = SightingTold.model_validate_json(
        told(
            "seen",
            folder,
            "--outing",
            outing.id,
            "--bearing",
            "90",
            "--true",
            "--distance",
            "900yd",
            "--json",
        )
    )
    assert seen.outing == outing.id
    assert seen.bearing_true_deg == 90.0
    told(
        "sign",
        folder,
        "--kind",
        "rub",
        "--age",
        "fresh",
        "--at",
        f"{seen.place.lat}, {seen.place.lon}",
        "--when",
        DAY,
    )
    odds = OddsTold.model_validate_json(told("odds", folder, "--json"))
    assert (odds.outings, odds.sightings, odds.sign) == (1, 1, 1)
    told_next = Next.model_validate_json(told("next", folder, "--mornings", "2", "--json"))
    assert [s.date.isoformat() for s in told_next.sits] == ["2026-08-28", "2026-08-29"]
    assert "Nothing is changed" in " ".join(told("learn", folder).split())
    paths = told("export", folder).split()
    assert any(path.endswith("record.geojson") for path in paths)
    features = json.loads((folder / "record" / "record.geojson").read_text())["features"]
    kinds = [f["properties"]["what"] for f in features]
    assert kinds.count("outings") == 1
    assert kinds.count("sign") == 1
    mine = next(f for f in features if f["properties"].get("bearing_true_deg") == 90.0)
    assert mine["geometry"]["coordinates"] == pytest.approx([seen.place.lon, seen.place.lat], abs=2e-6)
    assert (folder / "record" / "record.csv").read_text().startswith("table,id,lat,lon,")
    assert "taken away" in told("outing", folder, "--remove", outing.id)


def test_a_point_of_the_strip_is_where_the_plan_says_it_stands(book, folder, capsys):
    """The strip's own pixel of a cell in sight, by the panorama, gives that cell's ground back."""
    from graylight.cli.pictures import STRIP_PX, _ring, strip_of
    from graylight.drawing.panorama import landmarks, margin_px
    from graylight.plan.looking import look_from

    seat = next(s for s in book.plan.lookouts if s.id == best_seat(book))
    looked = look_from(book.ready, LonLat(seat.place.lon, seat.place.lat))
    strip = strip_of(book.ready, looked, marks=landmarks(book.plan, book.country.grid, "us"))
    view = _ring(book.ready, looked, STRIP_PX - 2 * margin_px(15))
    far = np.where(np.isfinite(view.distance_m), view.distance_m, 0.0)
    y, x = np.unravel_index(int(np.argmin(np.abs(far - 1200.0))), far.shape)
    capsys.readouterr()
    point = f"{strip.left + x + 0.5},{strip.top + y + 0.5}"
    assert run("seen", folder, "--from", seat.id, "--strip", point, "--when", DAY, "--json") == 0
    told = SightingTold.model_validate_json(capsys.readouterr().out)
    lon, lat = book.country.grid.lonlat(float(view.row[y, x]), float(view.col[y, x]))
    assert told.placed == "strip"
    assert distance_m(LonLat(lon, lat), LonLat(told.place.lon, told.place.lat)) < max(60.0, 2 * told.along_m)
    said = refused(capsys, "seen", folder, "--from", seat.id, "--strip", "5,-3", "--when", DAY)
    assert "pixels of the strip" in said


# --- files ---------------------------------------------------------------------------------------------------------

GPX = """<?xml version="1.0"?><gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">{}</gpx>"""


def test_sightings_from_gpx_and_csv_are_taken_in_once(book, folder, tmp_path, capsys):
    place = book.plan.pockets[0].centre
    file = tmp_path / "seen.gpx"
    point = f'<wpt lat="{place.lat}" lon="{place.lon}"><time>2026-08-27T13:00:00Z</time><name>three bucks</name></wpt>'
    file.write_text(GPX.format(point))
    capsys.readouterr()
    assert run("seen", folder, "--file", file) == 0
    assert "One sighting taken in" in capsys.readouterr().out
    assert run("seen", folder, "--file", file, "--json") == 0
    assert json.loads(capsys.readouterr().out) == {"added": [], "there_already": 1, "not_read": []}
    kept = read_record(book.country).sightings[-1]
    assert (kept.words, kept.at) == ("three bucks", dt.datetime(2026, 8, 27, 13, tzinfo=dt.UTC))
    table = tmp_path / "seen.csv"
    table.write_text(
        "lat;lon;time;count;sex;moon\n"
        f"{place.lat};{place.lon};2026-08-28 06:00;2;male;full\n{place.lat};{place.lon};2026-08-28;1;;\n"
    )
    assert run("seen", folder, "--file", table) == 0
    words = capsys.readouterr().out
    assert "Two sightings taken in" in words
    assert "moon" in words
    both = read_record(book.country).sightings[-2:]
    assert both[0].at == dt.datetime(
        2026, 8, 28, 13, tzinfo=dt.UTC
    )  # by the clock of the country, UTC-7 in summer
    assert both[1].at is None
    assert both[1].day == dt.date(2026, 8, 28)


def test_one_bad_line_and_nothing_is_taken_in(book, folder, tmp_path, capsys):
    place = book.plan.pockets[0].centre
    before = rows(folder, "sightings")
    for bad in (
        f"{place.lat},{place.lon},2026-08-27 06:00,many",
        "12.0,13.0,2026-08-27 06:00,1",
        ",,2026-08-27,1",
    ):
        table = tmp_path / "seen.csv"
        table.write_text(f"lat,lon,time,count\n{place.lat},{place.lon},2026-08-27 05:50,1\n{bad}\n")
        said = refused(capsys, "seen", folder, "--file", table)
        assert "line 3" in said
        assert "nothing was taken in" in said
    assert rows(folder, "sightings") == before


def photo(
    path: Path, place: LonLat | None, bearing: float | None = None, clock: str | None = "2026:08:27 06:15:00"
):
    """A photo with Exif 2.32 fields written by Pillow."""
    from PIL import Image
    from PIL.TiffImagePlugin import IFDRational

    exif = Image.Exif()
    if clock:
        exif.get_ifd(0x8769)[0x9003] = clock
    gps = exif.get_ifd(0x8825)
    if place is not None:
        for tag, value, letters in ((1, place.lat, "NS"), (3, place.lon, "EW")):
            degrees = abs(value)
            whole, minutes = int(degrees), int(degrees % 1 * 60)
            seconds = (degrees % 1 * 60 - minutes) * 60
            gps[tag] = letters[value < 0]
            gps[tag + 1] = (
                IFDRational(whole),
                IFDRational(minutes),
                IFDRational(round(seconds * 1000), 1000),
            )
    if bearing is not None:
        gps[16], gps[17] = "T", IFDRational(round(bearing * 100), 100)
    Image.new("RGB", (8, 8)).save(path, exif=exif)


def test_a_photo_tells_place_time_and_direction(book, folder, tmp_path, capsys):
    seat = next(s for s in book.plan.lookouts if s.id == best_seat(book))
    here = LonLat(seat.place.lon, seat.place.lat)
    path = tmp_path / "buck.jpg"
    photo(path, here, bearing=90.0)
    capsys.readouterr()
    assert run("seen", folder, "--photo", path, "--distance", "600m", "--json") == 0
    told = SightingTold.model_validate_json(capsys.readouterr().out)
    assert azimuth_deg(here, LonLat(told.place.lon, told.place.lat)) == pytest.approx(90.0, abs=0.2)
    assert told.at == dt.datetime(
        2026, 8, 27, 13, 15, tzinfo=dt.UTC
    )  # the camera's clock, by the country's zone
    assert told.photo
    assert run("sign", folder, "--kind", "bed", "--photo", path, "--json") == 0
    assert json.loads(capsys.readouterr().out)["place"]["lat"] == pytest.approx(here.lat, abs=1e-5)
    photo(path, None)
    assert "no position" in refused(capsys, "seen", folder, "--photo", path)
    path.write_bytes(b"\xff\xd8\xff nothing")
    assert "not a picture" in refused(capsys, "seen", folder, "--photo", path)


# --- bad input: one clear line, nothing lost -----------------------------------------------------------------------


def test_what_is_refused_leaves_everything_as_it_was(book, folder, tmp_path, capsys):
    seat = best_seat(book)
    morning(book)
    kept = {table: rows(folder, table) for table in ("outings", "sightings", "sign", "traces")}
    at = ("outing", folder, "--lookout", seat, "--from")
    seen = ("seen", folder, "--when", DAY, "--from", seat, "--bearing")
    untimed = tmp_path / "track.gpx"
    place = book.plan.lookouts[0].place
    spots = "".join(f'<trkpt lat="{place.lat + i / 1e4}" lon="{place.lon}"/>' for i in range(3))
    untimed.write_text(GPX.format(f"<trk><trkseg>{spots}</trkseg></trk>"))
    cases = {
        "ends before it begins": (*at, f"{DAY} 08:00", "--until", "05:00"),
        "more than a day": (*at, f"{DAY} 08:00", "--until", "2026-08-30 05:00"),
        "runs into outing 1": (*at, f"{DAY} 08:00", "--until", "10:00"),
        "accepted is \"2026": (*at, "yesterday", "--until", "10:00"),
        "not said where": ("outing", folder, "--from", f"{DAY} 10:00", "--until", "11:00"),
        "not said from when": ("outing", folder, "--lookout", seat),
        "no lookout 'L99'": ("outing", folder, "--lookout", "L99", "--from", f"{DAY} 10:00", "--until", "11:00"),
        "no pocket 'P99'": (*at, "2026-08-28 06:00", "--until", "07:00", "--watched", "P99"),
        "--weather is": (*at, "2026-08-28 06:00", "--until", "07:00", "--weather", "nice"),
        "the glass": (*at, "2026-08-28 06:00", "--until", "07:00", "--glass", "big"),
        "--people is -1": (*at, "2026-08-28 06:00", "--until", "07:00", "--people=-1"),
        "there is no outing 7": ("outing", folder, "--change", "7", "--people", "1"),
        "there is no outing 8": ("outing", folder, "--remove", "8"),
        "a track without times": ("outing", folder, "--track", untimed),
        "meets no ground": (*seen, "10", "--distance", "60km"),
        "meets no ground of": (*seen, "10", "--up", "60"),
        "not said where the animals": (*seen, "10"),
        "--bearing is 400": (*seen, "400", "--distance", "1km"),
        "lies outside the country": ("seen", folder, "--at", "12.0, 13.0", "--when", DAY),
        "not said when": ("seen", folder, "--at", f"{place.lat}, {place.lon}"),
        "true north": ("seen", folder, "--when", "2036-08-27", "--from", seat, "--bearing", "9", "--distance", "1km"),
        "--count is 0": ("seen", folder, "--at", f"{place.lat}, {place.lon}", "--when", DAY, "--count", "0"),
        "--sex is": ("seen", folder, "--at", f"{place.lat}, {place.lon}", "--when", DAY, "--sex", "buck"),
        "--kind is": ("sign", folder, "--at", f"{place.lat}, {place.lon}", "--when", DAY, "--kind", "hair"),
        "--age is": ("sign", folder, "--at", f"{place.lat}, {place.lon}", "--when", DAY, "--age", "new"),
        "--mornings is 0": ("next", folder, "--mornings", "0"),
        "can't be read": ("outing", folder, "--track", tmp_path / "none.gpx"),
        "teach the pace": ("learn", folder, "--use", "pace"),
        "teach nothing": ("learn", folder, "--use", "habitat"),
    }  # fmt: skip
    for words, command in cases.items():
        assert words.replace("teach the pace", "does not teach the pace") in refused(capsys, *command), (
            command
        )
    assert {table: rows(folder, table) for table in kept} == kept


def test_clock_trouble_is_named(book):
    zone = "America/Denver"
    with pytest.raises(BadInput, match="did not exist"):
        read_moment("2026-03-08 02:30", zone, name="--from")
    with pytest.raises(BadInput, match="came twice"):
        read_moment("2026-11-01 01:30", zone, name="--from")
    both = [read_moment(f"2026-11-01 01:30{z}", zone, name="") for z in ("-06:00", "-07:00")]
    assert both[1] - both[0] == dt.timedelta(hours=1)
    assert read_moment("2026-08-27 06:10", zone, name="") == read_moment("2026-08-27T12:10Z", zone, name="")
    for wrong in ("2026-02-30 06:00", "06:10", "2026-08-27", "2026-08-27 26:00", "1850-01-01 06:00", ""):
        with pytest.raises(BadInput):
            read_moment(wrong, zone, name="--from")
    seat = book.plan.lookouts[0].place
    begin = dt.datetime(2026, 8, 27, 12, tzinfo=dt.UTC)
    track = tuple(Fix(seat.lon, seat.lat, begin + dt.timedelta(minutes=m)) for m in (0, 30))
    with pytest.raises(BadInput, match=r"7\.0 hours apart.*time zone"):
        book.add_outing(GivenOuting(track=track, begin=f"{DAY}T05:00Z", end=f"{DAY}T05:40Z"))
    dark = book.add_outing(GivenOuting(where=best_seat(book), begin=f"{DAY} 22:00", end="23:30"))
    assert dark.searched == []
    assert "check the clock" in dark.doubts[0]


class Spot:
    """A point of a track, as the reader hands it over."""

    def __init__(self, time):
        self.lon, self.lat, self.time = -114.8, 40.45, time


@pytest.mark.parametrize(
    ("times", "words"),
    [
        (["2026-08-27T12:00:00Z"], "has no track"),
        (["2026-08-27T12:00:00Z", None], "without times"),
        (["2026-08-27T12:00:00Z", "2026-08-27T11:00:00Z"], "runs backward at point 2"),
        (["2026-08-27T12:00:00Z", "2026-08-27T12:00:00Z"], "one time"),
        (["2026-08-27T12:00:00Z", "noon"], "'noon'"),
        (["1980-01-06T00:00:00Z", "1980-01-06T00:01:00Z"], "never set"),
    ],
)
def test_tracks_that_can_not_be_timed_are_refused(times, words):
    with pytest.raises(BadInput, match=words):
        timed([Spot(t) for t in times], name="t.gpx")


def test_a_track_is_utc_where_it_says_nothing():
    got = timed([Spot("2026-08-27T12:00:00"), Spot("2026-08-27T06:10:00-06:00")], name="t.gpx")
    assert got[0].at == dt.datetime(2026, 8, 27, 12, tzinfo=dt.UTC)
    assert got[1].at == dt.datetime(2026, 8, 27, 12, 10, tzinfo=dt.UTC)


@pytest.mark.parametrize(
    "text",
    [
        "not xml", "<kml/>", '<!DOCTYPE gpx [<!ENTITY a "b">]><gpx><wpt lat="1" lon="2"><name>&a;</name></wpt></gpx>',
        '<gpx><wpt lat="91" lon="2"/></gpx>', '<gpx><wpt lon="2"/></gpx>',
    ],
)  # fmt: skip
def test_files_that_are_no_gpx_are_refused(text):
    from graylight.exchange.field_files import read_gpx

    with pytest.raises(BadInput):
        read_gpx(text.encode(), name="x.gpx")


def test_a_record_of_a_newer_version_is_left_alone(book, folder, capsys):
    told = morning(book)
    with sqlite3.connect(folder / PACKAGE) as db:
        db.execute("ALTER TABLE outings ADD COLUMN mood TEXT")
        db.execute("UPDATE outings SET record = 2, mood = 'fine' WHERE fid = ?", (told.id,))
    kept = rows(folder, "outings")
    for command in ("odds", "next", "plan", "learn"):
        assert "newer version" in refused(capsys, command, folder), command
    assert "newer version" in refused(capsys, "outing", folder, "--lookout", best_seat(book), "--from", "2026-08-29 06:00",
                                      "--until", "07:00")  # fmt: skip
    assert rows(folder, "outings") == kept
    assert run("export", folder) == 0
    assert "fine" in (folder / "record" / "record.geojson").read_text()


def test_rows_of_another_program_that_say_nothing_are_named_not_lost(book):
    book.rows.add("outings", Point(book.country.grid.xy(5, 5)), lookout="L1", began="some day")
    book.rows.add("outings", None, began="2026-08-27T12:00:00Z", ended="2026-08-27T13:00:00Z")
    told = tell_odds(book)
    assert len([w for w in told.left_out if "left out" in w]) == 2
    assert len(book.rows.read("outings")) == 2


def test_a_country_made_before_gets_the_columns(book, folder):
    with sqlite3.connect(folder / PACKAGE) as db:
        for column in ("weather", "track", "people", "record"):
            db.execute(f"ALTER TABLE outings DROP COLUMN {column}")
    assert not read_record(book.country).outings
    told = morning(book, people=3)
    assert read_record(book.country).outings[0].people == 3
    assert Rows(book.country).get("outings", told.id).values["record"] == 1
    assert len(Country.open(folder).features("outings")) == 1


def test_nothing_is_half_written_when_killed(book, folder, monkeypatch):
    """A failure between working out and writing leaves no row; sqlite's own transaction holds the rest (test_rows)."""

    def fail(*_args, **_kwargs):
        raise KeyboardInterrupt

    monkeypatch.setattr(Rows, "add", fail)
    with pytest.raises(KeyboardInterrupt):
        morning(book)
    assert rows(folder, "outings") == []
    assert not list(folder.glob("*-journal"))


# --- learning ------------------------------------------------------------------------------------------------------


def test_learning_says_what_is_missing_and_changes_nothing(book, folder):
    from graylight.plan.learning import learning
    from graylight.telling.record import tell_learning

    morning(book)
    before = (folder / "settings.toml").read_bytes()
    told = learning(book)
    assert told.pace.after is None
    assert told.air.after is None
    assert told.habitat.weights == []
    words = plain(tell_learning(told), 100)
    assert "12 are needed" in " ".join(words.split())
    assert (folder / "settings.toml").read_bytes() == before


def test_pace_is_learnt_from_a_track_with_its_rests_left_out(book, folder, capsys):
    """A walk made at twice the published time, with an hour's rest in the middle: the factor is 2."""
    from graylight.plan.learning import learning
    from graylight.plan.on_foot import land_on_foot
    from graylight.reach.own_pace import TimedWalk, published_seconds

    way = max(book.plan.approaches, key=lambda a: a.seconds)
    lon, lat = np.array([p[0] for p in way.line]), np.array([p[1] for p in way.line])
    along = np.concatenate([[0.0], np.cumsum(np.asarray(WGS84.inv(lon[:-1], lat[:-1], lon[1:], lat[1:])[2]))])
    at = np.linspace(0.0, along[-1], int(along[-1] / 15.0) + 2)
    lon, lat = np.interp(at, along, lon), np.interp(at, along, lat)
    rows_, cols = book.country.grid.locate_all(lon, lat)
    land = land_on_foot(book.ready, dark=False)
    settings = book.country.settings.walk.model_copy(update={"pace_factor": 1.0})
    walk = TimedWalk(rows_, cols, 1.0, pack=True, dark=False)
    whole = published_seconds(
        walk, land.elevation_m, land.ground, cell_m=book.country.grid.cell_m, settings=settings
    )
    step = 2.0 * whole / (len(at) - 1)
    begin, half = dt.datetime(2026, 8, 27, 14, tzinfo=dt.UTC), len(at) // 2
    track = []
    for i in range(len(at)):
        rest = 3600.0 if i > half else 0.0
        track.append(Fix(float(lon[i]), float(lat[i]), begin + dt.timedelta(seconds=round(i * step + rest))))
        if i == half:
            track += [
                track[-1]._replace(at=track[-1].at + dt.timedelta(seconds=s)) for s in range(300, 3600, 300)
            ]
    book.add_outing(GivenOuting(track=tuple(track)))
    told = learning(book)
    assert told.pace.minutes >= 0.9 * 2 * whole / 60.0
    assert told.pace.after == pytest.approx(2.0, rel=0.08)
    assert told.pace.before == 1.0
    assert Country.open(folder).settings.walk.pace_factor == 1.0
    capsys.readouterr()
    assert run("learn", folder, "--use", "pace") == 0
    assert opened(folder).settings.walk.pace_factor == pytest.approx(told.pace.after, abs=0.01)


def test_the_turn_of_the_air_is_learnt_from_what_was_felt(book):
    """Turns felt 70 minutes after the sun, four mornings: from 30 toward 70 by their weight against three."""
    from graylight.plan.learning import learning
    from graylight.plan.own_air import Skies, felt_minutes

    seat = best_seat(book)
    told = morning(book, air="06:10 down, 07:20 up")
    probe = felt_minutes(book, Skies(book), book.outing(told.id), "up")
    assert probe is not None
    felt_at = dt.datetime.fromisoformat(f"{DAY} 06:45")  # between the two
    turned = felt_at + dt.timedelta(minutes=70.0 - probe)
    book.remove("outings", told.id)
    for i in range(4):
        day = f"2026-08-{27 + i}"
        before, after = turned - dt.timedelta(minutes=5), turned + dt.timedelta(minutes=5)
        book.add_outing(
            GivenOuting(
                where=seat, begin=f"{day} 05:00", end="10:30", air=f"{before:%H:%M} down, {after:%H:%M} up"
            )
        )
    air = learning(book).air
    assert air.turns == 4
    assert air.after == pytest.approx((3 * 30 + 4 * 70) / 7, abs=2.5)


def searched_from_within(book, mornings: int) -> set[str]:
    """Mornings along a short track inside each of the pockets in turn, with animals seen there; the pockets searched."""
    searched = set()
    for i in range(mornings):
        pocket = book.plan.pockets[i % len(book.plan.pockets)]
        feed, bed = pocket.feed[0].place, pocket.beds[0].place
        begin = dt.datetime(2026, 8, 3 + i, 12, 40, tzinfo=dt.UTC)
        track = tuple(
            Fix(feed.lon + (bed.lon - feed.lon) * k / 18, feed.lat + (bed.lat - feed.lat) * k / 18,
                begin + dt.timedelta(minutes=5 * k))
            for k in range(19)
        )  # fmt: skip
        told = book.add_outing(GivenOuting(track=track))
        searched |= {s.pocket for s in told.searched}
        add_sighting(book, GivenSighting(at=LonLat(feed.lon, feed.lat), when=written(begin)))
    return searched


def test_weights_are_learnt_only_from_enough_and_into_a_copy(book, folder, capsys):
    from graylight.habitat.profile import read_profile
    from graylight.plan.learning import learning

    assert len(searched_from_within(book, 11)) >= 3
    few = learning(book).habitat
    assert (few.sightings, few.needed, few.weights) == (11, 12, [])
    place = book.plan.pockets[1].feed[0].place
    book.add_outing(
        GivenOuting(where=f"{place.lat}, {place.lon}", begin="2026-08-20 05:40", end="2026-08-20 07:10")
    )
    add_sighting(book, GivenSighting(at=LonLat(place.lon, place.lat), when="2026-08-20 06:30"))
    learnt = learning(book).habitat
    assert learnt.sightings == 12
    assert learnt.pockets >= 3
    assert any(abs(w.after - w.before) > 0.005 for w in learnt.weights)
    total = [
        sum(getattr(w, side) for w in learnt.weights if w.name != "chance.sharpness")
        for side in ("before", "after")
    ]
    assert total[1] == pytest.approx(total[0], rel=0.05)
    before = (folder / "settings.toml").read_bytes()
    assert not (folder / "animals").exists()
    capsys.readouterr()
    assert run("learn", folder, "--use", "habitat") == 0
    name = "mule-deer-summer-own"
    own = read_profile((folder / "animals" / f"{name}.toml").read_text(), where=name)
    assert own.pocket.weight_feed == pytest.approx(learnt.weights[0].after, abs=1e-3)
    assert "Learnt from" in own.numbers["pocket.weight_feed"].source
    assert (folder / "settings.toml").read_bytes() == before
    assert opened(folder).settings.animal == name
    assert book.rows.undo() is not None
    assert opened(folder).settings.animal == "mule-deer-summer"


def test_weights_are_not_learnt_from_too_few_pockets(book):
    """Many sightings in one pocket: there is nothing to compare it with."""
    from graylight.plan.learning import learning

    pocket = book.plan.pockets[0]
    feed = pocket.feed[0].place
    for i in range(13):
        day = f"2026-08-{10 + i}"
        morning(book, day, f"{feed.lat}, {feed.lon}", watched=pocket.id)
        add_sighting(book, GivenSighting(at=LonLat(feed.lon, feed.lat), when=f"{day} 06:30"))
    learnt = learning(book).habitat
    assert (learnt.sightings, learnt.pockets, learnt.weights) == (13, 1, [])


def test_taking_in_is_one_step(book):
    place = book.plan.pockets[0].centre
    spot = LonLat(place.lon, place.lat)
    points = [(f"line {i}", spot, {"time": f"2026-08-27 06:0{i}", "note": str(i)}) for i in range(3)]
    before = len(read_record(book.country).sightings)
    added, there = take_in(book, points, name="x.csv")
    assert (len(added), there) == (3, 0)
    book.rows.undo()
    assert len(read_record(book.country).sightings) == before


def test_hours_by_the_sun():
    """By hand, with sunrise at 12:00 and sunset at 24:00 UTC: full to an hour after sunrise, least at midday, none in the dark;
    the two halves of the day mirror each other [common practice, no source]."""
    from graylight.chance.hours import DayLight, in_the_open, light_part, slices
    from graylight.settings import RecordSettings

    settings = RecordSettings()
    noon = dt.datetime(2026, 8, 27, 18, tzinfo=dt.UTC)
    hours = {name: noon + dt.timedelta(hours=h) for name, h in
             {"usable": -6.5, "rise": -6.0, "set": 6.0, "end": 6.5}.items()}  # fmt: skip
    day = DayLight(hours["usable"], hours["rise"], hours["set"], hours["end"])

    def out(h):
        return in_the_open(noon + dt.timedelta(hours=h), day, settings, bed_by_minutes=150.0)

    assert out(-7.0) == out(7.0) == 0.0
    assert out(-6.4) == out(-5.5) == out(5.5) == 1.0
    assert out(-4.25) == pytest.approx(0.15 + 0.85 * (150 - 105) / 90)
    assert out(0.0) == pytest.approx(0.15)
    assert out(-4.0) == pytest.approx(out(4.0))
    assert light_part(noon, day, "clear", settings) == 1.0
    assert light_part(hours["usable"], day, "fog", settings) == pytest.approx(0.6 * 0.15)
    cut = slices(
        hours["usable"], hours["rise"], day, weather="clear", settings=settings, bed_by_minutes=150.0
    )
    assert sum(s.hours for s in cut) == pytest.approx(0.5)
    assert all(s.dim for s in cut)


def test_where_it_never_gets_dark_an_outing_still_counts():
    from graylight.plan.effort import _light

    north = _light(LonLat(20.0, 69.0), dt.date(2026, 6, 21), -8.0)
    assert north.usable_until - north.usable_from == dt.timedelta(hours=24)
    dark = _light(LonLat(20.0, 78.0), dt.date(2026, 12, 21), -8.0)
    assert dark.usable_from is None


def test_the_record_as_files_keeps_every_row_and_no_formula(book):
    """RFC 4180: read back by the csv module; cells that begin like a formula are quoted."""
    import csv
    import io

    from graylight.exchange.record_files import RECORD_TABLES, write_record_csv

    morning(book, note='=1+1, "so"')
    rows_ = [row for table in RECORD_TABLES for row in book.rows.read(table)]
    found = list(csv.DictReader(io.StringIO(write_record_csv(rows_, book.country.grid))))
    assert len(found) == len(rows_)
    outing = next(row for row in found if row["table"] == "outings")
    assert outing["note"] == '\'=1+1, "so"'
    seat = next(s for s in book.plan.lookouts if s.id == outing["lookout"])
    assert (float(outing["lat"]), float(outing["lon"])) == pytest.approx(
        (seat.place.lat, seat.place.lon), abs=2e-6
    )

"""Corrections of the record: what is put right is put right alone, and what can't be is refused, not half done."""

from __future__ import annotations

import datetime as dt
import shutil
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from graylight.country.folder import Country
from graylight.errors import BadInput
from graylight.grid import LonLat, azimuth_deg, distance_m
from graylight.habitat.profile import shipped_text
from graylight.plan.keeping import kept_plan
from graylight.plan.learning import _weights as weights_of
from graylight.plan.learning import own_profile
from graylight.plan.notebook import GivenOuting, Notebook, open_notebook
from graylight.plan.odds_told import tell_odds
from graylight.plan.record import Fix
from graylight.plan.record_model import HabitatLearnt
from graylight.plan.sighted import GivenSighting, add_sighting, change_sighting, take_in
from graylight.sky.declination import declination

DAY = "2026-08-27"


@pytest.fixture
def book(small, tmp_path) -> Notebook:
    folder = tmp_path / "country"
    shutil.copytree(small, folder)
    country = Country.open(folder)
    return open_notebook(country, kept_plan(country))


def seen_by_bearing(book, **given):
    """A sighting from a place that is no outing's, by a bearing on which the country goes on for a while."""
    seat = book.plan.lookouts[0]
    sees = max(seat.sees, key=lambda s: s.share.likely)
    how = {"bearing_deg": sees.bearing_true_deg, "true_north": True, "distance": f"{sees.distance_m:.0f}m"}
    told = add_sighting(book, GivenSighting(seen_from=seat.id, when=f"{DAY} 06:30", **how, **given))
    return LonLat(seat.place.lon, seat.place.lat), sees, told


def row(book, number):
    return book.rows.get("sightings", number).values


def test_a_corrected_bearing_leaves_animal_and_time_as_they_were(book):
    here, sees, told = seen_by_bearing(book, animal="moose", count=1)
    new = (sees.bearing_true_deg + 4.0) % 360.0
    after = change_sighting(
        book, told.id, GivenSighting(bearing_deg=new, true_north=True, distance=f"{sees.distance_m:.0f}m")
    )
    assert row(book, told.id)["animal"] == "moose"
    assert row(book, told.id)["date"] == f"{told.at:%Y-%m-%dT%H:%M:%SZ}"
    assert after.bearing_true_deg == pytest.approx(new)
    assert azimuth_deg(here, LonLat(after.place.lon, after.place.lat)) == pytest.approx(new, abs=0.05)


def test_a_corrected_distance_is_not_passed_over(book):
    """Along the line of sight, from the same place, on the same bearing (pyproj.Geod)."""
    here, sees, told = seen_by_bearing(book)
    nearer = round(0.7 * sees.distance_m)
    after = change_sighting(book, told.id, GivenSighting(distance=f"{nearer}m"))
    there = LonLat(after.place.lon, after.place.lat)
    assert azimuth_deg(here, there) == pytest.approx(sees.bearing_true_deg, abs=0.1)
    rise = after.place.height_m - book.plan.lookouts[0].height_m
    assert np.hypot(distance_m(here, there), rise) == pytest.approx(nearer, abs=5.0)


def test_a_corrected_magnetic_bearing_takes_the_declination_of_its_own_day(book):
    """World Magnetic Model 2025: the needle moves by about 0.1 degrees a year here; told to 0.1."""
    here, sees, told = seen_by_bearing(book)
    book.rows.change("sightings", told.id, date="2029-08-27T13:30:00Z")
    change = GivenSighting(bearing_deg=sees.bearing_magnetic_deg, distance=f"{sees.distance_m:.0f}m")
    after = change_sighting(book, told.id, change)
    east = [declination(here, height_m=0.0, day=dt.date(year, 8, 27)).deg for year in (2026, 2029)]
    assert abs(east[0] - east[1]) > 0.2
    assert after.bearing_true_deg == pytest.approx((sees.bearing_magnetic_deg + east[1]) % 360.0, abs=0.051)


def test_a_distance_alone_can_not_correct_a_sighting_by_coordinates(book):
    feed = book.plan.pockets[0].feed[0].place
    told = add_sighting(book, GivenSighting(at=LonLat(feed.lon, feed.lat), when=f"{DAY} 06:30"))
    before = row(book, told.id)
    with pytest.raises(BadInput, match="not said where the animals were"):
        change_sighting(book, told.id, GivenSighting(distance="400yd"))
    assert row(book, told.id) == before


def test_times_away_from_the_track_are_refused_on_a_correction_too(book):
    seat = book.plan.lookouts[0].place
    begin = dt.datetime(2026, 8, 27, 12, 30, tzinfo=dt.UTC)
    track = tuple(Fix(seat.lon, seat.lat, begin + dt.timedelta(minutes=m)) for m in range(0, 31, 5))
    told = book.add_outing(GivenOuting(track=track))
    with pytest.raises(BadInput, match="hours apart"):
        book.change_outing(told.id, GivenOuting(begin="2026-08-28T12:30Z", end="2026-08-28T13:00Z"))
    assert book.outing(told.id).began == begin
    shorter = book.change_outing(told.id, GivenOuting(begin="2026-08-27T12:40Z"))
    assert shorter.day_hours + shorter.twilight_hours == pytest.approx(20 / 60, abs=0.01)
    # with a place instead of the track there is nothing to go against
    moved = GivenOuting(where=book.plan.lookouts[0].id, begin="2026-08-28T12:30Z", end="2026-08-28T13:00Z")
    assert book.change_outing(told.id, moved).track_points == 0


def test_an_evening_is_one_day_though_utc_begins_another(book):
    """23:50 and 00:10 UTC are one evening west of Greenwich: the same animals, counted once."""
    pocket = book.plan.pockets[0]
    spot = LonLat(pocket.feed[0].place.lon, pocket.feed[0].place.lat)

    def chance() -> float:
        told = tell_odds(book, dt.date(2026, 8, 29)).pockets
        return next(p.chance.likely for p in told if p.id == pocket.id)

    add_sighting(book, GivenSighting(at=spot, when="2026-08-27T23:50Z"))
    once = chance()
    add_sighting(book, GivenSighting(at=spot, when="2026-08-28T00:10Z"))
    assert chance() == once


def test_a_table_with_day_and_hour_in_columns_of_their_own(book):
    """By the country's clock; a whole moment in the column of times stands by itself."""
    spot = book.plan.pockets[0].feed[0].place
    here = LonLat(spot.lon, spot.lat)
    lines = [
        ("line 2", here, {"date": DAY, "time": "6:40"}),
        ("line 3", here, {"date": DAY, "time": f"{DAY}T14:00Z"}),
    ]
    added, _ = take_in(book, lines, name="seen.csv")
    local = dt.datetime(2026, 8, 27, 6, 40, tzinfo=ZoneInfo(book.timezone)).astimezone(dt.UTC)
    assert [row(book, number)["date"] for number in added] == [
        f"{local:%Y-%m-%dT%H:%M:%SZ}",
        f"{DAY}T14:00:00Z",
    ]


def test_what_was_learnt_once_is_not_learnt_from_again(book):
    """The weights in use come from the sightings already: with the same record the copy stays as it is."""
    count = len(book.plan.pockets)
    rng = np.random.default_rng(5)
    effort, seen = rng.uniform(0.5, 2.0, count), rng.integers(0, 9, count).astype(float)
    once = weights_of(book, effort, seen)
    assert any(abs(w.after - w.before) > 0.01 for w in once)
    name, text = own_profile(book, HabitatLearnt(sightings=20, needed=12, pockets=count, weights=once))
    book.country.write_text(f"animals/{name}.toml", text)
    copy = open_notebook(book.country, book.plan.model_copy(update={"animal": name}))
    again = weights_of(copy, effort, seen)
    assert [w.after for w in again] == [w.after for w in once]
    assert [w.before for w in again] == pytest.approx([w.after for w in once], abs=1e-6)


def test_sightings_count_for_a_profile_with_weights_learnt(book):
    """The copy that 'learn --use habitat' names is of the same animal."""
    feed = book.plan.pockets[0].feed[0].place
    told = add_sighting(book, GivenSighting(at=LonLat(feed.lon, feed.lat), when=f"{DAY} 06:30"))
    own = "mule-deer-summer-own"
    book.country.write_text(f"animals/{own}.toml", shipped_text("mule-deer-summer"))
    copy = open_notebook(book.country, book.plan.model_copy(update={"animal": own}))
    assert tell_odds(copy).pockets == tell_odds(book).pockets
    later = add_sighting(copy, GivenSighting(at=LonLat(feed.lon, feed.lat), when=f"{DAY} 06:35"))
    assert told.animal == later.animal == "mule deer"


def test_an_evening_is_told_on_its_own_day(book):
    """18:00 to 20:00 by the clock of the West is the next day in UTC."""
    spot = book.plan.pockets[0].feed[0].place
    add_sighting(book, GivenSighting(at=LonLat(spot.lon, spot.lat), when=f"{DAY} 18:30"))
    told = tell_odds(book, dt.date(2026, 8, 27))
    assert told.date == dt.date(2026, 8, 27)
    assert {moved.date for pocket in told.pockets for moved in pocket.history} == {dt.date(2026, 8, 27)}


def test_odds_for_a_day_count_that_day_and_nothing_later(book):
    """In the West a morning begins after noon UTC of its own date."""
    where = max(book.plan.lookouts, key=lambda one: max(s.share.likely for s in one.sees)).id
    before = tell_odds(book, dt.date(2026, 8, 27))
    told = book.add_outing(GivenOuting(where=where, begin=f"{DAY} 05:10", end="08:40"))
    assert told.began.hour >= 12
    that_day = tell_odds(book, dt.date(2026, 8, 27))
    assert that_day.elsewhere.likely > before.elsewhere.likely
    day_before = tell_odds(book, dt.date(2026, 8, 26))
    assert (day_before.outings, day_before.elsewhere.likely) == (0, before.elsewhere.likely)
    assert not any(pocket.why for pocket in day_before.pockets if "outing" in " ".join(pocket.why))

"""What the record's commands tell a tired person: nothing that misleads, nothing lost by a slip; own exports come back."""

from __future__ import annotations

import datetime as dt
import json
import shutil
from pathlib import Path

import numpy as np
import pytest

from graylight.cli.main import main
from graylight.country.folder import Country
from graylight.errors import BadInput
from graylight.exchange.field_files import read_sightings_csv
from graylight.grid import LonLat
from graylight.plan.keeping import kept_plan
from graylight.plan.learning import own_profile
from graylight.plan.next_case import gathered
from graylight.plan.next_sit import Asked, next_sits
from graylight.plan.notebook import GivenOuting, Notebook, open_notebook
from graylight.plan.odds_told import tell_odds
from graylight.plan.record import read_record
from graylight.plan.record_model import HabitatLearnt
from graylight.plan.sighted import GivenSighting, GivenSign, add_sighting, add_sign, take_in
from graylight.telling.paragraph import plain
from graylight.telling.record import tell_next, tell_sighting
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


def spot(book, i: int = 0) -> LonLat:
    place = book.plan.pockets[i].feed[0].place
    return LonLat(place.lon, place.lat)


def said(paragraphs) -> str:
    return " ".join(plain(paragraphs, 400).split())


def run(*words: object) -> int:
    return main([str(word) for word in words])


# --- own exports and tables of others ------------------------------------------------------------------------------


def test_an_exported_record_comes_back_as_it_was_and_makes_no_animals_of_outings(
    book, folder, small, tmp_path, capsys
):
    seat = book.plan.lookouts[0]
    sees = max(seat.sees, key=lambda s: s.share.likely)
    book.add_outing(GivenOuting(where=seat.id, begin=f"{DAY} 05:10", end="08:40"))
    add_sighting(
        book, GivenSighting(
            seen_from=seat.id, bearing_deg=sees.bearing_true_deg, true_north=True, distance=f"{sees.distance_m:.0f}m",
            when=f"{DAY} 06:20", count=2, sex="male", note="=two",
        ),
    )  # fmt: skip
    add_sign(book, GivenSign(spot(book), "rub", "fresh", DAY))
    assert run("export", folder) == 0
    other = tmp_path / "other"
    shutil.copytree(small, other)
    capsys.readouterr()
    assert run("seen", other, "--file", folder / "record" / "record.csv") == 0
    words = " ".join(capsys.readouterr().out.split())
    assert words.startswith("One sighting taken in")
    assert "that are no sightings (remarks on the air, outings, sign)." in words
    country = Country.open(other)
    there, here = read_record(country), read_record(book.country)
    assert (there.outings, there.sign) == ((), ())
    mine, back = here.sightings[-1], there.sightings[-1]
    for name in ("animal", "count", "at", "sex", "along_m", "across_m", "bearing_true_deg", "words"):
        got, kept = getattr(back, name), getattr(mine, name)
        assert got == (pytest.approx(kept) if isinstance(kept, float) else kept), name
    assert back.point.distance(mine.point) < 0.2
    assert run("seen", other, "--file", folder / "record" / "record.csv") == 0
    assert len(read_record(country).sightings) == len(there.sightings)


def test_animals_at_one_place_and_time_are_told_apart(book):
    lines = [
        (f"line {i}", spot(book), {"time": f"{DAY} 06:20", "animal": animal, "sex": sex})
        for i, (animal, sex) in enumerate([("mule der", ""), ("mule deer", ""), ("elk", ""), ("Mule Deer", ""), ("elk", "male")])
    ]  # fmt: skip
    added, there = take_in(book, lines, name="seen.csv")
    assert (len(added), there) == (4, 1)


@pytest.mark.parametrize(
    "text",
    [
        "when,lat,lon,count\n2026-08-27 06:20,40.45,-114.82,2\n",
        "Latitude;Longitude;Number;When\n40,45;-114,82;2;2026-08-27 06:20\n",
        "y,x,count,time,Notes\n40.45,-114.82,2,2026-08-27 06:20,\n",
    ],
)
def test_tables_with_other_headings_and_decimal_commas(text):
    points, unknown = read_sightings_csv(text.encode(), name="x.csv")
    assert (points[0].lat, points[0].lon) == (40.45, -114.82)
    assert (points[0].values["count"], points[0].values["time"]) == ("2", "2026-08-27 06:20")
    assert unknown == ()


def test_lines_without_a_date_are_said(book, folder, tmp_path, capsys):
    here = spot(book)
    table = tmp_path / "seen.csv"
    table.write_text(f"lat,lon,count\n{here.lat},{here.lon},1\n")
    capsys.readouterr()
    assert run("seen", folder, "--file", table) == 0
    assert "One without a date counts for the basin only" in " ".join(capsys.readouterr().out.split())


# --- slips ---------------------------------------------------------------------------------------------------------


def test_taking_away_stands_by_itself(book, folder, capsys):
    told = book.add_outing(GivenOuting(where=book.plan.lookouts[0].id, begin=f"{DAY} 05:10", end="08:40"))
    seen = add_sighting(book, GivenSighting(at=spot(book), when=DAY))
    capsys.readouterr()
    assert run("outing", folder, "--remove", told.id, "--change", told.id) == 2
    assert run("seen", folder, "--remove", seen.id, "--change", seen.id) == 2
    assert "by itself" in capsys.readouterr().err
    assert book.outing(told.id)
    assert any(s.id == seen.id for s in read_record(book.country).sightings)


def test_a_trail_is_taken_away_and_no_rub_with_its_number(book, folder, capsys):
    ends = "; ".join(
        f"{p.place.lat}, {p.place.lon}" for p in (book.plan.pockets[0].feed[0], book.plan.pockets[0].beds[0])
    )
    add_sign(book, GivenSign(spot(book), "rub", "fresh", DAY))
    assert run("sign", folder, "--line", ends) == 0
    number = book.rows.read("traces")[-1].id
    assert run("sign", folder, "--remove-trail", number, "--remove", 1) == 2
    assert run("sign", folder, "--remove-trail", number) == 0
    assert number not in {row.id for row in book.rows.read("traces")}
    assert len(read_record(book.country).sign) == 1
    assert "The trail" in capsys.readouterr().out


def test_another_animal_is_kept_and_doubted_aloud(book):
    told = add_sighting(book, GivenSighting(at=spot(book), when=DAY, animal="mule der"))
    words = said(tell_sighting(told, book.timezone, "us"))
    assert not told.counts
    assert "mule der is not the plan's animal" in words
    assert "counts for pocket" not in words
    assert "lies in pocket" not in words
    assert add_sighting(book, GivenSighting(at=spot(book), when=DAY)).counts


def test_a_sighting_typed_twice_is_doubted(book):
    given = GivenSighting(at=spot(book), when=f"{DAY} 06:20", count=2)
    first, second = add_sighting(book, given), add_sighting(book, given)
    assert (first.same_as, second.same_as) == (None, first.id)
    assert f"Sighting {first.id} is the same" in said(tell_sighting(second, book.timezone, "us"))


def test_an_outing_over_midnight_and_one_over_the_change_of_clocks(book):
    """24 October to 2 November 2026 by the clocks of the West: the night of 1 November has 25 hours."""
    seat = book.plan.lookouts[0].id
    with pytest.raises(BadInput, match="its date where it is the next day"):
        book.add_outing(GivenOuting(where=seat, begin="2026-08-27 22:00", end="02:00"))
    night = book.add_outing(GivenOuting(where=seat, begin="2026-10-31 22:00", end="2026-11-01 03:00"))
    assert night.ended - night.began == dt.timedelta(hours=6)
    edge = add_sighting(book, GivenSighting(at=spot(book), when="2026-11-01 03:00"))
    assert edge.outing == night.id, "the last moment belongs to it"
    with pytest.raises(BadInput, match="came twice"):
        add_sighting(book, GivenSighting(at=spot(book), when="2026-11-01 01:30"))


# --- odds and next -------------------------------------------------------------------------------------------------


def test_what_does_not_count_for_the_day_is_said_in_its_line(book):
    here = spot(book)
    add_sighting(book, GivenSighting(at=here, when="2023-08-20"))
    words = said(say_odds(tell_odds(book), "us"))
    assert "Nothing of this season is recorded by that day" in words
    assert "it counts for the basin" in words
    for minute in (20, 25, 30):
        add_sighting(book, GivenSighting(at=here, when=f"2026-08-28 06:{minute}"))
    early = tell_odds(book, dt.date(2026, 8, 27))
    assert sum("later than this day" in row for row in early.rows) == 3
    numbers = [int(row.split()[1].rstrip(",")) for row in early.rows[-3:]]
    assert numbers == sorted(numbers)
    pocket = next(p for p in tell_odds(book).pockets if p.id == book.plan.pockets[0].id)
    assert "animals seen there once" in pocket.why, "three on one day are one"


def test_a_sighting_beside_a_pocket_is_named_as_its_reason(book):
    """Off the edge by the distance at which it counts for less than a half, along a line of points eastward."""
    area = book.places.areas[0]
    settings = book.country.settings.record
    around = area.buffer(1.4 * settings.near_m).exterior
    held = None
    for k in np.linspace(0.0, 1.0, 60):
        point = around.interpolate(k, normalized=True)
        place = book.lonlat(point)
        if book.country.grid.contains(place):
            name, belongs = book.pocket_at(point, (15.0, 15.0, 0.0))
            if name == book.plan.pockets[0].id and 0.15 < belongs < 0.45:
                held = place
                break
    assert held is not None
    told = add_sighting(book, GivenSighting(at=held, when=f"{DAY} 06:20"))
    pocket = next(p for p in tell_odds(book).pockets if p.id == told.pocket)
    assert f"the animals of sighting {told.id} may have been in it" in pocket.why
    assert pocket.chance.likely > pocket.prior


def test_odds_that_did_not_move_are_not_told_as_moved(book):
    told = tell_odds(book)
    one = told.pockets[0]
    same = one.model_copy(update={"chance": one.chance.model_copy(update={"likely": one.prior + 0.001})})
    words = said(say_odds(told.model_copy(update={"pockets": [same]}), "us"))
    moved = f"{100 * (one.prior + 0.001):.0f}" != f"{100 * one.prior:.0f}"
    assert ("by the habitat alone" in words) == moved


def test_another_season_is_doubted(book):
    late = tell_odds(book, dt.date(2026, 11, 10))
    assert "plan again with that date" in late.not_known[0]
    assert not any("plan again" in words for words in tell_odds(book).not_known)
    assert any(
        "plan again with that date" in w for w in next_sits(book, Asked(1, dt.date(2026, 11, 10))).not_known
    )


def test_next_begins_after_the_last_entry_and_knows_of_sightings(book):
    add_sighting(book, GivenSighting(at=spot(book), when="2026-08-29 06:20"))
    told = next_sits(book, Asked(2, wind="N 60mph"))
    assert [s.date.day for s in told.sits] == [30, 31]
    words = said(tell_next(told, "us"))
    assert "is recorded yet" not in words
    assert "animals keep to the lee" in words
    assert words.count("not searched yet") <= len(
        {w for s in told.sits for w in s.why if "not searched" in w}
    )


def test_the_wind_that_blows_at_a_pocket_counts(book):
    """A strong wind from the lookout's back to the pocket it sees nearest, and the same wind the other way."""
    s, sees = min(
        ((s, one) for s, seat in enumerate(book.plan.lookouts) for one in seat.sees),
        key=lambda both: both[1].distance_m,
    )
    toward, pocket = sees.bearing_true_deg, book.places.ids.index(sees.pocket)

    def spoilt(from_deg: float) -> float:
        return float(gathered(book, Asked(1, wind=f"{from_deg % 360:.0f} 20mph")).scent[0, s, pocket])

    care = book.country.settings.sit.scent_care / book.country.settings.sit.scent_spoils
    assert spoilt(toward + 180.0) > 0.2 * care
    assert spoilt(toward) < 0.05


def test_noise_is_not_learnt(book):
    nothing = HabitatLearnt(sightings=14, needed=12, pockets=5, weights=[], nothing_new=True)
    with pytest.raises(BadInput, match="move no weight by a hundredth"):
        own_profile(book, nothing)


def test_json_of_next_holds_the_winds(book, folder, capsys):
    capsys.readouterr()
    assert run("next", folder, "--mornings", "2", "--wind", "SW 8mph", "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert told["wind"] == "SW 8mph"
    assert [s["wind"] for s in told["sits"]] == ["SW 8mph"] * 2


def test_in_fog_nothing_is_found_beyond_what_fog_lets_see(book, folder):
    """WMO's definition of fog, from memory: one sees less than 1 km. Every pocket here begins nearer or lies farther."""
    seat = max(
        book.plan.lookouts, key=lambda one: max(s.distance_m for s in one.sees if s.share.likely > 0.2)
    )
    far = max((s for s in seat.sees if s.share.likely > 0.2), key=lambda s: s.distance_m)
    given = GivenOuting(where=seat.id, begin=f"{DAY} 05:10", end="08:40", weather="fog")
    told = book.add_outing(given)
    assert all(s.distance_m < 1500 for s in told.searched)
    (folder / "settings.toml").write_text(f"[record]\nfog_m = {max(far.distance_m / 3.0, 50.0):.0f}\n")
    thick = open_notebook(Country.open(folder), book.plan)
    less = {s.pocket: s.found.likely for s in thick.tell_outing(thick.outing(told.id)).searched}
    assert less.get(far.pocket, 0.0) == 0.0
    book.change_outing(told.id, GivenOuting(weather="clear"))
    clear = {s.pocket: s.found.likely for s in book.tell_outing(book.outing(told.id)).searched}
    assert clear[far.pocket] > 0.0


def test_a_corrected_outing_doubts_the_sightings_that_no_longer_fit(book, folder, capsys):
    seats = book.plan.lookouts
    first, pocket = next(
        (seat, s.pocket) for seat in seats for s in seat.sees
        if s.share.likely > 0.3 and any(s.pocket not in {t.pocket for t in o.sees if t.share.high > 0} for o in seats)
    )  # fmt: skip
    other = next(o for o in seats if pocket not in {t.pocket for t in o.sees if t.share.high > 0})
    told = book.add_outing(GivenOuting(where=first.id, begin=f"{DAY} 05:10", end="08:40"))
    seen = add_sighting(
        book, GivenSighting(at=spot(book, book.places.ids.index(pocket)), when=f"{DAY} 06:20", outing=told.id)
    )
    assert book.tell_outing(book.outing(told.id)).doubts == []
    moved = book.change_outing(told.id, GivenOuting(where=other.id))
    assert f"sighting {seen.id} lies in {pocket}, which was not in sight from there" in moved.doubts
    short = book.change_outing(told.id, GivenOuting(where=first.id, end=f"{DAY} 06:00"))
    assert f"sighting {seen.id} lies outside its time: correct one of them" in short.doubts
    capsys.readouterr()
    assert run("outing", folder, "--remove", told.id) == 0
    assert f"stand by themselves: {seen.id}" in capsys.readouterr().out


def test_the_line_of_an_outing_says_what_explains_the_odds(book):
    given = GivenOuting(
        where=book.plan.lookouts[0].id,
        begin=f"{DAY} 05:10",
        end="08:40",
        weather="fog",
        wind="SW 8mph",
        pushed=True,
    )
    book.add_outing(given)
    line = next(row for row in tell_odds(book).rows if row.startswith("outing"))
    assert "fog, wind SW 8mph, animals pushed" in line


def test_one_morning_is_held_against_no_row_and_a_place_of_ones_own_is_told(book):
    told = next_sits(book, Asked(1))
    assert "in turn" not in said(tell_next(told, "us"))
    assert "in turn" in said(tell_next(next_sits(book, Asked(2)), "us"))
    own = told.model_copy(update={"seen_from_own": ["P5"]})
    assert "You had P5 in sight from a place that is no kept lookout" in said(tell_next(own, "us"))

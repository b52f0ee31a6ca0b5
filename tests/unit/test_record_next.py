"""What `next` rests on: rest and days off also in the hours, places of one's own, what was pushed and taken back."""

from __future__ import annotations

import datetime as dt
import json
import re

import numpy as np
import pytest
from pyproj import Geod
from shapely import Point

from graylight.chance.mornings import rested, worth_of
from graylight.grid import LonLat
from graylight.plan.effort import searched
from graylight.plan.looking import look_from
from graylight.plan.next_case import gathered, whole_sitting
from graylight.plan.next_sit import Asked as Mornings
from graylight.plan.next_sit import _mean_worths, _unrested, next_sits
from graylight.plan.notebook import GivenOuting, Notebook
from graylight.plan.odds_told import tell_odds
from graylight.plan.own_places import GLASSING, SAT_NEAR_M
from graylight.plan.sighted import GivenSighting, add_sighting
from graylight.telling.record import tell_next, tell_outing, tell_sighting
from graylight.telling.record import tell_odds as say_odds
from tests.unit.page_server import page_over
from tests.unit.test_record_told import DAY, book, folder, run, said, spot  # noqa: F401

# ruff: noqa: F811

FIRST = dt.date(2026, 8, 27)


def hours_of(told) -> dict[str, float]:
    return {one.pocket: one.hours for one in told.hours}


def sit(book, seat, day, **more):
    return book.add_outing(GivenOuting(where=seat, begin=f"{day} 05:10", end="08:40", **more))


def shown_by(book, seat) -> str:
    sees = next(one for one in book.plan.lookouts if one.id == seat).sees
    return max(sees, key=lambda one: one.share.likely).pocket


def the_best_seat(book) -> str:
    return max(book.plan.lookouts, key=lambda one: max(s.share.likely for s in one.sees)).id


def json_of(capsys, *words):
    capsys.readouterr()
    assert run(*words, "--json") == 0
    return json.loads(capsys.readouterr().out)


# --- hours ---------------------------------------------------------------------------------------------------------


def test_hours_take_the_rest_that_lookouts_want_as_the_mornings_do(book):
    """By the rule written out: rest by the days since each was sat at, odds and pushes of each morning, the mean of them."""
    for seat in book.plan.lookouts:
        sit(book, seat.id, f"2026-08-{19 + int(seat.id[1:])}")
    case = gathered(book, Mornings(2, FIRST, off=(dt.date(2026, 8, 28),)))
    settings = book.country.settings.record
    by_hand = np.zeros((len(case.seats), len(case.found.odds.pockets)))
    for m, date in enumerate((27, 29)):
        for s, seat in enumerate(case.seats):
            days = (
                date
                - (19 + int(seat.id[1:]))
                + (case.light[0].hour - 12 + case.light[0].minute / 60 - 10 / 60) / 24
            )
            rest = rested(days, rest_days=settings.rest_days, part=settings.rest_part)
            odds = np.array(case.campaign.odds[m].pockets)
            by_hand[s] += (
                odds * case.sits[s].found(len(odds)) * (1 - case.scent[m, s]) * case.left[m, s] * rest / 2
            )
    assert _mean_worths(case) == pytest.approx(by_hand, abs=1e-4)


def test_days_off_give_a_pushed_pocket_its_hours_back(book):
    """Common practice, no source: left alone for `record.pushed_days`; days off are days that it is left alone."""
    seat = the_best_seat(book)
    pocket = shown_by(book, seat)
    days = {one: FIRST + dt.timedelta(days=one) for one in range(8)}
    untouched = hours_of(next_sits(book, Mornings(1, FIRST))).get(pocket, 0.0)
    book.add_outing(GivenOuting(where="{0.lat}, {0.lon}".format(spot_of(book, pocket)), begin="2026-08-26 05:10", end="05:40",
                                pushed=True))  # fmt: skip
    at_once = hours_of(next_sits(book, Mornings(1, FIRST))).get(pocket, 0.0)
    waited = hours_of(next_sits(book, Mornings(1, FIRST, off=tuple(days[i] for i in range(6))))).get(
        pocket, 0.0
    )
    assert at_once < untouched
    assert at_once < waited


def spot_of(book, pocket: str) -> LonLat:
    return spot(book, [one.id for one in book.plan.pockets].index(pocket))


def test_hours_add_up_to_the_mornings_that_are_left_and_days_off_take_none(book):
    watch = next_sits(book, Mornings(1, FIRST)).sits[0]
    span = (watch.until - watch.usable_from).total_seconds() / 3600.0
    for off in ((), (dt.date(2026, 8, 28),)):
        told = next_sits(book, Mornings(2, FIRST, off=off))
        assert sum(hours_of(told).values()) == pytest.approx(
            2 * span, abs=0.25 * len(book.plan.pockets) + 0.1
        )
        assert sum(hours_of(told).values()) <= 2 * span + 0.1


# --- places of one's own -------------------------------------------------------------------------------------------


def beside(book, metres: float) -> LonLat:
    """Ground some metres from the best lookout, on the side from which most of the pockets shows."""
    one = next(s for s in book.plan.lookouts if s.id == the_best_seat(book)).place
    point = book.point(LonLat(one.lon, one.lat))
    places = [
        book.lonlat(Point(point.x + metres * np.sin(turn), point.y + metres * np.cos(turn)))
        for turn in np.linspace(0.0, 2 * np.pi, 8, endpoint=False)
    ]
    inside = [at for at in places if book.country.grid.contains(at)]
    shows = [sum(one.share.likely for one in look_from(book.ready, at).look.sees) for at in inside]
    return inside[int(np.argmax(shows))]


def mark(book, place: LonLat, kind: str = GLASSING, name: str | None = "Knob"):
    book.rows.add("places", book.point(place), kind=kind, name=name)


def test_a_place_sat_at_is_weighed_as_a_lookout_is_and_is_no_part_of_the_row(book):
    place = beside(book, SAT_NEAR_M + 100.0)
    before = next_sits(book, Mornings(2))
    mark(book, place)
    told = next_sits(book, Mornings(2))
    (own,) = told.own
    assert own.name == "Knob"
    assert told.model_copy(update={"own": []}) == before
    case = gathered(book, Mornings(2))
    at = LonLat(own.place.lon, own.place.lat)
    effort = searched([whole_sitting(own, case.light)], book.ground, case.glasses, weather="clear")
    found = np.array(effort.found(len(book.plan.pockets))) * (1 - case.scent[0, len(case.seats)])
    odds = case.campaign.odds[0]
    assert own.morning == pytest.approx(float(np.array(odds.pockets) @ found) / sum(odds.all), abs=0.002)
    assert 0.0 < own.first_hour <= own.morning
    assert book.point(at).distance(book.point(place)) < 1.0
    words = said(tell_next(told, "us"))
    assert "Knob: about" in words or "Knob: under" in words
    assert "no part of the row" in words


def test_only_marks_for_glassing_in_reach_and_apart_from_lookouts_are_weighed(book):
    mark(book, beside(book, 0.5 * SAT_NEAR_M), name="Beside")
    mark(book, beside(book, SAT_NEAR_M + 100.0), kind="water", name="Spring")
    walk = book.ready.walk_s
    if walk is not None and np.isnan(walk).any():
        row, col = np.argwhere(np.isnan(walk) & np.isfinite(book.ready.survey.elevation_m))[0]
        mark(book, book.country.grid.lonlat(int(row), int(col)), name="Out of reach")
        assert next_sits(book, Mornings(1)).own == []
        book.add_outing(GivenOuting(where="{0.lat}, {0.lon}".format(book.country.grid.lonlat(int(row), int(col))),
                                    begin="2026-08-20 05:10", end="08:40"))  # fmt: skip
        (own,) = next_sits(book, Mornings(1)).own
        assert (own.name, own.walk_seconds) == ("the place of outing 1", None)
    else:
        assert next_sits(book, Mornings(1)).own == []


def test_a_place_of_ones_own_sat_at_yesterday_wants_its_rest(book):
    place = beside(book, SAT_NEAR_M + 100.0)
    fresh = next_sits(book, Mornings(1, FIRST)).own
    assert fresh == []
    sit(book, f"{place.lat}, {place.lon}", "2026-08-26")
    (own,) = next_sits(book, Mornings(1, FIRST)).own
    assert own.rest < 0.8
    assert "sat at lately" in said(tell_next(next_sits(book, Mornings(1, FIRST)), "us"))


# --- pushed, end to end ----------------------------------------------------------------------------------------------


def test_a_pushed_pocket_rests_by_the_commands_and_is_taken_back(book, folder, capsys):
    seat = the_best_seat(book)
    pocket = shown_by(book, seat)
    at = spot_of(book, pocket)
    assert run("outing", folder, "--lookout", seat, "--from", f"{DAY} 05:10", "--until", "08:40") == 0
    assert (
        run(
            "seen",
            folder,
            "--at",
            f"{at.lat}, {at.lon}",
            "--when",
            f"{DAY} 06:20",
            "--count",
            "4",
            "--outing",
            "1",
        )
        == 0
    )
    quiet = json_of(capsys, "next", folder, "--mornings", "2")
    assert run("outing", folder, "--change", "1", "--pushed") == 0
    assert "pushed" in " ".join(capsys.readouterr().out.split())
    rests = json_of(capsys, "next", folder, "--mornings", "2")
    hours = [{one["pocket"]: one["hours"] for one in told["hours"]} for told in (quiet, rests)]
    assert hours[1].get(pocket, 0.0) < hours[0][pocket]
    worth = [{one["lookout"]: one["morning"] for one in told["lookouts"]} for told in (quiet, rests)]
    assert worth[1][seat] < 0.6 * worth[0][seat]
    assert run("next", folder, "--mornings", "2") == 0
    assert "pushed" in " ".join(capsys.readouterr().out.split())
    assert run("outing", folder, "--change", "1", "--not-pushed") == 0
    assert json_of(capsys, "next", folder, "--mornings", "2") == quiet
    assert run("outing", folder, "--change", "1", "--pushed") == 0
    assert json_of(capsys, "next", folder, "--mornings", "2") == rests
    assert run("outing", folder, "--remove", "1") == 0
    assert run("odds", folder) == 0
    assert "pushed" not in capsys.readouterr().out.split("taken away")[-1]


# --- as a tired reader reads it --------------------------------------------------------------------------------------


def test_a_row_of_many_mornings_says_each_reason_once_and_counts_in_words(book):
    sit(book, book.plan.lookouts[0].id, "2026-08-26")
    told = next_sits(book, Mornings(12, FIRST))
    reasons = [words for one in told.sits for words in one.why if words.startswith("P")]
    assert len({words.split(":")[0] for words in reasons}) == len(reasons)
    words = said(tell_next(told, "us"))
    assert not re.search(r"\bthe \d+th\b|or animals pushed", words)
    assert sum(one.found for one in told.sits) == pytest.approx(told.better.proposed, abs=0.02)
    assert told.better.proposed <= 0.95
    assert (
        told.better.proposed
        >= max(told.better.equal, told.better.ranked) - 0.1 * told.better.proposed - 0.001
    )


def test_what_a_sit_lost_by_rest_is_said_for_what_it_is(book):
    seat = the_best_seat(book)
    sit(book, seat, "2026-08-26")
    case = gathered(book, Mornings(1, FIRST))
    number = [one.id for one in case.seats].index(seat)
    row = worth_of(case.campaign, (number,))
    assert _unrested(case, row, 0) == ["sat at lately"]
    at = spot_of(book, shown_by(book, seat))
    book.change_outing(1, GivenOuting(pushed=True))
    add_sighting(book, GivenSighting(at=at, when="2026-08-26 06:20", count=2))
    pushed = gathered(book, Mornings(1, FIRST))
    assert _unrested(pushed, row, 0) == ["sat at lately", "animals were pushed from what it shows"]
    assert _unrested(gathered(book, Mornings(1, dt.date(2026, 9, 20))), row, 0) == []


def test_where_every_pocket_is_shut_nothing_is_shared_out(book, capsys, folder):
    shut = [one.model_copy(update={"shut": "dropped by you", "chance": 0.0}) for one in book.plan.pockets]
    told = tell_odds(Notebook(book.country, book.plan.model_copy(update={"pockets": shut}), book.rows))
    words = said(say_odds(told, "us"))
    assert "No pocket is ranked" in words
    assert "Likeliest first" not in words
    at = "{0.lat}, {0.lon}".format(spot(book))
    assert run("sign", folder, "--at", at, "--when", DAY, "--age", "days", "--kind", "rub") == 0


def test_age_of_sign_season_of_sightings_and_fog_are_told_in_words(book, folder, capsys):
    assert (
        run(
            "sign",
            folder,
            "--at",
            "{0.lat}, {0.lon}".format(spot(book)),
            "--when",
            DAY,
            "--age",
            "days",
            "--kind",
            "rub",
        )
        == 0
    )
    assert "Sign 1: rub, days old," in " ".join(capsys.readouterr().out.split())
    seat = the_best_seat(book)
    book.add_outing(GivenOuting(where=seat, begin=f"{DAY} 05:10", end="08:40", weather="fog", pushed=True))
    words = said(tell_outing(book.tell_outing(book.outing(1)), "us"))
    assert "Out of which pocket is not known while no sighting" in words
    assert "in sight but for the fog" in words or "No pocket was in sight" in words
    assert run("odds", folder) == 0
    rows = " ".join(capsys.readouterr().out.split()).split("The record")[1]
    assert "rub, days old" in rows
    assert "or without a date" not in rows


def test_who_pushed_animals_has_had_no_empty_morning(book):
    """Nobody knows out of which pocket: nothing moves, and it is not told as empty. Common practice, no source."""
    seat = the_best_seat(book)
    habitat = {one.id: one.chance.likely for one in tell_odds(book).pockets}
    sit(book, seat, DAY)
    empty = tell_odds(book)
    assert {one.id: one.chance.likely for one in empty.pockets} != habitat
    assert "empty outing" in said(say_odds(empty, "us"))
    book.change_outing(1, GivenOuting(pushed=True))
    pushed = tell_odds(book)
    assert {one.id: one.chance.likely for one in pushed.pockets} == habitat
    assert "empty outing" not in said(say_odds(pushed, "us"))


def test_spent_lookouts_are_said_first(book):
    told = next_sits(book, Mornings(2, FIRST))
    poor = [one.model_copy(update={"found": 0.004}) for one in told.sits]
    spent = told.model_copy(
        update={"sits": poor, "in_view": 0.1, "out_of_view": 0.6, "out_of_sight": ["P1", "P7"]}
    )
    paragraph = tell_next(spent, "us")[0]
    assert any("little left to show" in words and "P1 or P7" in words for words in paragraph.sentences)
    for changed in ({"sits": told.sits[:0]}, {"out_of_view": 0.05}):
        assert "little left" not in said(tell_next(spent.model_copy(update=changed), "us"))


def test_no_move_is_offered_into_air_that_spoils_it(book, monkeypatch):
    """By every wind: where the second seat's scent calls for care, moving there is not offered."""
    from graylight.plan import next_sit

    case = gathered(book, Mornings(1, FIRST))
    monkeypatch.setattr(next_sit, "_scent_on", lambda *_: 0.0)
    found = [next_sit._move(case, seat, 0.0) for seat in range(len(case.seats))]
    assert any(found)  # nothing sat at first is worth anything: some move is offered
    monkeypatch.setattr(next_sit, "_scent_on", lambda *_: 0.9)
    assert not any(next_sit._move(case, seat, 0.0) for seat in range(len(case.seats)))


def test_a_place_and_a_bearing_that_do_not_go_together_are_refused_and_nothing_is_kept(book, folder, capsys):
    """The azimuth by pyproj's geodesic on WGS 84."""
    seat = book.plan.lookouts[0]
    at = spot(book)
    leads, _, _ = Geod(ellps="WGS84").inv(seat.place.lon, seat.place.lat, at.lon, at.lat)
    said_so = (
        "seen",
        folder,
        "--at",
        f"{at.lat}, {at.lon}",
        "--from",
        seat.id,
        "--when",
        f"{DAY} 06:20",
        "--true",
        "--bearing",
    )
    before = len(book.record().sightings)
    capsys.readouterr()
    assert run(*said_so, (leads + 60.0) % 360.0) == 2
    told = capsys.readouterr().err
    assert f"{leads % 360.0:.0f} degrees true" in told
    assert len(told.strip().splitlines()) == 1
    assert len(book.record().sightings) == before
    assert run(*said_so, (leads + 4.0) % 360.0) == 0
    assert len(book.record().sightings) == before + 1


def test_a_sighting_in_the_dark_is_kept_and_doubted(book):
    for clock, dark in (("02:30", True), ("06:20", False), ("12:00", False), ("21:40", True)):
        told = add_sighting(book, GivenSighting(at=spot(book), when=f"{DAY} {clock}"))
        assert told.dark == dark
        assert ("no usable light" in said(tell_sighting(told, book.timezone, "us"))) == dark


# --- the page --------------------------------------------------------------------------------------------------------


@pytest.fixture
def page(small, tmp_path):
    with page_over(small, tmp_path / "home") as served:
        yield served


def test_the_page_leaves_days_off_out_and_says_the_same_as_the_command(page, small, capsys):
    path = "/api/next?mornings=2&date=2026-08-27&off=2026-08-28"
    told = page.client.get(path).json()
    assert [one["date"] for one in told["next"]["sits"]] == ["2026-08-27", "2026-08-29"]
    by_command = json_of(
        capsys, "next", small, "--mornings", "2", "--date", "2026-08-27", "--off", "2026-08-28"
    )
    assert told["next"] == by_command
    twice = page.client.get(f"{path}&off=2026-08-29&off=2026-08-28").json()["next"]["sits"]
    assert [one["date"] for one in twice] == ["2026-08-27", "2026-08-30"]
    assert page.client.get(f"{path}&off=2026-08-27").json()["next"]["sits"][0]["date"] == "2026-08-29"


@pytest.mark.parametrize("off", ["tomorrow", "2026-02-30", ""])
def test_a_day_off_that_is_no_date_is_refused_in_a_line(page, off):
    answer = page.client.get(f"/api/next?mornings=2&off={off}")
    assert answer.status_code == 422
    assert "off" in answer.json()["detail"]
    assert "--" not in answer.json()["detail"]


UNDATED = "lat,lon,animal,count\n{0.lat},{0.lon},mule deer,7\n"


def test_a_count_without_a_time_is_kept_counts_for_the_basin_and_moves_no_pocket(
    book, folder, tmp_path, capsys
):
    """By the command; a season's table often has no dates."""
    before = json_of(capsys, "odds", folder)
    table = tmp_path / "seen.csv"
    table.write_text(UNDATED.format(spot(book)))
    assert run("seen", folder, "--file", table) == 0
    assert "One without a date counts for the basin only" in " ".join(capsys.readouterr().out.split())
    kept = book.record().sightings[-1]
    assert (kept.count, kept.at, kept.day) == (7, None, None)
    after = json_of(capsys, "odds", folder)
    assert [one["chance"] for one in after["pockets"]] == [one["chance"] for one in before["pockets"]]
    assert run("odds", folder) == 0
    said_of_it = " ".join(capsys.readouterr().out.split())
    assert "no date" in said_of_it
    assert run("seen", folder, "--change", kept.id, "--when", f"{DAY} 06:20") == 0
    dated = json_of(capsys, "odds", folder)
    assert [one["chance"] for one in dated["pockets"]] != [one["chance"] for one in before["pockets"]]


def test_a_count_without_a_time_comes_by_the_page_too(page, small):
    centre = page.client.get("/api/plan").json()["pockets"][0]["feed"][0]["place"]
    before = page.client.get("/api/odds").json()["odds"]["pockets"]
    data = UNDATED.format(LonLat(centre["lon"], centre["lat"]))
    held = page.client.post("/api/field-files", files={"file": ("seen.csv", data)}).json()
    answer = page.client.post("/api/field-files/sightings", files={"file": ("seen.csv", data)})
    assert answer.status_code == 201, (answer.text, held)
    words = " ".join(s for note in answer.json()["notes"] for s in note["sentences"])
    assert "without a date counts for the basin only" in words
    after = page.client.get("/api/odds").json()["odds"]["pockets"]
    assert [one["chance"] for one in after] == [one["chance"] for one in before]
    refused = page.client.post(
        "/api/sightings", json={"at": {"lon": centre["lon"], "lat": centre["lat"]}, "count": 7}
    )
    assert refused.status_code == 422
    assert "--" not in refused.json()["detail"]

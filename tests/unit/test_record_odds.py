"""Odds and next sits as an old hand would have them: one animal beside the road, a bumped basin, each morning its wind."""

from __future__ import annotations

import datetime as dt
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from graylight.chance.pushed import moves_when_pushed
from graylight.chance.update import Evidence, Fading, Odds, odds_on
from graylight.cli.main import main
from graylight.country.folder import Country
from graylight.country.forecast import FORECAST, Forecast, Hour, forecast_text
from graylight.errors import BadInput
from graylight.grid import LonLat, distance_m
from graylight.plan.forecast_wind import winds_of
from graylight.plan.keeping import kept_plan
from graylight.plan.model import Share
from graylight.plan.next_sit import Asked, next_sits
from graylight.plan.notebook import GivenOuting, Notebook, open_notebook
from graylight.plan.odds import PocketRecord
from graylight.plan.odds_told import odds_now, tell_odds
from graylight.plan.record import Fix
from graylight.plan.record_words import why_words
from graylight.plan.sighted import GivenSighting, GivenSign, add_sighting, add_sign, change_sighting
from graylight.telling.paragraph import plain
from graylight.telling.record import tell_next
from graylight.telling.record import tell_odds as say_odds

DAY = "2026-08-27"
UTC = dt.UTC


@pytest.fixture
def book(small, tmp_path) -> Notebook:
    folder = tmp_path / "country"
    shutil.copytree(small, folder)
    country = Country.open(folder)
    return open_notebook(country, kept_plan(country))


def spot_in(book, pocket: str) -> LonLat:
    place = next(p for p in book.plan.pockets if p.id == pocket).feed[0].place
    return LonLat(place.lon, place.lat)


def corner(book) -> LonLat:
    """A place far from every pocket."""
    grid = book.country.grid
    spots = [grid.lonlat(r, c) for r in (3, grid.rows - 4) for c in (3, grid.cols - 4)]
    centres = [LonLat(p.centre.lon, p.centre.lat) for p in book.plan.pockets]
    return max(spots, key=lambda s: min(distance_m(s, c) for c in centres))


def best_seat(book) -> str:
    return max(book.plan.lookouts, key=lambda one: max(s.share.likely for s in one.sees)).id


def chances(told) -> dict[str, float]:
    return {p.id: p.chance.likely for p in told.pockets}


def said(paragraphs) -> str:
    return " ".join(plain(paragraphs, 400).split())


# --- seen ----------------------------------------------------------------------------------------------------------


def test_one_animal_outside_the_pockets_does_not_empty_them(book):
    """By hand: the habitat worth a sighting, the animal (1 - stray) (1 - roam) of one, elsewhere."""
    settings = book.country.settings.record
    before = tell_odds(book)
    add_sighting(book, GivenSighting(at=corner(book), when=DAY, count=1, sex="female"))
    after = tell_odds(book)
    more = (1.0 - settings.stray) * (1.0 - settings.roam)
    worth = settings.habitat_worth
    expected = (worth * before.elsewhere_prior + more) / (worth + more)
    assert after.elsewhere.likely == pytest.approx(expected, abs=0.01)
    assert before.elsewhere.likely < after.elsewhere.likely < 0.75


def test_pockets_seen_by_turns_are_all_worth_a_morning(book):
    """Two groups are the usual case: the one seen yesterday does not prove the other's pocket empty."""
    names = [p.id for p in book.plan.pockets if p.shut is None][:2]
    for i in range(8):
        add_sighting(book, GivenSighting(at=spot_in(book, names[i % 2]), when=f"2026-08-2{i} 06:20", count=2))
    told = chances(tell_odds(book))
    assert min(told[name] for name in names) > 0.25


def test_what_is_seen_in_a_pocket_says_more_than_what_is_seen_outside(book):
    name = book.plan.pockets[0].id
    add_sighting(book, GivenSighting(at=spot_in(book, name), when=f"{DAY} 06:20"))
    seen = chances(tell_odds(book))[name]
    add_sighting(book, GivenSighting(at=corner(book), when="2026-08-28 06:20"))
    assert 0.6 * seen < chances(tell_odds(book))[name] < seen


# --- pushed --------------------------------------------------------------------------------------------------------


def test_pushed_animals_go_by_the_chain_written_out():
    """Likelihood first, then the step of that moment, each half forgotten after its days: by matrices."""
    prior = Odds((0.3, 0.3), 0.4)
    away = np.array([[0.0, 2000.0], [500.0, 0.0]])
    moves = moves_when_pushed(np.array([1.0, 0.0]), away, prior, leave=0.8, half_m=1000.0)
    near = 0.3 * 0.25
    assert moves[0] == pytest.approx([0.2, 0.8 * near / (near + 0.4), 0.8 * 0.4 / (near + 0.4)])
    assert moves.sum(axis=1) == pytest.approx(1.0)
    one = Evidence(0.0, (0.9, 0.2), 0.1, "pushed", tuple(map(tuple, moves)))
    raw = np.array([0.3 * 0.9, 0.3 * 0.2, 0.4 * 0.1])
    at_once = odds_on(prior, [one], 0.0, Fading(10.0, 10.0))
    assert at_once.all == pytest.approx(raw / raw.sum() @ moves)
    half = np.array([0.3 * 0.9**0.5, 0.3 * 0.2**0.5, 0.4 * 0.1**0.5])
    stays = 0.2**0.5  # half of what the push said, in logarithms, as of the search
    gone = half[0] * (1.0 - stays) * moves[0, 1:] / 0.8
    by_hand = np.array([half[0] * stays, half[1] + gone[0], half[2] + gone[1]]) / half.sum()
    assert odds_on(prior, [one], 10.0, Fading(10.0, 10.0)).all == pytest.approx(by_hand)


def test_a_bumped_basin_is_left_alone_and_its_neighbours_gain(book):
    """Common practice, no source: not back for days; over the ridge is likelier than where they were."""
    seat = best_seat(book)
    pocket = max(
        next(s for s in book.plan.lookouts if s.id == seat).sees, key=lambda s: s.share.likely
    ).pocket
    told = book.add_outing(GivenOuting(where=seat, begin=f"{DAY} 05:10", end="08:40"))
    add_sighting(book, GivenSighting(at=spot_in(book, pocket), when=f"{DAY} 06:20", count=5))
    quiet, worth = tell_odds(book), next_sits(book, Asked(1))
    book.change_outing(told.id, GivenOuting(pushed=True))
    pushed, rests = tell_odds(book), next_sits(book, Asked(1))
    leave = book.country.settings.record.pushed_leave
    assert chances(pushed)[pocket] < 0.5 * chances(quiet)[pocket]
    assert pushed.elsewhere.likely > quiet.elsewhere.likely
    others = [name for name in chances(quiet) if name != pocket]
    assert any(chances(pushed)[name] > chances(quiet)[name] for name in others)
    held = odds_now(book, book.record()).pushed[told.id]
    moved = next(m for p in pushed.pockets if p.id == pocket for m in p.history)
    stayed = next(m for p in quiet.pockets if p.id == pocket for m in p.history)
    index = book.places.ids.index(pocket)
    assert moved.after == pytest.approx(stayed.after * (1.0 - leave * held[index]), abs=0.03)
    for name in ("L1", seat):  # it rests from wherever it is watched, not only from the lookout sat at
        before, after = (
            next((x.morning for x in one.lookouts if x.lookout == name), 0.0) for one in (worth, rests)
        )
        assert after <= before
    assert "animals pushed out of it once" in said(say_odds(pushed, "us"))
    book.remove("outings", told.id)
    assert "pushed" not in said(say_odds(tell_odds(book), "us"))


def test_a_track_that_ran_into_a_pocket_pushed_from_there_and_is_no_empty_outing(book):
    name = book.plan.pockets[0].id
    here = spot_in(book, name)
    begin = dt.datetime(2026, 8, 27, 13, tzinfo=UTC)
    track = tuple(Fix(here.lon, here.lat, begin + dt.timedelta(minutes=m)) for m in range(0, 61, 5))
    told = book.add_outing(GivenOuting(track=track, pushed=True))
    found = odds_now(book, book.record())
    assert found.pushed[told.id][0] == pytest.approx(1.0)
    assert (found.pockets[0].pushed, found.pockets[0].empty) == (1, 0)


def test_pushed_from_nobody_knows_where_rests_the_lookout_alone(book):
    seat = best_seat(book)
    told = book.add_outing(GivenOuting(where=seat, begin=f"{DAY} 05:10", end="08:40", pushed=True))
    assert not odds_now(book, book.record()).pushed[told.id].any()
    rest = {one.lookout: one.rest for one in next_sits(book, Asked(1)).lookouts}
    assert rest[seat] < book.country.settings.record.rest_part
    assert all(value == 1.0 for name, value in rest.items() if name != seat)


# --- counted once, found again -------------------------------------------------------------------------------------


def test_sign_of_one_kind_and_day_in_a_pocket_counts_once(book):
    """Twelve fresh droppings on one spot are one animal's: as sightings are counted."""
    name = book.plan.pockets[0].id
    add_sign(book, GivenSign(spot_in(book, name), "droppings", "fresh", DAY))
    one = chances(tell_odds(book))[name]
    for _ in range(11):
        add_sign(book, GivenSign(spot_in(book, name), "droppings", "fresh", DAY))
    assert chances(tell_odds(book))[name] == pytest.approx(one, abs=1e-3)
    add_sign(book, GivenSign(spot_in(book, name), "droppings", "fresh", "2026-08-28"))
    assert chances(tell_odds(book))[name] > one + 0.01


def test_a_sighting_with_a_day_alone_is_of_the_days_only_outing_and_else_doubted(book):
    name, seat = book.plan.pockets[0].id, best_seat(book)
    first = book.add_outing(GivenOuting(where=seat, begin=f"{DAY} 05:10", end="06:40"))
    add_sighting(book, GivenSighting(at=spot_in(book, name), when=DAY))
    assert book.record().sightings[-1].outing == first.id
    again = book.add_outing(GivenOuting(where=seat, begin=f"{DAY} 07:10", end="08:40"))
    assert book.record().sightings[-1].outing is None
    told = tell_odds(book)
    assert any(f"outings {first.id} and {again.id}" in words for words in told.left_out)
    book.remove("outings", again.id)
    assert not tell_odds(book).left_out


def test_an_outing_taken_away_and_recorded_again_has_its_sightings_back(book):
    seat, name = best_seat(book), book.plan.pockets[0].id
    given = GivenOuting(where=seat, begin=f"{DAY} 05:10", end="08:40")
    old = book.add_outing(given)
    add_sighting(book, GivenSighting(at=spot_in(book, name), when=f"{DAY} 06:20", outing=old.id))
    book.remove("outings", old.id)
    assert book.record().sightings[-1].outing is None
    new = book.add_outing(given)
    assert new.id != old.id
    assert book.record().sightings[-1].outing == new.id


def test_an_outing_of_another_day_is_refused(book):
    outing = book.add_outing(GivenOuting(where=best_seat(book), begin=f"{DAY} 05:10", end="08:40")).id
    here = spot_in(book, book.plan.pockets[0].id)
    wrong = "2026-08-25 06:20"
    with pytest.raises(BadInput, match=f"outing {outing} was on {DAY}"):
        add_sighting(book, GivenSighting(at=here, when=wrong, outing=outing))
    with pytest.raises(BadInput, match=f"outing {outing} was on {DAY}"):
        add_sign(book, GivenSign(here, "rub", "fresh", "2026-08-25", outing))
    kept = add_sighting(book, GivenSighting(at=here, when=f"{DAY} 06:20", outing=outing))
    with pytest.raises(BadInput, match=f"outing {outing} was on {DAY}"):
        change_sighting(book, kept.id, GivenSighting(when=wrong))
    assert [s.day for s in book.record().sightings] == [dt.date(2026, 8, 27)]


def test_animals_beside_a_pocket_are_not_said_to_be_in_it():
    told = PocketRecord(0.1, Share(low=0.1, likely=0.1, high=0.1), 0, 0.0, 0.0, 5, 0, 0, 0, ())
    assert why_words(told) == ["animals seen close by five times"]
    assert why_words(replace(told, inside=2)) == ["animals seen there twice, close by three times"]


# --- next ----------------------------------------------------------------------------------------------------------


def test_rest_worth_nothing_is_no_crash(book):
    """Pushed nobody knows from where, with both parts nought: the lookout is worth nothing, the others what they were."""
    seat = best_seat(book)
    settings = book.country.folder / "settings.toml"
    text = settings.read_text()
    for name in ("rest_part = 0.75", "pushed_part = 0.4"):
        assert name in text
        text = text.replace(name, f"{name.split(' =')[0]} = 0.0")
    settings.write_text(text)
    country = Country.open(book.country.folder)
    own = open_notebook(country, kept_plan(country))
    own.add_outing(GivenOuting(where=seat, begin=f"{DAY} 05:10", end="08:40", pushed=True))
    worth = {one.lookout: one.morning for one in next_sits(own, Asked(1)).lookouts}
    assert worth[seat] < 0.3 * max(worth.values())


def test_each_morning_has_its_own_wind(book):
    both = next_sits(book, Asked(3, wind="SW 12mph; N 12mph"))
    assert [s.wind for s in both.sits] == ["SW 12mph", "N 12mph", "N 12mph"]
    assert both.wind == "SW 12mph; N 12mph; N 12mph"
    words = said(tell_next(both, "us"))
    assert "each with its own wind" in words
    assert "Wind SW 12mph." in words
    assert "ask again each evening" not in words
    alone = {wind: next_sits(book, Asked(1, wind=wind)) for wind in ("SW 12mph", "N 12mph")}
    assert (
        both.lookouts == alone["SW 12mph"].lookouts
        or both.sits[0].lookout != alone["SW 12mph"].sits[0].lookout
    )
    scent = {wind: {x.lookout: x.scent for x in one.lookouts} for wind, one in alone.items()}
    assert scent["SW 12mph"] != scent["N 12mph"]
    assert both.sits[0].scent == pytest.approx(scent["SW 12mph"][both.sits[0].lookout], abs=0.001)


def test_days_off_are_left_out_and_let_a_lookout_rest(book):
    """Rested in full after `record.rest_days`, 3; two lookouts sat at the days before."""
    for day, seat in (("2026-08-25", 0), ("2026-08-26", 1)):
        where = book.plan.lookouts[seat % len(book.plan.lookouts)].id
        book.add_outing(GivenOuting(where=where, begin=f"{day} 05:10", end="08:40"))
    first = dt.date(2026, 8, 27)
    tired = next_sits(book, Asked(1, first))
    fresh = next_sits(book, Asked(1, first, off=tuple(first + dt.timedelta(days=i) for i in range(3))))
    assert fresh.sits[0].date == dt.date(2026, 8, 30)
    assert min(one.rest for one in tired.lookouts) < 1.0
    assert all(one.rest == 1.0 for one in fresh.lookouts)
    both = next_sits(book, Asked(2, first, off=(dt.date(2026, 8, 28),)))
    assert [s.date.day for s in both.sits] == [27, 29]


def with_forecast(book, begin: dt.datetime, hours: int) -> None:
    now = dt.datetime(2026, 8, 26, 18, tzinfo=UTC)
    told = [
        Hour(begins=begin + dt.timedelta(hours=h), wind_from_deg=90.0 + h // 24 * 45, wind_ms=5.0)
        for h in range(hours)
    ]
    kept = Forecast(
        source="a service", credit="a service", licence="open", url="http://127.0.0.1/", issued=now, fetched=now,
        lat=40.45, lon=-114.8, height_m=2800.0, hours=told,
    )  # fmt: skip
    book.country.write_text(FORECAST, forecast_text(kept))


def test_the_forecast_kept_gives_each_morning_its_wind_as_far_as_it_reaches(book):
    dates = [dt.date(2026, 8, d) for d in (27, 28, 30)]
    with pytest.raises(BadInput, match=r"has no forecast\.json"):
        winds_of(book.country, book.plan, "forecast", dates)
    with_forecast(book, dt.datetime(2026, 8, 27, tzinfo=UTC), 48)
    winds = winds_of(book.country, book.plan, "forecast", dates)
    assert [(w.words, w.given) for w in winds] == [("90 18km/h", True), ("135 18km/h", True), ("calm", False)]
    with pytest.raises(BadInput, match="does not tell the wind for 2026-09-20"):
        winds_of(book.country, book.plan, "forecast", [dt.date(2026, 9, 20)])
    mixed = winds_of(book.country, book.plan, "SW 8mph; Forecast", dates[:2])
    assert [w.words for w in mixed] == ["SW 8mph", "135 18km/h"]
    told = next_sits(book, Asked(3, dt.date(2026, 8, 27), wind="forecast"))
    assert any("does not tell the wind for 2026-08-29" in words for words in told.not_known)
    assert [s.wind_given for s in told.sits] == [True, True, False]


@pytest.mark.parametrize("wind", ["SW 8mph; N; calm", "SW 8mph;;N", ";"])
def test_winds_that_do_not_go_with_the_mornings_are_refused(book, wind):
    with pytest.raises(BadInput, match="--wind is"):
        next_sits(book, Asked(2, wind=wind))


def test_the_command_takes_winds_and_days_off(book, capsys):
    folder = Path(book.country.folder)
    words = [
        "next",
        str(folder),
        "--mornings",
        "2",
        "--wind",
        "SW 8mph",
        "--wind",
        "N 5mph",
        "--off",
        "2026-08-28",
    ]
    assert main(words) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "27 August" in told
    assert "29 August" in told
    assert "Wind N 5mph." in told
    assert main([*words[:-1], "tomorrow"]) == 2
    assert "--off is 'tomorrow'" in capsys.readouterr().err

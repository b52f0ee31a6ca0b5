"""Sits at dusk and for the whole day, and what every sit says of ways, water, carrying out and other lookouts."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import replace

import numpy as np
import pytest

from graylight.cli.main import main
from graylight.country.folder import Country
from graylight.errors import BadInput
from graylight.grid import LonLat, RowCol
from graylight.plan.keeping import kept_plan
from graylight.plan.morning_air import toward
from graylight.plan.morning_model import Morning
from graylight.plan.morning_ready import ready_for_morning
from graylight.plan.morning_winds import POINTS
from graylight.plan.mornings import calendar, morning
from graylight.sky.wind import Air
from graylight.telling.morning import tell_morning
from graylight.telling.paragraph import plain

DATE = dt.date(2026, 8, 27)


@pytest.fixture(scope="module")
def ready(small):
    country = Country.open(small)
    return ready_for_morning(country, kept_plan(country))


@pytest.fixture(scope="module")
def first(ready) -> str:
    return ready.looking.plan.lookouts[0].id


@pytest.fixture(scope="module")
def sits(ready, first) -> dict[str, Morning]:
    return {kind: morning(ready, first, sit=kind) for kind in ("dawn", "dusk", "day")}


def told(found: Morning) -> str:
    return " ".join(plain(tell_morning(found, "us"), 400).split())


def times(found: Morning) -> dict[str, dt.datetime]:
    return {e.kind: e.at for e in reversed(found.timeline)}


# --- the clock ---------------------------------------------------------------------------------------------------


def test_at_dusk_one_walks_in_by_day_and_out_in_the_dark(sits):
    found, at = sits["dusk"], times(sits["dusk"])
    assert at["leave"] < at["settled"] < at["comes to feed"] < at["sunset"] < at["legal light ends"]
    assert at["sunset"] < at["end of light"] < at["back"]
    assert at["end of light"] == found.light.usable_until.replace(microsecond=0)
    assert not found.way.dark
    assert found.way.back_in_dark
    assert "sunrise" not in at
    assert "first sun" not in at
    assert found.pockets[0].moves is None
    words = told(found)
    assert "This evening" in words
    assert "walk out by lamp" in words


def test_the_whole_day_holds_both_ends(sits):
    kinds = {kind: {e.kind for e in found.timeline} for kind, found in sits.items()}
    assert {"usable light", "moves to bed", "comes to feed", "end of light"} <= kinds["day"]
    assert kinds["day"] >= (
        kinds["dawn"] - {"end of watch", "start back at the latest", "scent", "leave or move"}
    )
    for found in sits.values():
        assert [e.at for e in found.timeline] == sorted(e.at for e in found.timeline)


def test_in_the_dark_the_same_way_takes_longer_by_the_setting(ready, sits):
    """Where no scramble is met the way out is the same, times `walk.dark_factor`."""
    by_day, dark = sits["dawn"].way.back_seconds, sits["day"].way.back_seconds
    factor = ready.looking.country.settings.walk.dark_factor
    assert by_day == pytest.approx(dark / factor, rel=0.02)


def test_the_evening_turn_is_down_and_later_than_the_morning_one(sits):
    turns = {
        kind: [(e.at, e.words) for e in found.timeline if e.kind == "air turns"]
        for kind, found in sits.items()
    }
    assert {words for _, words in turns["dawn"]} <= {"up"}
    assert {words for _, words in turns["dusk"]} <= {"down"}
    assert set(turns["day"]) >= set(turns["dawn"])
    assert any(turns.values())


def test_dates_of_evenings_can_be_compared(ready, first):
    days = calendar(ready, first, DATE, DATE + dt.timedelta(days=20), sit="dusk")
    assert all(day.verdict is not None for day in days)
    assert days[-1].leave_by.time() < days[0].leave_by.time()  # the sun sets earlier
    full = morning(ready, first, sit="dusk")
    assert (days[0].verdict, days[0].decides) == (full.verdict, full.decides)


def test_an_evening_that_never_gets_dark_is_refused(ready, first, monkeypatch):
    from graylight.grid import Grid

    monkeypatch.setattr(Grid, "center", property(lambda self: LonLat(18.95, 69.65)))
    ready._days.clear()
    with pytest.raises(BadInput, match="no usable light ends on 2026-06-21"):
        morning(ready, first, date=dt.date(2026, 6, 21), sit="dusk")
    ready._days.clear()


def test_the_command_takes_a_sit(small, first, capsys):
    assert main(["morning", str(small), "--lookout", first, "--sit", "dusk", "--json"]) == 0
    assert Morning.model_validate(json.loads(capsys.readouterr().out)).sit == "dusk"
    assert main(["morning", str(small), "--lookout", first, "--sit", "noon"]) == 2
    assert "accepted are dawn, dusk and day" in capsys.readouterr().err


def test_without_a_wind_the_air_is_that_of_the_hours_of_the_sit(sits):
    for kind, hours in {"dawn": "morning", "dusk": "evening", "day": "day"}.items():
        assert f"calm, clear {hours};" in sits[kind].not_known[0]


def test_a_time_to_turn_round_long_past_the_hour_of_arrival_is_not_told(sits):
    """Else a day's sit reads as leave to walk on until noon."""
    found = sits["day"]
    settled = times(found)["settled"]
    near, late = (
        found.way.model_copy(update={"turn_round_by": settled + dt.timedelta(hours=hours)})
        for hours in (1, 8)
    )
    assert "turn round wherever you are" in told(found.model_copy(update={"way": near}))
    assert "turn round wherever you are" not in told(found.model_copy(update={"way": late}))


# --- on foot -----------------------------------------------------------------------------------------------------


def test_all_ways_are_told_with_their_cost(sits):
    for found in sits.values():
        ways = {one.kind: one for one in found.ways}
        assert set(ways) == {"quickest", "between", "hidden", "out"}
        assert ways["quickest"].seconds <= ways["between"].seconds <= ways["hidden"].seconds
        for one in ways.values():
            assert len(one.profile) <= 60
            assert one.profile[0].along_m == 0
            assert one.profile[-1].along_m == one.distance_m
            assert one.profile[-1].seconds == one.seconds
            rise = one.profile[-1].height_m - one.profile[0].height_m
            assert one.climb_m - one.fall_m == pytest.approx(rise, abs=2)
        assert [one.seconds for one in found.ways if one.kind == found.way.kind] == [found.way.seconds]
        assert ways["out"].line[0] == ways["quickest"].line[-1]
        words = told(found)
        assert "Other ways: " in words
        assert "° steep" in words


def test_the_turn_comes_between_leaving_and_the_last_light(ready, sits):
    """Later than one leaves, sooner than one must be out, and the sooner the slower the way back."""
    slow = 1.0 + ready.looking.country.settings.walk.spread
    for kind, found in sits.items():
        out_by = found.light.civil_dusk if kind == "dawn" else (
            found.light.usable_until + dt.timedelta(seconds=slow * found.way.back_seconds)
        )  # fmt: skip
        assert found.way.leave_by < found.way.turn_round_by < out_by


def test_after_dusk_an_animal_is_carried_out_in_the_dark(sits):
    carried = {kind: found.pockets[0].carry for kind, found in sits.items()}
    assert not carried["dawn"].dark
    assert carried["dusk"].dark
    assert carried["dusk"].loaded_seconds > carried["dawn"].loaded_seconds
    assert "in all, walked in the dark" in told(sits["dusk"])
    assert "in all, walked by day" in told(sits["dawn"])


def test_water_is_told(ready, sits):
    found = sits["dawn"]
    assert found.water
    assert found.water[-1].sure or len(found.water) == 1
    assert "Nearest to the lookout: " in told(found)
    none = found.model_copy(update={"water": []})
    assert "carry all you need" in told(none)


def test_too_long_a_carry_is_a_caution_of_the_verdict(ready, first):
    """The same country with an hour's limit, and with a week's."""
    country = ready.looking.country
    found = {}
    for hours in (1.0, 72.0):
        pack = country.settings.pack.model_copy(update={"hours_limit": hours})
        settled = replace(country, settings=country.settings.model_copy(update={"pack": pack}))
        looking = replace(ready.looking, country=settled)
        foot = replace(ready.foot, looking=looking, _packs={})
        found[hours] = morning(replace(ready, looking=looking, foot=foot), first)
    short, long = found[1.0], found[72.0]
    assert all(p.carry.veto and p.carry.hours_high > 1.0 for p in short.pockets)
    assert "carrying out" in {r.kind for r in short.reasons}
    assert short.verdict != "good"
    assert "over your limit of 1 h" in told(short)
    assert all(p.carry.veto is None for p in long.pockets)
    assert "carrying out" not in {r.kind for r in long.reasons}


def test_more_people_carry_sooner(ready, first):
    country = ready.looking.country
    pack = country.settings.pack.model_copy(update={"people": 4})
    looking = replace(
        ready.looking, country=replace(country, settings=country.settings.model_copy(update={"pack": pack}))
    )
    four = morning(
        replace(ready, looking=looking, foot=replace(ready.foot, looking=looking, _packs={})), first
    )
    alone = morning(ready, first)
    for a, b in zip(four.pockets, alone.pockets, strict=True):
        assert a.carry.trips < b.carry.trips
        assert a.carry.hours < b.carry.hours


# --- lookouts by wind --------------------------------------------------------------------------------------------


def test_every_wind_has_its_lookouts_or_says_there_is_none(ready, sits):
    groups = sits["dawn"].by_wind
    assert sorted(w for g in groups for w in g.winds) == sorted(POINTS)
    ids = {one.id for one in ready.looking.plan.lookouts}
    assert all(set(g.lookouts) <= ids for g in groups)
    assert "Which lookout by a wind of about 10 mph" in told(sits["dawn"])


def test_by_wind_says_what_each_wind_says_alone(ready, first):
    """Each of the eight asked for by itself: the same lookouts are clean."""
    found = morning(ready, first, wind="N 20mph")
    for point in ("N", "E", "SW"):
        alone = morning(ready, first, wind=f"{point} 20mph")
        limit = ready.looking.country.settings.sit.scent_care
        clean = [
            o.lookout for o in sorted(alone.options, key=lambda o: (-o.worth, o.lookout))
            if o.scent <= limit and not o.blown_at and ready.lookout(o.lookout).sees
        ]  # fmt: skip
        group = next(g for g in found.by_wind if point in g.winds)
        assert group.lookouts == clean[:3]


def test_seats_near_by_gain_and_lose(ready, sits):
    worth, grid = ready.worth, ready.looking.country.grid
    lookout = ready.lookout(sits["dawn"].lookout)
    here = worth[ready.cell(lookout)]
    assert sits["dawn"].near
    for one in sits["dawn"].near:
        there = worth[grid.rowcol(LonLat(one.place.lon, one.place.lat))]
        assert one.worth_change == pytest.approx(there / here - 1.0, abs=0.06)
        assert one.distance_m <= 600


# --- the air toward a pocket -------------------------------------------------------------------------------------


def blowing(toward_deg: float) -> Air:
    return Air((toward_deg + 180.0) % 360.0, toward_deg, 2.0, "light", "general wind", "", True)


def test_a_wind_at_a_pocket_is_stronger_the_nearer_it_is(ready):
    cells = ready.looking.cells[0]
    row, col = int(np.median(cells.rows)), int(np.median(cells.cols))
    still = np.zeros(len(cells.rows), np.float32)
    found = []
    for away in (40, 80, 120):
        air = blowing(ready.looking.country.grid.convergence_deg())
        found.append(toward(ready, air, RowCol(row + away, col), cells, still))
    known = [one for one in found if one is not None]
    assert known
    assert known == sorted(known, reverse=True)
    off = blowing(90.0)
    assert toward(ready, off, RowCol(row + 120, col), cells, still) is None

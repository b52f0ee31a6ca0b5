"""A morning worked out on a small country, told, and what it refuses."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import replace
from itertools import pairwise
from typing import get_args

import numpy as np
import pvlib
import pytest

from graylight.cli.main import main
from graylight.country.folder import Country
from graylight.errors import BadInput
from graylight.grid import Grid, LonLat, RowCol
from graylight.plan.cautions import ALWAYS
from graylight.plan.data_truth import current_rules
from graylight.plan.keeping import kept_plan
from graylight.plan.morning import sit_at
from graylight.plan.morning_model import Happening, Morning
from graylight.plan.morning_ready import DAYS_KEPT, ready_for_morning
from graylight.plan.morning_sky import beds_in_shade
from graylight.plan.mornings import calendar, morning
from graylight.sit.clock import EventKind
from graylight.sit.verdict import FindingKind
from graylight.sky.drift import drift
from graylight.sky.glare import glare
from graylight.sky.light import light_of_day
from graylight.telling.morning import _HAPPENINGS, _REASONS, tell_morning
from graylight.telling.paragraph import plain
from graylight.wind import GeneralWind

DATE = dt.date(2026, 8, 27)


@pytest.fixture(scope="module")
def ready(small):
    country = Country.open(small)
    return ready_for_morning(country, kept_plan(country))


def first(ready) -> str:
    return ready.looking.plan.lookouts[0].id


def test_the_command_tells_when_to_leave_and_what_decides(small, ready, capsys):
    name = first(ready)
    assert main(["morning", str(small), "--lookout", name, "--wind", "SW 8mph"]) == 0
    told = " ".join(capsys.readouterr().out.split())
    begin = told[:600]
    assert begin.index("Leave ") < begin.index(f"Sit at lookout {name}")
    assert any(words in begin for words in ("A good morning", "Go, with care", "Not this morning"))
    for words in (
        "usable light",
        "sunrise",
        "moves to bed",
        "End of the watch",
        "Never point a glass at the sun",
        "feel it",
    ):
        assert words.lower() in told.lower(), words  # fmt: skip


def test_without_a_lookout_it_is_the_best_single_one(small, ready, capsys):
    assert main(["morning", str(small), "--json"]) == 0
    best = next(one for one in ready.looking.plan.sets if one.k == 1).lookouts[0]
    assert json.loads(capsys.readouterr().out)["lookout"] == best


def test_json_is_the_documented_object_and_its_times_are_in_order(small, ready, capsys):
    words = ["morning", str(small), "--lookout", first(ready).lower(), "--date", "2026-09-10", "--json"]
    assert main(words) == 0
    found = Morning.model_validate(json.loads(capsys.readouterr().out))
    assert found.date == dt.date(2026, 9, 10)
    assert found.lookout == first(ready)
    times = [e.at for e in found.timeline]
    assert times == sorted(times)
    at = {e.kind: e.at for e in found.timeline}
    assert at["leave"] < at["settled"] < at["usable light"] < at["legal light"] < at["sunrise"]
    assert at["sunrise"] < at["end of watch"] < at["back"]
    assert not found.wind.given
    assert any("no wind was given" in words for words in found.not_known)


def test_the_leaving_time_adds_up(ready):
    found = morning(ready, first(ready), wind="calm")
    settings = ready.looking.country.settings
    # leave + slow end of the walk + time to settle = usable light, cut to the minute before
    there = (
        found.way.leave_by
        + dt.timedelta(seconds=found.way.seconds_high)
        + dt.timedelta(minutes=settings.watch.settle_minutes)
    )
    assert dt.timedelta(0) <= found.light.usable_from - there < dt.timedelta(seconds=62)
    assert found.way.seconds <= found.way.quickest_seconds + 60 * settings.sit.detour_minutes


def test_another_date_has_its_own_light_and_later_sun(ready):
    august, october = (morning(ready, first(ready), date=d) for d in (DATE, dt.date(2026, 10, 20)))
    alone = light_of_day(ready.looking.country.grid.center, dt.date(2026, 10, 20))
    assert october.light.sunrise == alone.sunrise
    assert any("for another season plan again" in words for words in october.not_known)
    assert any("freezing" in words for words in october.cautions)
    assert not any("plan again with that date" in words for words in august.not_known)


def test_first_sun_on_a_pocket_is_that_of_the_whole_days_shade(ready):
    """Beside the plan's own layer, made another way (horizons swept over the whole country)."""
    found = sit_at(ready, ready.lookout(first(ready)), DATE, GeneralWind(None, 0.0))
    layer = ready.looking.country.read("first_sun")
    for dawn, watched in zip(found.dawns, found.facts.pockets, strict=True):
        sun = layer[ready.used == dawn.label]
        half = float(np.nanquantile(np.where(np.isnan(sun), np.inf, sun), 0.5))
        assert found.sky.seconds(watched.sun_half) == pytest.approx(half, abs=12 * 60)


def test_a_wind_from_the_pocket_keeps_ones_scent_off_it(ready):
    """A wind that rules even valley floors, from every part of the pocket to the lookout."""
    looking, tried = ready.looking, 0
    for lookout in looking.plan.lookouts:
        row, col = ready.cell(lookout)
        for one in lookout.sees:
            index = [p.id for p in looking.plan.pockets].index(one.pocket)
            cells = looking.cells[index]
            bearing = np.degrees(np.arctan2(cells.cols - col, row - cells.rows))
            aside = np.abs((bearing - one.bearing_true_deg + 180) % 360 - 180)
            if aside.max() > 60:
                continue
            tried += 1
            day = ready.day(DATE)
            for hour in (12, 14, 16):
                when = dt.datetime(2026, 8, 27, hour, tzinfo=dt.UTC)
                field = day.field(when, GeneralWind(one.bearing_true_deg, 15.0))
                scent = drift(field, row, col, settings=looking.country.settings.air).scent
                assert scent.max() > 0.5
                assert scent[cells.rows, cells.cols].max() == 0.0
    assert tried


def test_a_wind_at_the_pocket_is_said_and_the_lookout_is_not_called_clean(ready):
    lookout = ready.looking.plan.lookouts[0]
    main_one = max(lookout.sees, key=lambda s: s.share.likely)
    off = (main_one.bearing_true_deg + 180.0) % 360.0
    found = morning(ready, lookout.id, wind=f"{off:.0f} 25mph")
    near = main_one.distance_m < 1500
    said = {r.kind for r in found.reasons} & {"wind toward", "scent"}
    assert bool(said) == near
    option = next(o for o in found.options if o.lookout == lookout.id)
    assert (main_one.pocket in option.blown_at) == near
    if near and len(found.options) > 1 and any(not o.blown_at for o in found.options):
        assert found.options[0].lookout != lookout.id


@pytest.mark.parametrize("said", ["SW 8mph", "N 10mph", "E 14mph"])
def test_the_table_of_winds_says_what_the_list_for_that_wind_says(ready, said):
    found = morning(ready, first(ready), wind=said)
    clean = [
        o
        for o in found.options
        if o.scent <= ready.looking.country.settings.sit.scent_care and not o.blown_at
    ]
    row = next(group for group in found.by_wind if said.split()[0] in group.winds)
    assert row.lookouts == [o.lookout for o in clean][:3]


def test_the_same_morning_twice_is_the_same_bytes(small, ready):
    again = ready_for_morning(ready.looking.country, ready.looking.plan)
    name = first(ready)
    one = morning(ready, name, wind="W 10mph").model_dump_json()
    assert one == morning(again, name, wind="W 10mph").model_dump_json()


def test_a_calendar_samples_the_span_with_both_ends(ready):
    days = calendar(ready, first(ready), DATE, DATE + dt.timedelta(days=40))
    assert len(days) == 12
    assert days[0].date == DATE
    assert days[-1].date == DATE + dt.timedelta(days=40)
    assert all(a.date < b.date and a.leave_by < b.leave_by for a, b in pairwise(days))
    assert len(calendar(ready, first(ready), DATE, DATE)) == 1
    full = morning(ready, first(ready), date=DATE)
    assert (days[0].verdict, days[0].decides) == (full.verdict, full.decides)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--lookout", "L99"], "accepted are its lookouts (L"),
        (["--wind", "blowy"], "accepted are a direction"),
        (["--date", "tomorrow"], "YYYY-MM-DD"),
        (["--date", "2051-01-01"], "1900 to 2050"),
        (["--until", "2026-08-01"], "on or after --date"),
        (["--until", "2029-08-01"], "within a year"),
    ],
)
def test_what_is_not_understood_is_refused_in_one_line(small, ready, capsys, words, said):
    given = words if words[0] == "--lookout" else ["--lookout", first(ready), *words]
    assert main(["morning", str(small), *given]) == 2
    error = capsys.readouterr().err.strip().splitlines()[-1]
    assert said in error


def far_north(monkeypatch):
    """The sun of Tromso over the country's ground: light, shade and glare go by the middle of the grid."""
    monkeypatch.setattr(Grid, "center", property(lambda self: LonLat(18.95, 69.65)))


def test_a_polar_night_with_twilight_is_planned_by_usable_light_and_said(ready, monkeypatch):
    far_north(monkeypatch)
    ready._days.clear()
    found = morning(ready, first(ready), date=dt.date(2026, 12, 21), wind="calm")
    ready._days.clear()
    assert found.light.sunrise is None
    assert "no sunrise" in {r.kind for r in found.reasons}
    assert all(p.sun_from is None and not p.glass for p in found.pockets)
    told = plain(tell_morning(found, "metric"), 90)
    assert "does not rise" in " ".join(told.split())


def test_a_night_that_never_gets_dark_is_refused(ready, monkeypatch):
    far_north(monkeypatch)
    ready._days.clear()
    with pytest.raises(BadInput, match="no usable light begins on 2026-06-21"):
        morning(ready, first(ready), date=dt.date(2026, 6, 21))
    days = calendar(ready, first(ready), dt.date(2026, 6, 21), dt.date(2026, 6, 22))
    ready._days.clear()
    assert [d.verdict for d in days] == [None, None]


def test_without_a_start_there_is_no_leaving_time_but_a_morning(ready, monkeypatch):
    monkeypatch.setattr("graylight.plan.morning_ways.starts_for", lambda *_: [])
    found = morning(ready, first(ready))
    assert found.way is None
    assert "no way known" in {r.kind for r in found.reasons}
    words = plain(tell_morning(found, "us"), 200)
    assert "no way on foot is known" in words
    assert "by then at the latest" not in words


def test_a_lookout_no_start_reaches_is_refused_with_what_closes_it(ready, monkeypatch):
    ground = ready.foot.dark.ground
    shut = replace(ground, factor=np.full_like(ground.factor, np.inf), shut=np.full_like(ground.shut, 2))
    row, col = ready.cell(ready.looking.plan.lookouts[0])
    begin = ready.approach(ready.looking.plan.lookouts[0]).start.place
    start = ready.looking.country.grid.rowcol(LonLat(begin.lon, begin.lat))
    for where in ((row, col), start):
        shut.factor[where], shut.shut[where] = 1.0, 0
    foot = replace(ready.foot, dark=replace(ready.foot.dark, ground=shut), _ways={})
    closed = replace(ready, foot=foot, _days={})
    place = ready.looking.plan.lookouts[0].place
    with pytest.raises(BadInput, match=f"no start reaches the lookout at {place.lat:.5f}") as refused:
        morning(closed, first(ready))
    said = str(refused.value)
    assert "cut off by" in said  # what closes it
    assert "nearest place reached lies" in said
    assert "row" not in said


def test_every_kind_has_its_words():
    assert set(_HAPPENINGS) == set(get_args(EventKind))
    assert set(_REASONS) == set(get_args(FindingKind))


def test_units_are_the_listeners(ready):
    found = morning(ready, first(ready), wind="SW 8mph")
    us, metric = (plain(tell_morning(found, units), 90) for units in ("us", "metric"))
    assert " ft" in us
    assert " mi" in us or " yd" in us
    assert " ft" not in metric.split("Take care")[0]
    assert " mi " not in metric.split("Take care")[0]


def test_where_a_strong_wind_rules_no_turn_of_the_air_is_told(ready):
    calm, blown = (morning(ready, first(ready), wind=w) for w in ("calm", "W 45mph"))
    assert "air turns" in {e.kind for e in calm.timeline}
    assert {a.mover for a in blown.air} == {"general wind"}
    assert "air turns" not in {e.kind for e in blown.timeline}


def test_the_air_about_a_lookout_is_the_countrys(ready):
    """Reckoned for a piece about it or for the whole: the same drift to the last bit."""
    row, col = ready.cell(ready.looking.plan.lookouts[0])
    day, settings = ready.day(DATE), ready.looking.country.settings.air
    about = day.about(RowCol(row, col))
    when = dt.datetime(2026, 8, 27, 13, 30, tzinfo=dt.UTC)
    for wind in (GeneralWind(None, 0.0), GeneralWind(225.0, 6.0)):
        whole = drift(day.field(when, wind), row, col, settings=settings).scent
        piece = drift(about.sky.field(when, wind), *about.cell, settings=settings).scent
        high, wide = piece.shape
        r, c = about.corner
        assert np.array_equal(whole[r : r + high, c : c + wide], piece)
        assert whole.sum(dtype=float) == pytest.approx(piece.sum(dtype=float))


def test_days_that_were_asked_do_not_pile_up(ready):
    for i in range(5):
        ready.day(DATE + dt.timedelta(days=i))
    assert len(ready._days) == DAYS_KEPT


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ("light", "light wind"),
        ("light SW", "light wind SW"),
        ("calm", "calm air"),
        ("SW 8mph", "wind SW 8mph"),
    ],
)
def test_the_wind_is_said_as_it_was_given(ready, said, told):
    words = plain(tell_morning(morning(ready, first(ready), wind=said), "us"), 400)
    assert f", {told}." in words
    assert f"At first light and in the hours after, with {told}, " in words


def test_what_falls_on_one_time_stands_in_one_line(ready):
    found = morning(ready, first(ready), wind="calm")
    lines = (
        plain(tell_morning(found, "us"), 400).split("By the clock")[1].split("What you watch")[0].splitlines()
    )
    stamps = [line.split(": ")[0] for line in lines if ": " in line]
    assert len(stamps) > 8
    assert all(a != b for a, b in pairwise(stamps))


def test_open_ground_in_direct_sun_is_not_said_to_lie_in_shade(ready):
    """However low and slanting the sun is: its place by pvlib, the skyline by a plain walk over the elevation."""
    looking = ready.looking
    grid, survey, settings = looking.country.grid, looking.survey, looking.country.settings
    sun = glare(
        survey.elevation_m, ready.used, ready.cell(ready.looking.plan.lookouts[0]), cell_m=grid.cell_m,
        convergence_deg=grid.convergence_deg(), place=grid.center, day=dt.date(2026, 11, 20), eye_m=1.0,
        settings=settings.glare,
    )  # fmt: skip
    cells = [
        RowCol(int(r), int(c))
        for r in range(40, grid.shape[0] - 40, 45)
        for c in range(40, grid.shape[1] - 40, 45)
    ]
    beds = beds_in_shade(
        looking, sun, [str(i) for i in range(len(cells))], cells, None, settings.sit.shade_part
    )
    clear = 0
    for bed, cell in zip(beds, cells, strict=True):
        for hour in range(16, 24):
            when = dt.datetime(2026, 11, 20, hour, 0, tzinfo=dt.UTC)
            if _sun_clear_of_all(survey, grid, cell, when):
                clear += 1
                assert not any(span.begin <= when <= span.end for span in bed.shaded), (cell, when)
    assert clear > 100


def _sun_clear_of_all(survey, grid, cell, when) -> bool:
    """Whether the sun stands two degrees clear of ground in its way, and ten off the ground's own plane."""
    stands = pvlib.solarposition.get_solarposition([when], grid.center.lat, grid.center.lon).iloc[0]
    high, toward = stands["apparent_elevation"], np.radians(stands["azimuth"] - grid.convergence_deg())
    z, step = survey.elevation_m, np.arange(1, 300)
    rows = np.rint(cell.row - step * np.cos(toward)).astype(int)
    cols = np.rint(cell.col + step * np.sin(toward)).astype(int)
    inside = (rows >= 0) & (rows < z.shape[0]) & (cols >= 0) & (cols < z.shape[1])
    rise = z[rows[inside], cols[inside]] - z[cell]
    skyline = np.degrees(np.nanmax(np.arctan2(rise, step[inside] * grid.cell_m), initial=-np.pi / 2))
    north, east = np.gradient(z, -grid.cell_m, grid.cell_m)
    normal = np.array([-east[cell], -north[cell], 1.0])
    sun = np.array([np.sin(toward), np.cos(toward), np.tan(np.radians(high))]) * np.cos(np.radians(high))
    slant = np.degrees(np.arcsin(normal @ sun / np.linalg.norm(normal)))
    return bool(high > skyline + 2.0 and slant > 10.0)


def test_current_rules_are_those_of_the_mornings_own_date(ready, monkeypatch):
    country = ready.looking.country
    real = replace(ready, looking=replace(ready.looking, country=replace(country, invented=False)))
    plan_day = real.looking.plan.light.date
    kept = real.looking.plan.model_copy(
        update={"cautions": [*ALWAYS, *current_rules(real.looking.country, plan_day)]}
    )
    real = replace(real, looking=replace(real.looking, plan=kept))
    other = plan_day + dt.timedelta(days=40)
    said = [
        words for words in morning(real, first(ready), date=other).cautions if "Check current rules" in words
    ]
    assert len(said) == 1
    assert f"for {other.isoformat()}:" in said[0]


@pytest.mark.parametrize("sit", ["dawn", "dusk"])
@pytest.mark.parametrize("wind", ["calm", "S 10mph", "NE 10mph", "W 14mph", "NW 5mph"])
def test_the_lookout_asked_for_is_called_clean_only_where_its_verdict_does(ready, sit, wind):
    for name in (one.id for one in ready.looking.plan.lookouts):
        found = morning(ready, name, wind=wind, sit=sit)
        own = next(o for o in found.options if o.lookout == name)
        clean = own.scent <= 0.1 and not own.blown_at and not own.other_at
        air = {r.kind for r in found.reasons} & {"scent", "wind toward", "leave before"}
        assert not (clean and air), (name, air)


def test_beds_that_lose_their_shade_are_named(ready):
    found = morning(ready, first(ready), wind="calm")
    bed = found.pockets[0].beds[0].id
    lost = [
        Happening(at=found.light.sunrise, until=None, kind="bed in sun", of=of, words="", rule_of_thumb=False)
        for of in (bed, "P9-b9")
    ]
    told = " ".join(plain(tell_morning(found.model_copy(update={"timeline": lost}), "us"), 400).split())
    assert f"Sun on {bed} and P9-b9: look there for a move to shade." in told


def test_magnetic_bearings_are_of_the_mornings_own_date(ready):
    plan, late = morning(ready, first(ready)), morning(ready, first(ready), date=dt.date(2045, 8, 27))
    kept = ready.looking.plan.lookouts[0].sees
    for one in plan.pockets:
        same = next(s for s in kept if s.pocket == one.id)
        # the plan's own, to the rounding of the declination
        assert one.bearing_magnetic_deg == pytest.approx(same.bearing_magnetic_deg, abs=0.11)
    assert late.light.declination_deg is None
    assert all(p.bearing_magnetic_deg is None for p in late.pockets)
    assert any("no magnetic bearings" in words for words in late.not_known)

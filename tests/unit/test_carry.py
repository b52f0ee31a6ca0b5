"""Carrying out of each pocket, and when to turn round: against sums done by hand from the fields they rest on."""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
import shutil

import numpy as np
import pytest

from graylight.approach.ways import retimed, walked_back
from graylight.country.folder import Country
from graylight.grid import LonLat
from graylight.packet.carrying_out import _in_pounds, carrying_told
from graylight.plan.animals import find_profile
from graylight.plan.carry import carrying
from graylight.plan.keeping import kept_plan
from graylight.plan.looking import ready_to_look
from graylight.plan.morning_ready import ready_for_morning
from graylight.plan.mornings import morning


@pytest.fixture(scope="module")
def country(small, tmp_path_factory) -> Country:
    folder = tmp_path_factory.mktemp("carry") / "country"
    shutil.copytree(small, folder)
    opened = Country.open(folder)
    return opened.with_settings(animal=kept_plan(opened).animal)


@pytest.fixture(scope="module")
def found(country):
    return carrying(ready_to_look(country, kept_plan(country)))


def test_every_ranked_pocket_is_told_once(country, found):
    ranked = [p.id for p in kept_plan(country).pockets if p.shut is None]
    assert [one.pocket.id for one in found.pockets] == ranked
    assert found.not_known is None


def test_hours_are_dressing_and_all_walks(country, found):
    pack, load = country.settings.pack, find_profile(country).load
    weight = load.meat_kg * (1 + pack.more) + load.head_kg
    trips = math.ceil(weight / (pack.people * pack.load_kg))
    assert found.loads.trips == trips
    for one in found.pockets:
        if math.isfinite(one.out.loaded_seconds):
            walks = trips * one.out.loaded_seconds + (trips - 1) * one.out.empty_seconds
            assert one.out.hours == pytest.approx(load.dressing_hours + walks / 3600)


def test_the_way_out_leads_from_the_pocket_to_the_start_named(country, found):
    plan = kept_plan(country)
    heads = {way.start.name: way.start.place for way in plan.approaches}
    told = 0
    for one in found.pockets:
        if one.start is None:
            continue
        first = country.grid.rowcol(LonLat(one.pocket.centre.lon, one.pocket.centre.lat))
        assert (one.out.rows[0], one.out.cols[0]) == first
        if one.start in heads:
            end = country.grid.rowcol(LonLat(heads[one.start].lon, heads[one.start].lat))
            assert np.hypot(one.out.rows[-1] - end.row, one.out.cols[-1] - end.col) <= 15
            told += 1
    assert told


def test_a_smaller_load_is_more_trips(country):
    plan = kept_plan(country)
    few = carrying(ready_to_look(country, plan)).loads
    pack = country.settings.pack.model_copy(update={"load_kg": 10.0})
    changed = dataclasses.replace(country, settings=country.settings.model_copy(update={"pack": pack}))
    assert carrying(ready_to_look(changed, plan)).loads.trips > few.trips


def test_the_turn_leaves_time_for_the_way_back(country):
    """In t after leaving, by the way in walked back by day: by civil dusk from anywhere on it, and hardly sooner."""
    plan = kept_plan(country)
    seat = next(one for one in plan.lookouts if any(w.lookout == one.id for w in plan.approaches))
    ready = ready_for_morning(country, plan)
    told = morning(ready, seat.id)
    by, left = told.way.turn_round_by, told.way.leave_by
    course = ready.foot.taken(
        seat, ready.cell(seat), ready.approach(seat), np.zeros(country.grid.shape, np.float32), dark=True, dark_out=False
    ).course  # fmt: skip
    back_s = walked_back(course, ready.foot.day, walk=country.settings.walk, dark=False)
    # along the way in, turned round, each stretch by the published pace downhill
    assert back_s[-1] == pytest.approx(
        retimed(replace_way(course), ready.foot.day, walk=country.settings.walk, dark=False)
    )
    spent = (by - left).total_seconds()
    far = course.way.at_s * (1.0 + country.settings.walk.spread) >= 600.0
    home = [
        by + dt.timedelta(seconds=spent * b / a)
        for a, b in zip(course.way.at_s[far], back_s[far], strict=True)
    ]
    assert max(home) <= told.light.civil_dusk
    assert told.light.civil_dusk - max(home) < dt.timedelta(minutes=2)


def replace_way(course):
    """The same way in the other direction."""
    way = course.way
    return dataclasses.replace(course, way=dataclasses.replace(way, rows=way.rows[::-1], cols=way.cols[::-1]))


def test_pounds_are_said_to_those_who_count_in_pounds():
    words = "3 trips with 23 kg take up to 14.1 hours with the dressing, over the 12 hours allowed"
    assert _in_pounds(words, "us") == words.replace(
        "23 kg", "51 lb"
    )  # 23 / 0.45359237 (international pound, 1959)
    assert _in_pounds(words, "metric") == words
    assert _in_pounds("no way out under a load: cliffs", "us") == "no way out under a load: cliffs"


def test_what_is_not_known_is_told(country, found):
    from types import SimpleNamespace

    from graylight.plan.carry import Carrying

    bare = SimpleNamespace(
        country=country, plan=kept_plan(country), carrying=Carrying(None, (), "no start is known")
    )
    told = carrying_told(bare)
    assert told["head"] == ["Not known: no start is known."]
    assert told["rows"] == []

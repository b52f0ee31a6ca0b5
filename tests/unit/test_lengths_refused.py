"""Those who count in feet and miles are refused in feet and miles, as everything else is told them."""

from __future__ import annotations

import re
import shutil

import numpy as np
import pytest

from graylight.country.folder import Country
from graylight.errors import BadInput
from graylight.exchange.gpx import write_gpx
from graylight.grid import RowCol
from graylight.plan.keeping import kept_plan
from graylight.plan.looking import ready_to_look
from graylight.plan.notebook import open_notebook
from graylight.plan.on_foot import lands_on_foot, starts_for, water_of, ways_in
from graylight.plan.sighted import GivenSighting, add_sighting
from graylight.plan.starts import starts

METRES = re.compile(r"\d (m|km|metres)\b")
US = re.compile(r"\d (yd|mi|ft)\b")


@pytest.fixture(scope="module", params=["us", "metric"])
def country(request, small, tmp_path_factory):
    folder = tmp_path_factory.mktemp(request.param) / "country"
    shutil.copytree(small, folder)
    opened = Country.open(folder)
    plan = kept_plan(opened)
    return opened.with_settings(animal=plan.animal, date=plan.light.date.isoformat(), units=request.param)


def fits(country, words: str) -> bool:
    wanted, other = (US, METRES) if country.settings.units == "us" else (METRES, US)
    return bool(wanted.search(words)) and not other.search(words)


def test_a_bearing_that_meets_no_ground(country):
    book = open_notebook(country, kept_plan(country))
    seat = book.plan.lookouts[0].id
    for far in ("60km", "40mi"):
        given = GivenSighting(
            seen_from=seat, bearing_deg=10.0, true_north=True, distance=far, when="2026-08-27"
        )
        with pytest.raises(BadInput, match="meets no ground") as refused:
            add_sighting(book, given)
        assert fits(country, str(refused.value)), refused.value


def test_a_lookout_that_no_start_reaches(country):
    ready = ready_to_look(country, kept_plan(country))
    land, _ = lands_on_foot(ready, water_of(ready))
    shut = np.argwhere(~np.isfinite(land.ground.factor) & np.isfinite(land.elevation_m))
    row, col = (int(v) for v in shut[len(shut) // 2])
    with pytest.raises(BadInput, match="nearest place reached lies") as refused:
        ways_in(ready, land, RowCol(row, col), starts_for(ready, land, None), None, 36_000.0)
    assert fits(country, str(refused.value)), refused.value
    assert " row " not in str(refused.value)


def test_a_start_on_ground_that_is_shut(country):
    here = country.grid.lonlat(9, 9)
    closed = country.with_settings(start=f"{here.lat}, {here.lon}")
    ground = np.zeros(country.grid.shape, np.bool_)
    ground[-1, -1] = True
    with pytest.raises(BadInput, match="of open ground") as refused:
        starts(closed, ground)
    assert fits(country, str(refused.value)), refused.value


def test_files_for_receivers_have_both(country):
    said = re.findall(r"prominence[^<]*", write_gpx(kept_plan(country)))
    assert said
    assert all(METRES.search(words) and US.search(words) for words in said)

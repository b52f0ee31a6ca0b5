"""One place, one answer: sentences, map and strip of `look`, the packet's strip and the page's call the same pockets unseen."""

from __future__ import annotations

import numpy as np
import pytest

from graylight.cli.begin import opened, plan_of
from graylight.cli.pictures import _ring, strip_of
from graylight.drawing.look import _share
from graylight.grid import LonLat
from graylight.packet.strips import draw_strip
from graylight.plan.looking import look_from, ready_to_look
from graylight.plan.model import NOTHING
from graylight.plan.sight_facts import hides, unseen
from graylight.server.horizon import HorizonPicture
from graylight.telling.sight import hidden, shown
from tests.unit.page_server import page_over


@pytest.fixture(scope="module")
def ready(small):
    country = opened(small)
    return ready_to_look(country, plan_of(country))


@pytest.fixture(scope="module")
def page(small, tmp_path_factory):
    with page_over(small, tmp_path_factory.mktemp("home")) as served:
        yield served


def seats(ready):
    """The plan's lookouts, and ground spread over the country."""
    grid = ready.country.grid
    spread = [(row, col) for row in (0.2, 0.5, 0.8) for col in (0.2, 0.5, 0.8)]
    return [
        *(LonLat(one.place.lon, one.place.lat) for one in ready.plan.lookouts),
        *(grid.lonlat(int(row * grid.rows), int(col * grid.cols)) for row, col in spread),
    ]


def pixels(ready, looked):
    """Pockets with a pixel on the strip, whatever the shares say."""
    values = _ring(ready, looked, 1000).values(ready.labels)
    return {ready.plan.pockets[i - 1].id for i in np.unique(values) if i > 0}


def test_look_tells_draws_and_names_the_same_pockets(ready):
    ids = [one.id for one in ready.plan.pockets]
    specks = 0
    for place in seats(ready):
        looked = look_from(ready, place)
        sees = {one.pocket: one for one in looked.look.sees}
        dark = {one for one in ids if one not in sees or sees[one].share.high < NOTHING}
        specks += len(dark & pixels(ready, looked))
        strip = strip_of(ready, looked, marks=[])
        assert set(strip.hidden) == dark == unseen(looked.look.sees, ready.plan.pockets)
        assert not {*strip.slight, *strip.outside} & dark
        assert {one for one in sees if _share(sees[one]) == "hidden"} == dark & set(sees)
        told = " ".join(shown(looked.look.sees, str, "us", most=99, places=False))
        assert {one for one in ids if f" {one}," in told} == set(ids) - dark
        dim = " ".join(hidden(looked.look.sees, ids, str))
        assert ("Nothing" in dim) == bool(dark)
    assert specks  # some place shows a speck of a pocket of which nothing is told: else this test can't fail


def test_the_packet_s_strip_goes_by_the_shares_of_its_own_table(ready):
    pockets = ready.plan.pockets
    for seat in ready.plan.lookouts:
        dark = {one.id for one in pockets} - {one.pocket for one in seat.sees if one.share.high >= NOTHING}
        assert set(draw_strip(ready, seat).hidden) == dark
        said = [words for words in hides(seat.sees, pockets) if words.startswith("nothing of")]
        ranked = {one.id for one in pockets if one.shut is None}
        assert bool(said) == bool(dark & ranked)
        assert all(one in said[0] for one in dark & ranked)


def test_the_page_s_strip_calls_the_same_pockets_hidden(ready, page):
    for place in seats(ready)[:3]:
        looked = look_from(ready, place)
        drawn = page.client.get(f"/api/horizon?lon={place.lon}&lat={place.lat}&width=900").json()
        assert set(HorizonPicture(**drawn).hidden) == set(strip_of(ready, looked, marks=[]).hidden)

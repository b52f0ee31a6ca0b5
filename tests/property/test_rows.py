"""Undo and redo against a plain list of states: whatever was done, each step back and forth is the state it was."""

from __future__ import annotations

import shutil

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from graylight.country.entry import Sources, make_country
from graylight.country.folder import Country
from graylight.country.rows import Rows
from graylight.settings import Settings
from tests.unit.country_sources import NORTH, WEST, elevation

PLACES = st.builds(
    shapely.Point, st.integers(0, 900).map(lambda v: WEST + v), st.integers(0, 900).map(lambda v: NORTH - v)
)
NAMES = st.none() | st.text(st.characters(exclude_categories=["Cc", "Cs", "Zs", "Zl", "Zp"]), max_size=8)
ONE = st.one_of(
    st.tuples(st.just("add"), PLACES, NAMES),
    st.tuples(st.just("change"), st.integers(0, 9), NAMES),
    st.tuples(st.just("move"), st.integers(0, 9), PLACES),
    st.tuples(st.just("remove"), st.integers(0, 9)),
)
STEPS = st.lists(
    st.one_of(
        ONE.map(lambda one: [one]), st.lists(ONE, min_size=2, max_size=3), st.sampled_from(["undo", "redo"])
    ),
    max_size=12,
)


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> Country:
    home = tmp_path_factory.mktemp("made")
    return make_country(home / "c", Sources(elevation=elevation(home)), Settings())


def state(rows: Rows) -> list[tuple]:
    return [(row.id, row.geometry.wkt, row.values["name"]) for row in rows.read("places")]


def do(rows: Rows, what: str, *given: object) -> None:
    there = rows.read("places")
    if what == "add":
        rows.add("places", given[0], name=given[1])
    elif there:
        row = there[given[0] % len(there)]
        if what == "change":
            rows.change("places", row.id, name=given[1])
        elif what == "move":
            rows.change("places", row.id, geometry=given[1])
        else:
            rows.remove("places", row.id)


@given(STEPS)
@settings(max_examples=25)
def test_undo_and_redo_lead_through_the_states_there_were(made, tmp_path_factory, steps):
    folder = tmp_path_factory.mktemp("c") / "c"
    shutil.copytree(made.folder, folder)
    country = Country.open(folder)
    states, now = [state(Rows(country))], 0
    for step in steps:
        rows = Rows(country)  # as after a restart
        before = rows.revision()
        if isinstance(step, str):
            told = getattr(rows, step)()
            there = now > 0 if step == "undo" else now + 1 < len(states)
            assert (told is not None) == there
            now += {"undo": -1, "redo": 1}[step] if there else 0
            assert rows.revision() == before + there
        else:
            with rows.together():
                for one in step:
                    do(rows, *one)
            if rows.revision() > before:
                states, now = [*states[: now + 1], state(rows)], now + 1
        assert state(rows) == states[now]
        assert (rows.can_undo() is not None, rows.can_redo() is not None) == (now > 0, now + 1 < len(states))

"""What a plan must say of its data: surface models, coarse cells, ages, current rules; and credits on the map."""

from __future__ import annotations

import dataclasses
import datetime as dt

import numpy as np
import pytest

from graylight.cli.main import main
from graylight.country.entry import Origin, Sources, make_country
from graylight.country.folder import FACTS, Country, facts_text
from graylight.drawing.map import credit_lines
from graylight.plan.data_truth import canopy_on_top, current_rules, data_truth, is_surface
from graylight.plan.model import LayerFact
from graylight.settings import Settings
from tests.unit.country_sources import elevation

DATE = dt.date(2026, 8, 27)


@pytest.fixture
def country(tmp_path) -> Country:
    return make_country(tmp_path / "country", Sources(elevation=elevation(tmp_path)), Settings())


def with_facts(country: Country, **changes) -> Country:
    """The country with other facts on layers by name; a layer that is not there gets one."""
    facts = {fact.name: fact for fact in country.facts}
    blank = {"source": "x", "date": None, "resolution_m": None, "done": []}
    for name, change in changes.items():
        old = facts.get(name, LayerFact(name=name, **blank))
        facts[name] = LayerFact(**{**old.model_dump(), **change})
    return dataclasses.replace(country, facts=tuple(facts.values()))


@pytest.mark.parametrize(
    ("name", "said", "surface"),
    [("elevation.tif", None, False), ("Copernicus_DSM_COG_10_N39_00_W112_00_DEM.tif", None, True), ("dsmall.tif", None, False),
     ("Copernicus_DSM.tif", False, False), ("elevation.tif", True, True)],
)  # fmt: skip
def test_a_surface_model_is_told_by_its_name_or_by_the_person(tmp_path, name, said, surface):
    made = make_country(
        tmp_path / "c", Sources(elevation=elevation(tmp_path, name), surface=said), Settings()
    )
    assert is_surface(made) == surface
    assert is_surface(Country.open(made.folder)) == surface


def test_the_command_takes_the_persons_word(tmp_path):
    words = ["new", str(tmp_path / "c"), "--elevation", str(elevation(tmp_path)), "--surface"]
    assert main(words) == 0
    assert is_surface(Country.open(tmp_path / "c"))


def test_no_canopy_stands_on_a_surface_model(country):
    trees = np.full(country.grid.shape, 12.0, np.float32)
    on_ground = canopy_on_top(country, trees, trees)
    assert on_ground[0] is trees
    assert canopy_on_top(with_facts(country, elevation={"surface": True}), trees, trees) == (None, None)
    assert "surface model" in " ".join(data_truth(with_facts(country, elevation={"surface": True}), DATE))


def test_sight_from_a_surface_model_is_that_of_bare_heights(small, tmp_path):
    """The same country with its canopy taken away by hand gives the same sight."""
    import shutil

    from graylight.plan.keeping import kept_plan
    from graylight.plan.looking import ready_to_look

    told = {}
    for name in ("surface", "bare"):
        folder = tmp_path / name
        shutil.copytree(small, folder)
        if name == "surface":
            opened = Country.open(folder)
            (folder / FACTS).write_text(facts_text(with_facts(opened, elevation={"surface": True})))
        else:
            for layer in ("canopy", "closure"):
                (folder / f"layers/{layer}.tif").unlink()
        country = Country.open(folder)
        plan = kept_plan(country)
        assert plan is not None
        told[name] = ready_to_look(country, plan).land
    for name in ("ground_m", "wall_m", "veil_m"):
        assert np.array_equal(getattr(told["surface"], name), getattr(told["bare"], name), equal_nan=True), (
            name
        )
    told["canopied"] = ready_to_look(Country.open(small), kept_plan(Country.open(small))).land
    assert not np.array_equal(told["canopied"].wall_m, told["surface"].wall_m, equal_nan=True)


def test_coarse_cells_are_told_with_what_they_hide(country):
    assert not any("measured in cells" in line for line in data_truth(country, DATE))
    told = data_truth(with_facts(country, elevation={"resolution_m": 30.0}), DATE)
    assert any("cells of 30 m (98 ft)" in line and "narrower than about 60 m" in line for line in told)


@pytest.mark.parametrize(
    ("date", "words"),
    [("2026-08-01", None), ("2025-11-30", None), ("2025-08-20", "the imagery is of 2025-08-20"),
     ("2024", "the imagery is of 2024"),
     (None, "the date of the imagery is not known"), ("once upon", "the imagery is of once upon")],
)  # fmt: skip
def test_the_age_of_imagery_is_told_where_it_matters(country, date, words):
    told = " ".join(data_truth(with_facts(country, red={"date": date}), DATE))
    assert (words in told) if words else ("imagery" not in told)


def test_current_rules_carry_the_date_and_invented_ground_has_none(country):
    assert "Check current rules for 2026-08-27" in current_rules(country, DATE)[0]
    invented = dataclasses.replace(with_facts(country, elevation={"surface": True}), invented=True)
    assert current_rules(invented, DATE) == []
    assert data_truth(invented, DATE) == []


def test_where_a_file_is_from_is_kept(tmp_path):
    path = elevation(tmp_path)
    origin = Origin("A survey", "2019", "public domain", "The surveyors", ("laid out by hand",))
    made = make_country(tmp_path / "c", Sources(elevation=path, origins={path: origin}), Settings())
    fact = Country.open(made.folder).facts[0]
    assert (fact.source, fact.date, fact.licence, fact.credit) == (
        "A survey",
        "2019",
        "public domain",
        "The surveyors",
    )
    assert fact.done[0] == "laid out by hand"


def test_the_map_names_whom_it_owes(demo):
    from graylight.plan.keeping import kept_plan

    plan = kept_plan(Country.open(demo))
    assert plan is not None
    assert credit_lines(plan) == ()
    facts = [f.model_copy(update={"credit": f"© Surveyors of {f.name[:5]}"}) for f in plan.country.layers]
    owing = plan.model_copy(update={"country": plan.country.model_copy(update={"layers": facts * 2})})
    lines = credit_lines(owing)
    assert " ".join(lines).count("© Surveyors of eleva") == 1
    assert max(map(len, lines)) <= 170

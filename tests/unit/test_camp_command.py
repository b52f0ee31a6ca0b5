"""`graylight camp`: places that keep every rule, told and as JSON, and why there is none."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from graylight.cli.main import main
from graylight.country.folder import Country
from graylight.grid import LonLat
from graylight.plan.camp_model import Camps, ShutRule
from graylight.plan.camping import camps_for
from graylight.plan.keeping import kept_plan
from graylight.plan.morning_ready import ready_for_morning
from graylight.plan.on_foot import seen_from_any, seen_from_pockets
from graylight.telling.camp import tell_camps
from graylight.telling.paragraph import plain


@pytest.fixture(scope="module")
def ready(small):
    country = Country.open(small)
    return ready_for_morning(country, kept_plan(country))


@pytest.fixture(scope="module")
def told(small):
    """The command's own answer."""
    from contextlib import redirect_stdout
    from io import StringIO

    out = StringIO()
    with redirect_stdout(out):
        assert main(["camp", str(small), "--json"]) == 0
    return Camps.model_validate(json.loads(out.getvalue()))


def test_every_camp_keeps_the_rules_of_the_page(ready, told):
    assert told.camps
    grid, rules = ready.looking.country.grid, ready.looking.country.settings.camp
    wet = np.argwhere(ready.foot.water.near)
    pockets = np.argwhere(ready.looking.labels > 0)
    cells = [grid.rowcol(LonLat(c.place.lon, c.place.lat)) for c in told.camps]
    for row, col in cells:
        assert ready.looking.slope_deg[row, col] <= rules.slope_deg
        # from the middle of the camp's cell to the edge of the other cell
        for others, least in ((wet, rules.setback_m), (pockets, rules.keep_m)):
            away = np.hypot(*(others - (row, col)).T).min() * grid.cell_m - grid.cell_m / 2
            assert away >= least - 1e-6
        assert np.isfinite(ready.foot.day.ground.factor[row, col])
        assert ready.foot.day.ground.surface[row, col] == 0
    apart = [np.hypot(a[0] - b[0], a[1] - b[1]) * grid.cell_m for a in cells for b in cells if a < b]
    assert all(metres >= rules.apart_m for metres in apart)


def test_water_is_told_for_every_lookout(ready, told):
    assert [w.lookout for w in told.water] == [one.id for one in ready.looking.plan.lookouts]
    grid, wet = ready.looking.country.grid, ready.foot.water.near
    for one in told.water:
        assert one.water
        for water in one.water:
            row, col = grid.rowcol(LonLat(water.place.lon, water.place.lat))
            assert wet[row - 1 : row + 2, col - 1 : col + 2].any()
        assert one.water[-1].sure or len(one.water) == 1


def test_one_lookout_can_be_asked_for(small, capsys):
    assert main(["camp", str(small), "--lookout", "l1", "--wind", "SW 8mph"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "for lookout L1" in said
    assert "ask the land manager" in said
    assert "check local rules" in said


def test_what_sees_a_camp_is_the_most_of_any_pocket(ready):
    """The part of one pocket is never less than the part of all of them that it makes up: seen by chance."""
    most, whole = seen_from_any(ready.looking), seen_from_pockets(ready.looking)
    assert most.max() <= 1.0
    # both from a sample of places, not the same: a tenth of slack
    assert float((whole > most + 0.1).mean()) < 0.02


def test_a_country_without_a_start_has_camps_and_says_what_is_not_known(ready, told):
    """As for everything else: what is not known rules nothing out, and is named."""
    nowhere = np.full_like(ready.looking.walk_s, np.nan)
    unknown = replace(ready, looking=replace(ready.looking, walk_s=nowhere))
    found = camps_for(unknown, list(ready.looking.plan.lookouts), date=told.date, wind=None)
    assert len(found.camps) >= len(told.camps)
    assert "walk in" in found.not_known
    assert "walk in" not in told.not_known


def test_where_no_ground_passes_the_rule_to_ease_is_said(told):
    rules = [
        ShutRule(words="flat enough", alone=0.12, passes=0.2),
        ShutRule(words="not on a crest", alone=0.0, passes=0.9),
    ]
    none = told.model_copy(update={"camps": [], "why_none": rules})
    said = " ".join(plain(tell_camps(none, "us"), 200).split())
    assert "No ground passes all rules" in said
    assert "'flat enough' alone shuts out 12 %" in said


def test_the_rule_shut_tight_is_the_one_named(small, tmp_path, capsys):
    import shutil

    folder = tmp_path / "country"
    shutil.copytree(small, folder)
    country = Country.open(folder)
    camp = country.settings.camp.model_copy(update={"keep_m": 5000.0})
    country.save_settings(country.settings.model_copy(update={"camp": camp}))
    assert main(["camp", str(folder), "--json"]) == 0
    found = Camps.model_validate(json.loads(capsys.readouterr().out))
    assert not found.camps
    assert found.why_none[0].words == "away from pockets"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--lookout", "L99"], "accepted are its lookouts"),
        (["--date", "soon"], "YYYY-MM-DD"),
        (["--wind", "gusty"], "accepted are a direction"),
    ],
)
def test_what_is_not_understood_is_refused(small, capsys, words, said):
    assert main(["camp", str(small), *words]) == 2
    assert said in capsys.readouterr().err.strip().splitlines()[-1]

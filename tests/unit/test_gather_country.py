"""A gathering from beginning to end, as a person runs it: what comes of it, what it costs, what a stop leaves."""

from __future__ import annotations

import datetime as dt
import json
import math
import os
import shutil
import signal
import subprocess
import sys
import time

import numpy as np
import pytest

from graylight.cli.main import main
from graylight.country.folder import Country
from graylight.country.forecast import read_forecast
from graylight.errors import Cancelled
from graylight.gather.gathering import gather
from graylight.gather.order import KINDS, chosen, expected
from graylight.gather.report import MEANS, Asked, Report, tell_report
from graylight.gather.services import read_services
from graylight.gather.store import Store, now
from graylight.gather.wanted import Wanted, around
from graylight.grid import LonLat
from graylight.settings import Settings
from tests.unit.open_fixtures import ROOT, kinds, wanted
from tests.unit.open_ground import LAT, LON, canopy_m, ground_m

PLACE = ("--around", f"{LAT}, {LON}", "--radius", "3km")


@pytest.fixture
def words(services, tmp_path):
    return ["--services", str(services.table), "--cache", str(tmp_path / "cache")]


@pytest.fixture(scope="module")
def gathered(open_services, tmp_path_factory):
    """A country with everything, gathered once; and the server's log of it."""
    open_services.faults()
    folder = tmp_path_factory.mktemp("gathered")
    common = ["--services", str(open_services.table), "--cache", str(folder / "cache")]
    assert main(["gather", str(folder / "country"), *PLACE, *common, "--closeup", f"{LAT},{LON}"]) == 0
    return folder, open_services.told()


def test_the_country_holds_what_the_services_have(gathered):
    country = Country.open(gathered[0] / "country")
    grid = country.grid
    rows, cols = np.meshgrid(np.arange(grid.rows), np.arange(grid.cols), indexing="ij")
    place = grid.lonlats(rows.ravel().astype(float), cols.ravel().astype(float))
    true = ground_m(place[:, 0], place[:, 1]).reshape(grid.shape)
    height = country.read("elevation")
    assert np.abs(height - true).max() < 2.0  # 60 m cells over waves of 2 km, cubic convolution
    trees = canopy_m(place[:, 0], place[:, 1]).reshape(grid.shape)
    assert np.median(np.abs(country.read("canopy_height") - trees)) < 0.5
    assert {f.properties["name"] for f in country.features("names")} >= {"Bald Top", "Windy Gap"}
    assert {f.properties["access"] for f in country.features("ownership")} == {
        "open",
        "restricted",
        "private",
    }
    assert (country.folder / "closeups/closeup_39.3000N_111.5000W.tif").is_file()


def test_every_layer_has_source_licence_and_credit(gathered):
    country = Country.open(gathered[0] / "country")
    for fact in country.facts:
        assert fact.licence, fact.name
        assert fact.credit, fact.name
        assert any("had on" in words for words in fact.done), fact.name
    by_name = {fact.name: fact for fact in country.facts}
    assert by_name["cover_codes"].date == "2021"
    assert by_name["red"].date == "2025-08-20"
    assert by_name["trails"].credit == "© OpenStreetMap contributors"
    assert by_name["forecast.json"].date == "2026-08-26"


def test_the_forecast_is_ready_for_a_morning(gathered):
    forecast = read_forecast(Country.open(gathered[0] / "country"))
    assert forecast is not None
    assert forecast.hours[0].wind_words() == "230 18km/h"


def test_at_most_eight_connections_and_one_to_overpass(gathered):
    told = gathered[1]
    assert told["most_open"] <= 8 + 1  # and the test's own question
    assert told["most_busy"]["overpass"] == 1


def test_the_same_again_from_what_is_kept_gives_the_same_bytes_and_asks_nobody(gathered, services, capsys):
    folder = gathered[0]
    common = ["--services", str(services.table), "--cache", str(folder / "cache"), "--offline"]
    again = [
        "gather",
        str(folder / "again"),
        *PLACE,
        *common,
        "--closeup",
        f"{LAT},{LON}",
        "--name",
        "country",
    ]
    assert main(again) == 0
    assert services.log() == []
    assert "asked this time: nothing" in capsys.readouterr().out
    for path in sorted((folder / "country").rglob("*")):
        twin = folder / "again" / path.relative_to(folder / "country")
        if path.is_file() and path.name != "gathered.json":  # which tells how many requests were made
            assert path.read_bytes() == twin.read_bytes(), path.name


def test_a_plan_can_be_made_and_says_how_old_its_data_is(gathered, capsys):
    assert main(["plan", str(gathered[0] / "country"), "--json"]) == 0
    plan = json.loads(capsys.readouterr().out)
    told = " ".join(plan["not_known"])
    assert "the imagery is of 2025-08-20" in told
    assert "the land cover is of 2021" in told
    assert "cells of 62 m" in told
    assert "Check current rules for 2026-08-27" in " ".join(plan["cautions"])


def test_the_estimate_asks_nobody(services, words, tmp_path, capsys):
    assert main(["gather", str(tmp_path / "c"), *PLACE, *words, "--estimate"]) == 0
    said = capsys.readouterr().out
    assert services.log() == []
    assert not (tmp_path / "c").exists()
    assert "together about" in said
    assert main(["gather", str(tmp_path / "c"), *PLACE, *words, "--most", "1"]) == 2
    assert "raise --most" in capsys.readouterr().err
    assert services.log() == []


def test_every_source_has_an_estimate():
    ground = wanted(closeups=(LonLat(LON, LAT),), cell_m=4.0)
    for kind in KINDS:
        for key, client in kind.clients:
            only = [type(kind)(kind.name, kind.words, ((key, client),))]
            assert expected(only, read_services(), ground)[0].size > 0, key


@pytest.mark.parametrize("kind", [k.name for k in KINDS if not k.needed])
def test_a_source_that_fails_is_a_gap_and_no_failed_run(services, words, tmp_path, capsys, kind):
    parts = {"apron": "glo90|terrain",
             "cover": "cover|nlcd", "canopy": "canopy", "imagery": "stac|naip|pictures", "ways": "overpass", "names": "gnis",
             "ownership": "padus|blm", "forecast": "nws", "closeup": "naip|pictures"}  # fmt: skip
    services.faults({"path": f"/({parts[kind]})", "what": "401", "times": 999})
    folder = tmp_path / "c"
    close = ["--closeup", f"{LAT},{LON}"] if kind == "closeup" else []
    small = ("--around", f"{LAT}, {LON}", "--radius", "1.2km")
    assert main(["gather", str(folder), *small, *words, "--only", f"elevation,{kind}", *close]) == 0
    said = capsys.readouterr().out
    lines = [line for line in said.splitlines() if line.startswith("missing")]
    assert all("answered 401" in line for line in lines)
    assert sum(MEANS[kind] in line for line in lines) == 1  # what that means for whoever plans, once
    country = Country.open(folder)
    assert any("could not be gathered" in line for line in country.record)
    report = json.loads((folder / "gathered.json").read_text())
    assert [one["got"] for one in report["asked"] if one["kind"] == kind] != []
    assert not any(one["got"] for one in report["asked"] if one["kind"] == kind)


def test_the_next_service_is_asked_where_one_fails(services, words, tmp_path, capsys):
    services.faults({"path": "/dem/", "what": "503", "times": 999}, {"path": "/cover/", "what": "404", "times": 999},
                    {"path": "/stac/", "what": "200", "times": 999})  # fmt: skip
    folder = tmp_path / "c"
    assert main(["gather", str(folder), *PLACE, *words, "--only", "elevation,cover,imagery,canopy"]) == 0
    country = Country.open(folder)
    assert country.cover_scheme == "nlcd"
    by_name = {fact.name: fact for fact in country.facts}
    assert by_name["elevation"].surface
    assert by_name["red"].source == "National Agriculture Imagery Program"
    assert "passed over for elevation" in capsys.readouterr().out


def test_an_answer_that_nobody_foresaw_is_a_gap(services, words, tmp_path, capsys):
    services.faults(
        {
            "path": "points",
            "what": "200",
            "body": '{"properties": {"forecastGridData": "gopher://x"}}',
            "times": 9,
        },
        {"path": "/stac/", "what": "200", "body": '{"features": [3, {"id": 1}]}', "times": 9},
        {
            "path": "overpass",
            "what": "200",
            "body": '{"elements": [{"type": "way", "id": "x", "tags": {}}]}',
            "times": 9,
        },
        {"path": "naip|pictures|padus|blm", "what": "200", "body": "[[[]]]", "times": 99},
    )
    kept = ["--only", "elevation,forecast,imagery,ways,ownership"]
    assert main(["gather", str(tmp_path / "c"), *PLACE, *words, *kept]) == 0
    said = capsys.readouterr().out
    assert said.count("missing") >= 4
    assert "can't be understood (ValueError" in said


def test_ctrl_c_stops_at_once_and_leaves_nothing(services, words, tmp_path):
    services.faults({"path": "interpreter", "what": "slow", "wait_s": 4.0, "times": 9})
    command = [
        sys.executable,
        "-m",
        "graylight",
        "gather",
        str(tmp_path / "c"),
        *PLACE,
        *words,
        "--only",
        "elevation,ways",
    ]
    run = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
                           env={**os.environ, "PYTHONPATH": "src"})  # fmt: skip
    until = time.monotonic() + 60
    while not services.log("dem") and time.monotonic() < until:
        time.sleep(0.1)
    run.send_signal(signal.SIGINT)
    assert run.wait(20) == 130
    assert run.stderr is not None
    assert "nothing is left half-written" in run.stderr.read()
    run.stderr.close()
    assert not (tmp_path / "c").exists()
    assert not list((tmp_path / "cache").glob("work-*"))


def test_without_elevation_there_is_no_country(services, words, tmp_path, capsys):
    services.faults({"path": "/(dem|glo30|terrain)/", "what": "503", "times": 9999})
    assert main(["gather", str(tmp_path / "c"), *PLACE, *words, "--only", "elevation,forecast"]) == 3
    said = capsys.readouterr().err
    assert "no elevation could be had" in said
    assert not (tmp_path / "c").exists()
    assert said.count("\n") == 1


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (["--around", "39.3,-111.5"], "--radius"),
        (["--bounds", "179.9", "51", "-179.9", "51.2"], "cross the antimeridian"),
        (["--around", "89.9,0", "--radius", "5mi"], "between 80 S and 84 N"),
        (["--radius", "3km"], "--around"),
        ([], "no ground was named"),
        ([*PLACE, "--only", "elevatoin"], "did you mean 'elevation'"),
        ([*PLACE, "--only", "forecast"], "elevation is not to be gathered"),
        ([*PLACE, "--without", "elevation"], "elevation is not to be gathered"),
        ([*PLACE, "--cell", "0.1"], "1 to 250"),
        ([*PLACE, "--date", "tomorrow"], "YYYY-MM-DD"),
        (["--around", "39.3,-111.5", "--radius", "500km"], "accepted"),
        (["--around", "89.9,0", "--radius", "3km"], "84 N"),
        (["--around", "0,179.99", "--radius", "9km"], "antimeridian"),
        (["--bounds", "-111", "39", "-112", "40"], "check their order"),
        (["--inside", "nowhere.geojson"], "no boundary file"),
        ([*PLACE, "--closeup", "40,-111.5"], "outside the ground wanted"),
    ],
)
def test_what_can_not_be_gathered_for_is_refused_before_anyone_is_asked(
    services, words, tmp_path, capsys, given, said
):
    assert main(["gather", str(tmp_path / "c"), *given, *words]) == 2
    error = capsys.readouterr().err
    assert said in error
    assert error.count("\n") == 1
    assert services.log() == []


def test_inside_a_boundary(services, words, tmp_path):
    ring = [
        [LON - 0.02, LAT - 0.015],
        [LON + 0.02, LAT - 0.015],
        [LON, LAT + 0.02],
        [LON - 0.02, LAT - 0.015],
    ]
    path = tmp_path / "hunt.geojson"
    path.write_text(json.dumps({"type": "Polygon", "coordinates": [ring]}))
    folder = tmp_path / "c"
    assert main(["gather", str(folder), "--inside", str(path), *words, "--only", "elevation"]) == 0
    country = Country.open(folder)
    assert len(country.features("unit")) == 1
    assert country.grid.contains(LonLat(LON, LAT + 0.018))


def test_an_invented_range_refuses(gathered, words, services, tmp_path, capsys):
    shutil.copytree(gathered[0] / "country", tmp_path / "invented")
    facts = tmp_path / "invented/country.json"
    facts.write_text(facts.read_text().replace('"invented": false', '"invented": true'))
    assert main(["gather", str(tmp_path / "invented"), *words, "--only", "forecast"]) == 2
    assert "is invented" in capsys.readouterr().err
    assert services.log() == []


def test_a_country_is_given_a_new_forecast_and_nothing_else(gathered, services, words, capsys):
    folder = str(gathered[0] / "country")
    assert main(["gather", folder, *words, "--only", "elevation"]) == 2
    assert "is a country already" in capsys.readouterr().err
    assert main(["gather", folder, *words, "--only", "forecast"]) == 0
    facts = [fact for fact in Country.open(gathered[0] / "country").facts if fact.name == "forecast.json"]
    assert len(facts) == 1
    report = json.loads((gathered[0] / "country/gathered.json").read_text())
    told = [one["kind"] for one in report["asked"]]
    assert (told.count("forecast"), told.count("elevation")) == (1, 1)
    services.faults({"path": "nws", "what": "503", "times": 99})
    assert main(["gather", folder, *words, "--only", "forecast", "--again"]) == 0  # the kept one does


def test_a_killed_gathering_goes_on_without_asking_again_for_what_it_has(services, words, tmp_path):
    """Killed by the system while answers are slow; then run again to its end."""
    services.faults({"path": "query|gridpoints|stac|interpreter", "what": "slow", "wait_s": 3.0, "times": 99})
    command = [
        sys.executable,
        "-m",
        "graylight",
        "gather",
        str(tmp_path / "c"),
        *PLACE,
        *words,
        "--without",
        "imagery",
    ]
    run = subprocess.Popen(
        command, cwd=ROOT, stdout=subprocess.DEVNULL, env={**os.environ, "PYTHONPATH": "src"}
    )
    until = time.monotonic() + 60
    while len([e for e in services.log() if e["status"] in (200, 206)]) < 8 and time.monotonic() < until:
        time.sleep(0.1)
    time.sleep(1.0)
    run.send_signal(signal.SIGKILL)
    run.wait(20)
    held = what_is_held(tmp_path / "cache")
    assert len(held) >= 4
    assert not (tmp_path / "c").exists()
    assert list((tmp_path / "cache").glob("work-*"))  # a killed run can't clear away
    services.faults()
    assert main(["gather", str(tmp_path / "c"), *PLACE, *words, "--without", "imagery"]) == 0
    asked = services.log()
    assert asked, "something was still lacking"
    assert not [entry for entry in asked if is_held(entry, held)]
    assert Country.open(tmp_path / "c").has("elevation")
    assert not list((tmp_path / "cache").glob("work-*"))  # the next one does


def test_a_run_at_work_is_not_cleared_away(tmp_path):
    store = Store(tmp_path)
    with store.workplace() as one, Store(tmp_path).workplace() as other:
        assert one.is_dir()
        assert one != other
    assert not list(tmp_path.glob("work-*"))


def what_is_held(cache) -> list[dict]:
    """The sidecars of a store: answers, and rasters with the ranges of bytes that are held."""
    return [json.loads(path.read_text()) for path in cache.glob("*/*.json")]


def is_held(entry: dict, held: list[dict]) -> bool:
    """Whether a request asks for something that a store has."""
    for one in held:
        path, _, query = one["url"].split("/", 3)[3].partition("?")
        if f"/{path}" != entry["path"] or (entry["method"] == "POST"):
            continue
        if "held" not in one:
            if query == entry["query"]:
                return True
            continue
        first, last = map(int, entry["range"].removeprefix("bytes=").split("-"))
        if any(a <= first and last < b for a, b in one["held"]):
            return True
    return False


def test_a_stop_leaves_nothing_half_made_and_keeps_what_was_had(services, tmp_path):
    services.faults({"path": "interpreter", "what": "slow", "wait_s": 0.8, "times": 9})

    def tick(_fraction: float) -> None:
        if len(services.log()) >= 3:
            raise Cancelled("enough")

    with services.gate(tmp_path / "store") as gate, pytest.raises(Cancelled):
        gather(tmp_path / "c", wanted(), kinds("elevation,cover,ways,forecast"), gate, tick=tick)
    assert not (tmp_path / "c").exists()
    time.sleep(1.0)
    assert [p for p in (tmp_path / "store").iterdir() if p.name.startswith("work-")] == []


def test_fine_cells_that_can_not_be_had_are_said(services, words, tmp_path):
    services.faults({"path": "/tnm/", "what": "503", "times": 99})
    folder = tmp_path / "c"
    assert main(["gather", str(folder), *PLACE, *words, "--only", "elevation", "--cell", "5"]) == 0
    country = Country.open(folder)
    assert country.grid.cell_m == 60.0
    assert any("cells of 5 m were asked for" in line for line in country.record)


def test_the_report_says_how_old(services, tmp_path):
    with services.gate(tmp_path / "store") as gate:
        found = gather(tmp_path / "c", wanted(1200.0), kinds("elevation,cover"), gate)
    told = tell_report(found.report, now() + dt.timedelta(days=40))
    assert any("data of 2021, had 40 days ago" in line for line in told)


def test_every_thing_that_can_lack_says_what_that_means():
    assert {kind.name for kind in KINDS if not kind.needed} == set(MEANS)


def test_a_service_is_named_once_where_it_gave_nothing():
    told = [
        Asked(
            kind="elevation",
            words="elevation",
            service="Copernicus",
            got=False,
            why="Copernicus has nothing here",
        ),
        Asked(kind="elevation", words="elevation", service="Tiles", got=True),
        Asked(
            kind="cover", words="land cover", service="WorldCover", got=False, why="the address has expired"
        ),
    ]
    lines = tell_report(Report(asked=told, requests=0, bytes=0), now())
    assert lines[0] == "passed over for elevation: Copernicus has nothing here"
    assert lines[2].startswith("missing land cover: WorldCover: the address has expired; ")


def test_elsewhere_on_earth_the_usas_services_are_not_asked(services, tmp_path):
    ground = Wanted(around(LonLat(10.5, 47.0), 2000), Settings().date)
    with services.gate(tmp_path / "store") as gate:
        found = gather(tmp_path / "c", ground, chosen(None, None, ground), gate)
    asked = {entry["path"].split("/")[1] for entry in services.log()}
    assert not asked & {"dem", "naip", "pictures", "gnis", "padus", "blm", "nws", "nlcd"}
    # no file of GLO-30 is there: the tiles were asked; what the ways' service sent lies elsewhere, and is left out
    assert found.country.facts[0].source == "Terrain tiles (elevation as pictures)"
    assert any("nothing of it lies in the country" in line for line in found.country.record)
    assert any("no service is known for this ground" in str(one.why) for one in found.report.asked)


def test_the_estimate_knows_that_coarse_cells_take_overviews(services, tmp_path):
    with services.gate(tmp_path / "store") as gate:
        fine, coarse = (
            sum(
                one.size
                for one in expected(kinds("elevation,cover"), gate.services, wanted(20_000.0, cell_m=cell))
            )
            for cell in (10.0, 90.0)
        )
    assert coarse < fine / 19  # of small windows the whole blocks count


def test_the_estimate_counts_whole_blocks(services, tmp_path):
    """Ten miles by ten at 46.5 N of GLO-30, cells of 1", blocks of 1024: (760 + 1024) (521 + 1024) cells and not 760 x 521."""
    with services.gate(tmp_path / "store") as gate:
        there = Wanted(around(LonLat(8.0, 46.5), 8_046.7), Settings().date)
        (had,) = expected(kinds("elevation", there), gate.services, there)
        service = gate.services["glo30"]
    rows, cols = 16_093.0 / 30.9, 16_093.0 / (30.9 * math.cos(math.radians(46.5)))
    expect = (rows + 1024) * (cols + 1024) * float(service.more["bytes_a_cell"])
    assert had.service.key == "glo30"
    assert had.size == pytest.approx(expect, rel=0.1)


@pytest.mark.skipif(sys.platform == "win32", reason="the system has no limit for the size of files")
@pytest.mark.parametrize("most", [9_000, 60_000, 120_000])
def test_a_full_disk_is_said_in_one_line_and_leaves_nothing(services, words, tmp_path, most):
    """No file may be larger: the system then refuses to write on, as it does on a full disk."""
    import resource

    command = [
        sys.executable,
        "-m",
        "graylight",
        "gather",
        str(tmp_path / "c"),
        *PLACE,
        *words,
        "--only",
        "elevation,cover",
    ]
    run = subprocess.run(
        command, cwd=ROOT, capture_output=True, text=True, env={**os.environ, "PYTHONPATH": "src"},
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (most, most)), check=False,
    )  # fmt: skip
    said = [line for line in run.stderr.splitlines() if line.startswith("graylight: ")]
    assert (run.returncode, len(said)) == (2, 1), run.stderr
    assert "Traceback" not in run.stderr
    assert "accepted is a" in said[0]
    assert not (tmp_path / "c").exists()
    assert not [p.name for p in tmp_path.iterdir() if "making" in p.name]

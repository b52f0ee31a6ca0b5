"""The apron: gathered, kept beside the country's grid, and told."""

from __future__ import annotations

import json
import shutil

import numpy as np
import pytest

from graylight.cli.main import main
from graylight.country.apron import APRON, CELL_M, REACH_M, apron_grid, apron_of, write_apron
from graylight.country.folder import Country
from graylight.errors import BadInput
from graylight.gather.gathering import gather
from graylight.gather.order import expected
from graylight.plan.making import read_ground
from graylight.plan.stages_kept import Kept
from tests.unit.open_fixtures import kinds, wanted
from tests.unit.open_ground import LAT, LON, ground_m


@pytest.fixture(scope="module")
def country(open_services, tmp_path_factory):
    open_services.faults()
    folder = tmp_path_factory.mktemp("apron")
    with open_services.gate(folder / "store") as gate:
        return gather(folder / "home", wanted(), kinds("elevation,apron"), gate).country


def test_it_reaches_forty_kilometres_on_its_own_grid(country):
    apron = apron_of(Country.open(country.folder))
    assert apron is not None
    inner, outer = country.grid.bounds, apron.grid.bounds
    for side in ("west", "south"):
        assert REACH_M <= getattr(inner, side) - getattr(outer, side) < REACH_M + CELL_M
    for side in ("east", "north"):
        assert REACH_M <= getattr(outer, side) - getattr(inner, side) < REACH_M + CELL_M
    assert apron.grid.crs == country.grid.crs


def test_its_heights_are_those_of_the_ground_and_five_metres_of_trees(country):
    apron = apron_of(country)
    row, col = apron.grid.rows // 2, apron.grid.cols // 2
    rows, cols = np.mgrid[row - 60 : row + 60, col - 60 : col + 60]
    lon, lat = apron.grid.lonlats(rows.ravel(), cols.ravel()).T
    off = apron.elevation_m[rows, cols].ravel() - (ground_m(lon, lat) + 5.0)
    assert np.abs(off).max() < 4.0  # cells of 250 m, read between


def test_what_is_not_there_is_unknown_and_said(country):
    apron = apron_of(country)
    assert np.isnan(apron.elevation_m[:, 0]).any()  # west of 112 degrees the tests' service has nothing
    told = next(fact for fact in country.facts if fact.name == "apron")
    assert told.surface
    assert told.source == "Copernicus DEM GLO-90 (a surface model)"
    assert any("are not there" in words for words in told.done)


def test_pictures_of_heights_stand_in(services, tmp_path):
    services.faults({"path": "^/glo90", "what": "500", "times": 999})
    with services.gate(tmp_path / "store", manners="tries = 1") as gate:
        got = gather(tmp_path / "home", wanted(), kinds("elevation,apron"), gate)
    told = next(fact for fact in got.country.facts if fact.name == "apron")
    assert told.source.startswith("Terrain tiles")
    assert np.isfinite(apron_of(got.country).elevation_m).all()


def test_a_country_without_it_opens_and_says_so(services, tmp_path):
    services.faults({"path": "^/(glo90|terrain)", "what": "500", "times": 999})
    with services.gate(tmp_path / "store", manners="tries = 1") as gate:
        got = gather(tmp_path / "home", wanted(), kinds("elevation,apron"), gate)
    assert apron_of(got.country) is None
    assert any("heights around the country could not be gathered" in words for words in got.country.record)
    assert not (got.country.folder / APRON).exists()


def test_the_same_bytes_again(services, country, tmp_path):
    with services.gate(tmp_path / "store") as gate:
        again = gather(tmp_path / "home", wanted(), kinds("elevation,apron"), gate).country
    assert (again.folder / APRON).read_bytes() == (country.folder / APRON).read_bytes()


def test_the_grid_is_that_of_the_country_and_nothing_else(country):
    given = json.loads((country.folder / "country.json").read_text())
    assert "apron" in {fact["name"] for fact in given["layers"]}
    assert apron_grid(country.grid) == apron_of(country).grid


def test_the_estimate_is_of_its_cells(services, tmp_path):
    with services.gate(tmp_path / "store") as gate:
        told = expected(kinds("apron"), gate.services, wanted())
    # by hand: 86 km are 930 by 1,200 cells of 3 seconds, which touch 1.9 by 2.2 blocks of 1024, 2.6 bytes a cell, and the heads
    assert 10e6 < told[0].size < 13e6
    assert (LON, LAT) == (-111.5, 39.3)


def test_the_plan_says_what_it_does_with_it(country, tmp_path, capsys):
    bare = tmp_path / "bare"
    shutil.copytree(country.folder, bare)
    facts = json.loads((bare / "country.json").read_text())
    facts["layers"] = [fact for fact in facts["layers"] if fact["name"] != "apron"]
    (bare / "country.json").write_text(json.dumps(facts))
    (bare / APRON).unlink()
    for home, words in ((country.folder, "known to 40 km"), (bare, "no ground beyond")):
        assert main(["plan", str(home), "--json"]) == 0
        told = json.loads(capsys.readouterr().out)["not_known"]
        (line,) = [one for one in told if "beyond the country's edge" in one]
        assert words in line


def test_a_wall_in_the_apron_makes_the_plans_first_sun_late(country, tmp_path):
    """From the country's folder to the layer that is written: a range is set into the apron's file in the east."""
    home = tmp_path / "walled"
    shutil.copytree(country.folder, home)
    plain = Country.open(home)
    walled = np.full_like(apron_of(plain).elevation_m, 2000.0)
    (home / APRON).unlink()
    early = read_ground(plain, Kept()).shade.first_sun_s
    walled[:, 3 * walled.shape[1] // 4 :] = 6000.0
    write_apron(home, walled, plain.grid)
    late = read_ground(plain, Kept()).shade.first_sun_s
    open_ground = early < np.nanmin(early) + 900.0  # the rest lies in the shade of the country's own hills
    assert open_ground.sum() > 50
    assert (late[open_ground] - early[open_ground] > 1200.0).all()
    assert not (late < early - 31.0).any()


def test_a_damaged_apron_is_said_in_one_line(country, tmp_path):
    home = tmp_path / "damaged"
    shutil.copytree(country.folder, home)
    (home / APRON).write_bytes(b"no raster")
    with pytest.raises(BadInput, match=r"apron\.tif can't be read") as told:
        apron_of(Country.open(home))
    assert "\n" not in str(told.value)


@pytest.mark.parametrize("damage", ["no raster", "cut", "another grid"])
def test_a_plan_goes_on_without_a_damaged_apron_and_says_so(country, tmp_path, capsys, damage):
    """The same plan as without one, but for what is said of the ground beyond the edge."""
    homes = [tmp_path / "damaged", tmp_path / "bare"]
    for home in homes:
        shutil.copytree(country.folder, home)
    whole = (country.folder / APRON).read_bytes()
    (homes[1] / APRON).unlink()
    if damage == "another grid":
        shutil.copy(next((homes[0] / "layers").glob("elevation*.tif")), homes[0] / APRON)
    else:
        (homes[0] / APRON).write_bytes(b"no raster" if damage == "no raster" else whole[: len(whole) // 2])
    told = []
    for home in homes:
        assert main(["plan", str(home), "--json"]) == 0
        told.append(json.loads(capsys.readouterr().out))
    (line,) = [one for one in told[0]["not_known"] if "apron.tif, is damaged" in one]
    assert "gather the country again into a new folder" in line
    (other,) = [one for one in told[1]["not_known"] if "beyond the country's edge" in one]
    assert len(told[0]["not_known"]) == len(told[1]["not_known"])
    assert other.split(":")[1] in line  # the same doubt
    for one in told:
        del one["not_known"]
    assert told[0] == told[1]

"""The wind that is set (`sit.wind`) stands in where none is given, says so, and leaves the plan as good as it was."""

from __future__ import annotations

import json
import shutil

import pytest

from graylight.cli.main import main
from graylight.country.folder import Country
from graylight.country.rows import Rows
from graylight.country.settings_file import changed, read_settings, write_settings
from graylight.errors import BadInput
from graylight.plan.aside import aside, heard_settings
from graylight.plan.edits import edited
from graylight.plan.keeping import make_plan
from graylight.plan.wind_asked import wind_asked
from graylight.settings import Settings, SitSettings
from graylight.wind import CALM, read_wind
from tests.unit.page_server import page_over

JSON = {"content-type": "application/json"}


@pytest.fixture
def windy(small, tmp_path):
    """A country on whose page the wind was set."""
    folder = shutil.copytree(small, tmp_path / "windy")
    Rows(Country.open(folder)).add("edits", None, what="set", target="sit.wind", value="W 10 mph")
    return folder


def told(capsys, *words):
    assert main(list(words)) == 0
    return json.loads(capsys.readouterr().out)


def test_a_wind_given_goes_before_the_one_set_and_none_leaves_both_out():
    settings = Settings(sit=SitSettings(wind="SW 8 mph"))
    assert wind_asked(settings, None).general == read_wind("SW 8 mph")
    assert wind_asked(settings, None).told.as_set
    assert wind_asked(settings, "N 5 mph").told.said == "N 5 mph"
    assert not wind_asked(settings, "N 5 mph").told.as_set
    for none in (wind_asked(settings, " None "), wind_asked(Settings(), None)):
        assert none.general == CALM
        assert not none.told.given
        assert not none.told.as_set


def test_what_is_no_wind_is_refused_in_the_words_of_the_option():
    with pytest.raises(BadInput, match=r"sit\.wind is 'breezy'; accepted: a direction it blows from"):
        changed(Settings(), sit={"wind": "breezy"})
    with pytest.raises(BadInput, match=r"sit\.wind is 3;"):
        read_settings("[sit]\nwind = 3")


@pytest.mark.parametrize("words", ["", "  ", "none", " NONE "])
def test_empty_is_none_and_a_file_keeps_what_was_set(words):
    assert changed(Settings(), sit={"wind": words}).sit.wind is None
    set_so = changed(Settings(), sit={"wind": " SW  8 mph "})
    assert read_settings(write_settings(set_so)).sit.wind == "SW 8 mph"


def test_commands_take_it_and_say_so(windy, capsys):
    seat = ("morning", str(windy), "--lookout", "L1")
    found = told(capsys, *seat, "--json")
    assert found["wind"] == {
        "said": "W 10 mph", "given": True, "as_set": True, "from_true_deg": 270.0, "speed_ms": 4.5
    }  # fmt: skip
    assert told(capsys, *seat, "--wind", "N 5 mph", "--json")["wind"]["as_set"] is False
    assert told(capsys, *seat, "--wind", "none", "--json")["wind"]["given"] is False
    assert main(list(seat)) == 0
    assert "wind W 10 mph as set." in " ".join(capsys.readouterr().out.split())
    following = told(capsys, "next", str(windy), "--mornings", "1", "--json")
    assert (following["wind"], following["wind_given"], following["wind_as_set"]) == ("W 10 mph", True, True)
    assert told(capsys, "camp", str(windy), "--lookout", "L1", "--json")["wind"]["as_set"]


def test_the_packet_has_it_too(windy, capsys):
    assert main(["packet", str(windy), "--lookouts", "L1"]) == 0
    capsys.readouterr()
    text = (windy / "packet" / "packet.html").read_text(encoding="utf-8")
    assert "wind W 10 mph as set" in " ".join(text.split())


def test_the_plan_is_the_same_bytes_whatever_stands_aside(small, tmp_path):
    """What counts as aside must be so: a plan under other values of it differs in nothing."""
    made = []
    for i, said in enumerate(([], [("units", "metric"), ("sit.wind", "W 10 mph")])):
        folder = shutil.copytree(small, tmp_path / f"{i}" / "country")
        for key, value in said:
            assert aside(key)
            Rows(Country.open(folder)).add("edits", None, what="set", target=key, value=value)
        make_plan(edited(Country.open(folder)))
        made.append((folder / "plan" / "plan.json").read_bytes())
    assert made[0] == made[1]
    assert not aside("date")
    assert heard_settings("[sit]\nwatch_minutes = 90") != heard_settings("")
    assert heard_settings("no TOML at all") == "no TOML at all"


def test_on_the_page_it_is_an_edit_and_no_reason_to_plan_anew(small, tmp_path):
    def said(page, value):
        body = {"values": {"what": "set", "target": "sit.wind", "value": value}}
        return page.client.post("/api/rows/edits", content=json.dumps(body), headers=JSON)

    with page_over(small, tmp_path) as page:
        assert said(page, "SW 8 mph").status_code == 201
        state = page.client.get("/api/state").json()
        assert state["settings"]["all"]["sit"]["wind"] == "SW 8 mph"
        assert not state["stale"]
        morning = page.client.get("/api/morning?lookout=L1").json()
        assert morning["morning"]["wind"]["as_set"]
        assert (
            "wind SW 8 mph as set"
            in morning["notes"][0]["sentences"][0] + morning["notes"][0]["sentences"][1]
        )
        refused = said(page, "breezy")
        assert refused.status_code == 422
        assert "a direction it blows from" in refused.json()["detail"]
        assert page.client.get("/api/rows").json()["features"][-1]["properties"]["value"] == "SW 8 mph"
        page.client.post("/api/undo", content="{}", headers=JSON)
        assert page.client.get("/api/state").json()["settings"]["all"]["sit"]["wind"] is None

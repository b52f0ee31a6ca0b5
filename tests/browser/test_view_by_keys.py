"""The drawn view of a lookout by the keyboard: the cross goes along the land, is told aloud, and does what a touch does.

Bearings and distances are held to pyproj.Geod (WGS 84), from the lookout to the ground that the answer names.
"""

from __future__ import annotations

import contextlib
import json
import re
import sqlite3
from typing import Any

import pytest

from graylight.grid import WGS84


@pytest.fixture
def view(opened, country) -> Any:
    """The page with a lookout of the plan picked and its view drawn, the keys on the view."""
    plan = json.loads((country / "plan" / "plan.json").read_text())
    lookout = next(one for one in plan["lookouts"] if one["id"] == plan["sets"][0]["lookouts"][0])
    seen = opened(1300, 800)
    seen.page.locator(f"li[data-lookout={lookout['id']}] .name").click()
    seen.page.wait_for_selector(".horizon[data-drawn]")
    seen.settle()
    seen.lookout = lookout
    return seen


def taken_up(seen: Any) -> dict[str, Any]:
    """Tab from the button beside it, as a hand on the keys comes there: what lies under the cross."""
    seen.page.get_by_role("button", name="roll it up").focus()
    with seen.page.expect_response(re.compile("/api/horizon/ground")) as coming:
        seen.page.keyboard.press("Tab")
    return coming.value.json()


def press(seen: Any, key: str) -> dict[str, Any]:
    with seen.page.expect_response(re.compile("/api/horizon/ground")) as coming:
        seen.page.keyboard.press(key)
    return coming.value.json()


def slider(seen: Any) -> Any:
    return seen.page.get_by_role("slider", name=re.compile("^Cross on the view"))


def bearing(seen: Any) -> int:
    return int(slider(seen).get_attribute("aria-valuenow"))


def spoken(seen: Any, words: str) -> str:
    """What is told aloud, once it holds some words."""
    seen.until(
        "words => document.querySelector('.horizon .picture').getAttribute('aria-valuetext').includes(words)",
        words,
    )
    return slider(seen).get_attribute("aria-valuetext")


def test_the_cross_goes_along_the_land_and_is_told(view):
    first = taken_up(view)
    page, seat = view.page, view.lookout["place"]
    assert not first["sky"]
    assert spoken(view, " off at ").startswith(tuple(one["pocket"] for one in view.lookout["sees"]))
    assert page.locator(".cross").is_visible()
    assert (
        page.evaluate("getComputedStyle(document.querySelector('.horizon .scroll')).outlineStyle") == "solid"
    )
    toward, _, away = WGS84.inv(seat["lon"], seat["lat"], first["lon"], first["lat"])
    assert abs((bearing(view) - toward + 180) % 360 - 180) < 1.5
    assert abs(first["distance_m"] - away) < 15.0  # from the middle of one cell of ground to another's

    before = bearing(view)
    press(view, "ArrowRight")
    assert (bearing(view) - before) % 360 == 1
    press(view, "Shift+ArrowLeft")
    assert (before - bearing(view)) % 360 == 9

    near, far = press(view, "Shift+ArrowDown"), press(view, "Shift+ArrowUp")
    assert not near["sky"]
    assert near["distance_m"] < far["distance_m"]
    for _ in range(40):
        if press(view, "Shift+ArrowUp")["sky"]:
            break
    assert spoken(view, "sky").startswith("sky, at ")
    assert not press(view, "ArrowDown")["sky"]
    page.keyboard.press("Tab")
    assert page.locator(".cross").count() == 0


def test_enter_finds_the_ground_on_the_map(view):
    ground = taken_up(view)
    spoken(view, " off at ")
    view.page.evaluate("document.querySelector('.map').graylight.jumpTo({ zoom: 11 })")
    view.page.keyboard.press("Enter")
    view.until("document.querySelector('.map').graylight.getZoom() >= 13")
    view.settle()
    x, y = view.at(ground["lon"], ground["lat"])
    notes = view.page.locator(".notes").bounding_box()
    strip = view.page.locator(".horizon").bounding_box()
    assert abs(x - notes["x"] / 2) < 60, "in the middle of what nothing covers"
    assert 60 < y < strip["y"]
    shown = view.page.evaluate(
        "document.querySelector('.map').graylight.queryRenderedFeatures({ layers: ['here'] })[0].geometry.coordinates"
    )
    assert shown == pytest.approx([ground["lon"], ground["lat"]], abs=1e-4)


def test_animals_are_placed_by_keys(view, country):
    page, name = view.page, view.lookout["id"]
    button = page.get_by_role("button", name=f"animals seen on the view from {name}")
    button.focus()
    with page.expect_response(re.compile("/api/horizon/ground")):
        page.keyboard.press("Enter")  # the keys go on to the view by themselves
    ground = press(view, "ArrowDown")
    spoken(view, " off at ")
    page.keyboard.press("Enter")
    page.wait_for_selector("[data-part=seen-form]")
    view.until("document.activeElement.getAttribute('aria-label') === 'How many'")
    page.keyboard.press("Enter")
    page.locator("[data-part=record-told]").wait_for()
    with contextlib.closing(sqlite3.connect(country / "country.gpkg")) as db:
        placed, away = db.execute(
            "SELECT placed, distance_m FROM sightings ORDER BY fid DESC LIMIT 1"
        ).fetchone()
    assert placed == "strip"
    assert abs(away - ground["distance_m"]) < 30.0  # along the ray, not from cell to cell
    with page.expect_response(re.compile("/api/undo$")):
        page.get_by_role("button", name=re.compile("^take back")).click()
    page.wait_for_selector("[data-part=saved]:has-text('Taken back')")


def test_sky_is_no_place_for_animals(view):
    page = view.page
    page.get_by_role("button", name=re.compile("^animals seen on the view")).click()
    taken_up(view)
    for _ in range(40):
        if press(view, "Shift+ArrowUp")["sky"]:
            break
    spoken(view, "sky")
    page.keyboard.press("Enter")
    page.get_by_role("alert").get_by_text("That is sky").wait_for()
    assert page.locator("[data-part=seen-form]").count() == 0

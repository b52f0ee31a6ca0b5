"""How the page holds together: what was touched stays in sight, what can't be is put back, and marks can be read in relief."""

from __future__ import annotations

import io
import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from tests.browser.conftest import serving
from tests.browser.seen import Seen

SEAT = (-114.8140, 40.4190)
TOUCHED = (-114.80, 40.47)


@pytest.fixture(scope="module")
def plan(country: Path) -> Any:
    return json.loads((country / "plan" / "plan.json").read_text())


def test_a_lookout_let_go_outside_the_country_is_put_back(opened, plan):
    seen: Seen = opened(1300, 800)
    page = seen.page
    lookout = next(one for one in plan["lookouts"] if one["id"] == plan["sets"][0]["lookouts"][0])
    at = (lookout["place"]["lon"], lookout["place"]["lat"])
    west = page.evaluate("fetch('/api/state').then((one) => one.json()).then((one) => one.country.bounds[0])")
    page.locator(f"li[data-lookout={lookout['id']}] .name").click()
    seen.go((at[0] + west) / 2, at[1], 12.4)
    before = json.loads(page.evaluate("fetch('/api/rows').then((one) => one.text())"))["revision"]
    (x1, y1), (x2, y2) = seen.at(*at), seen.at(west - 0.006, at[1])
    page.mouse.move(x1, y1)
    page.mouse.down()
    for i in range(1, 11):
        page.mouse.move(x1 + (x2 - x1) * i / 10, y1 + (y2 - y1) * i / 10)
        page.wait_for_timeout(40)
    page.mouse.up()
    page.get_by_role("alert").get_by_text(f"{lookout['id']} is back where it was").wait_for()
    seen.refused(422)
    seen.settle()
    drawn = page.evaluate(
        """id => document.querySelector('.map').graylight.querySourceFeatures('lookouts')
            .filter((one) => one.properties.id === id).map((one) => one.geometry.coordinates)""",
        lookout["id"],
    )
    assert drawn
    assert drawn[0] == pytest.approx(at, abs=2e-4)
    assert json.loads(page.evaluate("fetch('/api/rows').then((one) => one.text())"))["revision"] == before
    page.wait_for_selector(f"[data-part=in-sight][data-lookout={lookout['id']}]:has-text('%')")


def test_what_was_touched_stays_in_sight_on_a_phone_when_a_form_grows(opened):
    seen: Seen = opened(390, 844, phone=True)
    page = seen.page
    seen.settle()
    page.touchscreen.tap(*seen.at(*TOUCHED))
    page.wait_for_selector(".slip [data-part=ground]")
    heights = []
    for more in (None, "mark it", "animals were here", "class, which way they went"):
        if more:
            page.get_by_role("button", name=more).tap()
            page.wait_for_timeout(400)
        seen.settle()
        slip = page.locator(".slip").bounding_box()
        x, y = seen.at(*TOUCHED)
        assert 0 < x < 390
        assert 60 < y < slip["y"] - 12, more
        heights.append(slip["height"])
    assert max(heights) > heights[0] + 40, "the form did grow"


def test_sit_here_is_followed_as_if_it_had_been_touched(opened):
    seen: Seen = opened(1440, 900)
    page = seen.page
    seen.go(*SEAT, 13.1)
    page.mouse.click(*seen.at(*SEAT))
    page.get_by_role("button", name="Sit here").click()
    page.wait_for_selector("[data-part=saved]:has-text('Saved')")
    mine = page.locator("li[data-own=yes]")
    mine.locator("[data-low]").first.wait_for()
    name = mine.get_attribute("data-lookout")
    assert mine.locator("[aria-pressed=true]").count() == 1
    page.wait_for_selector(f"[data-part=in-sight][data-lookout='{name}']:has-text('%')")
    page.wait_for_selector(".horizon[data-drawn]")
    seen.until(
        """() => {
            const box = document.querySelector('li[data-own=yes]').getBoundingClientRect();
            return box.top >= 0 && box.top < innerHeight - 20;
        }"""
    )
    seen.settle()
    x, y = seen.at(*SEAT)
    strip = page.locator(".horizon").bounding_box()
    assert 0 < x < page.locator(".notes").bounding_box()["x"]
    assert 0 < y < strip["y"], "not under what came up from the foot"
    with page.expect_response(re.compile("/api/undo$")):
        page.get_by_role("button", name=re.compile("^take back")).click()
    page.wait_for_selector("[data-part=saved]:has-text('Taken back')")


@pytest.mark.parametrize(("size", "phone"), [((1440, 900), False), ((390, 844), True)], ids=["desk", "phone"])
def test_the_view_takes_a_quarter_of_the_height_at_most(opened, plan, size, phone):
    seen: Seen = opened(*size, phone=phone)
    page = seen.page
    if phone:
        page.locator(".fold").tap()
    for lookout in plan["lookouts"]:
        if phone and not page.locator(".page").count():
            page.locator(".fold").tap()
        page.locator(f"li[data-lookout={lookout['id']}] .name").click()
        page.wait_for_selector(".horizon[data-drawn]")
        assert page.locator(".horizon").bounding_box()["height"] <= size[1] / 4 + 0.5
    # of what is drawn nearly all is there at once
    hidden = page.locator(".horizon .scroll").evaluate("one => one.scrollHeight - one.clientHeight")
    assert hidden < 32


def test_north_is_kept_in_a_half_filled_form(opened, plan):
    seen: Seen = opened(1300, 800)
    page = seen.page
    page.locator(f"li[data-lookout={plan['lookouts'][0]['id']}] .name").click()
    page.get_by_role("button", name="or by bearing and distance").click()
    assert page.get_by_label("North of the bearing").input_value() == "magnetic"
    page.get_by_label("Bearing, degrees").fill("101.5")
    page.get_by_label("North of the bearing").select_option("true")
    page.reload()
    page.wait_for_selector("main[data-ready=yes]")
    page.locator("[data-part=seen-form]", has_text="as you left it").wait_for()
    assert page.get_by_label("North of the bearing").input_value() == "true"
    assert page.get_by_label("Bearing, degrees").input_value() == "101.5"
    page.locator("[data-part=seen-form]").get_by_role("button", name="let it be").click()


def test_a_lookout_stands_upright_in_relief(opened, plan):
    """Its glyph in pixels: laid flat at this tilt it would be half as high."""
    seen: Seen = opened(1300, 800)
    lookout = next(one for one in plan["lookouts"] if one["id"] == plan["sets"][0]["lookouts"][0])
    lon, lat = lookout["place"]["lon"], lookout["place"]["lat"]
    seen.go(lon, lat, 13.5)
    flat = glyph_height(seen, lon, lat)
    seen.page.evaluate(
        """([lon, lat]) => document.querySelector('.map').graylight.jumpTo({ center: [lon, lat], pitch: 60 })""",
        [lon, lat],
    )
    seen.settle()
    assert glyph_height(seen, lon, lat) > 0.85 * flat > 10


def glyph_height(seen: Seen, lon: float, lat: float) -> int:
    """Rows of the screen with the lookouts' amber about a place; its name below is left out."""
    x, y = (int(one) for one in seen.at(lon, lat))
    picture = np.asarray(Image.open(io.BytesIO(seen.page.screenshot())).convert("RGB"), int)
    near = picture[y - 26 : y + 12, x - 26 : x + 26]
    amber = (near[..., 0] > 220) & (near[..., 1] > 150) & (near[..., 1] < 215) & (near[..., 2] < 110)
    return int(amber.any(axis=1).sum())


def test_a_country_that_was_typed_as_a_relative_path_is_served_like_any(chromium, country):
    """Before, it was listed twice, the page broke over it, and on a phone the notes never opened."""
    with serving(country.name, country.parent) as url:
        seen = Seen(chromium, url, size=(390, 844), phone=True)
        seen.page.locator(".fold").tap()
        seen.page.locator("[data-part=where-to-sit]").wait_for()
        listed = seen.page.evaluate("fetch('/api/countries').then((one) => one.json())")
        assert [one["key"] for one in listed if one["open"]] == [country.name]
        assert len({one["key"] for one in listed}) == len(listed)
        seen.close()
        assert seen.complaints == []


def test_on_a_phone_the_key_and_the_map_are_seen_together(opened):
    seen: Seen = opened(390, 844, phone=True)
    page = seen.page
    page.get_by_role("button", name="its key").tap()
    page.locator(".choice li", has_text="open grass").wait_for()
    assert page.locator(".choice").bounding_box()["height"] < 844 / 4
    page.get_by_role("button", name="without its key").tap()
    page.locator(".sentence").tap()
    box = page.locator(".choice").bounding_box()
    assert box["y"] + box["height"] < 844 * 0.6
    page.get_by_label("for daylight").scroll_into_view_if_needed()  # all of it can still be come by
    page.locator(".choice li", has_text="worked ground").scroll_into_view_if_needed()


def test_what_lies_under_a_lookouts_shares_is_not_the_lookout(opened, plan):
    seen: Seen = opened(390, 844, phone=True)
    page = seen.page
    for lookout in plan["lookouts"][:3]:
        if not page.locator(".page").count():
            page.locator(".fold").tap()
        page.locator(f"li[data-lookout={lookout['id']}] .name").tap()
        page.wait_for_selector(".horizon[data-drawn]")
        page.wait_for_selector(f"[data-part=in-sight][data-lookout={lookout['id']}]")
        page.wait_for_timeout(700)
        seen.settle()
        _, y = seen.at(lookout["place"]["lon"], lookout["place"]["lat"])
        top = page.locator(".choice").bounding_box()
        assert top["y"] + top["height"] < y < page.locator("[data-part=in-sight]").bounding_box()["y"] - 8


def test_of_the_pocket_one_stands_in_no_bearing_is_told(opened, plan):
    seen: Seen = opened(1440, 900)
    page = seen.page
    pocket = plan["pockets"][0]
    at = (pocket["feed"][0]["place"]["lon"], pocket["feed"][0]["place"]["lat"])
    seen.go(*at, 14)
    page.mouse.click(*seen.at(*at))
    page.locator("[data-part=inside]").wait_for()
    own = page.locator(f".slip li[data-pocket={pocket['id']}]")
    assert own.count() == 0 or "around you" in own.inner_text()
    others = [one for one in page.locator(".slip p.quiet").all_inner_texts() if " off at " in one]
    assert not any(re.search(rf"pocket {pocket['id']}\b", one) for one in others)

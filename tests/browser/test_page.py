"""The map page on the invented range, as a person uses it. Each test leaves the country as it found it, by undo.

What is shown is checked against the command (`graylight look --json`, `graylight plan --json`) and the GeoPackage
itself, both outside the page. Times are printed at the end, never tested.
"""

from __future__ import annotations

import contextlib
import io
import json
import re
import sqlite3
import statistics
from pathlib import Path
from typing import Any

import pytest

from graylight.cli.main import main
from graylight.plan.model import NOTHING
from tests.browser.seen import Seen

MOST_BYTES = 700_000
SEAT = (-114.8140, 40.4190)
FARTHER = (-114.8130, 40.4240)
CUT_OFF = """[...document.querySelectorAll('button, select, input, label, h1, h2')].filter((one) => {
  const box = one.getBoundingClientRect();
  return box.width > 0 && !one.closest('.unseen, .scroll') && (box.left < -1 || box.right > innerWidth + 1);
}).map((one) => one.outerHTML)"""
NAMELESS = """[...document.querySelectorAll('button, select, input, textarea, [role=slider], canvas, img')].filter((one) =>
  ![one.getAttribute('aria-label'), one.alt, one.labels?.[0]?.textContent, one.textContent].some((name) => (name ?? '').trim())
).map((one) => one.outerHTML.slice(0, 120))"""


def told(*words: str) -> Any:
    """What the command prints as JSON."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        assert main(list(words)) == 0
    return json.loads(out.getvalue())


def look_json(country: Path, lon: float, lat: float) -> dict[str, dict[str, float]]:
    """Shares by pocket as the command works them out, but for those that are told as nothing."""
    found = told("look", str(country), "--at", f"{lat:.6f}, {lon:.6f}", "--json")
    return {one["pocket"]: one["share"] for one in found["sees"] if one["share"]["high"] >= NOTHING}


def edits(country: Path) -> list[tuple[str, str]]:
    """The edits as they lie in the GeoPackage."""
    with contextlib.closing(sqlite3.connect(country / "country.gpkg")) as db:
        return [(what, target) for what, target in db.execute("SELECT what, target FROM edits ORDER BY fid")]


def shares_of(item: Any) -> dict[str, dict[str, float]]:
    """Shares as a part of the page shows them."""
    found = item.locator("[data-low]").evaluate_all(
        "all => all.map((one) => [one.dataset.pocket, Number(one.dataset.low), Number(one.dataset.high)])"
    )
    return {pocket: {"low": low, "high": high} for pocket, low, high in found}


def same_shares(shown: dict[str, dict[str, float]], worked_out: dict[str, dict[str, float]]) -> bool:
    """Whether the page shows the command's shares, in full and none else."""
    ends = {pocket: {"low": one["low"], "high": one["high"]} for pocket, one in worked_out.items()}
    return shown == ends


def take_all_back(seen: Seen, country: Path, *, most: int = 6) -> None:
    """Undo until nothing that was said is left."""
    for _ in range(most):
        if not edits(country):
            return
        with seen.page.expect_response(re.compile("/api/undo$")):
            seen.page.get_by_role("button", name=re.compile("^take back")).click()
        seen.page.wait_for_selector("[data-part=saved]:has-text('Taken back')")
    assert edits(country) == []


@pytest.fixture(scope="module")
def plan(country) -> Any:
    return json.loads((country / "plan/plan.json").read_text())


def test_it_opens_small_and_says_where_to_sit_first(opened, plan):
    seen = opened()
    seen.settle()
    first = seen.page.locator("[data-part=where-to-sit]").inner_text()
    best = plan["sets"][0]["lookouts"][0]
    assert f"Sit at lookout {best}" in first
    assert first.index("Hidden from there") < first.index("It shows")
    assert seen.page.locator(".pocket").count() <= 8
    sizes = seen.page.evaluate(
        "performance.getEntriesByType('resource').concat(performance.getEntriesByType('navigation'))"
        ".filter((one) => !one.name.includes('/api/')).map((one) => [one.name.split('/').pop(), one.encodedBodySize])"
    )
    total = sum(size for _, size in sizes)
    assert any("worker" in name for name, _ in sizes), "the map's worker is counted"
    assert 200_000 < total < MOST_BYTES
    seen.say(
        f"first load {total / 1000:.0f} kB as sent (page, map, worker, letters); usable after {seen.usable_s:.2f} s"
    )
    seen.shot("first")


def test_a_lookout_is_made_and_dragged_and_shows_what_the_command_says(opened, country):
    seen = opened(900, 600)
    page = seen.page
    seen.go(*SEAT, 13.1)
    page.mouse.click(*seen.at(*SEAT))
    page.wait_for_selector(".slip [data-part=ground]")
    place = page.evaluate("document.querySelector('.slip').innerText")
    assert "on foot" in place
    for nearby in ((SEAT[0], SEAT[1] + 0.003), (SEAT[0], SEAT[1] + 0.002), SEAT):
        with page.expect_response(re.compile("/api/from-here")):
            page.mouse.click(*seen.at(*nearby))
    seen.until("performance.getEntriesByName('from-here', 'measure').length === 4")
    first, *warm = seen.took("from-here")
    seen.say(
        f"from here: {statistics.median(warm):.0f} ms from touch to answer, the first time {first:.0f} ms"
    )
    page.get_by_role("button", name="Sit here").click()
    page.wait_for_selector("[data-part=saved]:has-text('Saved')")
    mine = page.locator("li[data-own=yes]")
    mine.locator("[data-low]").first.wait_for()
    made = (float(mine.get_attribute("data-lon")), float(mine.get_attribute("data-lat")))
    assert made == pytest.approx(SEAT, abs=2e-4)
    assert same_shares(shares_of(mine), look_json(country, *made))
    name = mine.get_attribute("data-lookout")

    seen.settle()
    page.mouse.move(*seen.at(*made))
    page.mouse.down()
    steps = 24
    (x1, y1), (x2, y2) = seen.at(*made), seen.at(*FARTHER)
    for i in range(1, steps + 1):
        page.mouse.move(x1 + (x2 - x1) * i / steps, y1 + (y2 - y1) * i / steps)
        page.wait_for_timeout(40)
    assert seen.took("drag"), "the sight is redrawn while the lookout is still in the hand"
    page.mouse.up()
    moved = page.locator(f"li[data-lookout={name}]")
    seen.until(
        "([name, lon]) => Math.abs(document.querySelector(`li[data-lookout=${name}]`).dataset.lon - lon) < 2e-4",
        [name, FARTHER[0]],
    )
    page.wait_for_selector("[data-part=saved]:has-text('Saved')")
    there = (float(moved.get_attribute("data-lon")), float(moved.get_attribute("data-lat")))
    expected = look_json(country, *there)
    seen.until(
        "([name, count]) => document.querySelectorAll(`li[data-lookout=${name}] [data-low]`).length === count",
        [name, min(6, len(expected))],
    )
    assert same_shares(shares_of(moved), expected)
    drags = seen.took("drag")
    seen.say(
        f"drag: {len(drags)} answers, median {statistics.median(drags):.0f} ms from asking to shown, one under way at a time"
    )
    page.wait_for_selector(".horizon[data-drawn]")
    seen.settle()
    seen.shot("lookout")
    take_all_back(seen, country)
    page.wait_for_selector("li[data-own=yes]", state="detached")


def test_the_hand_on_the_day_strip_sets_the_light(opened):
    seen = opened()
    seen.page.wait_for_selector(".day[data-bands]:not([data-bands='0'])")
    strip = seen.page.locator(".day [role=slider]")
    box = strip.bounding_box()
    seen.page.mouse.move(box["x"] + box["width"] * 0.2, box["y"] + 8)
    seen.page.mouse.down()
    seen.page.mouse.move(box["x"] + box["width"] * 0.33, box["y"] + 8, steps=6)
    seen.page.mouse.up()
    seen.settle()
    clock = seen.page.locator("[data-part=clock]").inner_text()
    # a third of the way from midnight by the sun (00:40 PDT in this place and season) to the next is about 08:35
    assert re.match(r"08:[23]\d PDT", clock), clock
    assert any("/tiles/shade/" in url and "time=2026-08-27T15%3A" in url for url in seen.asked)
    strip.focus()
    before = strip.get_attribute("aria-valuetext")
    seen.page.keyboard.press("PageUp")
    assert strip.get_attribute("aria-valuetext")[:2] == "09" != before[:2]
    seen.page.get_by_role("button", name="lay the hand down").click()
    assert seen.page.locator("[data-part=clock]").count() == 0


def test_a_line_is_drawn_and_its_answer_is_the_commands(opened, country, plan):
    seen = opened(940, 800)
    page = seen.page
    # between two places of the plan: one seen, one hidden, as the plan has it
    lookout = next(one for one in plan["lookouts"] if one["id"] == plan["sets"][0]["lookouts"][0])
    start = (lookout["place"]["lon"], lookout["place"]["lat"])
    pocket = next(one for one in plan["pockets"] if one["id"] == lookout["sees"][0]["pocket"])
    end = (pocket["centre"]["lon"], pocket["centre"]["lat"])
    seen.go((start[0] + end[0]) / 2, (start[1] + end[1]) / 2, 12.6)
    page.locator(f"li[data-lookout={lookout['id']}] .name").click()
    page.get_by_role("button", name="line from it").click()
    seen.go((start[0] + end[0]) / 2, (start[1] + end[1]) / 2, 12.6)
    with page.expect_response(re.compile("/api/line")) as answer:
        page.mouse.click(*seen.at(*end))
    asked = re.search(r"to=([-\d.]+)%2C([-\d.]+)", answer.value.url)
    expected = told(
        "look",
        str(country),
        "--at",
        f"{start[1]:.6f}, {start[0]:.6f}",
        "--to",
        f"{asked[2]}, {asked[1]}",
        "--json",
    )["line"]
    part = page.locator("[data-part=line]")
    assert part.get_attribute("data-answer") == expected["answer"]
    assert f"{expected['straight_m'] / 1609.344:.1f} mi through the air" in part.inner_text()
    seen.shot("line")


def test_a_pocket_left_out_stays_out_until_it_is_taken_back(opened, country, plan):
    seen, other = opened(), opened(700, 500)
    id = plan["pockets"][0]["id"]
    seen.page.locator(f".pocket[data-pocket={id}] .name").click()
    seen.page.get_by_role("button", name=f"leave {id} out").click()
    gone = f".pocket[data-pocket={id}][data-dropped=yes]"
    seen.page.wait_for_selector(gone)
    assert edits(country) == [("drop", id)]
    if not other.page.locator(".pocket").count():
        other.page.locator(".fold").click()
    other.page.wait_for_selector(gone)  # the other window was told, and has not been loaded anew
    assert "not know yet" in seen.page.locator(".stale").inner_text()
    seen.page.reload()
    seen.page.wait_for_selector(gone)
    seen.page.keyboard.press("Control+z")
    seen.page.wait_for_selector(f".pocket[data-pocket={id}]:not([data-dropped])")
    other.page.wait_for_selector(f".pocket[data-pocket={id}]:not([data-dropped])")
    assert edits(country) == []
    other.page.get_by_role("button", name=re.compile("^do again")).click()
    seen.page.wait_for_selector(gone)
    take_all_back(other, country)


def test_an_outline_is_drawn_anew_corner_by_corner(opened, country, plan):
    seen = opened(900, 600)
    page = seen.page
    pocket = plan["pockets"][0]
    lon, lat = pocket["centre"]["lon"], pocket["centre"]["lat"]
    page.locator(f".pocket[data-pocket={pocket['id']}] .name").click()
    page.get_by_role("button", name="draw it anew").click()
    seen.go(lon, lat, 12.6)
    keep = page.get_by_role("button", name="keep it", exact=True)
    assert keep.is_disabled()
    corners = [(lon - 0.006, lat - 0.004), (lon + 0.006, lat - 0.004), (lon, lat + 0.004)]
    for corner in corners:
        page.mouse.click(*seen.at(*corner))
    seen.shot("outline")
    keep.click()
    page.wait_for_selector("[data-part=saved]:has-text('Saved')")
    rows = page.evaluate("fetch('/api/rows').then((answer) => answer.json())")
    ring = next(row for row in rows["features"] if row["properties"].get("what") == "redraw")["geometry"][
        "coordinates"
    ][0]
    assert len(ring) == 4
    for drawn, meant in zip(ring, corners, strict=False):
        assert drawn == pytest.approx(list(meant), abs=2e-4)
    take_all_back(seen, country)


def test_facing_is_picked_by_one_arc_on_the_ring(opened):
    seen = opened()
    page = seen.page
    page.locator(".sentence").click()
    page.get_by_label("by the way it faces").check()
    ring = page.locator(".ring svg").bounding_box()
    x, y, radius = ring["x"] + ring["width"] / 2, ring["y"] + ring["height"] / 2, ring["width"] * 0.34
    page.mouse.move(x - radius * 0.707, y - radius * 0.707)
    page.mouse.down()
    page.mouse.move(x, y - radius, steps=5)
    page.mouse.move(x + radius, y, steps=8)
    page.mouse.up()
    assert re.match(r"north-west round to east, 31\d° to (89|90|91)°", page.locator(".ring p").inner_text())
    seen.settle()
    assert any(re.search(r"/tiles/facing/.*low=31\d&high=(89|90|91)", url) for url in seen.asked)
    page.locator(".ring svg").focus()
    page.keyboard.press("ArrowRight")
    assert "32" in page.locator(".ring svg").get_attribute("aria-valuetext")


def test_a_mark_is_kept_with_its_note_and_shown_in_the_notes(opened, country):
    seen = opened(900, 600)
    page = seen.page
    seen.go(*SEAT, 12.6)
    page.mouse.click(*seen.at(-114.809, 40.431))
    page.get_by_role("button", name="mark it").click()
    page.get_by_label("Name of the mark").fill("two wallows")
    page.get_by_label("Kind of mark").select_option("water")
    page.get_by_label("Note", exact=True).fill("dry by September?")
    page.get_by_role("button", name="Keep it").click()
    page.locator("[data-mark]", has_text="two wallows").wait_for()
    with contextlib.closing(sqlite3.connect(country / "country.gpkg")) as db:
        assert list(db.execute("SELECT kind, name, note FROM places")) == [
            ("water", "two wallows", "dry by September?")
        ]
    page.get_by_role("button", name=re.compile("^take back")).click()
    page.wait_for_selector("[data-mark]", state="detached")


def test_long_work_tells_how_far_it_is_and_stops_when_told(opened, country, plan):
    seen = opened()
    page = seen.page
    id = plan["pockets"][1]["id"]
    page.locator(f".pocket[data-pocket={id}] .name").click()
    page.get_by_role("button", name=f"leave {id} out").click()
    page.get_by_role("button", name="Work it out anew").click()
    page.wait_for_selector(".job")
    page.get_by_role("button", name="stop it").click()
    page.wait_for_selector(".job", state="detached")
    assert page.get_by_role("button", name="Work it out anew").is_visible(), (
        "stopped: the old plan still stands"
    )
    take_all_back(seen, country)


def test_on_a_phone_nothing_is_cut_off(opened):
    seen = opened(390, 844, phone=True)
    page = seen.page
    seen.settle()
    assert page.locator(".fold").inner_text().startswith("Sit at L")
    page.touchscreen.tap(*seen.at(-114.80, 40.47))
    page.wait_for_selector(".slip [data-part=ground]")
    seen.shot("phone-here")
    for moment in ("from here", "notes", "ground"):
        if moment == "notes":
            page.get_by_role("button", name="close", exact=True).tap()
            page.locator(".fold").tap()
        if moment == "ground":
            page.locator(".fold").tap()
            page.locator(".sentence").tap()
        cut = page.evaluate(CUT_OFF)
        assert cut == [], moment
        assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_everything_that_can_be_done_has_a_name_and_the_keyboard_reaches_it(opened):
    seen = opened()
    page = seen.page
    page.locator(".sentence").click()
    nameless = page.evaluate(NAMELESS)
    assert nameless == []
    page.locator("canvas").focus()
    page.keyboard.press("Enter")
    page.wait_for_selector(".slip")
    page.keyboard.press("Escape")
    page.wait_for_selector(".slip", state="detached")
    page.keyboard.press("n")
    assert page.get_by_role("button", name="Open the notes").is_visible()
    page.keyboard.press("3")
    seen.until("document.querySelector('.map').graylight.getTerrain() !== null")
    page.keyboard.press("3")
    seen.until("document.querySelector('.map').graylight.getTerrain() === null")

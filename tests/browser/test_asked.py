"""What the page is asked beyond the ground: marks, a morning, pockets, glasses, crossings, relief, files dropped on it.

The commands, the GeoPackage and the country's folder say beside it what is right. Each test takes back what it said.
"""

from __future__ import annotations

import base64
import contextlib
import io
import json
import re
import sqlite3
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
from PIL import Image, ImageChops
from rasterio.transform import from_origin

from graylight.cli.main import main
from graylight.country.folder import Country
from graylight.units import area

MARKS = ((-114.8090, 40.4310), (-114.7990, 40.4300))
WITHIN_M = 2400
DRAWN = "document.querySelector('.map').graylight.queryRenderedFeatures({ layers: ['passing'] }).length"
GPX = """<?xml version="1.0"?><gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1">
<trk><name>Dropped path</name><trkseg>{}</trkseg></trk></gpx>"""


@pytest.fixture(scope="module")
def plan(country) -> Any:
    return json.loads((country / "plan/plan.json").read_text())


def told(*words: str) -> Any:
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        assert main(list(words)) == 0
    return json.loads(out.getvalue())


def rows(country: Path, query: str) -> list[tuple[Any, ...]]:
    with contextlib.closing(sqlite3.connect(country / "country.gpkg")) as db:
        return list(db.execute(query))


def take_back(page: Any, times: int = 1) -> None:
    for _ in range(times):
        with page.expect_response(re.compile("/api/undo$")):
            page.get_by_role("button", name=re.compile("^take back")).click()
        page.wait_for_selector("[data-part=saved]:has-text('Taken back')")


def say(page: Any, values: dict[str, Any], at: tuple[float, float], table: str = "places") -> None:
    """Another window's word, or a command's."""
    page.evaluate(
        """([table, values, at]) => fetch(`/api/rows/${table}`, { method: 'POST', headers: { 'content-type': 'application/json' },
            body: JSON.stringify({ values, geometry: { type: 'Point', coordinates: at } }) })""",
        [table, values, list(at)],
    )


def map_picture(page: Any) -> Image.Image:
    """The middle of the map, where no panel lies."""
    clip = {"x": 250, "y": 120, "width": 240, "height": 200}
    return Image.open(io.BytesIO(page.screenshot(clip=clip))).convert("RGB")


def changed_part(before: Image.Image, after: Image.Image) -> float:
    moved = np.asarray(ImageChops.difference(before, after)).max(axis=2)
    return float((moved > 24).mean())


def test_from_where_marks_can_be_seen(opened, country):
    seen = opened(900, 640)
    page = seen.page
    for i, at in enumerate(MARKS):
        say(page, {"kind": "other", "name": f"mark {'ab'[i]}"}, at)
    for name in ("mark a", "mark b"):
        page.get_by_label(f"Watch {name}").check()
    with page.expect_response(re.compile("/api/watch$")) as answer:
        page.get_by_role("button", name="from where they can be seen").click()
    shown = answer.value.json()["watch"]
    targets = "; ".join(f"{lat:.6f}, {lon:.6f}" for lon, lat in MARKS)
    expected = told("watch", str(country), "--targets", targets, "--within", f"{WITHIN_M} m", "--json")
    assert shown["all_m2"] == expected["all_m2"]
    assert [one["place"] for one in shown["seats"]] == [one["place"] for one in expected["seats"]]
    if expected["all_m2"]:
        page.get_by_text(f"All of them show from {area(expected['all_m2'], 'us')}").wait_for()
    assert page.locator(".seats li").count() == min(3, len(expected["seats"]))
    seen.settle()
    assert any("/tiles/watch/" in url for url in seen.asked)
    page.get_by_role("button", name="clear that from the map").click()
    take_back(page, 2)
    assert rows(country, "SELECT count(*) FROM places") == [(0,)]


def test_a_morning_is_the_commands_in_the_wind_that_is_set(opened, country, plan):
    seen = opened(900, 640)
    page = seen.page
    best = plan["sets"][0]["lookouts"][0]
    wind = page.get_by_label("Wind, such as W 10 mph")
    wind.fill("breezy")
    wind.press("Enter")
    page.get_by_role("alert").get_by_text("a direction it blows from").wait_for()
    assert wind.input_value() == ""
    seen.refused(422)
    page.get_by_role("button", name="all right").click()
    wind.fill("W 10 mph")
    wind.press("Enter")
    page.wait_for_selector("[data-part=saved]:has-text('Saved')")
    assert rows(country, "SELECT what, target, value FROM edits") == [("set", "sit.wind", "W 10 mph")]
    assert not page.evaluate("fetch('/api/state').then((one) => one.json()).then((one) => one.stale)")
    page.locator(f"li[data-lookout={best}] .name").click()
    page.get_by_role("button", name="the morning here by the clock, wind W 10 mph").click()
    part = page.locator("[data-part=morning]")
    part.get_by_text("wind W 10 mph as set").wait_for()
    expected = told("morning", str(country), "--lookout", best, "--json")
    assert expected["wind"]["as_set"]
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        assert main(["morning", str(country), "--lookout", best]) == 0
    sentences = " ".join(out.getvalue().split())
    first = part.locator("p").first.inner_text()
    assert " ".join(first.split()).split(". ", 1)[1] in sentences
    assert part.get_by_text("--wind").count() == 0, "no option of a command on a page"
    other = opened(700, 500).page
    if not other.locator(".asked").count():
        other.locator(".fold").click()
    assert other.get_by_label("Wind, such as W 10 mph").input_value() == "W 10 mph"
    page.keyboard.press("Escape")
    take_back(page)
    page.wait_for_selector("[data-part=morning]", state="detached")
    assert wind.input_value() == ""


def test_a_mark_has_its_photo_and_the_photo_tells_no_place(opened, country, tmp_path):
    seen = opened(900, 600)
    page = seen.page
    photo = Image.new("RGB", (640, 480), (90, 120, 60))
    exif = photo.getexif()
    exif[0x010E] = "where it was taken"
    exif.get_ifd(0x8825)[1] = "N"
    photo.save(tmp_path / "wallow.jpg", exif=exif)
    seen.go(*MARKS[0], 12.6)
    page.mouse.click(*seen.at(*MARKS[0]))
    page.get_by_role("button", name="mark it").click()
    page.get_by_label("Name of the mark").fill("wallow")
    page.get_by_label("Kind of mark").select_option("hazard")
    page.locator(".slip input[type=file]").set_input_files(tmp_path / "wallow.jpg")
    page.get_by_role("button", name="Keep it").click()
    shown = page.get_by_alt_text("Photo of wallow")
    shown.scroll_into_view_if_needed()
    seen.until("() => document.querySelector('img[alt=\"Photo of wallow\"]').naturalWidth === 640")
    ((name,),) = rows(country, "SELECT photo FROM places")
    kept = page.evaluate(
        "name => fetch(`/api/photos/${name}`).then((one) => one.arrayBuffer()).then((one) => Array.from(new Uint8Array(one)))",
        name,
    )
    with Image.open(io.BytesIO(bytes(kept))) as again:
        assert again.size == (640, 480)
        assert not dict(again.getexif())
    take_back(page)
    page.wait_for_selector("[data-mark]", state="detached")


def test_a_pocket_is_kept_named_and_drawn_anew(opened, country, plan):
    page = opened(900, 640).page
    id = plan["pockets"][1]["id"]
    page.locator(f".pocket[data-pocket={id}] .name").click()
    page.get_by_role("button", name="keep it whatever comes").click()
    page.locator(f".pocket[data-pocket={id}]", has_text="kept by you").wait_for()
    page.locator(f".pocket[data-pocket={id}]").get_by_role("button", name="name it").click()
    page.get_by_label(re.compile("^New name of")).fill("Long Meadow")
    page.get_by_role("button", name="Keep it", exact=True).click()
    page.get_by_role("button", name=f"Long Meadow ({id})").wait_for()
    assert rows(country, "SELECT what, target, value FROM edits ORDER BY fid") == [
        ("accept", id, ""),
        ("rename", id, "Long Meadow"),
    ]
    labels = page.evaluate(
        "document.querySelector('.map').graylight.querySourceFeatures('pockets').map((one) => one.properties.label)"
    )
    assert f"{id} Long Meadow" in labels
    take_back(page, 2)
    page.get_by_role("button", name=f"Long Meadow ({id})").wait_for(state="detached")


def test_a_glass_is_what_can_be_read_as_one(opened, country):
    seen = opened(900, 640)
    page = seen.page
    small = page.get_by_label("Glass: small")
    before = small.input_value()
    small.fill("strong")
    small.press("Tab")
    page.get_by_role("alert").get_by_text("power x aperture").wait_for()
    assert small.input_value() == before
    page.get_by_role("button", name="all right").click()
    small.fill("9x30")
    with page.expect_response(
        lambda one: one.request.method == "POST" and "aperture" in (one.request.post_data or "")
    ):
        small.press("Tab")
    page.wait_for_selector("[data-part=saved]:has-text('Saved')")
    assert rows(country, "SELECT target, value FROM edits ORDER BY fid") == [
        ("optics.small_power", "9"),
        ("optics.small_aperture_mm", "30"),
    ]
    take_back(page, 2)
    seen.until("before => document.querySelector('.glass').value === before", before)


def test_crossings_are_a_reading_of_their_own(opened, plan):
    seen = opened(900, 640)
    page = seen.page
    page.locator(".sentence").click()
    page.get_by_label("by their crossings").check()
    seen.until(f"() => {DRAWN} > 0")
    shown = page.evaluate(
        """() => document.querySelector('.map').graylight.querySourceFeatures('passing')
            .filter((one) => one.properties.kind === 'crossing').map((one) => one.properties.id)"""
    )
    expected = {one["id"] for pocket in plan["pockets"] if not pocket["shut"] for one in pocket["crossings"]}
    assert set(shown) == expected
    assert (
        page.evaluate("document.querySelector('.map').graylight.getLayoutProperty('spot', 'visibility')")
        == "none"
    )
    page.get_by_label("by what grows on it").check()
    seen.until(f"() => {DRAWN} === 0")


def test_the_ground_stands_in_relief(opened, country, plan):
    """Not the switch alone: the map knows the ground's height, and draws other pixels."""
    seen = opened(760, 480)
    page = seen.page
    top = max(plan["peaks"], key=lambda one: one["place"]["height_m"])["place"]
    seen.go(top["lon"], top["lat"], 12.5)
    flat = map_picture(page)
    page.keyboard.press("3")
    seen.until("() => document.querySelector('.map').graylight.getPitch() > 55")
    seen.settle()
    steep = map_picture(page)
    assert changed_part(flat, steep) > 0.1
    height = page.evaluate(
        """([lng, lat]) => document.querySelector('.map').graylight.terrain
            .getElevationForLngLatZoom({ lng, lat, wrap() { return this; } }, 13)""",
        [top["lon"], top["lat"]],
    )
    assert height / 1.15 == pytest.approx(top["height_m"], abs=40.0)  # 1.15: how much steeper it is drawn
    page.keyboard.press("3")
    seen.until("() => document.querySelector('.map').graylight.getPitch() === 0")
    seen.settle()
    assert changed_part(flat, map_picture(page)) < 0.02


def small_raster() -> bytes:
    """A dome 900 m across, in a zone of its own."""
    rows_, cols = np.mgrid[0:60, 0:60]
    height = (2400.0 + 300.0 * np.exp(-((rows_ - 30.0) ** 2 + (cols - 30.0) ** 2) / 200.0)).astype(np.float32)
    with rasterio.MemoryFile() as memory:
        frame = {
            "crs": "EPSG:32612",
            "transform": from_origin(500_000, 4_500_000, 30, 30),
            "dtype": "float32",
        }
        with memory.open(driver="GTiff", width=60, height=60, count=1, **frame) as out:
            out.write(height, 1)
        return bytes(memory.read())


@pytest.fixture
def dropped() -> list[dict[str, str]]:
    points = "".join(f'<trkpt lat="{40.640 + 0.001 * i}" lon="-110.992"/>' for i in range(8))
    files = {"ground.tif": small_raster(), "path.gpx": GPX.format(points).encode()}
    return [{"name": name, "data": base64.b64encode(data).decode()} for name, data in files.items()]


def test_a_country_is_made_from_files_dropped_on_the_page(opened, country, dropped):
    page = opened(900, 640).page
    page.locator("summary", has_text="Another country").click()
    page.get_by_label("Name of the new country").fill("Dropped dome")
    page.evaluate(
        """files => {
            const carried = new DataTransfer();
            for (const { name, data } of files) {
                carried.items.add(new File([Uint8Array.from(atob(data), (one) => one.charCodeAt(0))], name));
            }
            const let_go = new DragEvent('drop', { dataTransfer: carried, bubbles: true, cancelable: true });
            document.querySelector('[aria-label="Drop files here"]').dispatchEvent(let_go);
        }""",
        dropped,
    )
    page.get_by_role("button", name="make it from 2 files").click()
    page.get_by_text("ground.tif is taken for the elevation").wait_for()
    page.get_by_text("It is made.").wait_for()
    made = next(
        one
        for one in page.evaluate("fetch('/api/countries').then((one) => one.json())")
        if one["name"] == "Dropped dome"
    )
    found = Country.open(country.parent / made["key"])
    assert found.grid.shape == (60, 60)
    assert np.nanmax(found.read("elevation")) == pytest.approx(2700.0, abs=2.0)
    assert any(len(found.features(table)) for table in ("traces", "trails"))

"""The record on the map page, as somebody back at the truck says it. The country and the commands are asked beside.

Each test leaves the country as it found it, by undo.
"""

from __future__ import annotations

import base64
import contextlib
import csv
import io
import json
import re
import sqlite3
from typing import Any

import pytest
from PIL import Image

from graylight.cli.main import main
from graylight.grid import WGS84
from tests.browser.seen import Seen

DAY = "2026-08-27"


def command(*words: str) -> Any:
    """What the command prints as JSON."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        assert main([*words, "--json"]) == 0
    return json.loads(out.getvalue())


def rows(country, table: str, columns: str) -> list[tuple]:
    """Rows as they lie in the GeoPackage."""
    with contextlib.closing(sqlite3.connect(country / "country.gpkg")) as db:
        return list(db.execute(f"SELECT {columns} FROM {table} ORDER BY fid"))


def last(country, table: str, columns: str) -> tuple:
    return rows(country, table, columns)[-1]


@pytest.fixture
def book(opened, country) -> Any:
    """The page with its field book; whatever was said is taken back at the end."""
    before = [rows(country, table, "fid") for table in ("outings", "sightings", "sign", "traces")]
    seen: Seen = opened(1300, 800)
    seen.page.locator("[data-part=field-book]").scroll_into_view_if_needed()
    yield seen
    for _ in range(12):
        if [rows(country, table, "fid") for table in ("outings", "sightings", "sign", "traces")] == before:
            return
        with seen.page.expect_response(re.compile("/api/undo$")):
            seen.page.get_by_role("button", name=re.compile("^take back")).click()
        seen.page.wait_for_selector("[data-part=saved]:has-text('Taken back')")
    raise AssertionError("not all was taken back")


def say_outing(page) -> None:
    page.get_by_role("button", name="a morning of watching").click()
    page.get_by_role("button", name="Keep the outing").click()
    told(page, "Not seen is not the same as not there")


def told(page, words: str) -> None:
    page.locator("[data-part=record-told]", has_text=words).wait_for()


def photo() -> bytes:
    """A JPEG with Exif (JEITA CP-3451): 06:41 by the clock of the West, no place."""
    exif = Image.Exif()
    exif.get_ifd(0x8769).update({0x9003: "2026:08:27 06:41:10", 0x9011: "-07:00"})
    out = io.BytesIO()
    Image.radial_gradient("L").resize((400, 300)).convert("RGB").save(out, format="JPEG", exif=exif)
    return out.getvalue()


def drop(page, name: str, data: bytes) -> None:
    """Let a file fall where files are taken, as a hand with a mouse does."""
    page.evaluate(
        """([name, text]) => {
            const carried = new DataTransfer();
            carried.items.add(new File([Uint8Array.from(atob(text), (one) => one.charCodeAt(0))], name));
            const fallen = new DragEvent('drop', { bubbles: true, cancelable: true, dataTransfer: carried });
            document.querySelector('[data-part=field-files]').dispatchEvent(fallen);
        }""",
        [name, base64.b64encode(data).decode()],
    )


def test_an_outing_said_with_what_was_proposed_moves_the_odds(book, country):
    plan = json.loads((country / "plan" / "plan.json").read_text())
    page = book.page
    before = command("odds", str(country))
    say_outing(page)
    lookout, began, ended = last(country, "outings", "lookout, began, ended")
    assert lookout == plan["sets"][0]["lookouts"][0]
    # the hours proposed are the plan's light, to five minutes, until three hours after sunrise (settings: watch_minutes)
    assert abs(minutes(began) - minutes(plan["light"]["usable_from"])) <= 2.5
    assert abs(minutes(ended) - minutes(plan["light"]["sunrise"]) - 180) <= 2.5
    after = command("odds", str(country))
    assert after["outings"] == 1
    assert after["elsewhere"]["likely"] > before["elsewhere"]["likely"]
    page.get_by_role("button", name="where they likely are now").click()
    page.locator("[data-part=odds]", has_text="one outing").wait_for()


def minutes(iso: str) -> float:
    hour, minute, second = re.search(r"T(\d+):(\d+):(\d+)", iso).groups()
    return 60 * int(hour) + int(minute) + int(second) / 60


def test_watching_from_a_place_of_ones_own_with_what_was_felt_of_the_air(book, country):
    page = book.page
    middle = json.loads((country / "plan" / "plan.json").read_text())["pockets"][0]["centre"]
    book.go(middle["lon"], middle["lat"], 14)
    page.mouse.click(*book.at(middle["lon"], middle["lat"]))
    page.get_by_role("button", name="mark it").click()
    page.get_by_role("button", name="I watched from here").click()
    page.get_by_role("button", name="through 10x42").click()
    page.get_by_label("What was felt of the air").fill("06:10 down, 08:20 up")
    page.get_by_role("button", name="Keep the outing").click()
    told(page, "The outing")
    lookout, air = last(country, "outings", "lookout, air")
    assert lookout is None
    assert air == f"{DAY}T13:10:00Z down, {DAY}T15:20:00Z up"  # Pacific daylight time is seven hours behind
    exported = json.loads(fetched(page, "/api/record/geojson"))["features"]
    lon, lat = next(one for one in exported if one["properties"]["what"] == "outings")["geometry"][
        "coordinates"
    ]
    assert WGS84.inv(lon, lat, middle["lon"], middle["lat"])[2] < 15.0


def test_a_half_filled_form_is_there_when_the_page_is_opened_again(book):
    page = book.page
    page.get_by_role("button", name="a morning of watching").click()
    page.get_by_label("Note on the outing").fill("fog until eight")
    page.reload()
    page.wait_for_selector("main[data-ready=yes]")
    page.locator("[data-part=outing-form]", has_text="as you left it").wait_for()
    assert page.get_by_label("Note on the outing").input_value() == "fog until eight"
    page.get_by_role("button", name="let it be").click()
    page.reload()
    page.wait_for_selector("[data-part=field-book]")
    assert not page.locator("[data-part=outing-form]").count()


def test_an_outing_from_a_dropped_track(book, country):
    page = book.page
    seat = json.loads((country / "plan" / "plan.json").read_text())["lookouts"][0]["place"]
    at = f'lat="{seat["lat"]}" lon="{seat["lon"]}"'
    points = "".join(f"<trkpt {at}><time>{DAY}T13:{m:02d}:00Z</time></trkpt>" for m in (0, 20, 40))
    drop(page, "out.gpx", f'<gpx version="1.1"><trk><trkseg>{points}</trkseg></trk></gpx>'.encode())
    page.locator("[data-part=file-held]", has_text="a track of 3 points").wait_for()
    assert not rows(country, "outings", "fid")  # only looked at so far
    page.get_by_role("button", name="it is a morning out").click()
    page.get_by_role("button", name="Keep the outing").click()
    told(page, "along a track")
    lookout, began, ended, track = last(country, "outings", "lookout, began, ended, track")
    assert (lookout, began, ended) == (None, f"{DAY}T13:00:00Z", f"{DAY}T13:40:00Z")
    assert len(json.loads(track)) == 3


def test_a_sighting_by_a_point_of_the_view_and_its_correction(book, country):
    page = book.page
    say_outing(page)
    page.get_by_role("button", name=re.compile("^animals seen on the view")).click()
    picture = page.locator(".horizon .picture")
    picture.locator("img").wait_for()
    x, y = ground_on(page, picture)
    picture.click(position={"x": x, "y": y})
    page.get_by_label("How many", exact=True).fill("2")
    page.get_by_role("button", name="Keep it").click()
    told(page, "It belongs to outing")
    number, count, placed, away, outing = last(country, "sightings", "fid, count, placed, distance_m, outing")
    assert (count, placed) == (2, "strip")
    assert away > 50
    assert outing == str(last(country, "outings", "fid")[0])
    # put right: how many there were; where they were stays
    page.locator(f"[data-record='sightings/{number}']").get_by_role("button", name="put it right").click()
    page.get_by_label("How many", exact=True).fill("5")
    page.get_by_role("button", name="Keep it so").click()
    told(page, "5 ")
    assert last(country, "sightings", "fid, count, placed, distance_m") == (number, 5, "strip", away)


def ground_on(page, picture) -> tuple[float, float]:
    """A point of the view with ground behind it, as the page itself tells when it is pointed at."""
    box = picture.bounding_box()
    for part in (0.6, 0.7, 0.8, 0.9):
        for across in (0.15, 0.25, 0.35):
            with page.expect_response(re.compile("/api/horizon/ground")) as coming:
                picture.hover(position={"x": across * box["width"], "y": part * box["height"]})
            if not (told_of := coming.value.json())["sky"] and 300 < told_of["distance_m"] < 3000:
                return across * box["width"], part * box["height"]
    raise AssertionError("no ground on the view")


def test_a_sighting_by_bearing_with_a_photo_lies_where_the_geodesic_ends(book, country):
    """The place against pyproj.Geod on WGS 84 from the true bearing and the distance on the ground that were kept."""
    page = book.page
    plan = json.loads((country / "plan" / "plan.json").read_text())
    say_outing(page)
    lookout = next(one for one in plan["lookouts"] if one["id"] == last(country, "outings", "lookout")[0])
    sees = max(lookout["sees"], key=lambda one: one["share"]["likely"])
    page.get_by_role("button", name="or by bearing and distance").click()
    page.get_by_label("Bearing, degrees").fill(f"{sees['bearing_magnetic_deg']:.1f}")
    page.get_by_label("How far off", exact=True).fill("900 m")
    page.get_by_label("Photo", exact=True).set_input_files(
        {"name": "seen.jpg", "mimeType": "image/jpeg", "buffer": photo()}
    )
    page.locator("[data-part=photo]", has_text="taken 2026-08-27 06:41").wait_for()
    page.get_by_role("button", name="use its time").click()
    page.get_by_role("button", name="Keep it").click()
    told(page, "off at")
    date, kept_photo, bearing, away = last(country, "sightings", "date, photo, bearing_true_deg, distance_m")
    assert date == f"{DAY}T13:41:00Z"
    assert (country / "photos" / kept_photo).is_file()
    assert bearing == pytest.approx(sees["bearing_true_deg"], abs=0.1)
    assert away <= 900.0  # the range finder's distance runs along the line of sight
    exported = json.loads(fetched(page, "/api/record/geojson"))["features"]
    lon, lat = [one for one in exported if one["properties"]["what"] == "sightings"][-1]["geometry"][
        "coordinates"
    ]
    seat = lookout["place"]
    to_lon, to_lat, _ = WGS84.fwd(seat["lon"], seat["lat"], bearing, away)
    assert WGS84.inv(lon, lat, to_lon, to_lat)[2] < 3.0


def fetched(page, path: str) -> str:
    return page.evaluate("path => fetch(path).then((one) => one.text())", path)


def test_an_outing_put_right_and_taken_away_and_back(book, country):
    page = book.page
    say_outing(page)
    number = last(country, "outings", "fid")[0]
    item = page.locator(f"[data-record='outings/{number}']")
    item.get_by_role("button", name="put it right").click()
    page.get_by_label("Watching until").fill("07:00")
    page.get_by_label("Note on the outing").fill("left early")
    page.get_by_role("button", name="Keep it so").click()
    told(page, "07:00")
    assert last(country, "outings", "fid, ended, note") == (number, f"{DAY}T14:00:00Z", "left early")
    shorter = command("odds", str(country))
    item.get_by_role("button", name="take it away").click()
    told(page, "is taken away; the odds follow")
    item.wait_for(state="detached")
    assert rows(country, "outings", "fid") == []
    assert command("odds", str(country))["outings"] == 0
    page.get_by_role("button", name="take it back").click()
    item.wait_for()
    assert command("odds", str(country)) == shorter


def test_a_trail_is_traced_drawn_anew_and_the_plan_knows_that_it_is_old(book, country):
    page = book.page
    first = json.loads((country / "plan" / "plan.json").read_text())["pockets"][0]["centre"]
    book.go(first["lon"], first["lat"], 14)
    page.get_by_role("button", name="trace a trail").click()
    course = [(first["lon"] + k / 1500, first["lat"] + (k % 2) / 3000) for k in range(3)]
    for k, place in enumerate(course):
        page.mouse.click(*book.at(*place))
        page.locator(".hand", has_text=["goes on", "2 points", "3 points"][k]).wait_for()
    page.get_by_role("button", name="keep the trail").click()
    item = page.locator("[data-trail]").last
    item.wait_for()
    exported = json.loads(fetched(page, "/api/record/geojson"))["features"]
    drawn = [one for one in exported if one["properties"]["what"] == "traces"][-1]["geometry"]["coordinates"][
        0
    ]
    for there, meant in zip(drawn, course, strict=True):
        assert WGS84.inv(*there, *meant)[2] < 15.0  # a pixel is some metres wide here
    assert page.evaluate("fetch('/api/state').then((one) => one.json())")["stale"]
    item.get_by_role("button", name="draw it anew").click()
    for place in course[:2]:
        page.mouse.click(*book.at(*place))
        page.wait_for_timeout(350)
    page.get_by_role("button", name="last point back").click()
    page.mouse.click(*book.at(*course[2]))
    page.get_by_role("button", name="keep the trail").click()
    page.locator(".hand").wait_for(state="detached")
    exported = json.loads(fetched(page, "/api/record/geojson"))["features"]
    assert (
        len(
            [one for one in exported if one["properties"]["what"] == "traces"][-1]["geometry"]["coordinates"][
                0
            ]
        )
        == 2
    )


def test_what_the_record_teaches_is_shown_and_a_table_of_it_can_be_kept(book, country):
    page = book.page
    say_outing(page)
    page.get_by_role("button", name="what the record teaches").click()
    page.locator("[data-part=learnt]", has_text="Nothing is changed by this").wait_for()
    assert not page.get_by_role("button", name=re.compile("to use$")).count()  # too little for any
    with page.expect_download() as coming:
        page.get_by_role("link", name="a table").click()
    table = list(csv.DictReader(io.StringIO(coming.value.path().read_text(encoding="utf-8"))))
    assert main(["export", str(country)]) == 0
    assert coming.value.path().read_bytes() == (country / "record" / "record.csv").read_bytes()
    assert [one["began"] for one in table if one["table"] == "outings"] == [
        last(country, "outings", "began")[0]
    ]


def test_on_a_phone_no_form_is_cut_off(opened, country):
    seen: Seen = opened(390, 844, phone=True)
    page = seen.page
    page.locator(".fold").click()
    page.locator("[data-part=field-book]").evaluate("one => one.scrollIntoView()")
    page.get_by_role("button", name="a morning of watching").click()
    page.get_by_role("button", name="through 10x42").click()
    assert cut_off(page) == []
    page.get_by_role("button", name="let it be").click()
    page.locator("[data-record^=sightings]").first.get_by_role("button", name="put it right").click()
    page.get_by_role("button", name=re.compile("^class, which way")).click()
    assert cut_off(page) == []
    page.get_by_role("button", name="let it be").click()
    page.get_by_role("button", name="trace a trail").click()
    page.locator(".hand").wait_for()
    assert cut_off(page) == []
    page.get_by_role("button", name="let it be").click()
    middle = json.loads((country / "plan" / "plan.json").read_text())["pockets"][0]["centre"]
    page.touchscreen.tap(*seen.at(middle["lon"], middle["lat"]))
    page.get_by_role("button", name="mark it").click()
    page.get_by_role("button", name="sign was here").click()
    page.locator("[data-part=sign-form]").wait_for()
    assert cut_off(page) == []


def cut_off(page) -> list[str]:
    """Whatever of forms and words reaches past the sides of the screen."""
    return page.evaluate(
        """[...document.querySelectorAll('[data-part=field-book] *, .hand *, .slip *')].filter((one) => {
            const box = one.getBoundingClientRect();
            return box.width > 0 && (box.left < -1 || box.right > innerWidth + 1);
        }).map((one) => one.outerHTML.slice(0, 200))"""
    )

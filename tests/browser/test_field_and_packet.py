"""The map page after the planning: an outing recorded, and the packet made. The country and the command are asked beside."""

from __future__ import annotations

import contextlib
import json
import re
import sqlite3
import subprocess
import sys

import pytest

from tests.browser.seen import Seen


def test_an_outing_is_recorded_and_a_packet_made(opened, country):
    page = opened().page
    page.get_by_role("button", name="a morning of watching").click()
    page.get_by_label("Watching from").fill("05:20")
    page.get_by_label("Watching until").fill("08:00")
    seat = page.get_by_label("Watched from").input_value()
    page.get_by_role("button", name="Keep the outing").click()
    page.locator("[data-part=record-told]", has_text="Not seen is not the same as not there").wait_for()
    with contextlib.closing(sqlite3.connect(country / "country.gpkg")) as db:
        assert list(db.execute("SELECT lookout, ended FROM outings")) == [(seat, "2026-08-27T15:00:00Z")]
    page.get_by_role("button", name="where they likely are now").click()
    page.locator("[data-part=odds]", has_text="one outing").wait_for()
    words = [sys.executable, "-m", "graylight", "odds", str(country), "--json"]
    assert json.loads(subprocess.run(words, check=True, capture_output=True).stdout)["outings"] == 1
    page.get_by_role("button", name=re.compile("^take back: add the outing")).click()
    page.locator("[data-record^=outings]").wait_for(state="detached")

    page.get_by_label("Lookouts in the packet").fill(seat)
    page.get_by_role("button", name="Make the packet").click()
    page.locator("[data-part=packet] a", has_text="packet-letter.pdf").wait_for(timeout=180_000)
    with page.expect_download() as coming:
        page.locator("[data-part=packet] a", has_text="plan.gpx").click()
    handed = coming.value.path().read_bytes()
    assert handed == (country / "packet" / "plan.gpx").read_bytes()


@pytest.mark.parametrize("tongue", ["en-US", "de-DE"])
def test_times_are_told_by_24_hours_whatever_the_browser_speaks(chromium, address, tongue):
    """A browser of the USA would show a field of type time as 05:20 AM."""
    seen = Seen(chromium, address, size=(1300, 800), phone=False, locale=tongue)
    page = seen.page
    page.get_by_role("button", name="a morning of watching").click()
    form = page.locator("[data-part=outing-form]")
    assert form.locator("input[type=time]").count() == 0
    begins, ends = page.get_by_label("Watching from"), page.get_by_label("Watching until")
    assert re.fullmatch(r"0[4-6]:[0-5]\d", begins.input_value())  # before sunrise in August
    assert begins.get_attribute("inputmode") == "numeric"
    for typed, read in (("5:20", "05:20"), ("0541", "05:41"), ("7:15 pm", "19:15")):
        begins.fill(typed)
        begins.blur()
        assert begins.input_value() == read
    begins.fill("25:99")
    begins.blur()
    form.get_by_role("alert").get_by_text("25:99 is no time of day; write it from 00:00 to 23:59").wait_for()
    page.get_by_role("button", name="Keep the outing").click()
    assert form.is_visible(), "what can't be read is not kept"
    form.get_by_role("button", name="the evening instead").click()
    assert re.fullmatch(r"1[5-8]:[0-5]\d", begins.input_value())
    assert re.fullmatch(r"(19|20):[0-5]\d", ends.input_value())
    assert form.get_by_role("alert").count() == 0
    seen.close()
    assert seen.complaints == []

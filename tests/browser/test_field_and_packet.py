"""The map page after the planning: an outing recorded, and the packet made. The country and the command are asked beside."""

from __future__ import annotations

import contextlib
import json
import re
import sqlite3
import subprocess
import sys


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

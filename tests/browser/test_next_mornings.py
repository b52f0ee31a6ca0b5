"""The mornings left on the map page: dates, days off and a wind of each, as `graylight next` reckons them."""

from __future__ import annotations

import contextlib
import io
import json
import re
from typing import Any

from graylight.cli.main import main


def command(*words: str) -> Any:
    """What the command prints as JSON."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        assert main([*words, "--json"]) == 0
    return json.loads(out.getvalue())


def lines(page: Any) -> list[tuple[str, str]]:
    """Date and seat of each line, a day off without one."""
    return page.locator("[data-part=mornings] li").evaluate_all(
        "all => all.map((one) => [one.dataset.date, one.querySelector('.seat')?.textContent ?? ''])"
    )


def weighed(page: Any, what: Any) -> None:
    """Do something that has the mornings weighed anew, and wait for the lines."""
    with page.expect_response(re.compile("/api/next")):
        what()
    page.locator("button", has_text="Weighing").wait_for(state="detached")


def as_told(found: Any) -> list[list[str]]:
    return [[one["date"], one["lookout"]] for one in found["sits"]]


def test_days_off_and_a_wind_of_each_morning(opened, country):
    seen = opened(1300, 800)
    page = seen.page
    page.locator("[data-part=field-book]").scroll_into_view_if_needed()
    part = page.locator("[data-part=field-book]")
    part.get_by_text("no wind set").wait_for()
    weighed(page, page.get_by_role("button", name="where to sit next").click)
    expected = command("next", str(country), "--mornings", "3")
    assert lines(page) == as_told(expected)
    first, second, _ = (one["date"] for one in expected["sits"])

    weighed(page, page.get_by_role("button", name="A day off on").nth(1).click)
    expected = command("next", str(country), "--mornings", "3", "--off", second)
    kept = as_told(expected)
    assert lines(page) == [kept[0], [second, ""], *kept[1:]]
    part.get_by_text("a day off", exact=True).first.wait_for()

    wind = page.get_by_label(re.compile("^Wind on")).nth(1)
    assert wind.get_attribute("placeholder") == "calm"
    wind.fill("breezy")
    wind.press("Enter")
    page.get_by_role("alert").get_by_text("is not understood").wait_for()
    assert wind.input_value() == ""
    assert lines(page)[0] == kept[0], "what was reckoned still stands"
    seen.refused(422)
    page.get_by_role("button", name="all right").click()
    wind.fill("SW 12 mph")
    wind.press("Enter")
    page.locator("[data-part=next]", has_text="Wind SW 12 mph").wait_for()
    winds = ("--wind", "calm", "--wind", "SW 12 mph", "--wind", "calm")
    expected = command("next", str(country), "--mornings", "3", "--off", second, *winds)
    kept = as_told(expected)
    assert lines(page) == [kept[0], [second, ""], *kept[1:]]

    weighed(page, page.get_by_role("button", name=re.compile("^A morning after all")).click)
    assert [day for day, _ in lines(page)][:2] == [first, second]
    assert page.get_by_label(re.compile("^Wind on")).nth(2).input_value() == "SW 12 mph", (
        "a wind is a date's, not a line's"
    )


def test_the_wind_that_is_set_is_told_and_taken(opened, country):
    seen = opened(1300, 800)
    page = seen.page
    wind = page.get_by_label("Wind, such as W 10 mph")
    wind.fill("W 10 mph")
    wind.press("Enter")
    page.wait_for_selector("[data-part=saved]:has-text('Saved')")
    page.locator("[data-part=field-book]").get_by_text("wind W 10 mph as set").wait_for()
    weighed(page, page.get_by_role("button", name="where to sit next").click)
    assert lines(page) == as_told(command("next", str(country), "--mornings", "3"))
    assert page.get_by_label(re.compile("^Wind on")).first.get_attribute("placeholder") == "W 10 mph"
    page.locator("[data-part=mornings] .seat").first.click()
    page.wait_for_selector(".horizon[data-drawn]")
    with page.expect_response(re.compile("/api/undo$")):
        page.get_by_role("button", name=re.compile("^take back")).click()
    page.wait_for_selector("[data-part=saved]:has-text('Taken back')")


def test_what_was_reckoned_stands_until_something_is_said(opened):
    """A job that begins and ends is no new word: before, it wiped what was told."""
    seen = opened(1300, 800)
    page = seen.page
    page.locator("[data-part=field-book]").scroll_into_view_if_needed()
    weighed(page, page.get_by_role("button", name="where to sit next").click)
    page.get_by_role("button", name="where they likely are now").click()
    page.locator("[data-part=odds]").wait_for()
    with page.expect_response(re.compile("/api/state")):  # the page asks anew when a job ends
        page.evaluate(
            """async () => {
                const head = { 'content-type': 'application/json' };
                const begun = await fetch('/api/jobs', { method: 'POST', headers: head, body: '{"kind": "plan"}' });
                const { id } = await begun.json();
                await fetch(`/api/jobs/${id}`, { method: 'DELETE', headers: head });
            }"""
        )
    page.wait_for_timeout(500)
    assert page.locator("[data-part=odds]").is_visible()
    assert page.locator("[data-part=next]").is_visible()

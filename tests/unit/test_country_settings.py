"""settings.toml: readable, complete, and strict."""

from __future__ import annotations

import datetime as dt
import tomllib

import pytest
from pydantic import BaseModel

from graylight.country.settings_file import changed, read_settings, write_settings
from graylight.errors import BadInput
from graylight.settings import Settings


def test_what_is_written_is_read_back():
    settings = changed(Settings(), start="39.3, -111.5", treeline_m=3210.5, walk={"pace_factor": 1.1})
    assert read_settings(write_settings(settings)) == settings


def test_another_reader_of_toml_agrees():
    """tomllib, the standard library's reader, sees the same values as were written."""
    given = tomllib.loads(write_settings(Settings()))
    assert given["date"] == dt.date(2026, 8, 27)
    assert given["walk"]["shut_deg"] == 45.0
    assert "start" not in given  # not set


def _fields(group: type[BaseModel]):
    for key, field in group.model_fields.items():
        kind = field.annotation
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            yield from _fields(kind)
        else:
            yield key, field


def test_every_setting_stands_there_with_its_description_default_and_range():
    lines = write_settings(Settings()).splitlines()
    for key, field in _fields(Settings):
        at = next(i for i, line in enumerate(lines) if line.removeprefix("# ").startswith(f"{key} = "))
        assert lines[at - 2] == f"# {field.description}"
        assert lines[at - 1].startswith("# Default ")
        assert "accepted: " in lines[at - 1]


def test_a_line_taken_out_goes_back_to_the_default():
    text = "\n".join(
        line for line in write_settings(Settings(lookouts=5)).splitlines() if "lookouts =" not in line
    )
    assert read_settings(text).lookouts == Settings().lookouts


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("looks = 3", ["unknown setting 'looks'", "settings.toml", "did you mean 'lookouts'"]),
        ("[walk]\npase_factor = 1.0", ["'walk.pase_factor'", "did you mean 'pace_factor'"]),
        ("[walks]\na = 1", ["'walks'", "walk"]),
        ("lookouts = 9", ["lookouts is 9", "1 to 8"]),
        ("[walk]\npace_factor = 9.0", ["walk.pace_factor is 9.0", "0.3 to 3"]),
        ('units = "feet"', ["'feet'", "us or metric"]),
        ("walk = 3", ["walk is 3", "table"]),
        ("date = 2051-01-01", ["2051-01-01", "1900-2050"]),
        ("date = 1899-12-31", ["1899-12-31", "1900-2050"]),
        ('date = "soon"', ["'soon'", "YYYY-MM-DD"]),
        ("lookouts = = 3", ["not TOML", "line 1"]),
        ("lookouts = 2.5", ["lookouts is 2.5", "whole number"]),
        ("lookouts = true", ["lookouts is True", "whole number"]),
        ('lookouts = "3"', ["lookouts is '3'", "whole number"]),
        ("date = 0", ["date is 0", "YYYY-MM-DD"]),
        ('date = "0"', ["date is '0'", "YYYY-MM-DD"]),
        ("date = 2026-08-27T00:00:00", ["date", "YYYY-MM-DD"]),
        ("[walk]\nprivate_open = 1", ["walk.private_open is 1", "true or false"]),
        (
            "[watch]\nbest_near_m = 2000",
            ["[watch]", "best_near_m is 2000 and best_far_m is 1600", "accepted"],
        ),
        ("[sight]\nthin_closure = 0.5", ["[sight]", "thin_closure is 0.5 and dense_closure is 0.5", "below"]),
        ("[walk]\nscramble_deg = 45\nshut_deg = 40", ["[walk]", "scramble_deg is 45 and shut_deg is 40"]),
        (
            "[walk]\nscramble_deg = 30\nshut_deg = 30\n[watch]\nseat_slope_deg = 31",
            ["watch.seat_slope_deg is 31 and walk.shut_deg is 30", "accepted"],
        ),
    ],
)
def test_a_wrong_line_is_named_with_what_is_accepted(text, told):
    with pytest.raises(BadInput) as caught:
        read_settings(text)
    message = str(caught.value)
    assert "\n" not in message
    for words in told:
        assert words in message


def test_settings_that_just_go_together_are_taken():
    text = "[watch]\nbest_near_m = 1600\n[walk]\nscramble_deg = 45\n[sight]\nthin_closure = 0.49"
    assert read_settings(text).watch.best_near_m == 1600.0


def test_changes_given_as_text_are_checked_too():
    assert changed(Settings(), date="2026-09-01").date == dt.date(2026, 9, 1)
    with pytest.raises(BadInput, match="1900-2050"):
        changed(Settings(), date="2060-09-01")
    with pytest.raises(BadInput, match="unknown setting 'colour'"):
        changed(Settings(), colour="red")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("[air]\nexposed_ms = 12.0", ["[air]", "exposed_ms is 12", "at most", "sheltered_ms"]),
        ("[air]\nscent_full_m = 900.0\nscent_gone_m = 800.0", ["scent_full_m", "below", "scent_gone_m"]),
        ("[air]\ntimber_part = 0.5", ["timber_part", "at most", "open_part"]),
        ('[air]\nnight_class = "A"', ["night_class", "A"]),
        ("[camp]\nsetback_m = 5.0", ["setback_m", "15", "500"]),
    ],
)
def test_air_and_camp_are_held_to_their_ranges(text, told):
    with pytest.raises(BadInput) as caught:
        read_settings(text)
    for words in told:
        assert words in str(caught.value)

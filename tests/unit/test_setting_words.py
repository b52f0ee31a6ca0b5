"""People read of settings, rows and steps in words; keys and columns are for those who type them."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest
from shapely import LineString, Point, box

import graylight
from graylight.country.folder import Country
from graylight.country.rows import Row, Rows
from graylight.country.settings_file import put
from graylight.country.steps import COLUMNS, UNSAID, Change, Step
from graylight.country.tables import LIVE
from graylight.errors import BadInput
from graylight.plan.edits import WHAT, check_edit, read_edits
from graylight.plan.edits_told import setting
from graylight.plan.ids import Given
from graylight.settings import Settings
from graylight.settings.words import WORDS, called, in_words, value_words
from tests.unit.test_rows import country, made  # noqa: F401

SOURCE = Path(graylight.__file__).parent
DEFAULTS = Settings().model_dump()
KEYS = [
    key
    for group, value in DEFAULTS.items()
    for key in ([f"{group}.{name}" for name in value] if isinstance(value, dict) else [group])
]
SHAPES = {"point": Point(500_100, 4_500_100), "line": LineString([(0, 0), (9, 9)]), "any": None}
KEY_LIKE = re.compile(
    r"[a-z]+_[a-z]|\b(?:" + "|".join(k for k, v in DEFAULTS.items() if isinstance(v, dict)) + r")\.[a-z]"
)


def test_every_setting_has_words_and_no_others_have():
    assert list(WORDS) == KEYS
    assert len(set(WORDS.values())) == len(WORDS)


@pytest.mark.parametrize("key", KEYS)
def test_words_of_a_setting_are_words(key):
    """They name a thing, so that they can be set 'to' something; as short as fits beside a button."""
    assert not KEY_LIKE.search(WORDS[key])
    assert re.match(r"(the|how|walking) ", WORDS[key])
    assert len(WORDS[key]) <= 90
    assert not KEY_LIKE.search(in_words(f"raise {key} now"))
    step = Step(1, (Change("edits", 1, None, {"what": "set", "target": key, "value": "3"}),))
    assert step.words.startswith(f"set {called(key)} to 3")
    assert not KEY_LIKE.search(step.words)


@pytest.mark.parametrize("spec", LIVE, ids=lambda spec: spec.name)
def test_every_step_on_every_column_of_every_table_is_told_in_words(spec):
    assert spec.one != "row"
    row = dict.fromkeys(spec.columns)
    told = [Step(1, (Change(spec.name, 1, a, b),)).words for a, b in ((None, row), (row, None))]
    if spec.name != "edits":
        for column in spec.columns:
            assert column in COLUMNS or column in UNSAID, column
            words = Step(1, (Change(spec.name, 1, row, {**row, column: "7"}),)).words
            assert (
                words.endswith(COLUMNS[column]) if column not in UNSAID else words == f"change the {spec.one}"
            )
            told.append(words)
    assert not any(
        KEY_LIKE.search(words) or spec.name in words.split() for words in told if spec.name != "sign"
    )


@pytest.mark.parametrize("what", WHAT)
def test_every_kind_of_edit_is_told_in_words(what):
    target = {"set": "sight.radius_m", "add": ""}.get(what, "P3")
    row = {"what": what, "target": target, "value": {"set": "2600", "rename": "North bowl"}.get(what, "")}
    words = Step(1, (Change("edits", 1, None, row),)).words
    assert words == {
        "accept": "accept P3", "drop": "drop P3", "rename": "rename P3 to 'North bowl'", "redraw": "redraw P3",
        "add": "add a pocket", "move": "move P3",
        "set": "set the farthest that a lookout may be from a pocket to 2600 m",
    }[what]  # fmt: skip
    assert Step(1, (Change("edits", 1, {"what": "accept", "target": "West gate"}, None),)).words == (
        "take back: begin walks at 'West gate'"
    )


@pytest.mark.parametrize("spec", LIVE, ids=lambda spec: spec.name)
def test_refusals_of_rows_call_them_as_people_do(country, spec):  # noqa: F811
    rows = Rows(country)
    with pytest.raises(BadInput, match=f"^there is no {spec.one} 99;"):
        rows.get(spec.name, 99)
    column = next(iter(spec.columns))
    with pytest.raises(BadInput) as refused:
        rows.add(spec.name, box(0, 0, 9, 9) if spec.shape == "any" else SHAPES[spec.shape], **{column: 3})
    assert spec.a in str(refused.value)
    assert f"{spec.name}." not in str(refused.value)


@pytest.mark.parametrize("key", KEYS)
def test_a_setting_refused_on_the_page_is_called_by_its_words(country, key):  # noqa: F811
    """As it was said first, so in the plan's list of what was not used: no key anywhere in it."""
    row = Row("edits", 0, None, {"what": "set", "target": key, "value": "not \t a value"})
    if key == "sit.wind":
        return  # any words are kept; what is no wind is told where it is used
    with pytest.raises(BadInput) as refused:
        check_edit(country, row)
    assert str(refused.value).startswith(called(key))
    assert not KEY_LIKE.search(str(refused.value))
    Rows(country).add("edits", None, **row.values)
    (unread,) = read_edits(Country.open(country.folder), Given()).unread
    assert not KEY_LIKE.search(unread)
    assert called(key) in unread


@pytest.mark.parametrize(
    ("one", "value", "other"),
    [("watch.seat_slope_deg", 44.0, "walk.shut_deg"), ("record.rest_days", 30, "record.pushed_days"),
     ("record.pushed_part", 1.0, "record.rest_part"), ("record.stray", 1.0, "record.sign_stray")],
)  # fmt: skip
def test_two_settings_that_contradict_each_other_are_called_by_their_words(one, value, other):
    settings = put(Settings(), "walk.shut_deg", 40.0)
    with pytest.raises(BadInput) as refused:
        put(settings, one, value)
    assert called(one) in str(refused.value)
    assert called(other) in str(refused.value)
    assert not KEY_LIKE.search(str(refused.value))


def test_values_have_their_units():
    assert value_words("sit.watch_minutes", "180") == "180 minutes"
    assert value_words("walk.private_open", "false") == "no"
    assert value_words("sit.wind", "SW 8 mph") == "SW 8 mph"
    assert setting("no.such") == "'no.such'"


def literals(path):
    """Strings of a file that people may read: no docstrings, no descriptions of fields."""
    tree = ast.parse(path.read_text())
    skipped = {
        id(part)
        for node in ast.walk(tree)
        if isinstance(node, ast.Expr) or (isinstance(node, ast.keyword) and node.arg == "description")
        for part in ast.walk(node.value)
    } - {
        id(part)
        for node in ast.walk(tree)
        if isinstance(node, ast.Expr) and not isinstance(node.value, ast.Constant)
        for part in ast.walk(node.value)
    }
    return [
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in skipped
    ]


TYPED = (
    "settings.toml",
    "set sit.wind",
    "lower sight.radius_m",
    "GB; accepted is half",
    "sight.radius_m is ",
    "walk.pace_factor is ",
)
"""Sentences of the commands that say what to type; the page has other words for them, see `server.notes`."""


@pytest.mark.parametrize("layer", ["plan", "packet", "telling", "sit", "approach"])
def test_no_sentence_names_a_key_but_where_it_is_to_be_typed(layer):
    for path in sorted((SOURCE / layer).glob("*.py")):
        for text in literals(path):
            told = " " in text.strip() and any(key in text for key in KEYS if "." in key)
            assert not told or any(words in text for words in TYPED), (path.name, text)

"""The page on the plan's JSON names every field, and its example is a piece of a plan."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from pydantic import BaseModel

from graylight.errors import BadInput
from graylight.place import read_place
from graylight.plan import model
from graylight.plan.model import SCHEMA_VERSION, Lookout

DOCS = Path(__file__).parents[2] / "docs"
PAGE = (DOCS / "plan.md").read_text(encoding="utf-8")
MODELS = [getattr(model, name) for name in model.__all__ if isinstance(getattr(model, name), type)]


@pytest.mark.parametrize("kind", MODELS, ids=lambda kind: kind.__name__)
def test_every_field_is_documented_under_its_own_heading(kind: type[BaseModel]):
    section = re.search(rf"^### {kind.__name__}\n(.*?)(?=^### |\Z)", PAGE, re.MULTILINE | re.DOTALL)
    assert section is not None
    told = set(re.findall(r"^\| `(\w+)` \|", section[1], re.MULTILINE))
    inherited = set(kind.__base__.model_fields) if "fields of Spot" in section[1] else set()
    assert told | inherited == set(kind.model_fields)


def test_nullable_fields_say_so():
    for kind in MODELS:
        for name in kind.__annotations__.keys() & kind.model_fields.keys():
            section = re.search(rf"^### {kind.__name__}\n(.*?)(?=^### |\Z)", PAGE, re.MULTILINE | re.DOTALL)
            row = re.search(rf"^\| `{name}` \| ([^|]*)\|", section[1], re.MULTILINE)
            assert ("None" in str(kind.__annotations__[name])) == ("or null" in row[1]), (kind, name)


def test_the_example_is_a_lookout_and_the_version_is_right():
    example = re.search(r"```json\n(.*?)```", PAGE, re.DOTALL)[1]
    assert Lookout.model_validate_json(example).model_dump_json(indent=1) == example.rstrip()
    assert f'`schema_version` is "{SCHEMA_VERSION}"' in PAGE


def without_what_came_later(value, schema, whole):
    """A plan's JSON without the fields that its schema doesn't require."""
    while "$ref" in schema:
        schema = whole["$defs"][schema["$ref"].rsplit("/", 1)[1]]
    if isinstance(value, list):
        return [without_what_came_later(one, schema.get("items", {}), whole) for one in value]
    if isinstance(value, dict) and "properties" in schema:
        parts = schema["properties"]
        return {
            k: without_what_came_later(v, parts[k], whole)
            for k, v in value.items()
            if k in schema["required"]
        }
    return value


def test_a_plan_of_the_version_before_is_read_and_one_of_a_version_to_come_refused(small):
    """The page's own rule: the second number rises by what old readers can pass over, the first by what they can't."""
    text = (small / "plan" / "plan.json").read_text()
    now = json.loads(text)
    assert now["schema_version"] == SCHEMA_VERSION
    old = without_what_came_later(now, (schema := model.Plan.model_json_schema()), schema) | {
        "schema_version": "1.0"
    }
    assert "record" not in old
    assert "own" not in old["pockets"][0]
    read = model.Plan.model_validate(old)
    assert (read.schema_version, read.record, read.pockets[0].own) == ("1.0", None, False)
    for version in ("2.0", "1.2"):
        with pytest.raises(ValueError, match="schema_version"):
            model.Plan.model_validate(now | {"schema_version": version})


def test_the_places_on_the_page_are_read_as_the_page_says():
    page = (DOCS / "exchange.md").read_text(encoding="utf-8")
    table = page.split("| form | examples |")[1].split("\n\n")[0]
    examples = re.findall(r"`([^`]+)`", table)
    assert len(examples) >= 12
    for text in examples:
        assert read_place(text) == pytest.approx((-111.5, 39.3), abs=2e-4), text
    for text in ("39 18 111 30", "12T 456789 4350123"):
        assert f"`{text}`" in page
        with pytest.raises(BadInput):
            read_place(text)

"""A country's settings.toml: every setting with what it means, its default and what is accepted."""

from __future__ import annotations

import datetime as dt
import json
import tomllib
from collections.abc import Iterator, Mapping
from difflib import get_close_matches
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from graylight.errors import BadInput
from graylight.settings import Settings
from graylight.settings.group import Unlike
from graylight.settings.words import called

__all__ = ["changed", "put", "read_settings", "write_settings"]

HEAD = "Settings of this country. A line that is taken out goes back to its default."
_BOUNDS = (("ge", "from {:g}"), ("gt", "above {:g}"), ("le", "to {:g}"), ("lt", "below {:g}"))


def write_settings(settings: Settings) -> str:
    """The settings as TOML, each with its description, default and range as comments above it.

    >>> "lookouts = 3" in write_settings(Settings())
    True
    """
    return "\n".join([f"# {HEAD}", *_lines(settings), ""])


def _lines(group: BaseModel) -> Iterator[str]:
    for key, field in type(group).model_fields.items():
        value = getattr(group, key)
        yield ""
        if isinstance(value, BaseModel):
            yield f"[{key}]"
            yield from _lines(value)
            continue
        yield from (f"# {line}" for line in _words(field))
        yield f"# {key} = not set" if value is None else f"{key} = {_toml(value)}"


def _toml(value: Any) -> str:
    """A value as TOML has it: a string as in JSON, but for the one character that TOML wants escaped besides."""
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return value.isoformat() if isinstance(value, dt.date) else str(value).lower()


def _words(field: FieldInfo) -> Iterator[str]:
    yield field.description or ""
    default = "not set" if field.default is None else _shown(field.default)
    yield f"Default {default}; accepted: {_accepted(field)}."


def _shown(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    return f"{value:.4g}" if isinstance(value, float) else str(value)


def _accepted(field: FieldInfo) -> str:
    """What a setting may be, in words."""
    if isinstance(field.json_schema_extra, dict) and "accepted" in field.json_schema_extra:
        return str(field.json_schema_extra["accepted"])
    kinds = [k for k in get_args(field.annotation) if k is not type(None)]
    if get_origin(field.annotation) is Literal:
        return " or ".join(str(k) for k in kinds)
    kind = kinds[0] if kinds else field.annotation
    limits = [words.format(getattr(m, at)) for at, words in _BOUNDS for m in field.metadata if hasattr(m, at)]
    named = {
        bool: "true or false", int: "a whole number", float: "a number", str: "text",
        dt.date: "a date YYYY-MM-DD in 1900-2050",
    }  # fmt: skip
    words = next((words for known, words in named.items() if known is kind), str(kind))
    return " ".join([words, *limits])


def read_settings(text: str, *, where: str = "settings.toml") -> Settings:
    """Read settings from TOML; what is not set has its default.

    Raises
    ------
    BadInput
        Not TOML, an unknown key, or a value outside its range: which key, the value got, what is accepted.
    """
    try:
        given = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadInput(
            f"{where} is not TOML: {error}; accepted are lines like 'lookouts = 3'; mend the line, or "
            "remove the file to go back to the defaults"
        ) from None
    return _checked(given, where)


def changed(settings: Settings, **changes: Any) -> Settings:
    """Settings with some of them changed; groups are given as dictionaries of what changes in them.

    >>> changed(Settings(), lookouts=2, walk={"pace_factor": 1.1}).walk.pace_factor
    1.1

    Raises
    ------
    BadInput
        An unknown setting or a value outside its range.
    """
    try:
        return Settings.model_validate(_merged(settings, changes))
    except ValidationError as error:
        raise _refused(error, "settings") from None


def put(settings: Settings, key: str, value: Any) -> Settings:
    """Settings with one changed by its key; a refusal is for people: it has no key, but what settings are called.

    >>> put(Settings(), "walk.pace_factor", 1.1).walk.pace_factor
    1.1

    Raises
    ------
    BadInput
        An unknown setting or a value outside its range, or one that does not go with another.
    """
    group, _, name = key.rpartition(".")
    try:
        return Settings.model_validate(_merged(settings, {group: {name: value}} if group else {key: value}))
    except ValidationError as error:
        first, path = _first(error)
    if _apart(first, path):
        wrong = first["ctx"]["error"]
        inside = f"{path[0]}." if path else ""
        told = wrong.told(lambda one: called(inside + one)) if isinstance(wrong, Unlike) else str(wrong)
        raise BadInput(told)
    field = None if _group(path) is not None else _field(path)
    if field is None:
        raise BadInput(
            f"no setting is called {key[:60]!r}; accepted are those of docs/settings.md; leave it out"
        )
    raise BadInput(f"accepted is {_accepted(field)}; choose such a value, or its default")


def _merged(settings: Settings, changes: Mapping[str, Any]) -> dict[str, Any]:
    given = settings.model_dump()
    for key, value in changes.items():
        given[key] = {**given[key], **value} if isinstance(value, dict) and key in given else value
    return given


def _checked(given: dict[str, Any], where: str) -> Settings:
    try:
        return Settings.model_validate(given)
    except ValidationError as error:
        raise _refused(error, where) from None


def _first(error: ValidationError) -> tuple[Any, list[str]]:
    """The first thing that is wrong, and where."""
    first = error.errors(include_url=False)[0]
    return first, [str(part) for part in first["loc"]]


def _apart(first: Any, path: list[str]) -> bool:
    """Whether two settings contradict each other, not one its own range."""
    return first["type"] == "value_error" and (not path or _group(path) is not None)


def _refused(error: ValidationError, where: str) -> BadInput:
    first, path = _first(error)
    if _apart(first, path):
        inside = f" [{path[0]}]" if path else ""
        return BadInput(f"{where}{inside}: {first['ctx']['error']}")
    return BadInput(_complaint(path, first, where))


def _complaint(path: list[str], first: Any, where: str) -> str:
    key, group, field = ".".join(path), _group(path[:-1]), _field(path)
    if field is None:
        known = sorted(group.model_fields) if group else []
        near = get_close_matches(path[-1], known, n=1)
        hint = f"did you mean {near[0]!r}?" if near else "take the line out"
        return f"unknown setting {key!r} in {where}; accepted are {', '.join(known)}; {hint}"
    got = first["input"]
    shown = got.isoformat() if isinstance(got, dt.date) else repr(got)
    accepted = _group_or_field(field)
    return f"{where}: {key} is {shown}; accepted: {accepted}; change it or take it out for the default"


def _field(path: list[str]) -> FieldInfo | None:
    group = _group(path[:-1])
    return group.model_fields.get(path[-1]) if group and path else None


def _group_or_field(field: FieldInfo) -> str:
    is_group = isinstance(field.annotation, type) and issubclass(field.annotation, BaseModel)
    return "a table of settings" if is_group else _accepted(field)


def _group(path: list[str]) -> type[BaseModel] | None:
    """The group of settings that a dotted path leads to."""
    group: type[BaseModel] = Settings
    for part in path:
        field = group.model_fields.get(part)
        if (
            field is None
            or not isinstance(field.annotation, type)
            or not issubclass(field.annotation, BaseModel)
        ):
            return None
        group = field.annotation
    return group

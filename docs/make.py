"""The machine-written part of the docs: pages (held by a test), the README's pictures, and the plan told.

Run by `make docs`, or `python -m docs.make [FOLDER of an invented country]`. Without a folder a country is invented.
"""

from __future__ import annotations

import datetime as dt
import json
import sys
import tempfile
import typing
from collections.abc import Sequence
from pathlib import Path

from cyclopts import Argument
from pydantic import BaseModel, TypeAdapter
from pydantic.fields import FieldInfo

from graylight.cli.main import COMMANDS, PLACES, app
from graylight.country.layers import LAYERS
from graylight.habitat.profile import Number, Profile, shipped, shipped_names
from graylight.plan.camp_model import Camps
from graylight.plan.model import Look, Plan, Watch
from graylight.plan.morning_model import Morning
from graylight.plan.pace_model import MeasuredPace
from graylight.plan.record_model import Learning, Next, OddsTold, OutingTold, SightingTold, SignTold
from graylight.settings import Settings

HERE = Path(__file__).parent
README = HERE.parent / "README.md"
NOTE = "<!-- written by docs/make.py; change the source, not this page -->"

NOT_IN_THE_FIELD = {
    "animal": "a profile's name, see [animals](animals.md)",
    "date": "YYYY-MM-DD, from 1900 to 2050",
    "start": "a PLACE, see [places](exchange.md)",
}
"""What is accepted where the type of the setting does not say it."""

NOT_KEPT_YET = frozenset({"benches", "sight_share"})
"""Layers that have a name but that no command writes; a test says when this is no longer so."""

GROUPS = {
    "sight": "How sight is reckoned.",
    "optics": "What the eye gets through each glass.",
    "glare": "Where the sun stands as one looks at a pocket, see [sky](sky.md); a morning uses it.",
    "watch": "What makes a place good to sit and glass from.",
    "walk": "How the person walks.",
    "air": "How the air moves over the ground, and what it carries. All are rules of thumb; a forecast and the feel of the air "
    "go before them.",
    "camp": "What makes a place to camp. Local rules go before all of it.",
    "approach": "What being seen or smelled on the way counts.",
    "pack": "Carrying an animal out.",
    "record": "From what was seen and not seen to the odds, see [record](record.md).",
    "sit": "The clock of a morning and what decides about it, see [morning](morning.md).",
}


_RECORD: TypeAdapter[object] = TypeAdapter(OutingTold | SightingTold | SignTold | OddsTold | Next | Learning)
"""What the commands of the record print: one of these."""


def pages() -> dict[str, str]:
    """Every page written by machine, by file name."""
    return {
        "layers.md": layers_page(),
        "settings.md": settings_page(),
        "animals.md": animals_page(),
        "commands.md": commands_page(),
        "plan-schema.json": _json(Plan.model_json_schema()),
        "look-schema.json": _json(Look.model_json_schema()),
        "morning-schema.json": _json(Morning.model_json_schema()),
        "camp-schema.json": _json(Camps.model_json_schema()),
        "pace-schema.json": _json(MeasuredPace.model_json_schema()),
        "watch-schema.json": _json(Watch.model_json_schema()),
        "record-schema.json": _json(_RECORD.json_schema()),
    }


def _json(schema: object) -> str:
    return json.dumps(schema, indent=1, sort_keys=True, ensure_ascii=False) + "\n"


def _page(title: str, *parts: str) -> str:
    return "\n\n".join([f"# {title}", NOTE, *(part.strip() for part in parts)]) + "\n"


def _table(head: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> str:
    lines = [head, tuple("---" for _ in head), *rows]
    return "\n".join("| " + " | ".join(cell.replace("|", "\\|") for cell in line) + " |" for line in lines)


# --- layers --------------------------------------------------------------------------------------------------------


def layers_page() -> str:
    """The table of layers."""
    rows = [
        (f"`{s.name}`", s.dtype, s.unit, _nodata(s.nodata), str(s.bands), s.writer, s.words + _kept(s.name))
        for s in LAYERS.values()
    ]
    return _page(
        "Layers",
        "Every layer of a country is a cloud-optimised GeoTIFF, `layers/NAME.tif`, on the country's one grid: row 0 is north, "
        "cells are square, the frame is UTM on WGS 84. Any map program opens them. A layer is there only if what it rests on "
        "is: without imagery there is no `red`, without a plan no `feed`.",
        "Unit `1` is a part or a suitability in [0, 1]; `code` a class; `label` the number of a piece. Writer `entry` means "
        "brought in with `graylight new`; the others are the stages. How each is made stands on the page of its stage, see "
        "[all pages](index.md).",
        _table(("layer", "type", "unit", "nodata", "bands", "writer", "what it holds"), rows),
    )


def _kept(name: str) -> str:
    return " (not kept yet)" if name in NOT_KEPT_YET else ""


def _nodata(value: float | None) -> str:
    return "none" if value is None else f"{value:g}"


# --- settings ------------------------------------------------------------------------------------------------------


def settings_page() -> str:
    """Every setting, its default, range and where it comes from."""
    settings = Settings()
    parts = ["## For the whole", _settings(settings)]
    for name, field in Settings.model_fields.items():
        if isinstance(field.annotation, type) and issubclass(field.annotation, BaseModel):
            parts += [f"## [{name}]", GROUPS[name], _settings(getattr(settings, name), f"{name}.")]
    return _page(
        "Settings",
        "Settings live in a country's `settings.toml`, a text file that says of each what it means, its default and what is "
        "accepted. Change it in any editor, then run `graylight plan` again. Those with a dot stand in the section of that "
        "name: `walk.pace_factor` is `pace_factor` below `[walk]`. The options of `graylight plan` come before the file.",
        "Some must go together: `watch.best_near_m` at most `watch.best_far_m`, `sight.thin_closure` below "
        "`sight.dense_closure`, `glare.glass_deg` at most `glare.near_deg`, "
        "`air.exposed_ms` at most `air.sheltered_ms`, `air.timber_part` at most `air.open_part`, "
        "`air.scent_full_m` below `air.scent_gone_m`, "
        "`record.stray` at most `record.sign_stray`, `record.rest_days` at most `record.pushed_days`, "
        "`record.pushed_part` at most `record.rest_part`, "
        "`sit.scent_care` at most `sit.scent_spoils`, `sit.glass_care` at most `sit.glass_spoils`, "
        "`walk.scramble_deg` and `watch.seat_slope_deg` at most `walk.shut_deg`, and `sight.radius_m` "
        "above the animal's `watch.standoff_m`. What contradicts another setting is refused.",
        "A rule of thumb says whose it is. 'Common practice', 'proposed default' and 'value from memory' mean just that: no "
        "source stands behind the number.",
        *parts,
    )


def _settings(model: BaseModel, prefix: str = "") -> str:
    rows = [
        (f"`{prefix}{name}`", _value(getattr(model, name)), _accepted(name, field), field.description or "")
        for name, field in type(model).model_fields.items()
        if not isinstance(getattr(model, name), BaseModel)
    ]
    return _table(("setting", "default", "accepted", "what it is"), rows)


def _value(value: object) -> str:
    if value is None:
        return "not set"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return f"{value:.4g}"
    return value.isoformat() if isinstance(value, dt.date) else str(value)


def _accepted(name: str, field: FieldInfo) -> str:
    """What a field takes: from its limits, its choices or its type."""
    if isinstance(field.json_schema_extra, dict) and "accepted" in field.json_schema_extra:
        return str(field.json_schema_extra["accepted"])
    found = {key: getattr(m, key) for m in field.metadata for key in ("ge", "le") if hasattr(m, key)}
    if found:
        return f"{found['ge']:g} to {found['le']:g}"
    if typing.get_origin(field.annotation) is typing.Literal:
        return " or ".join(typing.get_args(field.annotation))
    return "true or false" if field.annotation is bool else NOT_IN_THE_FIELD[name]


# --- animals -------------------------------------------------------------------------------------------------------


def animals_page() -> str:
    """Every number of every shipped profile."""
    profiles = [shipped(name) for name in shipped_names()]
    told = "\n".join(
        f"- `{p.name}`: {p.words}, meant for {p.season[0]} to {p.season[1]} (month-day). {p.note}"
        for p in profiles
    )
    groups: dict[str, list[tuple[str, ...]]] = {}
    for key in sorted({key for p in profiles for key in p.numbers}, key=list(profiles[0].numbers).index):
        groups.setdefault(key.split(".")[0], []).append(_number_row(key, profiles))
    head = ("number", *(p.name for p in profiles), "accepted", "confidence", "source")
    parts = [f"## {name}\n\n{_table(head, rows)}" for name, rows in groups.items()]
    return _page(
        "Animals",
        "A profile says how one animal uses the ground at one season. Rules of thumb about animals are numbers here, "
        "each with what is accepted, how sure it is, and its source. Where sources disagree, that is said.",
        told,
        "**To change a number**, copy a profile from `src/graylight/habitat/profiles/` into the country's `animals/` folder "
        "under another name, put that name into its `name` line, change what is to be changed, and say it with `--animal`. "
        "What the numbers do stands on the page [habitat](habitat.md).",
        *parts,
    )


def _number_row(key: str, profiles: list[Profile]) -> tuple[str, ...]:
    """One number across the profiles; where they differ in more than the value, each is told with its name."""
    numbers = {p.name: p.numbers[key] for p in profiles}
    values = tuple(f"{number.value:g}" for number in numbers.values())
    ranges = {name: f"{n.range[0]:g} to {n.range[1]:g}" for name, n in numbers.items()}
    sureness: dict[str, str] = {name: n.confidence for name, n in numbers.items()}
    sources = {name: _source(n) for name, n in numbers.items()}
    return (f"`{key}`", *values, _once(ranges), _once(sureness), _once(sources))


def _once(by_name: dict[str, str]) -> str:
    distinct = list(dict.fromkeys(by_name.values()))
    if len(distinct) == 1:
        return distinct[0]
    return " ".join(f"{', '.join(n for n, v in by_name.items() if v == one)}: {one}" for one in distinct)


def _source(number: Number) -> str:
    return number.source + (f" **Conflict:** {number.conflict}" if number.conflict else "")


# --- commands ------------------------------------------------------------------------------------------------------


def commands_page() -> str:
    """Every command with its words and options, as the command line itself knows them."""
    parts = []
    for name, words in COMMANDS.items():
        rows = [_option(argument) for argument in arguments(name)]
        parts.append(f"## graylight {name}\n\n{words}\n\n{_usage(name)}")
        parts.append(_table(("word", "takes", "default", "what it is"), rows))
    return _page(
        "Commands",
        "`graylight COMMAND --help` says the same in the terminal; `graylight --version` says which version it is. "
        "After `make demo` the command lies at `.venv/bin/graylight`.",
        PLACES + " More forms stand on the page [places](exchange.md).",
        "Exit codes: 0 done, 2 bad input, 3 a source that was needed could not be had, 130 stopped. What was wrong is said in "
        "one line on standard error. Ctrl-C stops a run; what was there before stays as it was. Progress is shown on standard "
        "error for anything over two seconds.",
        "With `--json` one object is printed on standard output: a plan ([fields](plan.md), [schema](plan-schema.json)), a look "
        "([fields](plan.md), [schema](look-schema.json)), a watch "
        "([schema](watch-schema.json)), a morning ([fields](morning.md), [schema](morning-schema.json)), what the commands of "
        "the record tell ([fields](record.md#fields), [schema](record-schema.json)), or, by `info`, the plan's `country` object "
        "alone.",
        *parts,
    )


def arguments(name: str) -> list[Argument]:
    """What a command takes, in order; a group of options counts as its options."""
    found = app[name].assemble_argument_collection(parse_docstring=True)
    return [argument for argument in found if not argument.children]


def spellings(argument: Argument) -> list[str]:
    """How an argument is written: a bare word in capitals, or its options."""
    if argument.index is not None:
        return [argument.name.removeprefix("--").upper()]
    # every list also gets an option that empties it, which says nothing where the default is nothing
    return [name for name in argument.names if not name.startswith("--empty-")]


def _usage(name: str) -> str:
    needed = []
    for argument in arguments(name):
        word = " / ".join(spellings(argument))
        if argument.index is not None:
            needed.append(word if argument.required else f"[{word}]")
        elif argument.required:
            needed.append(f"{word} {_takes(argument).upper()}")
    return f"```\ngraylight {name} {' '.join(needed)}\n```"


def _option(argument: Argument) -> tuple[str, ...]:
    default = argument.field_info.default
    said = "needed" if argument.required else "" if default in {None, False} else str(default)
    words = " ".join((argument.parameter.help or "").split())
    return (" ".join(f"`{one}`" for one in spellings(argument)), _takes(argument), said, words)


NAMED = {
    "folder": "folder", "--folder": "folder", "--cache": "folder", "--closeup": "place, several times",
    "--around": "place", "--at": "place", "--start": "place",
}  # fmt: skip
"""Options whose name tells more of the value than its type."""


def _takes(argument: Argument) -> str:
    """The kind of value, in a word."""
    hint = argument.hint
    kinds = [kind for kind in typing.get_args(hint) if kind is not type(None)] or [hint]
    kind = kinds[0] if typing.get_origin(hint) not in {list, tuple} else hint
    many = typing.get_origin(kind)
    if argument.name.lower() in NAMED:
        return NAMED[argument.name.lower()]
    if many is list:
        return "one or more files"
    if many is tuple:
        return f"{len(typing.get_args(kind))} numbers"
    if many is typing.Literal:
        return " or ".join(typing.get_args(kind))
    return {Path: "file", float: "number", int: "whole number", bool: "", str: "text"}[kind]


def main(words: list[str]) -> None:
    """Write the pages, then the pictures and the plan told."""
    from docs.shown import show

    for name, text in pages().items():
        (HERE / name).write_text(text, encoding="utf-8")
    if words:
        show(Path(words[0]), README)
        return
    with tempfile.TemporaryDirectory(prefix="graylight-docs-") as scratch:
        show(Path(scratch) / "country", README)


if __name__ == "__main__":
    main(sys.argv[1:])

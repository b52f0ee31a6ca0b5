"""The written-by-machine parts of docs/ (`pages`, held by a test) and the README's pictures (`pictures`).

Run by `make docs`: python -m docs.make [FOLDER of an invented country that is already planned on].
"""

from __future__ import annotations

import inspect
import json
import sys
import tempfile
from itertools import pairwise
from pathlib import Path

from PIL import Image
from pydantic import BaseModel

from graylight.cli import commands
from graylight.cli.main import COMMANDS, PLACES
from graylight.country.layers import LAYERS
from graylight.habitat.profile import shipped, shipped_names
from graylight.plan.model import Look, Plan
from graylight.settings import Settings

HERE = Path(__file__).parent
NOTE = "<!-- written by docs/make.py; change the source, not this page -->\n\n"


def pages() -> dict[str, str]:
    """Every page written by machine, by file name."""
    return {
        "layers.md": layers_page(),
        "settings.md": settings_page(),
        "animals.md": animals_page(),
        "commands.md": commands_page(),
        "plan-schema.json": _json(Plan.model_json_schema()),
        "look-schema.json": _json(Look.model_json_schema()),
    }


def _json(schema: object) -> str:
    return json.dumps(schema, indent=1, sort_keys=True, ensure_ascii=False) + "\n"


def _table(head: tuple[str, ...], rows: list[tuple[str, ...]]) -> str:
    lines = [head, tuple("---" for _ in head), *rows]
    return (
        "\n".join("| " + " | ".join(cell.replace("|", "\\|") for cell in line) + " |" for line in lines)
        + "\n"
    )


def layers_page() -> str:
    """The table of layers."""
    rows = [
        (f"`{s.name}`", s.dtype, s.unit, "none" if s.nodata is None else f"{s.nodata:g}", s.writer, s.words)
        for s in LAYERS.values()
    ]
    intro = "Every layer of a country is a cloud-optimised GeoTIFF in its `layers/` folder, on the country's one grid.\n\n"
    return (
        "# Layers\n\n"
        + NOTE
        + intro
        + _table(("layer", "type", "unit", "nodata", "writer", "what it holds"), rows)
    )


def settings_page() -> str:
    """Every setting, its default, range and where it comes from."""
    intro = (
        "Settings live in a country's `settings.toml`. A rule of thumb says whose it is; "
        "'common practice' and 'value from memory' mean just that.\n\n"
    )
    return (
        "# Settings\n\n"
        + NOTE
        + intro
        + _table(("setting", "default", "accepted", "what it is"), _settings(Settings(), ""))
    )


def _settings(model: BaseModel, prefix: str) -> list[tuple[str, ...]]:
    rows: list[tuple[str, ...]] = []
    for name, field in type(model).model_fields.items():
        value = getattr(model, name)
        if isinstance(value, BaseModel):
            rows += _settings(value, f"{prefix}{name}.")
            continue
        limits = [
            f"{word} {getattr(m, key):g}"
            for m in field.metadata
            for key, word in (("ge", "from"), ("le", "to"))
            if hasattr(m, key)
        ]
        shown = f"{value:.4g}" if isinstance(value, float) else str(value)
        rows.append((f"`{prefix}{name}`", shown, " ".join(limits), field.description or ""))
    return rows


def animals_page() -> str:
    """Every number of every shipped profile."""
    profiles = [shipped(name) for name in shipped_names()]
    rows = []
    for key, number in profiles[0].numbers.items():
        values = tuple(f"{p.numbers[key].value:g}" for p in profiles)
        low, high = number.range
        source = number.source + (f" **Conflict:** {number.conflict}" if number.conflict else "")
        rows.append((f"`{key}`", *values, f"{low:g} to {high:g}", number.confidence, source))
    told = "\n".join(f"- **{p.name}**: {p.words}, {p.season[0]} to {p.season[1]}. {p.note}" for p in profiles)
    how = (
        "To change a number, copy a profile from `src/graylight/habitat/profiles/` into the country's `animals/` folder under "
        "another name, change it there, and name it with `--animal`.\n\n"
    )
    head = ("number", *(p.name for p in profiles), "accepted", "confidence", "source")
    return "# Animals\n\n" + NOTE + told + "\n\n" + how + _table(head, rows)


def commands_page() -> str:
    """Every command with its words and options."""
    parts = [
        "# Commands\n\n"
        + NOTE
        + PLACES
        + "\n\nExit codes: 0 done, 2 bad input, 3 a source could not be had, 130 stopped.\n"
    ]
    for name, words in COMMANDS.items():
        parts.append(
            f"\n## graylight {name}\n\n{words}\n\n"
            + _table(("word", "default", "what it is"), _options(name))
        )
    return "".join(parts)


def _options(name: str) -> list[tuple[str, ...]]:
    function = getattr(commands, name)
    told = _parameters(inspect.getdoc(function) or "")
    rows = []
    for key, parameter in inspect.signature(function).parameters.items():
        word = f"`{key.upper()}`" if parameter.kind is not inspect.Parameter.KEYWORD_ONLY else f"`--{key}`"
        default = "" if parameter.default in {inspect.Parameter.empty, None} else str(parameter.default)
        rows.append((word, default, told.get(key) or KNOWN[key]))
    return rows


KNOWN = {
    "json": "Print one JSON object instead of sentences (see plan-schema.json and look-schema.json).",
    "bounds": "West south east north, in degrees: take only this box.",
}


def _parameters(docstring: str) -> dict[str, str]:
    """Parameter descriptions of a numpy docstring."""
    told: dict[str, str] = {}
    name = ""
    for line in docstring.splitlines():
        if line and not line.startswith(" "):
            name = line.strip()
        elif line.strip() and name:
            told[name] = (told.get(name, "") + " " + line.strip()).strip()
    return told


def pictures(folder: Path) -> None:
    """Draw the README's pictures from a planned country."""
    from graylight.cli.pictures import map_data
    from graylight.country.folder import Country
    from graylight.drawing.map import draw_map
    from graylight.drawing.profile import draw_profile
    from graylight.grid import LonLat, distance_m
    from graylight.plan.keeping import kept_plan
    from graylight.plan.looking import look_from

    country = Country.open(folder)
    plan = kept_plan(country)
    assert plan is not None
    data = map_data(country)
    _save("plan", draw_map(data, plan, width_px=1300))
    _save(
        "feed", draw_map(data, plan, width_px=1100, layer="feed", raster=country.read("feed"), title="Feed")
    )
    _save("beds", draw_map(data, plan, width_px=1100, layer="bed", raster=country.read("bed"), title="Beds"))
    _save(
        "slope",
        draw_map(
            data,
            None,
            width_px=1100,
            layer="slope",
            raster=country.read("slope"),
            title="Slope (invented range)",
        ),
    )
    _save(
        "facing",
        draw_map(
            data,
            None,
            width_px=1100,
            layer="facing",
            raster=country.read("aspect"),
            title="Facing (invented range)",
        ),
    )
    best = plan.lookouts[0].place
    looked = look_from(country, plan, LonLat(best.lon, best.lat))
    _save("look", _look(country, plan, looked, data))
    line = plan.approaches[0].line
    steps = [distance_m(LonLat(*a[:2]), LonLat(*b[:2])) for a, b in pairwise(line)]
    along = [sum(steps[:i]) for i in range(len(line))]
    _save(
        "way",
        draw_profile(
            along, [p[2] for p in line], start=plan.approaches[0].start.name, end=plan.approaches[0].lookout
        ),
    )


def _look(country: object, plan: Plan, looked: object, data: object) -> Image.Image:
    from graylight.drawing.look import draw_look

    return draw_look(
        data, looked.look, looked.view.answers, pockets=plan.pockets, declination_deg=plan.light.declination_deg,
        invented=country.invented, radius_m=country.settings.sight.radius_m, width_px=1200,
    )  # fmt: skip


def _save(name: str, picture: Image.Image) -> None:
    path = HERE / "pictures" / f"{name}.png"
    path.parent.mkdir(exist_ok=True)
    picture.quantize(192, dither=Image.Dither.NONE).save(path, optimize=True)
    print(path, path.stat().st_size // 1000, "kB")


def main() -> None:
    """Write the pages, draw the pictures."""
    for name, text in pages().items():
        (HERE / name).write_text(text, encoding="utf-8")
    if len(sys.argv) > 1:
        pictures(Path(sys.argv[1]))
        return
    from graylight.cli.demonstration import demonstrate

    with tempfile.TemporaryDirectory() as scratch:
        demonstrate(Path(scratch) / "country")
        pictures(Path(scratch) / "country")


if __name__ == "__main__":
    main()

"""Docs that cannot lie: pages written by machine are up to date, all a person can say is told, examples run, links live."""

from __future__ import annotations

import re
import shlex
from importlib import import_module
from pathlib import Path

import pytest
from docs.make import HERE, NOT_KEPT_YET, arguments, pages
from pydantic import BaseModel

import graylight
from graylight.cli.main import COMMANDS, app, home, main
from graylight.country.layers import LAYERS
from graylight.country.tables import TABLES
from graylight.habitat.profile import shipped, shipped_names
from graylight.plan import record_model
from graylight.settings import Settings

ROOT = HERE.parent
SOURCE = Path(graylight.__file__).parent
PAGES = sorted(HERE.glob("*.md"))
TEXTS = [ROOT / "README.md", ROOT / "CONTRIBUTING.md", ROOT / "CHANGELOG.md", *PAGES]

PAGE_OF = {
    "approach": "walking", "chance": "record", "cli": "commands", "country": "country", "demo": "demo",
    "drawing": "drawing", "exchange": "exchange", "ground": "ground", "habitat": "habitat",
    "kernels": "conventions", "packet": "packet", "plan": "plan", "reach": "walking", "server": "http", "settings": "settings",
    "gather": "gather", "intake": "gather",
    "sight": "sight", "sit": "morning", "siting": "siting", "sky": "sky", "telling": "telling",
}  # fmt: skip
"""The page on which a package is told of. A new package needs a line here and a page."""


def text_of(path: Path) -> str:
    return path.read_text(encoding="utf-8")


def blocks(path: Path, language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```", text_of(path), re.MULTILINE | re.DOTALL)


def row(page: str, key: str) -> list[str]:
    """The cells of the row of a table that begins with a key; the text says so when there is none."""
    found = [line for line in text_of(HERE / page).splitlines() if line.startswith(f"| `{key}` |")]
    assert len(found) == 1, f"{key} stands {len(found)} times in {page}"
    return [cell.strip() for cell in re.split(r"(?<!\\)\|", found[0])[1:-1]]


# --- pages written by machine --------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", pages())
def test_pages_written_by_machine_are_up_to_date(name):
    assert text_of(HERE / name) == pages()[name], "run `make docs`"


def test_every_command_and_option_is_documented():
    page = text_of(HERE / "commands.md")
    assert set(re.findall(r"^## graylight (\w+)$", page, re.MULTILINE)) == set(COMMANDS)
    for name in COMMANDS:
        section = page.split(f"## graylight {name}\n")[1].split("\n## ")[0]
        for argument in arguments(name):
            word = argument.name.removeprefix("--").upper() if argument.index is not None else argument.name
            assert f"| `{word}`" in section, (name, word)
            assert argument.parameter.help, f"{name} {word} says nothing of itself"


def test_every_command_there_is_can_be_called():
    for name in COMMANDS:
        module, function = home(name).split(":")
        assert function in import_module(module).__all__
    assert {name for name in app if not name.startswith("-")} == set(COMMANDS)


def test_every_setting_is_documented_with_its_default():
    def hold(model, prefix):
        for name in type(model).model_fields:
            value = getattr(model, name)
            if isinstance(value, BaseModel):
                hold(value, f"{name}.")
                continue
            _, default, accepted, words = row("settings.md", prefix + name)
            assert accepted
            assert words
            if isinstance(value, (int, float)) and not isinstance(value, bool):
                assert float(default) == pytest.approx(value, rel=1e-3)

    hold(Settings(), "")


def test_every_layer_is_documented_and_kept_as_the_page_says(demo):
    for spec in LAYERS.values():
        cells = row("layers.md", spec.name)
        assert cells[1:3] == [spec.dtype, spec.unit]
        assert cells[5] == spec.writer
        assert ("not kept yet" in cells[6]) == (spec.name in NOT_KEPT_YET)
    worked_out = {name for name, spec in LAYERS.items() if spec.writer != "entry"}
    kept = {path.stem for path in (demo / "layers").glob("*.tif")}
    assert worked_out - kept == NOT_KEPT_YET, "say in docs/make.py which layers are not kept"


def test_every_table_kept_is_documented():
    page = text_of(HERE / "country.md")
    for spec in TABLES.values():
        assert f"| `{spec.name}` | {spec.shape} | {', '.join(spec.columns)} |" in page, spec.name


@pytest.mark.parametrize("name", record_model.__all__)
def test_every_field_of_the_record_is_documented(name):
    kind = getattr(record_model, name)
    section = re.search(
        rf"^### {name}\n(.*?)(?=^### |\Z)", text_of(HERE / "record.md"), re.MULTILINE | re.DOTALL
    )
    assert section is not None
    told = dict(re.findall(r"^\| `(\w+)` \| ([^|]*)\|", section[1], re.MULTILINE))
    assert set(told) == set(kind.model_fields)
    for field, words in told.items():
        assert ("None" in str(kind.__annotations__[field])) == ("or null" in words), field


def test_every_column_of_the_record_is_documented():
    page = text_of(HERE / "record.md")
    for table in ("outings", "sightings", "sign"):
        for column in TABLES[table].columns:
            assert f"`{column}`" in page, (table, column)


def test_every_number_of_a_profile_is_documented():
    profiles = [shipped(name) for name in shipped_names()]
    for key in {key for profile in profiles for key in profile.numbers}:
        cells = row("animals.md", key)
        for profile, cell in zip(profiles, cells[1:5], strict=True):
            number = profile.numbers[key]
            assert float(cell) == pytest.approx(number.value), (profile.name, key)
            assert number.source in cells[7].replace("\\|", "|")
            assert (number.conflict or "") in cells[7].replace("\\|", "|")


def test_every_number_of_a_profile_is_used():
    """A number that nothing reads would promise a change that never comes."""
    source = "\n".join(p.read_text() for p in SOURCE.rglob("*.py") if p.name != "profile.py")
    for key in shipped(shipped_names()[0]).numbers:
        group, name = key.split(".")
        read_by_name = group in {"openness", "growth"} or (group == "pocket" and name.startswith("weight_"))
        assert read_by_name or f".{name}" in source or name.startswith("elsewhere_"), key


# --- pages and links -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", TEXTS, ids=lambda p: p.name)
def test_links_lead_somewhere(path: Path):
    for target in re.findall(r"\]\(([^)\s]+)\)", text_of(path)):
        if re.match(r"https?:", target):
            continue
        name, _, part = target.partition("#")
        there = path if not name else path.parent / name
        assert there.exists(), target
        assert not part or part in anchors(there), target


def anchors(path: Path) -> set[str]:
    headings = re.findall(r"^#+ (.+)$", text_of(path), re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in headings}


def test_every_stage_has_a_page():
    packages = {path.parent.name for path in SOURCE.glob("*/__init__.py")}
    assert packages == set(PAGE_OF)
    for page in PAGE_OF.values():
        assert (HERE / f"{page}.md").stat().st_size > 500, page


def test_every_page_is_on_the_index():
    index = text_of(HERE / "index.md")
    pages_there = {path.name for path in HERE.iterdir() if path.suffix in {".md", ".json"}}
    for name in pages_there - {"index.md"}:
        assert f"]({name})" in index, name


def test_the_pictures_of_the_readme_are_there_and_light():
    pictures = re.findall(r"!\[([^\]]+)\]\((docs/pictures/[^)]+)\)", text_of(ROOT / "README.md"))
    assert len(pictures) >= 7
    assert {Path(name).name for _, name in pictures} == {p.name for p in (HERE / "pictures").iterdir()}
    for words, name in pictures:
        assert words
        assert (ROOT / name).stat().st_size < 900_000, name


def test_the_readme_quotes_what_the_program_told():
    readme = text_of(ROOT / "README.md")
    begin, end = "<!-- told, by docs/make.py -->", "<!-- end of told -->"
    quoted = readme.split(begin)[1].split(end)[0].split("\n>\n")
    told = " ".join(text_of(HERE / "told.md").split())
    assert len(quoted) == 2
    for paragraph in quoted:
        words = " ".join(paragraph.replace("\n>", "\n").lstrip("> \n").split())
        assert len(words) > 100
        assert words in told


# --- examples ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", [path for path in TEXTS if blocks(path, "python")], ids=lambda p: p.name)
def test_python_examples_run(path: Path, tmp_path, monkeypatch):
    from graylight.demo import range as invented

    whole = invented.invent
    # coarser cells, as the page on the invented range says: the same code in a tenth of the time
    monkeypatch.setattr(
        invented, "invent", lambda **given: whole(**{"cell_m": 40, "rows": 300, "cols": 300} | given)
    )
    monkeypatch.chdir(tmp_path)
    names: dict[str, object] = {}
    for block in blocks(path, "python"):
        exec(compile(block, path.name, "exec"), names)


def command_lines(path: Path) -> list[list[str]]:
    lines = "\n".join(blocks(path, "sh")).replace("\\\n", " ").splitlines()
    words = [shlex.split(line, comments=True) for line in lines]
    return [one[1:] for one in words if one and one[0].endswith("graylight")]


def test_commands_in_the_docs_are_understood():
    lines = [line for path in TEXTS for line in command_lines(path)]
    assert {line[0] for line in lines} >= {"new", "plan", "look", "export"}
    for line in lines:
        app.parse_args(line, exit_on_error=False, print_error=False)


def test_make_targets_in_the_docs_are_there():
    targets = set(re.findall(r"^(\w+):", text_of(ROOT / "Makefile"), re.MULTILINE))
    for path in TEXTS:
        for target in re.findall(r"(?:`|^)make (\w+)(?=`|\s{2,}#)", text_of(path), re.MULTILINE):
            assert target in targets, (path.name, target)


def test_help_says_nothing_that_the_page_does_not(capsys):
    for name in COMMANDS:
        assert main([name, "--help"]) == 0
        shown = set(re.findall(r"(?<!\S)--[a-z][a-z-]*", capsys.readouterr().out))
        section = text_of(HERE / "commands.md").split(f"## graylight {name}\n")[1].split("\n## ")[0]
        for option in shown - {"--help", "--version", "--folder"}:
            assert option in section or option.startswith("--empty-"), (name, option)

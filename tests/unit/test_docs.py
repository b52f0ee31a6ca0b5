"""Docs that cannot lie: pages written by machine are up to date, everything a person can say is documented, links live."""

from __future__ import annotations

import inspect
import re
from pathlib import Path

import pytest
from docs.make import HERE, pages

from graylight.cli import commands
from graylight.cli.main import COMMANDS
from graylight.habitat.profile import shipped, shipped_names

ROOT = HERE.parent
TEXTS = [ROOT / "README.md", ROOT / "CONTRIBUTING.md", *sorted(HERE.glob("*.md"))]


@pytest.mark.parametrize("name", pages())
def test_pages_written_by_machine_are_up_to_date(name):
    assert (HERE / name).read_text(encoding="utf-8") == pages()[name], "run `make docs`"


def test_every_command_and_option_is_documented():
    page = (HERE / "commands.md").read_text()
    assert set(COMMANDS) == {n for n in commands.__all__ if n not in {"say", "write_files"}}
    for name in COMMANDS:
        section = page.split(f"## graylight {name}\n")[1].split("\n## ")[0]
        for key in inspect.signature(getattr(commands, name)).parameters:
            assert f"`--{key}`" in section or f"`{key.upper()}`" in section


@pytest.mark.parametrize("path", TEXTS, ids=lambda p: p.name)
def test_links_lead_somewhere(path: Path):
    for target in re.findall(r"\]\(([^)#]+)", path.read_text(encoding="utf-8")):
        if not target.startswith("http"):
            assert (path.parent / target).exists(), target


def test_every_stage_has_a_page():
    for stage in (
        "country",
        "ground",
        "sky",
        "walking",
        "habitat",
        "sight",
        "siting",
        "plan",
        "drawing",
        "telling",
        "exchange",
    ):
        assert (HERE / f"{stage}.md").stat().st_size > 500


def test_every_number_of_a_profile_is_used():
    """A number that nothing reads would promise a change that never comes."""
    source = "\n".join(
        p.read_text() for p in (ROOT / "src" / "graylight").rglob("*.py") if p.name != "profile.py"
    )
    for key in shipped(shipped_names()[0]).numbers:
        group, name = key.split(".")
        read_by_name = group in {"openness", "growth"} or (group == "pocket" and name.startswith("weight_"))
        assert read_by_name or f".{name}" in source or name.startswith("elsewhere_"), key

"""No text on the page names a command, an option or the key of a setting."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import graylight
from graylight.server.notes import HERE, for_page
from graylight.settings import Settings

SAYS = ("telling", "plan")
SOURCE = Path(graylight.__file__).parent


def sentences() -> str:
    """All that the sentences are made of, literals that run over two lines joined."""
    text = "\n".join(path.read_text() for layer in SAYS for path in sorted((SOURCE / layer).glob("*.py")))
    return re.sub(r"""['"]\n\s+f?['"]""", "", text)


@pytest.mark.parametrize("pattern", [pattern for pattern, _ in HERE])
def test_every_pattern_meets_a_sentence_of_the_program(pattern):
    assert re.search(pattern, sentences())


@pytest.mark.parametrize(
    ("said", "here"),
    [
        (
            'No wind was given: the air is calm; give --wind "SW 8mph", or set sit.wind.',
            "No wind was given: the air is calm; say it at the head of these notes, such as SW 8mph.",
        ),
        (
            'No wind was given; give --wind "SW 8mph", one for each morning, or --wind forecast, or set sit.wind.',
            "No wind was given; say it at the head of these notes, such as SW 8mph.",
        ),
        ("Nothing is changed. --use pace, --use air or --use habitat puts one of them to use.", "Nothing is changed."),
        ("Air: none felt. air.up_slope_minutes stays 30.", "Air: none felt. The delay of the air's turn up a slope stays 30."),
        ("Pace: walk.pace_factor is 1; your tracks say 1.2.", "Pace: the pace factor is 1; your tracks say 1.2."),
        ("set sit.wind to 'SW 8 mph'", "set the wind to 'SW 8 mph'"),
        ("set sight.radius_m to '9000'", "set the farthest that a lookout may be from a pocket to '9000'"),
        ("The map of it is look.png.", "The map of it is look.png."),
    ],
)  # fmt: skip
def test_commands_and_keys_are_said_in_words(said, here):
    assert for_page(said) == here


def test_no_key_of_a_setting_is_left():
    for group, values in Settings().model_dump().items():
        for name in values if isinstance(values, dict) else ():
            told = for_page(f"Set {group}.{name} to 3: {group}.{name} is 2.")
            assert f"{group}.{name}" not in told

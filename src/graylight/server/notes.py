"""The plan told for the page: the sentences of graylight.telling, with what each paragraph is about."""

from __future__ import annotations

import re
from collections.abc import Sequence

from graylight.plan.model import Plan
from graylight.server.models import Note
from graylight.telling.paragraph import Paragraph
from graylight.telling.plan import tell_plan
from graylight.units import Units

__all__ = ["notes_of", "plan_notes"]

COMMANDS = (
    (
        "'graylight watch' finds seats for their feeding places, 'graylight look' says what a place of your own shows.",
        "Touch ground of your own to see what it shows; your marks can be asked from where they can be seen.",
    ),
    ("'graylight plan' chooses them anew", "working the plan out anew chooses them anew"),
    ('give --wind "SW 8mph"', "say it at the head of these notes, such as SW 8mph"),
    (", one for each morning, or --wind forecast", ""),
    (" --use pace, --use air or --use habitat puts one of them to use.", ""),
)
"""What a sentence says of commands, and what the page has for it."""
_ID = re.compile(r"\b([PL]\d+)\b")


def plan_notes(plan: Plan, units: Units) -> list[Note]:
    """The plan in the person's units."""
    ids = {one.id for one in plan.pockets} | {one.id for one in plan.lookouts}
    names = {one.name: one.id for one in plan.pockets if one.name}
    return [_note(one, ids, names) for one in tell_plan(plan, units)]


def notes_of(paragraphs: Sequence[Paragraph]) -> list[Note]:
    """Paragraphs about nothing in particular."""
    return [_note(one, set(), {}) for one in paragraphs]


def _note(one: Paragraph, ids: set[str], names: dict[str, str]) -> Note:
    return Note(
        heading=one.heading, run_in=one.run_in, close=one.close, sentences=[_for_page(words) for words in one.sentences],
        about=_about(one, ids, names),
    )  # fmt: skip


def _for_page(words: str) -> str:
    """A sentence that names what is done on the page, not a command."""
    for command, here in COMMANDS:
        words = words.replace(command, here)
    return words


def _about(one: Paragraph, ids: set[str], names: dict[str, str]) -> str | None:
    """The pocket or lookout of a paragraph's heading or, where that names none, of its first sentences."""
    for text in (one.heading or "", " ".join(one.sentences[:2])):
        found = next((word for word in _ID.findall(text) if word in ids), None)
        named = next((id for name, id in names.items() if name in text), None)
        if found or named:
            return found or named
    return None

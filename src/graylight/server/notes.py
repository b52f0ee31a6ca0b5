"""The plan told for the page: the sentences of graylight.telling, with what each paragraph is about."""

from __future__ import annotations

import re
from collections.abc import Sequence

from graylight.plan.model import Plan
from graylight.server.models import Note
from graylight.settings.words import in_words
from graylight.telling.paragraph import Paragraph
from graylight.telling.plan import tell_plan
from graylight.units import Units

__all__ = ["HERE", "for_page", "notes_of", "plan_notes"]

HERE: tuple[tuple[str, str], ...] = (
    (r'give --wind "SW 8mph"(?:, one for each morning, or --wind forecast)?, or set sit\.wind',
     "say it at the head of these notes, such as SW 8mph"),
    (r"'graylight plan' chooses them anew", "working the plan out anew chooses them anew"),
    (r" --use pace, --use air or --use habitat puts one of them to use\.", ""),
    (r'give one to the plan with --start "PLACE"', "say on the ground where a walk may begin"),
    (r'give --start "PLACE"', "say on the ground where a walk may begin"),
)  # fmt: skip
"""What sentences say of commands, as patterns, and what is done on the page instead."""
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
        heading=one.heading, run_in=one.run_in, close=one.close, sentences=[for_page(words) for words in one.sentences],
        about=_about(one, ids, names),
    )  # fmt: skip


def for_page(words: str) -> str:
    """A sentence, or the words of a step, without command, option or key of a setting: the page has words for them.

    >>> for_page("Pace: 3 minutes. walk.pace_factor stays 1.")
    'Pace: 3 minutes. The pace factor stays 1.'
    """
    for pattern, here in HERE:
        words = re.sub(pattern, here, words)
    return in_words(words)


def _about(one: Paragraph, ids: set[str], names: dict[str, str]) -> str | None:
    """The pocket or lookout of a paragraph's heading or, where that names none, of its first sentences."""
    for text in (one.heading or "", " ".join(one.sentences[:2])):
        found = next((word for word in _ID.findall(text) if word in ids), None)
        named = next((id for name, id in names.items() if name in text), None)
        if found or named:
            return found or named
    return None

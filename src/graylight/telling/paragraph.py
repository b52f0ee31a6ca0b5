"""Paragraphs, and how sentences are put together."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

__all__ = ["Paragraph", "counted", "listed", "numbered", "plain", "sentence"]

_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A few sentences under a heading (or none); a heading that runs in stands before them in their first line.

    `close`: it follows the paragraph before it without a blank line, as the lines of a table do.
    """

    heading: str | None
    sentences: list[str] = field(default_factory=list)
    run_in: bool = False
    close: bool = False


def plain(paragraphs: Sequence[Paragraph], width: int) -> str:
    """Paragraphs as text for a terminal or a printed page, wrapped to so many columns (20 at the least).

    >>> print(plain([Paragraph("Light", ["Sunrise 06:50 MDT.", "Sunset 20:04 MDT."])], 30))
    Light
    -----
    Sunrise 06:50 MDT. Sunset
    20:04 MDT.
    <BLANKLINE>
    """
    width = max(width, 20)
    return "".join(
        ("" if i == 0 or paragraph.close else "\n") + _block(paragraph, width)
        for i, paragraph in enumerate(paragraphs)
    )


def _block(paragraph: Paragraph, width: int) -> str:
    lines = []
    sentences = paragraph.sentences
    if paragraph.run_in and paragraph.heading:
        sentences = [f"{paragraph.heading}:", *sentences]
    elif paragraph.heading is not None:
        heading = textwrap.wrap(paragraph.heading, width)
        lines += [*heading, "-" * min(width, max(map(len, heading), default=0))]
    lines += textwrap.wrap(" ".join(sentences), width, break_long_words=False, break_on_hyphens=False)
    return "".join(f"{line}\n" for line in lines)


def sentence(text: str) -> str:
    """Capital first, full stop last.

    >>> sentence("pocket P2 is shut")
    'Pocket P2 is shut.'
    """
    text = " ".join(text.split())
    if not text:
        return ""
    return text[0].upper() + text[1:] + ("" if text[-1] in ".!?" else ".")


def listed(items: Iterable[str], word: str = "and") -> str:
    """Items joined as they are spoken.

    >>> listed(["a", "b", "c"]), listed(["a"])
    ('a, b and c', 'a')
    """
    words = list(items)
    return f" {word} ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else "".join(words)


def numbered(count: int) -> str:
    """Small counts as words.

    >>> numbered(3), numbered(12)
    ('three', '12')
    """
    return _NUMBERS[count] if 0 <= count < len(_NUMBERS) else str(count)


def counted(count: int, one: str, several: str | None = None) -> str:
    """A count with its noun.

    >>> counted(1, "bed"), counted(2, "bed")
    ('one bed', 'two beds')
    """
    return f"{numbered(count)} {one if count == 1 else several or one + 's'}"

"""Words read and printed: what options take, and sentences as wide as the terminal."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from cyclopts import Parameter

if TYPE_CHECKING:
    from graylight.telling.paragraph import Paragraph

__all__ = ["Folder", "Json", "Note", "Text", "Whole", "say", "whole"]

Json = Annotated[
    bool, Parameter(name="--json", negative="", help="Print one JSON object instead of sentences.")
]


def whole(_kind: object, tokens: Sequence[Any]) -> int:
    """A whole number as it was typed: 2.5 is refused, not rounded."""
    text = str(tokens[0].value)
    try:
        return int(text)
    except ValueError:
        from graylight.errors import BadInput

        raise BadInput(
            f"{tokens[0].keyword or 'a number'} is {text!r}; accepted is a whole number such as 3; give one without a fraction"
        ) from None


Folder = Annotated[Path, Parameter(help="A country's folder.")]
Whole = Annotated[int | None, Parameter(converter=whole)]
Text = Annotated[str | None, Parameter(allow_leading_hyphen=True)]
Note = Annotated[str | None, Parameter(help="Anything else.", allow_leading_hyphen=True)]


def say(paragraphs: Sequence[Paragraph]) -> str:
    """Paragraphs as text, as wide as the terminal but no wider than reads well."""
    import shutil

    from graylight.telling.paragraph import plain

    return plain(paragraphs, min(100, shutil.get_terminal_size().columns))

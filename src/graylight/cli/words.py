"""Words read and printed: what options take, and sentences as wide as the terminal."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Any

from cyclopts import Parameter

if TYPE_CHECKING:
    from graylight.telling.paragraph import Paragraph

__all__ = ["Json", "say", "whole"]

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


def say(paragraphs: Sequence[Paragraph]) -> str:
    """Paragraphs as text, as wide as the terminal but no wider than reads well."""
    import shutil

    from graylight.telling.paragraph import plain

    return plain(paragraphs, min(100, shutil.get_terminal_size().columns))

"""What groups of settings share: frozen, strict, and a check that two of them go together."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from pydantic import BaseModel, ConfigDict

__all__ = ["Frozen", "Unlike"]


class Unlike(ValueError):
    """Two settings that don't go together."""

    def __init__(self, one: tuple[str, str], words: str, other: tuple[str, str]) -> None:
        super().__init__()
        self._parts = one, words, other

    def __str__(self) -> str:
        return self.told(str)

    def told(self, name: Callable[[str], str]) -> str:
        """The two, each called by `name` of its key."""
        (one, got), words, (other, beside) = self._parts
        one, other = name(one), name(other)
        return (
            f"{one} is {got} and {other} is {beside}; accepted is {one} {words} {other}; change one of them, or take both "
            "out for the defaults"
        )


class Frozen(BaseModel):
    """A group of settings."""

    # strict: `lookouts = 2.5`, `lookouts = true` and `lookouts = "3"` are mistakes, not ways of writing 3
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, defer_build=True)

    def _must(self, fine: bool, one: str, words: str, other: str) -> None:
        """See that two settings go together; names with dots lead into groups."""
        if not fine:
            raise Unlike((one, self._value(one)), words, (other, self._value(other)))

    def _value(self, path: str) -> str:
        found: Any = self
        for name in path.split("."):
            found = getattr(found, name)
        return f"{found:g}"

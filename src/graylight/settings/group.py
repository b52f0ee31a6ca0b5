"""What groups of settings share: frozen, strict, and a check that two of them go together."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict

__all__ = ["Frozen"]


class Frozen(BaseModel):
    """A group of settings."""

    # strict: `lookouts = 2.5`, `lookouts = true` and `lookouts = "3"` are mistakes, not ways of writing 3
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, defer_build=True)

    def _must(self, fine: bool, one: str, words: str, other: str) -> None:
        """See that two settings go together; names with dots lead into groups."""
        if not fine:
            raise ValueError(
                f"{one} is {self._value(one)} and {other} is {self._value(other)}; accepted is {one} {words} {other}; "
                "change one of them, or take both out for the defaults"
            )

    def _value(self, path: str) -> str:
        found: Any = self
        for name in path.split("."):
            found = getattr(found, name)
        return f"{found:g}"

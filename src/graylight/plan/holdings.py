"""What the ownership layer says of access: shut, open, or to be asked for."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from graylight.country.feature import Feature

__all__ = ["ask_first", "is_shut"]

SHUT = frozenset({"private", "closed", "no"})
OPEN = frozenset({"open", "public", "yes"})
MOST_NAMED = 6


def is_shut(properties: Mapping[str, Any]) -> bool:
    """Whether a holding is closed to the walker: only where the layer says so."""
    return _access(properties) in SHUT


def ask_first(holdings: Iterable[Feature]) -> list[str]:
    """Cautions that name the holdings that are neither shut nor plainly open.

    A word that is not known may mean anything from a permit at the gate to no entry: it is walked in the plan, and
    the person is told to ask.
    """
    by_word: dict[str, set[str]] = {}
    for holding in holdings:
        word = _access(holding.properties)
        if word not in SHUT | OPEN:
            by_word.setdefault(word, set()).add(
                str(holding.properties.get("owner") or "a holding without a name")
            )
    return [_sentence(word, sorted(names)) for word, names in sorted(by_word.items())]


def _access(properties: Mapping[str, Any]) -> str:
    return str(properties.get("access") or "").strip().lower()


def _sentence(word: str, names: list[str]) -> str:
    named = names[:MOST_NAMED]
    more = f" and {len(names) - len(named)} more" if len(names) > len(named) else ""
    said = f"access there is marked {word!r}" if word else "the layers don't tell whether it is open"
    return f"Ask first before crossing {', '.join(named)}{more}: {said}, and the plan takes it as open."

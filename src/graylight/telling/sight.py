"""What shows from a place and what does not: hidden ground first."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence

from graylight.plan.model import Seen, Sees
from graylight.telling.paragraph import counted, listed, numbered, sentence
from graylight.units import Units, bearings, distance, share_range

__all__ = ["hidden", "shown"]

_KINDS = {"feed": "feeding place", "bed": "bed", "crossing": "crossing"}
_LEVEL_DEG = 1.0
"""Within this the eye takes a line for level."""
NOTHING = 0.03
"""A share whose high end is under this is told as nothing. Proposed default."""
FEW = 4
"""Most pockets named in one breath."""


def hidden(sees: Sequence[Sees], pockets: Sequence[str], name: Callable[[str], str]) -> list[str]:
    """Sentences on what does not show; a pocket out of sight is never said to be empty.

    Parameters
    ----------
    sees
        What is seen of each pocket; pockets too far off may be missing.
    pockets
        Ids of all pockets that count, best first.
    name
        Gives the name of a pocket from its id.
    """
    seen = {one.pocket: one for one in sees if one.share.high >= NOTHING}
    dark = [name(pocket) for pocket in pockets if pocket not in seen]
    if dark and not seen:
        return ["Nothing of any pocket shows from there; that says nothing about what is in them."]
    parts = [_hidden_part(seen[pocket], name(pocket)) for pocket in pockets if pocket in seen]
    parts.append(_dark(dark, any_seen=bool(seen)))
    told = [sentence(f"hidden from there: {'; '.join(filter(None, parts))}")] if any(parts) else []
    if dark:
        told.append(f"That does not mean that nothing is in {'it' if len(dark) == 1 else 'them'}.")
    return told


def _dark(names: list[str], *, any_seen: bool) -> str:
    """Pockets not seen at all: by name while a listener can hold them, else by their number."""
    if not names:
        return ""
    if len(names) <= FEW or not any_seen:
        return f"all of {listed(names)}"
    return f"all of the {numbered(len(names))} other pockets"


def _hidden_part(one: Sees, name: str) -> str:
    kinds = _kinds(one.places, "hidden")
    return f"{_counts(kinds)} of {name}" if kinds else ""


def shown(sees: Sequence[Sees], name: Callable[[str], str], units: Units, *, most: int = 8) -> list[str]:
    """Sentences on what shows, the largest likely share first."""
    seen = [one for one in sees if one.share.high >= NOTHING]
    seen.sort(key=lambda one: (-one.share.likely, one.pocket))
    return [words for one in seen[:most] for words in _pocket(one, name(one.pocket), units)]


def _pocket(one: Sees, name: str, units: Units) -> list[str]:
    how_much = share_range(one.share.low, one.share.high)
    where = bearings(one.bearing_true_deg, one.bearing_magnetic_deg)
    away = distance(one.distance_m, units)
    told = [
        sentence(f"it shows {how_much} of what uses {name}, {away} off at {where}, {_tilt(one.down_deg)}")
    ]
    return [*told, *_places(one.places)]


def _tilt(down_deg: float) -> str:
    if abs(down_deg) < _LEVEL_DEG:
        return "about level with you"
    return f"{abs(down_deg):.0f}° {'below' if down_deg > 0 else 'above'} you"


def _places(places: Sequence[Seen]) -> list[str]:
    """How many of the marked places are in sight, and how many are doubtful."""
    parts = []
    for answer, words in (("seen", "in sight"), ("doubtful", "doubtful")):
        kinds = _kinds(places, answer)
        if kinds:
            parts.append(f"{_counts(kinds)} {'is' if kinds.total() == 1 else 'are'} {words}")
    return [sentence(f"of its marked places {', '.join(parts)}")] if parts else []


def _kinds(places: Sequence[Seen], answer: str) -> Counter[str]:
    return Counter[str](place.kind for place in places if place.answer == answer)


def _counts(kinds: Counter[str]) -> str:
    return listed(counted(kinds[kind], noun) for kind, noun in _KINDS.items() if kinds[kind])

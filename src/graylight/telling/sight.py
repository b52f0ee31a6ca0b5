"""What shows from a place and what does not: hidden ground first."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence

from graylight.plan.model import Seen, Sees
from graylight.telling.paragraph import counted, listed, sentence
from graylight.units import Units, bearings, distance, share_range

__all__ = ["hidden", "shown"]

_KINDS = {"feed": "feeding place", "bed": "bed", "crossing": "crossing"}
_LEVEL_DEG = 1.0
"""Within this the eye takes a line for level."""


def hidden(sees: Sequence[Sees], name: Callable[[str], str], hides: Sequence[str] = ()) -> list[str]:
    """Sentences on what does not show; a pocket out of sight is said never to be empty of animals.

    Parameters
    ----------
    sees
        What is seen of each pocket.
    name
        Gives the name of a pocket from its id.
    hides
        What is hidden, already in words.
    """
    told = [sentence(f"hidden: {'; '.join(hides)}")] if hides else []
    blind = [name(one.pocket) for one in sees if one.share.high <= 0.0]
    if blind and len(blind) == len(sees):
        told.append("Nothing of any pocket shows from there; that says nothing about what is in them.")
    elif blind:
        told.append(f"Of {listed(blind)} nothing shows from there; that does not mean that nothing is in it.")
    return told


def shown(sees: Sequence[Sees], name: Callable[[str], str], units: Units, *, most: int = 8) -> list[str]:
    """Sentences on what shows, the largest likely share first."""
    seen = sorted(
        (one for one in sees if one.share.high > 0.0), key=lambda one: (-one.share.likely, one.pocket)
    )
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
    """How many of the marked places are in sight, doubtful, hidden."""
    parts = []
    for answer, words in (("seen", "in sight"), ("doubtful", "doubtful"), ("hidden", "hidden")):
        kinds = Counter[str](place.kind for place in places if place.answer == answer)
        if kinds:
            named = listed(counted(kinds[kind], noun) for kind, noun in _KINDS.items() if kinds[kind])
            parts.append(f"{named} {'is' if kinds.total() == 1 else 'are'} {words}")
    return [sentence(f"of its marked places {', '.join(parts)}")] if parts else []

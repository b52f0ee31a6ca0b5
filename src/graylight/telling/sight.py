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
EDGE_ON = 0.2
"""Ground that faces the watcher less squarely than this is told as seen from the side. Proposed default."""
FEW = 4
"""Most pockets named: of those that show, and of those that don't."""


def hidden(
    sees: Sequence[Sees], pockets: Sequence[str], name: Callable[[str], str], *, brief: bool = False
) -> list[str]:
    """Sentences on what does not show; a pocket out of sight is never said to be empty.

    Parameters
    ----------
    sees
        What is seen of each pocket; pockets too far off may be missing.
    pockets
        Ids of all pockets that count, best first.
    name
        Gives the name of a pocket from its id.
    brief
        Leave out the marked places that don't show, and what hidden ground does not mean: to be used where
        that was said before.
    """
    seen = _seen(sees)
    ids = {one.pocket for one in seen}
    dark = [name(pocket) for pocket in pockets if pocket not in ids]
    if dark and not seen:
        return ["Nothing of any pocket shows from there; that says nothing about what is in them."]
    parts = [] if brief else [_hidden_part(one, name(one.pocket)) for one in seen[:FEW]]
    told = [sentence(f"hidden from there: {'; '.join(filter(None, parts))}")] if any(parts) else []
    if dark:
        which = listed(dark) if len(dark) <= FEW else f"the other {numbered(len(dark))} pockets"
        told.append(f"Nothing shows of {which}.")
    if dark and not brief:
        told.append(f"That does not mean that nothing is in {'it' if len(dark) == 1 else 'them'}.")
    return told


def _seen(sees: Sequence[Sees]) -> list[Sees]:
    """What shows at all, the largest likely share first."""
    seen = [one for one in sees if one.shows]
    return sorted(seen, key=lambda one: (-one.share.likely, one.pocket))


def _hidden_part(one: Sees, name: str) -> str:
    kinds = _kinds(one.places, "hidden")
    return f"{_counts(kinds)} of {name}" if kinds else ""


def shown(
    sees: Sequence[Sees],
    name: Callable[[str], str],
    units: Units,
    *,
    most: int = FEW,
    places: bool = True,
    glasses: bool = False,
) -> list[str]:
    """Sentences on what shows, the largest likely share first; marked places and glasses only if wanted."""
    seen = _seen(sees)
    told = []
    for one in seen[:most]:
        told += _pocket(one, name(one.pocket), units, places=places)
        told += _through_glass(one) if glasses else []
    more = len(seen) - most
    return [*told, f"Less shows of {counted(more, 'more pocket')}."] if more > 0 else told


def _pocket(one: Sees, name: str, units: Units, *, places: bool) -> list[str]:
    how_much = share_range(one.share.low, one.share.high)
    where = bearings(one.bearing_true_deg, one.bearing_magnetic_deg)
    away = distance(one.distance_m, units)
    told = [
        sentence(f"it shows {how_much} of what uses {name}, {away} off at {where}, {_tilt(one.down_deg)}")
    ]
    return [*told, *_places(one.places)] if places else told


def _through_glass(one: Sees) -> list[str]:
    """The smallest glass for finding an animal and for telling what it is, and ground seen edge on."""
    told = []
    if one.squareness is not None and one.squareness < EDGE_ON:
        told.append("Its ground is seen from the side: folds may hide animals that stand in view.")
    find = _smallest([(glass.glass, glass.find) for glass in one.glasses])
    apart = _smallest([(glass.glass, glass.tell_apart) for glass in one.glasses])
    if one.glasses:
        told.append(sentence(f"at first light an animal there can be found {find}, and told apart {apart}"))
    return told


def _smallest(answers: Sequence[tuple[str, str]]) -> str:
    for wanted, words in (("yes", "with the {}"), ("in doubt", "at most with the {}")):
        for glass, answer in answers:
            if answer == wanted:
                return words.format("naked eye" if glass == "naked eye" else f"{glass} glass")
    return "with none of the glasses"


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
            parts.append(f"{words}: {_counts(kinds)}")
    return [sentence("; ".join(parts))] if parts else []


def _kinds(places: Sequence[Seen], answer: str) -> Counter[str]:
    return Counter[str](place.kind for place in places if place.answer == answer)


def _counts(kinds: Counter[str]) -> str:
    return listed(counted(kinds[kind], noun) for kind, noun in _KINDS.items() if kinds[kind])

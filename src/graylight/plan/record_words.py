"""What the record says of a pocket, in plain words."""

from __future__ import annotations

from collections.abc import Sequence

from graylight.plan.odds import LEAST_LOOK, PocketRecord

__all__ = ["LITTLE", "SOME", "WELL", "sureness", "why_words"]

LITTLE, SOME, WELL = 0.05, 0.3, 0.7
"""Chance that the searches so far would have found what is there: below these not, little, partly searched."""
_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def sureness(one: PocketRecord) -> str:
    """How sure the odds of a pocket are, by what was searched and seen.

    Returns
    -------
    str
        "animals seen", "well searched", "partly searched", "little searched" or "not searched".
    """
    if one.sightings:
        return "animals seen"
    if one.searched < LITTLE:
        return "not searched"
    return (
        "little searched"
        if one.searched < SOME
        else "partly searched"
        if one.searched < WELL
        else "well searched"
    )


def why_words(one: PocketRecord) -> list[str]:
    """The facts of the record that moved a pocket's odds, the strongest first; none where nothing did."""
    told = []
    if one.sightings:
        near = one.sightings - one.inside
        beside = f"close by {_times(near)}" if near else ""
        there = f"there {_times(one.inside)}" if one.inside else ""
        told.append(f"animals seen {', '.join(filter(None, (there, beside)))}")
    if one.maybe and not one.sightings:
        told.append(f"the animals of {_named(one.maybe)} may have been in it")
    if one.pushed:
        told.append(f"animals pushed out of it {_times(one.pushed)}")
    if one.sign:
        told.append(f"sign found there {_times(one.sign)}")
    if one.empty and one.searched >= LITTLE and (one.in_sight >= LEAST_LOOK or not told):
        outings = f"{_counted(one.empty)} empty {'outing' if one.empty == 1 else 'outings'}"
        told.append(f"{outings} with {_percent(one.in_sight)} of it in sight")
    return told


def _named(numbers: Sequence[int]) -> str:
    """Sightings by their numbers, at most four.

    >>> _named([4]), _named([4, 7]), _named([1, 2, 3, 4, 5])
    ('sighting 4', 'sightings 4 and 7', 'sightings 1, 2, 3, 4 and others')
    """
    if len(numbers) == 1:
        return f"sighting {numbers[0]}"
    first = [str(number) for number in numbers[:4]]
    last = first.pop() if len(numbers) <= 4 else "others"
    return f"sightings {', '.join(first)} and {last}"


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{_counted(count)} times")


def _counted(count: int) -> str:
    return _NUMBERS[count] if count < len(_NUMBERS) else str(count)


def _percent(part: float) -> str:
    """To 5 %, as shares are told."""
    percent = 5 * round(20.0 * part)
    return f"about {percent} %" if percent else "under 5 %"

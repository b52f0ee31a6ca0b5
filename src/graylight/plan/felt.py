"""Remarks on the air as people make them in the field: up, down, still or unsteady, with their time and place."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping, Sequence
from typing import NamedTuple, Protocol

from graylight.errors import BadInput
from graylight.plan.record import FELT, Felt, Fix
from graylight.plan.tracks import moment
from graylight.wind import read_wind

__all__ = ["Remark", "Remarks", "felt_in", "felt_word", "is_remark", "remarks_of"]

_WORDS: dict[Felt, frozenset[str]] = {
    "up": frozenset({"up", "uphill", "upslope", "rising"}),
    "down": frozenset({"down", "downhill", "downslope", "sinking", "falling"}),
    "still": frozenset({"still", "calm"}),
    "unsteady": frozenset({"unsteady", "swirling", "shifting", "variable"}),
}
_OF_AIR = frozenset({"air", "wind", "breeze", "thermal", "thermals", "draft", "draught"})
_ALONE = frozenset({"uphill", "upslope", "downhill", "downslope"})
_BETWEEN = frozenset(
    {"is", "are", "now", "the", "slope", "hill", "blowing", "going", "moving", "turned", "turns", "light"}
)
"""Words that a remark may hold beside; any other makes it something else: "three bucks going uphill"."""


class Remark(NamedTuple):
    """What was felt of the air, and when."""

    at: dt.datetime
    felt: Felt


class Remarks(NamedTuple):
    """What the waypoints of a track say of the air: remarks in order, and the general wind as written, if any."""

    air: tuple[Remark, ...]
    wind: str | None


class _Waypoint(Protocol):
    """A waypoint with what is said of it by column: note and time, as a file of the field has them."""

    @property
    def values(self) -> Mapping[str, str]:
        """By column, `note` and `time` among them."""


def felt_word(text: str) -> Felt | None:
    """What one word says of the air; None: nothing.

    >>> felt_word("Downhill"), felt_word("north")
    ('down', None)
    """
    word = text.strip().lower()
    return next((felt for felt in FELT if word in _WORDS[felt]), None)


def felt_in(text: str) -> Felt | None:
    """What a note says of the air, where it is about nothing else.

    >>> felt_in("air going up"), felt_in("downslope now"), felt_in("three bucks going uphill"), felt_in("up")
    ('up', 'down', None, None)
    """
    words = re.findall(r"[a-z]+", text.lower())
    said = {felt for word in words if (felt := felt_word(word)) is not None}
    rest = [word for word in words if felt_word(word) is None]
    of_air = any(word in _OF_AIR for word in rest) or any(word in _ALONE for word in words)
    if len(said) != 1 or not of_air or any(word not in _OF_AIR | _BETWEEN for word in rest):
        return None
    return said.pop()


def is_remark(note: str) -> bool:
    """Whether any part of a note, between semicolons, is about nothing but the air or the wind.

    >>> is_remark("004; air down"), is_remark("wind SW 8mph"), is_remark("two bucks; windy")
    (True, True, False)
    """
    return any(felt_in(part) is not None or _general(part) is not None for part in note.split(";"))


def remarks_of(waypoints: Sequence[_Waypoint], track: Sequence[Fix], *, name: str) -> Remarks:
    """The remarks on the air among the waypoints of a track's file, made while it was walked.

    Parameters
    ----------
    waypoints
        Their notes; of one with several, name, description and comment, the first that is understood counts.
    track
        Says the time from which and until which.
    name
        Of the file, for messages.

    Raises
    ------
    BadInput
        Such a waypoint has a time that can't be read.
    """
    found, wind = [], None
    for one in waypoints:
        parts = one.values.get("note", "").split(";")
        felt = next((f for part in parts if (f := felt_in(part)) is not None), None)
        wind = wind or next((w for part in parts if (w := _general(part)) is not None), None)
        if felt is not None and one.values.get("time"):
            at = moment(one.values["time"], name)
            if track[0].at <= at <= track[-1].at:
                found.append(Remark(at, felt))
    return Remarks(tuple(sorted(found)), wind)


def _general(text: str) -> str | None:
    """A general wind in a note, "wind SW 8mph", without the word before it."""
    match = re.fullmatch(r"\s*wind\s+(.+?)\s*", text, re.IGNORECASE)
    if match is None or felt_in(text) is not None:
        return None
    try:
        read_wind(match[1])
    except BadInput:
        return None
    return match[1]

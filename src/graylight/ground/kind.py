"""Kinds of cover, and what they are called: light to load, for whoever only reads a cover layer."""

from __future__ import annotations

from enum import IntEnum

__all__ = ["WORDS", "Kind"]


class Kind(IntEnum):
    """Kinds of cover."""

    UNKNOWN = 0
    TIMBER = 1
    BRUSH = 2
    GRASS = 3
    ROCK_GROWTH = 4
    ROCK = 5
    WATER = 6
    SNOW = 7
    WORKED = 8


WORDS = {
    Kind.UNKNOWN: "cover unknown", Kind.TIMBER: "timber", Kind.BRUSH: "brush", Kind.GRASS: "open grass",
    Kind.ROCK_GROWTH: "growth between rocks", Kind.ROCK: "rock", Kind.WATER: "water", Kind.SNOW: "snow",
    Kind.WORKED: "worked ground",
}  # fmt: skip

"""Metres and hectares inside words that the stages hand over, turned into the listener's units."""

from __future__ import annotations

import re

from graylight.units import Units, area, distance, height

__all__ = ["in_units"]

_MEASURE = re.compile(
    r"(?<![\w.,-])(?<!to )(?P<number>\d[\d,]*(?:\.\d+)?) (?P<unit>m|metres|km|ha|hectares)\b(?! \([\d,]+ ft)"
)
_METRES = {"m": 1.0, "metres": 1.0, "km": 1000.0}
_GRID = {"cell", "cells", "grid", "raster", "elevation"}
"""A grid is known by its metres in every system of units."""
_HEIGHT_AFTER = {"at", "above", "below", "by", "up", "down", "climb", "over"}
_HEIGHT_BEFORE = {"high", "higher", "low", "lower", "above", "below", "up", "down", "tall", "deep"}
"""After or before one of these words a measure is a height, else a distance."""


def in_units(words: str, units: Units) -> str:
    """Words with their metric measures said in the listener's units.

    What already has feet beside it, ranges ("150 to 300 m") and sizes of grid cells are left as they are.

    >>> in_units("feed at 3105 m, water within 350 m, 12 hectares of feed, on a 10 m grid", "us")
    'feed at 10,190 ft, water within 380 yd, 30 acres of feed, on a 10 m grid'
    >>> in_units("water within 350 m", "metric")
    'water within 350 m'
    """
    if units == "metric":
        return words
    return _MEASURE.sub(lambda found: _said(found, units), words)


def _said(found: re.Match[str], units: Units) -> str:
    size, unit = float(found["number"].replace(",", "")), found["unit"]
    if unit not in _METRES:
        return area(size * 10_000.0, units)
    before = re.findall(r"\w+", found.string[: found.start()])[-2:]
    after = re.findall(r"\w+", found.string[found.end() :])[:2]
    if _GRID & {*before, *after}:
        return found.group()
    if _HEIGHT_AFTER & {*before[-1:]} or _HEIGHT_BEFORE & {*after[:1]}:
        return height(size * _METRES[unit], units)
    return distance(size * _METRES[unit], units)

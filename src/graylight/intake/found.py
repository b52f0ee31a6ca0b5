"""What a reader finds in a file: a shape in degrees with what the file says of it; and why something can't be used."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from shapely.geometry.base import BaseGeometry

__all__ = [
    "MADE_BY", "OWN", "RECORD_HEAD", "RECORD_START", "RECORD_TABLES", "WRITTEN_BY_PLAN", "WRITTEN_BY_RECORD", "Found",
    "Unusable",
]  # fmt: skip

OWN = "graylight "
"""How the maker's name in a GPX file begins that a plan was written into."""
MADE_BY = "made by graylight"
"""What stands in the description of a plan written as KML or GeoJSON."""
WRITTEN_BY_PLAN = (
    "it is a plan that graylight wrote: what is in it is reckoned anew with each plan, and its ways on foot are no trails of "
    "animals; accepted are marks and tracks of people"
)


RECORD_START = '{"type": "FeatureCollection", "name": "record", "features": ['
"""How a record written as GeoJSON begins."""
RECORD_HEAD = ("table", "id", "lat", "lon")
"""How the heading of a record written as CSV begins."""
RECORD_TABLES = {"outings", "sightings", "sign", "traces"}
WRITTEN_BY_RECORD = (
    "it is a record that graylight wrote, of animals and outings, not of marks; 'graylight seen FOLDER --file FILE' takes the "
    "sightings of its table in as they were"
)


class Unusable(Exception):
    """A file, or a thing in it, that can't be taken in; the message says why, in words that follow its name."""


@dataclass(frozen=True, slots=True)
class Found:
    """A thing in a file.

    Parameters
    ----------
    shape
        In WGS 84 degrees, longitude first.
    layer
        The layer it lies in, as the file calls it.
    told
        What the file says of it, by name: name, type, desc, time, ...
    """

    shape: BaseGeometry
    layer: str
    told: Mapping[str, Any] = field(default_factory=dict)

"""Lookouts that the person holds to, and places that they don't want."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import Point

from graylight.country.folder import Country
from graylight.grid import LonLat, RowCol
from graylight.plan.edits import Edits, Own, cell_of
from graylight.plan.ids import Given

__all__ = ["APART_M", "OwnSeat", "Seats", "seats_of"]

APART_M = 250.0
"""Nearer than this to a lookout that was dropped or moved away no other is chosen, nor a single one beside one of the
person's own: it would be the same place. As for single places in siting. Proposed default."""


@dataclass(frozen=True, slots=True)
class OwnSeat:
    """A lookout of the person's own; `held`: the sets are made about it."""

    id: str
    cell: RowCol
    held: bool


@dataclass(frozen=True, slots=True)
class Seats:
    """The person's own lookouts, those held to first, no cell twice; cells of those dropped or moved away."""

    own: tuple[OwnSeat, ...]
    left: tuple[RowCol, ...]


def seats_of(edits: Edits, given: Given, country: Country, elevation_m: NDArray[np.float32]) -> Seats:
    """The places of the person's own lookouts, those that lie on known ground."""
    cells: dict[RowCol, OwnSeat] = {}
    for one in sorted(edits.of("L"), key=lambda one: not one.held):
        cell = _cell(one, given, country)
        if cell is not None and not np.isnan(elevation_m[cell]):
            cells.setdefault(cell, OwnSeat(one.id, cell, one.held))
    gone = [*sorted(edits.dropped), *(one.id for one in edits.of("L") if one.how == "moved")]
    left = [found for key in gone if (found := _before(key, given, country)) is not None]
    return Seats(tuple(cells.values()), tuple(left))


def _cell(one: Own, given: Given, country: Country) -> RowCol | None:
    return cell_of(country, one.shape) if isinstance(one.shape, Point) else _before(one.id, given, country)


def _before(key: str, given: Given, country: Country) -> RowCol | None:
    """Where a lookout stood when its id was given."""
    place: LonLat | None = given.lookouts.get(key)
    if place is None or not country.grid.contains(place):
        return None
    return country.grid.rowcol(place)

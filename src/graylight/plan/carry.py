"""Carrying an animal out of each pocket: loads, hours and a veto, from the layers and starts kept."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from graylight.approach.packout import Loads, PackOut, loads_of, pack_out, pack_reach
from graylight.grid import LonLat
from graylight.plan.animals import find_profile
from graylight.plan.looking import Ready
from graylight.plan.model import Pocket
from graylight.plan.on_foot import land_on_foot
from graylight.plan.starts import starts

__all__ = ["Carry", "Carrying", "carrying"]


@dataclass(frozen=True, slots=True)
class Carry:
    """Carrying out of one pocket, from its middle: the start it leads to, and how long it takes."""

    pocket: Pocket
    start: str | None
    out: PackOut


@dataclass(frozen=True, slots=True)
class Carrying:
    """What there is to carry, and how it goes from each ranked pocket; or why that is not known."""

    loads: Loads | None
    pockets: tuple[Carry, ...]
    not_known: str | None


def carrying(ready: Ready) -> Carrying:
    """How an animal would come out of each ranked pocket, by day, to the start that is soonest reached.

    Parameters
    ----------
    ready
        From `ready_to_look`.

    Returns
    -------
    Carrying
        Without loads and pockets, and with the reason, where the profile names no load or no start is known.
    """
    country = ready.country
    numbers = find_profile(country).load
    if numbers is None:
        return Carrying(None, (), "the animal's profile says nothing of its weight")
    walk, pack = country.settings.walk, country.settings.pack
    loads = loads_of(numbers, pack)
    land = land_on_foot(ready, dark=False)
    begin = starts(country, np.isfinite(land.ground.factor))
    if not begin:
        return Carrying(loads, (), "no start is known")
    cells = [w.cell.row for w in begin], [w.cell.col for w in begin]
    reached = pack_reach(cells, land, loads, walk=walk, pack=pack, limit_s=3600.0 * pack.hours_limit)
    named = {(int(w.cell.row), int(w.cell.col)): w.name for w in begin}
    found = []
    for pocket in (p for p in ready.plan.pockets if p.shut is None):
        place = country.grid.rowcol(LonLat(pocket.centre.lon, pocket.centre.lat))
        out = pack_out(place, reached, cell_m=country.grid.cell_m, walk=walk, pack=pack)
        found.append(Carry(pocket, _start(out, named), out))
    return Carrying(loads, tuple(found), None)


def _start(out: PackOut, named: dict[tuple[int, int], str]) -> str | None:
    """Name of the start at which the way out ends: the nearest to its last cell."""
    if not len(out.rows):
        return None
    end = int(out.rows[-1]), int(out.cols[-1])
    near = min(named, key=lambda cell: (np.hypot(cell[0] - end[0], cell[1] - end[1]), cell))
    return named[near]

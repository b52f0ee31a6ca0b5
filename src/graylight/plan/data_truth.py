"""What the plan must say of its data: how old, how coarse, of the ground or of what stands on it; and what is never in it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from graylight.country.folder import Country
from graylight.plan.model import LayerFact
from graylight.units import FOOT_M

__all__ = ["canopy_on_top", "current_rules", "data_truth", "is_surface"]

Raster: TypeAlias = NDArray[np.float32]

COARSE_M = 15.0
"""From this cell size on the plan says what the elevation can't show. Proposed default."""
OLD_DAYS = 330
"""Imagery of the season before, or older, is told with what may have changed since. Proposed default."""
AGED = {
    "red": "imagery", "picture": "imagery", "cover_codes": "land cover", "canopy_height": "canopy",
    "ownership": "ownership",
}  # fmt: skip
SINCE = {
    "imagery": "fire, cutting, grazing and this year's rain",
    "land cover": "fire, cutting and new growth",
    "canopy": "fire, cutting, wind and new growth",
    "ownership": "sales, leases and changed access",
}


def is_surface(country: Country) -> bool:
    """Whether the elevation is that of tree tops and roofs."""
    return any(fact.name == "elevation" and fact.surface for fact in country.facts)


def canopy_on_top(
    country: Country, canopy_m: Raster | None, closure: Raster | None
) -> tuple[Raster | None, Raster | None]:
    """The canopy that stands on the elevation for sight: none on a surface model, which has it in its heights."""
    return (None, None) if is_surface(country) else (canopy_m, closure)


def data_truth(country: Country, date: dt.date) -> list[str]:
    """Sentences on the age of the data, the size of the elevation's cells, and a surface model; none for invented ground."""
    if country.invented:
        return []
    facts = {fact.name: fact for fact in country.facts}
    return [*_surface(country), *_coarse(facts.get("elevation")), *_ages(facts, date)]


def _surface(country: Country) -> Iterator[str]:
    if is_surface(country):
        yield (
            "the elevation is a surface model: in timber it follows the tree tops, so timber stands in it as ground; no canopy "
            "is put on top of it, what is seen through or under trees is not reckoned, and slopes at the edges of timber "
            "are too steep"
        )


def _coarse(fact: LayerFact | None) -> Iterator[str]:
    cell = None if fact is None else fact.resolution_m
    if cell is not None and cell >= COARSE_M:
        yield (
            f"the elevation was measured in cells of {cell:.0f} m ({cell / FOOT_M:.0f} ft): cliffs, ledges, benches and "
            f"rises narrower than about {2 * cell:.0f} m ({2 * cell / FOOT_M:.0f} ft) are not in it"
        )


def _ages(facts: dict[str, LayerFact], date: dt.date) -> Iterator[str]:
    told: set[str] = set()
    for name, words in AGED.items():
        fact = facts.get(name)
        if fact is None or words in told:
            continue
        told.add(words)
        if fact.date is None:
            yield f"the date of the {words} is not known: {SINCE[words]} may have changed it since"
        elif _days(fact.date, date) >= OLD_DAYS:
            yield f"the {words} is of {fact.date}: {SINCE[words]} since then are not in it"


def _days(told: str, date: dt.date) -> int:
    """Days from a date, month or year told to the plan's date."""
    parts = [int(p) for p in told.split("-") if p.isdigit()]
    try:
        return (date - dt.date(*(parts + [12, 28][len(parts) - 1 :])[:3])).days
    except (ValueError, TypeError):
        return OLD_DAYS


def current_rules(country: Country, date: dt.date) -> list[str]:
    """That closures and rules are not in the data, and where they are told; none for invented ground."""
    if country.invented:
        return []
    return [
        f"Check current rules for {date:%Y-%m-%d}: closures, fire perimeters, permits and regulations are not in the data. They "
        "stand on the own pages of the agency that manages the ground (forest, field office, park, tribe or owner) and of "
        "the state's wildlife agency; look shortly before the day."
    ]

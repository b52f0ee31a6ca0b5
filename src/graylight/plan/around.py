"""What lies around the country: its apron as the sky sees it, and what the plan must say of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from graylight.country.apron import APRON, REACH_M, Apron, apron_of
from graylight.country.folder import Country
from graylight.errors import BadInput
from graylight.units import FOOT_M, MILE_M

if TYPE_CHECKING:
    from graylight.sky.beyond import Beyond

__all__ = ["around_told", "beyond_of"]


def beyond_of(country: Country, elevation_m: NDArray[np.float32]) -> Beyond | None:
    """The ground beyond the country's edge; None where it has no apron, or a damaged one: a plan can do without."""
    apron = _apron(country)
    if apron is None:
        return None

    from graylight.sky.beyond import Beyond  # compiled: who has no apron, or only tells, need not wait for it

    x, y = country.grid.xy(0, 0)
    west, north = apron.grid.xy(0, 0)
    cell_m = apron.grid.cell_m
    return Beyond.of(
        apron.elevation_m, elevation_m, apron_cell_m=cell_m, cell_m=country.grid.cell_m,
        corner=((north - y) / cell_m, (x - west) / cell_m),
    )  # fmt: skip


def _apron(country: Country) -> Apron | None:
    try:
        return apron_of(country)
    except BadInput:
        return None


def around_told(country: Country) -> str:
    """What is known of the ground beyond the edge, and what is not."""
    from graylight.sky.beyond import GAP_M

    apron = _apron(country)
    if apron is None and (country.folder / APRON).is_file():
        return (
            f"no ground beyond the country's edge: the file of it, {APRON}, is damaged or is not the country's own, and was left "
            "out; first sun and long views are too early and too far where higher ground stands outside; gather the "
            "country again into a new folder, which asks little where the downloads are kept"
        )
    known = 0.0 if apron is None else float(np.isfinite(apron.elevation_m).mean())
    if known == 0.0:
        return (
            "no ground beyond the country's edge: first sun and long views are too early and too far where higher ground "
            "stands outside"
        )
    fact = next((fact for fact in country.facts if fact.name == "apron"), None)
    trees = ", of tree tops where there are trees" if fact is not None and fact.surface else ""
    lacking = (
        ""
        if known > 0.995
        else f", but for {max(1.0, 100 * (1 - known)):.0f} % of it, which is not known (open sea, too)"
    )
    return (
        f"ground beyond the country's edge is known to {REACH_M / 1000:.0f} km ({REACH_M / MILE_M:.0f} miles) in coarse cells"
        f"{trees}{lacking}: it is in sun and shade but for the {GAP_M:.0f} m ({GAP_M / FOOT_M:.0f} ft) next to the edge, and not "
        "in drawn views, in what can be seen, in how air flows or in how far tops stand out"
    )

"""A country and its plan made ready for sits: all in memory that does not hang on lookout, date or wind."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from graylight.country.folder import Country
from graylight.errors import BadInput
from graylight.grid import LonLat, RowCol
from graylight.plan.animals import find_profile
from graylight.plan.looking import Ready, ready_to_look
from graylight.plan.model import Approach, Lookout, Plan, Pocket, Sees
from graylight.plan.morning_model import ByWind
from graylight.plan.morning_sky import DaySky, day_sky
from graylight.plan.morning_ways import OnFoot
from graylight.plan.on_foot import lands_on_foot, seen_from_pockets, water_of
from graylight.plan.sight_facts import PocketCells
from graylight.sky.wind import AirGround, air_ground

__all__ = ["DAYS_KEPT", "Dawn", "MorningReady", "dawns_of", "kept_lookout", "ready_for_morning"]

Raster = NDArray[np.float32]
DAYS_KEPT = 3
"""A day's air takes 16 bytes a cell."""


@dataclass(frozen=True, slots=True)
class MorningReady:
    """A country and its plan with all in memory that does not hang on lookout, date or wind.

    Parameters
    ----------
    looking
        Layers, plan, and cells of the pockets.
    air
        What the ground does to the air.
    foot
        The country on foot.
    used : (rows, cols) int32
        Labels of the pockets on ground used at dawn; 0: none.
    closure : (rows, cols) float32 or None
        Canopy closure, 0 to 1, NaN where not known; None: not known anywhere.
    worth : (rows, cols) float32 or None
        What shows from each seat, by chance and distance; None: not kept.
    winds
        The lookouts by wind at moments and speeds asked before: they hang on no lookout.
    """

    looking: Ready
    air: AirGround
    foot: OnFoot
    used: NDArray[np.int32]
    closure: Raster | None
    worth: Raster | None
    winds: dict[tuple[tuple[dt.datetime, dt.datetime], float], list[ByWind]] = field(default_factory=dict)
    _days: dict[dt.date, DaySky] = field(default_factory=dict)

    def day(self, date: dt.date) -> DaySky:
        """The sky of a date, reckoned once; the last few are kept."""
        if date not in self._days:
            while len(self._days) >= DAYS_KEPT:
                del self._days[next(iter(self._days))]
            country = self.looking.country.with_settings(date=date.isoformat())
            self._days[date] = day_sky(self.looking, country, self.air)
        return self._days[date]

    def lookout(self, name: str) -> Lookout:
        """A kept lookout; refused with the ids there are if there is none of that name."""
        return kept_lookout(self.looking.plan, name)

    def cell(self, lookout: Lookout) -> RowCol:
        """Where it lies on the grid."""
        return self.looking.country.grid.rowcol(LonLat(lookout.place.lon, lookout.place.lat))

    def approach(self, lookout: Lookout) -> Approach | None:
        """The plan's own way to it."""
        return next((w for w in self.looking.plan.approaches if w.lookout == lookout.id), None)


@dataclass(frozen=True, slots=True)
class Dawn:
    """What is watched of a pocket: its place in the plan, its cells, its weight among all that is watched."""

    pocket: Pocket
    sees: Sees
    cells: PocketCells
    label: int
    weight: float


def kept_lookout(plan: Plan, name: str) -> Lookout:
    """The plan's lookout of that id.

    Raises
    ------
    BadInput
        There is none.
    """
    found = next((one for one in plan.lookouts if one.id.lower() == name.strip().lower()), None)
    if found is None:
        ids = ", ".join(one.id for one in plan.lookouts) or "none: the plan found no lookout"
        raise BadInput(
            f"no lookout {name!r} is in the plan; accepted are its lookouts ({ids}); give one of them, or plan again"
        )
    return found


def ready_for_morning(country: Country, plan: Plan) -> MorningReady:
    """Read and reckon once what mornings need; `plan` and the layers kept must belong together."""
    looking = ready_to_look(country, plan)
    closure = country.read("closure") if country.has("closure") else None
    use = country.read("use_at_dawn")
    water = water_of(looking)
    dark, day = lands_on_foot(looking, water)
    foot = OnFoot(looking, dark, day, seen_from_pockets(looking), water, find_profile(country).load)
    return MorningReady(
        looking=looking,
        air=air_ground(
            looking.survey.elevation_m, cell_m=country.grid.cell_m, convergence_deg=country.grid.convergence_deg(),
            closure=closure, settings=country.settings.air,
        ),
        foot=foot,
        used=np.where(use > 0, looking.labels, 0).astype(np.int32),
        closure=closure,
        worth=country.read("watch_worth") if country.has("watch_worth") else None,
    )  # fmt: skip


def dawns_of(ready: MorningReady, lookout: Lookout) -> tuple[Dawn, ...]:
    """The pockets in sight, by chance times share; those told as nothing are left out."""
    plan, cells = ready.looking.plan, ready.looking.cells
    index = {pocket.id: i for i, pocket in enumerate(plan.pockets)}
    shown = [s for s in lookout.sees if s.shows and plan.pockets[index[s.pocket]].shut is None]
    worth = [max(plan.pockets[index[s.pocket]].chance, 1e-6) * max(s.share.likely, 1e-3) for s in shown]
    total = sum(worth)
    return tuple(
        Dawn(plan.pockets[index[s.pocket]], s, cells[index[s.pocket]], index[s.pocket] + 1, one / total)
        for s, one in zip(shown, worth, strict=True)
    )

"""Places to camp from the layers and the kept plan, and water near the lookouts."""

from __future__ import annotations

import datetime as dt
from functools import partial

import numpy as np
from numpy.typing import NDArray

from graylight.approach.camp import Camp, CampGround, CampReason, camps, why_none
from graylight.approach.water import shore
from graylight.grid import RowCol
from graylight.plan.camp_model import CampFact, CampPlace, Camps, ShutRule, WaterOf
from graylight.plan.model import Lookout
from graylight.plan.morning_ready import MorningReady
from graylight.plan.morning_told import water_near
from graylight.plan.on_foot import seen_from_any
from graylight.plan.standing import INVENTED, PROGRAM
from graylight.plan.wind_asked import wind_asked
from graylight.reach.pace import pace_table
from graylight.reach.walking import walk_field
from graylight.sky.drift import carries_to
from graylight.wind import GeneralWind
from graylight.work import Tick, part, silent, spread

__all__ = ["camps_for"]

Raster = NDArray[np.float32]
NOT_LEGAL = (
    "Nothing here says that camping is allowed at a place, or that it is safe: ask the land manager about permits, setbacks, "
    "group size, fires and food storage, and look at the place by day."
)
LOOK_UP = "Look up for dead trees, and about for water marks, fallen stones and the tracks of bears, before pitching."
WATER = "Treat all water before drinking: a rolling boil for 1 minute, 3 minutes above 2,000 m (CDC)."
AIR = "What is said of the air is a rule of thumb: feel it in the evening, and move where it goes to the animals."


def camps_for(
    ready: MorningReady, lookouts: list[Lookout], *, date: dt.date, wind: str | None, tick: Tick = silent
) -> Camps:
    """Places to camp within the walk of any of some lookouts.

    Parameters
    ----------
    ready
        From `graylight.plan.morning.ready_for_morning`.
    lookouts
        Kept lookouts; with none, no walk to one is asked for.
    date, wind
        For the air of evening, night and morning; a wind as people write it, None for the one that is set (else calm), or
        "none" for calm.
    tick
        Told about progress.

    Raises
    ------
    BadInput
        A wind that is not understood.
    """
    said = wind_asked(ready.looking.country.settings, wind)
    country = ready.looking.country
    ground = _ground(ready, lookouts, date, said.general, tick=part(tick, 0.0, 0.9))
    settings, cell_m = country.settings.camp, country.grid.cell_m
    found = camps(ground, cell_m=cell_m, settings=settings)
    shut = () if found else why_none(ground, cell_m=cell_m, settings=settings)
    tick(1.0)
    return Camps(
        program=PROGRAM,
        country=country.name,
        invented=country.invented,
        date=date,
        lookouts=[one.id for one in lookouts],
        wind=said.told,
        setback_m=settings.setback_m,
        camps=[_told(ready, one, i) for i, one in enumerate(found, 1)],
        why_none=[ShutRule(words=s.words, alone=s.alone, passes=s.passes) for s in shut],
        water=[WaterOf(lookout=one.id, water=water_near(ready, one)) for one in lookouts],
        cautions=[*([INVENTED] if country.invented else []), NOT_LEGAL, LOOK_UP, WATER, AIR],
        not_known=list(found[0].not_known) if found else [],
    )  # fmt: skip


def _ground(
    ready: MorningReady, lookouts: list[Lookout], date: dt.date, wind: GeneralWind, *, tick: Tick
) -> CampGround:
    """What is known of the ground, for camps."""
    looking, foot = ready.looking, ready.foot
    factor = foot.day.ground.factor
    near, sure = shore(foot.water, factor), shore(foot.water, factor, sure=True)
    seats = np.zeros(factor.shape, bool)
    for one in lookouts:
        seats[ready.cell(one)] = True
    settings = looking.country.settings.camp
    walks = _to_each(
        ready,
        [(near, settings.water_minutes), (sure, 4.0 * settings.water_minutes), (seats, 2.0 * settings.lookout_minutes)],
    )  # fmt: skip
    tick(0.4)
    seen = seen_from_any(looking)
    tick(0.7)
    return CampGround(
        slope_deg=looking.slope_deg,
        form=looking.country.read("forms"),
        wet=foot.water.near,
        closed=~np.isfinite(factor) | (foot.day.ground.surface > 0),
        pockets=looking.labels > 0,
        closure=ready.closure,
        water_s=walks[0],
        sure_water_s=walks[1],
        start_s=_from_start(looking.walk_s),
        lookout_s=walks[2] if lookouts else None,
        seen=seen,
        scent=_scent(ready, date, wind),
    )


def _from_start(walk_s: Raster | None) -> Raster | None:
    """Seconds from the start, inf where not reached; None where no start is known (the layer then holds nothing)."""
    if walk_s is None or np.isnan(walk_s).all():
        return None
    return np.nan_to_num(walk_s, nan=np.inf)


def _to_each(ready: MorningReady, wanted: list[tuple[NDArray[np.bool_], float]]) -> list[Raster]:
    """Walking seconds by day with a pack to the nearest of some cells; inf beyond so many minutes."""
    land, found = ready.foot.day, {}
    pace = pace_table(ready.looking.country.settings.walk, dark=False)

    def run(i: int) -> None:
        rows, cols = (side.astype(np.int64) for side in np.nonzero(wanted[i][0]))
        found[i] = walk_field(
            land.elevation_m, land.ground, pace, (rows, cols), cell_m=land.cell_m, toward=True,
            limit_s=60.0 * wanted[i][1],
        )[0]  # fmt: skip

    spread([partial(run, i) for i in range(len(wanted))])
    return [found[i] for i in range(len(wanted))]


def _scent(ready: MorningReady, date: dt.date, wind: GeneralWind) -> Raster:
    """How much of the scent let go at a place reaches a ranked pocket, the worst of evening, night and morning."""
    sky, looking = ready.day(date), ready.looking
    light = sky.light
    middle = light.noon + dt.timedelta(hours=12)
    hours = [light.sunset or light.noon, middle, light.sunrise or light.noon]
    shut = [i for i, pocket in enumerate(looking.plan.pockets, 1) if pocket.shut is not None]
    cells = (looking.labels > 0) & ~np.isin(looking.labels, shut)
    most = np.zeros(cells.shape, np.float32)
    if cells.any():
        for at in hours:
            field = sky.field(at, wind)
            np.maximum(most, carries_to(field, cells, settings=looking.country.settings.air), out=most)
    return most


def _told(ready: MorningReady, camp: Camp, number: int) -> CampPlace:
    cell = RowCol(camp.row, camp.col)
    height_m = float(ready.looking.survey.elevation_m[cell])
    return CampPlace(
        id=f"C{number}",
        place=ready.looking.survey.place(*cell),
        height_m=height_m if np.isfinite(height_m) else None,
        worth=camp.worth,
        reasons=[_fact(one) for one in camp.reasons],
        against=[_fact(one) for one in camp.against],
    )


def _fact(one: CampReason) -> CampFact:
    return CampFact(words=one.words, value=one.value, unit=one.unit)

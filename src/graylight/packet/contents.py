"""All that goes into a packet, worked out once: mornings, the ways walked, maps, strips, carrying out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np

from graylight.country.folder import Country
from graylight.drawing.ground import MapData
from graylight.errors import BadInput
from graylight.grid import LonLat
from graylight.packet.asked import Asked
from graylight.packet.ground import map_data
from graylight.packet.maps import DrawnMap, draw_sheet
from graylight.packet.sheet import map_sheet, whole_sheet
from graylight.packet.strips import DrawnStrip, draw_strip
from graylight.plan.carry import Carrying, carrying
from graylight.plan.looking import Ready
from graylight.plan.model import Approach, Lookout, Plan
from graylight.plan.morning_model import Morning, MorningWay
from graylight.plan.morning_ready import MorningReady, ready_for_morning
from graylight.plan.mornings import morning
from graylight.units import Units
from graylight.work import Tick, part, silent, spread

__all__ = ["Contents", "Sit", "gathered"]

MUCH = 0.15
"""Pockets of which less is likely in sight may lie partly off the map: its scale would suffer. Set by eye."""


@dataclass(frozen=True, slots=True)
class Sit:
    """One lookout told in full.

    Parameters
    ----------
    lookout
        Of the plan.
    morning
        None where there is no morning to tell, and then `why_none` says why.
    way
        The way on foot to it that is advised; None where none is known.
    strip, map
        What is seen from it; the ground about it.
    """

    lookout: Lookout
    morning: Morning | None
    why_none: str
    way: Approach | None
    strip: DrawnStrip
    map: DrawnMap


@dataclass(frozen=True, slots=True)
class Contents:
    """A packet before it is written.

    Parameters
    ----------
    looking
        The country with what looks need.
    plan
        The kept plan, with the ways advised for the mornings in place of the plan's own: paper, receiver and
        telephone then show the same way.
    """

    looking: Ready
    asked: Asked
    plan: Plan
    data: MapData
    sits: tuple[Sit, ...]
    whole: DrawnMap
    carrying: Carrying

    @property
    def country(self) -> Country:
        """The country."""
        return self.looking.country


def gathered(country: Country, kept: Plan, asked: Asked, *, tick: Tick = silent) -> Contents:
    """Work out what a packet holds.

    Parameters
    ----------
    country
        Opened, with the settings of the plan's own run (animal, date).
    kept
        The plan kept, which must belong together with the layers.
    asked
        From `understood`.
    """
    data = map_data(country)
    ready = ready_for_morning(country, kept)
    tick(0.15)
    told = []
    for number, name in enumerate(asked.lookouts):
        told.append(_morning(ready, name, asked))
        tick(0.15 + 0.4 * (number + 1) / len(asked.lookouts))
    plan = _walked(kept, [m for m, _ in told if m is not None], data)
    seats = {one.id: one for one in plan.lookouts}
    ways = {way.lookout: way for way in plan.approaches}
    maps = _maps(
        data, plan, [seats[name] for name in asked.lookouts], country.settings.units, part(tick, 0.55, 0.85)
    )
    sits = tuple(
        Sit(seats[name], found, why, ways.get(name), draw_strip(ready.looking, seats[name]), maps[name])
        for name, (found, why) in zip(asked.lookouts, told, strict=True)
    )
    return Contents(ready.looking, asked, plan, data, sits, maps[""], carrying(ready.looking))


def _maps(data: MapData, plan: Plan, seats: list[Lookout], units: Units, tick: Tick) -> dict[str, DrawnMap]:
    """The map of each lookout by its id, and that of the whole country by the empty name."""
    drawn: dict[str, DrawnMap] = {}

    def whole() -> None:
        sheet = whole_sheet(data.grid)
        drawn[""] = draw_sheet(data, plan, sheet, units=units, whole=True, ways=plan.approaches)

    def about(seat: Lookout) -> None:
        way = next((w for w in plan.approaches if w.lookout == seat.id), None)
        sheet = map_sheet(data.grid, _on_map(plan, seat, way))
        drawn[seat.id] = draw_sheet(data, plan, sheet, units=units, whole=False, ways=[way] if way else [])

    spread([whole, *(partial(about, seat) for seat in seats)], tick=tick)
    return drawn


def _morning(ready: MorningReady, name: str, asked: Asked) -> tuple[Morning | None, str]:
    """A morning, or why there is none: no usable light that day, or no start that reaches the lookout."""
    try:
        return morning(ready, name, date=asked.date, wind=asked.wind), ""
    except BadInput as error:
        return None, str(error)


def _on_map(plan: Plan, seat: Lookout, way: Approach | None) -> Iterator[LonLat]:
    """What has to be on a morning's map: the way, the lookout, the pockets of which much is in sight."""
    yield LonLat(seat.place.lon, seat.place.lat)
    if way is not None:
        yield from (LonLat(point[0], point[1]) for point in way.line)
    shown = {one.pocket for one in seat.sees if one.share.likely >= MUCH}
    for pocket in plan.pockets:
        if pocket.id in shown:
            yield LonLat(pocket.centre.lon, pocket.centre.lat)
            yield from (LonLat(lon, lat) for ring in pocket.outline[:1] for lon, lat in ring)


def _walked(plan: Plan, mornings: list[Morning], data: MapData) -> Plan:
    """The plan with the ways that the mornings advise."""
    advised = {m.lookout: m.way for m in mornings if m.way is not None}
    known = {way.lookout: way for way in plan.approaches}
    ways = [_as_advised(way, advised.get(way.lookout), data) for way in plan.approaches]
    ways += [_as_approach(name, way, 0.0, data) for name, way in advised.items() if name not in known]
    return plan.model_copy(update={"approaches": ways})


def _as_advised(kept: Approach, way: MorningWay | None, data: MapData) -> Approach:
    return kept if way is None else _as_approach(kept.lookout, way, kept.on_trail, data)


def _as_approach(lookout: str, way: MorningWay, on_trail: float, data: MapData) -> Approach:
    """A morning's way as an approach of the plan; the part on paths is that of the plan's own way."""
    return Approach(
        lookout=lookout, start=way.start, seconds=way.seconds, seconds_low=way.seconds_low,
        seconds_high=way.seconds_high, distance_m=way.distance_m, climb_m=way.climb_m, fall_m=way.fall_m,
        steepest_deg=way.steepest_deg, on_trail=on_trail, leave_by=way.leave_by, back_seconds=way.back_seconds,
        line=_with_heights(way.line, data), hazards=way.hazards,
    )  # fmt: skip


def _with_heights(line: list[list[float]], data: MapData) -> list[list[float]]:
    """[lon, lat, height_m] of a line of [lon, lat]; the height is left out where it is not known."""
    found = []
    for lon, lat in line:
        row, col = data.grid.rowcol(LonLat(lon, lat))
        height_m = float(data.elevation_m[row, col])
        found.append([lon, lat] if np.isnan(height_m) else [lon, lat, round(height_m, 1)])
    return found

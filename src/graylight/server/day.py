"""The day strip of a place: night, twilight, sun and shade by the clock, and the moments that matter."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, Field

from graylight.errors import BadInput
from graylight.grid import LonLat
from graylight.plan.morning_sky import DaySky, glass_spans, reached
from graylight.server.opened import Opened
from graylight.sky.glare import Glare, glare
from graylight.sky.horizon import sunlit
from graylight.sky.light import LightOfDay, light_of_day
from graylight.sky.sun import SunPath, sun_path, upper_limb_deg
from graylight.sky.wind import turns_at
from graylight.units import clock

__all__ = ["Band", "DayStrip", "HappensAt", "day_strip"]

Kind: TypeAlias = Literal["night", "twilight", "sun", "shade"]
STEP_S = 120


class Band(BaseModel):
    """A stretch of the day of one kind."""

    begin: dt.datetime
    until: dt.datetime
    kind: Kind


class HappensAt(BaseModel):
    """A moment of the day."""

    time: dt.datetime
    until: dt.datetime | None = None
    kind: str
    words: str
    clock: str = Field(description="by the local clock, with its zone")
    pocket: str | None = None
    rule_of_thumb: bool = False


class DayStrip(BaseModel):
    """A day at a place, from solar midnight to solar midnight."""

    date: dt.date
    zone: str
    begin: dt.datetime
    until: dt.datetime
    bands: list[Band]
    moments: list[HappensAt]
    sunny_s: float = Field(description="seconds of direct sun on the place, canopy aside")


def day_strip(opened: Opened, place: LonLat, date: dt.date) -> DayStrip:
    """The day at a place.

    Raises
    ------
    BadInput
        The place lies outside the country or on unknown ground, or the date is not on record.
    """
    cell = opened.country.grid.rowcol(place)
    if np.isnan(opened.raster("elevation")[cell]):
        raise BadInput("the ground there is not known (no elevation); choose another place")
    sun: _Sun = opened.answers.get(("sun", date), lambda: _sun_of(opened, date))
    light, times = sun.light, sun.edges
    kinds = _kinds(opened, cell, sun)
    bands = list(_bands(kinds, times))
    moments = [*_of_light(light), *_of_place(bands), *_of_pockets(opened, cell, date)]
    return DayStrip(
        date=date, zone=light.timezone, begin=times[0], until=times[-1], bands=bands,
        moments=[_clocked(one, light.timezone) for one in sorted(moments, key=lambda one: (one.time, one.kind))],
        sunny_s=sum((one.until - one.begin).total_seconds() for one in bands if one.kind == "sun"),
    )  # fmt: skip


def _clocked(one: HappensAt, zone: str) -> HappensAt:
    return one.model_copy(update={"clock": clock(one.time, zone)})


@dataclass(frozen=True, slots=True)
class _Sun:
    """The sun of a date, one for all places of a country: its light, and its way by steps of two minutes.

    `edges` are the ends of the steps, `path` and `limb_deg` are of their middles.
    """

    light: LightOfDay
    edges: list[dt.datetime]
    path: SunPath
    limb_deg: NDArray[np.float64]


def _sun_of(opened: Opened, date: dt.date) -> _Sun:
    settings, center = opened.country.settings, opened.country.grid.center
    light = light_of_day(
        center, date, usable_sun_deg=settings.usable_light_sun_deg, legal_minutes=settings.legal_minutes
    )
    begin = light.noon - dt.timedelta(hours=12)
    edges = [begin + dt.timedelta(seconds=STEP_S * i) for i in range(24 * 3600 // STEP_S + 1)]
    half = dt.timedelta(seconds=STEP_S / 2)
    middles = np.array([(e + half).replace(tzinfo=None) for e in edges[:-1]], "datetime64[us]")
    path = sun_path(center, height_m=0.0, times=middles)
    return _Sun(light, edges, path, upper_limb_deg(path.altitude_deg))


def _kinds(opened: Opened, cell: tuple[int, int], sun: _Sun) -> list[Kind]:
    """What each two minutes of the day are."""
    grid = opened.country.grid
    rows, cols = (np.array([one], np.int64) for one in cell)
    lit = sunlit(
        opened.raster("elevation"), rows, cols, cell_m=grid.cell_m,
        azimuth_grid_deg=sun.path.azimuth_deg - grid.convergence_deg(), limb_deg=sun.limb_deg,
        beyond=opened.survey.beyond,
    )[:, 0]  # fmt: skip
    dark = opened.country.settings.usable_light_sun_deg
    each = zip(sun.path.altitude_deg.tolist(), sun.limb_deg.tolist(), lit.tolist(), strict=True)
    return [_kind(*one, dark) for one in each]


def _kind(altitude_deg: float, limb_deg: float, lit: bool, dark_deg: float) -> Kind:
    if lit:
        return "sun"
    if limb_deg >= 0.0:
        return "shade"
    return "twilight" if altitude_deg >= dark_deg else "night"


def _bands(kinds: list[Kind], edges: list[dt.datetime]) -> Iterator[Band]:
    at = 0
    for kind, run in groupby(kinds):
        long = len(list(run))
        yield Band(begin=edges[at], until=edges[at + long], kind=kind)
        at += long


def _of_light(light: LightOfDay) -> Iterator[HappensAt]:
    """The almanac's moments."""
    told = {
        "usable_from": "first usable light", "legal_from": "legal light by the level horizon, check the rules",
        "sunrise": "sunrise by the level horizon", "noon": "the sun stands highest",
        "sunset": "sunset by the level horizon", "legal_until": "legal light ends by the level horizon, check the rules",
        "usable_until": "last usable light",
    }  # fmt: skip
    for name, words in told.items():
        when = getattr(light, name)
        if when is not None:
            yield _moment(when, name.replace("_", " "), words)


def _moment(
    time: dt.datetime, kind: str, words: str, pocket: str | None = None, *, thumb: bool = False
) -> HappensAt:
    return HappensAt(time=time, kind=kind, words=words, clock="", pocket=pocket, rule_of_thumb=thumb)


def _of_place(bands: list[Band]) -> list[HappensAt]:
    """First and last sun on the place."""
    sunny = [one for one in bands if one.kind == "sun"]
    if not sunny:
        return []
    return [
        _moment(sunny[0].begin, "first sun here", "the sun first reaches this place"),
        _moment(sunny[-1].until, "last sun here", "the sun leaves this place"),
    ]


def _of_pockets(opened: Opened, cell: tuple[int, int], date: dt.date) -> list[HappensAt]:
    """First sun on the pockets in sight, sun in the glass, and the turns of the air; none before a plan."""
    if opened.plan is None:
        return []
    found: list[HappensAt] = []
    labels, names = _in_sight(opened, cell)
    grid, settings = opened.country.grid, opened.country.settings
    if names:
        sun = glare(
            opened.raster("elevation"), labels, cell, cell_m=grid.cell_m, convergence_deg=grid.convergence_deg(),
            place=grid.center, day=date, eye_m=settings.sight.eye_m, settings=settings.glare,
        )  # fmt: skip
        found += _sun_on(sun, names)
    return [*found, *_turns(opened, cell, date)]


def _in_sight(opened: Opened, cell: tuple[int, int]) -> tuple[NDArray[np.int32], dict[int, str]]:
    """Labels of the pockets of which something is seen, and their ids."""
    look = opened.look(opened.country.grid.lonlat(*cell)).look
    seen = {one.pocket for one in look.sees if one.share.high > 0.0}
    names = {i + 1: one.id for i, one in enumerate(opened.must_plan().pockets) if one.id in seen}
    keep = np.zeros(len(opened.must_plan().pockets) + 1, np.int32)
    keep[list(names)] = list(names)
    return keep[opened.ready.labels], names


def _sun_on(sun: Glare, names: dict[int, str]) -> Iterator[HappensAt]:
    for one in sun.pockets:
        name = names.get(one.label)
        first = reached(sun, one, 0.1)
        if name is None:
            continue
        if first is not None:
            yield _moment(first, "first sun", f"the sun first reaches pocket {name}", name)
        for span in glass_spans(sun, one):
            words = f"the sun stands in the glass when looking at pocket {name}: never point a glass at it"
            yield _moment(span.begin, "sun in the glass", words, name).model_copy(update={"until": span.end})


def _turns(opened: Opened, cell: tuple[int, int], date: dt.date) -> Iterator[HappensAt]:
    """When the air turns at the place, by rule of thumb; nothing on a day without a morning."""
    try:
        sky: DaySky = opened.mornings.day(date)
    except BadInput:
        return
    turns = turns_at(opened.mornings.air, sky.air, *cell, settings=sky.settings)
    told = ((turns.up_s, "wind turns up", "the air begins to draw up the slope"),
            (turns.down_s, "wind turns down", "the air begins to drain down the slope"))  # fmt: skip
    for seconds, kind, words in told:
        if seconds is not None:
            yield _moment(sky.moment(seconds), kind, f"{words}, by rule of thumb", thumb=True)

"""Which of the kept lookouts keeps clean in which wind. All of it is rule of thumb."""

from __future__ import annotations

import datetime as dt
from functools import partial

from graylight.plan.model import Lookout
from graylight.plan.morning_air import Met, close_calls, met_in
from graylight.plan.morning_model import ByWind
from graylight.plan.morning_ready import Dawn, MorningReady, dawns_of
from graylight.plan.morning_sky import DaySky
from graylight.sky.wind import GeneralWind
from graylight.work import spread

__all__ = ["POINTS", "WINDS_MS", "by_wind", "sheltered"]

POINTS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")
WINDS_MS = 4.5
"""Speed of the winds looked at where none was given: 10 mph, from which a general wind rules crests."""
MOST, KEPT = 3, 16
UNCLEAN, CLOSE, SURE = 0, 1, 2


def by_wind(
    ready: MorningReady, sky: DaySky, hours: tuple[dt.datetime, dt.datetime], speed_ms: float
) -> list[ByWind]:
    """The clean lookouts for eight winds, best first; winds next to each other with the same ones together.

    Parameters
    ----------
    ready, sky
        The country, and the sky of the date.
    hours
        The hour that decides, and another.
    speed_ms
        Speed of the wind, as a forecast says it.
    """
    key = hours, speed_ms
    if key not in ready.winds:
        while len(ready.winds) >= KEPT:
            del ready.winds[next(iter(ready.winds))]
        ready.winds[key] = _grouped(_fit(ready, sky, hours, speed_ms))
    return ready.winds[key]


def sheltered(ready: MorningReady, sky: DaySky, when: dt.datetime, speed_ms: float) -> list[str]:
    """Ids of the kept lookouts at which none of the eight winds rules: that it is not felt there is a rule of thumb."""
    winds = [GeneralWind(45.0 * i, speed_ms) for i in range(len(POINTS))]
    found = []
    for one in ready.looking.plan.lookouts:
        airs = [field.at(0, 0) for field in sky.at_cell(ready.cell(one)).fields(when, winds)]
        if all(air.mover != "general wind" for air in airs):
            found.append(one.id)
    return found


def _fit(
    ready: MorningReady, sky: DaySky, hours: tuple[dt.datetime, dt.datetime], speed_ms: float
) -> list[list[str]]:
    """The clean lookouts for each of the winds, those first that stay clean in one a little weaker or stronger."""
    best = sorted(ready.looking.plan.lookouts, key=lambda one: (-one.worth, one.id))
    clean: dict[str, list[int]] = {}

    def look(one: Lookout) -> None:
        clean[one.id] = _clean(ready, sky, one, hours, speed_ms)

    spread([partial(look, one) for one in best])
    return [
        [one.id for grade in (SURE, CLOSE) for one in best if clean[one.id][i] == grade][:MOST]
        for i in range(len(POINTS))
    ]


def _clean(
    ready: MorningReady,
    sky: DaySky,
    lookout: Lookout,
    hours: tuple[dt.datetime, dt.datetime],
    speed_ms: float,
) -> list[int]:
    """For each of the winds, whether neither its scent nor the wind itself goes to what is watched from there."""
    settings, cell = ready.looking.country.settings, ready.cell(lookout)
    about, dawns = sky.about(cell), dawns_of(ready, lookout)
    winds = [GeneralWind(45.0 * i, speed_ms) for i in range(len(POINTS))]
    met = [met_in(ready, about, dawns, cell, about.sky.fields(when, winds)) for when in hours]
    close = close_calls(ready, sky, dawns, cell, hours[0], winds)
    found = []
    for *both, near in zip(*met, close, strict=True):
        clean = bool(dawns) and not any(
            any(one.blown) or _scent(dawns, one) > settings.sit.scent_care for one in both
        )
        found.append(UNCLEAN if not clean else CLOSE if near else SURE)
    return found


def _scent(dawns: tuple[Dawn, ...], met: Met) -> float:
    return sum(dawn.weight * share for dawn, share in zip(dawns, met.shares, strict=True))


def _grouped(fit: list[list[str]]) -> list[ByWind]:
    """Winds with the same lookouts together, in the order of the compass, round past north."""
    groups: dict[tuple[str, ...], list[str]] = {}
    for point, names in zip(POINTS, fit, strict=True):
        groups.setdefault(tuple(names), []).append(point)
    return [ByWind(winds=winds, lookouts=list(names)) for names, winds in groups.items()]

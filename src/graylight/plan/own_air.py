"""The air as it was felt on outings beside the air as it is reckoned: turns and remarks. Nothing is changed here."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from functools import lru_cache
from typing import Literal

import numpy as np

from graylight.errors import BadInput
from graylight.grid import LonLat, RowCol, distance_m
from graylight.plan.morning_sky import DaySky, day_sky
from graylight.plan.notebook import Notebook
from graylight.plan.record import Felt, Outing, Record
from graylight.plan.record_model import AirLearnt, AirRemarks
from graylight.settings import AirSettings
from graylight.sky.own_turn import measured_turn
from graylight.sky.wind import air_ground, turns_at
from graylight.wind import CALM, read_wind

__all__ = ["air_felt", "felt_minutes", "turn_felt"]

Way = Literal["up", "down"]

APART = dt.timedelta(minutes=90)
"""Two remarks farther apart than this do not tell when the air turned between them. Proposed."""
NEAR_M = 300.0
"""Nor do two made farther from each other than this, on a track. Proposed."""
KEYS: dict[Way, str] = {"up": "up_slope_minutes", "down": "down_slope_minutes"}


class Skies:
    """The air of the days of a record: each is worked out once."""

    def __init__(self, book: Notebook) -> None:
        self._book = book
        self.of = lru_cache(maxsize=None)(self._of)

    def _of(self, date: dt.date) -> DaySky | None:
        """A day's air; None where no usable light begins or ends on it."""
        country = self._book.country.with_settings(date=date.isoformat())
        closure = country.read("closure") if country.has("closure") else None
        ground = air_ground(
            self._book.ready.survey.elevation_m, cell_m=country.grid.cell_m,
            convergence_deg=country.grid.convergence_deg(), closure=closure, settings=country.settings.air,
        )  # fmt: skip
        try:
            return day_sky(self._book.ready, country, ground)
        except BadInput:
            return None


def air_felt(book: Notebook, record: Record) -> tuple[AirLearnt, AirLearnt, AirRemarks]:
    """The lag of the turn up, that of the turn down, and how the remarks go with the air as reckoned."""
    skies = Skies(book)
    up, down = (_learnt(book, skies, record.outings, way) for way in ("up", "down"))
    return up, down, _remarks(book, skies, record.outings)


# --- turns ---------------------------------------------------------------------------------------------------------


def _learnt(book: Notebook, skies: Skies, outings: Sequence[Outing], way: Way) -> AirLearnt:
    in_use = float(getattr(book.country.settings.air, KEYS[way]))
    felt = [m for outing in outings if (m := felt_minutes(book, skies, outing, way)) is not None]
    needed = book.country.settings.record.learn_turns
    turn = measured_turn(felt, in_use) if len(felt) >= needed else None
    return AirLearnt(
        before=in_use, after=None if turn is None else _in_range(turn.minutes, KEYS[way]),
        low=None if turn is None else turn.low, high=None if turn is None else turn.high, turns=len(felt), needed=needed,
    )  # fmt: skip


def _in_range(minutes: float, key: str) -> float:
    """Held to what the setting may be."""
    limits = AirSettings.model_fields[key].metadata
    low = next(m.ge for m in limits if hasattr(m, "ge"))
    high = next(m.le for m in limits if hasattr(m, "le"))
    return float(min(max(minutes, low), high))


def felt_minutes(book: Notebook, skies: Skies, outing: Outing, way: Way) -> float | None:
    """Minutes from the first sun at a place to the air's turning up there, or from the last to its turning down.

    None: it was not felt, or not at one place, or the place lies in a valley whose wind goes by the sun on its floor.
    """
    turned = turn_felt(outing.air, way)
    if turned is None:
        return None
    before, after = turned
    cells = [_where(book, outing, at) for at in (before, after)]
    if cells[0] is None or cells[1] is None or distance_m(cells[0], cells[1]) > NEAR_M:
        return None
    at = before + (after - before) / 2
    sky = skies.of(book.local(at).date())
    place = _where(book, outing, at)
    if sky is None or place is None or not book.country.grid.contains(place):
        return None
    settings = book.country.settings.air
    turns = turns_at(sky.ground, sky.air, *book.country.grid.rowcol(place), settings=settings)
    reckoned = turns.up_s if way == "up" else turns.down_s
    if reckoned is None or turns.of != "slope":
        return None
    sun_s = reckoned - 60.0 * float(getattr(settings, KEYS[way]))
    return (sky.seconds(at) - sun_s) / 60.0


def turn_felt(air: Sequence[tuple[dt.datetime, Felt]], way: Way) -> tuple[dt.datetime, dt.datetime] | None:
    """The remarks between which the air turned, for the first time; None where no turn was felt.

    It turns up between the last "down" or "still" and the first "up" after it; down between the last "up", or the
    "still" after it, and the first "down".
    """
    before: dt.datetime | None = None
    for at, felt in air:
        if felt == way:
            if before is not None:
                return (before, at) if at - before <= APART else None
        elif felt != "unsteady" and (felt != "still" or way == "up" or before is not None):
            before = at
    return None


def _where(book: Notebook, outing: Outing, at: dt.datetime) -> LonLat | None:
    """Where someone was at a moment; None where a track does not say."""
    if not outing.track:
        return book.lonlat(outing.point)
    first, last = outing.track[0].at, outing.track[-1].at
    if not first <= at <= last:
        return None
    times = [fix.at.timestamp() for fix in outing.track]
    lon = np.interp(at.timestamp(), times, [fix.lon for fix in outing.track])
    lat = np.interp(at.timestamp(), times, [fix.lat for fix in outing.track])
    return LonLat(float(lon), float(lat))


# --- remarks -------------------------------------------------------------------------------------------------------


def _remarks(book: Notebook, skies: Skies, outings: Sequence[Outing]) -> AirRemarks:
    """How many remarks of up or down go with the air as it is reckoned, and how many fall into its unreliable hours."""
    told = [
        _reckoned(book, skies, outing, at) == felt if _reckoned(book, skies, outing, at) else None
        for outing in outings
        for at, felt in outing.air
        if felt in KEYS
    ]
    return AirRemarks(count=len(told), agree=told.count(True), against=told.count(False))


def _reckoned(book: Notebook, skies: Skies, outing: Outing, at: dt.datetime) -> Way | None:
    """Which way the air is reckoned to go, by the general wind noted; None: unreliable, across, or not known."""
    place, sky = _where(book, outing, at), skies.of(book.local(at).date())
    if place is None or sky is None or not book.country.grid.contains(place):
        return None
    cell: RowCol = book.country.grid.rowcol(place)
    field = sky.field(at, read_wind(outing.wind) if outing.wind else CALM)
    if not field.at(*cell).reliable:
        return None
    fall = [float(v) for v in sky.ground.layers[:2, cell.row, cell.col]]
    air = float(field.grid_east_ms[cell]), float(field.grid_north_ms[cell])
    length = math.hypot(*fall) * math.hypot(*air)
    along = (fall[0] * air[0] + fall[1] * air[1]) / length if length > 0.0 else 0.0
    return "down" if along > 0.5 else "up" if along < -0.5 else None

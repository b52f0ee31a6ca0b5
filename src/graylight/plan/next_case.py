"""What a proposal of the next sits rests on: odds, light, the wind of each morning, what each lookout searches, rest."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from shapely import Point

from graylight.chance.mornings import Campaign, rested
from graylight.errors import BadInput
from graylight.grid import LonLat, RowCol, distance_m
from graylight.plan.effort import Searched, Sitting, glass_named, searched
from graylight.plan.forecast_wind import MorningWind, winds_of
from graylight.plan.model import Approach, Lookout
from graylight.plan.morning_sky import day_sky, scent_at
from graylight.plan.notebook import Notebook
from graylight.plan.odds import Found, day_number
from graylight.plan.odds_told import odds_now
from graylight.plan.own_places import SAT_NEAR_M, OwnPlace, own_places
from graylight.plan.record import Outing, Record, Seen, Sign
from graylight.plan.sight_facts import PocketCells
from graylight.settings import RecordSettings
from graylight.sight.optics import Glass
from graylight.sky.drift import drift, middle_scent
from graylight.sky.light import light_of_day
from graylight.sky.wind import Air, WindField, air_ground
from graylight.wind import GeneralWind
from graylight.work import Tick, part, silent

__all__ = ["MOST_MORNINGS", "Asked", "Case", "Seat", "cell_of", "gathered", "whole_morning", "whole_sitting"]

Values: TypeAlias = NDArray[np.float64]

MOST_MORNINGS = 14
LEAST_SIT = dt.timedelta(minutes=30)
Seat: TypeAlias = Lookout | OwnPlace


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked of the mornings left.

    Parameters
    ----------
    mornings
        How many.
    date
        The first of them; None: the day after the last entry.
    wind
        General wind as typed; several with semicolons between, one a morning, the last of them for all that follow;
        "forecast" has that of the forecast kept. None: calm.
    glasses
        What will be looked through; None: as on the last outing.
    off
        Days on which nobody goes out.
    """

    mornings: int
    date: dt.date | None = None
    wind: str | None = None
    glasses: str | None = None
    off: tuple[dt.date, ...] = ()


@dataclass(frozen=True, slots=True)
class Case:
    """All that the proposal rests on.

    Parameters
    ----------
    found
        The odds.
    light
        Of the first morning: usable light, and when the watch ends. The next days' is taken as the same by the
        clock: it moves by a minute or two a day.
    dates
        The mornings.
    seats
        The lookouts kept: what is shared out over.
    own
        Places of the person's own: weighed beside them, and no part of the row.
    sits
        What a whole morning at each seat searches; the person's own places stand behind the lookouts, here and below.
    winds
        General wind of each morning.
    scent : (mornings, seats, pockets) float64
        Part of each pocket that scent from each seat spoils at dawn or an hour after sunrise.
    left : (mornings, seats, pockets) float64
        What is left of each sit where animals were pushed.
    every
        The mornings, as though every seat were a lookout.
    """

    book: Notebook
    found: Found
    light: tuple[dt.datetime, dt.datetime]
    dates: tuple[dt.date, ...]
    seats: tuple[Lookout, ...]
    own: tuple[OwnPlace, ...]
    glasses: tuple[Glass, ...]
    sits: tuple[Searched, ...]
    winds: tuple[MorningWind, ...]
    scent: Values
    left: Values
    every: Campaign

    @property
    def campaign(self) -> Campaign:
        """The mornings to be shared out over the lookouts kept."""
        count, plan = len(self.seats), self.every
        return replace(plan, found=plan.found[:, :count], idle=plan.idle[:count])

    @property
    def kept(self) -> tuple[Searched, ...]:
        """What a whole morning at each lookout kept searches."""
        return self.sits[: len(self.seats)]

    def approach(self, seat: Lookout) -> Approach | None:
        """The plan's way to a lookout."""
        return next((a for a in self.book.plan.approaches if a.lookout == seat.id), None)

    def shift(self, morning: int) -> dt.timedelta:
        """From the first morning to another."""
        return self.dates[morning] - self.dates[0]

    def worth(self, searches: Searched, seat: int) -> float:
        """Chance of finding on the first morning, by the odds now, with what air and want of rest spoil taken off."""
        return float(np.sum(np.array(self.found.odds.pockets) * self.finds(searches, seat)))

    def finds(self, searches: Searched, seat: int) -> Values:
        """The same by pocket, were they there."""
        found = np.array(searches.found(len(self.found.odds.pockets)))
        return np.asarray(
            found * (1.0 - self.scent[0, seat]) * self.left[0, seat] * self.rest(seat), np.float64
        )

    def rest(self, seat: int) -> float:
        """What a lookout is worth on the first morning beside a rested one."""
        plan = self.every
        return rested(plan.days[0] + float(plan.idle[seat]), rest_days=plan.rest_days, part=plan.rest_part)


# --- gathering -----------------------------------------------------------------------------------------------------


def gathered(book: Notebook, asked: Asked, *, tick: Tick = silent) -> Case:
    """Everything that the proposal rests on.

    Raises
    ------
    BadInput
        No kept lookout, too many mornings, a wind or glass not understood, or a date without usable light.
    """
    if not 1 <= asked.mornings <= MOST_MORNINGS:
        raise BadInput(
            f"--mornings is {asked.mornings}; accepted is 1 to {MOST_MORNINGS}; give how many mornings are left"
        )
    seats = tuple(book.plan.lookouts)
    if not seats:
        raise BadInput(
            "the plan has no lookout to sit at; accepted is a plan with one or more; the plan's notes say why there is none"
        )
    record = book.record()
    glasses = _glasses(asked.glasses, record)
    dates = _dates(asked.date or _first_date(book, record), asked)
    winds = winds_of(book.country, book.plan, asked.wind, dates)
    own = own_places(book, record, seats)
    every: tuple[Seat, ...] = (*seats, *own)
    light, scent = _sky(book, dates[0], winds, every, part(tick, 0.0, 0.8))
    found = odds_now(book, record, dates[0])
    sits = tuple(
        searched([whole_sitting(seat, light)], book.ground, glasses, weather="clear") for seat in every
    )
    sat = [_sat_at(book, record, seat, light[0]) for seat in every]
    campaign, left = _campaign(
        book, record, found, [light[0] + (d - dates[0]) for d in dates], sits, scent, sat
    )
    tick(1.0)
    return Case(book, found, light, dates, seats, own, glasses, sits, winds, scent, left, campaign)


def _dates(first: dt.date, asked: Asked) -> tuple[dt.date, ...]:
    """The mornings: days on end, those off left out."""
    days = (first + dt.timedelta(days=i) for i in range(asked.mornings + len(asked.off)))
    return tuple([day for day in days if day not in asked.off][: asked.mornings])


def _first_date(book: Notebook, record: Record) -> dt.date:
    """The day after the last entry; the plan's own before the first, or where that is later."""
    days = [book.local(o.ended).date() for o in record.outings]
    seen: list[Seen | Sign] = [*record.sightings, *record.sign]
    days += [book.local(one.at).date() if one.at else one.day for one in seen if one.day]
    last = max(days, default=None)
    planned = book.plan.light.date
    return planned if last is None else max(last + dt.timedelta(days=1), planned)


def _glasses(asked: str | None, record: Record) -> tuple[Glass, ...]:
    """As asked, else those of the last outing, else usual binoculars."""
    if asked is not None:
        return tuple(glass_named(name) for name in asked.split(","))
    last: Outing | None = max(record.outings, key=lambda o: o.began, default=None)
    return tuple(glass_named(name) for name in (("10x42",) if last is None else last.glasses))


def _sky(
    book: Notebook, date: dt.date, winds: Sequence[MorningWind], seats: Sequence[Seat], tick: Tick
) -> tuple[tuple[dt.datetime, dt.datetime], Values]:
    """Usable light and end of the watch of a date, and what scent spoils by morning, seat and pocket."""
    country, ready = book.country, book.ready
    closure = country.read("closure") if country.has("closure") else None
    air = air_ground(
        ready.survey.elevation_m, cell_m=country.grid.cell_m, convergence_deg=country.grid.convergence_deg(),
        closure=closure, settings=country.settings.air,
    )  # fmt: skip
    sky = day_sky(ready, country.with_settings(date=date.isoformat()), air)
    tick(0.5)
    usable, end = whole_morning(book, date)
    times = (usable, (sky.light.sunrise or usable) + dt.timedelta(minutes=60))
    told: dict[GeneralWind, Values] = {}
    for one in winds:
        if one.wind not in told:
            told[one.wind] = _scent(book, [sky.field(at, one.wind) for at in times], seats)
    tick(1.0)
    return (usable, end), np.array([told[one.wind] for one in winds])


def _scent(book: Notebook, fields: Sequence[WindField], seats: Sequence[Seat]) -> Values:
    """Part of each pocket that scent from each seat spoils, at the worse of some moments."""
    spoilt = np.zeros((len(seats), len(book.ready.cells)))
    for field in fields:
        for s, seat in enumerate(seats):
            cell = cell_of(book, seat)
            blown = drift(field, *cell, settings=book.country.settings.air).scent
            here = [
                _spoilt(book, scent_at(blown, one), field.at(*cell), cell, one) for one in book.ready.cells
            ]
            spoilt[s] = np.maximum(spoilt[s], here)
    return spoilt


def _spoilt(
    book: Notebook, drifted: NDArray[np.float32], air: Air, cell: RowCol, cells: PocketCells
) -> float:
    """Part of a pocket that scent spoils: what drifts there, and what lies near the course of a general wind.

    As the sits have it: a general wind swings by `sit.toward_deg`; what it blows at within the reach of scent in night air
    calls for care (`sit.scent_care`) at least, and ground with scent of `sit.scent_spoils` or more is spoilt.
    """
    grid, settings = book.country.grid, book.country.settings
    scent = np.asarray(drifted, np.float64)
    if air.mover == "general wind" and air.toward_deg is not None:
        east, north = cells.cols - cell.col, cell.row - cells.rows
        gone_m = np.hypot(east, north) * grid.cell_m
        aside = np.degrees(np.arctan2(east, north)) + grid.convergence_deg() - air.toward_deg
        met = np.abs((aside + 180.0) % 360.0 - 180.0) <= settings.sit.toward_deg
        met &= gone_m <= settings.air.scent_gone_m
        strength = np.maximum(middle_scent(gone_m, air.speed_ms, settings.air), settings.sit.scent_care)
        scent = np.maximum(scent, np.where(met, strength, 0.0))
    weight = cells.weight.astype(np.float64)
    total = float(weight.sum())
    part_spoilt = np.clip(scent / max(settings.sit.scent_spoils, 0.01), 0.0, 1.0)
    return float((weight * part_spoilt).sum()) / total if total > 0.0 else 0.0


def whole_morning(book: Notebook, date: dt.date) -> tuple[dt.datetime, dt.datetime]:
    """Usable light, and when the watch ends (`sit.watch_minutes` after sunrise).

    Raises
    ------
    BadInput
        No usable light begins on that date.
    """
    settings = book.country.settings
    light = light_of_day(book.country.grid.center, date, usable_sun_deg=settings.usable_light_sun_deg)
    if light.usable_from is None:
        raise BadInput(
            f"no usable light begins on {date.isoformat()} here; accepted is a date on which night ends; choose another date"
        )
    return light.usable_from, (light.sunrise or light.usable_from) + dt.timedelta(
        minutes=settings.sit.watch_minutes
    )


def cell_of(book: Notebook, seat: Seat) -> RowCol:
    """The cell that a seat lies in."""
    return book.country.grid.rowcol(LonLat(seat.place.lon, seat.place.lat))


def whole_sitting(seat: Seat, light: tuple[dt.datetime, dt.datetime]) -> Sitting:
    """A seat watched from for the whole morning."""
    return Sitting(LonLat(seat.place.lon, seat.place.lat), *light)


def _campaign(
    book: Notebook, record: Record, found: Found, mornings: Sequence[dt.datetime], sits: Sequence[Searched],
    scent: Values, sat: Sequence[Sequence[Outing]],
) -> tuple[Campaign, Values]:  # fmt: skip
    settings = book.country.settings.record
    pods = np.array([one.found(len(book.plan.pockets)) for one in sits]) * (1.0 - scent)
    days = [day_number(at) for at in mornings]
    idle = [found.at - max((day_number(o.began) for o in outings), default=-np.inf) for outings in sat]
    left = _left_alone(record, found, days, [[o.id for o in one] for one in sat], settings)
    campaign = Campaign(
        tuple(found.odds_at(max(day, found.at)) for day in days), pods * left, np.array(idle),
        float(settings.rest_days), settings.rest_part, tuple(day - found.at for day in days), settings.fade_days,
    )  # fmt: skip
    return campaign, left


def _left_alone(
    record: Record,
    found: Found,
    days: Sequence[float],
    sat: Sequence[Sequence[int]],
    settings: RecordSettings,
) -> Values:
    """What is left of each sit by morning, lookout and pocket, where animals were pushed.

    A pocket that they were pushed out of rests, from wherever it is watched; where nobody knows which pocket it was, the
    lookout does.
    """
    pockets = len(found.odds.pockets)
    left = np.ones((len(days), len(sat), pockets))
    for outing in (o for o in record.outings if o.pushed and day_number(o.began) < days[0]):
        degree = found.pushed.get(outing.id, np.zeros(pockets))
        here = [s for s, ids in enumerate(sat) if outing.id in ids]
        for m, day in enumerate(days):
            gone = day - day_number(outing.began)
            rest = rested(gone, rest_days=settings.pushed_days, part=settings.pushed_part)
            if degree.any():
                left[m] = np.minimum(left[m], 1.0 - degree * (1.0 - rest))
            else:  # beside the rest of the lookout itself
                plain = rested(gone, rest_days=settings.rest_days, part=settings.rest_part)
                left[m, here] = np.minimum(left[m, here], rest / plain if plain > 0.0 else 1.0)
    return left


def _sat_at(book: Notebook, record: Record, seat: Seat, before: dt.datetime) -> list[Outing]:
    """Outings at a seat or a place beside it, also at the end of a track."""
    here = LonLat(seat.place.lon, seat.place.lat)
    return [o for o in record.outings if o.began < before and _sat_by(o, seat.id, here, book.point(here))]


def _sat_by(outing: Outing, name: str, here: LonLat, point: Point) -> bool:
    if not outing.track:
        return outing.lookout == name or float(outing.point.distance(point)) <= SAT_NEAR_M
    near = [distance_m(here, LonLat(fix.lon, fix.lat)) <= SAT_NEAR_M for fix in outing.track]
    stayed = [
        b.at - a.at for (a, b), both in zip(pairwise(outing.track), pairwise(near), strict=True) if all(both)
    ]
    return sum(stayed, dt.timedelta()) >= LEAST_SIT

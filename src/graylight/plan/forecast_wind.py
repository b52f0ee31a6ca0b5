"""The general wind of a sit taken from the forecast that is kept in the country."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import NamedTuple

from graylight.country.folder import Country
from graylight.country.forecast import FORECAST, Forecast, read_forecast
from graylight.errors import BadInput
from graylight.plan.model import Plan
from graylight.plan.morning_asked import read_date, read_sit
from graylight.sit.facts import SitKind
from graylight.sky.light import light_of_day
from graylight.wind import CALM, GeneralWind, read_wind

__all__ = ["WORD", "MorningWind", "said_wind", "winds_of"]

WORD = "forecast"
"""What is typed for the wind to have the forecast's."""


def said_wind(
    country: Country, plan: Plan, *, wind: str | None, date: str | None, sit: str = "dawn"
) -> str | None:
    """The wind as it was said; for the word "forecast" that of the kept one, at the hour on which the sit turns.

    That hour is first usable light at dawn and for a whole day, sunset at dusk.

    Raises
    ------
    BadInput
        The forecast is asked for and there is none, or it does not tell the wind of that hour.
    """
    if wind is None or wind.strip().lower() != WORD:
        return wind
    kept = read_forecast(country)
    if kept is None:
        raise BadInput(
            f"--wind is {WORD!r} and the country has no {FORECAST}; accepted is a country with one; gather it with "
            "'graylight gather FOLDER --only forecast', or give a wind such as \"SW 8mph\""
        )
    day = plan.light.date if date is None else read_date(date, "--date")
    hour = kept.at(_turn(country, day, read_sit(sit)))
    words = None if hour is None else hour.wind_words()
    if words is None:
        raise BadInput(
            f"the forecast kept does not tell the wind for {day.isoformat()}; accepted are dates {_span(kept)}; gather it "
            'anew, or give a wind such as "SW 8mph"'
        )
    return words


class MorningWind(NamedTuple):
    """The general wind of one morning: as typed or forecast, whether either said it, and what it is."""

    words: str
    given: bool
    wind: GeneralWind


def winds_of(
    country: Country, plan: Plan, text: str | None, dates: Sequence[dt.date]
) -> tuple[MorningWind, ...]:
    """The wind of each of some mornings.

    Parameters
    ----------
    text
        As typed; with semicolons between, one a morning, the last for all that follow. None: calm.
    dates
        The mornings.

    Raises
    ------
    BadInput
        More winds than mornings, one not understood, or a forecast asked for that is not there or reaches none of them.
    """
    said = [one.strip() for one in (text or "").split(";")]
    if len(said) > len(dates) or (len(said) > 1 and not all(said)):
        raise BadInput(
            f"--wind is {text!r}, for {len(dates)} mornings; accepted is one wind for all, or one a morning; give as many as "
            "there are mornings, or fewer: the last holds for those that follow"
        )
    each = said + [said[-1]] * (len(dates) - len(said))
    forecast = [day for day, one in zip(dates, each, strict=True) if one.lower() == WORD]
    told = _forecast(country, plan, forecast)
    words = [told.get(day) if day in told else (one or None) for day, one in zip(dates, each, strict=True)]
    return tuple(
        MorningWind("calm", False, CALM) if one is None else MorningWind(one, True, read_wind(one))
        for one in words
    )


def _forecast(country: Country, plan: Plan, dates: Sequence[dt.date]) -> dict[dt.date, str | None]:
    """The wind of the forecast kept by date, None where it does not reach; it must reach one of them."""
    found: dict[dt.date, str | None] = {}
    first: BadInput | None = None
    for day in dates:
        try:
            found[day] = said_wind(country, plan, wind=WORD, date=day.isoformat())
        except BadInput as error:
            found[day], first = None, first or error
    if first is not None and not any(found.values()):
        raise first
    return found


def _turn(country: Country, day: dt.date, sit: SitKind) -> dt.datetime:
    settings = country.settings
    light = light_of_day(
        country.grid.center, day, usable_sun_deg=settings.usable_light_sun_deg, legal_minutes=settings.legal_minutes
    )  # fmt: skip
    return (light.sunset if sit == "dusk" else light.usable_from) or light.noon


def _span(kept: Forecast) -> str:
    if not kept.hours:
        return "it holds, and it holds none"
    return f"from {kept.hours[0].begins:%Y-%m-%d} to {kept.hours[-1].begins:%Y-%m-%d}"

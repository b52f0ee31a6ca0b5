"""The general wind of a sit taken from the forecast that is kept in the country."""

from __future__ import annotations

import datetime as dt

from graylight.country.folder import Country
from graylight.country.forecast import FORECAST, Forecast, read_forecast
from graylight.errors import BadInput
from graylight.plan.model import Plan
from graylight.plan.morning_asked import read_date, read_sit
from graylight.sit.facts import SitKind
from graylight.sky.light import light_of_day

__all__ = ["WORD", "said_wind"]

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

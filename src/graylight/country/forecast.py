"""The forecast kept in a country: hours with wind, air and sky, as a weather service told them; and how old it is."""

from __future__ import annotations

import datetime as dt
import json
from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from graylight.country.folder import Country
from graylight.errors import BadInput

__all__ = ["FORECAST", "Forecast", "Hour", "forecast_text", "read_forecast"]

FORECAST = "forecast.json"
HOUR = dt.timedelta(hours=1)


def _places(digits: int) -> BeforeValidator:
    return BeforeValidator(lambda v: None if v is None else round(float(v), digits) + 0.0)


class _Model(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Hour(_Model):
    """One hour of the forecast; what it does not say is null."""

    begins: dt.datetime = Field(description="UTC")
    wind_from_deg: Annotated[float, _places(0)] | None = Field(
        None, description="where the wind comes from, degrees true"
    )
    wind_ms: Annotated[float, _places(1)] | None = None
    gust_ms: Annotated[float, _places(1)] | None = None
    temperature_c: Annotated[float, _places(1)] | None = None
    cloud: Annotated[float, _places(2)] | None = Field(None, description="part of the sky, 0 to 1")
    rain_chance: Annotated[float, _places(2)] | None = None
    thunder_chance: Annotated[float, _places(2)] | None = None

    def wind_words(self) -> str | None:
        """The wind as `graylight morning --wind` reads it; None where the forecast does not say.

        >>> Hour(begins=dt.datetime(2026, 8, 27, 12, tzinfo=dt.UTC), wind_from_deg=225, wind_ms=3.6).wind_words()
        '225 13km/h'
        """
        if self.wind_ms is None:
            return None
        speed = round(self.wind_ms * 3.6)
        if speed == 0:
            return "calm"
        return None if self.wind_from_deg is None else f"{self.wind_from_deg:.0f} {speed}km/h"


class Forecast(_Model):
    """A forecast for one place in the country."""

    format: Literal["graylight forecast 1"] = "graylight forecast 1"
    source: str
    credit: str
    licence: str
    url: str
    issued: dt.datetime | None = Field(description="when the service made it, UTC")
    fetched: dt.datetime = Field(description="when it was had, UTC")
    lat: Annotated[float, _places(4)]
    lon: Annotated[float, _places(4)]
    height_m: Annotated[float, _places(0)] | None = Field(description="of the ground the forecast is for")
    hours: list[Hour]

    def at(self, time: dt.datetime) -> Hour | None:
        """The hour that a time (with its zone) lies in; None where the forecast does not reach."""
        return next((hour for hour in self.hours if hour.begins <= time < hour.begins + HOUR), None)


def forecast_text(forecast: Forecast) -> str:
    """The forecast as the text of its file."""
    return json.dumps(forecast.model_dump(mode="json"), indent=1, ensure_ascii=False) + "\n"


def read_forecast(country: Country) -> Forecast | None:
    """The forecast kept in a country; None when there is none.

    Raises
    ------
    BadInput
        The file can't be read.
    """
    text = country.read_text(FORECAST)
    if text is None:
        return None
    try:
        return Forecast.model_validate_json(text)
    except ValidationError:
        raise BadInput(
            f"{FORECAST} can't be read; accepted is the file that 'graylight gather' wrote; remove it, or gather the "
            "forecast again"
        ) from None

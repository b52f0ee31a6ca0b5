"""The forecast of the National Weather Service for the middle of the country, brought to plain hours."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator, Mapping
from typing import Any

from graylight.country.forecast import HOUR, Forecast, Hour, forecast_text
from graylight.gather.errand import Errand, Had
from graylight.gather.gate import Refused, Trouble, as_json

__all__ = ["hours_of", "nws", "span"]

LONGEST_H = 24 * 16
LAYERS = {
    "windDirection": "wind_from_deg", "windSpeed": "wind_ms", "windGust": "gust_ms", "temperature": "temperature_c",
    "skyCover": "cloud", "probabilityOfPrecipitation": "rain_chance", "probabilityOfThunder": "thunder_chance",
}  # fmt: skip
UNITS = {"km_h-1": 1 / 3.6, "km/h": 1 / 3.6, "m_s-1": 1.0, "m/s": 1.0, "percent": 0.01, "%": 0.01, "degC": 1.0, "Cel": 1.0,
         "degree_(angle)": 1.0, "degrees_true": 1.0, "deg": 1.0}  # fmt: skip
"""Factors to metres a second, parts and degrees, by the unit's name without its namespace."""


def nws(errand: Errand) -> list[Had]:
    """Ask for the grid of the middle, then for its forecast; keep the hours."""
    service = errand.service
    west, south, east, north = errand.wanted.bounds
    lat, lon = f"{(south + north) / 2:.4f}", f"{(west + east) / 2:.4f}"
    # the service answers 301 to more than four decimals, and to zeros at the end
    lat, lon = lat.rstrip("0").rstrip("."), lon.rstrip("0").rstrip(".")
    point = errand.gate.ask(service, service.url.format(lat=lat, lon=lon), check=_checked(service.title))
    url = as_json(point.body, service.title)["properties"].get("forecastGridData")
    if not isinstance(url, str) or not url.startswith(("http://", "https://")):
        raise Refused(f"{service.title} tells no forecast for this place")
    answer = errand.gate.ask(
        service, url, check=_checked(service.title), fresh_s=float(service.more["fresh_s"])
    )
    told = as_json(answer.body, service.title)["properties"]
    forecast = Forecast(
        source=service.title, credit=service.credit, licence=service.licence, url=url,
        issued=_time(told.get("updateTime")), fetched=dt.datetime.fromisoformat(answer.fetched),
        lat=float(lat), lon=float(lon), height_m=_height(told), hours=hours_of(told),
    )  # fmt: skip
    if not forecast.hours:
        raise Refused(f"{service.title} sent a forecast without hours")
    path = errand.work / "forecast.json"
    path.write_text(forecast_text(forecast), encoding="utf-8")
    first, last = forecast.hours[0].begins, forecast.hours[-1].begins
    date = None if forecast.issued is None else forecast.issued.date().isoformat()
    said = f"hours from {first:%Y-%m-%d %H:%M} to {last:%Y-%m-%d %H:%M} UTC"
    return [Had(path, date, answer.fetched, (service.title, said))]


def _checked(title: str) -> Any:
    def check(body: bytes) -> None:
        given = as_json(body, title)
        if not isinstance(given, dict) or not isinstance(given.get("properties"), dict):
            raise Trouble(f"{title} sent an answer that can't be read")

    return check


def hours_of(told: Mapping[str, Any]) -> list[Hour]:
    """The layers of a grid forecast as hours; a value holds through its whole span."""
    by_hour: dict[dt.datetime, dict[str, float]] = {}
    for layer, column in LAYERS.items():
        for begins, value in _series(told.get(layer)):
            by_hour.setdefault(begins, {})[column] = value
    return [Hour(begins=begins, **by_hour[begins]) for begins in sorted(by_hour)]


def _series(layer: Any) -> Iterator[tuple[dt.datetime, float]]:
    """Hours and values of a layer in our units; nulls and units not known are passed over."""
    if not isinstance(layer, dict) or not isinstance(layer.get("values"), list):
        return
    factor = UNITS.get(str(layer.get("uom") or "").rpartition(":")[2])
    if factor is None:
        return
    for one in layer["values"]:
        value = one.get("value") if isinstance(one, dict) else None
        times = span(str(one.get("validTime"))) if value is not None else None
        if times is None or not isinstance(value, int | float):
            continue
        for number in range(times[1]):
            yield times[0] + number * HOUR, float(value) * factor


def span(text: str) -> tuple[dt.datetime, int] | None:
    """Beginning and length in hours of an ISO 8601 span; None where it can't be read.

    >>> span("2026-08-27T06:00:00+00:00/PT3H")
    (datetime.datetime(2026, 8, 27, 6, 0, tzinfo=datetime.timezone.utc), 3)
    """
    begins, _, length = text.partition("/")
    told = re.fullmatch(r"P(?:(\d{1,3})D)?(?:T(?:(\d{1,3})H)?(?:(\d{1,3})M)?)?", length)
    time = _time(begins)
    if told is None or time is None:
        return None
    days, hours, minutes = (int(n or 0) for n in told.groups())
    many = days * 24 + hours + (minutes > 0)
    return (time.replace(minute=0, second=0, microsecond=0), many) if 0 < many <= LONGEST_H else None


def _time(text: Any) -> dt.datetime | None:
    try:
        time = dt.datetime.fromisoformat(str(text))
    except ValueError:
        return None
    return time.astimezone(dt.UTC) if time.tzinfo is not None else None


def _height(told: Mapping[str, Any]) -> float | None:
    layer = told.get("elevation")
    value = layer.get("value") if isinstance(layer, dict) else None
    return float(value) if isinstance(value, int | float) else None

"""The wind of a sit taken from the forecast kept in the country."""

from __future__ import annotations

import datetime as dt
import shutil

import pytest

from graylight.country.folder import Country
from graylight.country.forecast import FORECAST, Forecast, Hour, forecast_text
from graylight.errors import BadInput
from graylight.plan.forecast_wind import said_wind
from graylight.plan.kept import kept_plan

UTC = dt.UTC


@pytest.fixture(scope="module")
def country(small, tmp_path_factory) -> Country:
    folder = tmp_path_factory.mktemp("forecast") / "country"
    shutil.copytree(small, folder)
    return Country.open(folder)


def with_hours(country: Country, hours: list[Hour]) -> None:
    now = dt.datetime(2026, 8, 26, 18, tzinfo=UTC)
    kept = Forecast(
        source="a service", credit="a service", licence="open", url="http://127.0.0.1/", issued=now, fetched=now,
        lat=40.45, lon=-114.8, height_m=2800.0, hours=hours,
    )  # fmt: skip
    country.write_text(FORECAST, forecast_text(kept))


def test_without_the_word_the_wind_is_as_it_was_said(country):
    plan = kept_plan(country)
    assert said_wind(country, plan, wind=None, date=None) is None
    assert said_wind(country, plan, wind="SW 8mph", date=None) == "SW 8mph"


def test_the_hour_of_usable_light_is_taken_at_dawn_and_of_sunset_at_dusk(country):
    """27 August at 40.45 N 114.8 W: usable light 12:22 UTC, sunset 02:19 UTC (told in the plan)."""
    plan = kept_plan(country)
    begin = dt.datetime(2026, 8, 27, 0, tzinfo=UTC)
    hours = [
        Hour(begins=begin + dt.timedelta(hours=h), wind_from_deg=10.0 * (h % 36), wind_ms=5.0)
        for h in range(48)
    ]
    with_hours(country, hours)
    dawn, dusk = plan.light.usable_from, plan.light.sunset
    for sit, moment in (("dawn", dawn), ("day", dawn), ("dusk", dusk)):
        hour = int((moment - begin).total_seconds() // 3600)
        assert said_wind(country, plan, wind=" Forecast ", date=None, sit=sit) == f"{10 * (hour % 36)} 18km/h"


def test_a_forecast_that_does_not_reach_or_is_not_there_is_said(country):
    plan = kept_plan(country)
    with_hours(
        country, [Hour(begins=dt.datetime(2026, 8, 27, h, tzinfo=UTC), wind_ms=None) for h in range(24)]
    )
    with pytest.raises(
        BadInput, match=r"does not tell the wind for 2026-08-27; accepted are dates from 2026-08-27 to"
    ):
        said_wind(country, plan, wind="forecast", date=None)
    with pytest.raises(BadInput, match="does not tell the wind for 2026-10-01"):
        said_wind(country, plan, wind="forecast", date="2026-10-01")
    country.remove(FORECAST)
    with pytest.raises(BadInput, match=r"the country has no forecast\.json"):
        said_wind(country, plan, wind="forecast", date=None)

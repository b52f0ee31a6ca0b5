"""Camps and water as they are handed over: metres, seconds, degrees; what is not known is null."""

from __future__ import annotations

import datetime as dt
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from graylight.plan.model import Fraction, Place, Whole
from graylight.plan.morning_model import Speed, WaterNear, Wind

__all__ = ["CampFact", "CampPlace", "Camps", "ShutRule", "WaterOf"]


class _Model(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class CampFact(_Model):
    """One fact for or against a place to camp."""

    words: str
    value: Speed | None
    unit: Literal["deg", "m", "s", "1"] | None


class CampPlace(_Model):
    """A place to camp, looked at on paper only."""

    id: str
    place: Place
    height_m: Whole | None
    worth: Fraction = Field(description="for ordering alone")
    reasons: list[CampFact]
    against: list[CampFact]


class WaterOf(_Model):
    """Water soonest fetched from a lookout, by day."""

    lookout: str
    water: list[WaterNear]


class ShutRule(_Model):
    """A rule, the part of the country that it alone shuts out, and the part that passes it."""

    words: str
    alone: Fraction
    passes: Fraction


class Camps(_Model):
    """Places to camp for the lookouts asked for, and water near these."""

    schema_version: Literal["1.1"] = "1.1"
    program: str
    country: str
    invented: bool
    date: dt.date
    lookouts: list[str]
    wind: Wind
    setback_m: Whole = Field(description="from water, as the setting says; local rules go before it")
    camps: list[CampPlace]
    why_none: list[ShutRule] = Field(
        description="where no ground passes all rules: the one to ease first at the head"
    )
    water: list[WaterOf]
    cautions: list[str]
    not_known: list[str]

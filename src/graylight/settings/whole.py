"""All of a country's settings."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any, Literal, Self

from pydantic import Field, field_validator, model_validator

from graylight.settings.air import AirSettings
from graylight.settings.group import Frozen
from graylight.settings.recording import RecordSettings
from graylight.settings.seeing import GlareSettings, OpticsSettings, SightSettings, WatchSettings
from graylight.settings.sitting import SitSettings
from graylight.settings.walking import ApproachSettings, CampSettings, PackSettings, WalkSettings

__all__ = ["Settings"]


class Settings(Frozen):
    """All of a country's settings; the defaults give a plan without a word from the person."""

    animal: str = Field("mule-deer-summer", description="Name of an animal profile.")
    date: dt.date = Field(
        dt.date(2026, 8, 27),
        description="The morning planned for. Never today: the same input gives the same plan.",
    )
    units: Literal["us", "metric"] = Field(
        "us", description="Feet and miles, or metres and kilometres, at the edge."
    )
    lookouts: int = Field(3, ge=1, le=8, description="How many lookouts the best set may have.")
    start: str | None = Field(
        None, description="Where the walk begins (a PLACE); none: the best road end or trailhead."
    )
    legal_minutes: int = Field(
        30,
        ge=-60,
        le=60,
        description="Legal light begins this long before sunrise by the level horizon. Differs by state: check current regulations.",
    )
    usable_light_sun_deg: float = Field(
        -8.0,
        ge=-12.0,
        le=-4.0,
        description="Sun altitude at first usable light through good glass. Proposed default, range -12 to -6.",
    )
    treeline_m: float | None = Field(
        None,
        ge=0.0,
        le=6000.0,
        description="Treeline; none: from the canopy or, without it, by a stated rule from latitude.",
    )
    memory_gb: float = Field(
        2.0,
        ge=0.1,
        le=256.0,
        description="Memory a run may take; larger country is refused before the start.",
    )
    sight: SightSettings = SightSettings()
    optics: OpticsSettings = OpticsSettings()
    glare: GlareSettings = GlareSettings()
    watch: WatchSettings = WatchSettings()
    walk: WalkSettings = WalkSettings()
    air: AirSettings = AirSettings()
    camp: CampSettings = CampSettings()
    approach: ApproachSettings = ApproachSettings()
    pack: PackSettings = PackSettings()
    sit: SitSettings = SitSettings()
    record: RecordSettings = RecordSettings()

    @field_validator("date", mode="before")
    @classmethod
    def _written_out(cls, value: Any) -> Any:
        """A date, or its text; bare numbers would be taken for seconds since 1970."""
        if isinstance(value, str) and re.fullmatch(r"\d{4}-\d{2}-\d{2}", value):
            return dt.date.fromisoformat(value)
        if isinstance(value, dt.date) and not isinstance(value, dt.datetime):
            return value
        raise ValueError("a date is written YYYY-MM-DD")

    @field_validator("date")
    @classmethod
    def _covered(cls, value: dt.date) -> dt.date:
        if not 1900 <= value.year <= 2050:
            raise ValueError("the date must lie in 1900-2050, the span of the ephemeris")
        return value

    @model_validator(mode="after")
    def _together(self) -> Self:
        steep, shut = "watch.seat_slope_deg", "walk.shut_deg"
        self._must(self.watch.seat_slope_deg <= self.walk.shut_deg, steep, "at most", shut)
        return self

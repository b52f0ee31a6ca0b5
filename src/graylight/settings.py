"""What a person can set, with default, allowed range and source. No file is touched here (see country.settings)."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

__all__ = ["Settings", "SightSettings", "WalkSettings", "WatchSettings"]


class _Frozen(BaseModel):
    # strict: `lookouts = 2.5`, `lookouts = true` and `lookouts = "3"` are mistakes, not ways of writing 3
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)

    def _must(self, fine: bool, one: str, words: str, other: str) -> None:
        """See that two settings go together; names with dots lead into groups."""
        if not fine:
            raise ValueError(
                f"{one} is {self._value(one)} and {other} is {self._value(other)}; accepted is {one} {words} {other}; "
                "change one of them, or take both out for the defaults"
            )

    def _value(self, path: str) -> str:
        found: Any = self
        for name in path.split("."):
            found = getattr(found, name)
        return f"{found:g}"


class SightSettings(_Frozen):
    """How sight is reckoned."""

    eye_m: float = Field(
        1.0,
        ge=0.2,
        le=3.0,
        description="Eye above the ground, seated. Common practice: 0.9-1.1 m seated, 1.6 m standing.",
    )
    refraction: float = Field(
        1 / 7,
        ge=0.0,
        le=0.3,
        description="Refraction coefficient k; GDAL's default is 6/7 = 1 - k. Surveying practice 0.13.",
    )
    elevation_error_m: float = Field(
        2.0,
        ge=0.0,
        le=30.0,
        description="Stated error of the elevation: margins inside it are touch-and-go. Value from memory for 10 m grids.",
    )
    thin_closure: float = Field(
        0.1, ge=0.0, le=1.0, description="Canopy closure below which nothing is hidden. Value from memory."
    )
    dense_closure: float = Field(
        0.5,
        ge=0.0,
        le=1.0,
        description="Canopy closure from which a strip is taken as a wall; between the two it may or may not hide. Value from memory.",
    )
    radius_m: float = Field(
        2400.0,
        ge=300.0,
        le=10000.0,
        description="How far from a pocket a lookout may be. Common practice: a mile is usual.",
    )

    @model_validator(mode="after")
    def _together(self) -> Self:
        self._must(self.thin_closure < self.dense_closure, "thin_closure", "below", "dense_closure")
        return self


class WatchSettings(_Frozen):
    """What makes a place good to sit and glass from."""

    best_near_m: float = Field(
        500.0, ge=0.0, le=5000.0, description="Nearer than this a lookout is worth less. Common practice."
    )
    best_far_m: float = Field(
        1600.0,
        ge=100.0,
        le=8000.0,
        description="Farther than this a lookout is worth less. Common practice: about a mile.",
    )
    seat_slope_deg: float = Field(
        25.0, ge=5.0, le=45.0, description="Steepest ground to sit on. Proposed default."
    )
    seat_open_m: float = Field(
        18.0,
        ge=0.0,
        le=60.0,
        description="How far one may shift to see past trees. Common practice: 15-25 m.",
    )
    walk_limit_hours: float = Field(
        3.5, ge=0.25, le=24.0, description="Longest walk in to a lookout. Proposed default."
    )
    settle_minutes: int = Field(
        40, ge=0, le=180, description="In place this long before usable light. Common practice: 30-60 min."
    )

    @model_validator(mode="after")
    def _together(self) -> Self:
        self._must(self.best_near_m <= self.best_far_m, "best_near_m", "at most", "best_far_m")
        return self


class WalkSettings(_Frozen):
    """How the person walks."""

    pace_factor: float = Field(
        1.0, ge=0.3, le=3.0, description="Times longer than the published pace; a measured factor goes here."
    )
    pack_factor: float = Field(
        1.25, ge=1.0, le=2.0, description="Times longer with a day pack. Proposed default: 20-30 % longer."
    )
    dark_factor: float = Field(
        1.25, ge=1.0, le=3.0, description="Times longer in the dark. Proposed default: 25 % longer."
    )
    spread: float = Field(
        0.12,
        ge=0.0,
        le=0.5,
        description="Stated spread of a walking time either way. Irmischer & Clarke 2018: route time within 10 %.",
    )
    scramble_deg: float = Field(
        35.0,
        ge=20.0,
        le=45.0,
        description="Steeper than this is not walked loaded or in the dark. Proposed default.",
    )
    shut_deg: float = Field(
        45.0, ge=30.0, le=60.0, description="Steeper than this is not walked at all. Proposed default."
    )
    private_open: bool = Field(
        False, description="Walk over private holdings. Off unless the owner has said so."
    )

    @model_validator(mode="after")
    def _together(self) -> Self:
        self._must(self.scramble_deg <= self.shut_deg, "scramble_deg", "at most", "shut_deg")
        return self


class Settings(_Frozen):
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
    watch: WatchSettings = WatchSettings()
    walk: WalkSettings = WalkSettings()

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

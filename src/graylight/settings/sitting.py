"""Settings of a sit: when animals leave the open, how long one watches, what spoils a morning."""

from __future__ import annotations

from typing import Any, Self

from pydantic import Field, field_validator, model_validator

from graylight.errors import BadInput
from graylight.settings.group import Frozen
from graylight.wind import NO_WIND, WIND_ACCEPTED, read_wind

__all__ = ["SitSettings"]


class SitSettings(Frozen):
    """The clock of a morning, and what decides about it."""

    wind: str | None = Field(
        None,
        max_length=40,
        description="General wind to reckon with where none is given, such as SW 8 mph; none: calm air, and that is said.",
        json_schema_extra={"accepted": f"{WIND_ACCEPTED}, or empty for none"},
    )
    watch_minutes: int = Field(
        180,
        ge=30,
        le=720,
        description="The watch ends this long after sunrise (without sunrise: after usable light). Common practice, no source.",
    )
    bed_sun_minutes: int = Field(
        45,
        ge=0,
        le=240,
        description="Animals have left for their beds this long after the sun lies on half of the pocket. Common practice, no source.",
    )
    bed_by_minutes: int = Field(
        150,
        ge=30,
        le=600,
        description="They have left by this long after sunrise, sun or not. Common practice, no source; confidence low.",
    )
    evening_minutes: int = Field(
        150,
        ge=30,
        le=720,
        description="At dusk one sits still this long before sunset. Common practice: the last two hours of light, no source.",
    )
    rise_minutes: int = Field(
        120,
        ge=30,
        le=600,
        description="Animals come out to feed this long before sunset at the earliest, or when the sun has left half of the pocket. Common practice, no source; confidence low.",
    )
    scent_care: float = Field(
        0.1,
        ge=0.0,
        le=1.0,
        description="More scent than this (0 to 1) on what is watched calls for care. Proposed default.",
    )
    scent_spoils: float = Field(
        0.25,
        ge=0.0,
        le=1.0,
        description="So much scent on what is watched before the animals have bedded, and it is not this morning. Proposed default.",
    )
    toward_deg: float = Field(
        20.0,
        ge=1.0,
        le=90.0,
        description="A general wind swings: what lies within this of its course is counted as in it. Proposed default.",
    )
    toward_part: float = Field(
        0.2,
        ge=0.0,
        le=1.0,
        description="Air counts as going to a pocket when it goes to more than this part of it. Proposed default.",
    )
    wind_off: float = Field(
        0.25,
        ge=0.0,
        le=0.9,
        description="No one knows the wind to a mile an hour: it is also looked at weaker and stronger by this part. Proposed default.",
    )
    wind_care_ms: float = Field(
        10.8,
        ge=0.0,
        le=60.0,
        description="A general wind from this on calls for care: a strong breeze, Beaufort 6. World Meteorological Organization, Manual on Codes, table 3700, from memory.",
    )
    wind_spoils_ms: float = Field(
        17.2,
        ge=0.0,
        le=80.0,
        description="From this on it is not this morning: a gale, Beaufort 8, impedes walking. The same table, from memory.",
    )
    glass_care: float = Field(
        0.15,
        ge=0.0,
        le=1.0,
        description="The sun in the glass for this part of the time until the animals have bedded calls for care. Proposed default.",
    )
    glass_spoils: float = Field(
        0.5,
        ge=0.0,
        le=1.0,
        description="The sun in the glass for this part of the time until the animals have bedded, and it is not this morning. Proposed default.",
    )
    shade_part: float = Field(
        0.5,
        ge=0.0,
        le=1.0,
        description="A bed lies in shade while at most this part of the sun's beam reaches it. Proposed default.",
    )
    detour_minutes: int = Field(
        20,
        ge=0,
        le=240,
        description="How much longer the way in may take for being noticed less. Proposed default.",
    )

    steep_path_minutes: int = Field(
        10,
        ge=0,
        le=240,
        description="A path across ground steeper than walk.scramble_deg, walked for longer than this in the dark, calls for care. Proposed default.",
    )

    @field_validator("wind", mode="before")
    @classmethod
    def _understood(cls, value: Any) -> Any:
        """A wind that can be read; empty is none."""
        if not isinstance(value, str):
            return value
        words = " ".join(value.split())
        if words.lower() in {"", NO_WIND}:
            return None
        try:
            read_wind(words)
        except BadInput as why:
            raise ValueError(str(why)) from None
        return words

    @model_validator(mode="after")
    def _together(self) -> Self:
        self._must(self.scent_care <= self.scent_spoils, "scent_care", "at most", "scent_spoils")
        self._must(self.wind_care_ms <= self.wind_spoils_ms, "wind_care_ms", "at most", "wind_spoils_ms")
        self._must(self.glass_care <= self.glass_spoils, "glass_care", "at most", "glass_spoils")
        return self

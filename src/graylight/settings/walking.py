"""Settings of walking, of ways in, of carrying out, and of camps."""

from __future__ import annotations

from typing import Self

from pydantic import Field, model_validator

from graylight.settings.group import Frozen

__all__ = ["ApproachSettings", "CampSettings", "PackSettings", "WalkSettings"]


class WalkSettings(Frozen):
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


class ApproachSettings(Frozen):
    """What being seen or smelled on the way counts."""

    seen_weight: float = Field(
        4.0,
        ge=0.0,
        le=100.0,
        description="On the hidden way a minute in full view of the pockets counts as this many minutes more. Proposed default, confidence low.",
    )
    scent_weight: float = Field(
        6.0,
        ge=0.0,
        le=100.0,
        description="The same for a minute from which scent reaches them. Proposed default, confidence low: a seen walker may be taken calmly, a smelled one is not.",
    )
    between: float = Field(
        0.2,
        ge=0.0,
        le=1.0,
        description="Part of both weights for the way in between the quickest and the hidden. Proposed default.",
    )
    seen_dark: float = Field(
        0.3,
        ge=0.0,
        le=1.0,
        description="In the dark being in view counts this much of what it does in the light (skyline, lamp). Proposed default, confidence low.",
    )


class PackSettings(Frozen):
    """Carrying an animal out."""

    people: int = Field(1, ge=1, le=12, description="How many carry.")
    load_kg: float = Field(
        25.0,
        ge=5.0,
        le=60.0,
        description="Most that one person carries at a time, kg. Common practice: 50-60 lb.",
    )
    body_kg: float = Field(
        80.0, ge=40.0, le=160.0, description="Weight of the person who carries, kg. Proposed default."
    )
    more: float = Field(
        0.15,
        ge=0.0,
        le=1.0,
        description="Part that weights in the field come out above the average. Proposed default.",
    )
    hours_limit: float = Field(
        12.0,
        ge=1.0,
        le=72.0,
        description="Longest time from the kill until all of it is at the start, hours; past it a place is vetoed. Proposed default: the first night decides whether the meat cools.",
    )
    terrain_on: float = Field(
        1.1, ge=1.0, le=2.5, description="Pandolf's terrain factor on a path: dirt road. Value from memory."
    )
    terrain_off: float = Field(
        1.3,
        ge=1.0,
        le=2.5,
        description="Pandolf's terrain factor off path: between light brush 1.2 and heavy brush 1.5. Values from memory.",
    )


class CampSettings(Frozen):
    """What makes a place to camp."""

    slope_deg: float = Field(
        8.0, ge=1.0, le=25.0, description="Steepest ground to sleep on, by the grid. Proposed default."
    )
    setback_m: float = Field(
        61.0,
        ge=15.0,
        le=500.0,
        description="Back from lakes and streams. Common practice on public land: 200 ft (61 m); orders range from 100 to 200 ft and more: check local rules.",
    )
    keep_m: float = Field(
        800.0,
        ge=0.0,
        le=5000.0,
        description="Least distance from pockets. Common practice, about half a mile; elk keep 560-880 m from people (Wisdom 2018).",
    )
    shelter_m: float = Field(
        60.0,
        ge=10.0,
        le=500.0,
        description="Trees or brush count as shelter when they stand within this distance. Proposed default.",
    )
    water_minutes: float = Field(
        30.0, ge=1.0, le=240.0, description="Longest walk to water. Proposed default."
    )
    lookout_minutes: float = Field(
        120.0, ge=5.0, le=600.0, description="Longest walk from camp to a lookout. Proposed default."
    )
    scent_limit: float = Field(
        0.1,
        ge=0.0,
        le=1.0,
        description="No camp where more scent than this (0 to 1) would reach a pocket. Proposed default.",
    )
    seen_limit: float = Field(
        0.05,
        ge=0.0,
        le=1.0,
        description="No camp in sight of more than this part of any pocket. Proposed default.",
    )
    apart_m: float = Field(
        500.0, ge=50.0, le=5000.0, description="Camps offered lie this far apart. Proposed default."
    )
    most: int = Field(4, ge=1, le=12, description="How many camps are offered.")

"""Settings of the record: how an outing's effort is reckoned, how evidence fades, when a lookout rests."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from graylight.settings.group import Frozen

__all__ = ["RecordSettings"]


class RecordSettings(Frozen):
    """From what was seen and not seen to the odds."""

    glass_ha_per_hour: float = Field(
        60.0,
        ge=2.0,
        le=2000.0,
        description="Ground that an hour of glassing covers once, hectares (about 150 acres): time is taken as spread evenly over what is in sight of the pockets. Proposed default, confidence low; no published curve was found.",
    )
    least_ha: float = Field(
        10.0,
        ge=0.5,
        le=500.0,
        description="Less ground than this in sight is not covered faster, hectares. Proposed default.",
    )
    wide_power: float = Field(
        15.0,
        ge=8.0,
        le=60.0,
        description="A glass of more than this magnification covers ground more slowly, by as much as its view is narrower. Proposed default.",
    )
    walking_part: float = Field(
        0.3,
        ge=0.0,
        le=1.0,
        description="Part of the ground that someone walking covers in the time of someone sitting. Proposed default.",
    )
    shows: float = Field(
        0.75,
        ge=0.1,
        le=1.0,
        description="Chance that animals that use a pocket show themselves there at all on one outing. Raw helicopter counts of mule deer see 0.45-0.48 of what is there (Zabransky 2016, derived); a watch lasts longer. Proposed default, confidence low.",
    )
    midday: float = Field(
        0.15,
        ge=0.0,
        le=1.0,
        description="How much they are in the open in the middle of the day, beside first light. Common practice, no source: only shaded tree edges are worth watching then.",
    )
    full_minutes: int = Field(
        60,
        ge=0,
        le=360,
        description="They are in the open in full from usable light until this long after sunrise, and as long before sunset. Common practice, no source; `sit.bed_by_minutes` says when they have left.",
    )
    twilight: float = Field(
        0.6,
        ge=0.05,
        le=1.0,
        description="How fast ground is covered between usable light and sunrise, beside daylight. Proposed default, confidence low.",
    )
    fog: float = Field(
        0.15, ge=0.0, le=1.0, description="The same in fog or cloud on the ground. Proposed default."
    )
    fog_m: float = Field(
        1000.0,
        ge=10.0,
        le=10000.0,
        description="Nothing farther off than this is found in fog. In fog one sees less than 1 km: WMO International Cloud Atlas, definition of fog, from memory.",
    )
    wet: float = Field(0.6, ge=0.0, le=1.0, description="The same in rain or snowfall. Proposed default.")
    fade_days: float = Field(
        10.0,
        ge=1.0,
        le=400.0,
        description="After so many days half of what an empty morning or a push said is forgotten: half the logarithm of the factor by which it lowered a pocket, so that the odds go back to the habitat and what was seen. Proposed default, confidence low; the same animals keep to a summer range (Gogan 2019), not to a pocket.",
    )
    seen_fade_days: float = Field(
        10.0,
        ge=1.0,
        le=400.0,
        description="After so many days a sighting, or sign, counts half. Beside a habitat worth as much, what it moved fades slower than that: the more was seen, the slower. Proposed default, confidence low.",
    )
    season_days: int = Field(
        90,
        ge=10,
        le=365,
        description="Sightings older than this, or without a date, count for the basin (`chance.sighting_odds` of the animal), newer ones for the pocket. Proposed default.",
    )
    stray: float = Field(
        0.12,
        ge=0.01,
        le=1.0,
        description="Part of the animals seen that are only passing: they say nothing of where animals live. Proposed default, confidence low.",
    )
    sign_stray: float = Field(
        0.9, ge=0.05, le=1.0, description="The same of fresh sign. Proposed default, confidence low."
    )
    roam: float = Field(
        0.7,
        ge=0.0,
        le=1.0,
        description="Part of the animals seen outside all pockets that live in one of them, on their way or pushed: an animal beside the road does not empty the pockets. Proposed default, confidence low.",
    )
    habitat_worth: float = Field(
        1.0,
        ge=0.1,
        le=20.0,
        description="The habitat's odds are worth so many sightings: the more, the less one sighting moves them. Of 0.5, 1, 1.5 and 2.5 it has the least mean Brier score in simulated seasons of one, two and three groups; confidence low.",
    )
    near_m: float = Field(
        250.0,
        ge=20.0,
        le=2000.0,
        description="An animal this far outside a pocket counts half for it. Proposed default.",
    )
    wanted: Literal["any", "male", "female"] = Field(
        "any",
        description="Which animals the odds are about. A sighting without a sex counts as of the wanted one.",
    )
    other_part: float = Field(
        0.3,
        ge=0.0,
        le=1.0,
        description="How much a sighting of the other sex counts (beside one of the wanted sex). Proposed default.",
    )
    bearing_error_deg: float = Field(
        3.0,
        ge=0.1,
        le=30.0,
        description="Error of a bearing taken with a hand compass, degrees (two times out of three within it). Common practice, no source.",
    )
    distance_error_part: float = Field(
        0.15,
        ge=0.0,
        le=1.0,
        description="Error of a distance judged or ranged, as a part of it. By eye 0.15 to 0.3, a range finder 0.01. Common practice, no source.",
    )
    angle_error_deg: float = Field(
        0.25,
        ge=0.01,
        le=10.0,
        description="Error of an angle above or below the horizontal, degrees: a point picked on the strip. Proposed default.",
    )
    place_error_m: float = Field(
        15.0,
        ge=1.0,
        le=1000.0,
        description="Error of a place given by its coordinates, metres. Common practice for a receiver under trees, no source.",
    )
    rest_days: int = Field(
        3,
        ge=1,
        le=30,
        description="A lookout is as good as before so many days after it was sat at. Common practice, no source.",
    )
    rest_part: float = Field(
        0.75,
        ge=0.0,
        le=1.0,
        description="What the day after is worth beside that: scent and comings and goings. Proposed default.",
    )
    pushed_days: int = Field(
        6,
        ge=1,
        le=60,
        description="A pocket that animals were pushed out of is as good as before after so many days, from any lookout; where nobody knows which pocket it was, the lookout. Common practice, no source.",
    )
    pushed_part: float = Field(
        0.4,
        ge=0.0,
        le=1.0,
        description="What the day after is worth where animals were pushed. Proposed default.",
    )
    pushed_leave: float = Field(
        0.8,
        ge=0.0,
        le=1.0,
        description="Chance that animals pushed out of a pocket have left it, for another by its ways out or for elsewhere. Common practice, no source.",
    )
    pushed_m: float = Field(
        1000.0,
        ge=100.0,
        le=20000.0,
        description="A pocket this much farther from the end of a way out is half as likely to hold them then. Proposed default.",
    )
    near_best: float = Field(
        0.1,
        ge=0.0,
        le=0.5,
        description="Of lookouts whose worth is within this part of the best, the one with the shorter walk is proposed. Proposed default.",
    )
    move_gain: float = Field(
        0.25,
        ge=0.0,
        le=1.0,
        description="Moving in the middle of a morning is proposed from this gain on. Proposed default.",
    )
    learn_sightings: int = Field(
        12,
        ge=5,
        le=200,
        description="Fewer sightings than this teach nothing about the habitat's weights. Proposed default.",
    )
    learn_spread: float = Field(
        0.25,
        ge=0.02,
        le=1.0,
        description="How far a weight may be off before anything was seen, as a part of it: smaller, and it takes more sightings to move it. Proposed default.",
    )
    learn_turns: int = Field(
        4, ge=3, le=50, description="Fewer turns of the air felt than this teach nothing. Proposed default."
    )
    learn_walk_minutes: int = Field(
        60,
        ge=10,
        le=1000,
        description="Less walking than this teaches nothing about the pace. Proposed default.",
    )

    @model_validator(mode="after")
    def _together(self) -> Self:
        self._must(self.rest_days <= self.pushed_days, "rest_days", "at most", "pushed_days")
        self._must(self.pushed_part <= self.rest_part, "pushed_part", "at most", "rest_part")
        self._must(self.stray <= self.sign_stray, "stray", "at most", "sign_stray")
        return self

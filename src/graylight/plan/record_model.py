"""The record as it is handed over: outings, sightings, sign, odds, the next sits, what was learnt.

Conventions as in `graylight.plan.model`: metres, degrees, UTC; what is not known is null.
"""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from graylight.plan.model import Bearing, Fraction, Metres, Place, Share, Whole

__all__ = [
    "AirLearnt",
    "AirRemarks",
    "Better",
    "HabitatLearnt",
    "HoursFor",
    "Learning",
    "LookoutWorth",
    "Move",
    "Moved",
    "Next",
    "OddsTold",
    "OutingTold",
    "OwnWorth",
    "PaceLearnt",
    "PocketOdds",
    "PocketSearched",
    "SightingTold",
    "SignTold",
    "Sit",
    "Weight",
]

RECORD_VERSION: Literal["1.0"] = "1.0"
Hours = Annotated[float, BeforeValidator(lambda v: round(float(v), 2) + 0.0)]
Factor = Annotated[float, BeforeValidator(lambda v: round(float(v), 3) + 0.0)]


class _Model(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class PocketSearched(_Model):
    """What an outing searched of one pocket."""

    pocket: str
    name: str | None
    share: Share = Field(description="part of what uses it that was in sight")
    found: Share = Field(description="chance of having found animals that use it")
    distance_m: Whole = Field(description="to the middle of what was in sight")


class OutingTold(_Model):
    """One outing, and what it searched."""

    schema_version: Literal["1.0"] = RECORD_VERSION
    program: str
    country: str
    timezone: str
    id: int
    lookout: str | None
    place: Place
    began: dt.datetime
    ended: dt.datetime
    glasses: list[str]
    weather: str
    people: int = Field(description="people met")
    pushed: bool = Field(description="whether animals were pushed out")
    wind: str = Field(description="general wind as it was typed; empty where none was")
    air: list[str] = Field(
        description="what was felt of the air: moment (UTC) and which way it moved on the slope"
    )
    track_points: int = Field(description="points of its track; 0 where one sat")
    watched: list[str] = Field(description="pockets that were looked at; empty: all in sight")
    note: str
    twilight_hours: Hours
    day_hours: Hours
    out_hours: Hours = Field(description="hours that count: animals likely in the open; rule of thumb")
    searched: list[PocketSearched] = Field(description="most found first")
    sightings: list[int] = Field(description="numbers of the sightings made on it")
    doubts: list[str] = Field(description="what looks wrong with it, such as times without light")


class SightingTold(_Model):
    """One sighting, and where it lies."""

    schema_version: Literal["1.0"] = RECORD_VERSION
    id: int
    at: dt.datetime | None = Field(description="null where only the date is known")
    date: dt.date | None
    animal: str
    count: int | None
    sex: str
    group: str = Field(description="class, in the person's own words")
    doing: str
    toward_true_deg: Bearing | None
    place: Place
    placed: str = Field(
        description="how: bearing and distance, bearing and angle, strip, coordinates, photo, file"
    )
    distance_m: Whole | None = Field(description="on the ground, from the watcher")
    bearing_true_deg: Bearing | None
    along_m: Metres | None = Field(description="error along the bearing, one standard deviation")
    across_m: Metres | None = Field(description="error across it")
    hidden_m: Metres | None = Field(
        description="how far ground in front stood above the line of sight; null where not looked from a place"
    )
    outing: int | None
    counts: bool = Field(description="whether it is of the plan's animal; others do not move the odds")
    pocket: str | None = Field(description="the pocket it lies in, or counts for most; null: none")
    belongs: Fraction = Field(description="to which degree")
    note: str
    photo: str | None
    same_as: int | None = Field(
        default=None,
        description="number of one kept before of the same animals at the same place and time, if any",
    )
    dark: bool = Field(
        False, description="whether its time has no usable light: a slip of the clock, most likely"
    )


AGE_WORDS = {"fresh": "fresh", "days": "days old", "old": "old", "last season": "of last season"}
"""What the age of sign is called when it is told."""


class SignTold(_Model):
    """Sign found, or a trail drawn."""

    schema_version: Literal["1.0"] = RECORD_VERSION
    id: int
    kind: str
    age: str
    at: dt.datetime | None
    date: dt.date | None
    place: Place
    pocket: str | None
    belongs: Fraction
    outing: int | None
    note: str
    trace: bool = Field(
        description="a line in the table traces, which the animal ways use; else a row of sign"
    )


class Moved(_Model):
    """How one piece of evidence moved one pocket's odds."""

    date: dt.date
    by: str = Field(description="outing 3, sighting 2, sign 1")
    before: Fraction
    after: Fraction


class PocketOdds(_Model):
    """The odds of one pocket."""

    id: str
    name: str | None
    rank: int
    prior: Fraction = Field(description="by the habitat alone")
    chance: Share = Field(description="now; low and high by how much of it may have been in sight")
    searched: Fraction = Field(
        description="chance that the searches so far would have found what is there, faded"
    )
    sureness: Literal["animals seen", "well searched", "partly searched", "little searched", "not searched"]
    why: list[str]
    history: list[Moved] = Field(description="what moved it by a hundredth or more, oldest first")


class OddsTold(_Model):
    """Where the animals likely are."""

    schema_version: Literal["1.0"] = RECORD_VERSION
    program: str
    country: str
    invented: bool
    animal: str
    date: dt.date
    timezone: str
    outings: int
    sightings: int
    sign: int
    fade_days: Hours = Field(
        description="after so many days half of what an empty morning or a push said is forgotten"
    )
    seen_fade_days: Hours = Field(description="after so many days a sighting or sign counts half")
    pockets: list[PocketOdds] = Field(description="likeliest first")
    elsewhere: Share
    elsewhere_prior: Fraction
    rows: list[str] = Field(description="every entry in one line, oldest first, with its number")
    left_out: list[str]
    not_known: list[str]


class Move(_Model):
    """A move in the middle of a morning."""

    to: str
    at: dt.datetime = Field(description="when to get up")
    walk_seconds: Whole
    found: Fraction = Field(description="chance of finding with the move")


class Sit(_Model):
    """One morning of the row."""

    date: dt.date
    lookout: str
    place: Place
    found: Fraction = Field(description="chance that it finds what no earlier one did")
    watch: list[PocketSearched] = Field(description="what it searches, most found first")
    walk_seconds: Whole | None
    leave_by: dt.datetime | None = Field(description="by the slow end of the range")
    usable_from: dt.datetime
    until: dt.datetime
    wind: str = Field(
        description="general wind of that morning, as typed or forecast; 'calm' where none was given"
    )
    wind_given: bool
    rest: Fraction = Field(
        description="what it is worth beside a rested lookout, where no animals were pushed from what it watches"
    )
    scent: Fraction = Field(description="part of what it watches that its scent spoils; rule of thumb")
    move: Move | None
    why: list[str]


class LookoutWorth(_Model):
    """What one lookout would give."""

    lookout: str
    first_hour: Fraction = Field(description="chance found in the first hour of light")
    morning: Fraction = Field(
        description="chance found on a whole morning, rested or not as it is on the first date"
    )
    walk_seconds: Whole | None
    scent: Fraction
    rest: Fraction
    why_not: str | None = Field(description="what speaks against it most; null for the one proposed first")


class OwnWorth(_Model):
    """What a place of the person's own would give; see `LookoutWorth`."""

    name: str = Field(description="name of the mark for glassing, or which outing watched from there")
    place: Place
    first_hour: Fraction = Field(description="chance found in the first hour of light")
    morning: Fraction = Field(description="chance found on a whole morning, on the first date")
    walk_seconds: Whole | None = Field(description="null where it is not reckoned, or over the limit")
    scent: Fraction
    rest: Fraction
    watch: list[PocketSearched] = Field(description="what it searches, most found first")


class HoursFor(_Model):
    """Time that one pocket would get, were every hour spent where it is worth most."""

    pocket: str
    name: str | None
    hours: Hours


class Better(_Model):
    """The proposed row beside plainer ones: chance of finding over all mornings."""

    proposed: Fraction
    equal: Fraction = Field(description="the lookouts in turn, the mean over which comes first")
    ranked: Fraction = Field(description="every morning where the best-ranked pocket shows best")


class Next(_Model):
    """Where the mornings left are worth most."""

    schema_version: Literal["1.0"] = RECORD_VERSION
    program: str
    country: str
    invented: bool
    animal: str
    timezone: str
    wind: str = Field(
        description="of all mornings, with semicolons between where they differ; 'calm' where none was given"
    )
    wind_given: bool = Field(description="whether any of them was given")
    wind_as_set: bool = Field(
        False, description="whether it is the setting sit.wind, none having been given with the question"
    )
    glasses: list[str]
    sits: list[Sit]
    lookouts: list[LookoutWorth] = Field(description="best for the first morning first")
    own: list[OwnWorth] = Field(
        default=[],
        description="places of the person's own in reach on foot, weighed as lookouts are; no part of `sits`",
    )
    hours: list[HoursFor] = Field(description="most first")
    better: Better
    out_of_sight: list[str] = Field(
        description="pockets with a chance worth having that no kept lookout shows"
    )
    seen_from_own: list[str] = Field(
        description="those of them that some outing had in sight from elsewhere: a place worth adding as a lookout"
    )
    in_view: Fraction = Field(description="chance that they use a pocket that some kept lookout shows")
    out_of_view: Fraction = Field(description="chance that they use one that none shows")
    newer_than_plan: bool = Field(
        description="whether the record holds more than the plan's lookouts were chosen by: plan again"
    )
    elsewhere: Fraction
    outings: int = Field(description="how many outings the odds rest on")
    sightings: int
    sign: int
    proved: bool = Field(description="whether every row of sits was looked at")
    cautions: list[str]
    not_known: list[str]


class PaceLearnt(_Model):
    """The walking pace from tracks."""

    before: Factor = Field(description="walk.pace_factor in use")
    after: Factor | None = Field(description="measured; null where there is too little")
    low: Factor | None
    high: Factor | None
    walks: int
    minutes: Whole = Field(description="walked, rests left out")
    needed_minutes: Whole


class AirLearnt(_Model):
    """The lag of a turn of the air after the sun, from turns that were felt."""

    before: Factor = Field(description="the setting in use, minutes")
    after: Factor | None = Field(description="learnt; null where too few turns were felt")
    low: Factor | None = Field(description="least that was felt")
    high: Factor | None
    turns: int
    needed: int


class AirRemarks(_Model):
    """How what was felt of the air goes with the air as it is reckoned by the settings in use."""

    count: int = Field(description="remarks of up or down")
    agree: int
    against: int = Field(
        description="the rest fell into hours that are reckoned unreliable, or the air goes across"
    )


class Weight(_Model):
    """One weight of the animal's profile, before and after."""

    name: str = Field(description="pocket.weight_...")
    before: Factor
    after: Factor
    spread: Factor = Field(description="how far it may still be off, one standard deviation")


class HabitatLearnt(_Model):
    """The pockets' weights from sightings against what was in sight and searched."""

    sightings: int
    needed: int
    pockets: int = Field(description="pockets that were searched")
    weights: list[Weight] = Field(description="empty where there is too little, or nothing new")
    nothing_new: bool = Field(
        default=False, description="there is enough, and no weight moves by a hundredth"
    )


class Learning(_Model):
    """What the record says of the settings in use. Nothing is changed by telling it."""

    schema_version: Literal["1.0"] = RECORD_VERSION
    program: str
    country: str
    animal: str
    pace: PaceLearnt
    air: AirLearnt = Field(description="air.up_slope_minutes, after the first sun")
    evening_air: AirLearnt = Field(description="air.down_slope_minutes, after the last sun")
    air_remarks: AirRemarks
    habitat: HabitatLearnt
    used: list[str] = Field(description="what was asked to be put to use now, and where it was written")

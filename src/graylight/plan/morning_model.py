"""A sit as it is handed over: one timeline, a verdict with its reasons, the ways, lookouts by wind, a calendar.

Conventions as in `graylight.plan.model`: metres, degrees, UTC; what is not known is null.
"""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from graylight.plan.model import Bearing, Degrees6, Fraction, Light, Place, Share, Start, Whole

__all__ = [
    "AirThen", "BedShade", "ByWind", "CalendarDay", "Carry", "Happening", "Hours", "Met", "Morning", "MorningPocket",
    "MorningWay", "NearSeat", "Option", "OtherWay", "ProfilePoint", "Reason", "Scent", "ScentOn", "WaterNear", "Wind",
]  # fmt: skip

Verdict = Literal["good", "with care", "not this morning"]
Speed = Annotated[float, BeforeValidator(lambda v: round(float(v), 1) + 0.0)]


class _Model(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, defer_build=True)


class Hours(_Model):
    """From one moment to another."""

    begin: dt.datetime
    until: dt.datetime


class Wind(_Model):
    """The general wind that was given."""

    said: str = Field(description="as it was typed; 'calm' where none was given")
    given: bool
    as_set: bool = Field(
        False, description="whether it is the setting sit.wind, none having been given with the question"
    )
    from_true_deg: Bearing | None
    speed_ms: Speed


class ScentOn(_Model):
    """A pocket that scent reaches, and how much of it. Rule of thumb."""

    pocket: str
    share: Fraction


class ProfilePoint(_Model):
    """One point of a way's profile."""

    along_m: Whole
    height_m: Whole
    seconds: Whole


class Met(_Model):
    """A junction or water on a way."""

    words: str
    seconds: Whole
    along_m: Whole
    place: Place


class OtherWay(_Model):
    """One of the ways between the start and the lookout, in walking order."""

    kind: Literal["quickest", "between", "hidden", "out"]
    seconds: Whole
    distance_m: Whole
    climb_m: Whole
    fall_m: Whole
    steepest_deg: Bearing
    on_trail: Fraction
    seen_minutes: Whole | None
    scented_minutes: Whole | None
    hazards: list[str]
    meets: list[Met] = Field(description="junctions and water, in walking order")
    profile: list[ProfilePoint] = Field(description="at most 60 points, both ends among them")
    line: list[list[Degrees6]] = Field(description="[lon, lat] in walking order")


class WaterNear(_Model):
    """Water to be fetched from the lookout, by day."""

    kind: Literal["lake", "stream", "spring", "inferred stream"]
    sure: bool = Field(description="false: it may be dry")
    place: Place
    there_seconds: Whole
    back_seconds: Whole


class Carry(_Model):
    """Carrying an animal out from the middle of a pocket to the start."""

    weight_kg: Speed
    people: int
    trips: int
    each_kg: Speed
    loaded_seconds: Whole | None = Field(description="one walk out under a load; null: no way")
    hours: Speed | None = Field(description="dressing, every trip out and the walks in between; null: no way")
    hours_high: Speed | None
    hours_limit: Speed
    veto: str | None = Field(description="why it can't be done in time; null where it can")
    dark: bool = Field(default=False, description="whether it is carried in the dark, as after a sit at dusk")


class MorningWay(_Model):
    """The way in that is advised."""

    kind: Literal["quickest", "between", "hidden"]
    start: Start
    leave_by: dt.datetime | None = Field(description="by the slow end of the range")
    seconds: Whole
    seconds_low: Whole
    seconds_high: Whole
    quickest_seconds: Whole
    back_seconds: Whole | None = Field(description="the way out, at the hour at which the sit ends")
    dark: bool = Field(default=True, description="whether it is walked in the dark; else by day")
    back_in_dark: bool = Field(default=False, description="whether the way out is walked in the dark")
    distance_m: Whole
    climb_m: Whole
    fall_m: Whole
    steepest_deg: Bearing
    seen_minutes: Whole | None = Field(description="walking time in view of pockets, if anything looks up")
    scented_minutes: Whole | None = Field(
        description="walking time from which scent reaches what is watched; rule of thumb"
    )
    line: list[list[Degrees6]] = Field(description="[lon, lat] from the start")
    hazards: list[str]
    turn_round_by: dt.datetime | None = Field(
        default=None,
        description="on the way in, wherever one is: to be back by civil dusk, or at dusk as planned; rule of thumb",
    )
    scent_on: list[ScentOn] = Field(
        default=[],
        description="pockets that scent from this way reaches, by following the air; rule of thumb",
    )


class Happening(_Model):
    """One line of the timeline."""

    at: dt.datetime
    until: dt.datetime | None
    kind: str = Field(description="leave, passes, settled, usable light, ... (docs/morning.md lists all)")
    of: str | None = Field(description="id of the pocket or bed it is about")
    words: str = Field(description="what is met on the way in; else empty")
    rule_of_thumb: bool


class Reason(_Model):
    """One fact for or against the morning."""

    kind: str = Field(description="scent, clean air, sun in the glass, ... (docs/morning.md lists all)")
    severity: Literal[0, 1, 2] = Field(description="0 speaks for it, 1 calls for care, 2 speaks against it")
    size: Fraction
    of: str | None
    begin: dt.datetime | None
    until: dt.datetime | None


class Scent(_Model):
    """How much of a pocket the air from the lookout reaches at a moment. Rule of thumb."""

    at: dt.datetime
    share: Fraction
    doubtful: bool


class BedShade(_Model):
    """A bed and the hours in which it lies in shade, of ground or timber."""

    id: str
    shaded: list[Hours]


class MorningPocket(_Model):
    """A pocket in sight."""

    id: str
    name: str | None
    share: Share
    distance_m: Whole
    bearing_true_deg: Bearing
    bearing_magnetic_deg: Bearing | None
    weight: Fraction = Field(description="part of all that is watched this morning")
    sun_from: dt.datetime | None = Field(description="direct sun on a tenth of the ground used at dawn")
    sun_half: dt.datetime | None = Field(description="direct sun on half of it")
    glass: list[Hours] = Field(description="the sun stands in the glass")
    moves: Hours | None = Field(description="likely moves to bed, at dawn or for the day; rule of thumb")
    scent: list[Scent]
    beds: list[BedShade]
    sun_left: dt.datetime | None = Field(default=None, description="direct sun leaves half of it for the day")
    comes: Hours | None = Field(
        default=None, description="likely comes to feed, at dusk or for the day; rule of thumb"
    )
    carry: Carry | None = Field(default=None, description="null where no start is known")


class AirThen(_Model):
    """The air at the lookout at a moment. Rule of thumb."""

    at: dt.datetime
    toward_true_deg: Bearing | None
    speed_ms: Speed
    strength: str
    mover: str
    doubt: str


class Option(_Model):
    """A kept lookout by the air at dawn. Rule of thumb."""

    lookout: str
    worth: Fraction
    scent: Fraction = Field(description="share of what it watches that its air reaches at dawn, in this wind")
    scent_calm: Fraction = Field(description="the same with no general wind")
    blown_at: list[str] = Field(description="pockets in sight that the general wind blows at from there")
    leave_by: dt.datetime | None = Field(description="by the quickest way, slow end of the range")
    start: str | None
    close: list[str] = Field(
        default=[], description="pockets in sight that air would go to in a wind a little weaker or stronger"
    )
    other_at: list[str] = Field(
        default=[],
        description="pockets in sight that its air goes to at another hour of the animals' in the open",
    )
    other: dt.datetime | None = Field(
        default=None,
        description="that hour: 90 min from sunrise, or before sunset at dusk; of the lookout asked for the first found",
    )


class NearSeat(_Model):
    """Another place to sit within 600 m of the lookout."""

    kind: Literal["nearer", "higher", "other side"]
    place: Place
    distance_m: Whole
    height_change_m: Whole
    walk_change_seconds: Whole | None = Field(description="of the walk in; negative: shorter")
    worth_change: Speed | None = Field(
        description="what shows from there against the lookout, by chance and distance: 0.2 is a fifth more; null: not known"
    )


class ByWind(_Model):
    """The lookouts that keep clean in winds from some sides, best first. Rule of thumb."""

    winds: list[str] = Field(description="points of the compass the wind blows from, N, NE, ...")
    lookouts: list[str] = Field(description="at most three; none: none of the kept lookouts is clean")


class CalendarDay(_Model):
    """One date of the span."""

    date: dt.date
    usable_from: dt.datetime | None
    sunrise: dt.datetime | None
    sun_half: dt.datetime | None = Field(description="sun on half of the pocket watched most")
    leave_by: dt.datetime | None
    verdict: Verdict | None = Field(description="null where there is no morning to plan")
    decides: list[Reason]
    against: Fraction | None = Field(
        default=None, description="the sizes of all that calls for care or speaks against it, at most 1"
    )
    open_minutes: Whole | None = Field(
        default=None,
        description="how long the animals of the pocket watched most are likely out in the light; rule of thumb",
    )


class Morning(_Model):
    """A sit at one lookout, at dawn, dusk or for the day: when to leave, what happens when, and whether it is worth it."""

    schema_version: Literal["1.3"] = "1.3"
    program: str
    country: str
    invented: bool
    animal: str
    date: dt.date
    sit: Literal["dawn", "dusk", "day"] = "dawn"
    timezone: str
    lookout: str
    place: Place
    wind: Wind
    light: Light
    verdict: Verdict
    decides: list[Reason] = Field(description="the (at most) two facts that decide")
    reasons: list[Reason] = Field(description="all of them, gravest first")
    way: MorningWay | None
    ways: list[OtherWay] = Field(
        default=[], description="quickest, between, hidden and out; where nothing is noticed they are alike"
    )
    water: list[WaterNear] = Field(
        default=[],
        description="soonest fetched from the lookout, and where that may be dry the soonest that is sure",
    )
    timeline: list[Happening]
    air: list[AirThen]
    pockets: list[MorningPocket]
    also_scented: list[str] = Field(description="pockets out of sight that the lookout's air reaches at dawn")
    options: list[Option] = Field(description="the kept lookouts, best for this wind first")
    near: list[NearSeat] = Field(
        default=[], description="nearer to the start, higher, over the crest: what each gains and loses"
    )
    by_wind: list[ByWind] = Field(
        default=[], description="the kept lookouts by eight winds of one speed at the hour that decides"
    )
    sheltered: list[str] = Field(
        default=[],
        description="kept lookouts at which, by the rules, none of these winds is felt: a little more wind may be",
    )
    by_wind_ms: Speed | None = Field(default=None, description="that speed, as a forecast says it")
    calendar: list[CalendarDay] = Field(default=[], description="sampled dates, where a span was asked for")
    cautions: list[str]
    not_known: list[str]

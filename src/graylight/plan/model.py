"""The plan as it is handed over: versioned, documented, the same bytes for the same input.

Heights and distances in metres, areas in square metres, angles in degrees, times in UTC. What could not be
known is null and named in `not_known`. Floats are rounded to stated places so that bytes repeat.
"""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal, TypeAlias

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

__all__ = [
    "SCHEMA_VERSION",
    "Approach",
    "Band",
    "Basin",
    "Clear",
    "CountryFacts",
    "Crossing",
    "GlassServes",
    "LayerFact",
    "Light",
    "Look",
    "Lookout",
    "LookoutSet",
    "Mark",
    "MarkSeen",
    "Peak",
    "Place",
    "Plan",
    "Pocket",
    "Reason",
    "RecordUsed",
    "Saddle",
    "Seen",
    "Sees",
    "Share",
    "SightLine",
    "Spot",
    "Start",
    "Watch",
    "WatchSeat",
    "WaterPlace",
    "WayOut",
]

SchemaVersion: TypeAlias = Literal["1.0", "1.1"]
"""Those that are read; see docs/plan.md, Versions."""
SCHEMA_VERSION: Literal["1.1"] = "1.1"
"""The one that is written."""


def _places(digits: int) -> BeforeValidator:
    return BeforeValidator(lambda v: None if v is None else round(float(v), digits) + 0.0)


Degrees6 = Annotated[float, _places(6)]
Metres = Annotated[float, _places(1)]
Bearing = Annotated[float, _places(1)]
Fraction = Annotated[float, _places(3)]
Whole = Annotated[float, _places(0)]


class _Model(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, defer_build=True)


class Place(_Model):
    """A point on the ground, WGS 84, height above the elevation's own datum."""

    lat: Degrees6
    lon: Degrees6
    height_m: Metres | None = None


class Share(_Model):
    """Part of what uses a pocket that can be seen: sum(w s) / sum(w), with its low and high."""

    low: Fraction = Field(description="all touch-and-go ground taken as blocked")
    likely: Fraction = Field(description="touch-and-go ground counted half")
    high: Fraction = Field(description="all touch-and-go ground taken as clear")


class Reason(_Model):
    """One fact behind a score."""

    fact: str = Field(description="name of the fact, e.g. 'feed'")
    value: Annotated[float, _places(3)] | None = Field(description="the fact's own value")
    unit: str = Field(description="unit of the value; '1' for a suitability in [0, 1]")
    worth: Fraction | None = Field(
        description="what it adds: suitability in [0, 1] with which it entered the score"
    )
    words: str = Field(description="the fact in plain words")


class LayerFact(_Model):
    """A layer the plan rests on."""

    name: str
    source: str
    date: str | None = Field(description="date of the data, where known")
    resolution_m: Metres | None
    done: list[str] = Field(description="what was done to it on entry")
    licence: str | None = Field(None, description="on which terms it may be used, where known")
    credit: str | None = Field(None, description="whom to name wherever it is shown, where known")
    surface: bool = Field(False, description="heights of tree tops and roofs, not of the ground")


class CountryFacts(_Model):
    """The ground under study."""

    name: str
    invented: bool = Field(description="true for the invented range: it does not exist")
    crs: str
    cell_m: Metres
    rows: int
    cols: int
    west: Degrees6
    south: Degrees6
    east: Degrees6
    north: Degrees6
    area_km2: Annotated[float, _places(2)]
    lowest_m: Metres
    highest_m: Metres
    timezone: str
    layers: list[LayerFact]


class Band(_Model):
    """The elevation belt worked at this season, from local relief; soft edges."""

    low_m: Metres
    centre_m: Metres
    high_m: Metres
    tops_m: Metres = Field(description="mean height of the local tops from which it hangs")
    rule: str


class Peak(_Model):
    """A top with its prominence; lesser tops that only part saddles come after the peaks."""

    id: str
    name: str | None
    place: Place
    prominence_m: Metres
    at_least: bool = Field(
        description="true where the key saddle lies beyond the edge: the prominence is a lower bound"
    )
    key_saddle: Place | None


class Saddle(_Model):
    """The lowest way between two tops."""

    id: str
    name: str | None
    place: Place
    between: list[str] = Field(description="ids of the two tops it parts; the higher first")
    below_m: Metres = Field(description="how far it lies below the lower of the two tops")


class Basin(_Model):
    """A bowl: ground ringed by a rim over most of the horizon, draining one way."""

    id: str
    name: str | None
    place: Place
    area_m2: Whole
    opens_true_deg: Bearing = Field(description="azimuth of the open side")
    ringed: Fraction = Field(description="part of the horizon that is rim")
    rim_m: Metres = Field(description="mean height of the rim above the floor")


class Spot(_Model):
    """A place in a pocket where animals feed, bed or cross."""

    id: str
    kind: Literal["feed", "bed", "crossing"]
    place: Place
    suitability: Fraction
    area_m2: Whole | None = None
    words: str


class Crossing(Spot):
    """A place where ways between feed and beds bundle."""

    form: Literal["saddle", "ledge", "narrows", "open"]
    alternates: list[Place] = Field(description="where they cross if not here, likeliest first")


class WayOut(_Model):
    """A way the animals take when pushed."""

    place: Place
    over: str = Field(description="what it leads over or into: a saddle, a crest, timber")
    climb_m: Metres
    distance_m: Whole
    bearing_true_deg: Bearing


class WaterPlace(_Model):
    """Water near a pocket."""

    place: Place
    kind: str
    sure: bool = Field(description="false for small or inferred water: may be dry")
    distance_m: Whole


class Pocket(_Model):
    """A piece of country where feed and beds lie within reach of each other."""

    id: str
    rank: int
    name: str | None
    score: Fraction
    chance: Fraction = Field(
        description="chance that the animals wanted use it: the habitat's, moved by the record where there is one; the "
        "rest is elsewhere"
    )
    prior: Fraction | None = Field(
        default=None, description="the habitat's chance alone, where the record moved it; else null"
    )
    confidence: Literal["low", "fair", "good"]
    centre: Place
    area_m2: Whole
    outline: list[list[list[Degrees6]]] = Field(description="rings of [lon, lat], outer ring first")
    feed: list[Spot]
    beds: list[Spot]
    crossings: list[Crossing]
    first_light: list[Spot] = Field(description="likeliest places at first light, likeliest first")
    ways_out: list[WayOut]
    water: list[WaterPlace]
    reasons: list[Reason]
    shut: str | None = Field(
        description="why it is shown but not ranked (private, closed, dropped by the person), else null"
    )
    own: bool = Field(default=False, description="the person added, redrew or accepted it")


class Seen(_Model):
    """One place of a pocket as seen from a lookout."""

    spot: str = Field(description="id of the spot")
    kind: Literal["feed", "bed", "crossing"]
    answer: Literal["seen", "doubtful", "hidden"]
    margin_m: Metres = Field(
        description="how far the sight line clears the ground in the way; negative: blocked by that much"
    )
    light: Share | None = Field(
        default=None, description="what the foliage on the line lets through, 1: all; 0 behind ground"
    )
    why: str
    distance_m: Whole
    bearing_true_deg: Bearing
    bearing_magnetic_deg: Bearing | None


class GlassServes(_Model):
    """What a glass serves at a pocket's distance, in the air of first usable light."""

    glass: str
    find: Literal["yes", "in doubt", "no"] = Field(description="see that an animal is there")
    tell_apart: Literal["yes", "in doubt", "no"] = Field(description="tell what it is")
    judge: Literal["yes", "in doubt", "no"] = Field(description="make out the finest detail that matters")


NOTHING = 0.03
"""A share whose high end is under this is told as nothing, by sentences, maps and strips alike. Proposed default."""


class Sees(_Model):
    """What a lookout sees of one pocket."""

    pocket: str
    share: Share
    distance_m: Whole = Field(description="to the middle of what is seen, or of the pocket where nothing is")
    bearing_true_deg: Bearing
    bearing_magnetic_deg: Bearing | None = Field(description="null outside the span of the magnetic model")
    down_deg: Bearing = Field(description="angle below the horizontal; negative: looking up")
    places: list[Seen]
    squareness: Fraction | None = Field(
        default=None,
        description="how squarely the ground in sight faces the lookout: 1 straight on, near 0 edge on; null when none is",
    )
    glasses: list[GlassServes] = Field(
        default=[], description="which glass serves for what, naked eye first; empty when nothing is in sight"
    )

    @property
    def shows(self) -> bool:
        """Whether anything of it is told, drawn or labelled as in sight."""
        return self.share.high >= NOTHING


class Lookout(_Model):
    """A place to sit and glass from."""

    id: str
    place: Place
    height_m: Metres
    worth: Fraction = Field(description="chance-weighted share of all pockets, likely")
    hides: list[str] = Field(description="what it can't see, said first")
    sees: list[Sees]
    reasons: list[Reason]
    walk_seconds: Whole | None = Field(description="walking time from the best start, day pack, by dark")
    name: str | None = Field(default=None, description="what the person calls it; null where they named none")
    own: bool = Field(default=False, description="the person added, moved or accepted it")


class LookoutSet(_Model):
    """The best set of k lookouts; where the person has lookouts of their own, those and the best beside them."""

    k: int
    lookouts: list[str]
    covered: Fraction = Field(
        description="chance-weighted share seen from at least one, by the worth of its distance and no more than the "
        "quick answer gives"
    )
    bound: Fraction = Field(
        description="no set of k lookouts anywhere in the country covers more by that measure"
    )
    gap: Fraction = Field(description="(bound - covered) / bound")
    shortlist_gap: Fraction = Field(
        description="the solver's own gap over the shortlist; 0: proved best of it"
    )


class Start(_Model):
    """Where a walk begins."""

    name: str
    kind: Literal["road end", "trailhead", "given", "edge"]
    place: Place


class Approach(_Model):
    """The way on foot to a lookout."""

    lookout: str
    start: Start
    seconds: Whole = Field(description="with a day pack, in the dark")
    seconds_low: Whole
    seconds_high: Whole
    distance_m: Whole
    climb_m: Whole
    fall_m: Whole
    steepest_deg: Bearing
    on_trail: Fraction = Field(description="part of the distance on trails or roads")
    leave_by: dt.datetime | None = Field(
        description="UTC, by the slow end of the range; null when there is no usable light"
    )
    back_seconds: Whole | None = Field(
        description="the way back, with a day pack, in the dark; null when there is none"
    )
    line: list[list[float]] = Field(description="[lon, lat, height_m]")
    hazards: list[str]


class Light(_Model):
    """The light of the day by the almanac's level horizon, UTC; null where the sun does not pass that altitude."""

    date: dt.date
    timezone: str
    nautical_dawn: dt.datetime | None
    civil_dawn: dt.datetime | None
    usable_from: dt.datetime | None
    legal_from: dt.datetime | None
    sunrise: dt.datetime | None
    noon: dt.datetime
    sunset: dt.datetime | None
    legal_until: dt.datetime | None
    usable_until: dt.datetime | None
    civil_dusk: dt.datetime | None
    nautical_dusk: dt.datetime | None
    declination_deg: Bearing | None = Field(
        description="magnetic declination, east positive; null outside WMM2025's span"
    )
    declination_model: str | None


class RecordUsed(_Model):
    """What of the record the chances rest on."""

    until: dt.date = Field(description="the day for which they are reckoned, UTC")
    outings: int
    sightings: int = Field(description="of this season and this animal; older ones count for the basin")
    sign: int
    elsewhere: Fraction = Field(description="chance that the animals wanted use none of the pockets")
    elsewhere_prior: Fraction = Field(description="the same by the habitat alone")
    left_out: list[str] = Field(description="what did not count, and why")


class Plan(_Model):
    """Chosen pockets, lookouts, approaches and light, with what is not known."""

    schema_version: SchemaVersion = SCHEMA_VERSION
    program: str
    animal: str
    country: CountryFacts
    band: Band
    peaks: list[Peak]
    saddles: list[Saddle]
    basins: list[Basin]
    pockets: list[Pocket]
    lookouts: list[Lookout]
    sets: list[LookoutSet]
    approaches: list[Approach]
    light: Light
    edits_applied: list[str]
    record: RecordUsed | None = Field(
        default=None, description="what the person recorded and the chances rest on; null where nothing was"
    )
    nothing_found: list[str] = Field(
        default=[], description="why there is no pocket or no lookout, in words; empty where there are"
    )
    cautions: list[str]
    not_known: list[str]


class Clear(_Model):
    """Cells of a view by answer."""

    clear: int
    touch_and_go: int
    blocked: int


class SightLine(_Model):
    """One line of sight, drawn out."""

    place: Place = Field(description="what is looked at: an animal's back there")
    distance_m: Whole = Field(description="over the ground, on the map")
    straight_m: Whole = Field(description="from eye to target")
    bearing_true_deg: Bearing
    bearing_magnetic_deg: Bearing | None
    up_deg: Bearing = Field(description="angle at which it appears; negative: looking down")
    answer: Literal["seen", "doubtful", "hidden"]
    margin_m: Metres | None = Field(
        description="by how much it clears the ground in front of it; negative: hidden; null when nothing stands between"
    )
    closest_m: Whole | None = Field(
        description="how far out the ground stands that decides; null when none does"
    )
    rise_m: Metres | None = Field(
        description="how much higher the eye would have to be to see it over the ground; null behind unknown ground"
    )
    light: Share = Field(description="what the foliage on the line lets through, 1: all")
    picture: str | None = Field(
        default=None, description="file name of the line's picture, when one was drawn"
    )


class Look(_Model):
    """What can be seen from one place."""

    schema_version: Literal["1.1"] = SCHEMA_VERSION
    program: str
    country: str
    place: Place
    slope_deg: Bearing
    facing_true_deg: Bearing | None
    cover: str
    cells: Clear
    sees: list[Sees]
    walk_seconds: Whole | None
    cautions: list[str]
    not_known: list[str]
    picture: str | None = Field(description="file name of the map of what shows, when one was drawn")
    strip: str | None = Field(
        default=None, description="file name of the view as a strip, when one was drawn"
    )
    line: SightLine | None = Field(
        default=None, description="the line of sight to another place, when one was asked for"
    )
    lies_in: str | None = Field(default=None, description="id of the pocket that the place lies in")


class Mark(_Model):
    """A place that someone wants to watch."""

    name: str
    place: Place
    seen_from_m2: Whole = Field(description="ground one can sit on from which at least half of it shows")
    why_none: str | None = Field(default=None, description="why there is no such ground; null where there is")


class MarkSeen(_Model):
    """One mark as seen from a seat."""

    mark: str
    share: Share = Field(description="of the ground within 25 m of the mark, foliage counted")
    distance_m: Whole
    bearing_true_deg: Bearing
    bearing_magnetic_deg: Bearing | None


class WatchSeat(_Model):
    """A seat from which marks can be watched."""

    place: Place
    hides: list[str] = Field(description="marks of which less than half shows, said first")
    sees: list[MarkSeen]
    slope_deg: Bearing | None
    walk_seconds: Whole | None = Field(description="walking time from the best start, day pack, by dark")


class Watch(_Model):
    """From where some marks can be seen, within a distance."""

    schema_version: Literal["1.1"] = SCHEMA_VERSION
    program: str
    country: str
    marks: list[Mark]
    within_m: Whole
    eye_m: Metres
    all_m2: Whole = Field(description="ground one can sit on from which every mark shows")
    most: int = Field(description="how many marks count as most of them")
    most_m2: Whole = Field(description="ground one can sit on from which most of the marks show")
    seats: list[WatchSeat] = Field(description="best first: by how many marks, then by how much and how far")
    cautions: list[str]
    not_known: list[str]
    raster: str | None = Field(
        default=None, description="file name of the raster: how many marks show from each cell one can sit on"
    )
    picture: str | None = Field(default=None, description="file name of the picture, when one was drawn")

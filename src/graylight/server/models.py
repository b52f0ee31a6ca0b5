"""What the server answers, as it is documented (see docs/http.md). Metres, degrees true, UTC, WGS 84."""

from __future__ import annotations

import datetime as dt
from typing import Any, Literal

from pydantic import BaseModel, Field

from graylight.plan.model import Place, Sees, Share, SightLine

__all__ = [
    "CountryKey", "CountryNow", "Feature", "Features", "FromHere", "Held", "JobTold", "LayerNow", "Line", "Near",
    "Note", "Now", "PhotoTold", "Picture", "PocketShare", "Profile", "Quick", "Ramp", "SettingsNow", "Walk",
]  # fmt: skip


class CountryNow(BaseModel):
    """The open country."""

    key: str = Field(description="as GET /api/countries has it: names may be alike, keys are not")
    name: str
    opening: int = Field(
        description="sent back as the header Country-Opening with what is written for this country"
    )
    invented: bool
    bounds: list[float] = Field(description="west, south, east, north, degrees")
    center: list[float] = Field(description="lon, lat")
    crs: str
    cell_m: float
    timezone: str
    lowest_m: float | None
    highest_m: float | None


class SettingsNow(BaseModel):
    """Settings that the page shows; all of them as `all`."""

    animal: str
    date: dt.date
    units: Literal["us", "metric"]
    start: str | None
    lookouts: int
    all: dict[str, Any]


class Ramp(BaseModel):
    """Colours from low to high, evenly spaced."""

    low: float
    high: float
    ends: list[str]
    cyclic: bool
    colours: list[str]


class Held(BaseModel):
    """One entry of a key."""

    value: float | None
    words: str
    colour: str


class LayerNow(BaseModel):
    """A layer of the map that can be shown now."""

    name: str
    title: str
    group: str
    unit: str
    tiles: str = Field(description="address with {z}/{x}/{y}; what `needs` names is added to its query")
    needs: list[str]
    ramp: Ramp | None
    legend: list[Held]
    lines: list[Held]


class JobTold(BaseModel):
    """A job."""

    id: str
    kind: str
    words: str
    state: Literal["waiting", "running", "done", "failed", "stopped"]
    fraction: float
    problem: str | None
    result: dict[str, Any]


class Now(BaseModel):
    """The state of everything."""

    program: str
    country: CountryNow
    settings: SettingsNow
    animals: list[str]
    glasses: list[str]
    revision: int
    planned: str | None = Field(description="short name of the plan; null where there is none")
    stale: bool = Field(description="whether the person said something after the plan was made")
    undo: str | None
    redo: str | None
    layers: list[LayerNow]
    attribution: list[str]
    jobs: list[JobTold]


class Note(BaseModel):
    """A paragraph of the notes."""

    heading: str | None
    run_in: bool
    close: bool
    sentences: list[str]
    about: str | None = Field(description="id of the pocket or lookout it is about")


class PhotoTold(BaseModel):
    """What a photo says of itself; null where it says nothing."""

    lon: float | None = Field(description="where the camera stood")
    lat: float | None
    when: str | None = Field(description="by the country's clock, YYYY-MM-DD HH:MM:SS")
    bearing_deg: float | None = Field(description="which way it looked")
    north: Literal["true", "magnetic"]


class Feature(BaseModel):
    """A GeoJSON feature (RFC 7946)."""

    type: Literal["Feature"] = "Feature"
    id: str | int | None = None
    geometry: dict[str, Any] | None
    properties: dict[str, Any]


class Features(BaseModel):
    """A GeoJSON feature collection (RFC 7946)."""

    type: Literal["FeatureCollection"] = "FeatureCollection"
    features: list[Feature]


class Walk(BaseModel):
    """Walking time from the best start, with a day pack in the dark."""

    likely: float
    low: float
    high: float


class Near(BaseModel):
    """Something near a place."""

    kind: str
    id: str | None
    name: str | None
    distance_m: float
    bearing_true_deg: float
    bearing_magnetic_deg: float | None


class FromHere(BaseModel):
    """What a place is, and what it sees."""

    place: Place
    texts: dict[str, str] = Field(description="the place as degrees, minutes, utm and usng")
    slope_deg: float | None
    facing_true_deg: float | None
    facing_words: str | None
    cover: str | None
    walk_seconds: Walk | None
    ownership: list[dict[str, Any]]
    sees: list[Sees]
    words: list[Note]
    near: list[Near]


class Picture(BaseModel):
    """A picture and where its corners lie: top left, top right, bottom right, bottom left, each lon, lat."""

    png: str = Field(description="data URL")
    corners: list[list[float]]


class PocketShare(BaseModel):
    """How much of a pocket is seen."""

    pocket: str
    share: Share
    distance_m: float
    bearing_true_deg: float


class Quick(BaseModel):
    """The answer while a lookout is dragged."""

    place: Place
    sees: list[PocketShare]
    picture: Picture


class Profile(BaseModel):
    """A line of sight, drawn out: heights in metres by distance; null where not known."""

    distance_m: list[float]
    ground_m: list[float | None]
    canopy_m: list[float | None]
    sight_m: list[float]


class Line(BaseModel):
    """A line between two places."""

    line: SightLine
    profile: Profile
    ground_m: float = Field(description="along the lie of the ground")
    map_m: float = Field(description="on the map")
    air_m: float = Field(description="straight from eye to target")
    angle_deg: float
    closest: list[float] | None = Field(description="lon, lat where the line is decided")
    words: list[str]


class CountryKey(BaseModel):
    """A country that can be opened."""

    key: str
    name: str
    invented: bool
    open: bool
    box: list[float] | None = Field(default=None, description="a box that was kept, with no country made yet")

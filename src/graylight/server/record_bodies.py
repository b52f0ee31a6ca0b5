"""What is said of the record and what is answered: outings, sightings, sign, the odds and the next mornings."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import Annotated, TypeAlias

from pydantic import BaseModel, ConfigDict, Field

from graylight.errors import BadInput
from graylight.grid import LonLat
from graylight.plan.notebook import GivenOuting
from graylight.plan.record import Fix
from graylight.plan.record_model import Next, OddsTold, OutingTold, SightingTold, SignTold
from graylight.plan.sighted import GivenSighting, GivenSign
from graylight.plan.sign_corrected import CorrectedSign
from graylight.server import horizon
from graylight.server.models import Note

__all__ = [
    "BY_PHOTO", "Kept", "NextAnswer", "OddsAnswer", "OutingKept", "OutingPut", "OutingSaid", "Pixel", "SightingKept",
    "SightingSaid", "SignKept", "SignPut", "SignSaid", "Spot", "corrected_sign", "given_outing", "given_sighting", "given_sign",
    "in_our_words",
]  # fmt: skip

Text: TypeAlias = Annotated[str, Field(max_length=120)]
Words: TypeAlias = Annotated[str, Field(max_length=2000)]
Angle: TypeAlias = Annotated[float, Field(allow_inf_nan=False)]
Number: TypeAlias = Annotated[int, Field(ge=1, le=2**53)]
Photo: TypeAlias = Annotated[str, Field(max_length=60, description="a name that POST /api/photos gave")]
BY_PHOTO = "photo: where the camera stood", "photo, direction and distance"
"""How a sighting was placed by a photo: at its own place, or from it. As the command says it."""


class Spot(BaseModel):
    """A place, WGS 84."""

    model_config = ConfigDict(extra="forbid")
    lon: Annotated[float, Field(ge=-180.0, le=180.0, allow_inf_nan=False)]
    lat: Annotated[float, Field(ge=-90.0, le=90.0, allow_inf_nan=False)]

    def lonlat(self) -> LonLat:
        """As the plan has it."""
        return LonLat(self.lon, self.lat)


class Pixel(BaseModel):
    """A point of the drawn view: in pixels of the picture of that width."""

    model_config = ConfigDict(extra="forbid")
    x: Annotated[float, Field(ge=0.0, le=10_000.0, allow_inf_nan=False)]
    y: Annotated[float, Field(ge=0.0, le=10_000.0, allow_inf_nan=False)]
    width: Annotated[int, Field(ge=horizon.LEAST_PX, le=horizon.MOST_PX)] = 1000


class OutingPut(BaseModel):
    """What is put right of an outing, or said beside its track; what is not said stays, and empty words are no words."""

    model_config = ConfigDict(extra="forbid")
    where: Text | Spot | None = Field(
        default=None, description="id of a lookout, a place as it is typed, or lon and lat"
    )
    begin: Text | None = Field(default=None, description="by the country's clock, or with an offset")
    until: Text | None = None
    glass: Text | None = None
    weather: Text | None = None
    watched: Text | None = Field(
        default=None, description="ids of pockets with commas between; all in sight if empty"
    )
    people: Annotated[int, Field(ge=0, le=10_000)] | None = None
    pushed: bool | None = None
    wind: Text | None = None
    air: Text | None = None
    note: Words | None = None


class OutingSaid(OutingPut):
    """A time of watching; clock times are the country's, or have an offset."""

    where: Text | Spot = Field(description="id of a lookout, a place as it is typed, or lon and lat")
    begin: Text
    until: Text


class SightingSaid(BaseModel):
    """Animals seen: at a place, or from one by bearing and distance or angle, or by a point of the drawn view."""

    model_config = ConfigDict(extra="forbid")
    at: Text | Spot | None = None
    seen_from: Text | Spot | None = None
    bearing_deg: Angle | None = None
    true_north: bool = False
    bearing_error_deg: Annotated[float, Field(gt=0.0, le=45.0)] | None = None
    distance: Text | None = Field(default=None, description="with its unit, such as 1200yd")
    distance_error: Text | None = None
    up_deg: Angle | None = None
    strip: Pixel | None = None
    when: Text | None = None
    outing: Number | None = None
    count: Annotated[int, Field(ge=1, le=10_000)] | None = None
    animal: Text | None = None
    sex: Text | None = None
    group: Text | None = None
    doing: Text | None = None
    toward: Angle | None = None
    note: Words | None = None
    photo: Photo | None = None
    by_photo: bool = Field(default=False, description="the place is that of the photo")


class SignPut(BaseModel):
    """What is put right of sign; what is not said stays."""

    model_config = ConfigDict(extra="forbid")
    at: Text | Spot | None = None
    kind: Text | None = None
    age: Text | None = None
    when: Text | None = None
    outing: Number | None = None
    note: Words | None = None
    photo: Photo | None = None


class SignSaid(SignPut):
    """Sign found at a place; or a trail, by the places of its course."""

    line: Annotated[list[Spot], Field(min_length=2, max_length=2000)] | None = None
    kind: Text = "tracks"


class Kept(BaseModel):
    """What was kept, its sentences, and the revision that it came with."""

    revision: int
    undo: str | None
    notes: list[Note]


class OutingKept(Kept):
    """An outing, and what it searched."""

    outing: OutingTold


class SightingKept(Kept):
    """A sighting, and where it lies."""

    sighting: SightingTold


class SignKept(Kept):
    """Sign, and where it lies."""

    sign: SignTold


class OddsAnswer(BaseModel):
    """The odds, and their sentences."""

    odds: OddsTold
    notes: list[Note]


class NextAnswer(BaseModel):
    """Where to sit on the mornings left, and why."""

    next: Next
    notes: list[Note]


def given_outing(said: OutingPut, *, track: tuple[Fix, ...] = (), put_right: bool = False) -> GivenOuting:
    """An outing as the record takes it; where one is put right, empty words take away what stood there."""
    words: Callable[[str | None], str | None] = (lambda one: one) if put_right else (lambda one: one or None)
    where = said.where
    if isinstance(where, Spot):
        where = f"{where.lat:.6f}, {where.lon:.6f}"
    return GivenOuting(
        where=where or None, begin=said.begin or None, end=said.until or None, glasses=said.glass or None,
        weather=said.weather or None, people=said.people, pushed=said.pushed, wind=words(said.wind), air=words(said.air),
        watched=words(said.watched), note=said.note, track=track,
    )  # fmt: skip


def given_sighting(said: SightingSaid) -> GivenSighting:
    """A sighting as the record takes it."""
    placed = None
    if said.by_photo:
        placed = BY_PHOTO[0] if said.at is not None else BY_PHOTO[1]
    return GivenSighting(
        at=_place(said.at), seen_from=_place(said.seen_from), bearing_deg=said.bearing_deg, true_north=said.true_north,
        bearing_error_deg=said.bearing_error_deg, distance=said.distance or None, distance_error=said.distance_error or None,
        up_deg=said.up_deg, when=said.when or None, animal=said.animal or None, count=said.count, sex=said.sex or None,
        group=said.group, doing=said.doing, toward=said.toward, outing=said.outing, note=said.note, photo=said.photo,
        placed=placed,
    )  # fmt: skip


def corrected_sign(said: SignPut) -> CorrectedSign:
    """What of sign is put right."""
    return CorrectedSign(
        _place(said.at), said.kind or None, said.age or None, said.when or None, said.outing, said.note, said.photo
    )  # fmt: skip


def given_sign(said: SignSaid) -> GivenSign:
    """Sign as the record takes it."""
    return GivenSign(
        _place(said.at), said.kind, said.age or None, said.when or None, said.outing, said.note, said.photo
    )  # fmt: skip


def _place(said: str | Spot | None) -> str | LonLat | None:
    return said.lonlat() if isinstance(said, Spot) else (said or None)


OPTIONS = {
    "from": "begin or seen_from", "lookout": "where", "at": "where or at", "bearing": "bearing_deg", "up": "up_deg",
    "class": "group", "change": "'put it right'", "remove": "'take it away'", "true": "true_north", "track": "a track",
}  # fmt: skip
"""Options of the commands by what they are called here."""


@contextmanager
def in_our_words(names: Mapping[str, str]) -> Iterator[None]:
    """Let what is refused name the fields of the body, not the options of the command.

    Parameters
    ----------
    names
        What options are called in this body, before `OPTIONS`.
    """
    known = {**OPTIONS, **names}
    try:
        yield
    except BadInput as error:
        plain = re.sub(r"--([a-z][a-z-]*)", lambda m: known.get(m[1], m[1].replace("-", "_")), str(error))
        if plain == str(error):
            raise
        raise type(error)(plain) from None

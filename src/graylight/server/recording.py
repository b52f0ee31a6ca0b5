"""Paths of the record: outings, sightings and sign said; the odds, and where the next mornings are worth most."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from typing import Annotated, Any, TypeAlias

from fastapi import APIRouter, Query
from pydantic import BaseModel, ConfigDict, Field

from graylight.errors import BadInput
from graylight.grid import LonLat
from graylight.plan.morning_asked import read_date
from graylight.plan.next_sit import MOST_MORNINGS, next_sits
from graylight.plan.next_sit import Asked as NextAsked
from graylight.plan.notebook import GivenOuting, Notebook, open_notebook
from graylight.plan.odds_told import tell_odds
from graylight.plan.record_model import Next, OddsTold, OutingTold, SightingTold, SignTold
from graylight.plan.sighted import GivenSighting, GivenSign, add_sighting, add_sign, add_trace, watcher
from graylight.server import asking, horizon
from graylight.server.desk import Desk
from graylight.server.judging import heavy
from graylight.server.models import Note
from graylight.server.notes import notes_of
from graylight.server.opened import Opened
from graylight.telling import record as telling

__all__ = ["router"]

router = APIRouter(dependencies=[asking.Meant])
STRIP_ERROR_DEG = 0.3
"""How far off a point picked on the drawn view may be; proposed, as for the command."""
Text: TypeAlias = Annotated[str, Field(max_length=120)]
Words: TypeAlias = Annotated[str, Field(max_length=2000)]
Angle: TypeAlias = Annotated[float, Field(allow_inf_nan=False)]
Number: TypeAlias = Annotated[int, Field(ge=1, le=2**53)]


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


class OutingSaid(BaseModel):
    """A time of watching; clock times are the country's, or have an offset."""

    model_config = ConfigDict(extra="forbid")
    where: Text | Spot = Field(description="id of a lookout, a place as it is typed, or lon and lat")
    begin: Text
    until: Text
    glass: Text | None = None
    weather: Text | None = None
    watched: Text | None = Field(default=None, description="ids of pockets with commas between; all in sight")
    people: Annotated[int, Field(ge=0, le=10_000)] | None = None
    pushed: bool | None = None
    wind: Text | None = None
    air: Text | None = None
    note: Words | None = None


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


class SignSaid(BaseModel):
    """Sign found at a place; or a trail, by the places of its course."""

    model_config = ConfigDict(extra="forbid")
    at: Text | Spot | None = None
    line: Annotated[list[Spot], Field(min_length=2, max_length=2000)] | None = None
    kind: Text = "tracks"
    age: Text | None = None
    when: Text | None = None
    outing: Number | None = None
    note: Words | None = None


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


@router.post("/outings", status_code=201)
def outing(desk: asking.The, said: OutingSaid) -> OutingKept:
    """Record a time of watching; what it searched is worked out and told."""
    opened, book = _book(desk)
    given = GivenOuting(
        where=_typed(said.where), begin=said.begin, end=said.until, glasses=said.glass or None, weather=said.weather,
        people=said.people, pushed=said.pushed, wind=said.wind or None, air=said.air or None,
        watched=said.watched or None, note=said.note,
    )  # fmt: skip
    with _in_our_words({"from": "begin", "lookout": "where", "at": "where"}):
        told = book.add_outing(given)
    notes = notes_of(telling.tell_outing(told, opened.country.settings.units))
    return OutingKept(**_after(desk), notes=notes, outing=told)


@router.post("/sightings", status_code=201)
def sighting(desk: asking.The, said: SightingSaid) -> SightingKept:
    """Record animals seen; they are put on the ground, with how far off that may be."""
    opened, book = _book(desk)
    given = GivenSighting(
        at=_place(said.at), seen_from=_place(said.seen_from), bearing_deg=said.bearing_deg, true_north=said.true_north,
        bearing_error_deg=said.bearing_error_deg, distance=said.distance or None, distance_error=said.distance_error or None,
        up_deg=said.up_deg, when=said.when or None, animal=said.animal or None, count=said.count, sex=said.sex or None,
        group=said.group or None, doing=said.doing or None, toward=said.toward, outing=said.outing, note=said.note,
    )  # fmt: skip
    with _in_our_words({"from": "seen_from", "bearing": "bearing_deg", "up": "up_deg", "class": "group"}):
        if said.strip is not None:
            given = _by_the_strip(opened, book, given, said.strip)
        told = add_sighting(book, given)
    notes = notes_of(telling.tell_sighting(told, book.timezone, opened.country.settings.units))
    return SightingKept(**_after(desk), notes=notes, sighting=told)


@router.post("/sign", status_code=201)
def sign(desk: asking.The, said: SignSaid) -> SignKept:
    """Record sign found, or a trail that animals use."""
    opened, book = _book(desk)
    at = _place(said.at)
    with _in_our_words({}):
        if said.line is not None:
            told = add_trace(book, [one.lonlat() for one in said.line], said.note)
        elif at is not None:
            told = add_sign(
                book, GivenSign(at, said.kind, said.age, said.when or None, said.outing, said.note)
            )
        else:
            raise BadInput(
                "it is not said where; accepted is at, a place, or line, a trail's course; give one"
            )
    notes = notes_of(telling.tell_sign(told, book.timezone, opened.country.settings.units))
    return SignKept(**_after(desk), notes=notes, sign=told)


@router.get("/odds")
def odds(desk: asking.The, date: asking.Day | None = None) -> OddsAnswer:
    """Where the animals likely are, by habitat and record, and why."""
    opened, book = _book(desk)
    day = None if date is None else read_date(date, "date")

    def told() -> OddsAnswer:
        with heavy:
            found = tell_odds(book, day)
        return OddsAnswer(odds=found, notes=notes_of(telling.tell_odds(found, opened.country.settings.units)))

    key = ("odds", book.rows.revision(), day)
    answer: OddsAnswer = opened.answers.get(key, told)
    return answer


@router.get("/next")
def next_mornings(
    desk: asking.The,
    mornings: Annotated[int, Query(ge=1, le=MOST_MORNINGS)] = 3,
    date: asking.Day | None = None,
    wind: Annotated[str | None, Query(max_length=40)] = None,
    glass: Annotated[str | None, Query(max_length=80)] = None,
) -> NextAnswer:
    """Where the mornings left are worth most, and why."""
    opened, book = _book(desk)
    asked = NextAsked(
        mornings, None if date is None else read_date(date, "date"), wind or None, glass or None
    )

    def told() -> NextAnswer:
        with heavy:
            found = next_sits(book, asked)
        return NextAnswer(next=found, notes=notes_of(telling.tell_next(found, opened.country.settings.units)))

    key = ("next", book.rows.revision(), asked)
    with _in_our_words({}):
        answer: NextAnswer = opened.answers.get(key, told)
    return answer


def _book(desk: Desk) -> tuple[Opened, Notebook]:
    """The open country and its record.

    Raises
    ------
    NoPlan
        There is no plan: the record hangs on its pockets.
    """
    opened = desk.opened
    plan, ready = opened.must_plan(), opened.ready
    book: Notebook = opened.once("book", lambda: open_notebook(opened.as_planned, plan, ready=ready))
    return opened, book


def _after(desk: Desk) -> dict[str, Any]:
    """Tell the pages; what every answer of something kept says."""
    return {"revision": desk.changed(settings=False), "undo": desk.rows.can_undo()}


def _place(said: str | Spot | None) -> str | LonLat | None:
    return said.lonlat() if isinstance(said, Spot) else (said or None)


def _typed(said: str | Spot) -> str:
    """A place as people type it."""
    return f"{said.lat:.6f}, {said.lon:.6f}" if isinstance(said, Spot) else said


def _by_the_strip(opened: Opened, book: Notebook, given: GivenSighting, pixel: Pixel) -> GivenSighting:
    """A sighting by the direction of a point of the view drawn from the watcher's place."""
    bearing, up = horizon.direction_at(opened, watcher(book, given), pixel.width, pixel.x, pixel.y)
    return replace(
        given, bearing_deg=bearing, true_north=True, up_deg=up, distance=None, bearing_error_deg=STRIP_ERROR_DEG,
        placed="strip",
    )  # fmt: skip


@contextmanager
def _in_our_words(names: Mapping[str, str]) -> Iterator[None]:
    """Let what is refused name the fields of the body, not the options of the command."""
    try:
        yield
    except BadInput as error:
        plain = re.sub(r"--([a-z][a-z-]*)", lambda m: names.get(m[1], m[1].replace("-", "_")), str(error))
        if plain == str(error):
            raise
        raise BadInput(plain) from None

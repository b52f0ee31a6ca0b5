"""Paths of the record: outings, sightings and sign said; the odds, and where the next mornings are worth most."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Any, TypeAlias

from fastapi import APIRouter, Query
from pydantic import Field

from graylight.plan.morning_asked import read_date
from graylight.plan.next_sit import MOST_MORNINGS, next_sits
from graylight.plan.next_sit import Asked as NextAsked
from graylight.plan.notebook import Notebook, open_notebook
from graylight.plan.odds_told import tell_odds
from graylight.plan.sighted import GivenSighting, add_sighting, add_sign, add_trace, watcher
from graylight.server import asking, horizon
from graylight.server.desk import Desk
from graylight.server.judging import heavy
from graylight.server.notes import notes_of
from graylight.server.opened import Opened
from graylight.server.record_bodies import (
    NextAnswer,
    OddsAnswer,
    OutingKept,
    OutingSaid,
    Pixel,
    SightingKept,
    SightingSaid,
    SignKept,
    SignSaid,
    given_outing,
    given_sighting,
    given_sign,
    in_our_words,
)  # fmt: skip
from graylight.telling import record as telling

__all__ = ["OUTING_NAMES", "SIGHTING_NAMES", "after", "book_of", "placed_given", "router"]

router = APIRouter(dependencies=[asking.Meant])
STRIP_ERROR_DEG = 0.3
"""How far off a point picked on the drawn view may be; proposed, as for the command."""
DaysOff: TypeAlias = Annotated[
    tuple[Annotated[str, Field(pattern=r"^\d{4}-\d{2}-\d{2}$")], ...],
    Query(max_length=60, description="days on which nobody goes out; may be given again"),
]
OUTING_NAMES = {"from": "begin", "at": "where"}
SIGHTING_NAMES = {"from": "seen_from", "at": "at"}
"""What options of the commands are called in the bodies."""


@router.post("/outings", status_code=201)
def outing(desk: asking.The, said: OutingSaid) -> OutingKept:
    """Record a time of watching; what it searched is worked out and told."""
    opened, book = book_of(desk)
    with in_our_words(OUTING_NAMES):
        told = book.add_outing(given_outing(said))
    notes = notes_of(telling.tell_outing(told, opened.country.settings.units))
    return OutingKept(**after(desk), notes=notes, outing=told)


@router.post("/sightings", status_code=201)
def sighting(desk: asking.The, said: SightingSaid) -> SightingKept:
    """Record animals seen; they are put on the ground, with how far off that may be."""
    opened, book = book_of(desk)
    with in_our_words(SIGHTING_NAMES):
        told = add_sighting(book, placed_given(opened, book, said))
    notes = notes_of(telling.tell_sighting(told, book.timezone, opened.country.settings.units))
    return SightingKept(**after(desk), notes=notes, sighting=told)


@router.post("/sign", status_code=201)
def sign(desk: asking.The, said: SignSaid) -> SignKept:
    """Record sign found, or a trail that animals use."""
    opened, book = book_of(desk)
    with in_our_words({"at": "at"}):
        if said.line is not None:
            told = add_trace(book, [one.lonlat() for one in said.line], said.note)
        else:
            told = add_sign(book, given_sign(said))
    notes = notes_of(telling.tell_sign(told, book.timezone, opened.country.settings.units))
    return SignKept(**after(desk), notes=notes, sign=told)


@router.get("/odds")
def odds(desk: asking.The, date: asking.Day | None = None) -> OddsAnswer:
    """Where the animals likely are, by habitat and record, and why."""
    opened, book = book_of(desk)
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
    wind: Annotated[str | None, Query(max_length=200)] = None,
    glass: Annotated[str | None, Query(max_length=80)] = None,
    off: DaysOff = (),
) -> NextAnswer:
    """Where the mornings left are worth most, and why."""
    opened, book = book_of(desk)
    asked = NextAsked(
        mornings, None if date is None else read_date(date, "date"), wind or None, glass or None,
        tuple(sorted({read_date(day, "off") for day in off})),
    )  # fmt: skip

    def told() -> NextAnswer:
        with heavy:
            found = next_sits(book, asked)
        return NextAnswer(next=found, notes=notes_of(telling.tell_next(found, opened.country.settings.units)))

    key = ("next", book.rows.revision(), asked)
    with in_our_words({}):
        answer: NextAnswer = opened.answers.get(key, told)
    return answer


def book_of(desk: Desk) -> tuple[Opened, Notebook]:
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


def after(desk: Desk, *, settings: bool = False) -> dict[str, Any]:
    """Tell the pages; what every answer of something kept says."""
    return {"revision": desk.changed(settings=settings), "undo": desk.rows.can_undo()}


def placed_given(opened: Opened, book: Notebook, said: SightingSaid) -> GivenSighting:
    """A sighting as it was said, by the direction of a point of the drawn view where one was picked.

    Raises
    ------
    BadInput
        It is not said from where the view was drawn.
    """
    given = given_sighting(said)
    return given if said.strip is None else _by_the_strip(opened, book, given, said.strip)


def _by_the_strip(opened: Opened, book: Notebook, given: GivenSighting, pixel: Pixel) -> GivenSighting:
    """A sighting by the direction of a point of the view drawn from the watcher's place."""
    bearing, up = horizon.direction_at(opened, watcher(book, given), pixel.width, pixel.x, pixel.y)
    return replace(
        given, bearing_deg=bearing, true_north=True, up_deg=up, distance=None, bearing_error_deg=STRIP_ERROR_DEG,
        placed="strip",
    )  # fmt: skip

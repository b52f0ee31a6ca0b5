"""Paths that put the record right or take something of it away: all that hangs on it is worked out from the rows anew."""

from __future__ import annotations

from typing import Annotated, Literal, TypeAlias

from fastapi import APIRouter, Path

from graylight.errors import BadInput
from graylight.plan.notebook import Notebook
from graylight.plan.sighted import change_sighting
from graylight.plan.sign_corrected import change_sign
from graylight.server import asking
from graylight.server.desk import Desk
from graylight.server.models import Note
from graylight.server.notes import notes_of
from graylight.server.opened import Opened
from graylight.server.problems import NotThere
from graylight.server.record_bodies import (
    Kept,
    OutingKept,
    OutingPut,
    SightingKept,
    SightingSaid,
    SignKept,
    SignPut,
    corrected_sign,
    given_outing,
    in_our_words,
)  # fmt: skip
from graylight.server.recording import OUTING_NAMES, SIGHTING_NAMES, after, book_of, placed_given
from graylight.telling import record as telling

__all__ = ["router"]

router = APIRouter(dependencies=[asking.Meant])
Id: TypeAlias = Annotated[int, Path(ge=1, le=2**63 - 1)]
Table: TypeAlias = Literal["outings", "sightings", "sign"]
NAMES: dict[Table, str] = {"outings": "outing", "sightings": "sighting", "sign": "sign"}


@router.patch("/outings/{id}")
def outing(desk: asking.The, id: Id, said: OutingPut) -> OutingKept:
    """Put an outing right; what it searched is worked out anew."""
    opened, book = _there(desk, "outings", id)
    with in_our_words(OUTING_NAMES):
        told = book.change_outing(id, given_outing(said, put_right=True))
    notes = notes_of(telling.tell_outing(told, opened.country.settings.units))
    return OutingKept(**after(desk), notes=notes, outing=told)


@router.patch("/sightings/{id}")
def sighting(desk: asking.The, id: Id, said: SightingSaid) -> SightingKept:
    """Put a sighting right; with a new bearing, distance or place it is put on the ground anew."""
    opened, book = _there(desk, "sightings", id)
    book.record()  # refuses what a newer version wrote
    if said.outing is not None:
        book.outing(said.outing)
    with in_our_words(SIGHTING_NAMES):
        told = change_sighting(book, id, placed_given(opened, book, said))
    notes = notes_of(telling.tell_sighting(told, book.timezone, opened.country.settings.units))
    return SightingKept(**after(desk), notes=notes, sighting=told)


@router.patch("/sign/{id}")
def sign(desk: asking.The, id: Id, said: SignPut) -> SignKept:
    """Put sign right."""
    opened, book = _there(desk, "sign", id)
    with in_our_words({"at": "at"}):
        told = change_sign(book, id, corrected_sign(said))
    notes = notes_of(telling.tell_sign(told, book.timezone, opened.country.settings.units))
    return SignKept(**after(desk), notes=notes, sign=told)


@router.delete("/outings/{id}")
def no_outing(desk: asking.The, id: Id) -> Kept:
    """Take an outing away; what was seen on it stays, by its own place and time."""
    return _away(desk, "outings", id)


@router.delete("/sightings/{id}")
def no_sighting(desk: asking.The, id: Id) -> Kept:
    """Take a sighting away."""
    return _away(desk, "sightings", id)


@router.delete("/sign/{id}")
def no_sign(desk: asking.The, id: Id) -> Kept:
    """Take sign away."""
    return _away(desk, "sign", id)


def _away(desk: Desk, table: Table, id: int) -> Kept:
    _, book = _there(desk, table, id)
    seen = [one.id for one in book.record().sightings if one.outing == id] if table == "outings" else []
    book.remove(table, id)
    said = [f"The {NAMES[table]} {id} is taken away; the odds follow. It can be taken back."]
    if seen:
        listed = ", ".join(map(str, seen))
        said.append(f"What was seen on it (sighting {listed}) stays, by its own place and time.")
    note = Note(heading=None, run_in=False, close=False, sentences=said, about=None)
    return Kept(**after(desk), notes=[note])


def _there(desk: Desk, table: Table, id: int) -> tuple[Opened, Notebook]:
    """The open country and its record.

    Raises
    ------
    NotThere
        The row is not there.
    """
    opened, book = book_of(desk)
    try:
        book.rows.get(table, id)
    except BadInput as error:
        raise NotThere(str(error)) from None
    return opened, book

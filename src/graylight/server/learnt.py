"""Paths of what the record teaches: told before and after, put to use only when a person says so."""

from __future__ import annotations

from fastapi import APIRouter
from pydantic import BaseModel, ConfigDict

from graylight.plan.learning import learning
from graylight.plan.notebook import Notebook
from graylight.plan.record_model import Learning
from graylight.plan.taught import Use, put_to_use
from graylight.server import asking
from graylight.server.judging import heavy
from graylight.server.models import Note
from graylight.server.notes import notes_of
from graylight.server.opened import Opened
from graylight.server.record_bodies import Kept
from graylight.server.recording import after, book_of
from graylight.telling import record as telling

__all__ = ["router"]

router = APIRouter(dependencies=[asking.Meant])


class LearnAnswer(BaseModel):
    """What the record teaches, and its sentences."""

    learning: Learning
    notes: list[Note]


class LearnUsed(Kept):
    """What was put to use."""

    learning: Learning


class Wanted(BaseModel):
    """What is to be put to use."""

    model_config = ConfigDict(extra="forbid")
    use: Use


@router.get("/learn")
def learn(desk: asking.The) -> LearnAnswer:
    """What the record says of pace, air and the habitat's weights, beside those in use; nothing is changed."""
    opened, book = book_of(desk)
    told = _told(opened, book)
    return LearnAnswer(learning=told, notes=_notes(told))


@router.post("/learn")
def use(desk: asking.The, wanted: Wanted) -> LearnUsed:
    """Put one thing learnt to use: an edit, which can be taken back."""
    opened, book = book_of(desk)
    told = _told(opened, book)
    told = told.model_copy(update={"used": [put_to_use(book, told, wanted.use)]})
    return LearnUsed(**after(desk, settings=True), notes=_notes(told), learning=told)


def _told(opened: Opened, book: Notebook) -> Learning:
    def reckoned() -> Learning:
        with heavy:
            return learning(book)

    found: Learning = opened.answers.get(("learn", book.rows.revision()), reckoned)
    return found


def _notes(told: Learning) -> list[Note]:
    return notes_of(telling.tell_learning(told))

"""Paths of files that come back from the field: what is in one, and a track, sightings or trails taken from it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from typing import Any

from fastapi import APIRouter, Request
from pydantic import BaseModel, Field, ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile

from graylight.errors import BadInput
from graylight.exchange.field_files import FieldPoint, GpxFile, read_gpx, read_sightings_csv
from graylight.grid import LonLat
from graylight.plan.felt import remarks_of
from graylight.plan.notebook import GivenOuting, Notebook
from graylight.plan.record import Fix
from graylight.plan.sighted import add_trace, take_in, undated
from graylight.plan.tracks import timed
from graylight.server import asking
from graylight.server.desk import Desk
from graylight.server.models import Note
from graylight.server.notes import notes_of
from graylight.server.record_bodies import Kept, OutingKept, OutingPut, given_outing, in_our_words
from graylight.server.recording import OUTING_NAMES, after, book_of
from graylight.telling import record as telling

__all__ = ["router"]

router = APIRouter(dependencies=[asking.Meant])
MOST_TRAILS = 200
MOST_LOOKED_AT = 2000
TRACK_NAMES = {
    "lookout": "a lookout", "at": "a place", "from": "the time from which", "until": "the one until which",
}  # fmt: skip
"""What options of the command are in a sentence that the page shows."""


class TrackHeld(BaseModel):
    """A track: when it ran, or why it can't be an outing."""

    points: int
    began: dt.datetime | None
    ended: dt.datetime | None
    why_not: str | None = Field(description="why it can't be an outing; null where it can")


class FileHeld(BaseModel):
    """What a file holds; nothing of it is kept yet."""

    name: str
    track: TrackHeld | None
    animals: int = Field(description="waypoints or lines of a table, each of which can be a sighting")
    trails: int = Field(description="tracks and routes, each of which can be a trail")
    not_read: list[str] = Field(description="headings of a table that mean nothing here")


class TakenIn(Kept):
    """Sightings or trails taken from a file."""

    added: list[int]
    there_already: int
    not_read: list[str]


@dataclass(frozen=True, slots=True)
class _File:
    """A file as it was handed in, and what was said beside."""

    name: str
    data: bytes
    said: str

    @property
    def gpx(self) -> GpxFile | None:
        """Its points and lines; None for a table."""
        xml = self.name.lower().endswith(".gpx") or self.data.lstrip(b"\xef\xbb\xbf \r\n\t")[:1] == b"<"
        return read_gpx(self.data, name=self.name) if xml else None

    def points(self) -> tuple[tuple[FieldPoint, ...], tuple[str, ...], str | None]:
        """What can be sightings, headings not read, and the zone of times without an offset."""
        gpx = self.gpx
        if gpx is not None:
            return gpx.waypoints, (), "UTC"
        return *read_sightings_csv(self.data, name=self.name), None

    def track(self) -> tuple[Fix, ...]:
        """The points of its track with their times."""
        gpx = self.gpx
        if gpx is None:
            raise BadInput(f"{self.name} is a table; accepted is a GPX file with a track; choose that")
        return timed(gpx.track, name=self.name)


def _body(words: str | None = None) -> dict[str, Any]:
    """How the body looks: one file, and words beside it."""
    parts: dict[str, Any] = {"file": {"type": "string", "format": "binary"}}
    if words is not None:
        parts["said"] = {"type": "string", "maxLength": 20_000, "description": words}
    schema = {"type": "object", "properties": parts, "required": ["file"]}
    return {"requestBody": {"required": True, "content": {"multipart/form-data": {"schema": schema}}}}


@router.post("/field-files", openapi_extra=_body())
async def held(desk: asking.The, request: Request) -> FileHeld:
    """Tell what a GPX file or a table of sightings holds; nothing is kept."""
    return await run_in_threadpool(_held, desk, await _received(request))


@router.post(
    "/field-files/outing", status_code=201, openapi_extra=_body("JSON: what is known beside the track")
)
async def outing(desk: asking.The, request: Request) -> OutingKept:
    """Record an outing by its track."""
    return await run_in_threadpool(_outing, desk, await _received(request))


@router.post("/field-files/sightings", status_code=201, openapi_extra=_body())
async def sightings(desk: asking.The, request: Request) -> TakenIn:
    """Take in sightings, all or none; what is there already is passed over."""
    return await run_in_threadpool(_sightings, desk, await _received(request))


@router.post("/field-files/trails", status_code=201, openapi_extra=_body("a note on the trails"))
async def trails(desk: asking.The, request: Request) -> TakenIn:
    """Take in tracks and routes as trails that animals use, all or none."""
    return await run_in_threadpool(_trails, desk, await _received(request))


async def _received(request: Request) -> _File:
    """The file of a form.

    Raises
    ------
    BadInput
        There is none.
    """
    async with request.form(max_files=1, max_fields=2, max_part_size=64 * 1024) as form:
        return await _file_of(form)


async def _file_of(form: FormData) -> _File:
    file, said = form.get("file"), form.get("said")
    if not isinstance(file, UploadFile):
        raise BadInput("no file came; accepted is a form with a GPX file or a CSV table as file; choose one")
    name = " ".join((file.filename or "the file").split())[:80] or "the file"
    return _File(name, await file.read(), said if isinstance(said, str) else "")


def _held(desk: Desk, file: _File) -> FileHeld:
    _, book = book_of(desk)
    gpx = file.gpx
    if gpx is None:
        points, unknown, _ = file.points()
        return FileHeld(name=file.name, track=None, animals=len(points), trails=0, not_read=list(unknown))
    track = _track_held(book, gpx, file.name) if gpx.track else None
    return FileHeld(
        name=file.name, track=track, animals=len(gpx.waypoints), trails=len(gpx.lines), not_read=[]
    )  # fmt: skip


def _track_held(book: Notebook, gpx: GpxFile, name: str) -> TrackHeld:
    try:
        with in_our_words(TRACK_NAMES):
            fixes = timed(gpx.track, name=name)
    except BadInput as why:
        return TrackHeld(points=len(gpx.track), began=None, ended=None, why_not=str(why))
    some = gpx.track[:: -(-len(gpx.track) // MOST_LOOKED_AT)]
    inside = any(book.country.grid.contains(LonLat(p.lon, p.lat)) for p in some)
    return TrackHeld(
        points=len(fixes), began=fixes[0].at, ended=fixes[-1].at,
        why_not=None if inside else f"{name} runs outside the country",
    )  # fmt: skip


def _outing(desk: Desk, file: _File) -> OutingKept:
    opened, book = book_of(desk)
    said = _said(file.said)
    with in_our_words(OUTING_NAMES):
        told = book.add_outing(_by_track(file, said))
    notes = notes_of(telling.tell_outing(told, opened.country.settings.units))
    return OutingKept(**after(desk), notes=notes, outing=told)


def _by_track(file: _File, said: OutingPut) -> GivenOuting:
    """An outing by its track; what its waypoints tell of the air and the wind goes with it."""
    fixes = file.track()
    gpx = file.gpx
    felt = remarks_of(() if gpx is None else gpx.waypoints, fixes, name=file.name)
    given = given_outing(said, track=fixes)
    return replace(given, felt=felt.air, wind=given.wind or felt.wind)


def _said(text: str) -> OutingPut:
    try:
        return OutingPut.model_validate_json(text or "{}")
    except ValidationError as error:
        one = error.errors()[0]
        first = f"{'.'.join(map(str, one['loc'])) or 'said'}: {one['msg']}"
        raise BadInput(
            f'what is said beside the track can\'t be read ({first}); accepted is a JSON object such as {{"glass": "10x42"}}'
        ) from None


def _sightings(desk: Desk, file: _File) -> TakenIn:
    _, book = book_of(desk)
    points, unknown, zone = file.points()
    given = [
        (p.where, None if p.lon is None or p.lat is None else LonLat(p.lon, p.lat), p.values) for p in points
    ]
    with in_our_words({}):
        added, there = take_in(book, given, name=file.name, zone=zone)
    passed = len(given) - len(added) - there
    words = telling.taken_in_words(file.name, len(added), there, passed=passed, undated=undated(book, added))
    if unknown:
        words.append(f"These headings were not read: {', '.join(unknown)}.")
    if added:
        words.append("The odds follow.")
    return TakenIn(
        **after(desk), notes=[_note(words)], added=added, there_already=there, not_read=list(unknown)
    )  # fmt: skip


def _trails(desk: Desk, file: _File) -> TakenIn:
    _, book = book_of(desk)
    gpx = file.gpx
    lines = () if gpx is None else gpx.lines
    if not 0 < len(lines) <= MOST_TRAILS:
        raise BadInput(
            f"{file.name} holds {len(lines)} tracks and routes; accepted is a GPX file with 1 to {MOST_TRAILS}; choose another"
        )
    with in_our_words({}), book.rows.together():
        told = [add_trace(book, [LonLat(p.lon, p.lat) for p in one], file.said or None) for one in lines]
    words = f"{_counted(len(told), 'trail')} taken from {file.name}. The animals' ways take them as easier from the next plan on."
    return TakenIn(
        **after(desk), notes=[_note([words])], added=[one.id for one in told], there_already=0, not_read=[]
    )  # fmt: skip


def _counted(count: int, word: str) -> str:
    return f"{count} {word}" if count == 1 else f"{count or 'No'} {word}s"


def _note(sentences: list[str]) -> Note:
    return Note(heading=None, run_in=False, close=False, sentences=sentences, about=None)

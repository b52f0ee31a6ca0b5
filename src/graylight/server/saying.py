"""Paths on which the person says something: rows, photos, undo. An answer means that it is on the disk."""

from __future__ import annotations

from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Path, Query, Request
from pydantic import BaseModel, ConfigDict, Field
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from graylight.country.photos import keep_photo, read_photo
from graylight.country.rows import Row, Rows
from graylight.country.tables import LIVE
from graylight.errors import BadInput
from graylight.exchange.photo import photo_facts
from graylight.grid import Grid
from graylight.server import asking
from graylight.server.desk import Desk
from graylight.server.models import Feature, PhotoTold
from graylight.server.photos import cleaned
from graylight.server.problems import NotThere
from graylight.server.row_check import checked
from graylight.server.vectors import geojson_of
from graylight.sky.zone import timezone_of

__all__ = ["router"]

router = APIRouter(dependencies=[asking.Meant])
LARGEST_ID = 2**63 - 1
RECORD = ("outings", "sightings", "sign")
"""Tables with rows that hang on one another and are checked together: they have paths of their own."""
Table = Literal["places", "traces", "edits", "outings", "sightings", "sign", "starts"]
Id = Annotated[int, Path(ge=1, le=LARGEST_ID)]
Text = Annotated[str, Field(max_length=20_000)]
Value = (
    Text | Annotated[int, Field(ge=-(2**53), le=2**53)] | Annotated[float, Field(allow_inf_nan=False)] | None
)


class Said(BaseModel):
    """A row as it is said; on a change what is left out stays as it is."""

    model_config = ConfigDict(extra="forbid")
    geometry: dict[str, Any] | None = Field(default=None, description="GeoJSON geometry, WGS 84")
    values: Annotated[dict[str, Value], Field(max_length=40)] = {}


class RowsNow(BaseModel):
    """All live rows."""

    type: Literal["FeatureCollection"] = "FeatureCollection"
    revision: int
    undo: str | None
    redo: str | None
    features: list[Feature]


class Changed(BaseModel):
    """A row as it is now, and the revision that it came with."""

    revision: int
    undo: str | None
    redo: str | None
    row: Feature


class Turned(BaseModel):
    """What was taken back or done again; null where there was nothing."""

    revision: int
    words: str | None
    undo: str | None
    redo: str | None


class Named(BaseModel):
    """A photo's name, and what it tells of itself where that was asked for."""

    name: str
    facts: PhotoTold | None = None


def _feature(row: Row, grid: Grid) -> Feature:
    shape = None if row.geometry is None or row.geometry.is_empty else geojson_of(row.geometry, grid)
    return Feature(
        id=f"{row.table}/{row.id}",
        geometry=shape,
        properties={**row.values, "table": row.table, "id": row.id},
    )


@router.get("/rows")
def rows(desk: asking.The) -> RowsNow:
    """All live rows: places, traces, edits, outings, sightings, sign, starts."""
    grid, kept = desk.opened.country.grid, desk.rows
    revision = kept.revision()  # read first: what comes in between is told again
    found = [_feature(row, grid) for spec in LIVE for row in kept.read(spec.name)]
    return RowsNow(revision=revision, undo=kept.can_undo(), redo=kept.can_redo(), features=found)


@router.post("/rows/{table}", status_code=201)
def add(desk: asking.The, table: Table, said: Said) -> Changed:
    """Add a row."""
    opened, kept = desk.at_hand()
    _not_record(table)
    row = checked(opened.country, table, None, **_parts(said))
    return _changed(desk, kept.add(table, row.geometry, **_columns(said)))


@router.patch("/rows/{table}/{id}")
def change(desk: asking.The, table: Table, id: Id, said: Said) -> Changed:
    """Change a row; what is not said stays as it is."""
    opened, kept = desk.at_hand()
    _not_record(table)
    before = _there(kept, table, id)
    row = checked(opened.country, table, before, **_parts(said))
    more = {"geometry": row.geometry} if "geometry" in said.model_fields_set else {}
    return _changed(desk, kept.change(table, id, **more, **_columns(said)))


@router.delete("/rows/{table}/{id}")
def remove(desk: asking.The, table: Table, id: Id) -> Changed:
    """Remove a row; the answer holds what it was."""
    _, kept = desk.at_hand()
    _not_record(table)
    _there(kept, table, id)
    return _changed(desk, kept.remove(table, id))


def _not_record(table: str) -> None:
    """Keep to one way in: what is said of the record is checked beside all the rest of it.

    Raises
    ------
    BadInput
        A table of the record.
    """
    if table in RECORD:
        raise BadInput(
            f"rows of {table} are not written as they come; accepted are POST /api/{table}, and PATCH or DELETE "
            f"/api/{table}/NUMBER, which check them; say it there"
        )


def _columns(said: Said) -> dict[str, Any]:
    """Values by column; what the calls themselves are called is no column."""
    taken = {"table", "id", "geometry", "self"} & said.values.keys()
    if taken:
        raise BadInput(
            f"a value called {sorted(taken)[0]!r}; accepted are the table's columns (docs/country.md)"
        )
    return dict(said.values)


def _parts(said: Said) -> dict[str, Any]:
    """What is said of a row; a geometry only where one was said, as it may be said that there is none."""
    shape = {"geometry": said.geometry} if "geometry" in said.model_fields_set else {}
    return {**shape, "values": _columns(said)}


def _there(kept: Rows, table: str, id: int) -> Row:
    try:
        return kept.get(table, id)
    except BadInput as error:
        raise NotThere(str(error)) from None


def _changed(desk: Desk, row: Row) -> Changed:
    revision = desk.changed(settings=row.table == "edits")
    return Changed(
        revision=revision, undo=desk.rows.can_undo(), redo=desk.rows.can_redo(),
        row=_feature(row, desk.opened.country.grid),
    )  # fmt: skip


@router.post("/undo")
def undo(desk: asking.The) -> Turned:
    """Take the last step back."""
    return _turned(desk, desk.rows.undo())


@router.post("/redo")
def redo(desk: asking.The) -> Turned:
    """Do the step that was taken back last again."""
    return _turned(desk, desk.rows.redo())


def _turned(desk: Desk, step: Any) -> Turned:
    revision = desk.rows.revision() if step is None else desk.changed(settings=True)
    return Turned(
        revision=revision, words=None if step is None else step.words, undo=desk.rows.can_undo(),
        redo=desk.rows.can_redo(),
    )  # fmt: skip


PICTURE = {"content": {"image/*": {"schema": {"type": "string", "format": "binary"}}}, "required": True}
Facts = Annotated[
    bool, Query(description="tell the photo's own place, time and direction; they are not kept with it")
]


@router.post("/photos", status_code=201, openapi_extra={"requestBody": PICTURE})
async def photo(desk: asking.The, request: Request, facts: Facts = False) -> Named:
    """Keep a photo: drawn anew from what it shows, so that place, owner and anything hidden in the file are gone."""
    data = await request.body()
    return await run_in_threadpool(_kept_photo, desk, data, facts)


def _kept_photo(desk: Desk, data: bytes, facts: bool) -> Named:
    country, clean = desk.opened.country, cleaned(data)
    told = _photo_told(data, timezone_of(country.grid.center)) if facts else None
    return Named(name=keep_photo(country, clean), facts=told)


def _photo_told(data: bytes, timezone: str) -> PhotoTold:
    """What a photo says of itself; its moment by the country's clock."""
    found = photo_facts(data, name="the photo")
    when = found.clock if found.at is None else f"{found.at.astimezone(ZoneInfo(timezone)):%Y-%m-%d %H:%M:%S}"
    place = found.place
    return PhotoTold(
        lon=None if place is None else place.lon, lat=None if place is None else place.lat, when=when,
        bearing_deg=found.bearing_deg, north=found.north,
    )  # fmt: skip


@router.get("/photos/{name}", response_class=Response, responses={200: {"content": {"image/jpeg": {}}}})
def kept_photo(desk: asking.The, name: Annotated[str, Path(max_length=60)]) -> Response:
    """A photo by the name that it was kept under."""
    found = read_photo(desk.opened.country, name)
    if found is None:
        raise NotThere(f"no photo {name!r}; accepted is a name that POST /api/photos answered with")
    return Response(
        found.data, media_type=found.media, headers={"cache-control": "private, max-age=31536000, immutable"}
    )

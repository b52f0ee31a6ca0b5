"""Paths to files handed over: the packet's, by their list, and the record in open formats."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Path
from pydantic import BaseModel, Field
from starlette.responses import Response

from graylight.errors import BadInput
from graylight.exchange.record_files import RECORD_TABLES, write_record_csv, write_record_geojson
from graylight.packet.listing import packet_files, read_packet_file
from graylight.server import asking
from graylight.server.problems import NotThere

__all__ = ["router"]

router = APIRouter()
FILE: dict[int | str, dict[str, Any]] = {
    200: {"content": {"application/octet-stream": {}}, "description": "the file"}
}


class HandedFile(BaseModel):
    """A file of the packet."""

    name: str
    bytes: int
    words: str = Field(description="what it is")


@router.get("/packet")
def packet(opened: asking.Here) -> list[HandedFile]:
    """The files of the packet that was made last; none before the first."""
    return [
        HandedFile(name=one.name, bytes=one.size, words=one.words) for one in packet_files(opened.country)
    ]


@router.get("/packet/{name:path}", response_class=Response, responses=FILE)
def packet_file(opened: asking.Here, name: Annotated[str, Path(max_length=200)]) -> Response:
    """One file, to be kept: a name of the listing, and nothing else, reaches the disk."""
    try:
        data = read_packet_file(opened.country, name)
    except BadInput as error:
        raise NotThere(str(error)) from None
    return _kept(name.replace("/", "-"), data)


@router.get("/record/{kind}", response_class=Response, responses=FILE)
def record_file(desk: asking.The, kind: Literal["geojson", "csv"]) -> Response:
    """The whole record as `graylight export` writes it: GeoJSON, or a table."""
    opened, kept = desk.at_hand()
    rows = [row for table in RECORD_TABLES for row in kept.read(table)]
    write = write_record_geojson if kind == "geojson" else write_record_csv
    return _kept(f"record.{kind}", write(rows, opened.country.grid).encode())


def _kept(name: str, data: bytes) -> Response:
    """A file to be kept."""
    plain = name.encode("ascii", "replace").decode().replace('"', "'")
    # never shown here: what is opened from storage has a page's rights nowhere
    headers = {"content-disposition": f'attachment; filename="{plain}"'}
    return Response(data, media_type="application/octet-stream", headers=headers)

"""Paths that lead outside: tiles of public maps, and what a gathering would bring. Nothing is asked unless a person asks."""

from __future__ import annotations

from typing import Annotated, Any, Literal

import anyio
import anyio.to_thread
from fastapi import APIRouter, Query
from pydantic import BaseModel, Field
from starlette.responses import Response

from graylight.drawing.tile import Tile
from graylight.gather.basemap import DEEPEST, Basemap, Picture, sheets_for
from graylight.gather.gate import NotThere as NoneThere
from graylight.gather.report import tell_expected
from graylight.grid import Bounds
from graylight.server import asking
from graylight.server.desk import Desk
from graylight.server.opened import Opened
from graylight.server.outside import CONNECTIONS
from graylight.server.problems import NotThere

__all__ = ["router"]

router = APIRouter()
A_DAY = "private, max-age=86400"
PICTURES: dict[int | str, dict[str, Any]] = {
    200: {"content": {"image/png": {}, "image/jpeg": {}}, "description": "a tile"}
}
_line = anyio.CapacityLimiter(CONNECTIONS)
"""Tiles that wait for a service must not keep other answers waiting: they have threads of their own."""
Degree = Annotated[float, Query(ge=-180.0, le=180.0, allow_inf_nan=False)]


class PublicMap(BaseModel):
    """A map of a public service that can be shown under the plan."""

    name: str
    words: str
    tiles: str = Field(description="address with {z}/{x}/{y}")
    deepest: int = Field(description="largest zoom that it has")
    credit: str
    about: str


class Estimate(BaseModel):
    """What a gathering would ask for, of whom, and how much that is, about."""

    lines: list[str]
    bytes: int


@router.get("/basemaps")
def basemaps(desk: asking.The) -> list[PublicMap]:
    """Maps of public services for this country; none where it is invented, or no service has any. Nobody is asked."""
    country = desk.opened.country
    return [
        PublicMap(
            name=name, words=sheet.words, tiles=f"/api/tiles/basemap-{name}/{{z}}/{{x}}/{{y}}", deepest=DEEPEST,
            credit=service.credit, about=service.about,
        )
        for name, sheet, service in sheets_for(country, desk.outside.services(country.folder))
    ]  # fmt: skip


@router.get("/tiles/basemap-{name}/{z}/{x}/{y}", response_class=Response, responses=PICTURES)
async def basemap_tile(
    desk: asking.The, opened: asking.Here, name: Literal["topo", "imagery"], at: asking.TileAt
) -> Response:
    """A tile of a public map, had through this server and kept; refused for an invented range."""
    found = await anyio.to_thread.run_sync(_had, desk, opened, name, at, limiter=_line)
    return Response(found.body, media_type=found.media, headers={"cache-control": A_DAY})


def _had(desk: Desk, opened: Opened, name: str, at: Tile) -> Picture:
    maps: Basemap = desk.outside.basemap(opened.country.folder)
    try:
        return maps.tile(opened.country, name, (at.z, at.x, at.y))
    except NoneThere as error:
        raise NotThere(str(error)) from None


@router.get("/estimate")
def estimate(
    desk: asking.The,
    west: Degree,
    south: Degree,
    east: Degree,
    north: Degree,
    without: Annotated[str | None, Query(max_length=120)] = None,
) -> Estimate:
    """What would be gathered for a box; `without` leaves kinds out, with commas between. Nobody is asked."""
    found = desk.outside.plan_round(Bounds(west, south, east, north), without)
    return Estimate(lines=tell_expected(found.expected), bytes=found.size)

"""What a query may say: places, moments and arcs, read once for all paths."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, TypeAlias

from fastapi import Depends, Path, Query, Request

from graylight.drawing.tile import Tile
from graylight.errors import BadInput
from graylight.grid import LonLat
from graylight.server.desk import Desk
from graylight.server.opened import Opened
from graylight.server.problems import OtherCountry

__all__ = [
    "At",
    "Day",
    "Here",
    "Meant",
    "Moment",
    "Now",
    "Pair",
    "The",
    "TileAt",
    "place_or_lookout",
    "read_pair",
]

OPENING = "country-opening"
Lon: TypeAlias = Annotated[
    float, Query(ge=-180.0, le=180.0, allow_inf_nan=False, description="degrees WGS 84")
]
Lat: TypeAlias = Annotated[float, Query(ge=-90.0, le=90.0, allow_inf_nan=False, description="degrees WGS 84")]
NUMBER = r"-?\d{1,3}(\.\d{1,12})?"
Pair: TypeAlias = Annotated[
    str, Query(pattern=rf"^{NUMBER},{NUMBER}$", max_length=40, description="lon,lat in degrees WGS 84")
]
Moment: TypeAlias = Annotated[
    str,
    Query(
        pattern=r"^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}(:\d{2})?Z$", description="UTC, such as 2026-08-27T13:00:00Z"
    ),
]
Day: TypeAlias = Annotated[
    str, Query(pattern=r"^\d{4}-\d{2}-\d{2}$", description="a date on the country's calendar")
]


def _desk(request: Request) -> Desk:
    desk: Desk = request.app.state.desk
    return desk


The: TypeAlias = Annotated[Desk, Depends(_desk)]
"""The desk: whatever the server holds."""


def _meant(request: Request, desk: The) -> None:
    """What says for which opening it is meant (the header of `OPENING`) is not written into another country."""
    said = request.headers.get(OPENING)
    if said is not None and said != str(desk.opening):
        raise OtherCountry(
            "another country was opened meanwhile, in another window; nothing was written; accepted is what is meant for the "
            "open one; load the page again"
        )


Meant = Depends(_meant)
"""For paths that write."""


def _opened(desk: The) -> Opened:
    return desk.opened


Here: TypeAlias = Annotated[Opened, Depends(_opened)]
"""The country as it stands."""


def _place(lon: Lon, lat: Lat) -> LonLat:
    return LonLat(lon, lat)


At: TypeAlias = Annotated[LonLat, Depends(_place)]
"""The place of lon and lat."""


def _tile(
    z: Annotated[int, Path(ge=0, le=22)], x: Annotated[int, Path(ge=0)], y: Annotated[int, Path(ge=0)]
) -> Tile:
    if x >= 2**z or y >= 2**z:
        raise BadInput(f"tile {z}/{x}/{y}; accepted are columns and rows below {2**z} at that zoom")
    return Tile(z, x, y)


TileAt: TypeAlias = Annotated[Tile, Depends(_tile)]
"""The tile of z, x and y."""


def read_pair(text: str) -> LonLat:
    """A place from "lon,lat".

    Raises
    ------
    BadInput
        It lies nowhere on earth.
    """
    lon, lat = (float(part) for part in text.split(","))
    if not (-180.0 <= lon <= 180.0 and -90.0 <= lat <= 90.0):
        raise BadInput(f"the place {text!r} lies nowhere; accepted is lon,lat in degrees; check their order")
    return LonLat(lon, lat)


def read_moment(text: str) -> dt.datetime:
    """A moment in UTC.

    Raises
    ------
    BadInput
        There is no such moment.
    """
    try:
        return dt.datetime.fromisoformat(text)
    except ValueError:
        raise BadInput(
            f"the time {text!r} does not exist; accepted is such as 2026-08-27T13:00:00Z"
        ) from None


Now: TypeAlias = dt.datetime | None


def place_or_lookout(
    opened: Opened, lookout: str | None, lon: float | None, lat: float | None
) -> LonLat | None:
    """The place meant by a lookout's id, or by lon and lat; None where neither is said.

    Raises
    ------
    BadInput
        There is no such lookout.
    """
    if lookout is not None:
        return opened.lookout_place(lookout)
    return None if lon is None or lat is None else LonLat(lon, lat)

"""What a row must be before it is kept, whether it is added or changed: on the ground of the country, of a known kind."""

from __future__ import annotations

import json
from typing import Any

import shapely
from shapely.errors import GEOSException
from shapely.geometry.base import BaseGeometry

from graylight.country.folder import Country
from graylight.country.rows import Row
from graylight.errors import BadInput
from graylight.grid import Grid, LonLat
from graylight.plan.edits import check_edit
from graylight.plan.sighted import trail_course
from graylight.server.vectors import on_the_grid

__all__ = ["KINDS", "checked"]

MOST_POINTS = 20_000
MOST_TRAIL = 2000
KINDS = {
    "places": ("glassing", "water", "camp", "sign", "hazard", "cache", "other"),
    "traces": ("trail", "other"),
    "starts": ("given", "trailhead", "road end"),
}
"""Kinds that are said here, by table; what is taken in from files keeps the kind that the file has."""
_SAME: dict[str, Any] = {}


def checked(
    country: Country,
    table: str,
    before: Row | None,
    *,
    values: dict[str, Any],
    geometry: dict[str, Any] | None = _SAME,
) -> Row:
    """The row as it will be, its geometry in the country's CRS.

    Parameters
    ----------
    before
        The row as it is; None: a new one.
    values
        What is said of its columns.
    geometry
        GeoJSON, WGS 84; left out: as it is.

    Raises
    ------
    BadInput
        Its place lies outside the country, its kind is none of the list, or an edit that can't be used.
    """
    said = geometry is not None and geometry is not _SAME
    shape = _shape(geometry, country.grid) if said and geometry is not None else None
    if geometry is _SAME:
        shape = None if before is None else before.geometry
    merged = {**({} if before is None else before.values), **values}
    row = Row(table, 0 if before is None else before.id, shape, merged)
    if table == "edits":
        check_edit(country, row)
        return row
    if said and geometry is not None:
        _check_inside(country, table, geometry)
    _check_kind(table, before, values)
    return row


def _check_inside(country: Country, table: str, geometry: dict[str, Any]) -> None:
    at = shapely.get_coordinates(shapely.from_geojson(json.dumps(geometry)))
    places = [LonLat(float(lon), float(lat)) for lon, lat in at]
    if table == "traces":
        if len(at) > MOST_TRAIL:
            raise BadInput(f"a trail of {len(at)} points; accepted are at most {MOST_TRAIL}; draw it simpler")
        trail_course(country, places)
    else:
        for place in places:
            country.grid.rowcol(place)


def _check_kind(table: str, before: Row | None, values: dict[str, Any]) -> None:
    """Kinds are a list; the one that a row has already may stay."""
    kind, known = values.get("kind"), KINDS[table]
    if kind in (None, "", *known) or (before is not None and before.values.get("kind") == kind):
        return
    raise BadInput(f"the kind {str(kind)[:40]!r}; accepted is {', '.join(known)}; choose one of them")


def _shape(given: dict[str, Any], grid: Grid) -> BaseGeometry:
    """A geometry as it was said, in the country's frame."""
    try:
        shape = shapely.from_geojson(json.dumps(given))
    except (GEOSException, ValueError, RecursionError):
        shape = None
    if shape is None or shape.is_empty:
        raise BadInput("the geometry can't be read; accepted is a GeoJSON geometry in WGS 84 degrees")
    at = shapely.get_coordinates(shape)
    if len(at) > MOST_POINTS:
        raise BadInput(f"a geometry of {len(at)} points; accepted are at most {MOST_POINTS}; draw it simpler")
    if not ((abs(at[:, 0]) <= 180.0) & (abs(at[:, 1]) <= 90.0)).all():
        raise BadInput(
            "the geometry lies nowhere on earth; accepted are lon, lat in degrees; check their order"
        )
    moved = on_the_grid(shape, grid)
    if not shapely.get_coordinates(moved).size or not _finite(moved):
        raise BadInput("the geometry lies too far from the country; accepted is ground in or about it")
    return moved


def _finite(shape: BaseGeometry) -> bool:
    at = shapely.get_coordinates(shape)
    return bool((abs(at) < 1e8).all())

"""Where a walk can begin: trailheads, road ends, or the place the person gave."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt
from shapely import LineString, Point, line_merge
from shapely.geometry.base import BaseGeometry

from graylight.country.folder import Country, Feature
from graylight.errors import BadInput
from graylight.grid import RowCol
from graylight.place import read_place
from graylight.units import distance

__all__ = ["BESIDE", "WayIn", "called", "starts"]

SNAP_M = 150.0
BESIDE = "open ground beside "
EDGE_M = 300.0
"""A road that stops nearer to the country's edge than this goes on beyond it."""
MEET_M = 30.0
"""A road's end nearer to another road than this is a junction."""


@dataclass(frozen=True, slots=True)
class WayIn:
    """A start: its name, kind, cell, and the cell that was asked for where that is not open ground."""

    name: str
    kind: Literal["road end", "trailhead", "given"]
    cell: RowCol
    asked: RowCol | None = None


def starts(country: Country, open_ground: NDArray[np.bool_], *, only: Collection[str] = ()) -> list[WayIn]:
    """All starts of the country, moved to open ground within 150 m; the given start alone when there is one.

    With `only`, those that go by one of these names, if there are any.

    Raises
    ------
    BadInput
        The given start lies outside the country, or no open ground is near it.
    """
    near = _nearest_open(open_ground)
    if country.settings.start is not None:
        place = read_place(country.settings.start)
        asked = country.grid.rowcol(place)
        cell = _moved(asked, near, country.grid.cell_m)
        if cell is None:
            raise BadInput(
                f"the start {country.settings.start!r} lies on ground that is shut (cliff, water or private); "
                f"accepted is a place within {distance(SNAP_M, country.settings.units)} of open ground; give another start"
            )
        return [_way_in("the start given", "given", cell, asked)]
    found = [_own(f) for f in country.features("starts")] + [
        _trailhead(f) for f in country.features("trailheads")
    ]
    heads = [point for point, _, _ in found]
    found += [end for end in _road_ends(country) if all(end[0].distance(h) > SNAP_M for h in heads)]
    ways = []
    for point, name, kind in found:
        cell = _on_grid(country, point)
        moved = None if cell is None else _moved(cell, near, country.grid.cell_m)
        if cell is not None and moved is not None:
            ways.append(_way_in(name, kind, moved, cell))
    chosen = [w for w in ways if called(w) in {name.lower() for name in only}]
    return sorted(chosen or ways, key=lambda w: (w.cell, w.name))


def called(way: WayIn) -> str:
    """The name that a start goes by, in small letters, whether it was moved or not."""
    return way.name.removeprefix(BESIDE).lower()


def _way_in(name: str, kind: Literal["road end", "trailhead", "given"], cell: RowCol, asked: RowCol) -> WayIn:
    """A start; one that the person gave is not called by its name where the way does not begin there."""
    if cell == asked:
        return WayIn(name, kind, cell)
    return WayIn(f"{BESIDE}{name}" if kind == "given" else name, kind, cell, asked)


Named: TypeAlias = tuple[Point, str, Literal["road end", "trailhead", "given"]]


def _own(feature: Feature) -> Named:
    return feature.geometry.centroid, str(feature.properties.get("name") or "a start of your own"), "given"


def _trailhead(feature: Feature) -> Named:
    kind: Literal["road end", "trailhead"] = (
        "road end" if feature.properties.get("kind") == "road end" else "trailhead"
    )
    return feature.geometry.centroid, str(feature.properties.get("name") or f"unnamed {kind}"), kind


def _road_ends(country: Country) -> list[Named]:
    """Ends of roads that no other road meets and that lie well inside the country."""
    lines = [
        (line, f.properties.get("name")) for f in country.features("roads") for line in _lines(f.geometry)
    ]
    west, south, east, north = country.grid.bounds
    edge = max(2 * country.grid.cell_m, EDGE_M)
    ends: list[Named] = []
    for i, (line, name) in enumerate(lines):
        others = [other for j, (other, _) in enumerate(lines) if j != i]
        for point in (Point(line.coords[0]), Point(line.coords[-1])):
            inside = west + edge < point.x < east - edge and south + edge < point.y < north - edge
            if inside and all(point.distance(other) > MEET_M for other in others):
                ends.append((point, f"end of {name or 'an unnamed road'}", "road end"))
    return ends


def _lines(geometry: BaseGeometry) -> list[LineString]:
    """The lines of a geometry, joined where they meet end to end."""
    merged = line_merge(geometry)
    return [
        line
        for line in getattr(merged, "geoms", [merged])
        if isinstance(line, LineString) and not line.is_empty
    ]


def _on_grid(country: Country, point: Point) -> RowCol | None:
    a, _, west, _, _, north = country.grid.transform
    row, col = int((north - point.y) // a), int((point.x - west) // a)
    return RowCol(row, col) if 0 <= row < country.grid.rows and 0 <= col < country.grid.cols else None


def _nearest_open(open_ground: NDArray[np.bool_]) -> NDArray[np.int32]:
    return np.asarray(
        distance_transform_edt(~open_ground, return_distances=False, return_indices=True), np.int32
    )


def _moved(cell: RowCol, nearest: NDArray[np.int32], cell_m: float) -> RowCol | None:
    row, col = int(nearest[0][cell]), int(nearest[1][cell])
    if np.hypot(row - cell.row, col - cell.col) * cell_m > SNAP_M:
        return None
    return RowCol(row, col)

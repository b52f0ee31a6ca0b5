"""Where a walk can begin: trailheads, road ends, or the place the person gave."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt
from shapely import Point, get_coordinates
from shapely.geometry.base import BaseGeometry

from graylight.country.folder import Country, Feature
from graylight.errors import BadInput
from graylight.grid import RowCol
from graylight.place import read_place

__all__ = ["WayIn", "starts"]

SNAP_M = 150.0


@dataclass(frozen=True, slots=True)
class WayIn:
    """A start: its name, kind and cell."""

    name: str
    kind: Literal["road end", "trailhead", "given"]
    cell: RowCol


def starts(country: Country, open_ground: NDArray[np.bool_]) -> list[WayIn]:
    """All starts of the country, moved to open ground within 150 m; the given start alone when there is one.

    Raises
    ------
    BadInput
        The given start lies outside the country, or no open ground is near it.
    """
    near = _nearest_open(open_ground)
    if country.settings.start is not None:
        place = read_place(country.settings.start)
        cell = _moved(country.grid.rowcol(place), near, country.grid.cell_m)
        if cell is None:
            raise BadInput(
                f"the start {country.settings.start!r} lies on ground that is shut (cliff, water or private); "
                f"accepted is a place within {SNAP_M:.0f} m of open ground; give another start"
            )
        return [WayIn("the start given", "given", cell)]
    found = [_trailhead(f) for f in country.features("trailheads")]
    heads = [point for point, _, _ in found]
    found += [end for end in _road_ends(country) if all(end[0].distance(h) > SNAP_M for h in heads)]
    ways = []
    for point, name, kind in found:
        cell = _on_grid(country, point)
        moved = None if cell is None else _moved(cell, near, country.grid.cell_m)
        if moved is not None:
            ways.append(WayIn(name, kind, moved))
    return sorted(ways, key=lambda w: (w.cell, w.name))


def _trailhead(feature: Feature) -> tuple[Point, str, Literal["road end", "trailhead"]]:
    kind: Literal["road end", "trailhead"] = (
        "road end" if feature.properties.get("kind") == "road end" else "trailhead"
    )
    return feature.geometry.centroid, str(feature.properties.get("name") or f"unnamed {kind}"), kind


def _road_ends(country: Country) -> list[tuple[Point, str, Literal["road end", "trailhead"]]]:
    """Ends of roads that no other road meets and that lie inside the country."""
    features = country.features("roads")
    west, south, east, north = country.grid.bounds
    edge = 2 * country.grid.cell_m
    ends: list[tuple[Point, str, Literal["road end", "trailhead"]]] = []
    for i, feature in enumerate(features):
        others = [f.geometry for j, f in enumerate(features) if j != i]
        for point in _line_ends(feature.geometry):
            inside = west + edge < point.x < east - edge and south + edge < point.y < north - edge
            if inside and all(point.distance(other) > edge for other in others):
                ends.append(
                    (point, f"end of {feature.properties.get('name') or 'an unnamed road'}", "road end")
                )
    return ends


def _line_ends(geometry: BaseGeometry) -> list[Point]:
    lines = getattr(geometry, "geoms", [geometry])
    return [Point(get_coordinates(line)[i]) for line in lines if not line.is_empty for i in (0, -1)]


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

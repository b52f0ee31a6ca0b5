"""Vectors for the map as GeoJSON: what was brought in, the live rows, and the contours."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import Transformer
from shapely.geometry.base import BaseGeometry

from graylight.country.tables import BROUGHT_IN
from graylight.drawing.contours import FOOT_M, Contour, contours
from graylight.grid import Grid
from graylight.server.opened import Opened
from graylight.units import height

__all__ = ["contours_text", "features_text", "geojson_of", "lonlat_shape", "on_the_grid"]

_DIGITS = 6
"""Of a degree: a tenth of a metre."""
_STEPS: dict[str, tuple[float, float, float]] = {
    "us": (400 * FOOT_M, 200 * FOOT_M, 40 * FOOT_M),
    "metric": (100.0, 50.0, 10.0),
}
"""Metres from line to line, by level."""
_THIN = (8, 4, 2)
"""Every so many cells are looked at, by level, on 10 m cells."""


def lonlat_shape(shape: BaseGeometry, grid: Grid) -> BaseGeometry:
    """A geometry of the grid's frame in WGS 84 degrees."""
    a, _, west, _, _, north = grid.transform

    def moved(xy: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.round(grid.lonlats((north - xy[:, 1]) / a - 0.5, (xy[:, 0] - west) / a - 0.5), _DIGITS)

    return shapely.transform(shapely.force_2d(shape), moved)


def on_the_grid(shape: BaseGeometry, grid: Grid) -> BaseGeometry:
    """A geometry in WGS 84 degrees in the grid's frame."""
    mover = Transformer.from_crs("EPSG:4326", grid.crs, always_xy=True)

    def moved(at: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.column_stack(mover.transform(at[:, 0], at[:, 1]))

    return shapely.transform(shapely.force_2d(shape), moved)


def geojson_of(shape: BaseGeometry, grid: Grid) -> dict[str, Any]:
    """A geometry of the grid's frame as GeoJSON."""
    found: dict[str, Any] = json.loads(shapely.to_geojson(lonlat_shape(shape, grid)))
    return found


def features_text(opened: Opened) -> str:
    """All that was brought in, as one feature collection."""
    grid = opened.country.grid
    found = [
        {
            "type": "Feature",
            "geometry": geojson_of(feature.geometry, grid),
            "properties": {"table": spec.name, **feature.properties},
        }
        for spec in BROUGHT_IN
        for feature in opened.country.features(spec.name)
    ]
    return json.dumps({"type": "FeatureCollection", "features": found})


def contours_text(opened: Opened, level: int) -> str:
    """Contours: level 0 few and coarse for the whole country, level 2 for close by."""
    grid, units = opened.country.grid, opened.country.settings.units
    thin = max(1, round(_THIN[level] * 10.0 / grid.cell_m))
    thin = min(thin, max(1, min(grid.shape) // 16))
    ground = np.ascontiguousarray(opened.raster("elevation")[thin // 2 :: thin, thin // 2 :: thin])
    found = contours(ground, interval_m=_STEPS[units][level])
    features = [_contour(one, grid, thin, units) for one in found if len(one.line) > 3]
    return '{"type":"FeatureCollection","features":[' + ",".join(features) + "]}"


def _contour(one: Contour, grid: Grid, thin: int, units: Any) -> str:
    line = shapely.get_coordinates(shapely.LineString(one.line).simplify(0.12))
    at = grid.lonlats(line[:, 1] * thin + thin // 2, line[:, 0] * thin + thin // 2)
    coordinates = json.dumps(np.round(at, 5).tolist(), separators=(",", ":"))
    words = json.dumps(height(one.height_m, units))
    return (
        f'{{"type":"Feature","properties":{{"height_m":{one.height_m:.1f},"height":{words},'
        f'"index":{str(one.heavy).lower()}}},"geometry":{{"type":"LineString","coordinates":{coordinates}}}}}'
    )

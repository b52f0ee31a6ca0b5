"""What lies on the ground, read from a country's layers and vectors for its maps."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import get_coordinates, transform
from shapely.geometry.base import BaseGeometry

from graylight.country.folder import Country
from graylight.drawing.ground import Area, Line, MapData, Name
from graylight.grid import LonLat

__all__ = ["map_data"]


def map_data(country: Country, elevation_m: NDArray[np.float32] | None = None) -> MapData:
    """What lies on the ground, from the layers and the vectors."""
    return MapData(
        grid=country.grid,
        elevation_m=country.read("elevation") if elevation_m is None else elevation_m,
        kind=_kept(country, "cover"),
        green=_kept(country, "greenness"),
        water=None,
        paths=list(_paths(country)),
        lakes=[
            area
            for f in country.features("lakes")
            for area in _areas(country, f.geometry, f.properties.get("name"))
        ],
        private=[
            area
            for f in country.features("ownership")
            if str(f.properties.get("access")) in {"private", "closed"}
            for area in _areas(country, f.geometry, f.properties.get("owner"))
        ],
        units=[
            area
            for f in country.features("unit")
            for area in _areas(country, f.geometry, f.properties.get("name"))
        ],
        names=list(_names(country)),
    )


def _kept(country: Country, layer: str) -> NDArray[Any] | None:
    return country.read(layer) if country.has(layer) else None


def _paths(country: Country) -> Iterator[Line]:
    for table, kind in (("roads", "road"), ("trails", "trail"), ("streams", "perennial")):
        for feature in country.features(table):
            word = str(feature.properties.get("kind") or kind) if table == "streams" else kind
            for part in getattr(feature.geometry, "geoms", [feature.geometry]):
                yield Line(word, _lonlat(country, part), _text(feature.properties.get("name")))


def _areas(country: Country, geometry: BaseGeometry, name: object) -> list[Area]:
    parts = [p for p in getattr(geometry, "geoms", [geometry]) if p.geom_type == "Polygon"]
    return [Area([_lonlat(country, ring) for ring in (p.exterior, *p.interiors)], _text(name)) for p in parts]


def _names(country: Country) -> Iterator[Name]:
    """Named places but for peaks, which the plan names itself."""
    for feature in country.features("names"):
        kind, text = str(feature.properties.get("kind")), _text(feature.properties.get("name"))
        if text and kind != "peak":
            lon, lat = _lonlat(country, feature.geometry.centroid)[0]
            yield Name(kind if kind in {"basin", "saddle", "water"} else "other", text, LonLat(lon, lat))


def _text(value: object) -> str | None:
    return str(value) if value else None


def _lonlat(country: Country, geometry: BaseGeometry) -> NDArray[np.float64]:
    """(n, 2) longitudes and latitudes of a geometry in the grid's frame."""
    a, _, west, _, _, north = country.grid.transform

    def turned(xy: NDArray[np.float64]) -> NDArray[np.float64]:
        return country.grid.lonlats((north - xy[:, 1]) / a - 0.5, (xy[:, 0] - west) / a - 0.5)

    return get_coordinates(transform(geometry, turned))

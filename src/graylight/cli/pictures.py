"""Pictures of a country's plan: what the map needs is read from the layers, drawn, and written whole."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from shapely import get_coordinates, transform
from shapely.geometry.base import BaseGeometry

from graylight.country.folder import Country
from graylight.drawing.ground import Area, Line, MapData, Name
from graylight.drawing.look import draw_look
from graylight.drawing.map import draw_map
from graylight.grid import LonLat
from graylight.place import write_place
from graylight.plan.looking import Looked
from graylight.plan.model import Look, Plan

__all__ = ["draw_the_look", "draw_the_plan", "map_data"]

MAP = "plan/map.png"


def draw_the_plan(country: Country, plan: Plan) -> Path:
    """Draw the plan's map into the country's plan/ folder."""
    picture = draw_map(map_data(country), plan, units=country.settings.units)
    return _written(country, MAP, picture)


def draw_the_look(country: Country, plan: Plan, looked: Looked) -> Look:
    """Draw what a place sees into the country's looks/ folder; the look that names its picture."""
    here = LonLat(looked.look.place.lon, looked.look.place.lat)
    words = write_place(here, "degrees").replace(", ", "_").replace(" ", "")
    name = "looks/" + "".join(c for c in words if c.isascii() and (c.isalnum() or c in "-._")) + ".png"
    picture = draw_look(
        map_data(country),
        looked.look,
        looked.view.answers,
        pockets=plan.pockets,
        declination_deg=plan.light.declination_deg,
        invented=country.invented,
        radius_m=country.settings.sight.radius_m,
        units=country.settings.units,
    )
    _written(country, name, picture)
    return looked.look.model_copy(update={"picture": name})


def map_data(country: Country) -> MapData:
    """What lies on the ground, from the layers and the vectors."""
    return MapData(
        grid=country.grid,
        elevation_m=country.read("elevation"),
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


def _written(country: Country, name: str, picture: Image.Image) -> Path:
    buffer = io.BytesIO()
    picture.save(buffer, format="PNG", optimize=False, compress_level=6)
    country.write_bytes(name, buffer.getvalue())
    return country.folder / name

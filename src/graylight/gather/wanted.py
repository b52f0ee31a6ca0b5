"""What ground is wanted: around a place, between bounds, or inside a boundary; and how fine, and for when."""

from __future__ import annotations

import datetime as dt
import json
import math
import warnings
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyogrio
import shapely
from pyogrio import raw
from pyogrio.errors import DataLayerError, DataSourceError, FeatureError
from pyproj import CRS, Transformer
from pyproj.exceptions import CRSError, ProjError
from shapely.geometry.base import BaseGeometry

from graylight.country.area import Area, in_degrees, within
from graylight.country.frame import check_memory
from graylight.country.handed import ACCEPTED, openable, with_few_layers
from graylight.country.outline import Crossings, Tangled, mended
from graylight.errors import BadInput
from graylight.grid import WGS84, Bounds, Grid, LonLat, utm_crs

__all__ = ["Wanted", "around", "boundary", "checked_bounds"]

USUAL_CELL_M = 10.0
CLOSEUP_M = 1500.0
"""Side of the box of a close-up."""
WIDEST_DEG = 6.0


@dataclass(frozen=True)
class Wanted:
    """What to gather for.

    Parameters
    ----------
    bounds
        West, south, east, north, WGS 84 degrees.
    cell_m
        Cell size asked for; None: 10 m, or the elevation's own where that is coarser.
    date
        The day planned for: imagery is looked for about it.
    closeups
        Middles of the boxes to be had in fine imagery.
    unit
        The unit's boundary, WGS 84; None: none was given.
    """

    bounds: Bounds
    date: dt.date
    cell_m: float | None = None
    closeups: tuple[LonLat, ...] = ()
    unit: BaseGeometry | None = None

    @property
    def fine_m(self) -> float:
        """The cell to gather for, metres."""
        return self.cell_m or USUAL_CELL_M

    @property
    def crs(self) -> str:
        """The UTM zone of the middle."""
        west, south, east, north = self.bounds
        return utm_crs(LonLat((west + east) / 2, (south + north) / 2))

    @property
    def box_m(self) -> Bounds:
        """The box in the zone that holds the bounds, metres."""
        return within(Area(self.bounds), self.crs)

    @property
    def area_m2(self) -> float:
        """Area of that box."""
        box = self.box_m
        return (box.east - box.west) * (box.north - box.south)

    def area(self, cell_m: float) -> Area:
        """The box in the zone with a cell around it, the country's or a source's: what its rasters must cover.

        The country's corners are whole cells, so it may be up to a cell larger.
        """
        return self.area_around(max(cell_m, self.fine_m))

    def area_around(self, reach_m: float) -> Area:
        """The box in the zone with so many metres around it."""
        west, south, east, north = self.box_m
        return Area(Bounds(west - reach_m, south - reach_m, east + reach_m, north + reach_m), self.crs)

    def reach(self, cell_m: float = 60.0) -> Bounds:
        """Degrees that hold that box."""
        return in_degrees(self.area(cell_m))

    def closeup_box_m(self, place: LonLat) -> Bounds:
        """The box of a close-up in the zone, metres."""
        x, y = Transformer.from_crs("EPSG:4326", self.crs, always_xy=True).transform(place.lon, place.lat)
        half = CLOSEUP_M / 2
        return Bounds(*(float(round(v)) for v in (x - half, y - half, x + half, y + half)))

    def check_size(self, memory_gb: float) -> None:
        """See that a country of this size can be planned on, before anything is asked for.

        Raises
        ------
        BadInput
            It needs more memory than allowed, or spans too many degrees.
        """
        if self.bounds.east - self.bounds.west > WIDEST_DEG:
            raise BadInput(
                f"the ground wanted is {self.bounds.east - self.bounds.west:.1f} degrees wide; accepted is up to "
                f"{WIDEST_DEG:g}; give a smaller radius or bounds"
            )
        box, cell = self.box_m, self.fine_m
        rows, cols = math.ceil((box.north - box.south) / cell), math.ceil((box.east - box.west) / cell)
        check_memory(Grid.of(box.west, box.north, cell, rows, cols, self.crs), memory_gb, made=False)


def around(place: LonLat, radius_m: float) -> Bounds:
    """The box of degrees that holds everything within a distance of a place."""
    lon, lat = [], []
    for azimuth in (0.0, 90.0, 180.0, 270.0):
        x, y, _ = WGS84.fwd(place.lon, place.lat, azimuth, radius_m)
        lon.append(x)
        lat.append(y)
    box = Bounds(float(lon[3]), float(lat[2]), float(lon[1]), float(lat[0]))
    if box.west > box.east:
        raise BadInput(
            f"the ground within {radius_m / 1000:.1f} km of {place.lat:.4f}, {place.lon:.4f} crosses the antimeridian, "
            "which is not supported; accepted is ground on one side of it; give a smaller radius"
        )
    return checked_bounds(box)


def checked_bounds(box: Bounds) -> Bounds:
    """Bounds that are a box outside the polar areas.

    Raises
    ------
    BadInput
        They are not.
    """
    west, south, east, north = box
    if -180 <= east < west <= 180 and west - east > 180:
        raise BadInput(
            f"the bounds {west:g} {south:g} {east:g} {north:g} cross the antimeridian, which is not supported; accepted is "
            "ground on one side of it; gather for one side"
        )
    if -90 <= south < north <= 90 and (south < -80 or north > 84):
        raise BadInput(
            f"the ground wanted reaches from latitude {south:.2f} to {north:.2f}; accepted is ground between 80 S and 84 N, "
            "where UTM zones are; choose another place"
        )
    if not (-180 <= west < east <= 180 and -80 <= south < north <= 84):
        raise BadInput(
            f"the bounds {west:g} {south:g} {east:g} {north:g} can't be gathered for; accepted are west south east north in "
            "degrees with west < east, south < north, between 80 S and 84 N; check their order"
        )
    return box


def boundary(path: Path) -> BaseGeometry:
    """The area inside a boundary file, WGS 84 degrees.

    Raises
    ------
    BadInput
        It can't be read, or holds no area with a CRS.
    """
    with openable(path, role="boundary") as inside:
        found = [area for one in inside for layer in _layers(one, path) for area in _areas(one, layer, path)]
    if not found:
        raise BadInput(
            f"the boundary file {path.name} holds no area with a CRS; accepted is a file with one or more polygons "
            "(GeoJSON, GeoPackage, KML, shapefile); give another"
        )
    whole = shapely.MultiPolygon([part for area in found for part in shapely.get_parts(area)])
    crossings = Crossings()
    try:
        crossings.spend(whole)
        return shapely.union_all([mended(area, crossings) for area in found])
    except Tangled as error:
        raise BadInput(f"the boundary file {path.name} can't be used: {error}") from None


def _layers(path: Path, handed: Path) -> list[str]:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            names = [str(name) for name, kind in pyogrio.list_layers(str(path)) if kind is not None]
    except (DataSourceError, DataLayerError):
        raise _unread(handed) from None
    return with_few_layers(names, f"the boundary file {handed.name}")


def _areas(path: Path, layer: str, handed: Path) -> list[BaseGeometry]:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            meta, _, shapes, _ = raw.read(str(path), layer=layer, force_2d=True, columns=[])
        if meta["crs"] is None or shapes is None:
            return []
        mover = Transformer.from_crs(CRS.from_user_input(meta["crs"]), "EPSG:4326", always_xy=True)
        geometries = shapely.from_wkb(np.array([s for s in shapes if s is not None], object))
        moved = shapely.transform(geometries, lambda xy: np.column_stack(mover.transform(xy[:, 0], xy[:, 1])))
    except (DataSourceError, DataLayerError, FeatureError, shapely.errors.GEOSException):
        raise _unread(handed) from None
    except (CRSError, ProjError):
        return []
    sound = np.isfinite(shapely.bounds(moved)).all(axis=1) & (shapely.get_dimensions(moved) == 2)
    return list(moved[sound])


def _unread(path: Path) -> BadInput:
    return BadInput(
        f"the boundary file {path.name} can't be read, or is damaged; accepted is {ACCEPTED}; check it"
    )


def unit_text(unit: BaseGeometry, name: str) -> str:
    """A unit's boundary as GeoJSON."""
    feature = {"type": "Feature", "properties": {"name": name}, "geometry": shapely.geometry.mapping(unit)}
    return json.dumps({"type": "FeatureCollection", "features": [feature]})

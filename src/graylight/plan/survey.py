"""Cells turned into places, distances and bearings."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from graylight.country.folder import Country, Feature
from graylight.grid import Grid, LonLat, azimuth_deg, distance_m
from graylight.plan.around import beyond_of
from graylight.plan.model import Place
from graylight.sky.declination import declination

if TYPE_CHECKING:
    from graylight.sky.beyond import Beyond

__all__ = ["Line", "Survey", "survey_of"]

NAME_WITHIN_M = 250.0


@dataclass(frozen=True, slots=True)
class Line:
    """From one cell to another: metres, and azimuth by true and by magnetic north."""

    distance_m: float
    true_deg: float
    magnetic_deg: float | None


@dataclass(frozen=True, slots=True)
class Survey:
    """The grid with its heights, the magnetic declination (None when not known), the names of places, and the ground beyond
    the country's edge (None when not known).
    """

    grid: Grid
    elevation_m: NDArray[np.float32]
    declination_deg: float | None
    names: tuple[Feature, ...] = ()
    beyond: Beyond | None = None

    def place(self, row: float, col: float) -> Place:
        """The place of a cell (fractions allowed: the height is the nearest cell's)."""
        lon, lat = self.grid.lonlat(row, col)
        nearest = min(max(round(row), 0), self.grid.rows - 1), min(max(round(col), 0), self.grid.cols - 1)
        height = float(self.elevation_m[nearest])
        return Place(lat=lat, lon=lon, height_m=None if np.isnan(height) else height)

    def lonlat(self, row: float, col: float) -> LonLat:
        """Longitude and latitude of a cell's centre."""
        return self.grid.lonlat(row, col)

    def line(self, start: tuple[float, float], end: tuple[float, float]) -> Line:
        """Distance and bearings on the ellipsoid."""
        a, b = self.grid.lonlat(*start), self.grid.lonlat(*end)
        true = azimuth_deg(a, b)
        magnetic = None if self.declination_deg is None else (true - self.declination_deg) % 360.0
        return Line(distance_m(a, b), true, magnetic)

    def name(self, row: float, col: float, kind: str) -> str | None:
        """Name of the nearest named place of a kind within 250 m."""
        x, y = self.grid.xy(row, col)
        near = [
            (np.hypot(f.geometry.centroid.x - x, f.geometry.centroid.y - y), str(f.properties["name"]))
            for f in self.names
            if f.properties.get("kind") == kind and f.properties.get("name")
        ]
        best = min(near, default=(np.inf, ""))
        return best[1] if best[0] <= NAME_WITHIN_M else None


def survey_of(country: Country, elevation_m: NDArray[np.float32] | None = None) -> Survey:
    """The country's survey, with the magnetic declination at its middle on its date."""
    elevation = country.read("elevation") if elevation_m is None else elevation_m
    magnetic = declination(country.grid.center, height_m=0.0, day=country.settings.date)
    return Survey(
        country.grid,
        elevation,
        None if magnetic is None else magnetic.deg,
        tuple(country.features("names")),
        beyond_of(country, elevation),
    )

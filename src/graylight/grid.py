"""The frame of a country: one metric, north-up UTM grid of square cells, and the points on it.

Row 0 is north. Points stand for cell centres. Azimuths outside the kernels are clockwise from true
north; on the grid true north is off by the meridian convergence, which lives here too.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS, Geod, Proj, Transformer

from graylight.errors import BadInput

__all__ = ["WGS84", "Bounds", "Grid", "LonLat", "RowCol", "azimuth_deg", "distance_m", "utm_crs"]

WGS84 = Geod(ellps="WGS84")


class LonLat(NamedTuple):
    """A place in WGS 84 degrees."""

    lon: float
    lat: float


class RowCol(NamedTuple):
    """A cell; row 0 is the northernmost."""

    row: int
    col: int


class Bounds(NamedTuple):
    """A box, in whatever frame the name of the variable says."""

    west: float
    south: float
    east: float
    north: float


@dataclass(frozen=True, slots=True)
class Grid:
    """A north-up grid of square cells in a UTM zone.

    Parameters
    ----------
    rows, cols
        Shape.
    transform
        Six floats (a, b, c, d, e, f): x = a col + b row + c and y = d col + e row + f for cell corners,
        with b = d = 0 and e = -a.
    crs
        "EPSG:326zz" or "EPSG:327zz".
    """

    rows: int
    cols: int
    transform: tuple[float, float, float, float, float, float]
    crs: str

    @classmethod
    def of(cls, west: float, north: float, cell_m: float, rows: int, cols: int, crs: str) -> Grid:
        """Make a grid from its north-west corner and cell size in metres."""
        return cls(rows, cols, (cell_m, 0.0, west, 0.0, -cell_m, north), crs)

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.rows, self.cols

    @property
    def cell_m(self) -> float:
        """Side of a cell in grid metres."""
        return self.transform[0]

    @property
    def bounds(self) -> Bounds:
        """Outer edges in the grid's CRS, metres."""
        a, _, west, _, _, north = self.transform
        return Bounds(west, north - a * self.rows, west + a * self.cols, north)

    @property
    def area_m2(self) -> float:
        """Area of the whole grid."""
        return self.rows * self.cols * self.cell_m**2

    def xy(self, row: float, col: float) -> tuple[float, float]:
        """Easting and northing of a cell's centre (fractions allowed)."""
        a, _, west, _, _, north = self.transform
        return west + (col + 0.5) * a, north - (row + 0.5) * a

    def lonlat(self, row: float, col: float) -> LonLat:
        """Longitude and latitude of a cell's centre (fractions allowed)."""
        lon, lat = _to_lonlat(self.crs).transform(*self.xy(row, col))
        return LonLat(lon, lat)

    def lonlats(self, rows: NDArray[np.floating], cols: NDArray[np.floating]) -> NDArray[np.float64]:
        """(n, 2) longitudes and latitudes of n cell centres."""
        a, _, west, _, _, north = self.transform
        lon, lat = _to_lonlat(self.crs).transform(west + (cols + 0.5) * a, north - (rows + 0.5) * a)
        return np.column_stack([lon, lat])

    def locate(self, place: LonLat) -> tuple[float, float]:
        """Fractional (row, col) of a place, whether inside or not; cell centres are whole numbers."""
        x, y = _from_lonlat(self.crs).transform(place.lon, place.lat)
        a, _, west, _, _, north = self.transform
        return (north - y) / a - 0.5, (x - west) / a - 0.5

    def locate_all(
        self, lon: NDArray[np.float64], lat: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Fractional rows and columns of n places, whether inside or not."""
        x, y = _from_lonlat(self.crs).transform(lon, lat)
        a, _, west, _, _, north = self.transform
        return (north - y) / a - 0.5, (x - west) / a - 0.5

    def contains(self, place: LonLat) -> bool:
        """Whether the place lies on the grid."""
        row, col = self.locate(place)
        return -0.5 <= row < self.rows - 0.5 and -0.5 <= col < self.cols - 0.5

    def rowcol(self, place: LonLat) -> RowCol:
        """The cell a place lies in.

        Raises
        ------
        BadInput
            The place lies outside the grid.
        """
        if not self.contains(place):
            west, south, east, north = self.lonlat_bounds()
            raise BadInput(
                f"the place {place.lat:.5f}, {place.lon:.5f} lies outside the country; accepted is "
                f"latitude {south:.4f} to {north:.4f} and longitude {west:.4f} to {east:.4f}; check the place "
                "or make a larger country"
            )
        row, col = self.locate(place)
        return RowCol(int(np.floor(row + 0.5)), int(np.floor(col + 0.5)))

    @property
    def center(self) -> LonLat:
        """The middle of the grid."""
        return self.lonlat((self.rows - 1) / 2, (self.cols - 1) / 2)

    def lonlat_bounds(self) -> Bounds:
        """Smallest box of longitudes and latitudes that holds the grid."""
        transformer = _to_lonlat(self.crs)
        return Bounds(*transformer.transform_bounds(*self.bounds))

    def convergence_deg(self, at: LonLat | None = None) -> float:
        """Meridian convergence at a place, or at the middle: true azimuth = grid azimuth + convergence.

        Within a country of tens of kilometres it changes by a few tenths of a degree at most; bearings
        between two places are not taken from it but from the ellipsoid (`azimuth_deg`).
        """
        here = self.center if at is None else at
        return float(Proj(self.crs).get_factors(here.lon, here.lat).meridian_convergence)


@lru_cache(maxsize=32)
def _to_lonlat(crs: str) -> Transformer:
    return Transformer.from_crs(crs, "EPSG:4326", always_xy=True)


@lru_cache(maxsize=32)
def _from_lonlat(crs: str) -> Transformer:
    return Transformer.from_crs("EPSG:4326", crs, always_xy=True)


def utm_crs(place: LonLat) -> str:
    """EPSG code of the UTM zone of a place (plain six-degree zones).

    Raises
    ------
    BadInput
        Latitude beyond 84 N or 80 S, where UTM is not defined.
    """
    if not -80.0 <= place.lat <= 84.0:
        raise BadInput(
            f"latitude {place.lat:.3f} lies in the polar areas; accepted is 80 S to 84 N, where UTM is defined; "
            "choose country farther from the pole"
        )
    zone = min(int((place.lon + 180.0) // 6.0) % 60 + 1, 60)
    code = (32600 if place.lat >= 0 else 32700) + zone
    return CRS.from_epsg(code).to_string()


def distance_m(a: LonLat, b: LonLat) -> float:
    """Geodesic distance on WGS 84 (Karney 2013, doi:10.1007/s00190-012-0578-z), heights ignored."""
    return float(WGS84.inv(a.lon, a.lat, b.lon, b.lat)[2])


def azimuth_deg(a: LonLat, b: LonLat) -> float:
    """Azimuth of b from a, degrees clockwise from true north in [0, 360)."""
    return float(WGS84.inv(a.lon, a.lat, b.lon, b.lat)[0]) % 360.0

"""Where on a picture a place lies: a box of the grid, laid on pixels."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from pyproj import Transformer

from graylight.drawing.hillshade import Floats, fill_gaps
from graylight.errors import BadInput
from graylight.grid import Bounds, Grid, LonLat

__all__ = ["Frame", "frame_of"]


@dataclass(frozen=True, slots=True)
class Frame:
    """A box of a grid on a picture of `width` by `height` pixels; (0, 0) is its north-west corner.

    Parameters
    ----------
    grid
        The country's grid.
    box
        What is shown, in the grid's CRS, metres.
    width, height
        Pixels.
    """

    grid: Grid
    box: Bounds
    width: int
    height: int

    @property
    def metres_per_pixel(self) -> float:
        """Scale of the picture."""
        return (self.box.east - self.box.west) / self.width

    def pixel(self, place: LonLat) -> tuple[float, float]:
        """Pixel x, y of a place, fractions kept."""
        x, y = self.pixels(np.array([[place.lon, place.lat]]))[0]
        return float(x), float(y)

    def pixels(self, lonlats: NDArray[np.floating]) -> NDArray[np.float64]:
        """(n, 2) pixel x, y of (n, 2) longitudes and latitudes."""
        east, north = _from_lonlat(self.grid.crs).transform(lonlats[:, 0], lonlats[:, 1])
        return self.from_grid(np.asarray(east), np.asarray(north))

    def from_grid(self, east: NDArray[np.floating], north: NDArray[np.floating]) -> NDArray[np.float64]:
        """(n, 2) pixel x, y of grid eastings and northings."""
        x = (east - self.box.west) / self.metres_per_pixel
        y = (self.box.north - north) / self.metres_per_pixel
        return np.column_stack([x, y]).astype(np.float64)

    def holds(self, x: float, y: float, *, margin: float = 0.0) -> bool:
        """Whether a pixel lies on the picture, at least `margin` from its edge."""
        return margin <= x <= self.width - margin and margin <= y <= self.height - margin

    def sample(self, values: Floats, *, smooth: bool = True) -> Floats:
        """Bring a raster of the grid onto the pixels, (height, width) float32, NaN where it is NaN.

        Cubic where `smooth`, else bilinear; averaged over the cells of a pixel where the picture is coarser.
        """
        how = Image.Resampling.BICUBIC if smooth else Image.Resampling.BILINEAR
        known = np.isfinite(values)
        out = self._resize(Image.fromarray(fill_gaps(np.ascontiguousarray(values, dtype=np.float32))), how)
        result = np.array(out, dtype=np.float32)
        if not known.all():
            part = self._resize(Image.fromarray(known.astype(np.uint8) * 255), Image.Resampling.BILINEAR)
            result[np.asarray(part) < 128] = np.nan
        return result

    def sample_colour(self, rgb: NDArray[np.uint8]) -> NDArray[np.float32]:
        """Bring a coloured raster of the grid, (rows, cols, 3), onto the pixels."""
        return np.asarray(self._resize(Image.fromarray(rgb), Image.Resampling.BILINEAR), dtype=np.float32)

    def sample_class(self, values: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """Bring classes onto the pixels by the nearest cell."""
        return np.asarray(self._resize(Image.fromarray(values), Image.Resampling.NEAREST), dtype=np.uint8)

    def _resize(self, picture: Image.Image, how: Image.Resampling) -> Image.Image:
        edge, cell = self.grid.bounds, self.grid.cell_m
        source = (
            max((self.box.west - edge.west) / cell, 0.0),
            max((edge.north - self.box.north) / cell, 0.0),
            min((self.box.east - edge.west) / cell, float(self.grid.cols)),
            min((edge.north - self.box.south) / cell, float(self.grid.rows)),
        )
        return picture.resize((self.width, self.height), how, box=source)


@lru_cache(maxsize=16)
def _from_lonlat(crs: str) -> Transformer:
    return Transformer.from_crs("EPSG:4326", crs, always_xy=True)


def frame_of(
    grid: Grid, *, width: int, box: Bounds | None = None, tallest: float = 1.6, flattest: float = 0.4
) -> Frame:
    """Lay a box on a picture of a width.

    Parameters
    ----------
    grid
        The country's grid.
    width
        Pixels.
    box
        What to show in WGS 84 degrees; none: the whole grid. What lies outside the grid is cut off.
    tallest, flattest
        A narrower (wider) box is cut about its middle so that the picture is at most (least) so many times as
        high as wide.

    Raises
    ------
    BadInput
        The box does not touch the grid.
    """
    shown = _within(grid, box)
    wide, high = shown.east - shown.west, shown.north - shown.south
    if high > wide * tallest:
        middle, half = (shown.north + shown.south) / 2, wide * tallest / 2
        shown = Bounds(shown.west, middle - half, shown.east, middle + half)
    elif high < wide * flattest:
        middle, half = (shown.west + shown.east) / 2, high / flattest / 2
        shown = Bounds(middle - half, shown.south, middle + half, shown.north)
    height = max(1, int(width * (shown.north - shown.south) / (shown.east - shown.west) + 1e-6))
    # the height is whole pixels; the box follows it, so that pixels stay square to the last metre
    metres = (shown.east - shown.west) / width
    return Frame(
        grid, Bounds(shown.west, shown.north - height * metres, shown.east, shown.north), width, height
    )


def _within(grid: Grid, box: Bounds | None) -> Bounds:
    edge = grid.bounds
    if box is None:
        return edge
    corners = [(lon, lat) for lon in (box.west, box.east) for lat in (box.south, box.north)]
    east, north = np.array([_from_lonlat(grid.crs).transform(*corner) for corner in corners]).T
    shown = Bounds(
        max(float(east.min()), edge.west), max(float(north.min()), edge.south),
        min(float(east.max()), edge.east), min(float(north.max()), edge.north),
    )  # fmt: skip
    if shown.east - shown.west < 2 * grid.cell_m or shown.north - shown.south < 2 * grid.cell_m:
        inside = tuple(round(v, 4) for v in grid.lonlat_bounds())
        raise BadInput(
            f"the box {tuple(round(v, 4) for v in box)} does not lie on the country; accepted is west, "
            f"south, east, north within {inside}; choose another box"
        )
    return shown

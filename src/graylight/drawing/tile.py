"""Square tiles of the web map, cut out of rasters of the country's grid."""

from __future__ import annotations

import io
import math
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from pyproj import Transformer

from graylight.drawing.hillshade import Floats, fill_gaps
from graylight.grid import Bounds, Grid

__all__ = ["SIDE", "Cut", "Stack", "Tile", "level_terrain", "pack_rgb", "terrain"]

Quad: TypeAlias = NDArray[np.float64]

SIDE = 256
"""Pixels of a tile's side."""
_HALF_M = math.pi * 6378137.0
"""Half the side of the whole web map (EPSG:3857), metres."""
_FEWEST = 32
"""A raster is not halved below so many cells a side."""
_LOWEST_M, _STEP_M = -10000.0, 0.1
"""Height of the code 0, and of one step, in the open encoding of heights as colours."""


class Tile(NamedTuple):
    """A tile of the web map: zoom, column from the west, row from the north."""

    z: int
    x: int
    y: int

    @property
    def bounds_m(self) -> Bounds:
        """Edges in EPSG:3857, metres."""
        side = 2.0 * _HALF_M / 2**self.z
        west, north = -_HALF_M + self.x * side, _HALF_M - self.y * side
        return Bounds(west, north - side, west + side, north)


@dataclass(frozen=True, slots=True)
class Cut:
    """Where a tile lies on a grid: its corners in columns and rows counted from the grid's north-west corner.

    Parameters
    ----------
    quad : (4, 2) float64
        Column, row of the north-west, south-west, south-east and north-east corner, in cells; whole numbers
        are cell edges.
    side
        Pixels of the picture cut out, any rim included.
    """

    quad: Quad
    side: int

    @classmethod
    def of(cls, grid: Grid, tile: Tile, *, rim: int = 0) -> Cut:
        """Lay a tile, with a rim of some pixels around it, on a grid.

        Between the corners the two frames are taken as alike: at 40 degrees of latitude that moves a pixel by
        less than a sixth of its side from zoom 10 on, and neighbouring tiles meet without a seam.
        """
        west, south, east, north = tile.bounds_m
        more = (east - west) * rim / SIDE
        x = np.array([west - more, west - more, east + more, east + more])
        y = np.array([north + more, south - more, south - more, north + more])
        over, up = _to_grid(grid.crs).transform(x, y)
        a, _, left, _, _, top = grid.transform
        return cls(np.column_stack([(over - left) / a, (top - up) / a]), SIDE + 2 * rim)

    def meets(self, grid: Grid) -> bool:
        """Whether any of the tile may lie on the grid."""
        if not np.isfinite(self.quad).all():
            return False
        (left, top), (right, foot) = self.quad.min(axis=0), self.quad.max(axis=0)
        return bool(right > 0 and foot > 0 and left < grid.cols and top < grid.rows)

    @property
    def cells_per_pixel(self) -> float:
        """How many cells lie side by side in a pixel."""
        return float(np.hypot(*(self.quad[3] - self.quad[0]))) / self.side

    def centres(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Column and row, in cells as `quad`, of the middle of every pixel: two (side, side)."""
        along = (np.arange(self.side) + 0.5) / self.side
        across, down = along[None, :, None], along[:, None, None]
        nw, sw, se, ne = self.quad
        at = (1 - down) * ((1 - across) * nw + across * ne) + down * ((1 - across) * sw + across * se)
        return at[..., 0], at[..., 1]


@lru_cache(maxsize=8)
def _to_grid(crs: str) -> Transformer:
    return Transformer.from_crs("EPSG:3857", crs, always_xy=True)


class Stack:
    """One raster at its own size and halved again and again, ready to be cut into tiles.

    Parameters
    ----------
    values : (rows, cols) float32 or uint8, or (rows, cols, 3 or 4) uint8
        Numbers (NaN where not known), classes, or colours.
    smooth
        Whether the mean of two cells means something; classes are taken from the nearest cell.
    """

    def __init__(self, values: NDArray[np.generic], *, smooth: bool = True) -> None:
        self.smooth = smooth
        self.outside = math.nan if values.dtype.kind == "f" else 0
        self._levels = [Image.fromarray(np.ascontiguousarray(values))]
        while min(self._levels[-1].size) >= 2 * _FEWEST:
            self._levels.append(self._halved(self._levels[-1]))

    def _halved(self, image: Image.Image) -> Image.Image:
        if self.smooth:
            return image.reduce(2)
        return Image.fromarray(np.ascontiguousarray(np.asarray(image)[::2, ::2]))

    def cut(self, cut: Cut) -> NDArray[np.generic]:
        """The raster on a tile's pixels, (side, side) or (side, side, bands).

        NaN, or 0, outside the raster. Bilinear, from the level whose cells are nearest below a pixel's size.
        """
        level = max(0, math.floor(math.log2(max(cut.cells_per_pixel, 1e-9))))
        level = min(level, len(self._levels) - 1)
        image = self._levels[level]
        how = Image.Resampling.BILINEAR if self.smooth else Image.Resampling.NEAREST
        corners = [float(v) for v in (cut.quad / 2**level).ravel()]
        outside = (0,) * len(image.getbands()) if len(image.getbands()) > 1 else self.outside
        laid = image.transform((cut.side, cut.side), Image.Transform.QUAD, corners, how, fillcolor=outside)
        return np.asarray(laid)


def pack_rgb(height_m: Floats) -> NDArray[np.uint8]:
    """Heights as colours, (..., 3): height = -10000 m + 0.1 m (65536 red + 256 green + blue).

    >>> pack_rgb(np.array([0.0], np.float32)).tolist()
    [[1, 134, 160]]
    """
    code = np.rint((np.asarray(height_m, np.float64) - _LOWEST_M) / _STEP_M)
    code = np.clip(code, 0, 2**24 - 1).astype(np.uint32)
    return np.stack([code >> 16, code >> 8 & 255, code & 255], axis=-1).astype(np.uint8)


def terrain(filled: Floats, cut: Cut) -> bytes:
    """A tile of heights as PNG; outside the raster the heights of its edge go on, so that no cliff stands there.

    Parameters
    ----------
    filled : (rows, cols) float32
        Heights in metres without gaps (see `hillshade.fill_gaps`).
    """
    col, row = cut.centres()
    heights = _bilinear(filled, row - 0.5, col - 0.5)
    return png_of(Image.fromarray(pack_rgb(heights)))


def level_terrain(height_m: float) -> bytes:
    """A tile of level ground: a blank one would be told as a pit, 10 km deep."""
    return png_of(Image.fromarray(pack_rgb(np.full((SIDE, SIDE), height_m, np.float32))))


def _bilinear(values: Floats, row: NDArray[np.float64], col: NDArray[np.float64]) -> Floats:
    rows, cols = values.shape
    row, col = np.clip(row, 0, rows - 1), np.clip(col, 0, cols - 1)
    r, c = (
        np.minimum(row.astype(np.intp), max(rows - 2, 0)),
        np.minimum(col.astype(np.intp), max(cols - 2, 0)),
    )
    down, right = (row - r).astype(np.float32), (col - c).astype(np.float32)
    r2, c2 = np.minimum(r + 1, rows - 1), np.minimum(c + 1, cols - 1)
    upper = values[r, c] * (1 - right) + values[r, c2] * right
    lower = values[r2, c] * (1 - right) + values[r2, c2] * right
    return np.asarray(upper * (1 - down) + lower * down, np.float32)


def png_of(image: Image.Image, *, alpha: bytes | None = None) -> bytes:
    """A picture as PNG, packed lightly: the hardest packing takes ten times as long for a tenth fewer bytes."""
    out = io.BytesIO()
    more = {} if alpha is None else {"transparency": alpha}
    image.save(out, format="PNG", compress_level=1, **more)
    return out.getvalue()


def filled(elevation_m: Floats) -> Floats:
    """Heights without gaps, for `terrain`."""
    return fill_gaps(elevation_m)

"""The drawn map as tiles of 256 pixels in Web Mercator (EPSG:3857), for map programs that work without a network."""

from __future__ import annotations

import io
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from pyproj import Transformer

from graylight.drawing.frame import Frame
from graylight.drawing.ground import MapData
from graylight.drawing.palettes import PAPER
from graylight.grid import Bounds, Grid
from graylight.packet.screen_map import screen_frame, screen_map
from graylight.plan.model import Plan
from graylight.units import Units
from graylight.work import Tick, silent

__all__ = ["TILE_PX", "Tile", "TileSet", "draw_tiles"]

TILE_PX = 256
WORLD_M = 2.0 * math.pi * 6_378_137.0
"""Length of the equator in Web Mercator (EPSG:3857)."""
MOST_PX = 3400
"""No picture of the country is drawn wider than this: zoom levels stop there."""
DRAWN, DEEPEST = 2, 16
"""So many of the deepest levels are drawn each at its own size; those above are reduced from the last of them."""
UNIT = 0.58
_JPEG = 80


@dataclass(frozen=True, slots=True)
class Tile:
    """One tile: level, column from the west, row from the north; a JPEG."""

    zoom: int
    x: int
    y: int
    data: bytes


@dataclass(frozen=True, slots=True)
class TileSet:
    """All tiles of a country, by level, then row, then column.

    Parameters
    ----------
    tiles
        No tile that lies wholly outside the country.
    bounds
        Of the country, WGS 84 degrees.
    """

    tiles: tuple[Tile, ...]
    bounds: Bounds

    @property
    def zooms(self) -> tuple[int, int]:
        """The shallowest and the deepest level."""
        return self.tiles[0].zoom, self.tiles[-1].zoom

    @property
    def middle(self) -> tuple[float, float]:
        """Longitude and latitude."""
        return (self.bounds.west + self.bounds.east) / 2.0, (self.bounds.south + self.bounds.north) / 2.0


def draw_tiles(data: MapData, plan: Plan, *, units: Units, tick: Tick = silent) -> TileSet:
    """Draw the map and cut it into tiles.

    Returns
    -------
    TileSet
        From the level at which the country fits on few tiles down to the one that shows all that the grid holds,
        as far as memory goes.
    """
    grid = data.grid
    deepest = _deepest(grid)
    tiles: list[Tile] = []
    picture, frame = None, screen_frame(grid, 400)
    for zoom in range(deepest, max(deepest - 5, 0) - 1, -1):
        wide = round((grid.bounds.east - grid.bounds.west) / _metres(zoom, grid))
        if picture is None or (zoom > deepest - DRAWN and wide >= 256):
            frame = screen_frame(grid, max(wide, 64))
            picture = screen_map(data, plan, frame, units=units, unit=UNIT)
        else:
            frame = _halved(frame)
            picture = picture.resize((frame.width, frame.height), Image.Resampling.BOX)
        tiles += _cut(picture, frame, zoom)
        tick((deepest - zoom + 1) / 6.0)
    return TileSet(tuple(sorted(tiles, key=lambda t: (t.zoom, t.y, t.x))), grid.lonlat_bounds())


def _metres(zoom: int, grid: Grid) -> float:
    """Metres on the ground of a pixel of a level, at the country's latitude."""
    return WORLD_M / TILE_PX / float(1 << zoom) * math.cos(math.radians(grid.center.lat))


def _deepest(grid: Grid) -> int:
    """The level whose pixels are about a third of a cell, unless the picture would be too large."""
    wide = max(grid.bounds.east - grid.bounds.west, grid.bounds.north - grid.bounds.south)
    zoom = DEEPEST
    while zoom > 0 and (_metres(zoom, grid) < 0.3 * grid.cell_m or wide / _metres(zoom, grid) > MOST_PX):
        zoom -= 1
    return zoom


def _halved(frame: Frame) -> Frame:
    return Frame(frame.grid, frame.box, max(frame.width // 2, 1), max(frame.height // 2, 1))


def _cut(picture: Image.Image, frame: Frame, zoom: int) -> Iterator[Tile]:
    """Tiles of a level; each is laid on the picture by its four corners, off by less than a hundredth of a pixel."""
    size = WORLD_M / 2**zoom
    turn = Transformer.from_crs("EPSG:3857", frame.grid.crs, always_xy=True)
    back = Transformer.from_crs(frame.grid.crs, "EPSG:3857", always_xy=True)
    west, south, east, north = back.transform_bounds(*frame.box)
    padded = Image.new("RGB", (picture.width + 2, picture.height + 2), PAPER)
    padded.paste(picture, (1, 1))
    for y in range(math.floor((WORLD_M / 2 - north) / size), math.floor((WORLD_M / 2 - south) / size) + 1):
        for x in range(math.floor((west + WORLD_M / 2) / size), math.floor((east + WORLD_M / 2) / size) + 1):
            left, top = x * size - WORLD_M / 2, WORLD_M / 2 - y * size
            corners = _corners(frame, turn, (left, top - size, left + size, top))
            if _touches(corners, frame):
                yield Tile(zoom, x, y, _tile(padded, corners + 1.0))


def _corners(frame: Frame, turn: Transformer, box: tuple[float, float, float, float]) -> NDArray[np.float64]:
    """(4, 2) pixels of the picture at a box's upper left, lower left, lower right and upper right corner."""
    west, south, east, north = box
    xs, ys = turn.transform([west, west, east, east], [north, south, south, north])
    tall = frame.metres_per_pixel / ((frame.box.north - frame.box.south) / frame.height)
    at: NDArray[np.float64] = frame.from_grid(np.asarray(xs), np.asarray(ys)) * np.array([1.0, tall])
    return at


def _touches(corners: NDArray[np.float64], frame: Frame) -> bool:
    low, high = corners.min(axis=0), corners.max(axis=0)
    return bool(high[0] > 0 and high[1] > 0 and low[0] < frame.width and low[1] < frame.height)


def _tile(padded: Image.Image, corners: NDArray[np.float64]) -> bytes:
    tile = padded.transform(
        (TILE_PX, TILE_PX), Image.Transform.QUAD, tuple(corners.ravel()), Image.Resampling.BICUBIC,
        fillcolor=PAPER,
    )  # fmt: skip
    out = io.BytesIO()
    tile.save(out, format="JPEG", quality=_JPEG, subsampling=0)
    return out.getvalue()

"""Tiled pictures of the web's common frame (EPSG:3857): which tiles a box needs, had and put together."""

from __future__ import annotations

import io
import math
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numpy.typing import NDArray
from PIL import Image, UnidentifiedImageError
from rasterio.transform import Affine

from graylight.errors import BadInput
from graylight.gather.errand import Errand
from graylight.gather.gate import NotThere, Trouble, is_picture
from graylight.gather.sheet import Frame, Sheet
from graylight.grid import Bounds

__all__ = ["quadkey", "tile_at", "tile_range", "tiles_over"]

HALF_M = 20037508.342789244
"""Half the width of EPSG:3857's square, metres: pi x 6378137."""
SIDE = 256
MOST_TILES = 4000
AT_ONCE = 4
"""Tiles of one service asked for at once: a tile server is shared by many."""
MOST_LAT = 85.05


def tile_at(lon: float, lat: float, zoom: int) -> tuple[int, int]:
    """Column and row of the tile that holds a place (rows from the north).

    >>> tile_at(-111.5, 39.3, 12)
    (779, 1561)
    """
    lat = max(-MOST_LAT, min(MOST_LAT, lat))
    n = 1 << zoom
    x = (lon + 180.0) / 360.0 * n
    y = (1.0 - math.asinh(math.tan(math.radians(lat))) / math.pi) / 2.0 * n
    return min(n - 1, max(0, math.floor(x))), min(n - 1, max(0, math.floor(y)))


def quadkey(col: int, row: int, zoom: int) -> str:
    """A tile's name in base 4, its columns and rows interleaved.

    >>> quadkey(*tile_at(-111.5, 39.3, 10), 10)
    '0231000230'
    """
    return "".join(str((col >> i & 1) + 2 * (row >> i & 1)) for i in range(zoom - 1, -1, -1))


def tile_range(box: Bounds, zoom: int) -> tuple[range, range]:
    """Columns and rows of the tiles that a box of degrees touches."""
    west, north = tile_at(box.west, box.north, zoom)
    east, south = tile_at(box.east, box.south, zoom)
    return range(west, east + 1), range(north, south + 1)


def tiles_over(errand: Errand, box: Bounds, zoom: int) -> tuple[Sheet, int]:
    """The tiles over a box as one picture of red, green and blue, and how many were not there.

    Raises
    ------
    SourceUnavailable
        They can't be had, or none is there.
    """
    cols, rows = tile_range(box, zoom)
    if len(cols) * len(rows) > MOST_TILES:
        raise BadInput(
            f"{errand.service.title} would be asked for {len(cols) * len(rows):,} tiles; accepted are {MOST_TILES:,}; "
            "gather for less ground, or leave the source out with --without"
        )
    places = [(col, row) for row in rows for col in cols]
    with ThreadPoolExecutor(AT_ONCE, thread_name_prefix="tiles") as pool:
        found = list(pool.map(lambda at: _tile(errand, *at, zoom=zoom), places))
    values = np.zeros((3, len(rows) * SIDE, len(cols) * SIDE), np.uint8)
    for (col, row), (tile, _) in zip(places, found, strict=True):
        if tile is not None:
            top, left = (row - rows[0]) * SIDE, (col - cols[0]) * SIDE
            values[:, top : top + SIDE, left : left + SIDE] = tile
    absent = sum(tile is None for tile, _ in found)
    if absent == len(found):
        raise NotThere(f"{errand.service.title} has nothing here")
    cell = 2 * HALF_M / (1 << zoom) / SIDE
    corner = Affine(cell, 0, cols[0] * SIDE * cell - HALF_M, 0, -cell, HALF_M - rows[0] * SIDE * cell)
    frame = Frame("EPSG:3857", corner, values.shape[1], values.shape[2])
    fetched = min(date for tile, date in found if tile is not None)
    return Sheet(values, frame, 0 if absent else None, fetched), absent


def _tile(errand: Errand, col: int, row: int, *, zoom: int) -> tuple[NDArray[np.uint8] | None, str]:
    service = errand.service

    def check(body: bytes) -> None:
        if not is_picture(body):
            raise Trouble(f"{service.title} sent something that is no picture")

    try:
        answer = errand.gate.ask(service, service.url.format(z=zoom, x=col, y=row), check=check)
    except NotThere:
        return None, ""
    try:
        with Image.open(io.BytesIO(answer.body)) as picture:
            if picture.size != (SIDE, SIDE):
                raise Trouble(f"{service.title} sent a tile of {picture.size[0]} x {picture.size[1]}")
            return np.moveaxis(np.asarray(picture.convert("RGB")), 2, 0), answer.fetched
    except (UnidentifiedImageError, OSError, Image.DecompressionBombError):
        raise Trouble(f"{service.title} sent a picture that can't be read") from None

"""Holdings and boundaries on the web map: by pattern, never by colour alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from pyproj import Transformer
from shapely import box, get_coordinates, transform
from shapely.geometry.base import BaseGeometry

from graylight.drawing.palettes import INK
from graylight.drawing.tile import SIDE, Tile, png_of
from graylight.grid import Bounds

__all__ = ["Holding", "Pattern", "boundary_tile", "holdings_tile", "on_the_web"]

Pattern: TypeAlias = Literal["shut", "ask", "open"]
"""Shut: slanting lines; to be asked for: sparse dots; open: nothing but its edge."""

_FINE = 2
"""Edges are drawn at twice the size and brought down, so that they are smooth."""
_APART = 16
"""Pixels from line to line; a tile's side is a whole number of them, so that patterns meet."""


@dataclass(frozen=True, slots=True)
class Holding:
    """A piece of ground in EPSG:3857 with its pattern."""

    shape: BaseGeometry
    pattern: Pattern


def on_the_web(shape: BaseGeometry, crs: str) -> BaseGeometry:
    """A geometry moved into EPSG:3857."""
    mover = Transformer.from_crs(crs, "EPSG:3857", always_xy=True)

    def moved(xy: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.column_stack(mover.transform(xy[:, 0], xy[:, 1]))

    return transform(shape, moved)


def holdings_tile(holdings: Sequence[Holding], tile: Tile) -> bytes | None:
    """Draw the holdings that lie on a tile; None where none does."""
    edge = tile.bounds_m
    met = [one for one in holdings if one.shape.intersects(_around(edge))]
    if not met:
        return None
    ink = np.zeros((SIDE, SIDE), np.float32)
    for one in met:
        body, line = _drawn(one.shape, edge)
        ink = np.maximum(ink, np.maximum(body * _pattern(one.pattern) * 0.62, line * 0.9))
    return _inked(ink)


def boundary_tile(shapes: Sequence[BaseGeometry], tile: Tile) -> bytes | None:
    """Draw boundaries: a line, with the ground outside all of them veiled; None where nothing is to draw."""
    edge = tile.bounds_m
    body, line = np.zeros((SIDE, SIDE), np.float32), np.zeros((SIDE, SIDE), np.float32)
    for shape in shapes:
        if shape.intersects(_around(edge)):
            inside, border = _drawn(shape, edge)
            body, line = np.maximum(body, inside), np.maximum(line, border)
    return _inked(np.maximum((1.0 - body) * 0.22, line * 0.95)) if shapes else None


def _around(edge: Bounds) -> BaseGeometry:
    more = (edge.east - edge.west) * 4 / SIDE
    return box(edge.west - more, edge.south - more, edge.east + more, edge.north + more)


def _inked(ink: NDArray[np.float32]) -> bytes:
    """Night blue, as much as asked for."""
    image = Image.fromarray(np.rint(ink * 255.0).astype(np.uint8)).convert("P")
    image.putpalette(bytes(INK) * 256, "RGB")
    return png_of(image, alpha=bytes(range(256)))


def _drawn(shape: BaseGeometry, edge: Bounds) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """How much of each pixel lies inside a shape, and on its border."""
    body, line = (Image.new("L", (SIDE * _FINE, SIDE * _FINE), 0) for _ in range(2))
    fill, stroke = ImageDraw.Draw(body), ImageDraw.Draw(line)
    near = shape.intersection(_around(edge)) if shape.is_valid else shape
    for part in getattr(near, "geoms", [near]):
        if part.geom_type != "Polygon":
            continue
        fill.polygon(_pixels(part.exterior, edge), fill=255)
        for hole in part.interiors:
            fill.polygon(_pixels(hole, edge), fill=0)
    for ring in _rings(shape.boundary.intersection(_around(edge)) if shape.is_valid else shape.boundary):
        stroke.line(_pixels(ring, edge), fill=255, width=2 * _FINE)
    return _brought_down(body), _brought_down(line)


def _rings(border: BaseGeometry) -> list[BaseGeometry]:
    parts = getattr(border, "geoms", [border])
    return [one for one in parts if one.geom_type in {"LineString", "LinearRing"} and not one.is_empty]


def _pixels(ring: BaseGeometry, edge: Bounds) -> list[tuple[float, float]]:
    at = get_coordinates(ring)
    scale = SIDE * _FINE / (edge.east - edge.west)
    return [((x - edge.west) * scale, (edge.north - y) * scale) for x, y in at.tolist()]


def _brought_down(image: Image.Image) -> NDArray[np.float32]:
    return np.asarray(image.reduce(_FINE), np.float32) / np.float32(255.0)


def _pattern(kind: Pattern) -> NDArray[np.float32]:
    rows, cols = np.ogrid[:SIDE, :SIDE]
    if kind == "shut":
        drawn = (rows + cols) % _APART < 2
    elif kind == "ask":
        drawn = (rows % _APART < 2) & ((cols + rows // _APART % 2 * (_APART // 2)) % _APART < 2)
    else:
        drawn = np.zeros((SIDE, SIDE), bool)
    return np.asarray(drawn, np.float32)

"""Rasters and vector files made for the tests of entry: a smooth mountain that is known at every point."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import rasterio
from pyproj import Transformer
from rasterio.transform import Affine

ZONE = "EPSG:32612"
WEST, NORTH = 400_000.0, 4_400_000.0


def mountain(x, y):
    """Height in metres at UTM 12 north coordinates: swells a few hundred metres high, some 2 km apart."""
    u, v = (np.asarray(x) - WEST) / 1000.0, (np.asarray(y) - NORTH) / 1000.0
    return 2600.0 + 250.0 * np.sin(2.1 * u) * np.cos(1.7 * v) + 60.0 * u


def centres(affine: Affine, rows: int, cols: int):
    """Coordinates of the cells' centres."""
    a, b, c, d, e, f = affine[:6]
    col, row = np.meshgrid(np.arange(cols) + 0.5, np.arange(rows) + 0.5)
    return a * col + b * row + c, d * col + e * row + f


def mountain_on(affine: Affine, rows: int, cols: int, crs: str = ZONE):
    """The mountain sampled at the cells' centres of any raster."""
    x, y = centres(affine, rows, cols)
    if crs != ZONE:
        x, y = Transformer.from_crs(crs, ZONE, always_xy=True).transform(x, y)
    return mountain(x, y)


def grid_affine(cell: float = 10.0, west: float = WEST, north: float = NORTH) -> Affine:
    return Affine(cell, 0.0, west, 0.0, -cell, north)


def write_raster(
    path: Path, values: Any, affine: Affine | None = None, crs: str | None = ZONE, *,
    nodata: float | None = None, unit: str | None = None, names: tuple[str, ...] = (), tags: dict[str, str] | None = None,
    **profile: Any,
) -> Path:  # fmt: skip
    stack = np.asarray(values)
    stack = stack[None] if stack.ndim == 2 else stack
    with rasterio.open(
        path, "w", driver="GTiff", count=stack.shape[0], height=stack.shape[1], width=stack.shape[2],
        dtype=stack.dtype, crs=crs, transform=affine or grid_affine(), nodata=nodata, **profile,
    ) as out:  # fmt: skip
        out.write(stack)
        if unit is not None:
            out.units = (unit,) * stack.shape[0]
        for band, name in enumerate(names, 1):
            out.set_band_description(band, name)
        if tags:
            out.update_tags(**tags)
    return path


def elevation(folder: Path, name: str = "elevation.tif", rows: int = 90, cols: int = 110, **how: Any) -> Path:
    """The mountain as a plain 10 m GeoTIFF in UTM 12 north."""
    values = mountain_on(grid_affine(), rows, cols).astype("float32")
    return write_raster(folder / name, values, **how)

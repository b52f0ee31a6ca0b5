"""Layers on disk: cloud-optimised GeoTIFF, the same bytes for the same values."""

from __future__ import annotations

import errno
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
from numpy.typing import NDArray
from rasterio.errors import RasterioError
from rasterio.transform import Affine
from rasterio.windows import Window

from graylight.country.layers import LayerSpec
from graylight.errors import BadInput
from graylight.grid import Grid

__all__ = ["read_layer", "write_layer", "written_whole"]

_HOW = {
    "driver": "COG",
    "compress": "DEFLATE",
    "level": 3,  # measured on 1.44 M cells: 1.5 % larger than 6, a sixth quicker
    "predictor": "YES",
    "blocksize": 256,
    "num_threads": "1",
    "bigtiff": "IF_SAFER",
}


def write_layer(path: Path, spec: LayerSpec, values: NDArray[Any], grid: Grid) -> None:
    """Write a layer as a COG with its meaning in its tags.

    Parameters
    ----------
    path
        A new file; renaming it into place is the caller's business.
    spec
        What the layer is.
    values : (rows, cols), or (bands, rows, cols) for a layer of several bands
        NaN where a float layer is not known.
    grid
        The country's grid.

    Raises
    ------
    ValueError
        The values have another shape, or do not fit the layer's dtype: a mistake in the program.
    OSError
        It can't be written whole: most often the disk is full.
    """
    stack = _fitted(spec, values, grid)
    with written_whole(path), rasterio.open(
        path, "w", **_HOW, width=grid.cols, height=grid.rows, count=spec.bands, dtype=spec.dtype,
        nodata=spec.nodata, crs=rasterio.CRS.from_string(grid.crs), transform=Affine(*grid.transform),
        overview_resampling="AVERAGE" if spec.smooth else "NEAREST",
    ) as out:  # fmt: skip
        out.write(stack)
        out.update_tags(description=spec.words, unit=spec.unit, writer=spec.writer)
        out.units = (spec.unit,) * spec.bands
        for band, words in enumerate(_band_names(spec), 1):
            out.set_band_description(band, words)


@contextmanager
def written_whole(path: Path) -> Iterator[None]:
    """Tell what GDAL says when a raster can't be written as the system tells it of other files.

    Raises
    ------
    OSError
        It could not be.
    """
    try:
        yield
    except Exception as error:
        # what GDAL's C code reports has no public class of its own in rasterio
        if not type(error).__module__.startswith("rasterio"):
            raise
        raise OSError(errno.EIO, f"{path.name} could not be written whole; is the disk full?") from None


def _band_names(spec: LayerSpec) -> tuple[str, ...]:
    return ("red", "green", "blue") if spec.bands == 3 else (spec.name,)


def _fitted(spec: LayerSpec, values: NDArray[Any], grid: Grid) -> NDArray[Any]:
    stack = values[None] if values.ndim == 2 else values
    if stack.shape != (spec.bands, *grid.shape):
        raise ValueError(
            f"layer {spec.name}: shape {values.shape}, the grid has {grid.shape} and {spec.bands} bands"
        )
    cast = np.ascontiguousarray(stack, spec.dtype)
    if stack.dtype.kind in "iuf" and spec.dtype != "float32" and not np.array_equal(cast, stack):
        raise ValueError(f"layer {spec.name}: values of {stack.dtype} that do not fit {spec.dtype}")
    return cast


def read_layer(
    path: Path, spec: LayerSpec, grid: Grid, *, part: tuple[slice, slice] | None = None
) -> NDArray[Any]:
    """Read a layer back as it was written, whole or a part of its rows and columns.

    Returns
    -------
    (rows, cols), or (bands, rows, cols) for a layer of several bands

    Raises
    ------
    BadInput
        The file is damaged, or was put there by something else and does not lie on the country's grid.
    """
    try:
        with rasterio.open(path) as source:
            found = (source.count, source.height, source.width, source.transform)
            values: NDArray[Any] = source.read(window=None if part is None else Window.from_slices(*part))
    except RasterioError:
        raise BadInput(
            f"the layer file {path.name} can't be read; accepted is a GeoTIFF written by graylight; remove "
            "the file, then plan again (or make the country anew, if it is a layer brought in)"
        ) from None
    if found != (spec.bands, *grid.shape, Affine(*grid.transform)) or values.dtype != spec.dtype:
        raise BadInput(
            f"the layer file {path.name} has {found[1]} x {found[2]} cells of {values.dtype}; accepted is "
            f"{grid.rows} x {grid.cols} of {spec.dtype} on the country's grid; remove the file, then plan "
            "again"
        )
    return values if spec.bands > 1 else values[0]

"""Vector features brought onto the grid as masks."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray
from rasterio.features import rasterize
from rasterio.transform import Affine
from shapely.geometry.base import BaseGeometry

from graylight.grid import Grid

__all__ = ["burn"]


def burn(shapes: Iterable[BaseGeometry], grid: Grid) -> NDArray[np.bool_]:
    """Cells touched by any of the shapes.

    Parameters
    ----------
    shapes
        Geometries in the grid's CRS; empty ones are passed over.
    grid

    Returns
    -------
    (rows, cols) bool
    """
    whole = [shape for shape in shapes if not shape.is_empty]
    if not whole:
        return np.zeros(grid.shape, bool)
    burnt = rasterize(
        whole, out_shape=grid.shape, transform=Affine(*grid.transform), all_touched=True, dtype="uint8"
    )
    return burnt.astype(bool)  # type: ignore[no-any-return]

"""How much ground drains through each cell."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from graylight.kernels.drainage import accumulate, receivers

__all__ = ["drainage_area_m2"]


def drainage_area_m2(elevation_m: NDArray[np.float32], *, cell_m: float) -> NDArray[np.float64]:
    """Area of the ground that drains through each cell, itself included, over hollows filled to their rims.

    Parameters
    ----------
    elevation_m
        (rows, cols) float32, metres, NaN for unknown.
    cell_m
        Cell size, metres.

    Returns
    -------
    (rows, cols) float64
        Square metres; NaN where unknown.

    Notes
    -----
    Steepest of eight directions on the priority-flooded surface; see `kernels.drainage`. Not modelled:
    ground beyond the edge that drains in; water that sinks.

    Examples
    --------
    >>> drainage_area_m2(np.array([[5, 3, 1], [6, 4, 2], [7, 5, 3]], np.float32), cell_m=10.0)[1, 1]
    200.0
    """
    size = elevation_m.size
    receiver, order, cells = np.empty(size, np.int64), np.empty(size, np.int64), np.empty(size)
    receivers(np.ascontiguousarray(elevation_m, dtype=np.float32), receiver, order)
    accumulate(receiver, order, cells)
    area: NDArray[np.float64] = cells.reshape(elevation_m.shape) * cell_m**2
    return area

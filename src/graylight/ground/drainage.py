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
    >>> gully = np.array([[9, 9, 9, 9, 9], [9, 4, 3, 2, 1], [9, 9, 9, 9, 9]], np.float32)
    >>> drainage_area_m2(gully, cell_m=10.0)[1].tolist()  # ground at the edge drains out there
    [100.0, 100.0, 200.0, 300.0, 400.0]
    """
    size = elevation_m.size
    receiver, order, cells = np.empty(size, np.int64), np.empty(size, np.int64), np.empty(size)
    receivers(np.ascontiguousarray(elevation_m, dtype=np.float32), receiver, order)
    accumulate(receiver, order, cells)
    area: NDArray[np.float64] = cells.reshape(elevation_m.shape) * cell_m**2
    return area

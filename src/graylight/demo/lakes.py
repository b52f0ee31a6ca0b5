"""Water on the invented range: hollows are kept as tarns or opened, and all else runs downhill."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.ndimage import label

from graylight.demo.erosion import Cells, Floats, Numbers, drainage, open_ways
from graylight.kernels.drainage import fill

__all__ = ["Waters", "waters"]

FALL_M = 0.004  # least fall from cell to cell: above float32's step at 4000 m (0.00024 m)
LEAST_AREA_M2 = 2500.0
LEAST_DEPTH_M = 1.2
MOST_CUT_M = 6.0  # an outlet is opened at most so deep; what is left is filled


@dataclass(frozen=True)
class Waters:
    """Ground on which water runs downhill, and where it stands and gathers.

    Parameters
    ----------
    elevation_m : (rows, cols) float32
        Metres; a lake is level.
    lake : (rows, cols) int32
        0, or the lake's number.
    receiver, order : (rows * cols,) int64
        Drainage of `elevation_m`, see `graylight.kernels.drainage`.
    cells : (rows, cols) float64
        Cells that drain through each cell.
    """

    elevation_m: Floats
    lake: NDArray[np.int32]
    receiver: NDArray[np.int64]
    order: NDArray[np.int64]
    cells: NDArray[np.float64]


def waters(z: Floats, *, cell_m: float, allowed: Floats) -> Waters:
    """Keep the hollows that make a tarn where tarns are allowed (above a half), open or fill all others."""
    receiver, order, _ = drainage(z)
    level = np.empty(z.size, np.float32)
    fill(z.ravel(), receiver, order, level)
    lake = _tarns(level.reshape(z.shape) - z, allowed, cell_m)
    ground = np.where(lake > 0, level.reshape(z.shape), z).astype(np.float32)
    open_ways(ground.ravel(), lake.ravel(), receiver, order, MOST_CUT_M)
    _settle(ground.ravel(), lake.ravel(), receiver, order, FALL_M)
    receiver, order, cells = drainage(ground)
    return Waters(ground, lake, receiver, order, cells.reshape(z.shape))


def _tarns(depth: Floats, allowed: Floats, cell_m: float) -> NDArray[np.int32]:
    """Number the hollows that are wide and deep enough for a tarn."""
    number, count = label(depth > 0.0, structure=np.ones((3, 3)))
    flat = number.ravel()
    area = np.bincount(flat, minlength=count + 1) * cell_m**2
    deepest = np.zeros(count + 1, np.float32)
    np.maximum.at(deepest, flat, depth.ravel())
    fits = np.bincount(flat, weights=allowed.ravel(), minlength=count + 1) * cell_m**2 > 0.5 * area
    kept = (area >= LEAST_AREA_M2) & (deepest >= LEAST_DEPTH_M) & fits
    kept[0] = False
    renumber = np.where(kept, np.cumsum(kept), 0)
    return np.asarray(renumber[number], dtype=np.int32)


@njit(cache=True, nogil=True)
def _settle(z: Floats, lake: Numbers, receiver: Cells, order: Cells, fall_m: float) -> None:
    """From the outlets up, raise what does not yet fall towards its receiver; a lake keeps one level."""
    for n in range(order.size):
        cell = order[n]
        down = receiver[cell]
        if down == cell:
            continue
        if lake[cell] > 0 and lake[cell] == lake[down]:
            z[cell] = z[down]
        else:
            z[cell] = max(z[cell], z[down] + fall_m)

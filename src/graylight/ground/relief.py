"""The shape of the ground, cell by cell: slope, aspect, curvature, local relief, ruggedness."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, minimum_filter1d

from graylight.errors import BadInput
from graylight.kernels.relief import curvature, slope_aspect, vector_ruggedness
from graylight.work import Tick, in_bands, part, silent

__all__ = [
    "LOCAL_RELIEF_RADIUS_M",
    "RUGGEDNESS_SPAN_M",
    "Relief",
    "bytes_needed",
    "padded",
    "relief",
    "slope_and_aspect",
]

Raster: TypeAlias = NDArray[np.float32]

LOCAL_RELIEF_RADIUS_M = 500.0
"""Local relief is taken over the square that has the area of a disc of this radius. Common practice, no
source."""

RUGGEDNESS_SPAN_M = 90.0
"""Side of the ruggedness window: 3 x 3 cells of 30 m, as Sappington et al. (2007) used; never under 3 x 3
cells."""


@dataclass(frozen=True, slots=True)
class Relief:
    """The shape of the ground; every raster (rows, cols) float32, NaN where the elevation is unknown.

    Parameters
    ----------
    slope_deg
        Steepness, degrees.
    aspect_deg
        Azimuth the ground faces, degrees clockwise from true north in [0, 360); NaN also on level ground.
    plan_curvature, profile_curvature
        1/m, convex positive; along the contour and down the fall line. NaN also on level ground.
    local_relief_m
        Highest less lowest ground within about 500 m.
    ruggedness
        Vector ruggedness measure, 0 (plane) to 1.
    """

    slope_deg: Raster
    aspect_deg: Raster
    plan_curvature: Raster
    profile_curvature: Raster
    local_relief_m: Raster
    ruggedness: Raster


def bytes_needed(shape: tuple[int, int]) -> int:
    """Memory that `relief` takes at its peak for a raster of this shape."""
    return 13 * 4 * shape[0] * shape[1]


def relief(
    elevation_m: Raster, *, cell_m: float, convergence_deg: float = 0.0, tick: Tick = silent
) -> Relief:
    """Work out the relief of a raster.

    Slope and aspect follow Horn (1981, doi:10.1109/PROC.1981.11918). At the raster's edge the ground is
    continued straight (as ``gdaldem -compute_edges`` does along the sides; here at the corners too), and
    across a hole of unknown ground the slope on the known side is continued. Curvatures are those of Evans'
    (1980) least-squares quadric. Ruggedness is the vector measure of Sappington et al. (2007,
    doi:10.2193/2005-723).

    Parameters
    ----------
    elevation_m
        (rows, cols) float32, metres, row 0 north, NaN for unknown.
    cell_m
        Side of a square cell, metres.
    convergence_deg
        Meridian convergence: true azimuth = grid azimuth + convergence.
    tick
        Progress; raises to stop.

    Notes
    -----
    Not modelled: anything smaller than a cell. A grid hides small cliffs and blunts sharp crests; slopes are
    those of the grid, which are gentler than the ground's.

    Examples
    --------
    >>> import numpy as np
    >>> ramp = np.repeat(np.arange(5, dtype=np.float32)[:, None] * 10, 5, axis=1)  # falls to the north
    >>> shape = relief(ramp, cell_m=10.0)
    >>> float(shape.slope_deg[2, 2].round(3)), float(shape.aspect_deg[0, 0])
    (45.0, 0.0)
    """
    ground = _checked(elevation_m, cell_m)
    frame = padded(ground)
    slope, aspect, east, north = (np.empty_like(ground) for _ in range(4))
    _slope_aspect(frame, cell_m, convergence_deg, (slope, aspect, east, north), part(tick, 0.0, 0.3))
    plan, profile, rough = (np.empty_like(ground) for _ in range(3))
    in_bands(
        lambda a, b: curvature(frame, cell_m, a, b, plan, profile), ground.shape[0], tick=part(tick, 0.3, 0.5)
    )
    half = max(1, round((RUGGEDNESS_SPAN_M / cell_m - 1.0) / 2.0))
    in_bands(
        lambda a, b: vector_ruggedness(east, north, half, a, b, rough),
        ground.shape[0],
        rows_at_once=max(64, 4 * half),
        tick=part(tick, 0.5, 0.7),
    )
    local = _local_relief(ground, cell_m)
    tick(1.0)
    return Relief(slope, aspect, plan, profile, local, rough)


def slope_and_aspect(
    elevation_m: Raster, *, cell_m: float, convergence_deg: float = 0.0, tick: Tick = silent
) -> tuple[Raster, Raster]:
    """Slope and aspect alone, degrees; see `relief`."""
    ground = _checked(elevation_m, cell_m)
    slope, aspect, east, north = (np.empty_like(ground) for _ in range(4))
    _slope_aspect(padded(ground), cell_m, convergence_deg, (slope, aspect, east, north), tick)
    return slope, aspect


def padded(elevation_m: Raster) -> Raster:
    """(rows + 2, cols + 2): the raster with one more cell on each side, continued straight from the last
    two.
    """
    frame = np.empty((elevation_m.shape[0] + 2, elevation_m.shape[1] + 2), np.float32)
    frame[1:-1, 1:-1] = elevation_m
    frame[1:-1, 0] = _continued(elevation_m[:, 0], elevation_m[:, min(1, elevation_m.shape[1] - 1)])
    frame[1:-1, -1] = _continued(elevation_m[:, -1], elevation_m[:, max(-2, -elevation_m.shape[1])])
    inner = min(2, frame.shape[0] - 2)
    frame[0] = _continued(frame[1], frame[inner])
    frame[-1] = _continued(frame[-2], frame[-1 - inner])
    return frame


def _continued(edge: Raster, inner: Raster) -> Raster:
    beyond = 2 * edge - inner
    return np.where(np.isnan(beyond), edge, beyond)


def _checked(elevation_m: Raster, cell_m: float) -> Raster:
    if elevation_m.ndim != 2 or elevation_m.size == 0:
        raise BadInput(
            f"elevation has shape {elevation_m.shape}; accepted is rows and columns with at least one cell; "
            "hand over one band"
        )
    if not (math.isfinite(cell_m) and cell_m > 0):
        raise BadInput(f"cell size is {cell_m}; accepted is a positive number of metres; say the cell size")
    return np.ascontiguousarray(elevation_m, dtype=np.float32)


def _slope_aspect(
    frame: Raster,
    cell_m: float,
    convergence_deg: float,
    out: tuple[Raster, Raster, Raster, Raster],
    tick: Tick,
) -> None:
    slope, aspect, east, north = out
    in_bands(
        lambda a, b: slope_aspect(frame, cell_m, convergence_deg, a, b, slope, aspect, east, north),
        slope.shape[0],
        tick=tick,
    )


def _local_relief(ground: Raster, cell_m: float) -> Raster:
    half = max(1, round(LOCAL_RELIEF_RADIUS_M * math.sqrt(math.pi) / 2.0 / cell_m))
    size = 2 * half + 1
    unknown = np.isnan(ground)
    high = np.where(unknown, np.float32(-np.inf), ground)
    low = np.where(unknown, np.float32(np.inf), ground)
    for axis in (0, 1):
        high = maximum_filter1d(high, size, axis=axis, mode="nearest")
        low = minimum_filter1d(low, size, axis=axis, mode="nearest")
    local: Raster = np.where(unknown, np.float32(np.nan), high - low)
    return local

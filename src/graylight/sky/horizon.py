"""How high the ground stands around every cell: the horizon in one direction, in a ring of them, of a few cells."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from graylight.errors import BadInput
from graylight.kernels.skyline import NONE, PER_DEG, UNKNOWN, between, look_far, skyline
from graylight.sky.beyond import Beyond
from graylight.work import Tick, in_bands, silent

__all__ = [
    "REFRACTION",
    "Codes",
    "Horizon",
    "bytes_needed",
    "degrees",
    "horizon",
    "horizon_of",
    "ray_steps",
    "sunlit",
    "toward",
]

Raster = NDArray[np.float32]
Codes = NDArray[np.int16]
"""Angles in steps of 0.005 degrees, and two marks: see `graylight.kernels.skyline`."""

REFRACTION = 1.0 / 7.0
"""Part of the earth's curvature that the bending of light takes back: GDAL's default, as in sight."""

_EARTH_RADIUS_M = 6_371_000.0
_LINES_AT_ONCE = 128  # about 4 ms, and a band's ground stays within the processor's own memory
_ROWS_AT_ONCE = 256
_FEWEST, _MOST = 4, 720
_OVERHEAD_DEG = 89.99
_OVERHEAD = math.radians(_OVERHEAD_DEG)
"""Higher than this no ground hides the sun, and the tangent runs away."""


@dataclass(frozen=True, slots=True, eq=False)
class Horizon:
    """The horizon of every cell in directions spread evenly around.

    Parameters
    ----------
    codes : (n, rows, cols) int16
        Elevation angle of the horizon, in steps of 0.005 degrees (the rounding is half of that, which the sun
        climbs in a second): 2 bytes a cell and direction. Direction i lies at azimuth 360 i / n, clockwise from
        true north. Negative where the ground falls away.
    """

    codes: Codes

    @property
    def azimuth_true_deg(self) -> NDArray[np.float64]:
        """The directions, (n,), clockwise from true north."""
        return np.arange(len(self.codes), dtype=np.float64) * (360.0 / len(self.codes))

    def codes_at(self, azimuth_true_deg: float) -> Codes:
        """The horizon of every cell at any azimuth, (rows, cols) codes, linear between the two nearest directions."""
        where = round((azimuth_true_deg % 360.0) * len(self.codes) / 360.0, 9)
        low = math.floor(where)
        a, b = (self.codes[(low + i) % len(self.codes)] for i in (0, 1))
        out: Codes = np.empty_like(a)
        in_bands(
            lambda row0, row1: between(a, b, where - low, row0, row1, out),
            len(out),
            rows_at_once=_ROWS_AT_ONCE,
        )
        return out

    def at(self, azimuth_true_deg: float) -> Raster:
        """The horizon of every cell at any azimuth, (rows, cols) float32 in degrees.

        NaN where the ground is not known; -90 where the grid ends before any ground is met.
        """
        return degrees(self.codes_at(azimuth_true_deg))

    def profile(self, row: int, col: int) -> NDArray[np.float32]:
        """The horizon all around one cell, (n,) float32 in degrees, as `at` has it."""
        return degrees(self.codes[:, row, col])


def degrees(codes: Codes) -> Raster:
    """Codes of the horizon as degrees, float32: NaN where not known, -90 where there is none."""
    angle = codes.astype(np.float32) / np.float32(PER_DEG)
    angle[codes == UNKNOWN] = np.nan
    angle[codes == NONE] = -90.0
    return angle


def horizon(
    elevation_m: Raster,
    *,
    cell_m: float,
    convergence_deg: float = 0.0,
    directions: int = 64,
    refraction: float = REFRACTION,
    tick: Tick = silent,
) -> Horizon:
    """The horizon of every cell, all around.

    Parameters
    ----------
    elevation_m : (rows, cols) float32
        Ground in metres; NaN hides nothing and gets no answer.
    cell_m
        Side of a cell.
    convergence_deg
        True azimuth less grid azimuth, as `Grid.convergence_deg` gives it.
    directions
        How many, 4 to 720. Between two of them the horizon is taken linearly: good for a drawn skyline and for
        maps of a moment, not for first sun to the minute on rough ground, for which `graylight.sky.shade` looks
        along the sun's own path.
    refraction
        Part of the curvature that refraction takes back, 0 to 1.
    tick
        Progress.

    Returns
    -------
    Horizon

    Notes
    -----
    Rapid horizons by dropping what nearer ground hides: Dozier & Frew 1990, doi:10.1109/36.58986, for which each
    cell kept its own horizon point; here the hull is kept, which needs no search. Not modelled: ground beyond the
    grid, timber, the eye's height above the ground.

    Raises
    ------
    BadInput
        No ground, a cell size that is none, or a number of directions that is not accepted.

    Examples
    --------
    >>> wall = np.zeros((5, 5), np.float32)
    >>> wall[:, 4] = 10.0
    >>> horizon(wall, cell_m=10.0, directions=8).profile(2, 3)[2].round(1)
    np.float32(45.0)
    """
    _check(elevation_m, cell_m)
    if not _FEWEST <= directions <= _MOST:
        raise BadInput(
            f"a horizon in {directions} directions; accepted is {_FEWEST} to {_MOST}; 64 serve most uses"
        )
    ground = np.ascontiguousarray(elevation_m, dtype=np.float32)
    codes = np.empty((directions, *ground.shape), dtype=np.int16)
    for i in range(directions):
        azimuth_deg = 360.0 * i / directions - convergence_deg
        _sweep(ground, codes[i], cell_m=cell_m, azimuth_deg=azimuth_deg, refraction=refraction)
        tick((i + 1) / directions)
    return Horizon(codes)


def toward(
    elevation_m: Raster, *, cell_m: float, azimuth_grid_deg: float, refraction: float = REFRACTION
) -> Codes:
    """The horizon of every cell in one direction, (rows, cols) codes (`degrees` reads them).

    Parameters
    ----------
    elevation_m : (rows, cols) float32
        Ground in metres; NaN hides nothing and gets no answer.
    cell_m
        Side of a cell.
    azimuth_grid_deg
        Clockwise from *grid* north.
    refraction
        Part of the curvature that refraction takes back, 0 to 1.
    """
    _check(elevation_m, cell_m)
    ground = np.ascontiguousarray(elevation_m, dtype=np.float32)
    out = np.empty(ground.shape, dtype=np.int16)
    _sweep(ground, out, cell_m=cell_m, azimuth_deg=azimuth_grid_deg, refraction=refraction)
    return out


def horizon_of(
    elevation_m: Raster,
    rows: NDArray[np.int64],
    cols: NDArray[np.int64],
    *,
    cell_m: float,
    azimuth_grid_deg: NDArray[np.float64],
    eye_m: float = 0.0,
    refraction: float = REFRACTION,
) -> NDArray[np.float64]:
    """The horizon of a few cells, each looked for along its own rays.

    Parameters
    ----------
    elevation_m : (rows, cols) float32
        Ground in metres; NaN hides nothing.
    rows, cols : (n,) int64
        The cells.
    cell_m
        Side of a cell.
    azimuth_grid_deg : (m,) float64
        Clockwise from *grid* north.
    eye_m
        Height of the eye above the ground.
    refraction
        Part of the curvature that refraction takes back, 0 to 1.

    Returns
    -------
    (m, n) float64
        Degrees; -90 where the grid ends before any ground is met, NaN where the cell's height is not known.
    """
    rays = _Rays(elevation_m, cell_m, eye_m, _bend(refraction))
    tangent = [rays.look(rows, cols, math.radians(azimuth), 0.0, math.inf) for azimuth in azimuth_grid_deg]
    return np.degrees(np.arctan(np.reshape(tangent, (len(azimuth_grid_deg), len(rows)))))


def sunlit(
    elevation_m: Raster,
    rows: NDArray[np.int64],
    cols: NDArray[np.int64],
    *,
    cell_m: float,
    azimuth_grid_deg: NDArray[np.float64],
    limb_deg: NDArray[np.float64],
    eye_m: float = 0.0,
    refraction: float = REFRACTION,
    beyond: Beyond | None = None,
) -> NDArray[np.bool_]:
    """Whether the terrain leaves a few cells any of the sun, each looked at along its own rays.

    As `horizon_of`, but for m places of the sun, and quicker: a ray ends as soon as the answer is known.

    Parameters
    ----------
    elevation_m, rows, cols, cell_m, azimuth_grid_deg, eye_m, refraction
        As for `horizon_of`.
    limb_deg : (m,) float64
        Apparent altitude of the sun's upper edge; below 0 nothing is lit.
    beyond
        The ground beyond the country's edge; None: nothing is taken to stand there.

    Returns
    -------
    (m, n) bool
        False where the cell's height is not known.
    """
    rays = _Rays(elevation_m, cell_m, eye_m, _bend(refraction))
    lit = np.zeros((len(azimuth_grid_deg), len(rows)), dtype=bool)
    for i, (azimuth, limb) in enumerate(zip(np.radians(azimuth_grid_deg), np.radians(limb_deg), strict=True)):
        if limb >= 0.0:
            bar = math.tan(min(limb, _OVERHEAD))
            lit[i] = rays.look(rows, cols, azimuth, bar, bar) <= bar
    if beyond is not None and (up := np.flatnonzero(lit.any(axis=1))).size:
        over = beyond.tangents(
            rows,
            cols,
            azimuth_grid_deg=azimuth_grid_deg[up],
            least_deg=limb_deg[up],
            eye_m=eye_m,
            refraction=refraction,
        )
        lit[up] &= over <= np.tan(np.radians(np.minimum(limb_deg[up], _OVERHEAD_DEG)))[:, None]
    return lit


def ray_steps(azimuth: float, altitude: float, cell_m: float) -> tuple[float, float, float, float]:
    """A sun's ray a step at a time: rows, columns, metres that it rises, metres of fall by curvature at the first step.

    Parameters
    ----------
    azimuth, altitude
        Of the sun's upper edge, radians; the azimuth from grid north.
    cell_m
        Side of a cell.
    """
    up, right = math.cos(azimuth), math.sin(azimuth)
    main = max(abs(up), abs(right))
    step_m = cell_m / main
    return _even(-up / main), _even(right / main), math.tan(altitude) * step_m, _bend(REFRACTION) * step_m**2


class _Rays:
    """Rays over one country's ground."""

    def __init__(self, elevation_m: Raster, cell_m: float, eye_m: float, bend: float) -> None:
        _check(elevation_m, cell_m)
        self.ground = np.ascontiguousarray(elevation_m, dtype=np.float32)
        self.cell_m, self.eye_m, self.bend = cell_m, eye_m, bend
        self.highest_m = float(np.fmax.reduce(self.ground, axis=None))

    def look(
        self, rows: NDArray[np.int64], cols: NDArray[np.int64], azimuth: float, least: float, enough: float
    ) -> NDArray[np.float64]:
        """Tangents of the horizon toward an azimuth (radians from grid north), as far as one cares for them."""
        up, right = math.cos(azimuth), math.sin(azimuth)
        main = max(abs(up), abs(right))
        step = (_even(-up / main), _even(right / main), self.cell_m / main)
        out = np.empty(len(rows))
        look_far(
            self.ground, rows, cols, self.eye_m, *step, self.bend, self.highest_m, least, enough, out
        )  # fmt: skip
        return out


def bytes_needed(shape: tuple[int, int], *, directions: int = 64) -> int:
    """Memory that `horizon` takes at its highest, its result included."""
    return shape[0] * shape[1] * (2 * directions + 4)


def _sweep(ground: Raster, out: Codes, *, cell_m: float, azimuth_deg: float, refraction: float) -> None:
    base, main, main_step, cross, cross_step, lean = _lines(ground.shape, math.radians(azimuth_deg))
    step_m = cell_m * math.hypot(1.0, lean)
    offset = math.ceil(max((main - 1) * lean, 0.0))
    lines = cross + math.ceil((main - 1) * abs(lean)) + 1
    way = (base, main, main_step, cross, cross_step, lean, step_m, _bend(refraction), offset)

    def run(line0: int, line1: int) -> None:
        skyline(ground.reshape(-1), *way, line0, line1, out.reshape(-1))

    in_bands(run, lines, rows_at_once=_LINES_AT_ONCE)


def _lines(shape: tuple[int, ...], azimuth: float) -> tuple[int, int, int, int, int, float]:
    """Where a sweep from the azimuth begins, its cells and step along and across, and its lean."""
    rows, cols = shape
    down, right = math.cos(azimuth), -math.sin(azimuth)  # the way the light goes, in rows and columns
    if abs(down) >= abs(right):
        base, step = (0, cols) if down > 0 else ((rows - 1) * cols, -cols)
        return base, rows, step, cols, 1, _even(right / abs(down))
    base, step = (0, 1) if right > 0 else (cols - 1, -1)
    return base, cols, step, rows, cols, _even(down / abs(right))


def _even(lean: float) -> float:
    """Free of the last digits of sine and cosine, which would put lines beside the cells they run through."""
    return round(lean, 12)


def _bend(refraction: float) -> float:
    if not 0.0 <= refraction <= 1.0:
        raise BadInput(f"a refraction of {refraction}; accepted is 0 to 1; 1/7 is usual")
    return (1.0 - refraction) / (2.0 * _EARTH_RADIUS_M)


def _check(elevation_m: Raster, cell_m: float) -> None:
    if elevation_m.ndim != 2 or elevation_m.size == 0:
        raise BadInput(
            f"ground of the shape {elevation_m.shape}; accepted is rows and columns, at least 1 x 1; give one layer"
        )
    if not (math.isfinite(cell_m) and cell_m > 0.0):
        raise BadInput(f"a cell of {cell_m} m; accepted is a size above 0; give the grid's cell in metres")

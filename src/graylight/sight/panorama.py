"""The view from a place as a picture in true angles, with the cell of the ground behind every pixel."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from graylight.errors import BadInput
from graylight.grid import RowCol
from graylight.kernels.panorama import SKY, UNKNOWN, cells_shown, distances, lit_pixels, lookup
from graylight.kernels.viewshed import crossing_margin
from graylight.sight.viewshed import bend

__all__ = ["SKY", "UNKNOWN", "Framing", "Panorama", "Toward", "bytes_needed", "framing", "panorama"]

_MOST_PIXELS = 40_000_000
_LOOK_UP, _LOOK_DOWN = 60.0, -50.0  # degrees within which a picture is fitted


class Toward(NamedTuple):
    """Where a place stands, as seen from the watcher.

    Parameters
    ----------
    azimuth_deg
        Clockwise from true north, [0, 360).
    up_deg
        Elevation angle, curvature and refraction counted; negative: below the level of the eye.
    distance_m
        Over the ground, in metres of the grid.
    margin_m
        By how much it clears what stands in front of it, measured at the place (see `viewshed.margins`).
    brow_m
        How far in front of it the ground stands that decides this; 0 where nothing stands between.
    """

    azimuth_deg: float
    up_deg: float
    distance_m: float
    margin_m: float
    brow_m: float

    @property
    def hidden(self) -> bool:
        """Whether the ground in front hides it."""
        return self.margin_m < 0.0


class Framing(NamedTuple):
    """Elevation angles between which a view fits its picture, and the picture's height in pixels."""

    up_from_deg: float
    up_to_deg: float
    height: int


@dataclass(frozen=True, slots=True, eq=False)
class Panorama:
    """A view in true angles: columns are equal steps of azimuth, rows equal steps of elevation angle.

    Parameters
    ----------
    row, col : (height, width) int32
        The cell each pixel shows; -1 sky; -2 behind unknown ground, where it can't be said what is seen.
    distance_m : (height, width) float32
        How far away it is over the ground; NaN where no cell is shown.
    azimuth_deg : (width,) float64
        True azimuth of the middle of each column, [0, 360).
    elevation_deg : (height,) float64
        Elevation angle of the middle of each pixel row, falling.
    skyline_deg : (width,) float64
        Elevation angle of the highest ground; NaN where none is known.
    reach_m : (width,) float32
        How far the ground is known in each direction. What stands beyond is not in the picture.
    azimuth_from_deg, span_deg : float
        Left edge, and width of the picture in degrees.
    up_from_deg, up_to_deg : float
        Elevation angles of the lower and upper edge.
    seat : RowCol
        The watcher's cell.
    eye_z_m, cell_m, convergence_deg, bend_per_m : float
        Height of the eye; cell size; true azimuth less grid azimuth; see `viewshed.bend`.
    ground_m, surface_m : (rows, cols) float32
        The ground, and what is seen of it (the same where nothing stands on it).
    """

    row: NDArray[np.int32]
    col: NDArray[np.int32]
    distance_m: NDArray[np.float32]
    azimuth_deg: NDArray[np.float64]
    elevation_deg: NDArray[np.float64]
    skyline_deg: NDArray[np.float64]
    reach_m: NDArray[np.float32]
    azimuth_from_deg: float
    span_deg: float
    up_from_deg: float
    up_to_deg: float
    seat: RowCol
    eye_z_m: float
    cell_m: float
    convergence_deg: float
    bend_per_m: float
    ground_m: NDArray[np.float32]
    surface_m: NDArray[np.float32]

    @property
    def width(self) -> int:
        """Pixels."""
        return int(self.row.shape[1])

    @property
    def height(self) -> int:
        """Pixels."""
        return int(self.row.shape[0])

    @property
    def pixels_per_deg(self) -> tuple[float, float]:
        """Across and up."""
        return self.width / self.span_deg, self.height / (self.up_to_deg - self.up_from_deg)

    @property
    def stretch(self) -> float:
        """How many times steeper than in nature the picture draws the land; 1: as the eye sees it."""
        across, up = self.pixels_per_deg
        return up / across

    def at(self, x: float, y: float) -> RowCol | None:
        """Which ground a pixel shows: its cell, or none for sky, unknown ground and outside the picture."""
        if not (0 <= x < self.width and 0 <= y < self.height):
            return None
        row, col = int(self.row[int(y), int(x)]), int(self.col[int(y), int(x)])
        return RowCol(row, col) if row >= 0 else None

    def pixel(self, azimuth_deg: float, up_deg: float) -> tuple[float, float] | None:
        """Pixel x, y of a direction, fractions kept (pixel 0 reaches from 0 to 1); none outside the picture."""
        across, up = self.pixels_per_deg
        x = (azimuth_deg - self.azimuth_from_deg) % 360.0 * across
        y = (self.up_to_deg - up_deg) * up
        return (x, y) if x < self.width and 0.0 <= y < self.height else None

    def angles_to(self, place: tuple[int, int], *, above_m: float = 0.0) -> Toward:
        """Where a cell stands, and whether the ground in front hides it.

        Parameters
        ----------
        place : (row, col)
            A cell with known ground.
        above_m : float
            Height above the surface of that cell.

        Raises
        ------
        BadInput
            The place lies outside the grid, on unknown ground or where the watcher sits.
        """
        row, col = _known(self.surface_m, *place)
        if (row, col) == self.seat:
            raise BadInput(
                f"row {row}, column {col} is the watcher's own cell; accepted is any other; choose one"
            )
        south, east = row - self.seat.row, col - self.seat.col
        distance_m = math.hypot(south, east) * self.cell_m
        z = float(self.surface_m[row, col]) + above_m
        rise_m = z - self.eye_z_m - self.bend_per_m * distance_m**2
        azimuth = (math.degrees(math.atan2(east, -south)) + self.convergence_deg) % 360.0
        margin_m, by_row, by_col = crossing_margin(
            self.surface_m, *self.seat, self.eye_z_m, row, col, z, self.cell_m, self.bend_per_m
        )
        return Toward(
            azimuth, math.degrees(math.atan2(rise_m, distance_m)), distance_m, float(margin_m),
            math.hypot(by_row - row, by_col - col) * self.cell_m,
        )  # fmt: skip

    def values(self, raster: NDArray[np.int32], *, nothing: int = 0) -> NDArray[np.int32]:
        """Bring a raster of the grid into the picture, (height, width) int32: the value of the cell shown."""
        if raster.shape != self.surface_m.shape:
            raise BadInput(
                f"a raster of shape {raster.shape}; accepted is the ground's {self.surface_m.shape}; use its grid"
            )
        out = np.empty(self.row.shape, np.int32)
        lookup(np.ascontiguousarray(raster, np.int32), self.row, self.col, nothing, out)
        return out

    def light(self, azimuth_deg: float, altitude_deg: float) -> NDArray[np.float32]:
        """How squarely the ground of each pixel faces a light, (height, width) float32 in [-1, 1]; 0 for sky.

        The cosine of the angle between ground and light (Lambert), the slope taken over at least the pixel's
        own width; from the bare ground. The light stands at a *true* azimuth. Cast shadows are not modelled.
        """
        turn, lift = math.radians(azimuth_deg - self.convergence_deg), math.radians(altitude_deg)
        toward = np.array(
            [math.sin(turn) * math.cos(lift), -math.cos(turn) * math.cos(lift), math.sin(lift)], np.float64
        )
        out = np.empty(self.row.shape, np.float32)
        lit_pixels(
            self.ground_m, *self.seat, self.cell_m, _grid_radians(self.azimuth_deg, self.convergence_deg),
            math.radians(self.span_deg / self.width), toward, self.distance_m, out,
        )  # fmt: skip
        return out


def bytes_needed(width: int, height: int) -> int:
    """Memory of a panorama."""
    return 16 * width * height


def panorama(
    ground_m: NDArray[np.floating],
    *,
    row: int,
    col: int,
    cell_m: float,
    eye_m: float,
    convergence_deg: float,
    azimuth_from_deg: float,
    azimuth_to_deg: float,
    up_from_deg: float,
    up_to_deg: float,
    width: int,
    height: int,
    surface_m: NDArray[np.floating] | None = None,
    radius_m: float | None = None,
    refraction: float = 1 / 7,
) -> Panorama:
    """Look round from a cell.

    Parameters
    ----------
    ground_m : (rows, cols) float
        Heights, metres; NaN unknown.
    row, col : int
        The watcher's cell, whose ground must be known.
    cell_m, eye_m : float
        Cell size; height of the eye above the ground.
    convergence_deg : float
        Meridian convergence at the watcher: true azimuth = grid azimuth + convergence.
    azimuth_from_deg, azimuth_to_deg : float
        Left and right edge of the picture, clockwise from true north; a whole turn for the whole ring.
    up_from_deg, up_to_deg : float
        Lower and upper edge, degrees above the level of the eye.
    width, height : int
        Pixels.
    surface_m : (rows, cols) float, optional
        What is seen, and stands in the way: ground plus canopy, NaN where either is unknown. The watcher's own cell
        is taken to be open.
    radius_m : float, optional
        How far to look; none: to the edge of the grid.
    refraction : float
        Refraction coefficient k.

    Returns
    -------
    Panorama
        Each column is one ray through the middle of its pixels, each pixel what its middle shows: exact on the
        grid along that ray, half a pixel for what lies between. Angles are those of the grid: its scale
        (0.9996 to 1.001 in UTM) changes an elevation angle of 20 degrees by at most 0.02.

    Raises
    ------
    BadInput
        The watcher stands outside the grid or on unknown ground; an empty arc; too few or too many pixels.

    Notes
    -----
    Does not model haze, light through foliage, anything smaller than a cell, or ground beyond the grid.

    Examples
    --------
    >>> plain = np.zeros((41, 41), np.float32)
    >>> seen = panorama(plain, row=20, col=20, cell_m=10.0, eye_m=10.0, convergence_deg=0.0,
    ...     azimuth_from_deg=0.0, azimuth_to_deg=360.0, up_from_deg=-50.0, up_to_deg=10.0, width=360, height=60)
    >>> seen.at(90.5, 54.5), seen.at(90.5, 5.5)
    (RowCol(row=20, col=21), None)
    """
    ground = np.ascontiguousarray(ground_m, np.float32)
    row, col = _known(ground, row, col)
    surface = ground if surface_m is None else np.ascontiguousarray(surface_m, np.float32)
    if surface.shape != ground.shape:
        raise BadInput(
            f"a surface of shape {surface.shape}; accepted is the ground's {ground.shape}; use the same grid"
        )
    span = _span(azimuth_from_deg, azimuth_to_deg)
    _check(up_from_deg, up_to_deg, width, height)
    azimuth = (azimuth_from_deg + _middles(width) * (span / width)) % 360.0
    up = up_to_deg - _middles(height) * ((up_to_deg - up_from_deg) / height)
    turn = _grid_radians(azimuth, convergence_deg)
    foot_z = float(ground[row, col])
    away, reach = np.empty((width, height), np.float32), np.empty(width, np.float32)
    skyline = np.empty(width)
    distances(
        surface, row, col, foot_z + eye_m, foot_z, cell_m, bend(refraction),
        math.inf if radius_m is None else radius_m, turn, np.tan(np.radians(up)), 0, width, away, skyline, reach,
    )  # fmt: skip
    shown = np.empty((height, width), np.int32), np.empty((height, width), np.int32)
    distance = np.empty((height, width), np.float32)
    cells_shown(away, row, col, cell_m, turn, 0, height, distance, *shown)
    skyline_deg = np.where(np.isfinite(skyline), np.degrees(np.arctan(skyline)), np.nan)
    return Panorama(
        *shown, distance, azimuth, up, skyline_deg, reach, azimuth_from_deg % 360.0, span, up_from_deg,
        up_to_deg, RowCol(row, col), foot_z + eye_m, cell_m, convergence_deg, bend(refraction), ground, surface,
    )  # fmt: skip


def framing(
    ground_m: NDArray[np.floating],
    *,
    row: int,
    col: int,
    cell_m: float,
    eye_m: float,
    convergence_deg: float,
    azimuth_from_deg: float,
    azimuth_to_deg: float,
    width: int,
    stretch: float = 1.0,
    surface_m: NDArray[np.floating] | None = None,
    labels: NDArray[np.int32] | None = None,
    least_height: int = 0,
    most_height: int = 2000,
) -> Framing:
    """Find the elevation angles that hold the skyline and the pockets in sight, and the height that suits.

    Parameters
    ----------
    ground_m, row, col, cell_m, eye_m, convergence_deg, azimuth_from_deg, azimuth_to_deg, width, surface_m
        As for `panorama`.
    stretch : float
        How many times steeper than in nature the land is drawn.
    labels : (rows, cols) int32, optional
        Ground to be held in the picture: cells above 0.
    least_height, most_height : int
        A lower picture is given more ground at its foot, a higher one cut there.
    """
    sketch = panorama(
        ground_m, row=row, col=col, cell_m=cell_m, eye_m=eye_m, convergence_deg=convergence_deg,
        azimuth_from_deg=azimuth_from_deg, azimuth_to_deg=azimuth_to_deg, up_from_deg=_LOOK_DOWN,
        up_to_deg=_LOOK_UP, width=max(width // 4, 2), height=220, surface_m=surface_m,
    )  # fmt: skip
    skyline = sketch.skyline_deg[np.isfinite(sketch.skyline_deg)]
    top = min(max(float(skyline.max()) if skyline.size else 0.0, 0.0) + 1.0, _LOOK_UP)
    foot = min(float(np.percentile(skyline, 10)) if skyline.size else 0.0, 0.0) - 4.0
    if labels is not None:
        rows = np.flatnonzero((sketch.values(labels) > 0).any(axis=1))
        foot = min(foot, float(sketch.elevation_deg[rows[-1]]) - 1.5) if rows.size else foot
    per_deg = width / sketch.span_deg * stretch
    height = min(max(math.ceil((top - max(foot, _LOOK_DOWN)) * per_deg), least_height, 2), most_height)
    foot = top - height / per_deg
    if foot < -89.0:  # straight down is the watcher's own feet: rather more sky
        top, foot = top - 89.0 - foot, -89.0
    return Framing(foot, top, height)


def _known(raster: NDArray[np.floating], row: int, col: int) -> tuple[int, int]:
    rows, cols = raster.shape
    if not (0 <= row < rows and 0 <= col < cols) or math.isnan(raster[row, col]):
        raise BadInput(
            f"no ground is known at row {row}, column {col} of {rows} x {cols}; choose a cell with elevation"
        )
    return int(row), int(col)


def _span(azimuth_from_deg: float, azimuth_to_deg: float) -> float:
    turn = azimuth_to_deg - azimuth_from_deg
    if not math.isfinite(turn) or turn == 0.0:
        raise BadInput(
            f"an arc from {azimuth_from_deg:g} to {azimuth_to_deg:g} degrees; accepted are two different "
            "azimuths, 0 to 360 for the whole ring; turn one of them"
        )
    return turn % 360.0 or 360.0


def _check(up_from_deg: float, up_to_deg: float, width: int, height: int) -> None:
    if not -90.0 <= up_from_deg < up_to_deg <= 90.0:
        raise BadInput(
            f"elevation angles from {up_from_deg:g} to {up_to_deg:g} degrees; accepted is a lower below an "
            "upper, both within -90 to 90; exchange or narrow them"
        )
    if width < 2 or height < 2 or width * height > _MOST_PIXELS:
        raise BadInput(
            f"a picture of {width} x {height} pixels; accepted is 2 x 2 to {_MOST_PIXELS:,} in all; choose a smaller one"
        )


def _middles(pixels: int) -> NDArray[np.float64]:
    return np.asarray(np.arange(pixels) + 0.5, np.float64)


def _grid_radians(azimuth_deg: NDArray[np.float64], convergence_deg: float) -> NDArray[np.float64]:
    return np.asarray(np.radians((azimuth_deg - convergence_deg) % 360.0), np.float64)

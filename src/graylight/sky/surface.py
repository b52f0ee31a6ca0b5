"""The ground as the sun meets it: heights, which way each cell faces, and the canopy's gaps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from graylight.errors import BadInput
from graylight.kernels.skyline import shade_percent
from graylight.sky.beyond import Beyond
from graylight.sky.horizon import Codes, toward
from graylight.work import in_bands

__all__ = ["NODATA_PERCENT", "Dimming", "Surface"]

Raster = NDArray[np.float32]

STEP_DEG = 7.5
"""The sun climbs no faster than this between two of its places: half an hour."""
NODATA_PERCENT = 255
"""What shade in per cent, and lit or not, hold where the ground is not known."""

_ROWS_AT_ONCE = 256


@dataclass(frozen=True, slots=True, eq=False)
class Dimming:
    """Where shade is put: lit or not and per cent (uint8), and the weighted total (float32), all (rows, cols)."""

    lit: NDArray[np.uint8]
    percent: NDArray[np.uint8]
    total: Raster

    @classmethod
    def none(cls, shape: tuple[int, int]) -> Dimming:
        """Room for one moment, with nothing added up yet."""
        return cls(np.empty(shape, np.uint8), np.empty(shape, np.uint8), np.zeros(shape, np.float32))


@dataclass(frozen=True, slots=True, eq=False)
class Surface:
    """Made once from the layers, then asked for any place of the sun.

    Parameters
    ----------
    elevation_m : (rows, cols) float32
        Ground in metres; NaN: not known.
    east, north, up : (rows, cols) float32
        Unit normal of the ground in the true frame.
    through : (rows, cols) float32
        Part of the beam that the canopy lets through.
    cell_m
        Side of a cell.
    convergence_deg
        True azimuth less grid azimuth.
    beyond
        The ground beyond the edge; None: not known, and nothing is taken to stand there.
    """

    elevation_m: Raster
    east: Raster
    north: Raster
    up: Raster
    through: Raster
    cell_m: float
    convergence_deg: float
    beyond: Beyond | None = None

    @classmethod
    def of(
        cls,
        elevation_m: Raster,
        slope_deg: Raster,
        aspect_deg: Raster,
        closure: Raster | None = None,
        *,
        cell_m: float,
        convergence_deg: float,
        beyond: Beyond | None = None,
    ) -> Surface:
        """Bring the layers together.

        Parameters
        ----------
        elevation_m, slope_deg, aspect_deg : (rows, cols) float32
            Ground in metres, its slope, and its aspect clockwise from *true* north; NaN slope or aspect on known
            ground is taken as level.
        closure : (rows, cols) float32, optional
            Part of the sky closed by the canopy, 0 to 1; none or NaN: no canopy known, none taken.
        cell_m, convergence_deg
            Side of a cell; true azimuth less grid azimuth.
        beyond
            The ground beyond the edge, where it is known.

        Raises
        ------
        BadInput
            Rasters of different shape.
        """
        _check(elevation_m, slope_deg, aspect_deg, closure)
        known = np.isfinite(slope_deg) & np.isfinite(aspect_deg)
        slope = np.radians(np.where(known, slope_deg, 0.0), dtype=np.float32)
        aspect = np.radians(np.where(known, aspect_deg, 0.0), dtype=np.float32)
        tilt = np.sin(slope)
        through = np.ones(elevation_m.shape) if closure is None else 1.0 - np.nan_to_num(closure)
        return cls(
            np.ascontiguousarray(elevation_m, dtype=np.float32),
            tilt * np.sin(aspect),
            tilt * np.cos(aspect),
            np.cos(slope),
            np.clip(through, 0.0, 1.0).astype(np.float32),
            cell_m,
            convergence_deg,
            beyond,
        )

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        rows, cols = self.elevation_m.shape
        return rows, cols

    def horizon(self, azimuth_true_deg: float) -> Codes:
        """The horizon of every cell over the country's own ground at an azimuth, worked out afresh."""
        return toward(
            self.elevation_m, cell_m=self.cell_m, azimuth_grid_deg=azimuth_true_deg - self.convergence_deg
        )

    def horizon_beyond(self, azimuth_true_deg: float, limb_deg: float) -> Codes | None:
        """The horizon over the ground beyond the edge, as far as it may hide a sun that stands so high; None: nowhere."""
        if self.beyond is None:
            return None
        least_deg = max(limb_deg - STEP_DEG, 0.0)  # the sun's place before or after counts with it
        return self.beyond.codes(azimuth_true_deg - self.convergence_deg, least_deg=least_deg)

    def dim(
        self,
        horizon: Codes,
        limb_code: float,
        sun: tuple[float, float, float],
        into: Dimming,
        *,
        weight: float = 0.0,
    ) -> None:
        """Write which cells are lit, and their shade, for one place of the sun.

        Parameters
        ----------
        horizon : (rows, cols) int16
            Below the sun.
        limb_code
            Apparent altitude of the sun's upper edge in the unit of `horizon`.
        sun
            Unit vector to the middle of the disc: east, north, up.
        into
            Written to; the shade times `weight` is added to its total.
        """

        def run(row0: int, row1: int) -> None:
            shade_percent(
                horizon, self.east, self.north, self.up, self.through, limb_code, *sun, weight, row0, row1,
                into.total, into.lit, into.percent,
            )  # fmt: skip

        in_bands(run, self.shape[0], rows_at_once=_ROWS_AT_ONCE)


def _check(elevation_m: Raster, slope_deg: Raster, aspect_deg: Raster, closure: Raster | None) -> None:
    layers = {"elevation": elevation_m, "slope": slope_deg, "aspect": aspect_deg}
    if closure is not None:
        layers["closure"] = closure
    shapes = {name: layer.shape for name, layer in layers.items()}
    if elevation_m.ndim != 2 or elevation_m.size == 0 or len(set(shapes.values())) > 1:
        raise BadInput(
            f"layers for shade have the shapes {shapes}; accepted is one shape of rows and columns, at least "
            "1 x 1; bring them onto the country's grid first"
        )

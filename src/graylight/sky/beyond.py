"""What rises beyond the country's edge: the horizon over the apron, for all cells or a few."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from graylight.errors import BadInput
from graylight.kernels.beyond import look_out, spread_out
from graylight.work import in_bands

__all__ = ["GAP_M", "Beyond"]

Raster = NDArray[np.float32]
Codes = NDArray[np.int16]
Floats = NDArray[np.float64]

GAP_M = 180.0
"""Ground nearer to the edge than this is passed over: two coarse cells, whose mean heights, or tree tops, would stand before
the cells at the edge like a wall. Proposed."""
NEAR_M = 2000.0
_EARTH_RADIUS_M = 6_371_000.0
_OVERHEAD_DEG = 89.0
_NO_TANGENT = np.float32(-1.0)
_PLACES_AT_ONCE, _ROWS_AT_ONCE = 512, 128


@dataclass(frozen=True, slots=True, eq=False)
class Beyond:
    """The apron, and where the country lies in it.

    Parameters
    ----------
    apron_m : (rows, cols) float32
        Coarse heights, the country's own ground among them; NaN hides nothing.
    apron_cell_m, cell_m
        Cells of the apron and of the country, in one frame.
    corner
        Row and column, in cells of the apron, of the middle of the country's first cell.
    ground_m : (rows, cols) float32
        The country's heights.
    highest_m
        Highest of the apron; minus infinity where nothing of it is known.
    """

    apron_m: Raster
    apron_cell_m: float
    ground_m: Raster
    cell_m: float
    corner: tuple[float, float]
    highest_m: float

    @classmethod
    def of(
        cls,
        apron_m: Raster,
        ground_m: Raster,
        *,
        apron_cell_m: float,
        cell_m: float,
        corner: tuple[float, float],
    ) -> Beyond:
        """Bring them together.

        Raises
        ------
        BadInput
            Rasters that are none, or cells without a size.
        """
        if apron_m.ndim != 2 or ground_m.ndim != 2 or min(apron_cell_m, cell_m) <= 0.0:
            raise BadInput(
                f"an apron of {apron_m.shape} for ground of {ground_m.shape}; accepted are rows and columns of cells above 0 m; "
                "make the country anew"
            )
        apron, ground = (np.ascontiguousarray(layer, np.float32) for layer in (apron_m, ground_m))
        known = apron[np.isfinite(apron)]
        highest_m = float(known.max()) if known.size else -math.inf
        return cls(apron, apron_cell_m, ground, cell_m, corner, highest_m)

    def thinned(self, step: int) -> Beyond:
        """The same for every so manieth cell of the country, from the middle of the first group of them on."""
        scale, first = self.cell_m / self.apron_cell_m, step // 2
        ground = np.ascontiguousarray(self.ground_m[first::step, first::step])
        corner = self.corner[0] + first * scale, self.corner[1] + first * scale
        return replace(self, ground_m=ground, cell_m=self.cell_m * step, corner=corner)

    def codes(
        self, azimuth_grid_deg: float, *, least_deg: float = 0.0, refraction: float = 1.0 / 7.0
    ) -> Codes | None:
        """The horizon over the apron for every cell of the country.

        Parameters
        ----------
        azimuth_grid_deg
            Clockwise from *grid* north.
        least_deg
            Nobody cares for ground lower than this.
        refraction
            Part of the earth's curvature that the bending of light takes back.

        Returns
        -------
        (rows, cols) int16 or None
            Codes as in `graylight.kernels.skyline`, `NONE` where it does not stand above level; None: it does so nowhere.

        Notes
        -----
        Worked out for places about an apron's cell apart, and carried over to the cells between by their own heights and the
        distance of what is seen: exact where they see the same ground. Near and far ground are told apart, so that a cell too
        high for the one still has the other.
        """
        step = max(1, round(self.apron_cell_m / self.cell_m))
        begin = min(step // 2, min(self.ground_m.shape) - 1)
        rows, cols = (np.arange(begin, side, step) for side in self.ground_m.shape)
        height_m = self.ground_m[np.ix_(rows, cols)]
        height_m = np.where(
            np.isnan(height_m), np.nanmean(height_m) if np.isfinite(height_m).any() else 0.0, height_m
        )
        at = np.repeat(rows, cols.size), np.tile(cols, rows.size)
        least = math.tan(math.radians(min(max(least_deg, 0.0), _OVERHEAD_DEG)))
        found: Codes | None = None
        for span_m in ((0.0, NEAR_M), (NEAR_M, math.inf)):
            # a cell may lie lower than the place it is told by: the places are looked from with some room
            up, near = self._look(
                *at, height_m.ravel(), azimuth_grid_deg, 0.5 * least, refraction, span_m=span_m
            )
            if not (up > 0.0).any():
                continue
            up[~np.isfinite(up)], near[~np.isfinite(near)] = _NO_TANGENT, 0.0
            told = (
                up.reshape(height_m.shape),
                near.reshape(height_m.shape),
                np.asarray(height_m, np.float32),
            )
            codes = self._spread(told, step, begin)
            found = codes if found is None else np.maximum(found, codes)
        return found

    def _spread(self, told: tuple[Raster, Raster, Raster], step: int, begin: int) -> Codes:
        """What the places see, for every cell."""
        out = np.empty(self.ground_m.shape, np.int16)
        in_bands(
            lambda row0, row1: spread_out(self.ground_m, *told, step, begin, row0, row1, out),
            len(out), rows_at_once=_ROWS_AT_ONCE,
        )  # fmt: skip
        return out

    def tangents(
        self,
        rows: NDArray[np.int64],
        cols: NDArray[np.int64],
        *,
        azimuth_grid_deg: Floats,
        least_deg: Floats,
        eye_m: float = 0.0,
        refraction: float = 1.0 / 7.0,
    ) -> Floats:
        """Tangent of the horizon over the apron for a few cells of the country, each along its own rays.

        Returns
        -------
        (m, n) float64
            -inf where it does not stand above the angle that one cares for, (m,) degrees, nor above level.
        """
        height_m = self.ground_m[rows, cols].astype(np.float64) + eye_m
        least = np.tan(np.radians(np.clip(least_deg, 0.0, _OVERHEAD_DEG)))
        told = [
            self._look(rows, cols, height_m, azimuth, bar, refraction)[0]
            for azimuth, bar in zip(azimuth_grid_deg, least, strict=True)
        ]
        return np.asarray(np.reshape(told, (len(least), len(rows))), np.float64)

    def _look(
        self,
        rows: NDArray[np.int64],
        cols: NDArray[np.int64],
        height_m: Floats,
        azimuth_grid_deg: float,
        least: float,
        refraction: float,
        *,
        span_m: tuple[float, float] = (0.0, math.inf),
    ) -> tuple[Raster, Raster]:
        """Tangents and nearness from cells of the country."""
        scale = self.cell_m / self.apron_cell_m
        azimuth = math.radians(azimuth_grid_deg)
        up, right = math.cos(azimuth), math.sin(azimuth)
        main = max(abs(up), abs(right))
        bend = (1.0 - refraction) / (2.0 * _EARTH_RADIUS_M)
        tangent, nearness = np.empty(len(rows), np.float32), np.empty(len(rows), np.float32)
        places = (
            np.asarray(self.corner[0] + rows * scale, np.float64), np.asarray(self.corner[1] + cols * scale, np.float64),
            np.asarray(height_m, np.float64), self._box(),
        )  # fmt: skip
        ray = (-up / main, right / main, self.apron_cell_m / main, bend, self.highest_m, least, *span_m)

        def run(first: int, end: int) -> None:
            look_out(self.apron_m, *places, *ray, first, end, tangent, nearness)

        in_bands(run, len(rows), rows_at_once=_PLACES_AT_ONCE)
        return tangent, nearness

    def _box(self) -> Floats:
        """The country's edges and the gap around them, in cells of the apron."""
        scale, gap = self.cell_m / self.apron_cell_m, GAP_M / self.apron_cell_m
        (row, col), (rows, cols) = self.corner, self.ground_m.shape
        half = 0.5 * scale
        return np.array(
            [
                row - half - gap,
                row + (rows - 0.5) * scale + gap,
                col - half - gap,
                col + (cols - 0.5) * scale + gap,
            ]
        )

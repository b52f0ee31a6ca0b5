"""Glare: how near the sun stands to what a lookout watches, hour by hour, and what light lies on it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from graylight.errors import BadInput
from graylight.grid import LonLat
from graylight.settings import GlareSettings
from graylight.sky.beyond import Beyond
from graylight.sky.horizon import sunlit
from graylight.sky.light import solar_noon
from graylight.sky.sun import SunPath, Times, sun_path, upper_limb_deg

__all__ = ["Glare", "PocketGlare", "SunStands", "glare"]

Raster = NDArray[np.float32]
Floats = NDArray[np.float64]

SunStands: TypeAlias = Literal["down", "in the glass", "near", "aside", "behind"]
"""Where the sun stands as one looks at a pocket; the angles are `GlareSettings`."""

_STEP_MINUTES = 10
_SAMPLE = 200
"""Cells of a pocket that are looked at: a share of theirs is within 0.07 of the pocket's in 19 of 20 cases (binomial)."""
_HALF_DISC_DEG = 16.0 / 60.0


@dataclass(frozen=True, slots=True, eq=False)
class PocketGlare:
    """The sun against one pocket, at the moments of `Glare`.

    Parameters
    ----------
    label
        The pocket's number.
    bearing_true_deg, elevation_deg
        To the middle of the pocket from the lookout: azimuth clockwise from true north, angle above the horizontal.
    angle_deg : (m,) float64
        Between the middle of the sun's disc and the nearest part of the pocket, as seen from the lookout.
    stands : (m,) tuple of str
        Where the sun stands: "down" (under the lookout's own horizon), "in the glass", "near", "aside", "behind".
    sunlit_share : (m,) float64
        Part of the pocket's cells that direct sun reaches, 0 to 1, canopy aside.
    """

    label: int
    bearing_true_deg: float
    elevation_deg: float
    angle_deg: Floats
    stands: tuple[SunStands, ...]
    sunlit_share: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Glare:
    """A day of glare at one lookout.

    Parameters
    ----------
    times : (m,) datetime64[us]
        Each 10 minutes of solar time while any of the sun is over the level horizon, UTC; empty in the polar night.
    azimuth_true_deg, limb_deg : (m,) float64
        Where the sun stands: azimuth, and apparent altitude of its upper edge.
    up : (m,) bool
        Whether any of the sun is over the lookout's own horizon.
    pockets
        In the order of their labels.
    """

    times: Times
    azimuth_true_deg: Floats
    limb_deg: Floats
    up: NDArray[np.bool_]
    pockets: tuple[PocketGlare, ...]


def glare(
    elevation_m: Raster,
    labels: NDArray[np.int32],
    lookout: tuple[int, int],
    *,
    cell_m: float,
    convergence_deg: float,
    place: LonLat,
    day: date,
    eye_m: float,
    settings: GlareSettings,
    beyond: Beyond | None = None,
) -> Glare:
    """How the sun stands against every pocket through a day, seen from a lookout.

    Parameters
    ----------
    elevation_m : (rows, cols) float32
        Ground in metres; NaN: not known.
    labels : (rows, cols) int32
        Number of the pocket a cell belongs to; 0: none.
    lookout
        Row and column.
    cell_m
        Side of a cell.
    convergence_deg
        True azimuth less grid azimuth.
    place
        Middle of the country: one sun for all of it.
    day
        Date on the place's own calendar, 1900 to 2050.
    eye_m
        Height of the watcher's eye above the ground.
    settings
        The angles.
    beyond
        The ground beyond the country's edge; None: nothing is taken to stand there.

    Returns
    -------
    Glare

    Notes
    -----
    Bearings are grid azimuths turned by one convergence for the country (20 km from its middle they are off
    by up to 0.3 degrees at 60 degrees of latitude, less nearer the equator).
    The sun's middle is taken as lifted by refraction like its upper edge. A pocket is judged by its nearest part to
    the sun, wherever the glass points. Not modelled: glare off snow and water, haze, the glass's own hood, timber
    between watcher and sun.

    Raises
    ------
    BadInput
        Layers of different shape, a lookout off the grid or on ground of unknown height, a place or date without a
        sun on record.
    """
    _check(elevation_m, labels, lookout)
    times, path = _day_of(place, day)
    limb_deg = upper_limb_deg(path.altitude_deg)
    grid_deg = path.azimuth_deg - convergence_deg
    seat = (np.array([lookout[0]], np.int64), np.array([lookout[1]], np.int64))
    up = sunlit(
        elevation_m,
        *seat,
        cell_m=cell_m,
        azimuth_grid_deg=grid_deg,
        limb_deg=limb_deg,
        eye_m=eye_m,
        beyond=beyond,
    ).ravel()
    sun = _pointing(grid_deg, limb_deg - _HALF_DISC_DEG)
    eye = (*lookout, float(elevation_m[lookout]) + eye_m)
    watch = _Watch(elevation_m, cell_m, convergence_deg, eye, sun, limb_deg, grid_deg, up, beyond)
    found = (watch.at(labels, int(label), settings) for label in np.unique(labels[labels > 0]))
    return Glare(times, path.azimuth_deg, limb_deg, up, tuple(one for one in found if one is not None))


@dataclass(frozen=True, slots=True, eq=False)
class _Watch:
    """A lookout through a day: its eye (row, col, metres), and the sun at m moments."""

    elevation_m: Raster
    cell_m: float
    convergence_deg: float
    eye: tuple[int, int, float]
    sun: Floats
    limb_deg: Floats
    grid_deg: Floats
    up: NDArray[np.bool_]
    beyond: Beyond | None

    def at(self, labels: NDArray[np.int32], label: int, settings: GlareSettings) -> PocketGlare | None:
        """The sun against one pocket; None where it is the lookout's own cell, or unknown ground, and no more."""
        rows, cols = np.nonzero((labels == label) & np.isfinite(self.elevation_m))
        away = (rows != self.eye[0]) | (cols != self.eye[1])
        rows, cols = rows[away], cols[away]
        if rows.size == 0:
            return None
        toward = self._toward(rows, cols)
        angle_deg = np.degrees(np.arccos(np.clip((self.sun @ toward.T).max(axis=1), -1.0, 1.0)))
        middle = toward.mean(axis=0)
        bearing_deg = math.degrees(math.atan2(middle[0], middle[1])) + self.convergence_deg
        return PocketGlare(
            label=label,
            bearing_true_deg=bearing_deg % 360.0,
            elevation_deg=math.degrees(math.atan2(middle[2], math.hypot(middle[0], middle[1]))),
            angle_deg=angle_deg,
            stands=tuple(_stands(a, u, settings) for a, u in zip(angle_deg, self.up, strict=True)),
            sunlit_share=self._sunlit(rows, cols),
        )

    def _toward(self, rows: NDArray[np.int64], cols: NDArray[np.int64]) -> Floats:
        """Unit vectors from the eye to cells: grid east, grid north, up, (n, 3)."""
        row, col, height_m = self.eye
        flat = np.stack([(cols - col) * self.cell_m, (row - rows) * self.cell_m], axis=1)
        rise = self.elevation_m[rows, cols].astype(np.float64) - height_m
        way = np.concatenate([flat, rise[:, None]], axis=1)
        return np.asarray(way / np.linalg.norm(way, axis=1, keepdims=True))

    def _sunlit(self, rows: NDArray[np.int64], cols: NDArray[np.int64]) -> Floats:
        """Part of the cells (of at most `_SAMPLE` spread over them) that the sun reaches, (m,)."""
        some = np.unique(np.linspace(0, rows.size - 1, min(rows.size, _SAMPLE)).round().astype(np.int64))
        lit = sunlit(
            self.elevation_m, rows[some], cols[some], cell_m=self.cell_m, azimuth_grid_deg=self.grid_deg,
            limb_deg=self.limb_deg, beyond=self.beyond,
        )  # fmt: skip
        return np.asarray(lit.mean(axis=1))


def _stands(angle_deg: float, up: bool, settings: GlareSettings) -> SunStands:
    if not up:
        return "down"
    if angle_deg <= settings.glass_deg:
        return "in the glass"
    if angle_deg <= settings.near_deg:
        return "near"
    return "behind" if angle_deg >= settings.behind_deg else "aside"


def _pointing(azimuth_deg: Floats, altitude_deg: Floats) -> Floats:
    """Unit vectors: east, north, up, (m, 3)."""
    azimuth, altitude = np.radians(azimuth_deg), np.radians(altitude_deg)
    level = np.cos(altitude)
    return np.stack([level * np.sin(azimuth), level * np.cos(azimuth), np.sin(altitude)], axis=1)


def _day_of(place: LonLat, day: date) -> tuple[Times, SunPath]:
    """Moments of a day, from solar midnight to midnight, at which any of the sun is over the level horizon."""
    minutes = np.arange(-12 * 60, 12 * 60, _STEP_MINUTES)
    times = solar_noon(place, day) + minutes * np.timedelta64(60, "s")
    path = sun_path(place, height_m=0.0, times=times)
    over = upper_limb_deg(path.altitude_deg) > 0.0
    return times[over], SunPath(path.azimuth_deg[over], path.altitude_deg[over], path.hour_angle_deg[over])


def _check(elevation_m: Raster, labels: NDArray[np.int32], lookout: tuple[int, int]) -> None:
    rows, cols = elevation_m.shape
    if labels.shape != elevation_m.shape:
        raise BadInput(
            f"pockets of the shape {labels.shape} on ground of {elevation_m.shape}; accepted is one shape; bring "
            "them onto the country's grid first"
        )
    row, col = lookout
    if not (0 <= row < rows and 0 <= col < cols and math.isfinite(elevation_m[row, col])):
        raise BadInput(
            f"a lookout at row {row}, column {col}; accepted is a cell of known height within {rows} rows and {cols} "
            "columns; choose another cell"
        )

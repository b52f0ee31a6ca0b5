"""What the eye gets: how large ground and animal look from there, and which tasks a glass still serves.

A task asks for a detail of the animal, the least dimension that must be made out: the body to find it, head and
ears or antlers to tell it apart, a beam to judge it. One line pair across that detail is made out half of the time
(Johnson 1958), a line pair takes twice the finest angle, and that angle is the coarser of the eye's through the
magnification and the glass's own (Dawes), blurred by shimmer. No published curve of finding animals with optics
from the ground was found: the share of the chart's distance that is reached in the field is an assumption.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from graylight.errors import BadInput
from graylight.settings import OpticsSettings
from graylight.sight.viewshed import bend

__all__ = [
    "Answer", "Glass", "GroundView", "Reach", "Task", "air_cn2", "apparent_arcmin", "eye_gets", "farthest",
    "finest_arcsec", "glasses", "ground_view", "shimmer_arcsec", "tasks",
]  # fmt: skip

ARCSEC = math.pi / 648000.0
GREEN_M = 0.55e-6
"""Wavelength to which the eye is most sensitive, m."""

Answer: TypeAlias = Literal["yes", "in doubt", "no"]


@dataclass(frozen=True, slots=True)
class Glass:
    """What is looked through: magnification and aperture in mm; the naked eye has power 1 and no aperture."""

    name: str
    power: float
    aperture_mm: float | None


@dataclass(frozen=True, slots=True)
class Task:
    """What is to be made out, and its least dimension in metres."""

    name: Literal["find", "tell apart", "judge"]
    least_m: float


@dataclass(frozen=True, slots=True)
class Reach:
    """How far a task can be done: by the chart, an upper bound, and what is reached in the field, metres."""

    chart_m: float
    field_m: float

    def answer(self, distance_m: float) -> Answer:
        """Whether the task holds at a distance; in doubt between the two."""
        if distance_m <= self.field_m:
            return "yes"
        return "in doubt" if distance_m <= self.chart_m else "no"


def glasses(optics: OpticsSettings) -> tuple[Glass, ...]:
    """The naked eye and the four glasses of the settings.

    >>> [glass.name for glass in glasses(OpticsSettings())]
    ['naked eye', '8x42', '10x42', '15x56', '45x80']
    """
    known = (
        (optics.small_power, optics.small_aperture_mm),
        (optics.middle_power, optics.middle_aperture_mm),
        (optics.large_power, optics.large_aperture_mm),
        (optics.scope_power, optics.scope_aperture_mm),
    )
    return (Glass("naked eye", 1.0, None), *(Glass(f"{p:g}x{a:g}", p, a) for p, a in known))


def tasks(animal_m: float, optics: OpticsSettings) -> tuple[Task, Task, Task]:
    """The three tasks for an animal whose back stands at a height."""
    return (
        Task("find", optics.body_part * animal_m),
        Task("tell apart", optics.tell_m),
        Task("judge", optics.judge_m),
    )


def finest_arcsec(glass: Glass, optics: OpticsSettings) -> float:
    """Finest angle told apart in still air, arc seconds: max(eye / power, 116 / aperture in mm).

    >>> finest_arcsec(Glass("10x42", 10, 42), OpticsSettings())
    6.0
    """
    by_eye = optics.eye_arcsec / glass.power
    return by_eye if glass.aperture_mm is None else max(by_eye, optics.dawes_arcsec_mm / glass.aperture_mm)


def air_cn2(sun_deg: float, optics: OpticsSettings) -> float:
    """Structure constant of the air by the sun's altitude, m^-2/3: an assumption, even in powers of ten.

    Still while the sun is at the horizon or below, strong from `strong_sun_deg` up. Cloud, wind and wet ground make
    it less, dark bare rock more.
    """
    part = min(max(sun_deg / optics.strong_sun_deg, 0.0), 1.0)
    return float(optics.cn2_still ** (1.0 - part) * optics.cn2_strong**part)


def shimmer_arcsec(distance_m: float, cn2: float) -> float:
    """Blur by air of one structure constant all along the line, arc seconds (long exposure, at 0.55 um).

    0.98 lambda / r0, r0 = (0.423 k^2 (3/8) Cn2 L)^(-3/5): Fried's length for light from a point at a distance
    (Fried 1966, doi:10.1364/JOSA.56.001372; the factor 3/8 is from memory).
    """
    if distance_m <= 0.0:
        return 0.0
    wave = 2.0 * math.pi / GREEN_M
    fried_m: float = (0.423 * wave**2 * 0.375 * cn2 * distance_m) ** -0.6
    return 0.98 * GREEN_M / fried_m / ARCSEC


def farthest(task: Task, glass: Glass, optics: OpticsSettings, *, sun_deg: float) -> Reach:
    """Greatest distance at which a task can be done, with the shimmer of the hour.

    Parameters
    ----------
    task, glass
        See `tasks` and `glasses`.
    sun_deg : float
        The sun's altitude at that hour, degrees; it makes the shimmer, not the light.

    Notes
    -----
    Does not model dim light, contrast with the ground, haze, wind on the tripod, the eye's age, or the time it
    takes: `field_part` stands for all of them.
    """
    angle = finest_arcsec(glass, optics) * ARCSEC
    cn2 = air_cn2(sun_deg, optics)
    near, far = 0.0, task.least_m / (2.0 * optics.cycles * angle)
    for _ in range(60):  # the blur grows with distance, so the need is met up to one distance
        middle = (near + far) / 2.0
        blurred = math.hypot(angle, shimmer_arcsec(middle, cn2) * ARCSEC)
        if 2.0 * optics.cycles * blurred * middle <= task.least_m:
            near = middle
        else:
            far = middle
    return Reach(near, optics.field_part * near)


def eye_gets(
    distance_m: float, animal_m: float, optics: OpticsSettings, *, sun_deg: float
) -> dict[str, dict[str, Answer]]:
    """Which tasks each glass serves at a distance and hour: answers by glass, then by task.

    >>> eye_gets(1200.0, 0.9, OpticsSettings(), sun_deg=-6.0)["10x42"]
    {'find': 'yes', 'tell apart': 'in doubt', 'judge': 'no'}
    """
    return {
        glass.name: {
            task.name: farthest(task, glass, optics, sun_deg=sun_deg).answer(distance_m)
            for task in tasks(animal_m, optics)
        }
        for glass in glasses(optics)
    }


def apparent_arcmin(size_m: float, distance_m: float, power: float = 1.0) -> float:
    """Angle that something across the line fills, arc minutes; through a glass times its power.

    >>> round(apparent_arcmin(0.45, 1000.0), 2), round(apparent_arcmin(0.45, 1000.0, 10), 1)
    (1.55, 15.5)
    """
    return power * 60.0 * math.degrees(2.0 * math.atan2(size_m / 2.0, distance_m))


@dataclass(frozen=True, slots=True)
class GroundView:
    """How a piece of ground lies in the view.

    Parameters
    ----------
    cosine : (n,) float64
        Between each cell's normal and the line to the eye: 1 looked at straight, 0 edge on; 0 where it faces away,
        NaN where the ground about it is not known.
    squareness : float
        Ground projected across the line over the ground's own surface, [0, 1]; NaN when none is known.
    square_degrees : float
        What it fills of the view.
    """

    cosine: NDArray[np.float64]
    squareness: float
    square_degrees: float


def ground_view(
    ground_m: NDArray[np.floating],
    *,
    eye: tuple[int, int],
    eye_m: float,
    rows: NDArray[np.integer],
    cols: NDArray[np.integer],
    cell_m: float,
    refraction: float = 1 / 7,
) -> GroundView:
    """Projected size of some cells from a place: looked at straight, or from the side.

    Parameters
    ----------
    ground_m : (rows, cols) float
        Bare ground, NaN where unknown.
    eye, eye_m
        The watcher's cell, whose ground must be known, and the eye's height above it.
    rows, cols : (n,) int
        The cells, the pocket's that are in sight for instance; the watcher's own is left out.
    cell_m : float
        Cell size.

    Raises
    ------
    BadInput
        The watcher's ground is not known.

    Notes
    -----
    Takes each cell as a plane by its neighbours (central differences); hides nothing: give it what is in sight.
    """
    if np.isnan(ground_m[eye]):
        raise BadInput(f"no ground is known at row {eye[0]}, column {eye[1]}; choose a cell with elevation")
    row, col = np.asarray(rows, np.int64).ravel(), np.asarray(cols, np.int64).ravel()
    down, across = _tilt(ground_m, row, col, cell_m)
    south, east = (eye[0] - row) * cell_m, (eye[1] - col) * cell_m
    flat2 = south.astype(np.float64) ** 2 + east.astype(np.float64) ** 2
    up = float(ground_m[eye]) + eye_m - ground_m[row, col].astype(np.float64) - bend(refraction) * flat2
    far2 = np.where(flat2 > 0, flat2 + up**2, np.nan)
    # the normal (-slope south, -slope east, 1) times a cell's square is the cell's surface, turned
    facing = np.maximum((up - down * south - across * east) / np.sqrt(far2), 0.0)
    surface = np.sqrt(1.0 + down**2 + across**2)
    known = np.isfinite(facing)
    whole = float(surface[known].sum()) if known.any() else math.nan
    steradians = float((facing[known] / far2[known]).sum()) * cell_m**2
    return GroundView(
        facing / surface, float(facing[known].sum()) / whole, steradians * math.degrees(1.0) ** 2
    )


def _tilt(
    ground_m: NDArray[np.floating], row: NDArray[np.int64], col: NDArray[np.int64], cell_m: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Slopes southward and eastward by the two neighbours (by one at the grid's edge)."""
    rows, cols = ground_m.shape
    north, south = np.maximum(row - 1, 0), np.minimum(row + 1, rows - 1)
    west, east = np.maximum(col - 1, 0), np.minimum(col + 1, cols - 1)
    fall = ground_m[south, col].astype(np.float64) - ground_m[north, col]
    lean = ground_m[row, east].astype(np.float64) - ground_m[row, west]
    down = fall / np.maximum((south - north) * cell_m, cell_m)
    across = lean / np.maximum((east - west) * cell_m, cell_m)
    return down, across

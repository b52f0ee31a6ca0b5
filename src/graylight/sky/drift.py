"""Drift: the ground that the air from a lookout or a way reaches, and the ground whose air reaches a pocket.

A rule of thumb made visible, not a forecast: the air follows the winds of `graylight.sky.wind`, spreads and
thins as a plume in open country does (Briggs 1973, doi:10.2172/5118833), and counts by how much of it is left.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import grey_closing
from scipy.special import ndtri

from graylight.errors import BadInput
from graylight.kernels.drift import carry
from graylight.settings import AirSettings
from graylight.sky.wind import WindField
from graylight.work import spread

__all__ = [
    "SPREAD",
    "Drift",
    "carries_to",
    "drift",
    "drift_of_way",
    "middle_scent",
    "reach_cells",
    "spread_m",
]

Raster: TypeAlias = NDArray[np.float32]

SPREAD = {
    "A": ((0.22, 1e-4, -0.5), (0.20, 0.0, 1.0)),
    "B": ((0.16, 1e-4, -0.5), (0.12, 0.0, 1.0)),
    "C": ((0.11, 1e-4, -0.5), (0.08, 2e-4, -0.5)),
    "D": ((0.08, 1e-4, -0.5), (0.06, 1.5e-3, -0.5)),
    "E": ((0.06, 1e-4, -0.5), (0.03, 3e-4, -1.0)),
    "F": ((0.04, 1e-4, -0.5), (0.016, 3e-4, -1.0)),
}
"""Spread across and depth of a plume, by Pasquill class: a, b, c of a s (1 + b s)^c metres at s metres (Briggs
1973, open country)."""

PATHS = 25
"""Paths of a plume from one place; of each of many places there are fewer."""
_PATHS_OF_MANY = 9
_LAID = 0.45  # width of what each path lays down, as part of the spread: no gaps between neighbouring paths
_LAID_OF_MANY = 0.6
_REFERENCE_MS = 1.5  # the wind for which the distances of the settings are meant
_DOWN, _UP, _GENERAL = (1, 3), (2, 4), 5
_MOST_PLACES = 96
_PLACES_AT_ONCE = 10
_FOLLOWED = 1.25  # air is followed so many times as far as scent is gone by the settings: it may be thin, and not gone


@dataclass(frozen=True, slots=True, eq=False)
class Drift:
    """How much scent reaches the ground.

    Parameters
    ----------
    scent : (rows, cols) float32
        1: as strong as nearby; 0: gone; between, by the logarithm of how much is left, as noses judge.
    doubtful
        Whether the air, where it is let go, is still or unreliable: then it may go anywhere near.
    """

    scent: Raster
    doubtful: bool

    def reaches(self, cells: NDArray[np.bool_], weight: Raster | None = None) -> float:
        """Share of a pocket that it reaches: sum(w scent) / sum(w) over the cells, 0 to 1.

        Parameters
        ----------
        cells : (rows, cols) bool
            The pocket.
        weight : (rows, cols) float32, optional
            How much each cell counts; none: all alike.
        """
        w = np.ones(int(cells.sum())) if weight is None else weight[cells].astype(np.float64)
        total = float(w.sum())
        return float((w * self.scent[cells]).sum() / total) if total > 0.0 else 0.0


def spread_m(gone_m: float, stability: str, *, meander: float = 1.0) -> tuple[float, float]:
    """Standard deviation of a plume across and in height, metres, at a distance.

    >>> [round(x, 2) for x in spread_m(1000.0, "D")]  # Briggs 1973: 80 / sqrt(1.1), 60 / sqrt(2.5)
    [76.28, 37.95]
    """
    across, depth = SPREAD[stability]
    return meander * _law(across, gone_m), _law(depth, gone_m)


def _law(numbers: tuple[float, float, float], gone_m: float) -> float:
    a, b, c = numbers
    return a * gone_m * math.pow(1.0 + b * gone_m, c)


def middle_scent(gone_m: NDArray[np.float64], speed_ms: float, settings: AirSettings) -> NDArray[np.float64]:
    """Scent in the middle of an even drift in a general wind that rules, 0 to 1.

    Parameters
    ----------
    gone_m : (n,) float64
        Distances from where it is let go.
    speed_ms
        The wind near the ground.
    settings
        How scent spreads and thins.

    >>> middle_scent(np.array([100.0, 500.0, 3000.0]), 1.8, AirSettings()).round(2).tolist()
    [0.85, 0.26, 0.0]
    """
    far = np.maximum(gone_m, 1.0)
    (a, b, c), (d, e, f) = SPREAD[settings.windy_class]
    across, depth = a * far * (1.0 + b * far) ** c, d * far * (1.0 + e * far) ** f
    left = 1.0 / (math.pi * max(speed_ms, settings.still_ms) * across * depth)
    full, gone = (_middle(s, settings) for s in (settings.scent_full_m, settings.scent_gone_m))
    return np.asarray(np.clip(np.log(left / gone) / math.log(full / gone), 0.0, 1.0), np.float64)


def reach_cells(settings: AirSettings, cell_m: float) -> int:
    """How many rows and columns off a place its air is followed: beyond no scent of it is reckoned."""
    return math.ceil(_FOLLOWED * settings.scent_gone_m / cell_m)


def drift(field: WindField, row: float, col: float, *, settings: AirSettings) -> Drift:
    """The ground that the air from one place reaches, in the wind of one moment.

    Parameters
    ----------
    field
        From `graylight.sky.wind.wind_field`.
    row, col
        The place (fractions allowed).
    settings
        How scent spreads and thins.

    Raises
    ------
    BadInput
        The place lies outside the grid.

    Notes
    -----
    The wind is taken as steady for as long as air is followed. Near the ground the strength in the middle of
    an even drift is Q / (pi u sy sz). Scent is 1 where that is as much as at `scent_full_m`, 0 where it is as little as at
    `scent_gone_m`, both in night air of 1.5 m/s. By day more air takes part: scent is gone much sooner.

    Not modelled: air that leaves the slope at a crest or rises in the sun; eddies; rain; what clings to the
    ground one has walked on; how well an animal smells, or whether it minds.
    """
    return _all_of(field, [(row, col)], sign=1.0, paths=PATHS, laid=_LAID, settings=settings)


def drift_of_way(
    fields: Sequence[WindField],
    rows: NDArray[np.integer],
    cols: NDArray[np.integer],
    at_s: NDArray[np.floating],
    *,
    settings: AirSettings,
    every_m: float = 150.0,
) -> Drift:
    """The ground that the air from someone on the way reaches, at the strongest.

    Parameters
    ----------
    fields
        The wind at some moments, in order; each stretch of the way takes the nearest in time.
    rows, cols, at_s : (n,)
        The cells of the way, and when each is passed.
    settings
        How scent spreads and thins.
    every_m
        About how far apart the places lie from which air is followed.

    Raises
    ------
    BadInput
        No wind field, or the way lies outside the grid.
    """
    if not fields:
        raise BadInput("no wind is given for the way; accepted is one wind field or more; work one out first")
    keep = _thinned(np.asarray(rows), np.asarray(cols), every_m / fields[0].cell_m)
    moments = np.array([field.at_s for field in fields])
    which = np.argmin(np.abs(np.asarray(at_s, np.float64)[keep, None] - moments), axis=1)
    parts: dict[tuple[int, int], Drift] = {}

    def look(k: int, first: int) -> None:
        some = keep[which == k][first : first + _PLACES_AT_ONCE]
        places = [(float(rows[i]), float(cols[i])) for i in some]
        parts[k, first] = _all_of(
            fields[k], places, sign=1.0, paths=_PATHS_OF_MANY, laid=_LAID_OF_MANY, settings=settings
        )

    counts = [int((which == k).sum()) for k in range(len(fields))]
    spread([partial(look, k, i) for k, count in enumerate(counts) for i in range(0, count, _PLACES_AT_ONCE)])
    scent = np.zeros(fields[0].mover.shape, np.float32)
    for part in parts.values():  # the strongest, whatever the order
        np.maximum(scent, part.scent, out=scent)
    return Drift(scent, any(part.doubtful for part in parts.values()))


def carries_to(field: WindField, cells: NDArray[np.bool_], *, settings: AirSettings) -> Raster:
    """The ground from which air comes to a pocket, and how much of the scent let go there arrives.

    Parameters
    ----------
    field
        The wind of one moment.
    cells : (rows, cols) bool
        The pocket; up to 96 places spread evenly over it stand for all.
    settings
        How scent spreads and thins.

    Returns
    -------
    (rows, cols) float32
        0 to 1: what the most reached of these places would get, 1 in the pocket itself. It is the drift from
        the pocket against the wind: in an even wind exactly the other way round of `drift`, over ground nearly
        so. Gaps between the places, narrower than their distance, are closed.
    """
    rows, cols = np.nonzero(cells)
    some, side = _spread_over(rows, cols)
    places = [(float(rows[i]), float(cols[i])) for i in some]
    found = _all_of(field, places, sign=-1.0, paths=_PATHS_OF_MANY, laid=_LAID_OF_MANY, settings=settings)
    scent = found.scent
    scent[cells] = 1.0
    return _closed(scent, side) if side > 1 else scent


def _closed(scent: Raster, side: int) -> Raster:
    """With gaps narrower than so many cells filled by what is beside them."""
    rows, cols = (np.flatnonzero(scent.any(axis=axis)) for axis in (1, 0))
    if rows.size:
        window = (
            slice(max(rows[0] - side, 0), rows[-1] + side + 1),
            slice(max(cols[0] - side, 0), cols[-1] + side + 1),
        )
        scent[window] = np.maximum(
            scent[window], grey_closing(scent[window], size=(side, side), mode="nearest")
        )
    return scent


def _thinned(rows: NDArray[np.integer], cols: NDArray[np.integer], every: float) -> NDArray[np.intp]:
    """Places along a way about so many cells apart, both ends among them."""
    if rows.size == 0:
        return np.zeros(0, np.intp)
    gone = np.r_[0.0, np.cumsum(np.hypot(np.diff(rows), np.diff(cols)))]
    stops = np.linspace(0.0, gone[-1], max(1, round(gone[-1] / every)) + 1)
    return np.unique(np.searchsorted(gone, stops - 1e-9))


def _spread_over(rows: NDArray[np.intp], cols: NDArray[np.intp]) -> tuple[list[int], int]:
    """The first cell of each square of a lattice as fine as the number of places allows, and its side."""
    side = 1
    while True:
        _, first = np.unique((rows // side) * 1_000_000 + cols // side, return_index=True)
        if first.size <= _MOST_PLACES:
            return [int(i) for i in first], side
        side += max(1, side // 4)


def _all_of(
    field: WindField,
    places: Sequence[tuple[float, float]],
    *,
    sign: float,
    paths: int,
    laid: float,
    settings: AirSettings,
) -> Drift:
    """The strongest scent from any of the places."""
    shape = field.mover.shape
    most, doubtful = np.zeros(shape, np.float32), False
    quantiles, limit_m = _quantiles(paths, laid), _FOLLOWED * settings.scent_gone_m
    half = reach_cells(settings, field.cell_m)
    limit_s = 60.0 * settings.scent_minutes
    for row, col in places:
        r, c = _inside(row, col, shape)
        window = (slice(max(r - half, 0), r + half + 1), slice(max(c - half, 0), c + half + 1))
        law, doubt = _law_at(field, r, c, settings)
        # warm air leaves the ground where it meets on a crest; against the wind, cold air comes from no farther
        rises = 1.0 if field.mover[r, c] in (_UP if sign > 0.0 else _DOWN) else 0.0
        laws = np.array([laid, limit_m, limit_s, settings.still_ms, settings.pool_ms, rises])
        left = np.zeros(most[window].shape, np.float32)
        corner = (window[0].start, window[1].start)
        # floats throughout: the kernel is compiled once
        east, north, cell_m = field.grid_east_ms, field.grid_north_ms, float(field.cell_m)
        carry(east, north, sign, cell_m, float(row), float(col), quantiles, law, laws, *corner, left)
        np.maximum(most[window], left, out=most[window])
        doubtful |= doubt
    return Drift(_judged(most, settings), doubtful)


def _inside(row: float, col: float, shape: tuple[int, ...]) -> tuple[int, int]:
    if not (-0.5 <= row < shape[0] - 0.5 and -0.5 <= col < shape[1] - 0.5):
        raise BadInput(
            f"the place at row {row:g}, column {col:g} lies outside the country; accepted are rows 0 to "
            f"{shape[0] - 1} and columns 0 to {shape[1] - 1}; choose a place inside"
        )
    return math.floor(row + 0.5), math.floor(col + 0.5)


def _quantiles(paths: int, laid: float) -> NDArray[np.float64]:
    """Even quantiles of a Gaussian; with what each lays down its variance comes to exactly 1."""
    even = ndtri((np.arange(paths) + 0.5) / paths)
    even = 0.5 * (even - even[::-1])  # the two sides alike to the last digit
    return np.asarray(even * math.sqrt((1.0 - laid**2) / np.mean(even**2)))


def _law_at(field: WindField, row: int, col: int, settings: AirSettings) -> tuple[NDArray[np.float64], bool]:
    """Spread of the air at a place by what moves it, and whether it is doubtful there."""
    air = field.at(row, col)
    mover = int(field.mover[row, col])
    stability: str = settings.night_class
    if mover == _GENERAL:
        stability = settings.windy_class
    elif mover in _UP:
        stability = settings.day_class
    sways = not air.reliable or mover in {0, 1, 3}
    (a, b, c), depth = SPREAD[stability]
    return np.array([a * (settings.meander if sways else 1.0), b, c, *depth]), not air.reliable


def _judged(left: Raster, settings: AirSettings) -> Raster:
    """Scent from 0 to 1 by the logarithm of what is left in a cubic metre."""
    full, gone = (_middle(s, settings) for s in (settings.scent_full_m, settings.scent_gone_m))
    scent = np.zeros(left.shape, np.float32)
    some = left > np.float32(gone)
    scent[some] = np.minimum(np.log(left[some] / np.float32(gone)) / np.float32(math.log(full / gone)), 1.0)
    return scent


def _middle(gone_m: float, settings: AirSettings) -> float:
    """Scent near the ground in the middle of the drift, in the air that the settings' distances are meant for."""
    across, height = spread_m(gone_m, settings.night_class, meander=settings.meander)
    return 1.0 / (math.pi * _REFERENCE_MS * across * height)

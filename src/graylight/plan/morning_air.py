"""What the air from a lookout does to the pockets watched: scent by the clock, and in winds of other strength. Rule of thumb."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from graylight.grid import RowCol
from graylight.plan.morning_ready import Dawn, MorningReady
from graylight.plan.morning_sky import AirAbout, DaySky, reaches_share, scent_at
from graylight.plan.sight_facts import PocketCells
from graylight.settings import AirSettings, SitSettings
from graylight.sit.facts import Whiff
from graylight.sky.drift import Drift, drift, middle_scent, reach_cells
from graylight.sky.wind import Air, GeneralWind, WindField
from graylight.work import spread

__all__ = [
    "Aim",
    "Met",
    "about_as_strong",
    "aims_at",
    "blows_at",
    "close_calls",
    "drifts",
    "met_in",
    "toward",
    "whiffs",
]


def toward(
    ready: MorningReady, air: Air, cell: RowCol, cells: PocketCells, scent: NDArray[np.float32]
) -> float | None:
    """How strong scent is on the part of a pocket that the air goes to, 0 to 1; None: it does not go to a fifth of it.

    A general wind swings: what lies within 20 degrees of its course is counted as in the middle of it by turns [common
    practice]. Slope and valley air goes where the drift goes.
    """
    settings, weight = ready.looking.country.settings, cells.weight.astype(np.float64)
    met = scent > 0.0
    strength = scent.astype(np.float64)
    if air.mover == "general wind" and air.toward_deg is not None:
        met, gone_m = _blown_at(ready, air.toward_deg, cell, cells)
        strength = middle_scent(gone_m, air.speed_ms, settings.air)
    if not len(weight) or weight[met].sum() <= settings.sit.toward_part * weight.sum():
        return None
    return float((weight[met] * strength[met]).sum() / weight[met].sum())


@dataclass(frozen=True, slots=True)
class Aim:
    """Where a pocket lies from a lookout, as far as scent matters: its cells within the reach of scent in night air.

    Parameters
    ----------
    bearing_deg, weight : (n,) float64
        Clockwise from true north, and how much each cell is used.
    total
        The weight of the whole pocket.
    """

    bearing_deg: NDArray[np.float64]
    weight: NDArray[np.float64]
    total: float


def aims_at(ready: MorningReady, dawns: tuple[Dawn, ...], cell: RowCol) -> tuple[Aim, ...]:
    """The pockets watched from a lookout, worked out once for all winds."""
    limit_m = ready.looking.country.settings.air.scent_gone_m
    found = []
    for cells in (dawn.cells for dawn in dawns):
        bearing, gone_m = _bearings(ready, cell, cells)
        near, weight = gone_m <= limit_m, cells.weight.astype(np.float64)
        found.append(Aim(bearing[near], weight[near], float(weight.sum())))
    return tuple(found)


def blows_at(aim: Aim, air: Air, settings: SitSettings) -> bool:
    """Whether a general wind at the lookout blows at a pocket that lies within the reach of scent in night air."""
    if air.toward_deg is None or air.mover != "general wind" or not aim.weight.size:
        return False
    met = _aside(aim.bearing_deg, air.toward_deg) <= settings.toward_deg
    return float(aim.weight[met].sum()) > settings.toward_part * aim.total


def _blown_at(
    ready: MorningReady, toward_deg: float, cell: RowCol, cells: PocketCells
) -> tuple[NDArray[np.bool_], NDArray[np.float64]]:
    """Which of a pocket's cells lie near a wind's course, within the reach of scent in night air, and how far all are."""
    settings = ready.looking.country.settings
    bearing, gone_m = _bearings(ready, cell, cells)
    return (gone_m <= settings.air.scent_gone_m) & (
        _aside(bearing, toward_deg) <= settings.sit.toward_deg
    ), gone_m


def _bearings(
    ready: MorningReady, cell: RowCol, cells: PocketCells
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Bearing, clockwise from true north, and metres of a pocket's cells from a lookout."""
    grid = ready.looking.country.grid
    east, north = cells.cols - cell.col, cell.row - cells.rows
    return np.degrees(np.arctan2(east, north)) + grid.convergence_deg(), np.hypot(east, north) * grid.cell_m


def _aside(bearing_deg: NDArray[np.float64], toward_deg: float) -> NDArray[np.float64]:
    """How far off a course, 0 to 180 degrees."""
    return np.asarray(np.abs((bearing_deg - toward_deg + 180.0) % 360.0 - 180.0), np.float64)


@dataclass(frozen=True, slots=True)
class Met:
    """What the air from a lookout does in one wind, for each pocket watched.

    Parameters
    ----------
    shares
        Part of it that scent reaches, 0 to 1.
    blown
        Whether a general wind at the lookout blows at it.
    """

    shares: tuple[float, ...]
    blown: tuple[bool, ...]


def met_in(
    ready: MorningReady, about: AirAbout, dawns: tuple[Dawn, ...], cell: RowCol, fields: Sequence[WindField]
) -> list[Met]:
    """What the air from a lookout does in each of some winds over the ground about it."""
    settings = ready.looking.country.settings
    half = reach_cells(settings.air, about.sky.ground.cell_m)
    near = any(_within(dawn.cells, cell, half) for dawn in dawns)
    aims, found = aims_at(ready, dawns, cell), []
    for field in fields:
        air = field.at(*about.cell)
        shares = tuple(0.0 for _ in dawns)
        if near:
            scent = drift(field, *about.cell, settings=settings.air).scent
            shares = tuple(reaches_share(scent, dawn.cells, about.corner) for dawn in dawns)
        found.append(Met(shares, tuple(blows_at(aim, air, settings.sit) for aim in aims)))
    return found


def _within(cells: PocketCells, cell: RowCol, half: int) -> bool:
    """Whether any of a pocket lies where scent is followed to at all."""
    return bool(np.any((np.abs(cells.rows - cell.row) <= half) & (np.abs(cells.cols - cell.col) <= half)))


def about_as_strong(ready: MorningReady, wind: GeneralWind) -> list[GeneralWind]:
    """Winds a little weaker and stronger than the one said; none where it is calm."""
    if wind.toward_deg is None or wind.speed_ms == 0.0:
        return []
    off = ready.looking.country.settings.sit.wind_off
    return [replace(wind, speed_ms=wind.speed_ms * (1.0 + part * off)) for part in (-1.0, -0.5, 0.5, 1.0)]


def close_calls(
    ready: MorningReady, sky: DaySky, dawns: tuple[Dawn, ...], cell: RowCol, when: dt.datetime,
    winds: Sequence[GeneralWind],
) -> list[tuple[str, ...]]:  # fmt: skip
    """For each of some general winds, ids of the pockets that one a little weaker or stronger would blow at."""
    settings, aims = ready.looking.country.settings.sit, aims_at(ready, dawns, cell)
    others = [about_as_strong(ready, wind) for wind in winds]
    here = iter(sky.at_cell(cell).fields(when, [one for some in others for one in some]))
    found = []
    for some in others:
        airs = [next(here).at(0, 0) for _ in some]
        met = [any(blows_at(aim, air, settings) for air in airs) for aim in aims]
        found.append(tuple(dawn.pocket.id for dawn, close in zip(dawns, met, strict=True) if close))
    return found


def drifts(fields: list[WindField], cell: RowCol, settings: AirSettings) -> list[Drift]:
    """The drift from one place in several winds."""
    found: dict[int, Drift] = {}

    def look(i: int) -> None:
        found[i] = drift(fields[i], *cell, settings=settings)

    spread([partial(look, i) for i in range(len(fields))])
    return [found[i] for i in range(len(fields))]


def _nearest(cells: PocketCells, cell: RowCol) -> float:
    """How many cells off the nearest used ground of a pocket is."""
    return float(np.hypot(cells.rows - cell.row, cells.cols - cell.col).min(initial=np.inf))


def whiffs(
    ready: MorningReady, about: AirAbout, times: list[dt.datetime], fields: list[WindField], dawns: tuple[Dawn, ...],
    cell: RowCol,
) -> list[tuple[Whiff, ...]]:  # fmt: skip
    """Scent on each pocket watched, by the clock."""
    settings = ready.looking.country.settings
    found: list[list[Whiff]] = [[] for _ in dawns]
    away = [_nearest(dawn.cells, cell) for dawn in dawns]
    for at, one, blown in zip(times, fields, drifts(fields, about.cell, settings.air), strict=True):
        rows, cols = np.nonzero(blown.scent > settings.sit.scent_care)
        carries = float(np.hypot(rows - about.cell.row, cols - about.cell.col).max(initial=0.0))
        for into, dawn, far in zip(found, dawns, away, strict=True):
            share = reaches_share(blown.scent, dawn.cells, about.corner)
            strength = toward(
                ready, one.at(*about.cell), cell, dawn.cells, scent_at(blown.scent, dawn.cells, about.corner)
            )
            into.append(Whiff(at, share, blown.doubtful, far <= carries, strength))
    return [tuple(each) for each in found]

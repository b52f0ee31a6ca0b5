"""Sun and air of one date over a country, as a morning needs them: quick, and no finer than rules of thumb are."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from graylight.country.folder import Country
from graylight.errors import BadInput
from graylight.grid import RowCol
from graylight.plan.composing import light_facts
from graylight.plan.looking import Ready
from graylight.plan.model import Light
from graylight.plan.sight_facts import PocketCells
from graylight.settings import AirSettings
from graylight.sit.facts import Bed, SitKind, Span
from graylight.sky.declination import declination
from graylight.sky.drift import reach_cells
from graylight.sky.glare import Glare, PocketGlare
from graylight.sky.horizon import sunlit
from graylight.sky.shade import shade
from graylight.sky.wind import AirDay, AirGround, GeneralWind, WindField, air_day, wind_field, wind_fields

__all__ = [
    "AirAbout",
    "DaySky",
    "beds_in_shade",
    "check_light",
    "day_sky",
    "glass_spans",
    "left",
    "moment_of",
    "reached",
    "reaches_share",
    "scent_at",
]

Raster = NDArray[np.float32]
COARSE_M = 40.0
"""Cells on which first and last sun are taken for the air, which goes by ground evened over 90 m anyway."""
WHOLE = RowCol(0, 0)
_HALF_DISC_DEG = 16.0 / 60.0


@dataclass(frozen=True, slots=True)
class DaySky:
    """One date: its light, and when the air turns over the country."""

    light: Light
    air: AirDay
    ground: AirGround
    settings: AirSettings

    def seconds(self, when: dt.datetime) -> float:
        """Seconds after 00:00 UTC of the date, as the sun's times are counted."""
        return (when - _midnight(self.light.date)).total_seconds()

    def moment(self, seconds: float) -> dt.datetime:
        """The other way round."""
        return _midnight(self.light.date) + dt.timedelta(seconds=round(seconds))

    def field(self, when: dt.datetime, wind: GeneralWind) -> WindField:
        """The air over the country at a moment."""
        return wind_field(self.ground, self.air, self.seconds(when), general=wind, settings=self.settings)

    def fields(self, when: dt.datetime, winds: Sequence[GeneralWind]) -> list[WindField]:
        """The same in each of some general winds."""
        return wind_fields(self.ground, self.air, self.seconds(when), generals=winds, settings=self.settings)

    def about(self, cell: RowCol) -> AirAbout:
        """The air as far about a place as scent is followed."""
        far = reach_cells(self.settings, self.ground.cell_m) + 2
        corner = RowCol(max(cell.row - far, 0), max(cell.col - far, 0))
        part = slice(corner.row, cell.row + far + 1), slice(corner.col, cell.col + far + 1)
        return AirAbout(self._over(part), corner, RowCol(cell.row - corner.row, cell.col - corner.col))

    def at_cell(self, cell: RowCol) -> DaySky:
        """The same over one cell alone."""
        return self._over((slice(cell.row, cell.row + 1), slice(cell.col, cell.col + 1)))

    def _over(self, part: tuple[slice, slice]) -> DaySky:
        """The same over a part of the country."""
        ground = AirGround(
            np.ascontiguousarray(self.ground.layers[:, *part]), np.ascontiguousarray(self.ground.floor[part]),
            self.ground.cell_m, self.ground.convergence_deg,
        )  # fmt: skip
        return replace(self, ground=ground, air=AirDay(np.ascontiguousarray(self.air.layers[:, *part])))


@dataclass(frozen=True, slots=True)
class AirAbout:
    """A piece of the country's air: where its first row and column lie, and the place in the middle, in its own cells."""

    sky: DaySky
    corner: RowCol
    cell: RowCol


def _midnight(date: dt.date) -> dt.datetime:
    return dt.datetime(date.year, date.month, date.day, tzinfo=dt.UTC)


def day_sky(ready: Ready, country: Country, ground: AirGround) -> DaySky:
    """The sky of the country's date."""
    magnetic = declination(country.grid.center, height_m=0.0, day=country.settings.date)
    survey = replace(ready.survey, declination_deg=None if magnetic is None else magnetic.deg)
    first, last = _sun_times(ready, country)
    settings = country.settings.air
    return DaySky(
        light_facts(country, survey), air_day(ground, first, last, settings=settings), ground, settings
    )


def check_light(light: Light, kind: SitKind, usable_sun_deg: float) -> None:
    """See that a date has the light that a sit is for.

    Raises
    ------
    BadInput
        No usable light begins, or none ends, that day: there is nothing to plan.
    """
    dawn, dusk = kind != "dusk" and light.usable_from is None, kind != "dawn" and light.usable_until is None
    if dawn or dusk:
        raise BadInput(
            f"no usable light {'begins' if dawn else 'ends'} on {light.date.isoformat()} here (the sun passes "
            f"{usable_sun_deg:g} degrees at no time that {'morning' if dawn else 'evening'}); accepted is a date on which "
            f"night {'ends' if dawn else 'falls'}; choose another date"
        )


def _sun_times(ready: Ready, country: Country) -> tuple[Raster, Raster]:
    """First and last sun by cells of about 40 m, brought back to the grid."""
    step = max(1, round(COARSE_M / country.grid.cell_m))
    rows, cols = country.grid.shape
    if min(rows, cols) < 2 * step:
        step = 1
    thin = (slice(step // 2, None, step),) * 2
    beyond = ready.survey.beyond
    found = shade(
        *(np.ascontiguousarray(layer[thin]) for layer in (ready.survey.elevation_m, ready.slope_deg, ready.aspect_deg)),
        cell_m=country.grid.cell_m * step, convergence_deg=country.grid.convergence_deg(),
        place=country.grid.center, day=country.settings.date,
        beyond=None if beyond is None else beyond.thinned(step),
    )  # fmt: skip
    high, wide = found.first_sun_s.shape
    back = np.ix_(
        np.minimum(np.arange(rows) // step, high - 1), np.minimum(np.arange(cols) // step, wide - 1)
    )
    return found.first_sun_s[back], found.last_sun_s[back]


def moment_of(time: np.datetime64) -> dt.datetime:
    """An aware moment, to the second."""
    seconds = round(int(time.astype("datetime64[us]").astype(np.int64)) / 1e6)
    return dt.datetime(1970, 1, 1, tzinfo=dt.UTC) + dt.timedelta(seconds=seconds)


def reached(glare: Glare, one: PocketGlare, part: float) -> dt.datetime | None:
    """When the sun first lies on a part of the pocket, linear between the moments looked at; None: it does not."""
    lit = one.sunlit_share
    over = np.flatnonzero(lit >= part)
    if over.size == 0:
        return None
    i = int(over[0])
    if i == 0:
        return moment_of(glare.times[0])
    along = (part - lit[i - 1]) / (lit[i] - lit[i - 1])
    step = (glare.times[i] - glare.times[i - 1]).astype("timedelta64[us]").astype(np.int64)
    return moment_of(glare.times[i - 1] + np.timedelta64(round(along * int(step)), "us"))


def left(glare: Glare, one: PocketGlare, part: float) -> dt.datetime | None:
    """When the sun last lies on a part of the pocket, linear between the moments looked at; None: it does not."""
    lit = one.sunlit_share
    over = np.flatnonzero(lit >= part)
    if over.size == 0:
        return None
    i = int(over[-1])
    if i == lit.size - 1:
        return moment_of(glare.times[-1])
    along = (lit[i] - part) / (lit[i] - lit[i + 1])
    step = (glare.times[i + 1] - glare.times[i]).astype("timedelta64[us]").astype(np.int64)
    return moment_of(glare.times[i] + np.timedelta64(round(along * int(step)), "us"))


def glass_spans(glare: Glare, one: PocketGlare) -> tuple[Span, ...]:
    """When the sun stands in the glass."""
    return _runs(glare, np.array([stands == "in the glass" for stands in one.stands], bool))


def _runs(glare: Glare, yes: NDArray[np.bool_]) -> tuple[Span, ...]:
    """Runs of moments, each widened by half a step to either side."""
    if glare.times.size < 2:
        return ()
    half = dt.timedelta(seconds=float((glare.times[1] - glare.times[0]) / np.timedelta64(1, "s")) / 2)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], yes, [False]]).astype(np.int8)))
    return tuple(
        Span(moment_of(glare.times[a]) - half, moment_of(glare.times[b - 1]) + half)
        for a, b in zip(edges[::2], edges[1::2], strict=True)
    )


def beds_in_shade(
    ready: Ready, glare: Glare, ids: list[str], cells: list[RowCol], closure: Raster | None, part: float
) -> tuple[Bed, ...]:
    """When beds lie in shade: ground in the sun's way, ground that faces away, or canopy. A slanting sun is no shade."""
    if not cells:
        return ()
    rows, cols = (np.array(side, np.int64) for side in zip(*cells, strict=True))
    grid = ready.country.grid
    lit = sunlit(
        ready.survey.elevation_m, rows, cols, cell_m=grid.cell_m,
        azimuth_grid_deg=glare.azimuth_true_deg - grid.convergence_deg(), limb_deg=glare.limb_deg,
        beyond=ready.survey.beyond,
    )  # fmt: skip
    beam = lit * (_facing(ready, glare, rows, cols) > 0.0)
    if closure is not None:
        beam = beam * (1.0 - np.nan_to_num(closure[rows, cols]))
    return tuple(Bed(name, _runs(glare, beam[:, i] <= part)) for i, name in enumerate(ids))


def _facing(
    ready: Ready, glare: Glare, rows: NDArray[np.int64], cols: NDArray[np.int64]
) -> NDArray[np.float64]:
    """Cosine between the sun and the ground's normal, at least 0: (moments, cells)."""
    slope = np.radians(np.nan_to_num(ready.slope_deg[rows, cols]).astype(np.float64))
    aspect = np.radians(np.nan_to_num(ready.aspect_deg[rows, cols]).astype(np.float64))
    high = np.radians(glare.limb_deg - _HALF_DISC_DEG)[:, None]
    toward = np.radians(glare.azimuth_true_deg)[:, None]
    facing = np.cos(slope) * np.sin(high) + np.sin(slope) * np.cos(high) * np.cos(toward - aspect)
    return np.asarray(np.maximum(facing, 0.0), np.float64)


def reaches_share(scent: Raster, cells: PocketCells, corner: RowCol = WHOLE) -> float:
    """Part of what a pocket holds that scent reaches, as `Drift.reaches` has it.

    `corner` is the first cell of `scent`, where that is a piece of the country; beyond it there is none.
    """
    weight = cells.weight.astype(np.float64)
    total = float(weight.sum())
    return float((weight * scent_at(scent, cells, corner)).sum()) / total if total > 0.0 else 0.0


def scent_at(scent: Raster, cells: PocketCells, corner: RowCol = WHOLE) -> Raster:
    """(n,) float32, scent on each cell of a pocket; as for `reaches_share`."""
    rows, cols = cells.rows - corner.row, cells.cols - corner.col
    inside = (rows >= 0) & (rows < scent.shape[0]) & (cols >= 0) & (cols < scent.shape[1])
    met = np.zeros(len(rows), np.float32)
    met[inside] = scent[rows[inside], cols[inside]]
    return met

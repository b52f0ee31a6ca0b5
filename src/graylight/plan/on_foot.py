"""The country on foot, from the layers and vectors kept: ground, named paths, starts, and ways to a lookout."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from graylight.approach.exposure import Notice
from graylight.approach.waymarks import NamedPaths
from graylight.approach.ways import Course, FromStart, Land, ways_to
from graylight.country.folder import Country
from graylight.country.masks import burn
from graylight.errors import BadInput
from graylight.grid import LonLat, RowCol
from graylight.ground.water import Water
from graylight.plan.edits import read_edits
from graylight.plan.holdings import is_shut
from graylight.plan.ids import Given
from graylight.plan.looking import Ready
from graylight.plan.making import country_water
from graylight.plan.model import Approach, Pocket
from graylight.plan.sight_facts import PocketCells
from graylight.plan.starts import WayIn, starts
from graylight.reach.ground import walk_ground
from graylight.sight.summed import summed_sight
from graylight.units import in_units

__all__ = [
    "LEAST_GAIN_MIN",
    "advised",
    "land_on_foot",
    "lands_on_foot",
    "seen_from_any",
    "seen_from_pockets",
    "smelled",
    "starts_for",
    "water_of",
    "ways_in",
]

Raster = NDArray[np.float32]
Mask = NDArray[np.bool_]
PLACES = 120
"""Places of the pockets from which a walker may be seen; they are shared out by the pockets' chance."""
LEAST_PLACES = 30
"""Of each pocket, where one alone decides. Proposed."""
LEAST_SEEN = 0.02
"""In view of less of all that the pockets hold than this counts as unseen. Proposed."""
WALKER_M = 1.7
"""Height of a walker that is looked at. Proposed."""
LEAST_GAIN_MIN = 5.0
"""A detour is advised only where it takes off at least so many minutes noticed. Proposed."""


def lands_on_foot(ready: Ready, water: Water) -> tuple[Land, Land]:
    """The ground as it is walked in the dark and by day: factors, closed ground, names of paths."""
    country = ready.country
    grid = country.grid
    given: dict[str, Mask] = {
        "deep_water": water.deep,
        "path_cells": burn((f.geometry for t in ("trails", "roads") for f in country.features(t)), grid),
        "private_cells": burn((f.geometry for f in country.features("ownership") if is_shut(f.properties)), grid),
        "stream_cells": burn((f.geometry for f in country.features("streams")), grid),
    }  # fmt: skip
    named = _named(country)

    def land(dark: bool) -> Land:
        ground = walk_ground(ready.slope_deg, ready.kind, settings=country.settings.walk, dark=dark, **given)
        return Land(ready.survey.elevation_m, ready.slope_deg, ground, grid.cell_m, named)

    return land(True), land(False)


def land_on_foot(ready: Ready, *, dark: bool = True) -> Land:
    """The ground as it is walked at one hour alone."""
    return lands_on_foot(ready, water_of(ready))[0 if dark else 1]


def water_of(ready: Ready) -> Water:
    """The country's lakes and streams."""
    return country_water(ready.country, ready.survey.elevation_m, ready.kind)


def _named(country: Country) -> NamedPaths:
    """Names of trails and roads on the grid; where two lie on one cell, the trail's."""
    found: dict[str, list[object]] = {}
    for table in ("roads", "trails"):
        for feature in country.features(table):
            name = str(feature.properties.get("name") or "")
            if name:
                found.setdefault(name, []).append(feature.geometry)
    index = np.zeros(country.grid.shape, np.uint16)
    for number, shapes in enumerate(found.values(), 1):
        index[burn(shapes, country.grid)] = number  # type: ignore[arg-type]
    return NamedPaths(index, tuple(found))


def seen_from_pockets(ready: Ready) -> Raster:
    """(rows, cols) float32: part of what the ranked pockets hold, by chance, that has a walker in view."""
    ranked = _ranked(ready)
    weights = [max(pocket.chance, 1e-6) for pocket, _ in ranked]
    seen = _seen(ready, [cells for _, cells in ranked], weights, max(1, PLACES // max(len(ranked), 1)))
    seen[seen < LEAST_SEEN] = 0.0
    return seen


def seen_from_any(ready: Ready) -> Raster:
    """(rows, cols) float32: the largest part of any one ranked pocket that has someone standing there in view."""
    ranked = _ranked(ready)
    most = np.zeros(ready.country.grid.shape, np.float32)
    for _, cells in ranked:
        np.maximum(most, _seen(ready, [cells], [1.0], max(LEAST_PLACES, PLACES // len(ranked))), out=most)
    return most


def _ranked(ready: Ready) -> list[tuple[Pocket, PocketCells]]:
    both = zip(ready.plan.pockets, ready.cells, strict=True)
    return [(pocket, cells) for pocket, cells in both if len(cells.rows) and pocket.shut is None]


def _seen(ready: Ready, pockets: list[PocketCells], weights: list[float], each: int) -> Raster:
    """Sight of someone standing from some places of pockets, by their weights, 0 to 1."""
    if not pockets:
        return np.zeros(ready.country.grid.shape, np.float32)
    some = [_spread(cells, each) for cells in pockets]
    rows = np.concatenate([cells.rows[i] for cells, i in zip(pockets, some, strict=True)])
    cols = np.concatenate([cells.cols[i] for cells, i in zip(pockets, some, strict=True)])
    shares = np.concatenate([np.full(len(i), w / len(i)) for w, i in zip(weights, some, strict=True)])
    sight = ready.country.settings.sight
    seen = summed_sight(
        ready.land.wall_m, ready.land.ground_m, rows, cols, shares / shares.sum(),
        cell_m=ready.country.grid.cell_m, eye_m=ready.animal_m, target_m=WALKER_M, radius_m=sight.radius_m,
        refraction=sight.refraction, exact=False,
    )  # fmt: skip
    return np.clip(seen, 0.0, 1.0)


def _spread(cells: PocketCells, count: int) -> NDArray[np.int64]:
    """Indices of some cells, spread evenly over them in the order of the grid."""
    n = len(cells.rows)
    return np.unique(np.linspace(0, n - 1, min(n, count)).round().astype(np.int64))


def starts_for(ready: Ready, land: Land, way: Approach | None) -> list[WayIn]:
    """The start of the plan's own way; all starts where the plan has none."""
    if way is None:
        chosen = read_edits(ready.country, Given()).starts
        return starts(ready.country, np.isfinite(land.ground.factor), only=chosen)
    cell = ready.country.grid.rowcol(LonLat(way.start.place.lon, way.start.place.lat))
    kind = "given" if way.start.kind == "edge" else way.start.kind
    return [WayIn(way.start.name, kind, cell)]


def ways_in(
    ready: Ready,
    land: Land,
    cell: RowCol,
    begin: list[WayIn],
    notice: Notice,
    limit_s: float,
    *,
    dark: bool = True,
) -> FromStart:
    """Ways from the start that is soonest at the lookout.

    Raises
    ------
    BadInput
        No start reaches it: what closes it, and how near one gets.
    """
    settings = ready.country.settings
    cells = [w.cell.row for w in begin], [w.cell.col for w in begin]
    try:
        found = ways_to(
            cell, cells, land, walk=settings.walk, approach=settings.approach, notice=notice, limit_s=limit_s,
            dark=dark,
        )  # fmt: skip
    except BadInput as refused:  # a person knows places and their own units, not rows and metres
        place = ready.country.grid.lonlat(*cell)
        row_words = f"at row {cell.row}, column {cell.col}"
        told = str(refused).replace(row_words, f"at {place.lat:.5f}, {place.lon:.5f}")
        raise BadInput(in_units(told, settings.units)) from None
    return min(found, key=lambda way: (way.quickest.way.seconds, way.start))


def advised(ways: FromStart, *, detour_minutes: float, seen_counts: float) -> Course:
    """The way noticed least that is not much longer than the quickest.

    A minute in view counts for `seen_counts` of one from which scent reaches the pockets: less in the dark.
    """

    def noticed(course: Course) -> float:
        seen, scented = course.exposure.seen_minutes or 0.0, course.exposure.scented_minutes or 0.0
        return scented + seen_counts * seen

    quickest = ways.quickest
    best = quickest
    for course in (ways.between, ways.hidden):
        longer_s = course.way.seconds - quickest.way.seconds
        if longer_s <= 60.0 * detour_minutes and noticed(course) < noticed(best) - LEAST_GAIN_MIN:
            best = course
    return best


def smelled(course: Course, scented: Raster) -> Course:
    """The same way with how much of it scent reaches pockets from, by the time in each of its cells."""
    way = course.way
    spent = np.diff(way.at_s)
    here = 0.5 * (scented[way.rows[:-1], way.cols[:-1]] + scented[way.rows[1:], way.cols[1:]])
    share = float((here * spent).sum() / spent.sum()) if spent.sum() > 0.0 else 0.0
    minutes = float(spent[here > 0.0].sum()) / 60.0
    return replace(course, exposure=replace(course.exposure, scented_share=share, scented_minutes=minutes))

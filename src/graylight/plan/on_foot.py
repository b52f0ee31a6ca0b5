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
from graylight.grid import LonLat, RowCol
from graylight.plan.holdings import is_shut
from graylight.plan.looking import Ready
from graylight.plan.making import country_water
from graylight.plan.model import Approach
from graylight.plan.sight_facts import PocketCells
from graylight.plan.starts import WayIn, starts
from graylight.reach.ground import walk_ground
from graylight.sight.summed import summed_sight

__all__ = [
    "LEAST_GAIN_MIN",
    "advised",
    "land_on_foot",
    "seen_from_pockets",
    "smelled",
    "starts_for",
    "ways_in",
]

Raster = NDArray[np.float32]
PLACES = 120
"""Places of the pockets from which a walker may be seen; they are shared out by the pockets' chance."""
LEAST_SEEN = 0.02
"""In view of less of all that the pockets hold than this counts as unseen. Proposed."""
WALKER_M = 1.7
"""Height of a walker that is looked at. Proposed."""
LEAST_GAIN_MIN = 5.0
"""A detour is advised only where it takes off at least so many minutes noticed. Proposed."""


def land_on_foot(ready: Ready, *, dark: bool = True) -> Land:
    """Ground factors, in the dark or by day, closed ground and the names of paths."""
    country = ready.country
    grid = country.grid
    elevation = ready.survey.elevation_m
    ground = walk_ground(
        ready.slope_deg, ready.kind, deep_water=country_water(country, elevation, ready.kind).deep,
        path_cells=burn((f.geometry for t in ("trails", "roads") for f in country.features(t)), grid),
        private_cells=burn((f.geometry for f in country.features("ownership") if is_shut(f.properties)), grid),
        settings=country.settings.walk, dark=dark,
        stream_cells=burn((f.geometry for f in country.features("streams")), grid),
    )  # fmt: skip
    return Land(elevation, ready.slope_deg, ground, grid.cell_m, _named(country))


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
    rows, cols, weight = [], [], []
    ranked = [(p, c) for p, c in zip(ready.plan.pockets, ready.cells, strict=True) if len(c.rows)]
    ranked = [(p, c) for p, c in ranked if p.shut is None]
    for pocket, cells in ranked:
        some = _spread(cells, max(1, PLACES // len(ranked)))
        rows.append(cells.rows[some])
        cols.append(cells.cols[some])
        weight.append(np.full(len(some), max(pocket.chance, 1e-6) / len(some)))
    if not rows:
        return np.zeros(ready.country.grid.shape, np.float32)
    shares = np.concatenate(weight)
    sight = ready.country.settings.sight
    seen = summed_sight(
        ready.land.wall_m, ready.land.ground_m, np.concatenate(rows), np.concatenate(cols), shares / shares.sum(),
        cell_m=ready.country.grid.cell_m, eye_m=ready.animal_m, target_m=WALKER_M, radius_m=sight.radius_m,
        refraction=sight.refraction, exact=False,
    )  # fmt: skip
    seen[seen < LEAST_SEEN] = 0.0
    return np.clip(seen, 0.0, 1.0)


def _spread(cells: PocketCells, count: int) -> NDArray[np.int64]:
    """Indices of some cells, spread evenly over them in the order of the grid."""
    n = len(cells.rows)
    return np.unique(np.linspace(0, n - 1, min(n, count)).round().astype(np.int64))


def starts_for(ready: Ready, land: Land, way: Approach | None) -> list[WayIn]:
    """The start of the plan's own way; all starts where the plan has none."""
    if way is None:
        return starts(ready.country, np.isfinite(land.ground.factor))
    cell = ready.country.grid.rowcol(LonLat(way.start.place.lon, way.start.place.lat))
    kind = "given" if way.start.kind == "edge" else way.start.kind
    return [WayIn(way.start.name, kind, cell)]


def ways_in(
    ready: Ready, land: Land, cell: RowCol, begin: list[WayIn], notice: Notice, limit_s: float
) -> FromStart:
    """Ways from the start that is soonest at the lookout.

    Raises
    ------
    BadInput
        No start reaches it: what closes it, and how near one gets.
    """
    settings = ready.country.settings
    cells = [w.cell.row for w in begin], [w.cell.col for w in begin]
    found = ways_to(
        cell, cells, land, walk=settings.walk, approach=settings.approach, notice=notice, limit_s=limit_s
    )
    return min(found, key=lambda way: (way.quickest.way.seconds, way.start))


def advised(ways: FromStart, *, detour_minutes: float, seen_counts: float) -> Course:
    """The way noticed least that is not much longer than the quickest.

    A minute in view counts for `seen_counts` of one from which scent reaches the pockets: it is dark.
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

"""Lines, outlines and names of the invented range: streams, tarns, the road, trails, the private holding."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from rasterio.features import shapes
from rasterio.transform import Affine
from scipy.ndimage import distance_transform_edt, maximum_filter, uniform_filter
from shapely.geometry import LineString, Point, box, shape
from shapely.geometry.base import BaseGeometry

from graylight.country.feature import Feature
from graylight.demo.lakes import Waters
from graylight.demo.names import Namer
from graylight.demo.noise import Floats
from graylight.demo.ways import Net, smoothed
from graylight.grid import Grid

__all__ = ["vectors"]

STREAM_M2 = 0.35e6
PERENNIAL_M2 = 1.0e6
WAY_CELL_M = 30.0


Layers = dict[str, list[Feature]]
Cells = NDArray[np.int64]


def vectors(grid: Grid, water: Waters, heads: list[tuple[int, int]], *, seed: int) -> Layers:
    """All vector layers of the invented range; `heads` are the cells of its bowls' floors."""
    namer = Namer(seed)
    z = water.elevation_m
    layers: Layers = {"names": _peaks(grid, z, namer)}
    basins = [
        Feature(_point(grid, cell), {"name": namer.name("Bowl", "Basin"), "kind": "basin"}) for cell in heads
    ]
    layers["names"] += basins
    layers["lakes"] = _lakes(grid, water, namer)
    layers["streams"] = _streams(grid, water, namer)
    layers |= _ways(grid, water, heads, [b.properties["name"] for b in basins], namer)
    layers["names"] += layers.pop("passes")
    layers["unit"] = [Feature(box(*grid.bounds), {"name": "Invented unit 7"})]
    layers["sightings"] = _sightings(grid, water, heads, seed)
    return layers


def _point(grid: Grid, cell: tuple[float, float]) -> Point:
    return Point(*grid.xy(*cell))


def _line(grid: Grid, cells: NDArray[np.floating]) -> LineString:
    return LineString([grid.xy(r, c) for r, c in cells])


def _peaks(grid: Grid, z: Floats, namer: Namer) -> list[Feature]:
    """The highest tops, each with no higher ground within 800 m."""
    reach = round(800.0 / grid.cell_m)
    disc = np.hypot(*np.ogrid[-reach : reach + 1, -reach : reach + 1]) <= reach
    step = max(1, round(WAY_CELL_M / grid.cell_m))
    coarse = z[::step, ::step]
    high = maximum_filter(coarse, footprint=disc[::step, ::step]) == coarse
    tops = [
        (-coarse[r, c], r * step, c * step)
        for r, c in np.argwhere(high)
        if coarse[r, c] > np.quantile(z, 0.8)
    ]
    found = []
    for _, r, c in sorted(tops)[:9]:
        top, left = max(r - step, 0), max(c - step, 0)
        near = z[top : r + step + 1, left : c + step + 1]
        row, col = np.unravel_index(int(near.argmax()), near.shape)
        cell = (int(row) + top, int(col) + left)
        found.append(
            Feature(_point(grid, cell), {"name": namer.name("Peak", "Mountain", "Knob"), "kind": "peak"})
        )
    return found


def _lakes(grid: Grid, water: Waters, namer: Namer) -> list[Feature]:
    outlines = shapes(water.lake, mask=water.lake > 0, connectivity=8, transform=Affine(*grid.transform))
    found = [Feature(shape(outline), {"name": None}) for outline, _ in outlines]
    found.sort(key=lambda f: -f.geometry.area)
    named = [Feature(f.geometry, {"name": namer.name("Tarn", "Lake")}) for f in found[:8]]
    return named + found[8:]


def _streams(grid: Grid, water: Waters, namer: Namer) -> list[Feature]:
    """Each stream from its head to where it joins a greater one, parted where it begins to run all year."""
    area = water.cells.ravel() * grid.cell_m**2
    giver = _main_giver(water, area)
    wet = np.flatnonzero(area >= STREAM_M2)
    starts = [c for c in wet if water.receiver[c] == c or giver[water.receiver[c]] != c]
    found: list[Feature] = []
    for mouth in sorted(starts, key=lambda c: (-area[c], c)):
        cells = [int(mouth)]
        while giver[cells[-1]] >= 0:
            cells.append(int(giver[cells[-1]]))
        if len(cells) * grid.cell_m >= 250.0:
            name = namer.name("Creek", "Fork", "Branch") if area[mouth] > 3.0 * PERENNIAL_M2 else None
            found += _reaches(grid, water, cells[::-1], area, name)
    return found


def _main_giver(water: Waters, area: NDArray[np.float64]) -> Cells:
    """For each cell the stream cell above it with the largest drainage; -1 where there is none."""
    giver = np.full(area.size, -1, np.int64)
    wet = np.flatnonzero(area >= STREAM_M2)
    for cell in wet[np.argsort(area[wet], kind="stable")]:
        down = water.receiver[cell]
        if down != cell:
            giver[down] = cell  # the largest comes last
    return giver


def _reaches(
    grid: Grid, water: Waters, cells: list[int], area: NDArray[np.float64], name: str | None
) -> list[Feature]:
    """Cut a stream at lakes and where its kind changes; the cell below joins each reach to the next."""
    cells = [*cells, int(water.receiver[cells[-1]])]
    lake = water.lake.ravel()
    found: list[Feature] = []
    reach: list[int] = []
    kind = ""
    for cell in cells:
        here = "lake" if lake[cell] > 0 else "perennial" if area[cell] >= PERENNIAL_M2 else "intermittent"
        if reach and here != kind:
            found += _reach(grid, [*reach, cell], kind, name)
            reach = []
        kind = here
        reach.append(cell)
    return found + _reach(grid, reach, kind, name)


def _reach(grid: Grid, cells: list[int], kind: str, name: str | None) -> list[Feature]:
    distinct = list(dict.fromkeys(cells))
    if kind == "lake" or len(distinct) < 2:
        return []
    places = np.stack(np.divmod(np.array(distinct), grid.cols), axis=1)
    return [Feature(_line(grid, places), {"name": name, "kind": kind})]


def _ways(grid: Grid, water: Waters, heads: list[tuple[int, int]], names: list[str], namer: Namer) -> Layers:
    """The road up the main valley, the holding near it, and the trails."""
    step = max(1, round(WAY_CELL_M / grid.cell_m))
    z = water.elevation_m[step // 2 :: step, step // 2 :: step]
    lake = water.lake[step // 2 :: step, step // 2 :: step] > 0
    cell_m = step * grid.cell_m
    mouth, end = _valley(water, grid, step, z.shape)
    _, way = Net(z, cell_m, grade=0.07, shut=lake).field(mouth)
    road = way(end)
    holding = _holding(z, road, cell_m)
    steep = np.hypot(*np.gradient(z, cell_m)) > 0.95
    net = Net(z, cell_m, grade=0.16, shut=lake | steep | holding)
    goals = [(r // step, c // step) for r, c in heads]
    trails = _trails(net, _cell(road, 1.0), _cell(road, 0.6), goals, names)
    return {
        "roads": _drawn(grid, step, [(namer.name("Road"), road)], {"kind": "road"}),
        "trails": _drawn(grid, step, [(f"{name} trail", cells) for name, cells in trails], {}),
        "trailheads": [
            _spot(grid, step, road[-1], namer.name("Road end"), "road end"),
            _spot(grid, step, _cell(road, 0.6), namer.name("Trailhead"), "trailhead"),
        ],
        "passes": _passes(grid, step, z, trails, namer),
        "ownership": _ownership(grid, holding, step, namer),
    }


def _cell(way: Cells, part: float) -> tuple[int, int]:
    """The cell so far along a way."""
    r, c = way[round(part * (len(way) - 1))].tolist()
    return r, c


def _on_grid(step: int, places: NDArray[np.floating] | Cells) -> NDArray[np.float64]:
    """Rows and columns of the coarse grid as those of the country's."""
    return np.asarray(places, dtype=np.float64) * step + step // 2


def _drawn(grid: Grid, step: int, ways: list[tuple[str, Cells]], facts: dict[str, Any]) -> list[Feature]:
    """Ways as smooth lines; a way of one cell is none."""
    return [
        Feature(_line(grid, _on_grid(step, smoothed(cells, sigma=0.7))), {"name": name, **facts})
        for name, cells in ways
        if len(cells) > 1
    ]


def _spot(grid: Grid, step: int, cell: Any, name: str, kind: str) -> Feature:
    r, c = _on_grid(step, np.array(cell)).tolist()
    return Feature(_point(grid, (r, c)), {"name": name, "kind": kind})


def _valley(
    water: Waters, grid: Grid, step: int, coarse: tuple[int, int]
) -> tuple[tuple[int, int], tuple[int, int]]:
    """Where the largest stream leaves the country, and a place about 5 km up it, on the coarse grid."""
    cells = water.cells.ravel()
    area = cells * grid.cell_m**2
    outlet = int(np.argmax(np.where(water.receiver == np.arange(cells.size), cells, 0)))
    giver = _main_giver(water, area)
    way = [outlet]
    while giver[way[-1]] >= 0:
        way.append(int(giver[way[-1]]))
    reach = min(len(way) - 1, round(4300.0 / grid.cell_m))
    ends = []
    for cell in (way[0], way[reach]):
        r, c = divmod(cell, grid.cols)
        ends.append((min(r // step, coarse[0] - 1), min(c // step, coarse[1] - 1)))
    return ends[0], ends[1]


def _holding(z: Floats, road: Cells, cell_m: float) -> NDArray[np.bool_]:
    """Cells of the private holding: the gentlest block of low ground close beside the road."""
    high, wide = max(2, round(560.0 / cell_m)), max(2, round(840.0 / cell_m))
    on_road = np.zeros(z.shape, bool)
    on_road[road[:, 0], road[:, 1]] = True
    away = distance_transform_edt(~on_road) * cell_m
    slope = uniform_filter(np.hypot(*np.gradient(z, cell_m)), (high, wide))
    apart = (high + wide) / 4.0 * cell_m
    worth = slope + 0.0004 * np.abs(away - apart - 120.0) + 0.0002 * (z - z.min())
    worth[away < apart + 60.0] = np.inf
    worth[:high], worth[-high:], worth[:, :wide], worth[:, -wide:] = np.inf, np.inf, np.inf, np.inf
    holding = np.zeros(z.shape, bool)
    if np.isfinite(worth).any():
        r, c = np.unravel_index(int(np.argmin(worth)), z.shape)
        holding[r - high // 2 : r + high // 2, c - wide // 2 : c + wide // 2] = True
        holding[r - high // 2 : r, c + wide // 5 : c + wide // 2] = False  # an L: old claims seldom are plain
    return holding


def _trails(
    net: Net, end: Any, middle: Any, heads: list[tuple[int, int]], names: list[str]
) -> list[tuple[str, Cells]]:
    """Three trails: to the nearest bowl, to one farther off, and from the trailhead to another."""
    from_end, way_end = net.field(end)
    from_middle, way_middle = net.field(middle)
    by_end = sorted((float(from_end[h]), k) for k, h in enumerate(heads) if np.isfinite(from_end[h]))
    by_middle = sorted((float(from_middle[h]), k) for k, h in enumerate(heads) if np.isfinite(from_middle[h]))
    if not by_end:
        return []
    first, far = by_end[0][1], by_end[min(5, len(by_end) - 1)][1]
    found = [(names[first], way_end(heads[first]))]
    if far != first:
        found.append((names[far], _after_parting(way_end(heads[far]), found[0][1])))
    others = [k for _, k in by_middle if k not in (first, far)]
    if others:
        found.append((names[others[0]], way_middle(heads[others[0]])))
    return found


def _after_parting(cells: Cells, other: Cells) -> Cells:
    """The part of a way after it leaves another with the same start."""
    same = 0
    while same + 1 < min(len(cells), len(other)) and (cells[same + 1] == other[same + 1]).all():
        same += 1
    return cells[same:]


def _passes(grid: Grid, step: int, z: Floats, trails: list[tuple[str, Cells]], namer: Namer) -> list[Feature]:
    """The highest place of a trail that goes over and down again."""
    found = []
    for _, cells in trails:
        heights = z[cells[:, 0], cells[:, 1]]
        top = int(np.argmax(heights))
        if heights[top] - max(heights[0], heights[-1]) > 25.0:
            found.append(_spot(grid, step, cells[top], namer.name("Saddle", "Pass"), "saddle"))
    return found


def _ownership(grid: Grid, holding: NDArray[np.bool_], step: int, namer: Namer) -> list[Feature]:
    """The holding, and all the rest open."""
    a, _, west, _, _, north = grid.transform
    coarse = Affine(a * step, 0.0, west, 0.0, -a * step, north)
    parts = [shape(s) for s, _ in shapes(holding.astype(np.uint8), mask=holding, transform=coarse)]
    around: BaseGeometry = box(*grid.bounds)
    found = []
    for part in parts:
        found.append(Feature(part, {"owner": namer.name("Ranch"), "access": "private"}))
        around = around.difference(part)
    return [*found, Feature(around, {"owner": "Open range (invented)", "access": "open"})]


def _sightings(grid: Grid, water: Waters, heads: list[tuple[int, int]], seed: int) -> list[Feature]:
    """A few old sightings, in bowls."""
    said = (
        ("mule deer", 3, "2022-08-24", "bachelor group feeding at last light"),
        ("mule deer", 1, "2023-09-02", "good buck under the cliffs, gone by sunrise"),
        ("elk", 6, "2021-09-11", "cows and calves, heard more in the timber"),
    )
    rng = np.random.default_rng(seed + 90)
    dry = [h for h in heads if water.lake[h] == 0]
    found = []
    for at, (animal, count, date, note) in zip(rng.permutation(len(dry)), said, strict=False):
        facts = {"animal": animal, "count": count, "date": date, "note": note}
        found.append(Feature(_point(grid, dry[int(at)]), facts))
    return found

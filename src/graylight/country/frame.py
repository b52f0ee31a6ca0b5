"""Which grid a country gets: zone, cell size and extent, from its elevation raster and what the person
asks.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import Transformer
from rasterio.windows import Window

from graylight.country.source import Source
from graylight.country.warp import EXACT_CELLS
from graylight.errors import BadInput
from graylight.grid import Bounds, Grid, utm_crs

__all__ = ["BYTES_A_CELL", "Framed", "check_memory", "frame"]

FINEST_M, COARSEST_M = 1.0, 250.0
USUAL_FINEST_M = 10.0
NICE_M = (1, 2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 50, 60, 75, 80, 90, 100, 120, 125, 150, 200, 250)
NICE_WITHIN = 0.05
"""A cell of 10.3 m is called 10 m; one of 234 m stays 234 m."""
LEAST_CELLS = 16
WIDEST_DEG = 9.0
"""Beyond this a UTM zone is stretched by more than half a percent at its edge."""
SHAPES_TRIED = tuple(float(r) for r in np.geomspace(0.5, 2.0, 13))
"""Width over height of the boxes tried inside a slanting outline, times those of the outline."""
CROP_KEEPS = 0.75
"""The wedges at the edges are cut off when at least this part of the ground is kept."""
BYTES_A_CELL = 600
"""Memory that a whole plan takes for each cell. Measured: 724 MB at the peak for 1.44 M cells, program included."""


class Framed(NamedTuple):
    """The grid, and sentences on how it was chosen."""

    grid: Grid
    words: tuple[str, ...]


def frame(source: Source, *, bounds: Bounds | None, cell_m: float | None) -> Framed:
    """Choose the country's grid.

    Parameters
    ----------
    source
        The elevation raster.
    bounds
        What is wanted, WGS 84 degrees; None: all of the raster.
    cell_m
        Cell size asked for; None: the raster's own, but not finer than 10 m.

    Raises
    ------
    BadInput
        Bounds that are not a box or lie off the raster, cells outside 1 to 250 m or finer than the raster's,
        the antimeridian, polar country, fewer than 16 x 16 cells.
    """
    _check_bounds(bounds)
    window = _asked(source, bounds)
    crs = utm_crs(source.lonlat(window.col_off + window.width / 2, window.row_off + window.height / 2))
    own, called = _own_cell(source, window, crs)
    cell, words = _cell(source, own, called, cell_m)
    outline = _outline(source, window)
    kept = _taken_over(source, window, crs, cell)
    if kept is not None:
        return Framed(_big_enough(kept, source), words)
    if bounds is not None:
        box, said = _inside(source, bounds, crs, cell)
    else:
        outer, inner, ground = _boxes(outline, crs, source, cell)
        box, said = (outer, ()) if _same_frame(source, window, crs) else _without_wedges(outer, inner, ground)
    return Framed(_big_enough(_snapped(box, cell, crs), source), words + said)


def _check_bounds(bounds: Bounds | None) -> None:
    if bounds is None:
        return
    west, south, east, north = bounds
    fine = -180 <= west < east <= 180 and -90 <= south < north <= 90
    if not fine:
        across = west > east >= -180 and west <= 180
        why = "cross the antimeridian, which is not supported" if across else "are not a box"
        raise BadInput(
            f"the bounds {west:g} {south:g} {east:g} {north:g} {why}; accepted are west south east north in "
            "degrees with west < east and south < north; check their order"
        )


def _asked(source: Source, bounds: Bounds | None) -> Window:
    """Cells of the source that are wanted, before any are read."""
    if bounds is None:
        return source.whole()
    window = source.window_of(bounds, "EPSG:4326", margin=0)
    if window is None:
        has = _lonlat_box(_outline(source, source.whole()))
        raise BadInput(
            f"the bounds {bounds.west:g} {bounds.south:g} {bounds.east:g} {bounds.north:g} lie outside the "
            f"elevation file {source.name}; accepted is inside {has.west:.4f} {has.south:.4f} "
            f"{has.east:.4f} {has.north:.4f} (west south east north); check signs and order"
        )
    return window


def _outline(source: Source, window: Window) -> NDArray[np.float64]:
    """(4, points, 2) lon and lat along the window's edges.

    Raises
    ------
    BadInput
        The raster reaches across the antimeridian or can't be placed.
    """
    edge = source.edge(window)
    xs, ys = source.xy(edge[..., 0], edge[..., 1])
    lon, lat = source.to_lonlat().transform(xs, ys)
    if not (np.isfinite(lon).all() and np.isfinite(lat).all()):
        source.lonlat(math.inf, math.inf)
    wrapped = source.crs.is_geographic and (xs.min() < -180.0 or xs.max() > 180.0)
    if wrapped or np.ptp(lon) > 180.0:
        raise BadInput(
            f"the {source.role} file {source.name} crosses the antimeridian (180 degrees), which is not "
            "supported; accepted is country on one side of it; cut the raster there, or give --bounds on "
            "one side"
        )
    return np.stack([lon, lat], axis=-1)


def _lonlat_box(outline: NDArray[np.float64]) -> Bounds:
    west, south = outline.min(axis=(0, 1))
    east, north = outline.max(axis=(0, 1))
    return Bounds(float(west), float(south), float(east), float(north))


def _own_cell(source: Source, window: Window, crs: str) -> tuple[float, float]:
    """The source's cell in metres, and what it is called.

    Exact where it is metric in the same zone, else measured on the ellipsoid and rounded.
    """
    same = _same_frame(source, window, crs)
    own = float(source.file.transform.a if same else max(source.sides_m(window)))
    if not FINEST_M * (1 - NICE_WITHIN) <= own <= COARSEST_M * (1 + NICE_WITHIN):
        raise BadInput(
            f"the elevation file {source.name} has cells of {own:.3g} m; accepted are cells of 1 to 250 m; "
            f"{'resample it to 1 m or more' if own < 1 else 'landforms do not show in it: find a finer one'}"
        )
    return own, own if same else _nice(own)


def _cell(source: Source, own: float, called: float, asked: float | None) -> tuple[float, tuple[str, ...]]:
    """The country's cell size, and how it came about."""
    if asked is None:
        if called >= USUAL_FINEST_M:
            return called, ()
        return USUAL_FINEST_M, (
            f"cells of {called:g} m brought to {USUAL_FINEST_M:g} m; --cell asks for finer ones",
        )
    if not FINEST_M <= asked <= COARSEST_M:
        raise BadInput(
            f"a cell of {asked:g} m was asked for; accepted is 1 to 250 m; choose one in that range"
        )
    if asked < called * (1 - NICE_WITHIN):
        raise BadInput(
            f"a cell of {asked:g} m was asked for, but the elevation file {source.name} has cells of "
            f"{own:.3g} m; accepted is {called:g} m or more: nothing is made finer than it was; ask for "
            f"{called:g} or leave it out"
        )
    return float(asked), ()


def _nice(metres: float) -> float:
    near = min(NICE_M, key=lambda n: abs(n - metres))
    if abs(near - metres) <= NICE_WITHIN * metres:
        return float(near)
    return float(min(math.ceil(metres) if metres < USUAL_FINEST_M else round(metres), COARSEST_M))


def _taken_over(source: Source, window: Window, crs: str, cell: float) -> Grid | None:
    """The source's own grid over the window, where it is one that a country can have; else None."""
    if not _same_frame(source, window, crs) or abs(source.file.transform.a - cell) > 1e-9 * cell:
        return None
    west, north = source.xy(window.col_off, window.row_off)
    return Grid.of(float(west), float(north), cell, int(window.height), int(window.width), crs)


def _same_frame(source: Source, window: Window, crs: str) -> bool:
    """Whether the source is north-up with square cells, and its coordinates are those of the zone.

    NAD 83 and WGS 84 zones count as the same where PROJ moves nothing between them.
    """
    a, b, _, d, e, _ = source.file.transform[:6]
    if a <= 0 or b != 0 or d != 0 or abs(a + e) > 1e-9 * a or source.crs.is_geographic:
        return False
    x, y = source.xy(*source.edge(window, points=5).reshape(-1, 2).T)
    east, north = Transformer.from_crs(source.crs, crs, always_xy=True).transform(x, y)
    return bool(np.hypot(east - x, north - y).max() <= EXACT_CELLS * a)


def _boxes(
    outline: NDArray[np.float64], crs: str, source: Source, cell: float
) -> tuple[Bounds, Bounds, float]:
    """The boxes around and inside an outline in grid metres, and the outline's area."""
    lon = outline[..., 0]
    x, y = Transformer.from_crs("EPSG:4326", crs, always_xy=True).transform(lon, outline[..., 1])
    if np.ptp(lon) > WIDEST_DEG or not np.isfinite([x, y]).all():
        raise BadInput(
            f"the elevation file {source.name} spans {np.ptp(lon):.0f} degrees of longitude; accepted is "
            f"country of at most {WIDEST_DEG:g} degrees, which one UTM zone can show; give --bounds"
        )
    return (
        Bounds(float(x.min()), float(y.min()), float(x.max()), float(y.max())),
        _inner(x, y, cell),
        _ring_area(x, y),
    )


def _without_wedges(outer: Bounds, inner: Bounds, ground: float) -> tuple[Bounds, tuple[str, ...]]:
    """The extent without the wedges of no data that turning leaves, where little is lost by it."""
    if _area(inner) >= CROP_KEEPS * ground:
        return inner, ("cropped to the upright box inside its edges, so that no empty wedges are left",)
    return outer, ("it lies askew on the grid: the corners around it are not known",)


def _inside(source: Source, bounds: Bounds, crs: str, cell: float) -> tuple[Bounds, tuple[str, ...]]:
    """The bounds asked for in grid metres, as far as the raster reaches."""
    wanted = Bounds(
        *Transformer.from_crs("EPSG:4326", crs, always_xy=True).transform_bounds(*bounds, densify_pts=41)
    )
    window = source.window_of(wanted, crs) or source.whole()
    outer, inner, _ = _boxes(_outline(source, window), crs, source, cell)
    outer, inner = _common(outer, wanted), _common(inner, wanted)
    box, said = _without_wedges(outer, inner, _area(outer))
    short = _area(box) < (1 - NICE_WITHIN) * _area(wanted)
    return box, (*said, "the bounds reach beyond it: cut to where there is elevation") if short else said


def _inner(x: NDArray[np.float64], y: NDArray[np.float64], cell: float) -> Bounds:
    """A large upright box inside the ring, one cell in from it: the best of a few shapes grown from its middle."""
    ring = shapely.Polygon(np.column_stack([x.ravel(), y.ravel()])).buffer(-cell)
    middle, (west, south, east, north) = ring.centroid, ring.bounds if not ring.is_empty else (0, 0, 0, 0)
    found = [Bounds(0.0, 0.0, 0.0, 0.0)]
    for shape in SHAPES_TRIED:
        half = (east - west) / 2 * math.sqrt(shape), (north - south) / 2 / math.sqrt(shape)
        low, high = 0.0, 1.0 / min(math.sqrt(shape), 1 / math.sqrt(shape))
        for _ in range(20):  # halved to a millionth of the extent
            size = (low + high) / 2
            box = _around(middle, size * half[0], size * half[1])
            low, high = (size, high) if ring.contains(shapely.box(*box)) else (low, size)
        found.append(_around(middle, low * half[0], low * half[1]))
    return max(found, key=_area)


def _around(middle: shapely.Point, across: float, up: float) -> Bounds:
    return Bounds(middle.x - across, middle.y - up, middle.x + across, middle.y + up)


def _common(a: Bounds, b: Bounds) -> Bounds:
    return Bounds(max(a.west, b.west), max(a.south, b.south), min(a.east, b.east), min(a.north, b.north))


def _area(box: Bounds) -> float:
    return max(0.0, box.east - box.west) * max(0.0, box.north - box.south)


def _ring_area(x: NDArray[np.float64], y: NDArray[np.float64]) -> float:
    """Area inside a ring by the shoelace rule."""
    xs, ys = x.ravel(), y.ravel()
    return float(abs(np.dot(xs, np.roll(ys, -1)) - np.dot(ys, np.roll(xs, -1))) / 2.0)


def _snapped(box: Bounds, cell: float, crs: str) -> Grid:
    """Whole cells inside the box, with corners at multiples of the cell size."""
    slack = 1e-6
    west, north = math.ceil(box.west / cell - slack) * cell, math.floor(box.north / cell + slack) * cell
    cols = math.floor((box.east - west) / cell + slack)
    rows = math.floor((north - box.south) / cell + slack)
    return Grid.of(west, north, cell, max(rows, 0), max(cols, 0), crs)


def _big_enough(grid: Grid, source: Source) -> Grid:
    if min(grid.shape) < LEAST_CELLS:
        raise BadInput(
            f"the country would have {grid.rows} x {grid.cols} cells of {grid.cell_m:g} m from "
            f"{source.name}; accepted are {LEAST_CELLS} x {LEAST_CELLS} or more; give a larger piece of "
            "elevation or wider bounds"
        )
    return grid


def check_memory(grid: Grid, memory_gb: float, *, made: bool = True) -> None:
    """See that a plan for the grid fits the memory allowed, before anything is read.

    Parameters
    ----------
    grid
        The country's grid.
    memory_gb
        What is allowed.
    made
        Whether the country is there, with settings to change; while it is being made only its frame can be changed.

    Raises
    ------
    BadInput
        It does not; the message says what would.
    """
    needed = grid.rows * grid.cols * BYTES_A_CELL
    allowed = memory_gb * 2**30
    if needed <= allowed:
        return
    side_km = math.sqrt(allowed / BYTES_A_CELL) * grid.cell_m / 1000.0
    coarser = math.ceil(grid.cell_m * math.sqrt(needed / allowed))
    other = f", or --cell {coarser}" if coarser <= COARSEST_M else ""
    to_do = f"give --bounds of that size{other}"
    if made:
        to_do = f"raise memory_gb in settings.toml, or make the country anew: {to_do}"
    raise BadInput(
        f"the country would have {grid.rows} x {grid.cols} cells of {grid.cell_m:g} m and need "
        f"{needed / 2**30:.1f} GB; accepted is {memory_gb:g} GB, which holds {side_km:.0f} x {side_km:.0f} "
        f"km at this cell size; {to_do}"
    )

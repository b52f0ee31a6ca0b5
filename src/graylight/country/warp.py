"""Rasters brought onto the country's grid, and what was done told."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from pyproj import Transformer
from rasterio import CRS, MemoryFile
from rasterio.transform import Affine
from rasterio.vrt import WarpedVRT
from rasterio.warp import Resampling
from rasterio.windows import Window

from graylight.country.source import Source
from graylight.errors import BadInput
from graylight.grid import Grid
from graylight.work import Tick, silent

__all__ = ["Brought", "bring", "bring_codes", "lies_on"]

EXACT_CELLS = 0.01
"""Frames that agree to a hundredth of a cell count as the same: no value is worth changing for that."""
WARP_TOLERANCE = 0.001
"""Source cells by which GDAL's quick transformation may err. Its default, an eighth of a cell, shifts heights on a
hillside of 27 degrees by 0.2 m (measured on 10 m cells); this costs a tenth more time."""
COARSER = 2.0
"""From this ratio of cell sizes on, cells are averaged; below, they are interpolated."""


class Brought(NamedTuple):
    """Values on the grid, and the sentence that says how they came there."""

    values: NDArray[Any]
    words: str


def lies_on(source: Source, window: Window, grid: Grid) -> tuple[int, int] | None:
    """Row and column of the source at the grid's north-west corner, when its cells are the grid's; else
    None.
    """
    col, row = source.colrow(*_own(source, grid, [(0.0, 0.0)])[0])
    first = np.round([col, row])
    corners = [(0, 0), (grid.cols, 0), (0, grid.rows), (grid.cols, grid.rows), (grid.cols / 2, grid.rows / 2)]
    for (c, r), xy in zip(corners, _own(source, grid, corners), strict=True):
        at = np.array(source.colrow(*xy))
        if not np.abs(at - first - (c, r)).max() <= EXACT_CELLS:
            return None
    inside = (
        window.row_off <= first[1]
        and first[1] + grid.rows <= window.row_off + window.height
        and window.col_off <= first[0]
        and first[0] + grid.cols <= window.col_off + window.width
    )
    return (int(first[1]), int(first[0])) if inside else None


def _own(source: Source, grid: Grid, corners: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Cell corners (col, row) of the grid in the source's frame."""
    to_own = Transformer.from_crs(grid.crs, source.crs, always_xy=True)
    return [to_own.transform(*grid.xy(row - 0.5, col - 0.5)) for col, row in corners]


def _window(source: Source, grid: Grid, *, margin: int = 4) -> Window:
    window = source.window_of(grid.bounds, grid.crs, margin=margin)
    if window is None:
        west, south, east, north = grid.lonlat_bounds()
        raise BadInput(
            f"the {source.role} file {source.name} does not overlap the country; accepted is a raster that "
            f"covers latitude {south:.4f} to {north:.4f}, longitude {west:.4f} to {east:.4f}; give another "
            "file or leave it out"
        )
    return window


def _ratio(source: Source, window: Window, grid: Grid) -> float:
    """How many source cells make one cell of the grid, along the source's longer side.

    To a hundredth: the scale of the zone makes 9.997 out of ten.
    """
    return round(grid.cell_m / max(source.sides_m(window)), 2)


def _in_step(source: Source, window: Window, grid: Grid, step: int) -> Window:
    """The window begun up to one block later, so that a corner of the grid lies between two blocks."""
    col, row = source.colrow(*_own(source, grid, [(0.0, 0.0)])[0])
    right, down = (round(col) - window.col_off) % step, (round(row) - window.row_off) % step
    return Window(window.col_off + right, window.row_off + down, window.width - right, window.height - down)


def _moved(source: Source, grid: Grid) -> str:
    same = source.crs_name == grid.crs
    return f"resampled in {grid.crs}" if same else f"reprojected from {source.crs_name} to {grid.crs}"


def bring(source: Source, band: int, grid: Grid, *, sharp: bool = False, tick: Tick = silent) -> Brought:
    """Bring a band of measurements onto the grid.

    Parameters
    ----------
    source, band
        Bands count from 1.
    grid
        The country's grid.
    sharp
        Interpolate by cubic convolution (for heights: it keeps slopes) rather than linearly.

    Returns
    -------
    Brought
        (rows, cols) float32, NaN where not known.

    Notes
    -----
    Cells that already lie on the grid are taken over unchanged. Finer cells are averaged: first over whole
    blocks of the source, then by area. Others are interpolated; nothing is made finer than it was. Unknown
    cells take no part.
    """
    window = _window(source, grid)
    corner = lies_on(source, window, grid)
    if corner is not None:
        cells = source.means(band, Window(corner[1], corner[0], grid.cols, grid.rows), 1, tick=tick)
        return Brought(cells, f"cells of {source.crs_name} taken over unchanged")
    ratio = _ratio(source, window, grid)
    step = max(1, int(ratio / COARSER))
    window = _in_step(source, _window(source, grid, margin=4 + step), grid, step)
    cells = source.means(band, window, step, tick=tick)
    affine = source.affine_of(window, step, step)
    if ratio >= COARSER:
        how, words = Resampling.average, f"averaged to {grid.cell_m:g} m cells"
    elif sharp:
        how, words = Resampling.cubic, "cubic convolution"
    else:
        how, words = Resampling.bilinear, "bilinear"
    out = _warp(_Cells(cells, affine, source.crs.to_wkt()), grid, how=how, unknown=np.nan)
    return Brought(out, f"{_moved(source, grid)}, {words}")


def bring_codes(source: Source, band: int, grid: Grid) -> Brought:
    """Bring a band of classes onto the grid: the nearest class, or the commonest where the source is finer.

    Returns
    -------
    Brought
        (rows, cols) in the source's dtype; 0 where not known.
    """
    window = _window(source, grid)
    corner = lies_on(source, window, grid)
    if corner is not None:
        cells = source.codes(band, Window(corner[1], corner[0], grid.cols, grid.rows), 1)
        return Brought(cells, f"cells of {source.crs_name} taken over unchanged")
    ratio = _ratio(source, window, grid)
    step = max(1, int(ratio / 4))  # at least 4 x 4 cells still vote
    cells = source.codes(band, window, step)
    affine = source.affine_of(window, window.width / cells.shape[1], window.height / cells.shape[0])
    coarser = ratio >= COARSER
    how = Resampling.mode if coarser else Resampling.nearest
    out = _warp(_Cells(cells, affine, source.crs.to_wkt()), grid, how=how, unknown=0)
    words = f"commonest class in each {grid.cell_m:g} m cell" if coarser else "nearest class"
    return Brought(out, f"{_moved(source, grid)}, {words}")


class _Cells(NamedTuple):
    """Cells read from a source, and where they lie."""

    values: NDArray[Any]
    affine: Affine
    crs: str


def _warp(cells: _Cells, grid: Grid, *, how: Resampling, unknown: float) -> NDArray[Any]:
    """Cells brought onto the grid; done through a virtual raster, for only that lets the tolerance be set."""
    rows, cols = cells.values.shape
    with MemoryFile() as memory:
        with memory.open(
            driver="GTiff", height=rows, width=cols, count=1, dtype=cells.values.dtype, nodata=unknown,
            crs=CRS.from_wkt(cells.crs), transform=cells.affine,
        ) as out:  # fmt: skip
            out.write(cells.values, 1)
        with memory.open() as source, WarpedVRT(
            source, crs=CRS.from_string(grid.crs), transform=Affine(*grid.transform), height=grid.rows,
            width=grid.cols, nodata=unknown, resampling=how, tolerance=WARP_TOLERANCE,
        ) as warped:  # fmt: skip
            values: NDArray[Any] = warped.read(1)
    return values

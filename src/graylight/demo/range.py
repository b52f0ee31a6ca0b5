"""A mountain range that does not exist, the same every time, for trying the program out and for its tests."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from graylight.country.feature import Feature
from graylight.demo.lakes import waters
from graylight.demo.land import land
from graylight.demo.noise import Floats, Frame
from graylight.demo.plants import plants
from graylight.demo.vectors import vectors
from graylight.grid import Grid
from graylight.work import Tick, part, silent

__all__ = ["SEED", "InventedRange", "invent"]

SEED = 7
MIDDLE_EAST_M, MIDDLE_NORTH_M, CRS = 688_000.0, 4_482_000.0, "EPSG:32611"  # about 40.5 N 114.8 W


@dataclass(frozen=True)
class InventedRange:
    """Everything a country is made from.

    Parameters
    ----------
    grid
        The frame, UTM zone 11 north.
    elevation_m : (rows, cols) float32
        Bare ground in metres; tarns are level, and all other cells drain to the edge.
    cover : (rows, cols) uint8
        ESA WorldCover classes (10 tree, 20 shrub, 30 grass, 60 bare, 70 snow, 80 water, 100 moss and lichen).
    canopy_m, closure : (rows, cols) float32
        Height of the canopy in metres, and the part of the ground under it, 0 to 1; 0 where there is none.
    red, nir : (rows, cols) float32
        Surface reflectance, 0 to 1.
    vectors : dict of layer name to list of Feature
        roads, trails, trailheads, streams, lakes, ownership, unit, names, sightings; in the grid's CRS.
    """

    grid: Grid
    elevation_m: Floats
    cover: NDArray[np.uint8]
    canopy_m: Floats
    closure: Floats
    red: Floats
    nir: Floats
    vectors: dict[str, list[Feature]]


def invent(
    *, seed: int = SEED, rows: int = 1200, cols: int = 1200, cell_m: float = 10.0, tick: Tick = silent
) -> InventedRange:
    """Make the invented range.

    Parameters
    ----------
    seed
        Another seed, another range.
    rows, cols, cell_m
        Shape, and side of a cell in metres. The same extent gives about the same ground at every cell size;
        another extent gives other valleys, for water gathers from all of it.

    Notes
    -----
    Not modelled: rock types by name, real climate, fire, grazing, buildings. See docs/demo.md.
    """
    grid = _grid(rows, cols, cell_m)
    frame = Frame(cols * cell_m / 2, rows * cell_m / 2, cell_m)
    ground = land(seed, frame, tick=part(tick, 0.0, 0.7))
    water = waters(ground.elevation_m, cell_m=cell_m, allowed=ground.ice_floor)
    tick(0.8)
    growth = plants(seed, water, ground.ice_floor, frame)
    tick(0.9)
    heads = _inside(ground.heads, frame)
    layers = vectors(grid, water, heads, seed=seed)
    tick(1.0)
    return InventedRange(
        grid, water.elevation_m, growth.cover, growth.canopy_m, growth.closure, growth.red, growth.nir, layers
    )


def _grid(rows: int, cols: int, cell_m: float) -> Grid:
    west = MIDDLE_EAST_M - round(cols / 2) * cell_m
    north = MIDDLE_NORTH_M + round(rows / 2) * cell_m
    return Grid.of(west, north, cell_m, rows, cols, CRS)


def _inside(heads: tuple[tuple[float, float, float], ...], frame: Frame) -> list[tuple[int, int]]:
    """Cells of the bowls that lie well inside the country."""
    found = []
    for north, east, _ in heads:
        r = round((frame.rows - 1) / 2 - north / frame.cell_m)
        c = round((frame.cols - 1) / 2 + east / frame.cell_m)
        edge = round(400.0 / frame.cell_m)
        if edge <= r < frame.rows - edge and edge <= c < frame.cols - edge:
            found.append((r, c))
    return found

"""The apron: coarse heights around the country, for what rises beyond its edge. A raster of its own grid, apron.tif."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from graylight.country.folder import Country
from graylight.country.layers import LayerSpec
from graylight.country.raster import read_layer, write_layer
from graylight.grid import Bounds, Grid

__all__ = [
    "APRON",
    "CELL_M",
    "REACH_M",
    "SPEC",
    "Apron",
    "apron_grid",
    "apron_of",
    "apron_stamp",
    "write_apron",
]

APRON = "apron.tif"
CELL_M = 90.0
REACH_M = 40_000.0
"""How far it reaches beyond the country: a ridge 1,000 m higher at its end stands 1.2 degrees high, less the earth's curve."""
SPEC = LayerSpec("apron", "float32", "m", math.nan, "entry", "heights around the country, coarse")


@dataclass(frozen=True, slots=True, eq=False)
class Apron:
    """Heights around the country, the country's own ground among them.

    Parameters
    ----------
    elevation_m : (rows, cols) float32
        NaN where not known; open sea, of which services have no file, is not known either.
    grid
        Its frame: the country's zone, cells of 90 m.
    """

    elevation_m: NDArray[np.float32]
    grid: Grid


def apron_grid(grid: Grid) -> Grid:
    """The apron's frame for a country's.

    >>> apron_grid(Grid.of(500000.0, 4400000.0, 10.0, 100, 200, "EPSG:32612")).shape
    (901, 912)
    """
    west, south, east, north = grid.bounds
    low = Bounds(*(math.floor(v / CELL_M) * CELL_M for v in (west - REACH_M, south - REACH_M, 0.0, 0.0)))
    cols = math.ceil((east + REACH_M - low.west) / CELL_M)
    rows = math.ceil((north + REACH_M - low.south) / CELL_M)
    return Grid.of(low.west, low.south + rows * CELL_M, CELL_M, rows, cols, grid.crs)


def write_apron(folder: Path, elevation_m: NDArray[np.float32], grid: Grid) -> None:
    """Write a country's apron into its folder while that is being made.

    Parameters
    ----------
    elevation_m : (rows, cols) float32
        On `apron_grid(grid)`.
    grid
        The country's.
    """
    write_layer(folder / APRON, SPEC, elevation_m, apron_grid(grid))


def apron_of(country: Country) -> Apron | None:
    """The country's apron; None where it has none.

    Raises
    ------
    BadInput
        Its file is damaged.
    """
    path = country.folder / APRON
    if not path.is_file():
        return None
    grid = apron_grid(country.grid)
    return Apron(read_layer(path, SPEC, grid), grid)


def apron_stamp(country: Country) -> str:
    """A text that changes when the apron's file does; "none" where there is none."""
    try:
        told = (country.folder / APRON).stat()
    except FileNotFoundError:
        return "none"
    return f"{told.st_mtime_ns} {told.st_size} {told.st_ino}"

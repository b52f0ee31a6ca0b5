"""Smooth random fields in ground metres, the same for every cell size."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

__all__ = ["Frame", "fractal", "smooth_field"]

Floats = NDArray[np.float32]


class Frame:
    """Where the cells of a raster lie, in metres from the middle of the country.

    Parameters
    ----------
    half_east_m, half_north_m
        Half the width and height of the ground covered.
    cell_m
        Side of a cell.
    """

    def __init__(self, half_east_m: float, half_north_m: float, cell_m: float) -> None:
        self.cell_m = cell_m
        self.rows = max(2, round(2 * half_north_m / cell_m))
        self.cols = max(2, round(2 * half_east_m / cell_m))
        self.north = (((self.rows - 1) / 2 - np.arange(self.rows)) * cell_m).astype(np.float32)[:, None]
        self.east = ((np.arange(self.cols) - (self.cols - 1) / 2) * cell_m).astype(np.float32)[None, :]

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.rows, self.cols

    def drawn_from(self, values: Floats, source: Frame, *, order: int = 3) -> Floats:
        """Values of another frame, interpolated at the middles of this frame's cells."""
        rows = (source.rows - 1) / 2 - self.north[:, 0] / source.cell_m
        cols = (source.cols - 1) / 2 + self.east[0] / source.cell_m
        grid = np.meshgrid(rows, cols, indexing="ij")
        return np.asarray(map_coordinates(values, grid, order=order, mode="nearest", prefilter=order > 1))


def smooth_field(seed: int, name: int, frame: Frame, length_m: float) -> Floats:
    """A random field of unit variance whose bumps are about `length_m` long.

    Random numbers stand on a lattice that is tied to the middle of the country and are joined by cubic splines,
    so every frame sees the same field. `name` tells one field from another.
    """
    half = 40_000.0
    count = int(min(2 * half / length_m, 3000)) | 1
    half = count * length_m / 2
    reach_e = min(float(np.abs(frame.east).max()), half)
    reach_n = min(float(np.abs(frame.north).max()), half)
    middle = count // 2
    span_n = min(middle, int(reach_n / length_m) + 3)
    span_e = min(middle, int(reach_e / length_m) + 3)
    lattice = _lattice(seed, name, span_n, span_e)
    rows = span_n - frame.north[:, 0] / length_m
    cols = span_e + frame.east[0] / length_m
    grid = np.meshgrid(rows, cols, indexing="ij")
    return np.asarray(map_coordinates(lattice, grid, order=3, mode="nearest"), dtype=np.float32) * np.float32(1.4)


def _lattice(seed: int, name: int, span_n: int, span_e: int) -> Floats:
    """Normal numbers, one per lattice point, from the point's place alone."""
    n = np.arange(-span_n, span_n + 1, dtype=np.int64)[:, None]
    e = np.arange(-span_e, span_e + 1, dtype=np.int64)[None, :]
    key = (n.astype(np.uint64) * np.uint64(0x9E3779B97F4A7C15)) ^ (e.astype(np.uint64) * np.uint64(0xC2B2AE3D27D4EB4F))
    key ^= np.uint64((seed * 0x165667B19E3779F9 + name * 0x27D4EB2F165667C5) % 2**64)
    return np.asarray(_normal(_mixed(key), _mixed(key ^ np.uint64(0xD6E8FEB86659FD93))), dtype=np.float32)


def _mixed(key: NDArray[np.uint64]) -> NDArray[np.float64]:
    """Even numbers in (0, 1) from whole numbers (finalizer of Steele et al. 2014, doi:10.1145/2660193.2660195)."""
    key = (key ^ (key >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    key = (key ^ (key >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    key ^= key >> np.uint64(31)
    return ((key >> np.uint64(11)).astype(np.float64) + 0.5) * 2.0**-53


def _normal(u: NDArray[np.float64], v: NDArray[np.float64]) -> NDArray[np.float64]:
    """Box & Muller 1958, doi:10.1214/aoms/1177706645."""
    return np.sqrt(-2.0 * np.log(u)) * np.cos(2.0 * np.pi * v)


def fractal(seed: int, name: int, frame: Frame, length_m: float, *, octaves: int, gain: float = 0.5) -> Floats:
    """Sum of smooth fields, each half as long and `gain` as strong as the one before; unit variance."""
    total = np.zeros(frame.shape, np.float32)
    power = 0.0
    for k in range(octaves):
        total += np.float32(gain**k) * smooth_field(seed, 100 * name + k, frame, length_m / 2**k)
        power += gain ** (2 * k)
    return total / np.float32(np.sqrt(power))

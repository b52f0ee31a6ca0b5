"""Rasters laid out from the middle of the country, and smooth random fields, the same at every cell size."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates, spline_filter
from scipy.sparse import csr_array

__all__ = ["Floats", "Frame", "fractal", "smooth_field"]

Floats = NDArray[np.float32]

_MARGIN = 3  # lattice points kept beyond the frame: what a cubic spline needs
_SPREAD = 2.087  # 1 / standard deviation of a uniform cubic B-spline over unit white noise, in two dimensions


class Frame:
    """Where the cells of a raster lie, in metres from the middle of the country; row 0 is north.

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

    def place_in(self, source: Frame) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Fractional rows and columns of another frame in which this frame's rows and columns lie."""
        rows = (source.rows - 1) / 2 - self.north[:, 0].astype(np.float64) / source.cell_m
        cols = (source.cols - 1) / 2 + self.east[0].astype(np.float64) / source.cell_m
        return rows, cols

    def drawn_from(self, values: Floats, source: Frame) -> Floats:
        """Values of another frame at the middles of this frame's cells, by an interpolating cubic spline."""
        rows, cols = self.place_in(source)
        padded = np.pad(values, 4, mode="reflect", reflect_type="odd")
        knots = spline_filter(padded, order=3, output=np.float64)
        return _splined(knots, rows + 4.0, cols + 4.0)

    def warped_from(self, values: Floats, source: Frame, east_m: Floats, north_m: Floats) -> Floats:
        """As `drawn_from`, but each cell looks aside by so many metres."""
        rows, cols = self.place_in(source)
        where = [rows[:, None] - north_m / source.cell_m, cols[None, :] + east_m / source.cell_m]
        return np.asarray(map_coordinates(values, where, order=3, mode="nearest"), dtype=np.float32)


def _weights(places: NDArray[np.float64], count: int) -> csr_array:
    """(places, count) matrix of uniform cubic B-spline weights."""
    first = np.floor(places).astype(np.int64)
    t = places - first
    parts = [(1 - t) ** 3, 3 * t**3 - 6 * t**2 + 4, -3 * t**3 + 3 * t**2 + 3 * t + 1, t**3]
    values = np.stack(parts, axis=1) / 6.0
    knots = np.clip(first[:, None] + np.arange(-1, 3)[None, :], 0, count - 1)
    lines = np.repeat(np.arange(places.size), 4)
    return csr_array((values.ravel(), (lines, knots.ravel())), shape=(places.size, count))


def _splined(knots: NDArray[np.float64], rows: NDArray[np.float64], cols: NDArray[np.float64]) -> Floats:
    """Sum of B-splines on the rows and columns given: rows first, then columns, as they part."""
    along = _weights(rows, knots.shape[0]) @ knots
    return np.ascontiguousarray((_weights(cols, knots.shape[1]) @ along.T).T, dtype=np.float32)


def smooth_field(seed: int, name: int, frame: Frame, length_m: float) -> Floats:
    """A random field of unit variance whose bumps are about `length_m` long.

    Random numbers stand on a lattice tied to the middle of the country and are joined by cubic B-splines, so
    every frame sees the same field. `name` tells one field from another.
    """
    span_n = int(float(np.abs(frame.north).max()) / length_m) + _MARGIN
    span_e = int(float(np.abs(frame.east).max()) / length_m) + _MARGIN
    rows = span_n - frame.north[:, 0].astype(np.float64) / length_m
    cols = span_e + frame.east[0].astype(np.float64) / length_m
    return _splined(_lattice(seed, name, span_n, span_e) * _SPREAD, rows, cols)


def fractal(
    seed: int, name: int, frame: Frame, length_m: float, *, octaves: int, gain: float = 0.5
) -> Floats:
    """Sum of smooth fields, each half as long and `gain` as strong as the one before; unit variance."""
    total = np.zeros(frame.shape, np.float32)
    power = 0.0
    for k in range(octaves):
        total += np.float32(gain**k) * smooth_field(seed, 100 * name + k, frame, length_m / 2**k)
        power += gain ** (2 * k)
    return total / np.float32(np.sqrt(power))


def _lattice(seed: int, name: int, span_n: int, span_e: int) -> NDArray[np.float64]:
    """Normal numbers, one per lattice point, from the point's place alone."""
    n = np.arange(-span_n, span_n + 1, dtype=np.int64)[::-1, None].astype(np.uint64)
    e = np.arange(-span_e, span_e + 1, dtype=np.int64)[None, :].astype(np.uint64)
    key = _mixed(n * np.uint64(0x9E3779B97F4A7C15) + np.uint64(seed % 2**32))
    key = _mixed(key ^ (e * np.uint64(0xC2B2AE3D27D4EB4F) + np.uint64(name)))
    return _normal(_even(key), _even(_mixed(key + np.uint64(0x9E3779B97F4A7C15))))


def _mixed(key: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """Scramble whole numbers (SplitMix64: Steele, Lea & Flood 2014, doi:10.1145/2660193.2660195)."""
    key = (key ^ (key >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    key = (key ^ (key >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return key ^ (key >> np.uint64(31))


def _even(key: NDArray[np.uint64]) -> NDArray[np.float64]:
    """Even numbers in (0, 1)."""
    return ((key >> np.uint64(11)).astype(np.float64) + 0.5) * 2.0**-53


def _normal(u: NDArray[np.float64], v: NDArray[np.float64]) -> NDArray[np.float64]:
    """Normal numbers from two even ones (Box & Muller 1958, doi:10.1214/aoms/1177706645)."""
    return np.sqrt(-2.0 * np.log(u)) * np.cos(2.0 * np.pi * v)

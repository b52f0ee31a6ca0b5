"""The road and the trails of the invented range: least-cost ways over its ground, drawn smooth."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import dijkstra

from graylight.demo.noise import Floats

__all__ = ["Net", "smoothed"]

# moves to half of the sixteen neighbours; the graph is undirected
_MOVES = ((0, 1), (1, 1), (1, 0), (1, -1), (1, 2), (2, 1), (2, -1), (1, -2))


class Net:
    """Ways over a coarse grid on which grade costs.

    Parameters
    ----------
    elevation_m : (rows, cols) float32
        Heights on the coarse grid.
    cell_m
        Side of its cells.
    grade
        The grade (rise over run) that builders try not to exceed.
    shut : (rows, cols) bool
        Where no way may go.
    """

    def __init__(self, elevation_m: Floats, cell_m: float, *, grade: float, shut: NDArray[np.bool_]) -> None:
        self.shape = elevation_m.shape
        self._graph = _graph(elevation_m, cell_m, grade, shut)

    def field(self, start: tuple[int, int]) -> tuple[Floats, Callable[[tuple[int, int]], NDArray[np.int64]]]:
        """Cost of the way to every cell; and a function: the way to one, as (n, 2) rows and columns."""
        source = start[0] * self.shape[1] + start[1]
        cost, before = dijkstra(self._graph, directed=False, indices=source, return_predecessors=True)

        def way(goal: tuple[int, int]) -> NDArray[np.int64]:
            cells = [goal[0] * self.shape[1] + goal[1]]
            while cells[-1] != source and before[cells[-1]] >= 0:
                cells.append(int(before[cells[-1]]))
            return np.stack(np.divmod(np.array(cells[::-1]), self.shape[1]), axis=1)

        return cost.reshape(self.shape).astype(np.float32), way


def _graph(z: Floats, cell_m: float, grade: float, shut: NDArray[np.bool_]) -> csr_array:
    rows, cols = z.shape
    number = np.arange(rows * cols).reshape(z.shape)
    heads, tails, costs = [], [], []
    for dr, dc in _MOVES:
        a = (slice(0, rows - dr), slice(max(0, -dc), cols - max(0, dc)))
        b = (slice(dr, rows), slice(max(0, dc), cols - max(0, -dc)))
        run = cell_m * np.hypot(dr, dc)
        steep = np.abs(z[b] - z[a]) / run / grade
        cost = run * (1.0 + 0.4 * steep**2 + 12.0 * np.maximum(steep - 1.0, 0.0) ** 2)
        free = ~(shut[a] | shut[b])
        heads.append(number[a][free])
        tails.append(number[b][free])
        costs.append(cost[free])
    matrix = (np.concatenate(costs), (np.concatenate(heads), np.concatenate(tails)))
    return coo_array(matrix, shape=(rows * cols, rows * cols)).tocsr()


def smoothed(points: NDArray[np.floating] | NDArray[np.int64], *, sigma: float) -> NDArray[np.float64]:
    """A line with its corners rounded; its ends stay where they are."""
    line = np.asarray(points, dtype=np.float64)
    if len(line) < 4:
        return line
    ends = np.linspace(0, len(line) - 1, 2 * len(line) - 1)
    dense = np.stack([np.interp(ends, np.arange(len(line)), line[:, k]) for k in (0, 1)], axis=1)
    near = np.minimum(np.arange(len(dense)), np.arange(len(dense))[::-1])[:, None]
    soft = gaussian_filter1d(dense, 2 * sigma, axis=0, mode="nearest")
    hold = np.exp(-near / (2 * sigma))
    return np.asarray(soft * (1 - hold) + dense * hold)

"""The profile of a way: distance along it, climb and fall without the noise, and its steepest stretch."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

__all__ = ["along", "climb_and_fall", "evenly", "smooth", "steepest_deg"]

Line: TypeAlias = NDArray[np.float64]

SMOOTH_M = 50.0
"""Heights are averaged over this much of the way before climb and fall are added up."""
LEAST_M = 3.0
"""A rise or fall between two turns of the profile counts from here (proposed)."""
STEEP_M = 40.0
"""The steepest stretch is sought over this much of the way: about what one sees ahead on steep ground."""


def along(rows: NDArray[np.int64], cols: NDArray[np.int64], *, cell_m: float) -> Line:
    """(n,) horizontal metres from the first cell to each cell of a way.

    >>> along(np.array([0, 1, 3]), np.array([0, 0, 1]), cell_m=10.0).round(1).tolist()
    [0.0, 10.0, 32.4]
    """
    steps = np.hypot(np.diff(rows), np.diff(cols)) * cell_m
    return np.concatenate([[0.0], np.cumsum(steps)])


def evenly(along_m: Line, height_m: Line, *, spacing_m: float) -> tuple[Line, float]:
    """Heights at even spacing along a way (linear in between), both ends kept, and the spacing."""
    length = float(along_m[-1])
    count = max(int(np.ceil(length / spacing_m - 1e-9)), 1) if length > 0 else 0
    at = np.linspace(0.0, length, count + 1)
    return np.interp(at, along_m, height_m), length / count if count else spacing_m


def smooth(height_m: Line, *, half: int) -> Line:
    """Mean over `half` samples to either side; near an end over as many as there are, so both ends stay."""
    n = height_m.size
    i = np.arange(n)
    reach = np.minimum(half, np.minimum(i, n - 1 - i))
    base = float(height_m[0])  # sums of differences: raising the country changes no climb
    sums = np.concatenate([[0.0], np.cumsum(height_m - base)])
    mean: Line = base + (sums[i + reach + 1] - sums[i - reach]) / (2 * reach + 1)
    return mean


def _turns(height_m: Line, least_m: float) -> list[float]:
    """The first height, the heights where the profile turns by at least `least_m`, and the last."""
    turns = [float(height_m[0])]
    extreme, heading = turns[0], 0.0
    for height in height_m[1:].tolist():
        if heading == 0.0:
            if abs(height - extreme) >= least_m:
                heading, extreme = np.sign(height - extreme), height
        elif heading * (height - extreme) > 0.0:
            extreme = height
        elif heading * (extreme - height) >= least_m:
            turns.append(extreme)
            heading, extreme = -heading, height
    return [*turns, float(height_m[-1])]


def climb_and_fall(along_m: Line, height_m: Line, *, cell_m: float) -> tuple[float, float]:
    """Metres climbed and metres fallen along a way.

    The heights are averaged over 50 m of the way, both ends kept, and only then added up between turns of at
    least 3 m, so that the grid's noise, and a way that wavers along a contour, do not add up. Climb less fall
    is the difference of the two ends.

    >>> climb_and_fall(np.array([0.0, 1000.0, 2000.0]), np.array([5.0, 105.0, 5.0]), cell_m=100.0)
    (100.0, 100.0)
    """
    even, spacing = evenly(along_m, height_m, spacing_m=cell_m)
    turns = np.array(_turns(smooth(even, half=int(SMOOTH_M / 2 / spacing)), LEAST_M))
    change = np.diff(turns)
    return float(change[change > 0].sum()), float(-change[change < 0].sum())


def steepest_deg(along_m: Line, height_m: Line, *, cell_m: float) -> float:
    """Steepest stretch of about 40 m along a way, up or down, degrees (of one cell where that is more)."""
    even, spacing = evenly(along_m, height_m, spacing_m=cell_m)
    span = min(max(round(STEEP_M / spacing), 1), even.size - 1)
    if span == 0:
        return 0.0
    rise = np.abs(even[span:] - even[:-span]).max()
    return float(np.degrees(np.arctan2(rise, span * spacing)))

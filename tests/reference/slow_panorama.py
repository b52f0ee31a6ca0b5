"""One ray of a panorama, written to be read: all crossings listed, sorted, and looked through one by one.

Elevation is linear along each line that joins neighbouring cell centres (as in exact_sight.py), and straight
between one crossing and the next. What a pixel shows is the first ground that its own line of sight meets.
"""

from __future__ import annotations

from itertools import pairwise
from math import atan2, cos, degrees, floor, radians, sin, tan

import numpy as np

EARTH_RADIUS_M = 6371000.0


def height_at(surface: np.ndarray, row: float, col: float) -> float:
    """Linear between the two cell centres on whose line the point lies."""
    if abs(row - round(row)) < 1e-9:
        line, x = surface[round(row)], col
    else:
        line, x = surface[:, round(col)], row
    if abs(x - round(x)) < 1e-9:
        return float(line[round(x)])
    low = floor(x)
    return float(line[low]) * (low + 1 - x) + float(line[low + 1]) * (x - low)


def crossings(
    shape: tuple[int, int], row: int, col: int, azimuth_deg: float
) -> list[tuple[float, float, float]]:
    """(cells of distance, row, col) of every crossing of a ray with a row or column line, nearest first."""
    south, east = -cos(radians(azimuth_deg)), sin(radians(azimuth_deg))
    found = []
    for start, step, count in ((row, south, shape[0]), (col, east, shape[1])):
        if abs(step) < 1e-9:
            continue
        lines = range(start + 1, count) if step > 0 else range(start - 1, -1, -1)
        found += [(line - start) / step for line in lines]
    points = [(d, row + d * south, col + d * east) for d in sorted(found)]
    rim = 1e-9
    return [p for p in points if -rim <= p[1] <= shape[0] - 1 + rim and -rim <= p[2] <= shape[1] - 1 + rim]


def profile(surface, row, col, azimuth_deg, *, cell_m, eye_m, refraction=1 / 7):
    """(distance, height above the level of the eye) of the ground along a ray, the watcher's feet first."""
    bend = (1 - refraction) / (2 * EARTH_RADIUS_M)
    eye_z = float(surface[row, col]) + eye_m
    points = [(0.0, -eye_m)]
    for cells, r, c in crossings(surface.shape, row, col, azimuth_deg):
        d = cells * cell_m
        points.append((d, height_at(surface, r, c) - eye_z - bend * d * d))
    return points


def skyline_deg(points) -> float:
    """The greatest elevation angle of a profile."""
    return max(degrees(atan2(h, d)) for d, h in points[1:])


def first_met(points, up_deg: float) -> float | None:
    """Distance at which a line of sight first meets the profile; None: never."""
    slope = tan(radians(up_deg))
    for (d0, h0), (d1, h1) in pairwise(points):
        over0, over1 = h0 - slope * d0, h1 - slope * d1
        if over1 >= 0.0:
            return d0 + (d1 - d0) * (-over0 / (over1 - over0)) if over1 > over0 else d1
    return None

"""Drift and the rules of the wind, written to be read: one cell at a time, and very many fine paths.

A path belongs to a quantile q of a Gaussian. It goes with the wind where it is, and its distance from the middle
grows as q times the spread at the length gone, square to the wind. Seconds spent in each cell are counted, with no
smoothing: a drift from the kernel, which has few paths and smooths, must hold about the same seconds in larger
squares.
"""

from __future__ import annotations

import math

import numpy as np
from scipy.ndimage import map_coordinates
from scipy.special import ndtri


def seconds_in_cells(east, north, row, col, law, *, cell_m, seconds, paths=400, step_m=1.0):
    """(rows, cols) seconds that the air of one second a second stays in each cell, within so many seconds."""
    a, b, c = law
    q = ndtri((np.arange(paths) + 0.5) / paths)
    at = np.tile(np.array([[float(row)], [float(col)]]), (1, paths))
    aside, gone, age = np.zeros(paths), 0.0, np.zeros(paths)
    alive = np.ones(paths, bool)
    count = np.zeros(east.shape)
    while alive.any():
        e, n = (map_coordinates(layer, at, order=1, mode="nearest") for layer in (east, north))
        speed = np.hypot(e, n)
        time = np.minimum(step_m / speed, seconds - age)
        gone += step_m
        spread = a * gone * (1 + b * gone) ** c
        shift = q * spread - aside
        aside = q * spread
        went = time * speed
        at[0] += (-n * went + e * shift) / (speed * cell_m)
        at[1] += (e * went + n * shift) / (speed * cell_m)
        age += time
        cell = np.floor(at + 0.5).astype(int)
        alive &= (cell[0] >= 0) & (cell[0] < east.shape[0]) & (cell[1] >= 0) & (cell[1] < east.shape[1])
        np.add.at(count, (cell[0][alive], cell[1][alive]), time[alive] / paths)
        alive &= age < seconds - 1e-9
    return count


def air_of(fall, axis, exposure, part, turns, now_s, general, kept):
    """Velocity (east, north), mover and doubt at one cell by the rules of docs/air.md."""
    half = 60 * kept.turn_minutes

    def goes_up(up, down):
        """-1 all down, 1 all up, by the turn nearest in time."""
        if math.isnan(up):
            return -1.0
        morning = np.interp(now_s, [up - half, up + half], [-1, 1])
        evening = 1.0 if math.isnan(down) else np.interp(now_s, [down - half, down + half], [1, -1])
        return min(morning, evening)

    fall, axis, general = np.array(fall), np.array(axis), np.array(general)
    weight = np.linalg.norm(axis)
    slope, valley = goes_up(*turns[:2]), goes_up(*turns[2:])
    steep = np.linalg.norm(fall)
    fullness = min(1.0, steep / math.tan(math.radians(kept.full_slope_deg)))
    down = fall / steep * fullness if steep > 0 else np.zeros(2)
    slope_ms = kept.up_slope_ms if slope > 0 else kept.down_slope_ms
    valley_ms = kept.up_valley_ms if valley > 0 else kept.down_valley_ms
    local = -slope * slope_ms * down * (1 - weight) - valley * valley_ms * axis
    speed = np.linalg.norm(general)
    rules_from = kept.sheltered_ms + exposure * (kept.exposed_ms - kept.sheltered_ms)
    share = np.interp(speed, [rules_from / 2, rules_from], [0, 1])
    air = (1 - share) * local + share * part * general
    leading = valley if weight > 0.5 else slope
    if share >= 0.5:
        mover = 5
    elif not local.any():
        mover = 0
    else:
        mover = (3 if weight > 0.5 else 1) + (leading > 0)
    lee = speed > 0 and fall @ general / speed > math.tan(math.radians(kept.lee_deg))
    if share >= 0.5 and lee:
        doubt = 3
    elif 0.25 < share < 0.75 and local @ general < 0:
        doubt = 2
    elif share < 0.75 and abs(leading) < 1:
        doubt = 1
    else:
        doubt = 0
    return air, mover, doubt

"""The air over the ground at one moment: slope winds, valley winds, and a general wind over both.

Vectors lie in the grid's own frame, east and north, and point to where the air goes. Rules of thumb, told with
their sources in `graylight.sky.wind`; nothing here solves for the flow of air.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

__all__ = ["floors", "wind"]


@njit(cache=True, nogil=True)
def _main_givers(receiver, order, area, heights, main):
    """The neighbour from which most ground drains into each cell; of equal ones the lowest; -1: none."""
    main[:] = -1
    for n in range(order.size):
        cell = order[n]
        if cell < 0 or receiver[cell] == cell:
            continue
        down = receiver[cell]
        best = main[down]
        if (
            best < 0
            or area[cell] > area[best]
            or (area[cell] == area[best] and heights[cell] < heights[best])
        ):
            main[down] = cell


@njit(cache=True, nogil=True)
def _along(cell, to, cols, reach):
    """The cell reached by following `to` over a length in cells."""
    gone = 0.0
    while gone < reach:
        there = to[cell]
        if there < 0 or there == cell:
            break
        gone += math.hypot(there // cols - cell // cols, there % cols - cell % cols)
        cell = there
    return cell


@njit(cache=True, nogil=True)
def floors(receiver, order, area, heights, least, reach, cols, floor, axis_east, axis_north):
    """The valley floor that each cell drains to, and the way its valley runs there, downward.

    Parameters
    ----------
    receiver, order : (n,) int64
        From `graylight.kernels.drainage.receivers`.
    area : (n,) float64
        Cells that drain through each.
    heights : (n,) float32
        Metres.
    least
        From this area on a cell is valley floor.
    reach
        Length over which the axis is taken, half of it upstream, in cells.
    cols
        Columns of the grid.
    floor : (n,) int64, filled
        Flat index of the first floor cell downstream, the cell itself included; -1 where there is none.
    axis_east, axis_north : (n,) float32, filled
        Unit vector of that floor cell's axis, in the grid's frame; 0 where there is none.
    """
    main = np.empty(receiver.size, np.int64)
    _main_givers(receiver, order, area, heights, main)
    floor[:] = -1
    axis_east[:] = 0.0
    axis_north[:] = 0.0
    for n in range(order.size):
        cell = order[n]
        if cell < 0:
            continue
        if area[cell] < least:
            below = receiver[cell]
            if below != cell and floor[below] >= 0:
                floor[cell] = floor[below]
                axis_east[cell] = axis_east[below]
                axis_north[cell] = axis_north[below]
            continue
        floor[cell] = cell
        low = _along(cell, receiver, cols, 0.5 * reach)
        high = _along(cell, main, cols, 0.5 * reach)
        east = np.float64(low % cols - high % cols)
        north = np.float64(high // cols - low // cols)
        length = math.hypot(east, north)
        if length > 0.0:
            axis_east[cell] = east / length
            axis_north[cell] = north / length


@njit(cache=True, nogil=True)
def _phase(now, up, down, half):
    """From -1, the air goes down, to 1, it goes up; between the two while it turns."""
    if math.isnan(up):
        return -1.0
    risen = min(max((now - up) / half, -1.0), 1.0)
    if math.isnan(down):
        return risen
    return min(risen, max((down - now) / half, -1.0))


@njit(cache=True, nogil=True)
def _downward(phase, down_ms, up_ms):
    """Speed of the air downward; negative: upward."""
    return -phase * (down_ms if phase < 0.0 else up_ms)


@njit(cache=True, nogil=True)
def _local(fall_east, fall_north, axis_east, axis_north, turns, r, c, now_s, half_s, speeds, full):
    """Slope and valley wind: east, north, what moves the air, and whether it is turning."""
    weight = math.sqrt(axis_east * axis_east + axis_north * axis_north)
    phase = _phase(now_s, turns[0, r, c], turns[1, r, c], half_s)
    # full from the limit on, in proportion below
    scale = _downward(phase, speeds[0], speeds[1]) * (1.0 - weight)
    scale /= max(math.sqrt(fall_east * fall_east + fall_north * fall_north), full)
    along = 0.0
    if weight > 0.0:
        valley = _phase(now_s, turns[2, r, c], turns[3, r, c], half_s)
        along = _downward(valley, speeds[2], speeds[3])
        if weight > 0.5:
            phase = valley
    east = scale * fall_east + along * axis_east
    north = scale * fall_north + along * axis_north
    moved = (3 if weight > 0.5 else 1) + (1 if phase > 0.0 else 0)
    if east == 0.0 and north == 0.0:
        moved = 0
    return east, north, moved, 1 if abs(phase) < 1.0 else 0


@njit(cache=True, nogil=True)
def _with_general(local, general, g, rules, felt_part, lee):
    """The local wind with the general one over it, by its speed g and the speed at which it rules."""
    east, north, moved, why = local
    part = min(max(2.0 * g / rules - 1.0, 0.0), 1.0)
    if part == 0.0:
        return local
    against = east * general[0] + north * general[1] < 0.0
    felt = felt_part * part
    east = (1.0 - part) * east + felt * general[0]
    north = (1.0 - part) * north + felt * general[1]
    if part >= 0.75:
        why = 0
    elif part > 0.25 and against:
        why = 2
    if part >= 0.5:
        moved = 5
        if lee:
            why = 3
    return east, north, moved, why


@njit(cache=True, nogil=True)
def wind(
    ground, turns, now_s, half_s, speeds, limits, generals, row0, row1, out_east, out_north, mover, doubt
):
    """Fill the air's velocity, what moves it, and why it may not be relied on, for rows row0 to row1 - 1.

    Parameters
    ----------
    ground : (6, rows, cols) float32
        Fall of the ground to the east and to the north (tangents, positive downhill), axis of the valley east
        and north times the weight of the valley wind, exposure 0 to 1, part of the general wind that is felt.
        NaN in the fall: not known.
    turns : (4, rows, cols) float32
        Seconds at which slope wind turns up and down, valley wind turns up and down; NaN: it never does.
    now_s, half_s
        The moment, and half the length of a turn.
    speeds : (4,) float64
        Down and up slope, down and up valley, m/s.
    limits : (4,) float64
        Tangent of the slope from which the slope wind is full; tangent of a lee slope; speed at which a
        general wind rules exposed ground, and sheltered ground.
    generals : (n, 2) float64
        General winds, toward east and north, m/s: what the ground does to the air is worked out once for all.
    out_east, out_north : (n, rows, cols) float32, filled
        m/s, in each of them.
    mover : (n, rows, cols) uint8, filled
        0 nothing, 1 down slope, 2 up slope, 3 down valley, 4 up valley, 5 general wind.
    doubt : (n, rows, cols) uint8, filled
        0 none, 1 turning, 2 local and general wind against each other, 3 lee, 4 ground not known.
    """
    for r in range(row0, row1):
        for c in range(ground.shape[2]):
            fall_east = np.float64(ground[0, r, c])
            fall_north = np.float64(ground[1, r, c])
            known = not (math.isnan(fall_east) or math.isnan(fall_north))
            local = (math.nan, math.nan, 0, 4)
            if known:
                axis_east = np.float64(ground[2, r, c])
                axis_north = np.float64(ground[3, r, c])
                local = _local(
                    fall_east,
                    fall_north,
                    axis_east,
                    axis_north,
                    turns,
                    r,
                    c,
                    now_s,
                    half_s,
                    speeds,
                    limits[0],
                )
            rules = limits[3] + np.float64(ground[4, r, c]) * (limits[2] - limits[3])
            felt_part = np.float64(ground[5, r, c])
            for k in range(generals.shape[0]):
                felt = local
                if known:
                    general = (generals[k, 0], generals[k, 1])
                    g = math.sqrt(general[0] * general[0] + general[1] * general[1])
                    lee = fall_east * general[0] + fall_north * general[1] > limits[1] * g
                    felt = _with_general(local, general, g, rules, felt_part, lee)
                out_east[k, r, c] = felt[0]
                out_north[k, r, c] = felt[1]
                mover[k, r, c] = felt[2]
                doubt[k, r, c] = felt[3]

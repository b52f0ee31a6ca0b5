"""Light through foliage along a sight line, on the same crossings as the exact definition of sight.

The canopy of a cell is a layer of leaves between crown base and top with an extinction per metre, over trunks
with an extinction per horizontal metre. At each crossing of the straight sight line with a row or column line,
ground, base, top and extinctions are linear on the crossed edge, as the ground is in `viewshed.crossing_margin`;
between two successive crossings they are linear again, and the line is cut where it enters and leaves the layer.
What is left of the light is exp(-sum of extinction times length) (Beer-Lambert).

The two ends' own cells are bare: nobody sits in a tree, and an animal stands in an opening of its own. From the
first and last crossing to the ends the line keeps its place in the layer, and the leaves thin out to nothing.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from graylight.kernels.viewshed import OPAQUE, crossing_margin

__all__ = ["NOTHING", "transmittance", "transmittances"]

NOTHING = 25.0
"""Optical depth from which the answer is 0: exp(-25) is 1.4e-11."""
GROUND, BASE, TOP = 0, 1, 2
READINGS = 3
"""Readings of the canopy walked at once. A constant: loops this short are slow when their length is not known."""
ALMOST_ONE, LEAST = 1.0 - 2.0**-53, 1.0e-300
"""The part of a segment nearest to all of it, and a length nearest to none."""
GRAZING_M = 1.0e-6
"""Nearer to a height than this the line is reckoned as `crossing_margin` does it, to the last bit."""
END = -1.0
"""In the place on the crossed edge, [0, 1): no crossing, one of the two ends."""


@njit(cache=True, nogil=True, inline="always")
def _edge(land, r, c, down, f, which):
    """Height on the crossed edge; the same arithmetic as `crossing_margin`, so that the answers are the same."""
    low = land[np.uintp(r), np.uintp(c), which]
    high = land[np.uintp(r + down), np.uintp(c + 1 - down), which] if f > 0.0 else low
    return low + f * (high - low)


@njit(cache=True, nogil=True, inline="always")
def _over(z, t, distance, z0, dz, bend):
    """Metres by which the sight line passes over a height, part t of the way; the sign is `crossing_margin`'s."""
    if math.isnan(z):
        z = np.float64(OPAQUE)
    d = distance * t
    rise = z - bend * d * d - z0
    over = dz * t - rise
    if abs(over) < GRAZING_M:
        over = (dz - rise / d * distance) * t
    return over


@njit(cache=True, nogil=True, inline="always")
def _where_positive(u0, u1):
    """Part (a, b) of a segment on which a quantity, linear from u0 to u1, is above zero."""
    if u0 <= 0.0 and u1 <= 0.0:
        return 0.0, 0.0
    if u0 > 0.0 and u1 > 0.0:
        return 0.0, 1.0
    if u0 > 0.0:
        return 0.0, u0 / (u0 - u1)
    return -u0 / (u1 - u0), 1.0


@njit(cache=True, nogil=True, inline="always")
def _add(k, side, plane, a, b, length, depth):
    """Add extinction, linear from k[side] to the other, over part (a, b) of a segment, to every reading."""
    if b <= a:
        return
    # never wholly one end's, nor without length: opaque leaves (inf) must not meet a 0
    late = min(0.5 * (a + b), ALMOST_ONE)
    early, length = 1.0 - late, max((b - a) * length, LEAST)
    for n in range(READINGS):
        depth[n] += (k[side, plane + n] * early + k[1 - side, plane + n] * late) * length


@njit(cache=True, nogil=True, inline="always")
def _segment(k, side, u0, v0, u1, v1, first, last, flat, slant, depth):
    """Add trunks and crown between two crossings; u above the crown's base, v below its top, at either end.

    Only the part from `first` to `last` counts (the openings); `flat` is the segment's horizontal length, `slant`
    the line's own.
    """
    a, b = _where_positive(v0, v1)
    under_a, under_b = _where_positive(-u0, -u1)  # what is exactly on the base belongs to the crown
    if under_b > under_a:
        _add(k, side, READINGS, max(under_a, first), min(under_b, last), flat, depth)
        if under_a == 0.0:  # the crown begins where the trunks end
            a = max(a, under_b)
        else:
            b = min(b, under_a)
    _add(k, side, 0, max(a, first), min(b, last), slant, depth)


@njit(cache=True, nogil=True, inline="always")
def _below_top(land, at, f, t, distance, z0, dz, bend):
    """Metres from the line (not below the ground) up to the crown's top at a crossing."""
    ground = _edge(land, at[0], at[1], at[2], f, GROUND)
    top = _edge(land, at[0], at[1], at[2], f, TOP)
    return min(-_over(top, t, distance, z0, dz, bend), top - ground)


@njit(cache=True, nogil=True, inline="always")
def _read(land, leaf, at, f, t, distance, z0, dz, bend, k, side):
    """Fill k[side] with the extinctions at a crossing and return metres from the crown's base up to the line.

    At the two ends there are no leaves; where the line lies in the layer is then taken from the other side.
    """
    if f == END:
        for n in range(2 * READINGS):
            k[side, n] = 0.0
        return 0.0
    # unsigned: numba then leaves out what it takes to count from the end
    r, c = np.uintp(at[0]), np.uintp(at[1])
    rr, cc = np.uintp(at[0] + at[2]), np.uintp(at[1] + 1 - at[2])
    if f == 0.0:  # opaque leaves (inf) stay so to the last: 0 times inf must not come up
        for n in range(2 * READINGS):
            k[side, n] = leaf[r, c, n]
    else:
        for n in range(2 * READINGS):
            k[side, n] = (1.0 - f) * leaf[r, c, n] + f * leaf[rr, cc, n]
    ground = _edge(land, at[0], at[1], at[2], f, GROUND)
    base = _edge(land, at[0], at[1], at[2], f, BASE)
    return max(_over(base, t, distance, z0, dz, bend), ground - base)


@njit(cache=True, nogil=True, inline="always")
def _next_crossing(row0, col0, drow, dcol, i, j):
    """Part of the way, cell, direction of the edge and place on it of the next crossing; i, j rows and cols so far.

    Returns t, (row, col, down), f, i, j; the last one is the target itself, t 1 and f END.
    """
    rows, cols = abs(drow), abs(dcol)
    if i < rows and (j >= cols or i * cols <= j * rows):
        t = i / rows
        r = row0 + (i if drow > 0 else -i)
        x = col0 + dcol * t
        c = int(math.floor(x))
        return t, (r, c, 0), x - c, i + 1, j
    if j < cols:
        t = j / cols
        c = col0 + (j if dcol > 0 else -j)
        x = row0 + drow * t
        r = int(math.floor(x))
        return t, (r, c, 1), x - r, i, j + 1
    return 1.0, (row0 + drow, col0 + dcol, 0), END, i, j


@njit(cache=True, nogil=True)
def _optical_depth(land, leaf, row0, col0, z0, row1, col1, z1, cell_m, bend, near_m, far_m, depth):
    """Fill depth[n] with the optical depth of the line for every reading of the canopy."""
    depth[:] = 0.0
    drow, dcol = row1 - row0, col1 - col0
    distance = math.hypot(drow, dcol) * cell_m
    dz = z1 - bend * distance * distance - z0
    # the line itself is longer than its ground distance; without the bend, so that it is as long from either end
    stretch = math.hypot(distance, z1 - z0) / distance
    opened, closed = near_m / distance, 1.0 - far_m / distance
    k = np.empty((2, 2 * READINGS))
    i = j = 1
    t0, before, f0, v0, u0 = 0.0, (row0, col0, 0), END, 0.0, 0.0
    side, known = 0, False
    while t0 < 1.0:
        t1, here, f1, i, j = _next_crossing(row0, col0, drow, dcol, i, j)
        v1 = v0 if f1 == END else _below_top(land, here, f1, t1, distance, z0, dz, bend)
        if f0 == END:
            v0 = v1
        if (v0 > 0.0 or v1 > 0.0) and t1 > t0 and not (f0 == END and f1 == END):
            if not known:
                u0 = _read(land, leaf, before, f0, t0, distance, z0, dz, bend, k, side)
            u1 = _read(land, leaf, here, f1, t1, distance, z0, dz, bend, k, 1 - side)
            # towards either end the line keeps its place in the layer, and the leaves thin out to nothing
            u0, u1 = (u1 if f0 == END else u0), (u0 if f1 == END else u1)
            first = (opened - t0) / (t1 - t0) if opened > t0 else 0.0
            last = (closed - t0) / (t1 - t0) if closed < t1 else 1.0
            flat = (t1 - t0) * distance
            _segment(k, side, u0, v0, u1, v1, first, last, flat, flat * stretch, depth)
            if depth[0] >= NOTHING:
                return
            side, known, u0 = 1 - side, True, u1
        else:
            known = False
        t0, before, f0, v0 = t1, here, f1, v1


@njit(cache=True, nogil=True)
def transmittance(
    ground, land, leaf, row0, col0, z0, row1, col1, z1, cell_m, bend, near_m, far_m, floor_m, out
):
    """What is left of the light between an eye and a target, and the margin over the bare ground.

    Parameters
    ----------
    ground : (rows, cols) float32
        Bare ground; NaN is opaque.
    land : (rows, cols, 3) float32
        Ground, crown base and crown top, metres above the datum.
    leaf : (rows, cols, 6) float32
        Extinction inside the crown per metre of path for three readings of the canopy, the thinnest first, then
        that of the trunks below it per horizontal metre for the same three; inf is opaque.
    row0, col0, z0, row1, col1, z1, cell_m, bend
        As in `viewshed.crossing_margin`.
    near_m, far_m : float
        Openings about the eye and about the target, horizontal: leaves in them do not count. The two cells' own
        leaves never count.
    floor_m : float
        Finite; with a margin below it nothing is worked out, and the light is 0.
    out : (3,) float, filled
        In [0, 1]; of length 0 where no canopy is known, and then `land` and `leaf` are not read. The ground does
        not dim it: where the line runs below the ground it is taken along it.

    Returns
    -------
    float
        The margin of `viewshed.crossing_margin`.
    """
    margin = crossing_margin(ground, row0, col0, z0, row1, col1, z1, cell_m, bend)[0]
    if out.size == 0 or (row0 == row1 and col0 == col1):
        out[:] = 1.0
        return margin
    if not margin >= floor_m:
        out[:] = 0.0
        return margin
    _optical_depth(land, leaf, row0, col0, z0, row1, col1, z1, cell_m, bend, near_m, far_m, out)
    dark = out[0] >= NOTHING  # the walk stops when even the thinnest reading is dark
    for n in range(out.size):
        out[n] = 0.0 if dark or out[n] >= NOTHING else math.exp(-out[n])
    return margin


@njit(cache=True, nogil=True)
def transmittances(
    ground, land, leaf, row0, col0, eye_m, rows, cols, target_m, cell_m, bend, near_m, far_m, floor_m,
    first, last, margin, through,
):  # fmt: skip
    """Margin and transmittance of many targets from one watcher.

    Parameters
    ----------
    rows, cols : (targets,) int32
        Cells of the targets.
    eye_m, target_m : float
        Heights above the bare ground.
    first, last : int
        Which targets are filled.
    margin : (targets,) float32, filled
    through : (targets, 3) or (targets, 0) float32, filled
        Both NaN over unknown ground.
    others
        As in `transmittance`.
    """
    z0 = ground[row0, col0] + eye_m
    light = np.empty(through.shape[1], np.float64)
    for i in range(first, last):
        r, c = np.int64(rows[i]), np.int64(cols[i])
        if math.isnan(ground[r, c]):
            margin[i] = np.nan
            through[i, :] = np.nan
            continue
        margin[i] = transmittance(
            ground, land, leaf, row0, col0, z0, r, c, ground[r, c] + target_m, cell_m, bend, near_m, far_m,
            floor_m, light,
        )  # fmt: skip
        for n in range(light.size):
            through[i, n] = light[n]

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

NOTHING = 40.0
"""Optical depth from which the answer is 0: exp(-40) is 4e-18."""
GROUND, BASE, TOP = 0, 1, 2
END = -1.0
"""In the place on the crossed edge, [0, 1): no crossing, one of the two ends."""


@njit(cache=True, nogil=True)
def _edge(land, r, c, down, f, which):
    """Height on the crossed edge; the same arithmetic as `crossing_margin`, so that the answers are the same."""
    low = land[r, c, which]
    high = land[r + down, c + 1 - down, which] if f > 0.0 else low
    return low + f * (high - low)


@njit(cache=True, nogil=True)
def _over(z, d, distance, z0, dz, bend):
    """Metres, at the target, by which the sight line passes over a height; the sign is `crossing_margin`'s."""
    if math.isnan(z):
        z = np.float64(OPAQUE)
    return dz - (z - bend * d * d - z0) / d * distance


@njit(cache=True, nogil=True)
def _leaf(leaf, r, c, down, f, which):
    """Extinction on the crossed edge; none at the two ends. Opaque leaves (inf) stay so to the last."""
    if f == END:
        return 0.0
    low = np.float64(leaf[r, c, which])
    if f == 0.0:
        return low
    return (1.0 - f) * low + f * leaf[r + down, c + 1 - down, which]


@njit(cache=True, nogil=True)
def _where_positive(u0, u1):
    """Part (a, b) of a segment on which a quantity, linear from u0 to u1, is above zero."""
    if u0 <= 0.0 and u1 <= 0.0:
        return 0.0, 0.0
    if u0 > 0.0 and u1 > 0.0:
        return 0.0, 1.0
    if u0 > 0.0:
        return 0.0, u0 / (u0 - u1)
    return -u0 / (u1 - u0), 1.0


@njit(cache=True, nogil=True)
def _add(leaf, before, f0, here, f1, a, b, length, plane, depth):
    """Add the extinction over part (a, b) of a segment, linear along it, to every reading of the canopy."""
    if b <= a:
        return
    middle = 0.5 * (a + b)
    for n in range(depth.size):
        which = plane + n
        k0 = _leaf(leaf, before[0], before[1], before[2], f0, which)
        k1 = _leaf(leaf, here[0], here[1], here[2], f1, which)
        if k0 == np.inf or k1 == np.inf:
            depth[n] = np.inf
        else:
            depth[n] += (k0 * (1.0 - middle) + k1 * middle) * (b - a) * length


@njit(cache=True, nogil=True)
def _segment(leaf, before, f0, u0, v0, here, f1, u1, v1, first, last, flat, stretch, depth):
    """Add trunks and crown between two crossings; u above the crown's base, v below its top, at either end.

    Only the part from `first` to `last` counts (the openings); `flat` is the segment's horizontal length.
    """
    under = _where_positive(-u0, -u1)  # what is exactly on the base belongs to the crown
    _add(
        leaf, before, f0, here, f1, max(under[0], first), min(under[1], last), flat, depth.size, depth
    )  # fmt: skip
    a, b = _where_positive(v0, v1)
    if under[1] > under[0]:  # the crown begins where the trunks end
        if under[0] == 0.0:
            a = max(a, under[1])
        else:
            b = min(b, under[0])
    _add(leaf, before, f0, here, f1, max(a, first), min(b, last), flat * stretch, 0, depth)


@njit(cache=True, nogil=True)
def _above_base(land, at, f, d, distance, z0, dz, bend):
    """Metres from the crown's base up to the line (not below the ground) at a crossing."""
    ground = _edge(land, at[0], at[1], at[2], f, GROUND)
    base = _edge(land, at[0], at[1], at[2], f, BASE)
    return max(_over(base, d, distance, z0, dz, bend) * (d / distance), ground - base)


@njit(cache=True, nogil=True)
def _below_top(land, at, f, d, distance, z0, dz, bend):
    """Metres from the line (not below the ground) up to the crown's top at a crossing."""
    ground = _edge(land, at[0], at[1], at[2], f, GROUND)
    top = _edge(land, at[0], at[1], at[2], f, TOP)
    return min(-_over(top, d, distance, z0, dz, bend) * (d / distance), top - ground)


@njit(cache=True, nogil=True)
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
    i = j = 1
    t0, before, f0, v0 = 0.0, (row0, col0, 0), END, 0.0
    while t0 < 1.0:
        t1, here, f1, i, j = _next_crossing(row0, col0, drow, dcol, i, j)
        v1 = v0 if f1 == END else _below_top(land, here, f1, distance * t1, distance, z0, dz, bend)
        if f0 == END:
            v0 = v1
        if (v0 > 0.0 or v1 > 0.0) and t1 > t0 and not (f0 == END and f1 == END):
            # towards either end the line keeps its place in the layer, and the leaves thin out to nothing
            known, at, t = (before, f0, t0) if f1 == END else (here, f1, t1)
            u1 = _above_base(land, known, at, distance * t, distance, z0, dz, bend)
            u0 = u1 if f0 == END else _above_base(land, before, f0, distance * t0, distance, z0, dz, bend)
            flat = (t1 - t0) * distance
            first = max(0.0, (near_m - t0 * distance) / flat)
            last = min(1.0, (distance - far_m - t0 * distance) / flat)
            _segment(leaf, before, f0, u0, v0, here, f1, u1, v1, first, last, flat, stretch, depth)
            if depth[0] >= NOTHING:
                return
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
    leaf : (rows, cols, 2 n) float32
        Extinction inside the crown per metre of path for n readings of the canopy, the thinnest first, then that
        of the trunks below it per horizontal metre for the same n; inf is opaque.
    row0, col0, z0, row1, col1, z1, cell_m, bend
        As in `viewshed.crossing_margin`.
    near_m, far_m : float
        Openings about the eye and about the target, horizontal: leaves in them do not count. The two cells' own
        leaves never count.
    floor_m : float
        Finite; with a margin below it nothing is worked out, and the light is 0.
    out : (n,) float, filled
        In [0, 1]. The ground does not dim it: where the line runs below the ground it is taken along it.

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
    through : (targets, n) float32, filled
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

"""Where air goes that is let go at one place, and how much of it is in each cell: a plume along the wind.

The plume is a bundle of paths, one for each of a few quantiles of a Gaussian. Each follows the wind where it is,
and moves sideways to it so that its distance from the middle is its quantile times the spread at the length gone.
Along the paths scent is laid down with a Gaussian of part of the spread, so that in an even wind the whole is the
Gaussian plume with exactly the stated spread; over ground the paths part and meet as the wind does. No chance is
in it.

Spread: Briggs, G. A. (1973), Diffusion estimation for small emissions, doi:10.2172/5118833.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

__all__ = ["carry"]

_NARROWEST = 0.6  # cells; a narrower Gaussian falls between the cells
_CUT = 3.0  # Gaussians end here, in units of their width
_SHALLOWEST_M = 1.0  # a person, seated: what is let go fills about that much air at once
_SLICES = 6
_TWO_OVER_ROOT = 2.0 / math.sqrt(2.0 * math.pi)


@njit(cache=True, nogil=True)
def _spread(a, b, c, gone_m):
    return a * gone_m * (1.0 + b * gone_m) ** c


@njit(cache=True, nogil=True)
def _weights(at, width, first, count, out):
    """Parts of a Gaussian in the cells first, first + 1, ...; they add up to 1."""
    total = 0.0
    for i in range(count):
        away = (first + i - at) / width
        out[i] = math.exp(-0.5 * away * away)
        total += out[i]
    for i in range(count):
        out[i] /= total


@njit(cache=True, nogil=True)
def _lay(row, col, width, amount, row0, col0, across, down, out):
    """Add an amount to `out`, whose first cell is (row0, col0), as a Gaussian; what falls outside is lost."""
    half = int(min(math.ceil(_CUT * width), (across.size - 1) // 2))
    top = int(math.floor(row + 0.5)) - half
    left = int(math.floor(col + 0.5)) - half
    count = 2 * half + 1
    _weights(row, width, top, count, down)
    _weights(col, width, left, count, across)
    rows, cols = out.shape
    for i in range(max(0, row0 - top), min(count, row0 + rows - top)):
        share = amount * down[i]
        for j in range(max(0, col0 - left), min(count, col0 + cols - left)):
            out[top + i - row0, left + j - col0] += share * across[j]


@njit(cache=True, nogil=True)
def _air(east, north, row, col, sign):
    """Bilinear velocity between the centres of cells; NaN outside, and beside unknown ground."""
    rows, cols = east.shape
    if not (-0.5 <= row <= rows - 0.5 and -0.5 <= col <= cols - 0.5):
        return math.nan, math.nan
    row = min(max(row, 0.0), rows - 1.0)
    col = min(max(col, 0.0), cols - 1.0)
    r = min(int(row), max(rows - 2, 0))
    c = min(int(col), max(cols - 2, 0))
    y = row - r
    x = col - c
    below = min(r + 1, rows - 1)
    right = min(c + 1, cols - 1)
    e = (1 - y) * ((1 - x) * east[r, c] + x * east[r, right]) + y * (
        (1 - x) * east[below, c] + x * east[below, right]
    )
    n = (1 - y) * ((1 - x) * north[r, c] + x * north[r, right]) + y * (
        (1 - x) * north[below, c] + x * north[below, right]
    )
    return sign * e, sign * n


@njit(cache=True, nogil=True)
def _pool(row, col, left_s, gone_m, law, laws, cell_m, amount, row0, col0, across, down, out):
    """Air that has come to rest spreads to all sides for the time that is left."""
    width_part, pool_ms = laws[0], laws[4]
    part = left_s / _SLICES
    for k in range(_SLICES):
        grown = pool_ms * part * (k + 0.5)
        width = max(
            math.hypot(width_part * _spread(law[0], law[1], law[2], gone_m), grown) / cell_m, _NARROWEST
        )
        depth = max(_spread(law[3], law[4], law[5], gone_m + grown / law[0]), _SHALLOWEST_M)
        thick = _TWO_OVER_ROOT / (depth * cell_m * cell_m)
        _lay(row, col, width, amount * part * thick, row0, col0, across, down, out)


@njit(cache=True, nogil=True)
def _path(east, north, sign, cell_m, row, col, quantile, amount, law, laws, row0, col0, across, down, out):
    """Follow one path and lay its scent down. Returns the seconds it stayed over known ground."""
    width_part, limit_m, limit_s, still_ms, rises = laws[0], laws[1], laws[2], laws[3], laws[5] > 0.0
    step_m = 0.5 * cell_m
    before_e, before_n = 0.0, 0.0
    gone_m, gone_s, last_s, waited_m, aside = 0.0, 0.0, 0.0, 0.0, 0.0
    last_row, last_col = row, col
    while gone_m < limit_m and gone_s < limit_s:
        e, n = _air(east, north, row, col, sign)
        speed = math.hypot(e, n)
        if not speed >= 0.0:
            break
        if speed < still_ms and rises and gone_m > 0.0:
            break  # warm air that comes to rest, on a crest, leaves the ground
        if speed < still_ms:
            left_s = limit_s - gone_s
            _pool(row, col, left_s, gone_m, law, laws, cell_m, amount, row0, col0, across, down, out)
            gone_s = limit_s
            last_s = limit_s
            break
        half = 0.5 * step_m / (speed * cell_m)
        e2, n2 = _air(east, north, row - half * n, col + half * e, sign)
        speed2 = math.hypot(e2, n2)
        if speed2 >= still_ms:
            e, n, speed = e2, n2, speed2
        if rises and e * before_e + n * before_n < 0.0:
            break  # so does warm air that meets air from the other side
        before_e, before_n = e, n
        # the last step is cut, so that no air is followed longer than was said
        go_m = min(step_m, (limit_s - gone_s) * speed)
        gone_m += go_m
        gone_s += go_m / speed
        waited_m += go_m
        spread = _spread(law[0], law[1], law[2], gone_m)
        shift = quantile * spread - aside
        aside = quantile * spread
        row += (-n * go_m + e * shift) / (speed * cell_m)
        col += (e * go_m + n * shift) / (speed * cell_m)
        width = max(width_part * spread / cell_m, _NARROWEST)
        if waited_m >= 0.35 * width * cell_m or gone_s >= limit_s or gone_m >= limit_m:
            depth = max(_spread(law[3], law[4], law[5], gone_m - 0.5 * waited_m), _SHALLOWEST_M)
            thick = amount * (gone_s - last_s) * _TWO_OVER_ROOT / (depth * cell_m * cell_m)
            mid_row, mid_col = 0.5 * (row + last_row), 0.5 * (col + last_col)
            _lay(mid_row, mid_col, width, thick, row0, col0, across, down, out)
            last_row, last_col, last_s, waited_m = row, col, gone_s, 0.0
    return last_s


@njit(cache=True, nogil=True)
def carry(east, north, sign, cell_m, row, col, quantiles, law, laws, row0, col0, out):
    """Add the scent of a steady source of 1 unit a second to `out`: amount in a cubic metre near the ground.

    Parameters
    ----------
    east, north : (rows, cols) float32
        Velocity of the air in the grid's frame, m/s, NaN over unknown ground.
    sign
        1; or -1 to go against the wind, for the ground whose scent comes here.
    cell_m
        Side of a cell, metres.
    row, col
        The source.
    quantiles : (n,) float64
        Where each path runs, in units of the spread.
    law : (6,) float64
        a, b, c of the spread across, then of the depth: ``a s (1 + b s) ** c`` metres at s metres.
    laws : (6,) float64
        Width of the Gaussian laid down as part of the spread; longest path, m; longest time, s; speed below
        which air counts as still, m/s; speed at which still air spreads, m/s; above 0: the air is warm and leaves
        the ground where it comes to rest or meets air from the other side.
    row0, col0
        Cell of the grid in which `out` begins.
    out : (rows, cols) float32, added to
        1/m3 for 1/s.

    Returns
    -------
    float
        Mean time the air was followed over known ground, seconds: cells' sum of out times depth is at most this.
    """
    longest = 2 * (max(out.shape[0], out.shape[1]) + 1) + 1
    across = np.empty(longest)
    down = np.empty(longest)
    total = 0.0
    amount = 1.0 / quantiles.size
    for k in range(quantiles.size):
        total += amount * _path(
            east,
            north,
            sign,
            cell_m,
            row,
            col,
            quantiles[k],
            amount,
            law,
            laws,
            row0,
            col0,
            across,
            down,
            out,
        )
    return total

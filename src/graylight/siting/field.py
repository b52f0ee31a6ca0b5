"""What every cell sees of the targets, each cell at a price: sums over all targets' windows of sight."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from graylight.errors import BadInput
from graylight.kernels.covering import grid_gains
from graylight.work import Tick, in_bands, silent

__all__ = ["Field", "Light", "Seat", "Targets", "field", "peaks"]

Raster = NDArray[np.float32]
Cells = NDArray[np.int64]
"""(n,) flat indices of cells, row by row."""
Light = Callable[[Cells, NDArray[np.bool_]], Raster]
"""Sight through foliage, for the shortlist: of cells (n,) and the pairs wanted (n, T), the low, likely and high sight
in [0, 1] as (3, n, T). It only takes away from the windows' answers, so that bounds over every cell hold."""

LISTS_AT_ONCE = 4
"""Price lists taken in one reading of the windows; more need more memory and are no faster (measured)."""


@dataclass(frozen=True, slots=True)
class Targets:
    """Cells that stand for the pockets.

    Parameters
    ----------
    row, col : (T,) int32
    weight : (T,) float32
        Sums to a pocket's chance over its targets, and to at most 1 over all.
    pocket : (T,) int32
        Index of the pocket each belongs to.
    """

    row: NDArray[np.int32]
    col: NDArray[np.int32]
    weight: NDArray[np.float32]
    pocket: NDArray[np.int32]


@dataclass(frozen=True, slots=True)
class Seat:
    """Ground to sit on.

    Parameters
    ----------
    eligible : (rows, cols) bool
        Reachable, open, not too steep, dry, not private, standoff kept.
    liking : (rows, cols) float32
        How good it is to sit there, in [0, 1]: multiplies worth when ranking, not what is seen. NaN: 0.
    """

    eligible: NDArray[np.bool_]
    liking: Raster


@dataclass(frozen=True, slots=True)
class Field:
    """The windows of sight with all they are weighed by, checked and of one type (see `field`)."""

    windows: NDArray[np.uint8]
    near: Raster
    targets: Targets
    seat: Seat
    light: Light | None = None

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of the ground."""
        rows, cols = self.seat.eligible.shape
        return rows, cols

    def reduced(
        self, prices: NDArray[np.float64], liked: NDArray[np.bool_], *, tick: Tick = silent
    ) -> NDArray[np.float64]:
        """Reduced gain of every cell under each price list, at most `LISTS_AT_ONCE` of them.

        Parameters
        ----------
        prices : (M, T) float64
        liked : (M,) bool
            Whether the list counts what is seen times liking, or what is seen alone.

        Returns
        -------
        (M, rows, cols) float64
            sum_t max(0, w_t g_t - price_t); 0 where one can't sit.
        """
        out = np.empty((len(prices), *self.shape))
        t, s = self.targets, self.seat

        def band(row0: int, row1: int) -> None:
            grid_gains(
                self.windows,
                self.near,
                t.row,
                t.col,
                t.weight,
                s.liking,
                liked,
                prices,
                s.eligible,
                row0,
                row1,
                out,
            )

        in_bands(band, self.shape[0], rows_at_once=32, tick=tick)
        return out

    def seen(self, cells: Cells) -> NDArray[np.float32]:
        """(3, n, T) gain in [0, 1] from each cell on each target, worth of distance included.

        Low, likely and high: touch-and-go counts 0, 1/2 and 1; less where foliage, looked at pair by pair, lets
        less through.
        """
        row, col = np.divmod(cells, self.shape[1])
        side = self.near.shape[0]
        down = row[:, None] - self.targets.row + side // 2
        right = col[:, None] - self.targets.col + side // 2
        inside = (down >= 0) & (right >= 0) & (down < side) & (right < side)
        _, target = np.nonzero(inside)
        at = down[inside], right[inside]
        out = np.zeros((3, *inside.shape), np.float32)
        code = self.windows[target, at[0], at[1]]
        for answer, by in enumerate(_BY_ANSWER):
            out[answer, inside] = by[np.minimum(code, 3)]
        if self.light is not None:
            out = np.minimum(out, self.light(cells, out[2] > 0))
        out[:, inside] *= self.near[at]
        return out

    def liking(self, cells: Cells) -> NDArray[np.float64]:
        """(n,) liking of the cells."""
        return self.seat.liking.ravel()[cells].astype(np.float64)


_BY_ANSWER = np.array([[0, 0, 1, 0], [0, 0.5, 1, 0], [0, 1, 1, 0]], np.float32)


def field(
    windows: NDArray[np.uint8],
    targets: Targets,
    seat: Seat,
    distance_worth: NDArray[np.float32],
    light: Light | None = None,
) -> Field:
    """Check that all fits together.

    Raises
    ------
    BadInput
        Shapes don't fit, or a weight or liking lies outside its range.
    """
    side = windows.shape[1] if windows.ndim == 3 else 0
    if windows.ndim != 3 or windows.shape != (len(targets.row), side, side) or side % 2 == 0:
        raise BadInput(
            f"windows of shape {windows.shape} for {len(targets.row)} targets; accepted is "
            "(targets, 2 R + 1, 2 R + 1); make one square window of odd side for each target"
        )
    if len(distance_worth) < side // 2 + 2:
        raise BadInput(
            f"{len(distance_worth)} distances for windows of radius {side // 2}; accepted is radius + 2 or "
            "more; give the worth of every distance up to the corner of the circle"
        )
    if seat.eligible.shape != seat.liking.shape:
        raise BadInput(
            f"eligible of shape {seat.eligible.shape} and liking of shape {seat.liking.shape}; accepted is "
            "one shape; take both from the same ground"
        )
    weight = np.asarray(targets.weight, np.float32)
    if weight.size and not weight.min() >= 0:
        raise BadInput(f"a target weighs {weight.min()}; accepted is 0 or more, no NaN; give chances")
    row, col, pocket = (np.asarray(a, np.int32) for a in (targets.row, targets.col, targets.pocket))
    liking = np.clip(np.nan_to_num(seat.liking), 0.0, 1.0).astype(np.float32)
    return Field(
        np.ascontiguousarray(windows, np.uint8), _near(distance_worth, side // 2),
        Targets(row, col, weight, pocket),
        Seat(np.ascontiguousarray(seat.eligible, np.bool_), np.ascontiguousarray(liking)), light,
    )  # fmt: skip


def _near(distance_worth: NDArray[np.float32], radius: int) -> Raster:
    """(D, D) worth of watching from each cell of a window; beyond the last distance nothing."""
    offset = np.arange(-radius, radius + 1)
    distance = np.hypot(offset[:, None], offset[None, :])
    steps = np.arange(len(distance_worth))
    worth = np.interp(distance, steps, np.clip(np.nan_to_num(distance_worth), 0.0, 1.0), right=0.0)
    return np.ascontiguousarray(worth, np.float32)


def peaks(values: NDArray[np.floating], n: int, *, apart: float, above: float = 0.0) -> Cells:
    """Cells of most value, each at least some distance from every one before it, most first.

    Thinned by worth alone, so that turning or mirroring the values turns or mirrors the cells; only cells of the
    very same value go by place.

    Parameters
    ----------
    values : (rows, cols) float
        No NaN.
    n : int
        At most this many.
    apart : float
        Least distance between two of them, in cells; 1 or less: no thinning.
    above : float
        Only cells of more than this.
    """
    rows, cols = values.shape
    reach = max(0, int(np.ceil(apart)) - 1)
    down, right = np.ogrid[-reach : reach + 1, -reach : reach + 1]
    disc = np.hypot(down, right) < max(apart, 0.5)
    taken = np.zeros((rows + 2 * reach, cols + 2 * reach), np.bool_)
    found: list[int] = []
    for cell in _highest(values, n * int(disc.sum()), above):
        row, col = divmod(cell, cols)
        if taken[row + reach, col + reach]:
            continue
        found.append(cell)
        if len(found) == n:
            break
        taken[row : row + 2 * reach + 1, col : col + 2 * reach + 1] |= disc
    return np.array(found, np.int64)


def _highest(values: NDArray[np.floating], n: int, above: float) -> list[int]:
    """The n cells of most value and all that equal the last, most first, ties by place."""
    flat = values.ravel()
    cells = np.flatnonzero(flat > above)
    if len(cells) > n:
        least = np.partition(flat[cells], len(cells) - n)[len(cells) - n]
        cells = cells[flat[cells] >= least]
    order = np.argsort(-flat[cells], kind="stable")
    return cells[order].tolist()  # type: ignore[no-any-return]

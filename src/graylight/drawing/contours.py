"""Contour lines and where their heights are written."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple, cast

import numpy as np
from contourpy import ContourGenerator, contour_generator
from numpy.typing import NDArray

from graylight.errors import BadInput

__all__ = ["FOOT_M", "Contour", "LabelSeat", "contours", "interval", "seats"]

Line = NDArray[np.float64]

FOOT_M = 0.3048

_NUDGE_M = 1e-4
"""Level ground at exactly a contour's height (a lake) would be covered with lines; they run just above."""

_STEPS_FEET = (1, 2, 5, 10, 20, 40, 80, 100, 200, 400, 1000, 2000)
_STEPS_METRES = (1, 2, 5, 10, 20, 50, 100, 200, 500)


class Contour(NamedTuple):
    """One line of one height in metres; `line` is (n, 2) of column, row, cell centres being whole numbers."""

    height_m: float
    line: Line
    heavy: bool


_SMALL = 0.4
"""Part of the ground below which a box of its own is quicker, its making counted."""
MOST_LINES = 200
"""More lines than this between the lowest and the highest ground clog any picture, and take minutes on a cliff."""


@dataclass(frozen=True, slots=True)
class LabelSeat:
    """Where a contour's height is written.

    `start` and `stop` are the points of the line between which it is broken to make room.
    """

    height_m: float
    x: float
    y: float
    turn_deg: float
    start: int
    stop: int


def contours(elevation_m: NDArray[np.float32], *, interval_m: float, index_every: int = 5) -> list[Contour]:
    """Trace contour lines by linear interpolation between cell centres.

    Parameters
    ----------
    elevation_m : (rows, cols) float32
        Heights in metres; lines stop at NaN. Not smoothed here: the lines say what the cells say.
    interval_m
        Distance in height between lines, metres (40 ft is 12.192).
    index_every
        Every so many lines one is an index line.

    Returns
    -------
    list of `Contour`, lowest first.

    Raises
    ------
    BadInput
        The interval isn't a positive number.
    """
    if not (math.isfinite(interval_m) and interval_m > 0):
        raise BadInput(f"contour interval {interval_m!r} m: accepted is a height above zero")
    if min(elevation_m.shape) < 2 or not np.isfinite(elevation_m).any():
        return []
    low, high = float(np.nanmin(elevation_m)), float(np.nanmax(elevation_m))
    lines_at = _tracer(elevation_m)
    found = []
    for step in range(math.ceil(low / interval_m), math.floor(high / interval_m) + 1):
        height_m = step * interval_m
        lines = lines_at(height_m + _NUDGE_M)
        found += [Contour(height_m, line, step % index_every == 0) for line in lines if len(line) > 1]
    return found


def _tracer(elevation_m: NDArray[np.float32]) -> Callable[[float], list[Line]]:
    """What traces one height: within the box that holds it where that is small, else over all the ground.

    Every cell is gone through for every height, though most of a cliff's lie in a narrow strip. The lines are the same.
    """
    known = np.isfinite(elevation_m)
    low, high = np.where(known, elevation_m, np.inf), np.where(known, elevation_m, -np.inf)
    ends = [(low.min(axis=axis), high.max(axis=axis)) for axis in (1, 0)]
    whole = _generator(elevation_m, slice(0, len(low)), slice(0, low.shape[1]))

    def lines(level_m: float) -> list[Line]:
        rows, cols = (_span(least, most, level_m) for least, most in ends)
        size = (rows.stop - rows.start) * (cols.stop - cols.start)
        within = whole if size > _SMALL * elevation_m.size else _generator(elevation_m, rows, cols)
        return cast(list[Line], within.lines(level_m))

    return lines


def _span(least: NDArray[np.floating], most: NDArray[np.floating], level_m: float) -> slice:
    """From the first to the last row (or column) between which and its neighbour a height lies; two at least."""
    below, above = np.minimum(least[:-1], least[1:]) <= level_m, np.maximum(most[:-1], most[1:]) >= level_m
    at = np.flatnonzero(below & above)
    return slice(int(at[0]), int(at[-1]) + 2) if at.size else slice(0, 2)


def _generator(elevation_m: NDArray[np.float32], rows: slice, cols: slice) -> ContourGenerator:
    """A tracer over part of the ground, in the columns and rows of the whole."""
    x, y = (np.arange(side.start, side.stop, dtype=np.float64) for side in (cols, rows))
    return contour_generator(x=x, y=y, z=np.ma.masked_invalid(elevation_m[rows, cols]), name="serial")


def interval(
    elevation_m: NDArray[np.float32], *, pixels_per_cell: float, units: str, closest_px: float = 4.0
) -> float:
    """Choose a contour interval, in feet ("us") or metres, that does not clog the steep ground of a picture.

    Parameters
    ----------
    elevation_m : (rows, cols) float32
        Heights in metres.
    pixels_per_cell
        Scale of the picture.
    units
        "us" or "metric".
    closest_px
        How close lines may come on the steepest tenth of the ground.
    """
    steps = _STEPS_FEET if units == "us" else _STEPS_METRES
    thin = elevation_m[::2, ::2] if min(elevation_m.shape) >= 4 else elevation_m
    if min(thin.shape) < 2 or not np.isfinite(thin).any():
        return float(steps[4])
    rise = np.hypot(*np.gradient(thin)) / (2.0 if thin is not elevation_m else 1.0)
    rise = rise[np.isfinite(rise)]
    steep = float(np.percentile(rise, 90.0)) if rise.size else 0.0
    unit_m = FOOT_M if units == "us" else 1.0
    span = float(np.nanmax(thin) - np.nanmin(thin))
    wanted = max(steep / pixels_per_cell * closest_px, span / MOST_LINES) / unit_m
    return float(next((step for step in steps if step >= wanted), steps[-1]))


def seats(
    height_m: float, line: Line, *, length_px: float, apart_px: float, first_part: float = 0.35
) -> list[LabelSeat]:
    """Find straight stretches of an index line to write its height on.

    Parameters
    ----------
    line : (n, 2) float64
        The line in pixels, x then y downward.
    length_px
        How long the written height is.
    apart_px
        Distance along the line from one label to the next.
    first_part
        Where the first label goes, as a part of `apart_px`.

    Returns
    -------
    list of `LabelSeat`; letters are never upside down (turn within 90 degrees of level).
    """
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    found = []
    want = first_part * apart_px
    while want + length_px < along[-1]:
        seat = _straightest(height_m, line, along, want=want, length=length_px, apart=apart_px)
        if seat is None:
            want += apart_px / 2
        else:
            found.append(seat)
            want = along[seat.stop] + apart_px
    return found


def _straightest(
    height_m: float, line: Line, along: NDArray[np.float64], *, want: float, length: float, apart: float
) -> LabelSeat | None:
    best: tuple[float, LabelSeat] | None = None
    for shift in np.linspace(0.0, apart / 3.0, 9):
        start = int(np.searchsorted(along, want + shift))
        stop = int(np.searchsorted(along, want + shift + length))
        if stop >= len(line):
            break
        chord = line[stop] - line[start]
        straight = float(np.hypot(*chord)) / max(along[stop] - along[start], 1e-9)
        if straight > 0.94 and (best is None or straight > best[0]):
            best = straight, _seat(height_m, line, start, stop)
    return best[1] if best else None


def _seat(height_m: float, line: Line, start: int, stop: int) -> LabelSeat:
    (x0, y0), (x1, y1) = line[start], line[stop]
    turn = math.degrees(math.atan2(-(y1 - y0), x1 - x0))
    turn = (turn + 90.0) % 180.0 - 90.0
    middle = line[start : stop + 1].mean(axis=0)
    return LabelSeat(height_m, float(middle[0]), float(middle[1]), turn, start, stop)

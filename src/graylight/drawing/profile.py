"""The rise and fall of a way, drawn small."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from graylight.drawing.contours import FOOT_M
from graylight.drawing.furniture import MILE_M
from graylight.drawing.palettes import DUSK, INK, LIGHT, MUTED, PAPER, mix
from graylight.drawing.sheet import Points, Sheet
from graylight.errors import BadInput

__all__ = ["distances", "draw_profile", "heights", "levels"]


def draw_profile(
    distance_m: NDArray[np.floating],
    height_m: NDArray[np.floating],
    *,
    steep: NDArray[np.bool_] | None = None,
    start: str = "",
    end: str = "",
    width_px: int = 1200,
    height_px: int = 340,
    units: str = "us",
) -> Image.Image:
    """Draw height against distance along a way.

    Parameters
    ----------
    distance_m, height_m : (n,) float
        Along the way, rising distances, n at least 2.
    steep : (n,) bool, optional
        Stretches drawn heavy: too steep to walk loaded or in the dark.
    start, end
        Names of the two ends.
    units
        "us" (feet and miles) or "metric".

    Returns
    -------
    An RGB picture. Heights are stretched to fill it: the picture's slopes are not the ground's.
    """
    along, up = np.asarray(distance_m, dtype=np.float64), np.asarray(height_m, dtype=np.float64)
    if (
        along.ndim != 1
        or along.shape != up.shape
        or len(along) < 2
        or not np.isfinite(up).all()
        or along[-1] <= 0
    ):
        raise BadInput(
            f"a way of {along.shape} distances and {up.shape} heights; accepted are two or more known points"
        )
    u = width_px / 1200
    sheet = Sheet((width_px, height_px))
    box = (112 * u, 58 * u, width_px - 44 * u, height_px - 56 * u)
    unit_m = FOOT_M if units == "us" else 1.0
    low, high, step = levels(up, unit_m)
    x = box[0] + along / along[-1] * (box[2] - box[0])
    heights(sheet, box, (low, high, step), units, u)
    line = np.column_stack([x, box[3] - (up - low) / (high - low) * (box[3] - box[1])])
    _ground(sheet, line, foot=box[3], steep=steep, u=u)
    distances(sheet, box, float(along[-1]), units, u)
    sheet.text((box[0], 34 * u), start, size=25 * u, kind="strong")
    sheet.text((box[2], 34 * u), end, size=25 * u, kind="strong", anchor="rs")
    return sheet.finish()


def levels(up: NDArray[np.float64], unit_m: float) -> tuple[float, float, float]:
    """Lowest and highest round height about some heights, and the step between lines of height, metres."""
    low, high = float(up.min()) / unit_m, float(up.max()) / unit_m
    steps = (5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0)
    step = next((one for one in steps if (high - low) / one <= 5.5), 2000.0)
    first, last = np.floor(low / step) * step, np.ceil(high / step) * step
    if last <= first:
        last = first + step
    return first * unit_m, last * unit_m, step * unit_m


def _ground(sheet: Sheet, line: Points, *, foot: float, steep: NDArray[np.bool_] | None, u: float) -> None:
    """Draw the ground under the way, and the way on it; heavy where it is steep."""
    below = np.array([[line[-1, 0], foot], [line[0, 0], foot]])
    sheet.fill([np.vstack([line, below])], mix(DUSK, PAPER, 0.45), opacity=0.75)
    sheet.stroke([line], INK, 7 * u, round_ends=True)
    sheet.stroke([line], LIGHT, 3.6 * u, round_ends=True)
    if steep is not None:
        runs = np.flatnonzero(np.diff(np.concatenate([[0], np.asarray(steep).astype(np.int8), [0]])))
        for first, last in zip(runs[::2], runs[1::2], strict=True):
            sheet.stroke([line[max(first - 1, 0) : last + 1]], INK, 6 * u, round_ends=True)


def heights(
    sheet: Sheet,
    box: tuple[float, float, float, float],
    round_m: tuple[float, float, float],
    units: str,
    u: float,
) -> None:
    """Draw lines of height across a box, with their heights beside it; `round_m` as `levels` gives them."""
    low, high, step = round_m
    unit_m, name = (FOOT_M, "ft") if units == "us" else (1.0, "m")
    for level in np.arange(low, high + step / 2, step):
        y = box[3] - (level - low) / (high - low) * (box[3] - box[1])
        sheet.stroke([np.array([[box[0], y], [box[2], y]])], MUTED, 1.0 * u, opacity=0.4)
        words = f"{level / unit_m:,.0f} {name}"
        sheet.text((box[0] - 12 * u, y + 8 * u), words, size=22 * u, colour=MUTED, anchor="rs")


def distances(
    sheet: Sheet, box: tuple[float, float, float, float], length_m: float, units: str, u: float
) -> None:
    """Draw ticks of distance below a box, in miles or kilometres."""
    unit_m, name = (MILE_M, "miles") if units == "us" else (1000.0, "km")
    total = length_m / unit_m
    step = next((one for one in (0.1, 0.25, 0.5, 1.0, 2.0, 5.0) if total / one <= 7.0), 10.0)
    for number in range(int(total / step) + 1):
        x = box[0] + number * step / total * (box[2] - box[0])
        sheet.stroke([np.array([[x, box[3]], [x, box[3] + 8 * u]])], INK, 1.6 * u)
        words = f"{number * step:g}" + (f" {name}" if number == 0 else "")
        if number == 0 or x < box[2] - 10 * u:
            sheet.text(
                (x, box[3] + 34 * u), words, size=22 * u, colour=MUTED, anchor="ms" if number else "ls"
            )

"""Walking speed by slope: the published equations, and the pace table that the least-time kernel reads."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from graylight.settings import WalkSettings

__all__ = [
    "OFF_PATH",
    "ON_PATH",
    "PaceTable",
    "irmischer_off",
    "irmischer_on",
    "on_path",
    "pace_table",
    "published_pace",
    "tobler_off",
    "tobler_on",
]

OFF_PATH, ON_PATH = 0, 1
"""Rows of the pace table."""

OVER_MEADOW = 1.67 / 1.25
"""How much faster than off path in general one walks over meadow (Herzog's ground factors)."""

SLOPE_MIN, SLOPE_STEP, SLOPES = -2.0, 0.01, 401
# -0.05 (where Tobler's curve has its kink) and 0 are columns; the ends are 63 degrees, past any `shut_deg`.


def tobler_on(slope: ArrayLike) -> NDArray[np.float64]:
    """Speed on a path, m/s (Tobler 1993, NCGIA technical report 93-1).

    Parameters
    ----------
    slope
        Rise over run in the direction of walking; downhill is negative.

    >>> tobler_on([-0.1, 0.0, 0.1]).round(3).tolist()
    [1.399, 1.399, 0.986]
    """
    return 6.0 / 3.6 * np.exp(-3.5 * np.abs(np.asarray(slope, dtype=np.float64) + 0.05))


def tobler_off(slope: ArrayLike) -> NDArray[np.float64]:
    """Speed off path, m/s: six tenths of that on a path (Tobler 1993)."""
    return 0.6 * tobler_on(slope)


def irmischer_off(slope: ArrayLike) -> NDArray[np.float64]:
    """Speed off path, m/s (Irmischer & Clarke 2018, doi:10.1080/15230406.2017.1292150).

    Fitted to 200 people finding their way on foot in woods: what walking without a path costs is in it.

    Parameters
    ----------
    slope
        Rise over run in the direction of walking; downhill is negative.

    >>> irmischer_off([-0.3, 0.0, 0.3]).round(3).tolist()
    [0.543, 0.779, 0.489]
    """
    percent = 100.0 * np.asarray(slope, dtype=np.float64)
    return 0.11 + 0.67 * np.exp(-((percent + 2.0) ** 2) / 1800.0)


def irmischer_on(slope: ArrayLike) -> NDArray[np.float64]:
    """Speed on a path, m/s (Irmischer & Clarke 2018, doi:10.1080/15230406.2017.1292150)."""
    percent = 100.0 * np.asarray(slope, dtype=np.float64)
    return 0.11 + np.exp(-((percent + 5.0) ** 2) / 1800.0)


def on_path(slope: ArrayLike) -> NDArray[np.float64]:
    """Speed on a path, m/s, as used here: the greater of Tobler's and Irmischer & Clarke's.

    Near the level that is Tobler's. Steeper than about 10 % up or 20 % down Tobler's falls below the other,
    and at 30 % up to the pace that Irmischer & Clarke measured without any path: paths would then be shunned.
    For the same reason a path is never slower than meadow beside it.
    """
    either = np.maximum(tobler_on(slope), irmischer_on(slope))
    return np.maximum(either, OVER_MEADOW * irmischer_off(slope))


@dataclass(frozen=True)
class PaceTable:
    """Seconds per metre of horizontal distance by ground and slope.

    Parameters
    ----------
    seconds_per_m
        (2, n) float32, rows `OFF_PATH` and `ON_PATH`.
    slope_min, slope_step
        Slope (rise over run) of the first column, and from one to the next.
    """

    seconds_per_m: NDArray[np.float32]
    slope_min: float
    slope_step: float


def pace_table(settings: WalkSettings, *, pack: bool = True, dark: bool = True) -> PaceTable:
    """Pace of a person on and off path.

    Parameters
    ----------
    settings
        The person's own factor, and those for a day pack and for the dark.
    pack, dark
        Whether the pack and the dark count.

    Notes
    -----
    Does not model tiring, height above the sea, wet or frozen ground, or a heavy load.
    """
    longer = settings.pace_factor
    longer *= settings.pack_factor if pack else 1.0
    longer *= settings.dark_factor if dark else 1.0
    return published_pace(longer=longer)


def published_pace(*, longer: float = 1.0) -> PaceTable:
    """The published pace, by day and without a pack, times a factor."""
    slope = SLOPE_MIN + SLOPE_STEP * np.arange(SLOPES)
    speed = np.stack([irmischer_off(slope), on_path(slope)])
    return PaceTable((longer / speed).astype(np.float32), SLOPE_MIN, SLOPE_STEP)

"""Being noticed on the way: how much of it lies in view of the pockets, or where scent reaches them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from graylight.approach.hazards import Steps
from graylight.errors import BadInput
from graylight.settings import ApproachSettings

__all__ = ["Exposure", "Notice", "exposure"]

Raster: TypeAlias = NDArray[np.float32]


@dataclass(frozen=True)
class Notice:
    """Where a walker would be noticed.

    Parameters
    ----------
    seen
        (rows, cols) float32, 0 to 1: how much of what the pockets hold has the cell in view; None: not known.
    scented
        The same for scent that the air carries from the cell onto them. NaN counts as 0 in both.
    """

    seen: Raster | None = None
    scented: Raster | None = None

    def longer(self, settings: ApproachSettings, shape: tuple[int, ...], *, dark: bool) -> Raster:
        """(rows, cols) float32: by how many times its own length a minute counts more on the hidden way.

        Raises
        ------
        BadInput
            An array of another shape than the country, or with values outside 0 to 1.
        """
        seen_weight = settings.seen_weight * (settings.seen_dark if dark else 1.0)
        more = np.zeros(shape, np.float32)
        for name, part, weight in (
            ("seen", self.seen, seen_weight),
            ("scented", self.scented, settings.scent_weight),
        ):
            if part is not None:
                more += np.float32(weight) * _known(name, part, shape)
        return more


def _known(name: str, part: Raster, shape: tuple[int, ...]) -> Raster:
    if part.shape != shape:
        raise BadInput(f"{name} has the shape {part.shape}; accepted is the country's {shape}; make it anew")
    known = np.nan_to_num(np.asarray(part, np.float32), nan=0.0)
    if known.size and not (known.min() >= 0.0 and known.max() <= 1.0):
        raise BadInput(
            f"{name} runs from {known.min():g} to {known.max():g}; accepted is 0 to 1; give it as a part"
        )
    return known


@dataclass(frozen=True)
class Exposure:
    """How much of a way is noticed.

    Parameters
    ----------
    seen_share, scented_share
        Mean over the walking time, 0 to 1; None where it is not known.
    seen_minutes, scented_minutes
        Minutes of walking in view, or where scent reaches the pockets, however little of it; None as above.
    """

    seen_share: float | None
    seen_minutes: float | None
    scented_share: float | None
    scented_minutes: float | None


def exposure(steps: Steps, seconds: NDArray[np.float64], notice: Notice) -> Exposure:
    """How much of a way is noticed.

    Parameters
    ----------
    steps
        The moves of the way.
    seconds
        (n, 4) float64, how long each move stays in each of its cells.
    notice
        Where a walker is noticed.
    """
    return Exposure(*_share(steps, seconds, notice.seen), *_share(steps, seconds, notice.scented))


def _share(
    steps: Steps, seconds: NDArray[np.float64], part: Raster | None
) -> tuple[float | None, float | None]:
    if part is None:
        return None, None
    here = np.nan_to_num(part[steps.rows, steps.cols].astype(np.float64), nan=0.0)
    total = float(seconds.sum())
    share = float((here * seconds).sum()) / total if total > 0.0 else 0.0
    return share, float(seconds[here > 0.0].sum()) / 60.0

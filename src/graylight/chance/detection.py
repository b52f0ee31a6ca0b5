"""The chance of having found what is there: search by coverage, by distance, by glass, by light.

Koopman's random search: time spread over an area finds with the chance 1 - exp(-C), C the coverage, ground swept
over ground there is (Koopman 1946, OEG Report 56; 1956, doi:10.1287/opre.4.5.503). No published curve of finding
animals from the ground with optics was found: how fast ground is covered, and how that falls with distance, are
assumptions, named in the settings.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "Stand", "coverage", "effective_radius", "found", "found_part", "glass_part", "half_normal", "hazard_rate",
]  # fmt: skip

Values: TypeAlias = NDArray[np.float64]


def coverage(sweep_m: float, speed_ms: float, seconds: float, area_m2: float) -> float:
    """Coverage of an area: sweep width times the way searched, over the area.

    >>> coverage(50.0, 1.0, 3600.0, 360_000.0)
    0.5
    """
    return sweep_m * speed_ms * seconds / area_m2


def found(coverage: float) -> float:
    """Chance of finding by random search with a coverage.

    >>> round(found(1.0), 4)
    0.6321
    """
    return -math.expm1(-coverage)


def half_normal(distance_m: Values, sigma_m: float) -> Values:
    """Half-normal detection function, exp(-d^2 / 2 sigma^2)."""
    return np.asarray(np.exp(-0.5 * (distance_m / sigma_m) ** 2), np.float64)


def hazard_rate(distance_m: Values, sigma_m: float, k: float) -> Values:
    """Hazard-rate detection function, 1 - exp(-(d / sigma)^-k) (Hayes & Buckland 1983)."""
    with np.errstate(divide="ignore"):
        return np.asarray(-np.expm1(-((np.asarray(distance_m, np.float64) / sigma_m) ** -k)), np.float64)


def effective_radius(
    detection: Callable[[Values], Values], farthest_m: float, *, steps: int = 20_000
) -> tuple[float, float]:
    """Effective detection radius of a point count, and the chance of finding what lies within the farthest distance.

    rho^2 = 2 * integral of r g(r) from 0 to w, p = rho^2 / w^2 (Buckland et al. 2001, Introduction to Distance
    Sampling); by the midpoint rule.

    >>> radius, chance = effective_radius(lambda d: half_normal(d, 100.0), 1e4)
    >>> round(radius, 1)  # sigma times the root of 2
    141.4
    """
    step = farthest_m / steps
    middle = np.asarray((np.arange(steps) + 0.5) * step, np.float64)
    squared = 2.0 * float(np.sum(middle * detection(middle))) * step
    return math.sqrt(squared), squared / farthest_m**2


def glass_part(distance_m: Values, half_m: float) -> Values:
    """How fast ground at a distance is covered beside near ground: half-normal, a half at `half_m`.

    >>> glass_part(np.array([0.0, 3600.0, 7200.0]), 3600.0).tolist()
    [1.0, 0.5, 0.0625]
    """
    return half_normal(distance_m, half_m / math.sqrt(2.0 * math.log(2.0)))


@dataclass(frozen=True, slots=True)
class Stand:
    """A pocket as watched from one place for a while.

    Parameters
    ----------
    sight : (n,) float
        How well each of the pocket's cells shows, [0, 1].
    coverage : (n,) float
        How often each was covered while animals there could be seen: time searched times ground covered in it,
        over ground in sight, times how much they are in the open, times what distance and light leave.
    """

    sight: NDArray[np.floating]
    coverage: NDArray[np.floating]


def found_part(weight: NDArray[np.floating], stands: list[Stand], *, shows: float) -> float:
    """Chance of having found animals that use a pocket on one outing.

    shows * sum(w (1 - prod(1 - s (1 - exp(-C))))) / sum(w): each cell by itself, because an animal stands in one.

    Parameters
    ----------
    weight : (n,) float
        How much each cell of the pocket is used.
    stands
        The places watched from, in any order. Places are taken as independent: two that hide the same corner
        for the same reason are not told apart where the answer is touch-and-go.
    shows
        Chance that they show themselves at all.

    Returns
    -------
    float
        In [0, shows]; 0 for a pocket without cells or an outing without stands.

    >>> one = Stand(np.array([1.0, 0.0]), np.array([np.log(2.0), 5.0]))
    >>> found_part(np.array([1.0, 1.0]), [one], shows=0.8)
    0.2
    """
    total = float(np.sum(weight, dtype=np.float64))
    if total <= 0.0 or not stands:
        return 0.0
    missed = np.ones(len(weight), np.float64)
    for stand in stands:
        missed *= 1.0 - np.clip(stand.sight, 0.0, 1.0) * -np.expm1(-np.asarray(stand.coverage, np.float64))
    return shows * float(np.sum(weight * (1.0 - missed), dtype=np.float64)) / total

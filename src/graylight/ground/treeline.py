"""Where the trees end, going up: as seen in the trees themselves or, without them, by a rule from
latitude.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["treeline_by_latitude", "treeline_of_trees"]

_SOUTH = (36.5, 3658.0)
_NORTH = (40.7, 3353.0)
"""Latitude and treeline in northern New Mexico (12,000 ft) and northern Colorado (11,000 ft): common
knowledge of the southern Rocky Mountains, seen at second hand."""
HIGHEST_M = 4000.0
BELT_M = 50.0
TREED = 0.15
"""A belt with at least this part under trees is below the treeline. Common practice, no source."""


def treeline_by_latitude(lat_deg: float) -> float:
    """Treeline in metres by a straight line through two known places, falling about 73 m per degree of
    latitude.

    Parameters
    ----------
    lat_deg
        Latitude, degrees; only its size counts.

    Notes
    -----
    Held between 0 and 4,000 m. It is made for the interior West of North America between 34 and 44 degrees;
    near a coast the treeline is hundreds of metres lower, and within one range it differs by 200 m from face
    to face.

    Examples
    --------
    >>> round(treeline_by_latitude(36.5)), round(treeline_by_latitude(40.7))
    (3658, 3353)
    """
    per_degree = (_NORTH[1] - _SOUTH[1]) / (_NORTH[0] - _SOUTH[0])
    return min(max(_SOUTH[1] + per_degree * (abs(lat_deg) - _SOUTH[0]), 0.0), HIGHEST_M)


def treeline_of_trees(elevation_m: NDArray[np.float32], trees: NDArray[np.bool_]) -> float | None:
    """Upper edge of the highest 50 m belt in which at least 15 % of the ground is under trees.

    Returns
    -------
    float or None
        Metres; none where there are too few trees to tell (under 2 % of the ground) or where they reach the
        highest ground, so that the treeline lies above it.
    """
    known = ~np.isnan(elevation_m)
    if not known.any() or trees[known].mean() < 0.02:
        return None
    belt = np.floor(elevation_m[known] / BELT_M).astype(np.int64)
    first = int(belt.min())
    ground = np.bincount(belt - first)
    treed = np.bincount(belt - first, weights=trees[known])
    counted = np.flatnonzero(ground >= max(20, 0.002 * known.sum()))
    below = counted[treed[counted] >= TREED * ground[counted]]
    if below.size == 0 or below[-1] == counted[-1]:
        return None
    return float((below[-1] + first + 1) * BELT_M)

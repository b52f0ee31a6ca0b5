"""What the habitat stage is given: results of the stages before it, on one grid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from graylight.ground.cover import Cover
from graylight.ground.landforms import Landforms
from graylight.ground.relief import Relief
from graylight.ground.water import Water

__all__ = ["Land"]


@dataclass(frozen=True, slots=True)
class Land:
    """The ground and what falls on it.

    Parameters
    ----------
    elevation_m : (rows, cols) float32
    cell_m : float
    relief, landforms, cover, water
        Results of the ground stages.
    shade_midday : (rows, cols) float32
        1 where it is in shade all through the middle of the day.
    quiet_s : (rows, cols) float32
        Walking seconds from the nearest road end, trailhead or motor route; inf where nobody gets to.
    shut : (rows, cols) bool
        Private or closed ground, or outside the unit.
    traces : (rows, cols) bool
        Trails of animals that the person has drawn.
    """

    elevation_m: NDArray[np.float32]
    cell_m: float
    relief: Relief
    landforms: Landforms
    cover: Cover
    water: Water
    shade_midday: NDArray[np.float32]
    quiet_s: NDArray[np.float32]
    shut: NDArray[np.bool_]
    traces: NDArray[np.bool_]

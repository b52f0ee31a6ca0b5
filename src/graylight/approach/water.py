"""Where the nearest water is, by walking time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation

from graylight.errors import BadInput
from graylight.ground.water import Water
from graylight.reach.walking import Reach

__all__ = ["WaterWalk", "nearest_water", "shore"]

Kind: TypeAlias = Literal["lake", "stream", "spring", "inferred stream"]
Mask: TypeAlias = NDArray[np.bool_]

_BESIDE = np.ones((3, 3), bool)


@dataclass(frozen=True, slots=True)
class WaterWalk:
    """Water within a walk.

    Parameters
    ----------
    row, col
        Where one stands at the water: open ground on or beside it.
    kind
        What it is.
    sure
        Whether it is to be counted on; small and inferred water may be dry.
    there_s, back_s
        Seconds to it and back.
    """

    row: int
    col: int
    kind: Kind
    sure: bool
    there_s: float
    back_s: float

    @property
    def round_s(self) -> float:
        """Seconds there and back."""
        return self.there_s + self.back_s


def shore(water: Water, factor: NDArray[np.float32], *, sure: bool = False) -> Mask:
    """(rows, cols) bool, open ground on or beside water.

    Parameters
    ----------
    water
        The country's water.
    factor : (rows, cols) float32
        `WalkGround.factor`: inf where closed, as deep water is.
    sure
        Only water to be counted on.
    """
    wet = water.sure if sure else water.near
    _same_shape(wet, factor)
    return np.asarray(binary_dilation(wet, structure=_BESIDE) & np.isfinite(factor))


def _same_shape(wet: Mask, factor: NDArray[np.float32]) -> None:
    if wet.shape != factor.shape:
        raise BadInput(
            f"water has shape {wet.shape} and the walking ground {factor.shape}; accepted is one shape; "
            "bring all layers onto one grid first"
        )


def nearest_water(walked: Reach, water: Water, factor: NDArray[np.float32]) -> tuple[WaterWalk, ...]:
    """The water soonest fetched from where a walk begins, and the soonest that is sure.

    Parameters
    ----------
    walked
        Walking times from and to the place (`graylight.reach.walking.reach` with the place as its start).
    water
        The country's water.
    factor : (rows, cols) float32
        `WalkGround.factor` of the same ground.

    Returns
    -------
    tuple of WaterWalk
        By the time there and back. One, if the soonest is sure; else also the soonest sure one, if any is in
        reach; empty where no water is. Of equally near places the first by row and column.

    Notes
    -----
    That water is near does not say that it is fit to drink or may be reached: boil or filter it.
    """
    _same_shape(water.near, factor)
    found = []
    for sure in (False, True):
        cell = _soonest(walked, water, factor, sure=sure)
        if cell is not None:
            found.append(_told(walked, water, *cell, sure=sure))
        if found and found[0].sure:
            break
    return tuple(sorted(found, key=lambda one: one.round_s))


def _soonest(
    walked: Reach, water: Water, factor: NDArray[np.float32], *, sure: bool
) -> tuple[int, int] | None:
    """The cell from which it is soonest fetched; looked for where one can walk to and back from alone."""
    wet = water.sure if sure else water.near
    part = _about(np.isfinite(walked.seconds) & np.isfinite(walked.back_seconds))
    both = walked.seconds[part].astype(np.float64) + walked.back_seconds[part]
    both[~_beside(wet, part) | ~np.isfinite(factor[part])] = np.inf
    if not np.isfinite(both).any():
        return None
    row, col = divmod(int(np.argmin(both)), both.shape[1])
    return part[0].start + row, part[1].start + col


def _about(mask: Mask) -> tuple[slice, slice]:
    """The rows and columns in which a mask holds anything."""
    sides = [np.flatnonzero(mask.any(axis=axis)) for axis in (1, 0)]
    return tuple(slice(int(s[0]), int(s[-1]) + 1) if s.size else slice(0, 0) for s in sides)  # type: ignore[return-value]


def _beside(wet: Mask, part: tuple[slice, slice]) -> Mask:
    """On or beside what is wet, over a part of the country."""
    wider = tuple(slice(max(one.start - 1, 0), one.stop + 1) for one in part)
    inner = tuple(
        slice(one.start - more.start, one.stop - more.start) for one, more in zip(part, wider, strict=True)
    )
    return np.asarray(binary_dilation(wet[wider], structure=_BESIDE)[inner])


def _told(walked: Reach, water: Water, row: int, col: int, *, sure: bool) -> WaterWalk:
    about = (slice(max(row - 1, 0), row + 2), slice(max(col - 1, 0), col + 2))
    certain = bool(water.sure[about].any())
    lake = bool((water.deep & (water.sure if sure else water.near))[about].any())
    return WaterWalk(
        row,
        col,
        "lake" if lake else _running(water, row, col),
        certain,
        float(walked.seconds[row, col]),
        float(walked.back_seconds[row, col]),
    )


def _running(water: Water, row: int, col: int) -> Kind:
    """What water that is no lake is called: as the nearest place of that sort."""
    others = [place for place in water.places if place.kind != "lake"]
    if not others:
        return "stream"
    return min(others, key=lambda p: ((p.row - row) ** 2 + (p.col - col) ** 2, p.row, p.col)).kind

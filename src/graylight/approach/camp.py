"""Places to camp: flat, sheltered, back from water, out of sight and scent of the pockets, and in reach."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt, maximum_filter

from graylight.errors import BadInput
from graylight.settings import CampSettings

__all__ = ["HIDDEN", "Camp", "CampGround", "CampReason", "ShutOut", "camps", "fit", "why_none"]

Mask: TypeAlias = NDArray[np.bool_]
Raster: TypeAlias = NDArray[np.float32]
Unit: TypeAlias = Literal["deg", "m", "s", "1"]

_SUMMIT, _RIDGE, _SHOULDER, _HOLLOW, _VALLEY, _DEPRESSION = 2, 3, 4, 7, 9, 10
_CRESTS = (_SUMMIT, _RIDGE)
_COLD = (_HOLLOW, _VALLEY, _DEPRESSION)
_COVER_CLOSURE = 0.2
"""Canopy closure from which trees break the wind. Proposed, no source."""
_WORTH_A_WORD = 0.01
"""Less of a pocket than this looks at a camp, or is reached by its scent, than is worth a word. Proposed."""
_STEEP_ABOVE_DEG, _FALL_M = 35.0, 60.0
"""Steeper ground this near may drop stones, or snow. Proposed, no source."""

HIDDEN = "out of sight of the places of every pocket looked from, behind ground or thick timber"
"""Some places stand for a pocket, and timber that is thick enough counts as a wall."""


class CampReason(NamedTuple):
    """One fact for or against a camp: in plain words, with its number and unit where there is one."""

    words: str
    value: float | None
    unit: Unit | None


class ShutOut(NamedTuple):
    """One rule: what it asks for, the part of the country that fails it alone, and the part that passes it."""

    words: str
    alone: float
    passes: float


@dataclass(frozen=True, slots=True, eq=False)
class CampGround:
    """What is known of the ground; every raster (rows, cols). None: not known, and then said.

    Parameters
    ----------
    slope_deg : float32
        NaN where not known: no camp there.
    form : uint8
        Geomorphon: 1 flat, 2 summit, 3 ridge, 4 shoulder, 5 spur, 6 slope, 7 hollow, 8 footslope, 9 valley, 10
        depression; 0 unknown.
    wet : bool
        Cells with water (`Water.near`).
    closed : bool
        Ground not to be camped on: private holdings, paths, closed ground.
    pockets : bool
        Cells of the pockets.
    closure : float32, optional
        Canopy closure, 0 to 1.
    water_s : float32, optional
        Seconds to the nearest water; inf: none in reach.
    sure_water_s : float32, optional
        The same to water that is to be counted on.
    start_s : float32, optional
        Seconds from the start; inf: not reached.
    lookout_s : float32, optional
        Seconds to the lookouts; inf: not reached.
    seen : float32, optional
        Part of a pocket that looks at the cell, 0 to 1.
    scent : float32, optional
        How much of the scent let go there reaches a pocket, the worst hour of evening, night and morning, 0 to
        1 (`graylight.sky.drift.carries_to`).
    """

    slope_deg: Raster
    form: NDArray[np.uint8]
    wet: Mask
    closed: Mask
    pockets: Mask
    closure: Raster | None = None
    water_s: Raster | None = None
    sure_water_s: Raster | None = None
    start_s: Raster | None = None
    lookout_s: Raster | None = None
    seen: Raster | None = None
    scent: Raster | None = None

    def check(self) -> None:
        """See that all layers have one shape."""
        names = [name for name in self.__slots__ if getattr(self, name) is not None]
        shapes = {name: getattr(self, name).shape for name in names}
        if len(set(shapes.values())) > 1:
            raise BadInput(
                f"layers for camps have the shapes {shapes}; accepted is one shape of rows and columns; bring "
                "them onto the country's grid first"
            )


@dataclass(frozen=True, slots=True)
class Camp:
    """A place to camp, with what speaks for it and against it.

    `worth` in [0, 1] is for ordering alone. `not_known` names what could not be looked at.
    """

    row: int
    col: int
    worth: float
    reasons: tuple[CampReason, ...]
    against: tuple[CampReason, ...]
    not_known: tuple[str, ...]


def fit(ground: CampGround, *, cell_m: float, settings: CampSettings) -> dict[str, Mask]:
    """What each rule lets through, by what the rule is called; a camp must pass all of them."""
    return _rules(ground, _Away.of(ground, cell_m), settings)


def camps(ground: CampGround, *, cell_m: float, settings: CampSettings) -> tuple[Camp, ...]:
    """Places to camp, the best first, at least `apart_m` from each other.

    Parameters
    ----------
    ground
        What is known; what is not known rules nothing out, and is named.
    cell_m
        Side of a cell, metres.
    settings
        Limits.

    Returns
    -------
    tuple of Camp
        At most `most`; empty where no ground passes all rules (`why_none` says why). Equally good places come
        by row and column.

    Raises
    ------
    BadInput
        Layers of different shapes.

    Notes
    -----
    Worth is the mean of flatness, no steep ground beside, trees near, warmth (cold air gathers in hollows and valley
    floors), water near and lookouts near. Common practice, no source. That a place is offered does not say that camping
    is allowed there, nor that it is safe: dead trees, floods, bears and snow are not known. Local rules go before this.
    """
    ground.check()
    away = _Away.of(ground, cell_m)
    good = np.logical_and.reduce(list(_rules(ground, away, settings).values()))
    steepest = _steepest_about(ground.slope_deg, _FALL_M / cell_m)
    worth = np.where(good, _worth(ground, away, steepest, settings), -np.inf)
    return tuple(
        Camp(
            row,
            col,
            round(float(worth[row, col]), 3),
            _for(ground, away, row, col, settings=settings),
            _against(ground, away, row, col, steepest_deg=float(steepest[row, col]), settings=settings),
            _not_known(ground),
        )
        for row, col in _apart(worth, settings.apart_m / cell_m, settings.most)
    )


def why_none(ground: CampGround, *, cell_m: float, settings: CampSettings) -> tuple[ShutOut, ...]:
    """What each rule shuts out, the one to ease first at the head.

    First comes what alone shuts out most ground that all other rules let through; where no rule does so alone,
    what lets the least ground through.
    """
    ground.check()
    rules = fit(ground, cell_m=cell_m, settings=settings)
    failed = np.sum([~passed for passed in rules.values()], axis=0, dtype=np.uint8)
    lost = [
        ShutOut(words, float((~passed & (failed == 1)).mean()), float(passed.mean()))
        for words, passed in rules.items()
    ]
    return tuple(sorted(lost, key=lambda one: (-one.alone, one.passes, one.words)))


@dataclass(frozen=True, slots=True, eq=False)
class _Away:
    """Metres from each cell's middle to the edge of what lies nearest; inf where there is none."""

    water_m: NDArray[np.float64]
    pockets_m: NDArray[np.float64]
    trees_m: NDArray[np.float64] | None

    @classmethod
    def of(cls, ground: CampGround, cell_m: float) -> _Away:
        trees = None if ground.closure is None else np.nan_to_num(ground.closure) >= _COVER_CLOSURE
        return cls(
            _away(ground.wet, cell_m),
            _away(ground.pockets, cell_m),
            None if trees is None else _away(trees, cell_m),
        )


def _away(mask: Mask, cell_m: float) -> NDArray[np.float64]:
    if not mask.any():
        return np.full(mask.shape, np.inf)
    # to the edge of the other cell, not to its middle
    return np.asarray(np.maximum(distance_transform_edt(~mask) - 0.5, 0.0) * cell_m)


def _rules(ground: CampGround, away: _Away, s: CampSettings) -> dict[str, Mask]:
    rules: dict[str, Mask] = {
        "flat enough": np.asarray(ground.slope_deg <= s.slope_deg),
        "open to camping, as far as is known": ~ground.closed,
        "back from water": away.water_m >= s.setback_m,
        "away from pockets": away.pockets_m >= s.keep_m,
        "not on a crest": ~np.isin(ground.form, _CRESTS),
    }
    if ground.water_s is not None:
        rules["water within the walk"] = np.asarray(ground.water_s <= 60.0 * s.water_minutes)
    if ground.start_s is not None:
        rules["reached from a start"] = np.isfinite(ground.start_s)
    if ground.lookout_s is not None:
        rules["a lookout within the walk"] = np.asarray(ground.lookout_s <= 60.0 * s.lookout_minutes)
    if ground.seen is not None:
        rules["out of sight of pockets"] = np.asarray(ground.seen <= s.seen_limit)
    if ground.scent is not None:
        rules["out of scent of pockets"] = np.asarray(ground.scent <= s.scent_limit)
    return rules


def _worth(ground: CampGround, away: _Away, steepest: Raster, settings: CampSettings) -> NDArray[np.float64]:
    """What makes one place better than another, 0 to 1."""
    parts = [
        1.0 - 0.5 * np.clip(np.nan_to_num(ground.slope_deg) / settings.slope_deg, 0.0, 1.0),
        np.where(steepest > _STEEP_ABOVE_DEG, 0.2, 1.0),
        np.where(np.isin(ground.form, _COLD), 0.3, np.where(ground.form == _SHOULDER, 0.7, 1.0)),
    ]
    if away.trees_m is not None:
        parts.append(np.where(away.trees_m <= settings.shelter_m, 1.0, 0.2))
    if ground.water_s is not None:
        parts.append(1.0 - np.clip(ground.water_s / (60.0 * settings.water_minutes), 0.0, 1.0))
    if ground.lookout_s is not None:
        parts.append(1.0 - np.clip(ground.lookout_s / (60.0 * settings.lookout_minutes), 0.0, 1.0))
    return np.asarray(np.mean(parts, axis=0), np.float64)


def _apart(worth: NDArray[np.float64], apart: float, most: int) -> list[tuple[int, int]]:
    """The best cells, one after the other, none within so many cells of a better one."""
    left = worth.copy()
    picked: list[tuple[int, int]] = []
    rows, cols = np.ogrid[: worth.shape[0], : worth.shape[1]]
    while len(picked) < most:
        row, col = divmod(int(np.argmax(left)), worth.shape[1])
        if not np.isfinite(left[row, col]):
            break
        picked.append((row, col))
        left[(rows - row) ** 2 + (cols - col) ** 2 < apart**2] = -np.inf
    return picked


def _for(
    ground: CampGround, away: _Away, row: int, col: int, *, settings: CampSettings
) -> tuple[CampReason, ...]:
    reasons = [CampReason("slope by the grid", float(ground.slope_deg[row, col]), "deg")]
    if away.trees_m is not None and away.trees_m[row, col] <= settings.shelter_m:
        reasons.append(CampReason("trees that break the wind", float(away.trees_m[row, col]), "m"))
    for words, metres in (
        ("back from water", away.water_m),
        ("from the nearest pocket", away.pockets_m),
    ):
        if np.isfinite(metres[row, col]):
            reasons.append(CampReason(words, float(metres[row, col]), "m"))
    for words, layer in (
        ("walk to water", ground.water_s),
        ("walk in from the start", ground.start_s),
        ("walk to a lookout", ground.lookout_s),
    ):
        if layer is not None:
            reasons.append(CampReason(words, float(layer[row, col]), "s"))
    if ground.seen is not None and ground.seen[row, col] == 0.0:
        reasons.append(CampReason(HIDDEN, None, None))
    if ground.scent is not None and ground.scent[row, col] == 0.0:
        reasons.append(CampReason("by the rules of thumb no air goes from here to a pocket", None, None))
    return tuple(reasons)


def _against(
    ground: CampGround, away: _Away, row: int, col: int, *, steepest_deg: float, settings: CampSettings
) -> tuple[CampReason, ...]:
    told = []
    if ground.form[row, col] in _COLD:
        told.append(CampReason("cold air gathers here at night, and dew; water may rise in rain", None, None))
    if away.trees_m is not None and away.trees_m[row, col] > settings.shelter_m:
        told.append(CampReason("no trees near: open to wind and lightning", None, None))
    if away.trees_m is not None and away.trees_m[row, col] == 0.0:
        told.append(CampReason("under trees: look up for dead ones before pitching", None, None))
    if ground.sure_water_s is not None and ground.sure_water_s[row, col] > 60.0 * settings.water_minutes:
        far = float(ground.sure_water_s[row, col])
        told.append(
            CampReason("the water near may be dry; sure water", far if np.isfinite(far) else None, "s")
        )
    if steepest_deg > _STEEP_ABOVE_DEG:
        told.append(CampReason("steep ground beside it, look for fallen stones", steepest_deg, "deg"))
    if ground.seen is not None and ground.seen[row, col] >= _WORTH_A_WORD:
        told.append(CampReason("part of a pocket that looks at it", float(ground.seen[row, col]), "1"))
    if ground.scent is not None and ground.scent[row, col] >= _WORTH_A_WORD:
        told.append(CampReason("some scent may reach a pocket", float(ground.scent[row, col]), "1"))
    return tuple(told)


def _steepest_about(slope_deg: Raster, cells: float) -> Raster:
    """(rows, cols) float32, steepest known ground within so many cells."""
    size = 2 * max(1, round(cells)) + 1
    return np.asarray(maximum_filter(np.nan_to_num(slope_deg), size=size, mode="nearest"), np.float32)


def _not_known(ground: CampGround) -> tuple[str, ...]:
    missing = {
        "trees": ground.closure,
        "walk to water": ground.water_s,
        "walk in": ground.start_s,
        "walk to a lookout": ground.lookout_s,
        "sight from pockets": ground.seen,
        "scent to pockets": ground.scent,
    }
    always = ("whether camping is allowed: check local rules", "dead trees, wet ground, flood")
    return (*(words for words, layer in missing.items() if layer is None), *always)

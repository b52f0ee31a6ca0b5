"""Ids are given once: a pocket keeps its id by overlap, a lookout by distance, and no id is given twice."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from shapely import Polygon, make_valid
from shapely.geometry.base import BaseGeometry

from graylight.grid import LonLat, distance_m
from graylight.plan.model import Plan

__all__ = ["Given", "given_before"]

T = TypeVar("T")
SAME_POCKET_IOU = 0.5
SAME_LOOKOUT_M = 50.0


@dataclass(slots=True)
class Given:
    """Ids given so far: pockets with their ground, lookouts with their place, highest number by letter."""

    pockets: dict[str, BaseGeometry] = field(default_factory=dict)
    lookouts: dict[str, LonLat] = field(default_factory=dict)
    highest: dict[str, int] = field(default_factory=dict)

    def for_pockets(self, outlines: Sequence[BaseGeometry]) -> list[str]:
        """Ids for pockets, best first, by intersection over union above a half."""
        return self._kept("P", outlines, self.pockets, lambda a, b: _iou(a, b) - SAME_POCKET_IOU)

    def for_lookouts(self, places: Sequence[LonLat]) -> list[str]:
        """Ids for lookouts, best first, by distance under 50 m."""
        return self._kept("L", places, self.lookouts, lambda a, b: SAME_LOOKOUT_M - distance_m(a, b))

    def _kept(
        self, letter: str, new: Sequence[T], old: dict[str, T], likeness: Callable[[T, T], float]
    ) -> list[str]:
        left = dict(old)
        ids = []
        for thing in new:
            best = max(left, key=lambda key: likeness(thing, left[key]), default=None)
            if best is not None and likeness(thing, left[best]) > 0:
                ids.append(best)
                del left[best]
            else:
                ids.append(self._next(letter))
        return ids

    def _next(self, letter: str) -> str:
        self.highest[letter] = self.highest.get(letter, 0) + 1
        return f"{letter}{self.highest[letter]}"

    def to_json(self) -> str:
        """The highest numbers, to be kept beside the plan."""
        return json.dumps(self.highest, sort_keys=True) + "\n"


def given_before(plan: Plan | None, highest: str | None) -> Given:
    """What was given before, from the last plan and the highest numbers kept beside it (either may be missing)."""
    given = Given(highest=json.loads(highest) if highest else {})
    if plan is None:
        return given
    for pocket in plan.pockets:
        given.pockets[pocket.id] = ground_of(pocket.outline)
    for lookout in plan.lookouts:
        given.lookouts[lookout.id] = LonLat(lookout.place.lon, lookout.place.lat)
    for name in [*given.pockets, *given.lookouts]:
        given.highest[name[0]] = max(given.highest.get(name[0], 0), int(name[1:]))
    return given


def ground_of(outline: list[list[list[float]]]) -> BaseGeometry:
    """Rings of [lon, lat] as a valid polygon."""
    return make_valid(Polygon(outline[0], outline[1:]))


def _iou(a: BaseGeometry, b: BaseGeometry) -> float:
    union = a.union(b).area
    return float(a.intersection(b).area / union) if union > 0 else 0.0

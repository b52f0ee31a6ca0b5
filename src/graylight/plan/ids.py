"""Ids are given once: a pocket keeps its id by overlap, a lookout by distance, and no id is given twice."""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from shapely import GEOSException, Polygon, from_wkt, make_valid, to_wkt
from shapely.geometry.base import BaseGeometry

from graylight.errors import BadInput
from graylight.grid import LonLat, distance_m

__all__ = ["SAME_LOOKOUT_M", "Given", "given_before", "ground_of", "same_pockets"]

T = TypeVar("T")
SAME_POCKET_IOU = 0.5
SAME_LOOKOUT_M = 50.0


@dataclass(slots=True)
class Given:
    """Ids given so far: pockets with their ground, lookouts with their place, highest number by letter.

    `own` has the ids of what the person added, by the letter and the number of the row that says so: such a thing
    keeps its id however it is moved or redrawn.
    """

    pockets: dict[str, BaseGeometry] = field(default_factory=dict)
    lookouts: dict[str, LonLat] = field(default_factory=dict)
    highest: dict[str, int] = field(default_factory=dict)
    own: dict[str, str] = field(default_factory=dict)

    def for_pockets(self, outlines: Sequence[BaseGeometry], *, taken: Collection[str] = ()) -> list[str]:
        """Ids for pockets, best first, by intersection over union above a half; those taken are the person's own."""
        return self._kept("P", outlines, self.pockets, _alike, taken)

    def for_lookouts(self, places: Sequence[LonLat], *, taken: Collection[str] = ()) -> list[str]:
        """Ids for lookouts, best first, by distance under 50 m; those taken are the person's own."""
        return self._kept("L", places, self.lookouts, lambda a, b: SAME_LOOKOUT_M - distance_m(a, b), taken)

    def for_row(self, letter: str, row: int) -> str:
        """The id of what a row of the edits added."""
        key = f"{letter}:{row}"
        if key not in self.own:
            self.own[key] = self._next(letter)
        return self.own[key]

    def _kept(
        self,
        letter: str,
        new: Sequence[T],
        old: dict[str, T],
        likeness: Callable[[T, T], float],
        taken: Collection[str],
    ) -> list[str]:
        kept = _matched(new, {key: thing for key, thing in old.items() if key not in taken}, likeness)
        ids = []
        for index, thing in enumerate(new):
            if index not in kept:
                kept[index] = self._next(letter)
                old[kept[index]] = thing
            ids.append(kept[index])
        return ids

    def _next(self, letter: str) -> str:
        self.highest[letter] = self.highest.get(letter, 0) + 1
        return f"{letter}{self.highest[letter]}"

    def to_json(self) -> str:
        """All that was ever given, to be kept beside the plan."""
        kept = {
            "highest": self.highest,
            "own": self.own,
            "lookouts": {key: [round(v, 6) for v in place] for key, place in self.lookouts.items()},
            "pockets": {key: to_wkt(ground, rounding_precision=6) for key, ground in self.pockets.items()},
        }
        return json.dumps(kept, indent=1, sort_keys=True) + "\n"


def same_pockets(outlines: Sequence[BaseGeometry], grounds: dict[str, BaseGeometry]) -> dict[int, str]:
    """Which outlines are the same pockets as grounds by id, by index; nothing is given."""
    return _matched(outlines, grounds, _alike)


def _matched(new: Sequence[T], old: dict[str, T], likeness: Callable[[T, T], float]) -> dict[int, str]:
    """Ids of what was there before, the most alike first; of equals the better one and the older id."""
    pairs = [
        (-alike, index, int(key[1:]), key)
        for index, thing in enumerate(new)
        for key, before in old.items()
        if (alike := likeness(thing, before)) > 0
    ]
    kept: dict[int, str] = {}
    for _, index, _, key in sorted(pairs):
        if index not in kept and key not in kept.values():
            kept[index] = key
    return kept


def given_before(kept: str | None) -> Given:
    """What was given before, from the text kept beside the plan (None: nothing yet).

    Raises
    ------
    BadInput
        The text is not what `Given.to_json` writes.
    """
    if kept is None:
        return Given()
    try:
        raw = json.loads(kept)
        for key in (*raw["pockets"], *raw["lookouts"]):
            int(key[1:])  # ids are a letter and a number
        return Given(
            pockets={key: from_wkt(text) for key, text in raw["pockets"].items()},
            lookouts={key: LonLat(*(float(v) for v in place)) for key, place in raw["lookouts"].items()},
            highest={key: int(value) for key, value in raw["highest"].items()},
            own={key: str(value) for key, value in raw.get("own", {}).items()},
        )
    except (ValueError, KeyError, TypeError, AttributeError, GEOSException):
        raise BadInput(
            "plan/ids.json can't be read; accepted is the file that graylight keeps there; move it away: ids begin anew"
        ) from None


def ground_of(outline: list[list[list[float]]]) -> BaseGeometry:
    """Rings of [lon, lat] as a valid polygon."""
    return make_valid(Polygon(outline[0], outline[1:]))


def _alike(a: BaseGeometry, b: BaseGeometry) -> float:
    """Above 0 where two outlines are the same pocket."""
    return _iou(a, b) - SAME_POCKET_IOU


def _iou(a: BaseGeometry, b: BaseGeometry) -> float:
    union = a.union(b).area
    return float(a.intersection(b).area / union) if union > 0 else 0.0

"""The sheet of a panorama: where letters, leaders and chips find room on it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from graylight.drawing.lettering import Box, Face, face
from graylight.drawing.palettes import ANIMAL, INK, PAPER, RGB, oklch
from graylight.sight.panorama import Panorama

__all__ = ["HALO", "Landmark", "StripPage", "seat_chips", "seat_names"]

_BROW_M, _BROW_DEG = 250.0, 0.3
"""A top no farther behind the brow that hides it, and no more below it, is named there (set by eye)."""
_LEADING = 1.32
"""Height of a line of letters, in text sizes."""
HALO = oklch(0.93, 0.018, 275)
"""Lifts letters off the sky and the land: between the sky's colours."""


@dataclass(frozen=True, slots=True)
class Landmark:
    """A place to be named over the strip if it is in sight.

    Parameters
    ----------
    kind
        Saddles are lettered slanted.
    row, col
        Its cell.
    text
        What is written.
    """

    kind: Literal["peak", "saddle", "place"]
    row: int
    col: int
    text: str


@lru_cache(maxsize=4096)
def _length(text: str, kind: Face, size_px: int) -> float:
    return face(kind, size_px).getlength(text)


@lru_cache(maxsize=2048)
def _lettered(
    text: str, kind: Face, size_px: int, anchor: str, stroke_px: int
) -> tuple[Image.Image, int, int]:
    """A line of letters as a mask, and where its corner lies from the anchor; bearings come again and again."""
    letters = face(kind, size_px)
    left, top, right, bottom = letters.getbbox(text, anchor=anchor, stroke_width=stroke_px)
    dx, dy = math.floor(left) - 1, math.floor(top) - 1
    mask = Image.new("L", (math.ceil(right) - dx + 1, math.ceil(bottom) - dy + 1), 0)
    ImageDraw.Draw(mask).text((-dx, -dy), text, font=letters, fill=255, anchor=anchor, stroke_width=stroke_px)
    return mask, dx, dy


@dataclass(slots=True)
class StripPage:
    """The picture in the making; lengths in pixels."""

    view: Panorama
    text_px: int
    left: int
    top: int
    head: int
    image: Image.Image
    pen: ImageDraw.ImageDraw
    taken: list[Box] = field(default_factory=list)

    def write(
        self, x: float, y: float, text: str, *, size: float = 1.0, kind: Face = "plain", colour: RGB = INK,
        anchor: str = "ls", halo: RGB | None = None,
    ) -> None:  # fmt: skip
        """Write with the baseline at y; size in parts of the text size."""
        size_px = round(self.text_px * size)
        halo_px = max(1, round(size_px * 0.12))
        for ink, stroke_px in ((halo, halo_px), (colour, 0)):
            if ink is not None:
                mask, dx, dy = _lettered(text, kind, size_px, anchor, stroke_px)
                self.image.paste(ink, (round(x) + dx, round(y) + dy), mask)

    def long(self, text: str, *, size: float = 1.0, kind: Face = "plain") -> float:
        """Width of a line of letters."""
        return _length(text, kind, round(self.text_px * size))

    def free(self, box: Box) -> bool:
        """Whether nothing is written or drawn on a box."""
        left, top, right, bottom = box
        for a, b, c, d in self.taken:  # noqa: SIM110  a plain loop: asked hundreds of times a picture
            if right > a and left < c and bottom > b and top < d:
                return False
        return True

    def at(self, azimuth_deg: float, up_deg: float) -> tuple[float, float] | None:
        """Pixel of the picture at which a direction lies; none outside the strip."""
        there = self.view.pixel(azimuth_deg, up_deg)
        return None if there is None else (there[0] + self.left, there[1] + self.top)

    @property
    def right(self) -> int:
        """Right edge of the view."""
        return self.left + self.view.width

    @property
    def bottom(self) -> int:
        """Lower edge of the view."""
        return self.top + self.view.height

    def crest(self) -> NDArray[np.float64]:
        """Pixel y of the skyline in each column of the view, the lower edge where there is none."""
        up = np.nan_to_num(self.view.skyline_deg, nan=-90.0)
        y = (self.view.up_to_deg - up) * self.view.pixels_per_deg[1]
        return np.asarray(np.clip(y, 0.0, self.view.height) + self.top)


def seat_names(page: StripPage, marks: Sequence[Landmark], *, lines: int) -> list[Landmark]:
    """Write the landmarks in sight over the skyline, each with a leader to its place; which, from left to right."""
    crest = page.crest()
    written = []
    for mark in marks:
        there = _in_sight(page, mark)
        if there is None:
            continue
        box = _seat(page, mark, there, crest, lines)
        if box is not None:
            _write(page, mark, there, box)
            written.append((there[0], mark))
    return [mark for _, mark in sorted(written, key=lambda one: one[0])]


def _in_sight(page: StripPage, mark: Landmark) -> tuple[float, float] | None:
    view = page.view
    if (mark.row, mark.col) == view.seat or np.isnan(view.surface_m[mark.row, mark.col]):
        return None
    toward = view.angles_to((mark.row, mark.col))
    short_deg = math.degrees(max(-toward.margin_m, 0.0) / toward.distance_m)
    # a round top is hidden by its own brow, which is what one calls the top from there; and what is hidden by
    # less than a pixel can't be told from what shows
    own = toward.brow_m <= _BROW_M and short_deg <= _BROW_DEG
    if not own and short_deg > 1.0 / view.pixels_per_deg[1]:
        return None
    return page.at(toward.azimuth_deg, toward.up_deg + short_deg)


def _seat(
    page: StripPage, mark: Landmark, there: tuple[float, float], crest: NDArray[np.float64], lines: int
) -> Box | None:
    """Find the lowest free line over the land for a text, and take it together with its leader."""
    t, (x, y) = page.text_px, there
    wide = page.long(mark.text, kind=_kind(mark)) + 0.7 * t
    # beside its leader a text begins or ends a little way off it
    lefts = (x - 0.5 * wide, x - 0.6 * t, x - wide + 0.6 * t, x - 0.25 * wide, x - 0.75 * wide)
    rooms = [(left, _roof(page, left, wide, crest)) for left in lefts]
    for line in range(lines):
        bottom = page.head + (lines - line) * _LEADING * t
        leader = (x - 0.3 * t, bottom, x + 0.3 * t, y - 1.0)
        if bottom > y - 0.3 * t or not page.free(leader):
            continue
        for left, roof in rooms:
            box = (left, bottom - 1.25 * t, left + wide, bottom)
            if bottom < roof and page.free(box):
                page.taken += [box, leader]
                return box
    return None


def _roof(page: StripPage, left: float, wide: float, crest: NDArray[np.float64]) -> float:
    """Pixel y of the highest land under a text; above all where the text would leave the picture."""
    first, last = int(left) - page.left, int(left + wide) - page.left + 1
    return float(crest[first:last].min()) if first >= 0 and last <= crest.size else -math.inf


def _kind(mark: Landmark) -> Face:
    return "slanted" if mark.kind == "saddle" else "plain"


def _write(page: StripPage, mark: Landmark, there: tuple[float, float], box: Box) -> None:
    t, (x, y) = page.text_px, there
    thick = max(1, round(t / 15))
    page.pen.line((round(x), round(box[3] - 0.05 * t), round(x), round(y - 0.12 * t)), fill=INK, width=thick)
    page.write(box[0] + 0.35 * t, box[3] - 0.3 * t, mark.text, kind=_kind(mark))


def seat_chips(page: StripPage, shown: NDArray[np.int32], pockets: Sequence[str]) -> set[int]:
    """Write the pockets' short names on or beside their ground; which of them have ground in the picture."""
    at = np.flatnonzero(shown.ravel() > 0)
    number = shown.ravel()[at] - 1
    y, x = np.divmod(at, shown.shape[1])
    seen = set()
    for index in np.unique(number).tolist():
        if index >= len(pockets):
            continue
        seen.add(index)
        mine = number == index
        _chip(page, pockets[index], x[mine] + page.left, y[mine] + page.top)
    return seen


def _chip(page: StripPage, text: str, x: NDArray[np.int64], y: NDArray[np.int64]) -> None:
    """Seat one chip: over its ground if that is large enough, else beside it with a leader."""
    t = page.text_px
    middle = int(np.argmin((x - x.mean()) ** 2 + (y - y.mean()) ** 2))
    at_x, at_y = float(x[middle]), float(y[middle])
    wide, high = page.long(text, kind="strong") + 0.8 * t, 1.35 * t
    for dx, dy in (
        (0, 0),
        (0, -1.6),
        (0, 1.6),
        (1.4, 0),
        (-1.4, 0),
        (1.4, -1.6),
        (-1.4, -1.6),
        (0, -3),
        (1.4, 1.6),
        (-1.4, 1.6),
        (0, 3),
    ):
        if (dx, dy) == (0, 0) and x.size < 4 * wide * high:
            continue
        cx, cy = at_x + dx * wide * 0.75, at_y + dy * high
        cx = min(max(cx, page.left + wide / 2 + 1), page.right - wide / 2 - 1)
        box = (cx - wide / 2, cy - high / 2, cx + wide / 2, cy + high / 2)
        if box[1] < page.top or box[3] > page.bottom or not page.free(box):
            continue
        page.taken.append(box)
        thick = max(1, round(t / 12))
        if (dx, dy) != (0, 0):
            page.pen.line((at_x, at_y, cx, cy), fill=PAPER, width=thick + 2)
            page.pen.line((at_x, at_y, cx, cy), fill=ANIMAL, width=thick)
        page.pen.rounded_rectangle(box, radius=0.3 * t, fill=ANIMAL, outline=PAPER, width=thick)
        page.write(cx, cy + 0.36 * t, text, kind="strong", colour=PAPER, anchor="ms")
        return

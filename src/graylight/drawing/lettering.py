"""Letters: the shipped faces, how long a text is, and where on a picture labels find room.

The face is Barlow Semi Condensed (fonts/OFL.txt), shipped with the program so that nothing is looked for on
the machine and every machine draws the same letters.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from importlib.resources import as_file, files
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray
from PIL import ImageFont

__all__ = ["Box", "Face", "Room", "extent", "face"]

Face: TypeAlias = Literal["plain", "strong", "slanted"]
Box: TypeAlias = tuple[float, float, float, float]
"""Left, top, right, bottom, pixels."""

_FILES: dict[Face, str] = {
    "plain": "BarlowSemiCondensed-Medium.ttf",
    "strong": "BarlowSemiCondensed-SemiBold.ttf",
    "slanted": "BarlowSemiCondensed-MediumItalic.ttf",
}


@lru_cache(maxsize=256)
def face(kind: Face, size_px: int) -> ImageFont.FreeTypeFont:
    """Open a shipped face in a size."""
    with as_file(files("graylight.drawing") / "fonts" / _FILES[kind]) as path:
        return ImageFont.truetype(str(path), max(size_px, 4), layout_engine=ImageFont.Layout.BASIC)


def extent(text: str, kind: Face, size_px: float) -> tuple[float, float]:
    """Width and height of a line of text in pixels; the height is that of capitals."""
    # measured at the size drawn on the sheet, twice that of the picture: hinting widens small letters
    letters = face(kind, round(size_px * 2))
    return letters.getlength(text) / 2.0, size_px * 0.72


@dataclass(slots=True)
class Room:
    """What of a picture is taken, kept on a coarse grid, and the search for a free seat.

    Parameters
    ----------
    width, height
        Of the picture, pixels.
    cell
        Side of a cell of the coarse grid, pixels.
    """

    width: int
    height: int
    cell: int = 3
    _taken: NDArray[np.bool_] = field(init=False)
    _cost: NDArray[np.float32] = field(init=False)

    def __post_init__(self) -> None:
        shape = (self.height // self.cell + 1, self.width // self.cell + 1)
        self._taken = np.zeros(shape, dtype=np.bool_)
        self._cost = np.zeros(shape, dtype=np.float32)

    def _window(self, box: Box) -> tuple[slice, slice]:
        left, top, right, bottom = (v / self.cell for v in box)
        rows = slice(max(int(top), 0), max(int(np.ceil(bottom)), 0))
        return rows, slice(max(int(left), 0), max(int(np.ceil(right)), 0))

    def inside(self, box: Box) -> bool:
        """Whether a box lies wholly on the picture."""
        return box[0] >= 0 and box[1] >= 0 and box[2] <= self.width and box[3] <= self.height

    def take(self, box: Box) -> None:
        """Keep a box free of labels."""
        self._taken[self._window(box)] = True

    def avoid(self, points: NDArray[np.floating], cost: float) -> None:
        """Make labels dear along a line of pixels, (n, 2)."""
        for x, y in _dense(points, self.cell):
            if 0 <= x < self.width and 0 <= y < self.height:
                self._cost[int(y) // self.cell, int(x) // self.cell] += cost

    def free(self, box: Box) -> float | None:
        """Cost of a label on a box; None where it would lie on another or off the picture."""
        window = self._window(box)
        if not self.inside(box) or self._taken[window].any():
            return None
        return float(self._cost[window].sum())

    def seat(self, x: float, y: float, size: tuple[float, float], *, gap: float, far: int = 1) -> Box | None:
        """Find the best free box of a size about a point, and take it.

        Parameters
        ----------
        x, y
            The point the label belongs to.
        size
            Width and height of the label, pixels.
        gap
            Distance from the point to the label.
        far
            How many rings of seats are tried; farther seats cost more.
        """
        best: tuple[float, Box] | None = None
        for ring in range(far):
            for rank, box in enumerate(_seats(x, y, size, gap * (1 + 1.6 * ring))):
                cost = self.free(box)
                if cost is None:
                    continue
                total = cost + 0.6 * rank + 8.0 * ring
                if best is None or total < best[0]:
                    best = total, box
        if best is None:
            return None
        self.take(_grown(best[1], 2.0))
        return best[1]


def _seats(x: float, y: float, size: tuple[float, float], gap: float) -> list[Box]:
    width, height = size
    slant = gap * 0.75
    corners = [
        (x + gap, y - height / 2),
        (x + slant, y - slant - height),
        (x + slant, y + slant),
        (x - gap - width, y - height / 2),
        (x - slant - width, y - slant - height),
        (x - slant - width, y + slant),
        (x - width / 2, y - gap - height),
        (x - width / 2, y + gap),
    ]
    return [(left, top, left + width, top + height) for left, top in corners]


def _grown(box: Box, by: float) -> Box:
    return box[0] - by, box[1] - by, box[2] + by, box[3] + by


def _dense(points: NDArray[np.floating], step: float) -> NDArray[np.float64]:
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    at = np.arange(0.0, along[-1], step)
    return np.column_stack([np.interp(at, along, points[:, i]) for i in range(2)])

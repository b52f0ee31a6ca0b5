"""The sheet that is drawn on: twice as large as the picture, so that lines and letters come out smooth."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from graylight.drawing.lettering import Box, Face, extent, face
from graylight.drawing.palettes import INK, PAPER, RGB

__all__ = ["OVER", "Points", "Sheet", "chaikin", "dashes"]

OVER = 2
"""Pixels of the sheet to one of the picture, each way."""

Points = NDArray[np.float64]
Anchor = Literal["ls", "ms", "rs"]


class Sheet:
    """A picture in the making; all lengths are in pixels of the finished picture, y downward.

    Parameters
    ----------
    base
        What lies under the drawing: a picture, or a size and a colour.
    """

    def __init__(self, base: Image.Image | tuple[int, int], colour: RGB = PAPER) -> None:
        if isinstance(base, Image.Image):
            self.width, self.height = base.size
            # nearest, so that reducing by the same factor gives the base back byte for byte
            self.image = base.resize((base.width * OVER, base.height * OVER), Image.Resampling.NEAREST)
        else:
            self.width, self.height = base
            self.image = Image.new("RGB", (self.width * OVER, self.height * OVER), colour)
        self._draw = ImageDraw.Draw(self.image)

    def finish(self) -> Image.Image:
        """Bring the sheet down to the size of the picture."""
        return self.image.reduce(OVER)

    def stroke(
        self,
        lines: Iterable[Points],
        colour: RGB,
        width: float,
        *,
        opacity: float = 1.0,
        dash: Sequence[float] | None = None,
        round_ends: bool = False,
    ) -> None:
        """Draw lines, each (n, 2); a dash is lengths of drawn and bare in turn."""
        drawn = [part for line in lines for part in (dashes(line, dash) if dash else [line])]
        drawn = [line for line in drawn if len(line) > 1]
        if not drawn:
            return
        pixels = max(1, round(width * OVER))
        if opacity >= 1.0:
            for line in drawn:
                _stroke(self._draw, line, colour, pixels=pixels, round_ends=round_ends)
            return
        mask, corner = self._mask(drawn, width)
        if mask is not None:
            pen = ImageDraw.Draw(mask)
            for line in drawn:
                _stroke(pen, line, 255, pixels=pixels, round_ends=round_ends, corner=corner)
            self._ink(mask, corner, colour, opacity)

    def fill(self, rings: Sequence[Points], colour: RGB, *, opacity: float = 1.0) -> None:
        """Fill an area: its outer ring, then holes."""
        mask, corner = self._area(rings)
        if mask is not None:
            self._ink(mask, corner, colour, opacity)

    def hatch(
        self,
        rings: Sequence[Points],
        colour: RGB,
        *,
        apart: float,
        width: float,
        opacity: float = 1.0,
        rise: int = 1,
    ) -> None:
        """Fill an area with slanted lines; `rise` 1 slants up to the right, -1 down to the right."""
        mask, corner = self._area(rings)
        if mask is None:
            return
        rows = np.arange(mask.height)[:, None] + corner[1]
        cols = np.arange(mask.width)[None, :] + corner[0]
        phase = (cols + rise * rows) % round(apart * OVER * 1.4142)
        lines = np.where(phase < width * OVER * 1.4142, np.asarray(mask), 0).astype(np.uint8)
        self._ink(Image.fromarray(lines), corner, colour, opacity)

    def paste(self, picture: Image.Image, x: float, y: float) -> None:
        """Lay a small picture with its corner at (x, y)."""
        over = picture.resize((picture.width * OVER, picture.height * OVER), Image.Resampling.NEAREST)
        self.image.paste(over, (round(x * OVER), round(y * OVER)))

    def disc(self, x: float, y: float, radius: float, colour: RGB) -> None:
        """Draw a full circle."""
        self._draw.ellipse(_over((x - radius, y - radius, x + radius, y + radius)), fill=colour)

    def box(
        self, box: Box, colour: RGB, *, round_px: float = 0.0, outline: RGB | None = None, width: float = 1.0
    ) -> None:
        """Draw a full box."""
        self._draw.rounded_rectangle(
            _over(box), radius=round_px * OVER, fill=colour, outline=outline, width=round(width * OVER)
        )

    def text(
        self,
        at: tuple[float, float],
        text: str,
        *,
        size: float,
        kind: Face = "plain",
        colour: RGB = INK,
        anchor: Anchor = "ls",
        halo: RGB | None = None,
        halo_px: float = 3.0,
    ) -> None:
        """Write a line with its baseline at y; a halo lifts it off the ground."""
        letters = face(kind, round(size * OVER))
        place = (at[0] * OVER, at[1] * OVER)
        if halo is not None:
            self._halo(place, text, letters=letters, anchor=anchor, colour=halo, by=halo_px)
        self._draw.text(place, text, font=letters, fill=colour, anchor=anchor)

    def _halo(
        self,
        at: tuple[float, float],
        text: str,
        *,
        letters: ImageFont.FreeTypeFont,
        anchor: Anchor,
        colour: RGB,
        by: float,
    ) -> None:
        wide = round(by * OVER)
        box = self._draw.textbbox(at, text, font=letters, anchor=anchor, stroke_width=wide)
        corner = (int(box[0]) - 2, int(box[1]) - 2)
        mask = Image.new("L", (int(box[2]) - corner[0] + 3, int(box[3]) - corner[1] + 3), 0)
        local = (at[0] - corner[0], at[1] - corner[1])
        ImageDraw.Draw(mask).text(local, text, font=letters, fill=255, anchor=anchor, stroke_width=wide)
        self._ink(mask, corner, colour, 0.78)

    def turned(
        self,
        at: tuple[float, float],
        text: str,
        *,
        size: float,
        turn_deg: float,
        kind: Face = "plain",
        colour: RGB = INK,
        halo: RGB | None = None,
    ) -> None:
        """Write a line centred on a point, turned anticlockwise."""
        wide, high = extent(text, kind, size)
        letters = face(kind, round(size * OVER))
        pad = 4 * OVER
        shape = (round(wide * OVER) + 2 * pad, round(high * OVER * 1.6) + 2 * pad)
        middle = (shape[0] / 2, shape[1] / 2 + high * OVER / 2)
        for ink, stroke in ((halo, round(2.2 * OVER)), (colour, 0)):
            if ink is None:
                continue
            mask = Image.new("L", shape, 0)
            ImageDraw.Draw(mask).text(middle, text, font=letters, fill=255, anchor="ms", stroke_width=stroke)
            mask = mask.rotate(turn_deg, resample=Image.Resampling.BICUBIC, expand=True)
            corner = (round(at[0] * OVER - mask.width / 2), round(at[1] * OVER - mask.height / 2))
            self._ink(mask, corner, ink, 0.75 if stroke else 1.0)

    def _area(self, rings: Sequence[Points]) -> tuple[Image.Image | None, tuple[int, int]]:
        rings = [ring for ring in rings if len(ring) > 2]
        mask, corner = self._mask(rings, 0.0)
        if mask is not None:
            pen = ImageDraw.Draw(mask)
            for number, ring in enumerate(rings):
                pen.polygon(_points(ring, corner), fill=0 if number else 255)
        return mask, corner

    def _mask(self, lines: Sequence[Points], width: float) -> tuple[Image.Image | None, tuple[int, int]]:
        """Make an empty mask that holds the lines and no more; None where they miss the sheet."""
        if not lines:
            return None, (0, 0)
        low = np.min([np.min(line, axis=0) for line in lines], axis=0) * OVER - width * OVER - 2
        high = np.max([np.max(line, axis=0) for line in lines], axis=0) * OVER + width * OVER + 2
        left, top = (max(int(v), 0) for v in low)
        right, bottom = min(int(high[0]) + 1, self.image.width), min(int(high[1]) + 1, self.image.height)
        if right <= left or bottom <= top:
            return None, (0, 0)
        return Image.new("L", (right - left, bottom - top), 0), (left, top)

    def _ink(self, mask: Image.Image, corner: tuple[int, int], colour: RGB, opacity: float) -> None:
        if opacity < 1.0:
            mask = mask.point([round(v * opacity) for v in range(256)])
        self.image.paste(colour, corner, mask)


def _over(box: Box) -> Box:
    left, top, right, bottom = (v * OVER - 0.5 for v in box)
    return left, top, right, bottom


def _points(line: Points, corner: tuple[int, int]) -> list[float]:
    moved = np.asarray(line, dtype=np.float64) * OVER - 0.5 - np.array(corner)
    flat: list[float] = moved.ravel().tolist()
    return flat


def _stroke(
    pen: ImageDraw.ImageDraw,
    line: Points,
    ink: RGB | int,
    *,
    pixels: int,
    round_ends: bool,
    corner: tuple[int, int] = (0, 0),
) -> None:
    points = _points(line, corner)
    pen.line(points, fill=ink, width=pixels, joint="curve" if pixels > 3 else None)
    if round_ends and pixels > 3:
        reach = (pixels - 1) / 2
        for x, y in (points[:2], points[-2:]):
            pen.ellipse((x - reach, y - reach, x + reach, y + reach), fill=ink)


def dashes(line: Points, dash: Sequence[float]) -> list[Points]:
    """Cut a line into the drawn parts of a dash pattern (lengths of drawn and bare in turn)."""
    if len(line) < 2 or sum(dash) <= 0.0:
        return [line]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    parts, at, step = [], 0.0, 0
    while at < along[-1]:
        stop = min(at + dash[step % len(dash)], along[-1])
        if step % 2 == 0 and stop > at:
            between = line[(along > at) & (along < stop)]
            ends = [[np.interp(v, along, line[:, i]) for i in range(2)] for v in (at, stop)]
            parts.append(np.vstack([ends[0], between, ends[1]]))
        at, step = stop, step + 1
    return parts


def chaikin(line: Points, rounds: int = 2, *, closed: bool = False) -> Points:
    """Cut corners (Chaikin 1974): stair-stepped cell edges come out as a drawn line."""
    line = np.asarray(line, dtype=np.float64)
    if len(line) < 3:
        return line
    for _ in range(rounds):
        ends = None if closed else (line[:1], line[-1:])
        cut = np.empty((2 * (len(line) - 1), 2))
        cut[0::2] = 0.75 * line[:-1] + 0.25 * line[1:]
        cut[1::2] = 0.25 * line[:-1] + 0.75 * line[1:]
        line = np.vstack([cut, cut[:1]]) if ends is None else np.vstack([ends[0], cut, ends[1]])
    return line

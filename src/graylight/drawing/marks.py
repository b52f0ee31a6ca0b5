"""The glyphs of the map, drawn for this project: plain strokes, no objects and no pins."""

from __future__ import annotations

import math
from typing import Literal, TypeAlias

import numpy as np

from graylight.drawing.palettes import ANIMAL, INK, LIGHT, PAPER, RGB, WATER
from graylight.drawing.sheet import Points, Sheet

__all__ = ["Mark", "angle", "arrow", "mark"]

Mark: TypeAlias = Literal[
    "feed", "bed", "crossing", "peak", "start", "water", "unsure water", "place", "saddle"
]


def mark(sheet: Sheet, kind: Mark, x: float, y: float, *, size: float, colour: RGB | None = None) -> None:
    """Draw a glyph centred on a pixel.

    Parameters
    ----------
    kind
        feed: three short strokes; bed: a shallow arc; crossing: two arcs back to back; peak: a small solid
        triangle; start: a square ring; water: a disc, hollow where unsure; place: a ring.
    size
        About the width of the glyph, pixels.
    """
    if kind in ("feed", "bed", "crossing"):
        _strokes(sheet, _LINES[kind], (x, y), size, colour or ANIMAL)
    elif kind == "peak":
        _triangle(sheet, x, y, size, colour or INK)
    elif kind == "start":
        half = size * 0.42
        sheet.box((x - half, y - half, x + half, y + half), PAPER, outline=INK, width=size * 0.2)
    elif kind in ("water", "unsure water"):
        sheet.disc(x, y, size * 0.36 + 1.2, PAPER)
        sheet.disc(x, y, size * 0.36, colour or WATER)
        if kind == "unsure water":
            sheet.disc(x, y, size * 0.2, PAPER)
    else:
        _ring(sheet, x, y, size, colour or LIGHT)


def angle(sheet: Sheet, x: float, y: float, *, turn_deg: float, size: float, colour: RGB = LIGHT) -> None:
    """Draw a lookout: an open angle whose point is the seat, opening along the view.

    Parameters
    ----------
    turn_deg
        The way it looks, clockwise from the top of the picture.
    """
    arms = []
    for side in (-25.0, 25.0):
        way = math.radians(turn_deg + side)
        arms.append((x + size * math.sin(way), y - size * math.cos(way)))
    line = np.array([arms[0], (x, y), arms[1]])
    sheet.stroke([line], INK, size * 0.36, round_ends=True)
    sheet.disc(x, y, size * 0.27, INK)
    sheet.stroke([line], colour, size * 0.2, round_ends=True)
    sheet.disc(x, y, size * 0.19, colour)


def arrow(sheet: Sheet, x: float, y: float, *, turn_deg: float, length: float, colour: RGB = ANIMAL) -> None:
    """Draw a way out: a short dashed shaft with a head, turned clockwise from the top of the picture."""
    way = math.radians(turn_deg)
    tip = np.array([x + length * math.sin(way), y - length * math.cos(way)])
    head = []
    for side in (150.0, -150.0):
        back = math.radians(turn_deg + side)
        head.append(tip + length * 0.26 * np.array([math.sin(back), -math.cos(back)]))
    shaft = np.array([[x, y], tip])
    for ink, width in ((PAPER, 5.0), (colour, 2.2)):
        sheet.stroke([np.array([head[0], tip, head[1]])], ink, width, round_ends=True)
        sheet.stroke([shaft], ink, width, dash=(length * 0.16, length * 0.1))


def _arc(cx: float, cy: float, radius: float, first_deg: float, last_deg: float) -> Points:
    turn = np.radians(np.linspace(first_deg, last_deg, 13))
    return np.column_stack([cx + radius * np.cos(turn), cy + radius * np.sin(turn)])


_LINES: dict[str, list[Points]] = {
    "feed": [
        np.array([[0.0, 0.42], [0.0, -0.48]]),
        np.array([[-0.16, 0.42], [-0.46, -0.26]]),
        np.array([[0.16, 0.42], [0.46, -0.26]]),
    ],
    "bed": [_arc(0.0, -0.55, 0.82, 35.0, 145.0)],
    "crossing": [_arc(-0.78, 0.0, 0.62, -48.0, 48.0), _arc(0.78, 0.0, 0.62, 132.0, 228.0)],
}
"""Glyphs by strokes, in glyph widths about the middle, y downward."""


def _strokes(sheet: Sheet, lines: list[Points], at: tuple[float, float], size: float, colour: RGB) -> None:
    placed = [line * size + np.array(at) for line in lines]
    sheet.stroke(placed, PAPER, size * 0.36, opacity=0.85, round_ends=True)
    sheet.stroke(placed, colour, size * 0.17, round_ends=True)


def _triangle(sheet: Sheet, x: float, y: float, size: float, colour: RGB) -> None:
    for ink, reach in ((PAPER, 0.72), (colour, 0.5)):
        corners = np.array([[0.0, -1.0], [0.9, 0.62], [-0.9, 0.62]]) * reach * size + np.array([x, y])
        sheet.fill([corners], ink)


def _ring(sheet: Sheet, x: float, y: float, size: float, colour: RGB) -> None:
    sheet.disc(x, y, size * 0.62, INK)
    sheet.disc(x, y, size * 0.5, colour)
    sheet.disc(x, y, size * 0.2, INK)

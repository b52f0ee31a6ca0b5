"""The strip below a map: what its lines, glyphs and tints mean. Only what is on the map is listed."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from graylight.drawing.furniture import Page, draw_north, draw_scale_bars, fitted
from graylight.drawing.ground import LAYERS, LayerLook
from graylight.drawing.lettering import extent
from graylight.drawing.marks import Mark, angle, arrow, mark
from graylight.drawing.palettes import ANIMAL, COVER, GREEN, INK, LIGHT, MUTED, PAPER, RGB, WATER, mix
from graylight.drawing.sheet import Points, Sheet

__all__ = ["CREDIT_PX", "Entry", "cover_entries", "foot_height", "footer", "line_entry", "mark_entry"]

Sample = Callable[[Sheet, float, float, float], None]
"""Draws a sample with its left middle at (x, y), for a pixel unit u; samples are 54 u wide."""

_KINDS = {
    1: "timber", 2: "brush", 3: "grass, forbs", 4: "rock with growth", 5: "bare rock", 6: "water",
    7: "snow", 8: "worked", 0: "not known",
}  # fmt: skip
_LEFT, _ROW, _SAMPLE, _GAP = 440, 37, 70, 34
_LETTERS = 25.0
CREDIT_PX = 24.0
"""Between the lines of the credits, pixels at 1600 pixels' width."""


_LIMITS: dict[str, tuple[float, tuple[float, float] | None]] = {
    "limit loaded": (1.5, (6.0, 4.0)),
    "limit": (1.9, None),
}
"""The walker's limits over the slope layer: width and dash."""


class Entry(NamedTuple):
    """One line of the legend."""

    words: str
    sample: Sample


def line_entry(words: str, kind: str) -> Entry:
    """An entry for a kind of line."""
    return Entry(words, lambda sheet, x, y, u: draw_line(sheet, np.array([[x, y], [x + 54 * u, y]]), kind, u))


def mark_entry(words: str, kind: Mark) -> Entry:
    """An entry for a glyph."""
    return Entry(words, lambda sheet, x, y, u: mark(sheet, kind, x + 27 * u, y, size=19 * u))


def lookout_entry() -> Entry:
    """The entry for lookouts."""
    return Entry("lookout and its view", lambda s, x, y, u: angle(s, x + 14 * u, y, turn_deg=90, size=24 * u))


def way_out_entry() -> Entry:
    """The entry for the ways animals take when pushed."""
    return Entry("way out when pushed", lambda s, x, y, u: arrow(s, x, y, turn_deg=90, length=50 * u))


def pocket_entry(words: str, *, shut: bool = False) -> Entry:
    """The entry for pockets."""

    def sample(sheet: Sheet, x: float, y: float, u: float) -> None:
        ring = np.array(
            [[x + 4, y - 11 * u], [x + 50 * u, y - 11 * u], [x + 50 * u, y + 11 * u], [x + 4, y + 11 * u]]
        )
        ring = np.vstack([ring, ring[:1]])
        sheet.fill([ring], ANIMAL, opacity=0.12)
        sheet.stroke([ring], ANIMAL, 3 * u, dash=(8 * u, 6 * u) if shut else None)
        if shut:
            sheet.stroke([ring[[1, 3]]], ANIMAL, 2 * u)

    return Entry(words, sample)


def hatch_entry() -> Entry:
    """The entry for private ground."""

    def sample(sheet: Sheet, x: float, y: float, u: float) -> None:
        ring = np.array(
            [[x, y - 13 * u], [x + 54 * u, y - 13 * u], [x + 54 * u, y + 13 * u], [x, y + 13 * u]]
        )
        sheet.hatch([ring], INK, apart=8 * u, width=1.5 * u, opacity=0.6)
        sheet.stroke([np.vstack([ring, ring[:1]])], INK, 1.6 * u, dash=(9 * u, 4 * u))

    return Entry("private: ask first", sample)


def cover_entries(kinds: list[int]) -> list[Entry]:
    """Entries for the kinds of cover shown, in a fixed order."""
    return [Entry(_KINDS[kind], _swatch(COVER[kind])) for kind in _KINDS if kind in kinds]


def green_entry() -> Entry:
    """The entry for greenness: from the tint of dry grass to that of the greenest ground."""

    def sample(sheet: Sheet, x: float, y: float, u: float) -> None:
        for step in range(27):
            left = x + 2 * step * u
            sheet.box((left, y - 12 * u, left + 2 * u + 1, y + 12 * u), mix(COVER[3], GREEN, 0.8 * step / 26))

    return Entry("dry to green", sample)


def _swatch(colour: RGB) -> Sample:
    def sample(sheet: Sheet, x: float, y: float, u: float) -> None:
        sheet.box((x, y - 12 * u, x + 54 * u, y + 12 * u), colour, outline=MUTED, width=u)

    return sample


def draw_line(sheet: Sheet, line: Points, kind: str, u: float) -> None:
    """Draw a road, trail, stream, approach, boundary or limit of slope in the map's own manner."""
    if kind == "road":
        sheet.stroke([line], INK, 5.2 * u, round_ends=True)
        sheet.stroke([line], PAPER, 2.6 * u, round_ends=True)
    elif kind == "trail":
        sheet.stroke([line], PAPER, 4.6 * u, opacity=0.55)
        sheet.stroke([line], INK, 2.4 * u, dash=(11 * u, 5 * u))
    elif kind == "intermittent":
        sheet.stroke([line], WATER, 1.8 * u, dash=(9 * u, 3 * u, 2 * u, 3 * u))
    elif kind == "stream":
        sheet.stroke([line], WATER, 2.4 * u)
    elif kind == "approach":
        sheet.stroke([line], INK, 7.4 * u, opacity=0.9, round_ends=True)
        sheet.stroke([line], LIGHT, 4.2 * u, round_ends=True)
    elif kind == "unit":
        sheet.stroke([line], PAPER, 5 * u, opacity=0.6)
        sheet.stroke([line], INK, 2.2 * u, dash=(16 * u, 5 * u, 3 * u, 5 * u))
    elif kind in _LIMITS:
        width, dash = _LIMITS[kind]
        sheet.stroke([line], INK, width * u, dash=dash and [part * u for part in dash])


def columns_of(entries: list[Entry], page_width: float, *, margin: float, unit: float) -> list[list[Entry]]:
    """Share the entries out to as many columns as find room beside the scale bars, filled one by one."""
    room = page_width - 2 * margin - _LEFT * unit
    for count in range(min(len(entries), 6), 1, -1):
        rows = -(-len(entries) // count)
        columns = [entries[at : at + rows] for at in range(0, len(entries), rows)]
        if sum(_column_width(column, unit) for column in columns) - _GAP * unit <= room:
            return columns
    return [entries] if entries else []


def _column_width(column: list[Entry], unit: float) -> float:
    letters = max(extent(entry.words, "plain", _LETTERS * unit)[0] for entry in column)
    return letters + (_SAMPLE + _GAP) * unit


def foot_height(columns: list[list[Entry]], *, unit: float, layer: str) -> int:
    """Height of the strip below the map."""
    rows = max((len(column) for column in columns), default=0)
    return int(max(260 if layer in LAYERS else 150, 16 + rows * _ROW) * unit)


def footer(
    sheet: Sheet,
    page: Page,
    columns: list[list[Entry]],
    *,
    layer: str,
    limits: list[tuple[float, str]],
) -> None:
    """Draw the strip below the map: scale bars, north, legend, a layer's ramp and the line at the foot."""
    u = page.unit
    x, y = float(page.left), page.foot_top
    draw_scale_bars(sheet, page, x=x, y=y, longest=300 * u)
    draw_north(sheet, page, x=x + 372 * u, y=y + 118 * u)
    if layer in LAYERS:
        draw_ramp(sheet, LAYERS[layer], (x, y + 158 * u), unit=u, limits=limits)
    _entries(sheet, columns, (x + _LEFT * u, y), unit=u)
    foot = sheet.height - 22 * u
    for number, line in enumerate(reversed(page.credits)):
        sheet.text((x, foot - number * CREDIT_PX * u), line, size=17 * u, colour=MUTED)
    size = fitted(page.words, page.width - 2 * page.left, 23 * u)
    sheet.text((x, foot - len(page.credits) * CREDIT_PX * u), page.words, size=size, colour=MUTED)


def _entries(sheet: Sheet, columns: list[list[Entry]], at: tuple[float, float], *, unit: float) -> None:
    x, y = at
    for column in columns:
        for number, entry in enumerate(column):
            middle = y + (6 + number * _ROW) * unit
            entry.sample(sheet, x, middle, unit)
            sheet.text((x + _SAMPLE * unit, middle + 8 * unit), entry.words, size=_LETTERS * unit)
        x += _column_width(column, unit)


def draw_ramp(
    sheet: Sheet,
    look: LayerLook,
    at: tuple[float, float],
    *,
    unit: float,
    limits: list[tuple[float, str]],
) -> None:
    """Draw the ramp of a layer, with the walker's limits as lines; facing as a compass ring."""
    (x, y), u = at, unit
    if look.cyclic:
        _ring(sheet, look, (x + 84 * u, y + 30 * u), u)
        sheet.text((x + 190 * u, y + 38 * u), look.words, size=25 * u, kind="strong")
        return
    wide = 300 * u
    for step in range(120):
        red, green, blue = (int(v) for v in look.ramp[round(step / 119 * 255)])
        left = x + wide * step / 120
        sheet.box((left, y, left + wide / 120 + 1, y + 22 * u), (red, green, blue))
    sheet.text((x, y - 11 * u), look.words, size=25 * u, kind="strong")
    sheet.text((x, y + 46 * u), look.ends[0], size=23 * u)
    sheet.text((x + wide, y + 46 * u), look.ends[1], size=23 * u, anchor="rs")
    for value, words in limits:
        mark_x = x + wide * (value - look.low) / (look.high - look.low)
        sheet.stroke([np.array([[mark_x, y - 6 * u], [mark_x, y + 26 * u]])], INK, 2.6 * u)
        sheet.text((mark_x, y - 11 * u), words, size=22 * u, anchor="ms")


def _ring(sheet: Sheet, look: LayerLook, at: tuple[float, float], unit: float) -> None:
    (x, y), inner, outer = at, 30 * unit, 46 * unit
    turn = np.radians(np.arange(257) * 360 / 256)
    for step in range(256):
        a, b = float(turn[step]), float(turn[step + 1]) + 0.01
        red, green, blue = (int(v) for v in look.ramp[step])
        corners = [(inner, a), (outer, a), (outer, b), (inner, b)]
        ring = np.array([[x + r * np.sin(t), y - r * np.cos(t)] for r, t in corners])
        sheet.fill([ring], (red, green, blue))
    for letter, dx, dy in (("N", 0, -52), ("E", 62, 8), ("S", 0, 70), ("W", -62, 8)):
        sheet.text((x + dx * unit, y + dy * unit), letter, size=22 * unit, kind="strong", anchor="ms")

"""Layers laid over the web map: each as indices into a palette with its own opacity, packed in a millisecond."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from graylight.drawing.ground import LayerLook
from graylight.drawing.hillshade import Floats
from graylight.drawing.palettes import (
    COVER,
    DUSK,
    FACING,
    GREEN,
    INK,
    LIGHT,
    PAPER,
    RAMPS,
    RGB,
    mix,
    oklch,
    ramp,
)
from graylight.drawing.tile import SIDE, Cut, Stack, png_of

__all__ = [
    "BLANK",
    "GREENNESS",
    "QUIET",
    "WORTH",
    "cover_tile",
    "facing_tile",
    "picture_tile",
    "ramp_tile",
    "relief_tile",
    "seen_picture",
    "seen_tile",
    "shade_tile",
    "two_band_colours",
]  # fmt: skip

Index = NDArray[np.uint8]
Palette = NDArray[np.uint8]
"""(n, 4): red, green, blue, opacity."""

NOTHING, FIRST, LAST, LINE, SECOND_LINE = 0, 1, 250, 254, 255
"""Indices of a ramp's palette: clear, its two ends, and the two lines drawn on it."""
BLOCKED, TOUCH_AND_GO, CLEAR, OUTSIDE = 0, 1, 2, 3
"""The answers of graylight.sight.answers, which drawing does not import; a test holds them together."""

GREENNESS = LayerLook(
    ramp(oklch(0.93, 0.02, 95), GREEN, oklch(0.52, 0.11, 142)), 0.0, 1.0,
    "Greenness", ("bare", "green"), bare=0.08,
)  # fmt: skip
QUIET = LayerLook(
    ramp(oklch(0.36, 0.06, 268), oklch(0.62, 0.06, 250), oklch(0.93, 0.03, 200)), 0.0, 3.0,
    "Far from roads", ("at a road", "3 h on foot"),
)  # fmt: skip
WORTH = LayerLook(RAMPS["sight"], 0.0, 1.0, "Worth of sitting there", ("none", "best"), bare=0.04)
_DIM = mix(DUSK, INK, 0.4)
_PALE = PAPER
"""What is not picked out falls back toward the ground: dark on the dark map, pale in daylight."""
_LEVEL = 0.62
_TURNS = 120
"""Steps of a whole turn in the palette of facing; as many again, dimmed, for what was not picked out."""
_LEVEL_PART = 0.02
"""Where less than this is left of a facing after its neighbours were mixed in, it is none."""
_DOTS = 8
"""Pixels from dot to dot; a tile's side is a whole number of them."""


def _packed(index: Index, palette: Palette) -> bytes:
    image = Image.fromarray(np.ascontiguousarray(index)).convert("P")
    image.putpalette(np.ascontiguousarray(palette[:, :3]).tobytes(), "RGB")
    return png_of(image, alpha=palette[:, 3].tobytes())


BLANK = _packed(np.zeros((SIDE, SIDE), np.uint8), np.zeros((256, 4), np.uint8))
"""A tile on which nothing lies."""


def _entries(colours: NDArray[np.uint8], opacity: NDArray[np.floating] | float) -> Palette:
    """A palette of 256 entries: nothing, the colours from entry 1 on, and the two lines."""
    palette = np.zeros((256, 4), np.uint8)
    palette[FIRST : FIRST + len(colours), :3] = colours
    palette[FIRST : FIRST + len(colours), 3] = np.rint(np.clip(opacity, 0.0, 1.0) * 255.0)
    palette[LINE], palette[SECOND_LINE] = (*INK, 235), (*LIGHT, 255)
    return palette


def _ramp_palette(look: LayerLook) -> Palette:
    part = np.linspace(0.0, 1.0, LAST - FIRST + 1)
    colours = look.ramp[np.rint(part * 255).astype(int)]
    solid = (
        np.ones(len(part)) if look.bare is None else np.clip((part - look.bare * 0.5) / look.bare, 0.0, 1.0)
    )
    return _entries(colours, solid)


def ramp_tile(
    stack: Stack, cut: Cut, look: LayerLook, *, scale: float = 1.0, lines: Sequence[float] = ()
) -> bytes:
    """Draw a tile along a ramp.

    Parameters
    ----------
    cut
        With a rim of one pixel where there are lines.
    scale
        What the raster's values are multiplied by to be in the unit of `look`.
    lines
        At most two values at which a line is drawn, in the raster's own unit.
    """
    values = np.asarray(stack.cut(cut), np.float32)
    index = _ramp_index(values, look.low / scale, look.high / scale)
    for entry, line in zip((LINE, SECOND_LINE), lines, strict=False):
        index[_border(values, line)] = entry
    return _packed(_without_rim(index, cut), _ramp_palette(look))


def _ramp_index(values: Floats, low: float, high: float) -> Index:
    with np.errstate(invalid="ignore"):
        at = np.clip((values - low) * ((LAST - FIRST) / (high - low)) + FIRST, FIRST, LAST)
    return np.asarray(np.nan_to_num(at, nan=NOTHING), np.float32).astype(np.uint8)


def _border(values: Floats, line: float) -> NDArray[np.bool_]:
    """Pixels on the steep side of a line; the edge of what is known is none."""
    with np.errstate(invalid="ignore"):
        over, under = values >= line, values < line
    found = np.zeros(over.shape, bool)
    found[1:] |= over[1:] & under[:-1]
    found[:-1] |= over[:-1] & under[1:]
    found[:, 1:] |= over[:, 1:] & under[:, :-1]
    found[:, :-1] |= over[:, :-1] & under[:, 1:]
    return found


def _without_rim(index: Index, cut: Cut) -> Index:
    rim = (cut.side - SIDE) // 2
    return index[rim : rim + SIDE, rim : rim + SIDE]


def facing_tile(
    east: Stack, north: Stack, cut: Cut, arc: tuple[float, float] | None, *, day: bool = False
) -> bytes:
    """Draw which way the ground faces; outside an arc (from, clockwise, to; degrees true) it is dimmed.

    Parameters
    ----------
    east, north
        Sine and cosine of the azimuth faced, so that 359 and 1 meet at 0; both 0 on level ground, NaN where not known.
    day
        For the map in daylight: pale instead of dark.
    """
    over, up = np.asarray(east.cut(cut), np.float32), np.asarray(north.cut(cut), np.float32)
    turn = np.degrees(np.arctan2(over, up)) % 360.0
    known, level = np.isfinite(turn), np.hypot(over, up) < _LEVEL_PART
    index = FIRST + np.nan_to_num(turn * (_TURNS / 360.0)).astype(np.uint8) % _TURNS
    if arc is not None:
        wide = (arc[1] - arc[0]) % 360.0 or 360.0
        index = np.where(((turn - arc[0]) % 360.0 <= wide) & ~level, index, index + _TURNS)
    shown = known if arc is not None else known & ~level
    index = np.where(shown, index, NOTHING).astype(np.uint8)
    return _packed(_without_rim(index, cut), _FACING_BY_DAY if day else _FACING)


def _facing_palette(away: RGB) -> Palette:
    colours = FACING[(np.arange(_TURNS) + 0.5).astype(int) * 256 // _TURNS]
    dim = np.tile(np.array(away, np.uint8), (_TURNS, 1))
    return _entries(np.vstack([colours, dim]), np.repeat([1.0, 0.72], _TURNS))


_FACING, _FACING_BY_DAY = _facing_palette(_DIM), _facing_palette(_PALE)


def _relief_palette() -> Palette:
    """Night blue below the level's own light, warm white above it, as on the printed map."""
    value = np.linspace(0.0, 1.0, LAST - FIRST + 1)
    dark = np.clip((_LEVEL - value) / _LEVEL, 0.0, 1.0) ** 0.9 * 0.9
    bright = np.clip((value - _LEVEL) / (1.0 - _LEVEL), 0.0, 1.0) * 0.5
    colours = np.where((value < _LEVEL)[:, None], np.array(mix(DUSK, INK, 0.6)), np.array(PAPER)).astype(
        np.uint8
    )
    return _entries(colours, np.where(value < _LEVEL, dark, bright))


_RELIEF = _relief_palette()


def relief_tile(shade: Stack, cut: Cut) -> bytes:
    """Draw shaded relief as a veil, to be laid over any ground."""
    index = _ramp_index(np.asarray(shade.cut(cut), np.float32), 0.0, 1.0)
    return _packed(_without_rim(index, cut), _RELIEF)


def _shade_palette() -> Palette:
    part = np.linspace(0.0, 1.0, LAST - FIRST + 1)
    colours = np.where((part < 0.5)[:, None], np.array(LIGHT), np.array(_DIM)).astype(np.uint8)
    return _entries(colours, np.where(part < 0.5, (0.5 - part) * 0.75, (part - 0.5) * 1.5))


_SHADE = _shade_palette()


def shade_tile(percent: Stack, cut: Cut) -> bytes:
    """Draw how much of the sun's beam the ground lacks: warm where it is full, dark where there is none."""
    index = _ramp_index(np.asarray(percent.cut(cut), np.float32), 0.0, 100.0)
    return _packed(_without_rim(index, cut), _SHADE)


def _cover_palette() -> Palette:
    palette = np.zeros((256, 4), np.uint8)
    for value, colour in COVER.items():
        palette[value] = (*colour, 255 if value else 0)
    return palette


_COVER = _cover_palette()


def cover_tile(kind: Stack, cut: Cut) -> bytes:
    """Draw kinds of cover in their own tints, none mixed, so that each is found in the key; clear where not known."""
    return _packed(np.asarray(kind.cut(cut), np.uint8), _COVER)


def two_band_colours(red: Floats, nir: Floats) -> NDArray[np.uint8]:
    """A picture from red and near infrared, (rows, cols, 4): growth green, bare ground grey; not true colours."""
    known = np.isfinite(red) & np.isfinite(nir)
    r, n = _stretched(red, known), _stretched(nir, known)
    bands = [25.0 + 205.0 * part for part in (r, 0.58 * r + 0.42 * n, 0.78 * r + 0.06 * n)]
    return np.stack([*bands, np.where(known, 255, 0)], axis=-1).astype(np.uint8)


def _stretched(band: Floats, known: NDArray[np.bool_]) -> Floats:
    some = band[known][::16]
    low, high = np.percentile(some, [1.0, 99.0]) if some.size else (0.0, 1.0)
    return np.asarray(
        np.clip((np.nan_to_num(band) - low) / max(float(high - low), 1e-6), 0.0, 1.0), np.float32
    )


def picture_tile(colours: Stack, cut: Cut) -> bytes:
    """A tile of a coloured raster, (rows, cols, 4)."""
    shown = np.asarray(colours.cut(cut), np.uint8)
    whole = bool((shown[..., 3] == 255).all())
    return png_of(Image.fromarray(np.ascontiguousarray(shown[..., :3]) if whole else shown))


def _seen_palette(away: RGB) -> Palette:
    palette = np.zeros((256, 4), np.uint8)
    palette[FIRST + BLOCKED] = (*away, 150)
    palette[FIRST + TOUCH_AND_GO] = (*away, 110)
    palette[FIRST + CLEAR] = (*LIGHT, 96)
    palette[LINE] = (*LIGHT, 225)
    return palette


_SEEN, _SEEN_BY_DAY = _seen_palette(_DIM), _seen_palette(_PALE)


def seen_tile(shown: Stack, cut: Cut) -> bytes:
    """Draw what a place sees: lit where clear, dotted where touch-and-go, dimmed where blocked.

    Parameters
    ----------
    shown
        Answers plus one, as classes, so that 0 outside the raster is nothing; OUTSIDE is nothing, too.
    """
    index = np.array(shown.cut(cut), np.uint8)
    return _packed(_dotted(_without_rim(index, cut), _DOTS), _SEEN)


def seen_picture(answers: NDArray[np.uint8], *, day: bool = False) -> bytes:
    """What a place sees, a pixel a cell, as `seen_tile` draws it; for the map in daylight pale where blocked."""
    return _packed(_dotted(answers + np.uint8(FIRST), 4), _SEEN_BY_DAY if day else _SEEN)


def _dotted(index: Index, apart: int) -> Index:
    rows, cols = np.ogrid[: index.shape[0], : index.shape[1]]
    shifted = cols + (rows // apart % 2) * (apart // 2)
    size = max(apart // 2 - 1, 1)
    dots = (rows % apart < size) & (shifted % apart < size)
    return np.where(dots & (index == FIRST + TOUCH_AND_GO), np.uint8(LINE), index)

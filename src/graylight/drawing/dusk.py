"""Colours of a view at dusk: light on the ground, air before it, the edge of each ridge, and the sky."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from graylight.drawing.palettes import ANIMAL, INK, LIGHT, RGB, mix, oklab, oklch, ramp, rgb_of
from graylight.sight.panorama import UNKNOWN, Panorama

__all__ = ["coloured"]

_SHADES, _AIRS, _RISES, _GLOWS = 64, 32, 96, 32
_AIR = oklch(0.855, 0.032, 268)
_GROUND = (
    oklch(0.295, 0.060, 266), oklch(0.400, 0.058, 272), oklch(0.580, 0.048, 300), oklch(0.760, 0.075, 66),
    oklch(0.890, 0.085, 84),
)  # fmt: skip
"""From ground turned away from the light to ground that faces it squarely."""
_SKY = (oklch(0.950, 0.022, 85), oklch(0.890, 0.026, 275), oklch(0.770, 0.045, 264))
"""From the skyline upward."""
_NOT_KNOWN = oklch(0.80, 0.012, 268)
_MOST_AIR = 0.78
"""Part of its colour that the farthest ground loses."""
_TINT = 0.46
"""How much of a pocket's colour is the animals'."""
_EDGE_FROM, _EDGE_FULL = 1.05, 1.9
"""Ground so many times farther away just above a pixel begins, and makes, the edge of a ridge."""


def coloured(
    view: Panorama,
    *,
    light: tuple[float, float],
    pockets: NDArray[np.int32] | None,
    head: int,
) -> NDArray[np.uint8]:
    """Colour a view, with `head` more pixels of sky above it.

    Parameters
    ----------
    view
        What is seen.
    light
        True azimuth and altitude of the light, degrees.
    pockets : (height, width) int32, optional
        Above 0 on the ground of pockets.
    head
        Pixels.

    Returns
    -------
    (head + height, width, 3) uint8
    """
    at = _sky(view, head, light[0])
    ground = view.row >= 0
    part = at[head:]
    np.copyto(part, _ground(view, light, pockets), where=ground)
    part[view.row == UNKNOWN] = _LAST
    colour = np.take(_table(), at, axis=0)
    _soften(colour[head:], view)
    _edge_ridges(colour[head:], view)
    if pockets is not None:
        _edge_pockets(colour[head:], pockets)
    return colour


_TINTED = _SHADES * _AIRS
_SKY_FROM = 2 * _TINTED
_LAST = _SKY_FROM + _RISES * _GLOWS


@lru_cache(maxsize=1)
def _table() -> NDArray[np.uint8]:
    """All colours: ground by shade and air, the same tinted, sky by rise and glow, unknown."""
    shades = oklab(ramp(*_GROUND, size=_SHADES))[:, None, :]
    air = np.linspace(0.0, _MOST_AIR, _AIRS)[None, :, None]
    plain = shades * (1.0 - air) + oklab(_AIR) * air
    # the tint takes over hue and chroma; lightness stays nearly the ground's own, so the land is seen through it
    animal = oklab(ANIMAL)
    tinted = plain * (1.0 - _TINT) + animal * _TINT
    tinted[..., 0] = 0.9 * plain[..., 0] + 0.1 * animal[0]
    sky = oklab(ramp(*_SKY, size=_RISES))[:, None, :]
    low = np.linspace(1.0, 0.0, _RISES)[:, None, None] ** 2
    glow = np.linspace(0.0, 0.5, _GLOWS)[None, :, None] * low
    warm = oklab(mix(LIGHT, (255, 255, 255), 0.35))
    lit = sky * (1.0 - glow) + warm * glow
    labs = [part.reshape(-1, 3) for part in (plain, tinted, lit)]
    return rgb_of(np.vstack([*labs, oklab(_NOT_KNOWN)[None, :]]))


def _ground(
    view: Panorama, light: tuple[float, float], pockets: NDArray[np.int32] | None
) -> NDArray[np.int32]:
    """Place of each ground pixel in the table."""
    facing = view.light(*light)
    # 0.14 is level ground under a light 8 degrees high: it lies a third up the ramp, so both sides have room
    shade = (facing + np.float32(0.42)) * np.float32((_SHADES - 1) / 1.32)
    np.clip(shade, 0, _SHADES - 1, out=shade)
    known = view.distance_m[view.row >= 0]
    far = float(np.percentile(known[::37], 95.0)) if known.size else 1.0
    air = np.nan_to_num(view.distance_m, nan=0.0)
    # thins out like air: half of all haze lies within the nearer third of the view
    np.negative(air, out=air)
    np.multiply(air, np.float32(2.0 / max(far, 1.0)), out=air)
    np.exp(air, out=air)
    air = (np.float32(1.0) - air) * np.float32((_AIRS - 1) / (1.0 - math.exp(-2.0)))
    np.clip(air, 0, _AIRS - 1, out=air)
    at = shade.astype(np.int32) * np.int32(_AIRS) + air.astype(np.int32)
    if pockets is not None:
        at += (pockets > 0) * np.int32(_TINTED)
    return at


def _sky(view: Panorama, head: int, light_deg: float) -> NDArray[np.int32]:
    """Place of each pixel in the table, as though all were sky."""
    high = head + view.height
    skyline = view.skyline_deg[np.isfinite(view.skyline_deg)]
    low = float(np.percentile(skyline, 20.0)) if skyline.size else 0.0
    foot = head + (view.up_to_deg - low) * view.pixels_per_deg[1]
    rise = np.clip((foot - np.arange(high)) / max(foot, 1.0), 0.0, 1.0)
    turn = np.cos(np.radians(view.azimuth_deg - light_deg))
    glow = np.clip(turn, 0.0, 1.0) ** 2
    rows = (rise * (_RISES - 1)).astype(np.int32) * np.int32(_GLOWS)
    cols = (glow * (_GLOWS - 1)).astype(np.int32)
    return np.asarray(rows[:, None] + cols[None, :] + np.int32(_SKY_FROM), np.int32)


def _soften(colour: NDArray[np.uint8], view: Panorama) -> None:
    """Give the pixel that the skyline cuts its part of ground."""
    edge = (view.up_to_deg - np.nan_to_num(view.skyline_deg, nan=-90.0)) * view.pixels_per_deg[1]
    y = np.floor(edge).astype(int)
    x = np.flatnonzero((y >= 0) & (y < view.height - 1))
    y = y[x]
    sky = view.row[y, x] == -1
    x, y = x[sky], y[sky]
    part = (1.0 - (edge[x] - y))[:, None]
    colour[y, x] = np.rint(colour[y + 1, x] * part + colour[y, x] * (1.0 - part)).astype(np.uint8)


def _edge_ridges(colour: NDArray[np.uint8], view: Panorama) -> None:
    """Darken the crest of ground that stands before ground much farther away, or before the sky."""
    near, beyond = view.distance_m[1:], view.distance_m[:-1]
    # ground seen at a low angle grows far from pixel to pixel too: only more than it did a pixel lower is an edge
    jump = beyond / np.maximum(near, np.float32(1.0))
    below = np.ones_like(jump)
    below[:-1] = jump[1:]
    sky = np.isnan(beyond) & ~np.isnan(near)
    y, x = _where((jump > below * np.float32(_EDGE_FROM)) | sky)
    times = np.nan_to_num(jump[y, x] / below[y, x], nan=_EDGE_FULL)
    strength = np.clip((times - 1.0) / (_EDGE_FULL - 1.0), 0.15, 1.0)
    far = float(np.nanmax(view.distance_m)) if y.size else 1.0
    strength *= 0.70 - 0.45 * np.sqrt(near[y, x] / max(far, 1.0))
    _ink(colour, y + 1, x, INK, strength)


def _edge_pockets(colour: NDArray[np.uint8], pockets: NDArray[np.int32]) -> None:
    """Draw the rim of each pocket's ground as it is seen."""
    inside = np.zeros((pockets.shape[0] + 2, pockets.shape[1] + 2), np.int32)
    inside[1:-1, 1:-1] = pockets
    rim = np.zeros(pockets.shape, np.bool_)
    for rows, cols in ((slice(0, -2), slice(1, -1)), (slice(2, None), slice(1, -1)),
                       (slice(1, -1), slice(0, -2)), (slice(1, -1), slice(2, None))):  # fmt: skip
        rim |= inside[rows, cols] != pockets
    y, x = _where(rim & (pockets > 0))
    _ink(colour, y, x, ANIMAL, np.full(y.size, 0.6))


def _where(mask: NDArray[np.bool_]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    # several times faster than a search in two dimensions
    y, x = np.divmod(np.flatnonzero(mask.ravel()), mask.shape[1])
    return y, x


def _ink(
    colour: NDArray[np.uint8],
    y: NDArray[np.int64],
    x: NDArray[np.int64],
    ink: RGB,
    strength: NDArray[np.floating],
) -> None:
    part = strength[:, None]
    colour[y, x] = np.rint(colour[y, x] * (1.0 - part) + np.array(ink) * part).astype(np.uint8)

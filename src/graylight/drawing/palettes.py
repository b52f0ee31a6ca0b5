"""Colours of graylight: ink-blue dusk, one warm colour for light, one for animals.

Everything is mixed in OKLab (Ottosson 2020, "A perceptual color space for image processing"), so that equal
steps of a ramp look equal, and the ramps of this project are made here, by code, from a few anchors.
"""

from __future__ import annotations

import math
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "ANIMAL", "CONTOUR", "COVER", "DUSK", "FACING", "FEED", "GREEN", "INK", "LIGHT", "MUTED", "PAPER",
    "RAMPS", "REST", "RGB", "SEEN", "SLOPE", "WALK", "WATER", "contrast", "cyclic", "hex_of", "mix", "oklab",
    "oklch", "ramp", "rgb_of",
]  # fmt: skip

RGB: TypeAlias = tuple[int, int, int]

_TO_LMS = np.array(
    [
        [0.4122214708, 0.5363325363, 0.0514459929],
        [0.2119034982, 0.6806995451, 0.1073969566],
        [0.0883024619, 0.2817188376, 0.6299787005],
    ]
)
_TO_LAB = np.array(
    [
        [0.2104542553, 0.7936177850, -0.0040720468],
        [1.9779984951, -2.4285922050, 0.4505937099],
        [0.0259040371, 0.7827717662, -0.8086757660],
    ]
)


def oklab(rgb: NDArray[np.generic] | RGB) -> NDArray[np.float64]:
    """Turn sRGB in [0, 255], shape (..., 3), into OKLab (L in [0, 1], a, b)."""
    value = np.asarray(rgb, dtype=np.float64) / 255.0
    linear = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    return np.asarray(np.cbrt(linear @ _TO_LMS.T) @ _TO_LAB.T)


def rgb_of(lab: NDArray[np.floating]) -> NDArray[np.uint8]:
    """Turn OKLab, shape (..., 3), into sRGB bytes; what lies outside sRGB is clipped."""
    linear = (lab @ np.linalg.inv(_TO_LAB).T) ** 3 @ np.linalg.inv(_TO_LMS).T
    linear = np.clip(linear, 0.0, 1.0)
    value = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return np.asarray(np.rint(value * 255.0), dtype=np.uint8)


def oklch(lightness: float, chroma: float, hue_deg: float) -> RGB:
    """Make one colour from lightness [0, 1], chroma (about 0 to 0.3) and hue in degrees."""
    hue = math.radians(hue_deg)
    lab = np.array([lightness, chroma * math.cos(hue), chroma * math.sin(hue)])
    red, green, blue = (int(v) for v in rgb_of(lab))
    return red, green, blue


def mix(a: RGB, b: RGB, part: float) -> RGB:
    """Mix two colours in OKLab: part 0 gives a, 1 gives b."""
    lab = oklab(a) * (1.0 - part) + oklab(b) * part
    red, green, blue = (int(v) for v in rgb_of(lab))
    return red, green, blue


def hex_of(colour: RGB) -> str:
    """Write a colour as #rrggbb."""
    return "#{:02x}{:02x}{:02x}".format(*colour)


def ramp(*anchors: RGB, size: int = 256) -> NDArray[np.uint8]:
    """Make a (size, 3) ramp through the anchors whose steps are of equal length in OKLab."""
    labs = oklab(np.array(anchors))
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(labs, axis=0), axis=1))])
    at = np.linspace(0.0, along[-1], size)
    return rgb_of(np.column_stack([np.interp(at, along, labs[:, i]) for i in range(3)]))


def cyclic(
    *, centre: float = 0.74, lift: float = 0.105, warm: float = 0.1107, tint: float = 0.035
) -> NDArray[np.uint8]:
    """Make the cyclic ramp for facing, (256, 3), entry 0 at north, 64 at east.

    A tilted circle in OKLab: north dark, south light, east amber as under the first sun, west blue. All
    entries are as far from their neighbours as any other (warm^2 = lift^2 + tint^2). The circle lies nearly
    in the plane of lightness and blue-yellow, which people with red-green colour blindness see.
    """
    turn = np.arange(256) * (2.0 * math.pi / 256.0)
    return rgb_of(np.column_stack([centre - lift * np.cos(turn), tint * np.cos(turn), warm * np.sin(turn)]))


def contrast(a: RGB, b: RGB) -> float:
    """Contrast ratio of two colours, 1 to 21 (WCAG 2.2, relative luminance)."""
    one, two = sorted((_luminance(a), _luminance(b)))
    return (two + 0.05) / (one + 0.05)


def _luminance(colour: RGB) -> float:
    value = np.asarray(colour, dtype=np.float64) / 255.0
    linear = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    return float(linear @ np.array([0.2126, 0.7152, 0.0722]))


INK = oklch(0.27, 0.055, 262)
"""Lines and letters: night blue."""
PAPER = oklch(0.972, 0.008, 95)
"""Margins and halos."""
DUSK = oklch(0.40, 0.065, 268)
"""Shade on the ground, and ground out of sight."""
MUTED = oklch(0.50, 0.035, 262)
"""Lesser letters."""
CONTOUR = oklch(0.42, 0.045, 275)
"""Contour lines."""
WATER = oklch(0.50, 0.105, 245)
"""Streams, shores and the names of water."""
LIGHT = oklch(0.80, 0.155, 78)
"""The one warm colour for light: lookouts, what they see, the way to them."""
ANIMAL = oklch(0.50, 0.165, 28)
"""The one warm colour for animals: pockets, feed, beds, crossings."""

COVER: dict[int, RGB] = {
    0: oklch(0.900, 0.000, 95),  # not known
    1: oklch(0.705, 0.045, 163),  # timber
    2: oklch(0.780, 0.090, 131),  # brush
    3: oklch(0.955, 0.090, 109),  # grass and forbs
    4: oklch(0.820, 0.020, 70),  # rock with growth between
    5: oklch(0.760, 0.021, 301),  # bare rock
    6: oklch(0.770, 0.076, 243),  # water
    7: oklch(0.990, 0.007, 230),  # snow
    8: oklch(0.885, 0.053, 76),  # worked ground
}
"""Tint by kind of cover. Any two are told apart with colour blindness, too: chosen by search for the largest least
distance under simulation (tests/unit/test_colour_blind.py), not far from what the kinds look like. The keys are those of
graylight.ground.cover.Kind (a test holds them together)."""

GREEN = oklch(0.855, 0.082, 130)
"""Towards this the open ground is tinted as it greens."""

SLOPE = ramp(
    oklch(0.965, 0.012, 95), oklch(0.80, 0.065, 325), oklch(0.58, 0.110, 300), oklch(0.30, 0.090, 275)
)
FACING = cyclic()
FEED = ramp(oklch(0.955, 0.020, 85), oklch(0.82, 0.095, 55), oklch(0.62, 0.155, 36))
REST = ramp(oklch(0.955, 0.016, 85), oklch(0.72, 0.070, 5), oklch(0.36, 0.110, 350))
SEEN = ramp(oklch(0.36, 0.060, 268), oklch(0.62, 0.075, 30), LIGHT, oklch(0.95, 0.070, 95))
WALK = ramp(oklch(0.96, 0.030, 95), oklch(0.72, 0.085, 215), oklch(0.34, 0.085, 268))

RAMPS: dict[str, NDArray[np.uint8]] = {
    "slope": SLOPE, "facing": FACING, "feed": FEED, "bed": REST, "sight": SEEN, "walk": WALK,
}  # fmt: skip

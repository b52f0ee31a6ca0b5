"""One layer as a plain picture, with its ramp below: for documents and for a quick look."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from graylight.drawing.hillshade import Floats
from graylight.drawing.palettes import COVER, INK, PAPER
from graylight.drawing.sheet import Sheet
from graylight.errors import BadInput

__all__ = ["draw_classes", "draw_layer"]


def draw_layer(
    values: Floats,
    ramp: NDArray[np.uint8],
    *,
    low: float | None = None,
    high: float | None = None,
    shade: Floats | None = None,
    width_px: int = 800,
    title: str = "",
    ends: tuple[str, str] | None = None,
    cyclic: bool = False,
) -> Image.Image:
    """Draw a raster along a ramp.

    Parameters
    ----------
    values : (rows, cols) float32
        NaN is left bare.
    ramp : (256, 3) uint8
        From graylight.drawing.palettes.
    low, high
        Ends of the ramp; none: the least and greatest value. For a cyclic ramp 0 and the full turn (360).
    shade : (rows, cols) float32 in [0, 1], optional
        From `hillshade`, laid over.
    width_px
        Width of the picture.
    title, ends
        Written below with the ramp; with neither there is no strip.
    cyclic
        The ramp closes on itself.
    """
    if values.ndim != 2 or values.size == 0:
        raise BadInput(f"a layer of shape {values.shape}; accepted is one value per cell, (rows, cols)")
    known = np.isfinite(values)
    if cyclic:
        low, high = 0.0, 360.0 if high is None else high
    low, high = _ends(values[known], low, high)
    part = np.where(known, (values - low) / max(high - low, 1e-12), 0.0)
    at = np.rint(part * 256).astype(int) % 256 if cyclic else np.clip(np.rint(part * 255), 0, 255).astype(int)
    colour = ramp[at].astype(np.float32)
    if shade is not None:
        colour *= np.clip(0.70 + 0.48 * np.nan_to_num(shade, nan=0.62), 0.0, 1.12)[..., None]
    colour[~known] = np.array(PAPER) * 0.94
    picture = _scaled(np.clip(colour, 0, 255).astype(np.uint8), width_px)
    if not title and ends is None:
        return picture
    return _with_strip(picture, ramp, title, ends or (f"{low:g}", f"{high:g}"))


def draw_classes(
    kinds: NDArray[np.uint8], *, shade: Floats | None = None, width_px: int = 800
) -> Image.Image:
    """Draw kinds of cover in their tints."""
    table = np.array([COVER.get(kind, COVER[0]) for kind in range(256)], dtype=np.float32)
    colour = table[kinds]
    if shade is not None:
        colour *= np.clip(0.45 + 0.85 * np.nan_to_num(shade, nan=0.62), 0.0, 1.08)[..., None]
    return _scaled(np.clip(colour, 0, 255).astype(np.uint8), width_px)


def _ends(known: Floats, low: float | None, high: float | None) -> tuple[float, float]:
    if low is None:
        low = float(known.min()) if known.size else 0.0
    if high is None:
        high = float(known.max()) if known.size else 1.0
    return low, high


def _scaled(rgb: NDArray[np.uint8], width: int) -> Image.Image:
    high = max(1, round(rgb.shape[0] * width / rgb.shape[1]))
    how = Image.Resampling.BOX if width < rgb.shape[1] else Image.Resampling.NEAREST
    return Image.fromarray(rgb).resize((width, high), how)


def _with_strip(
    picture: Image.Image, ramp: NDArray[np.uint8], title: str, ends: tuple[str, str]
) -> Image.Image:
    u = picture.width / 800
    strip = round(66 * u)
    sheet = Sheet((picture.width, picture.height + strip))
    left, wide, top = 330 * u, 330 * u, picture.height + 18 * u
    for step in range(128):
        red, green, blue = (int(v) for v in ramp[round(step / 127 * 255)])
        x = left + wide * step / 128
        sheet.box((x, top, x + wide / 128 + 1, top + 22 * u), (red, green, blue))
    base = picture.height + 38 * u
    sheet.text((16 * u, base), title, size=27 * u, kind="strong", colour=INK)
    sheet.text((left - 10 * u, base), ends[0], size=22 * u, anchor="rs")
    sheet.text((left + wide + 10 * u, base), ends[1], size=22 * u)
    out = sheet.finish()
    out.paste(picture, (0, 0))
    return out

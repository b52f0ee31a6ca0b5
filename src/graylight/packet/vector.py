"""A sheet whose drawing comes out as SVG: lines and letters stay sharp at whatever size they are printed."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from xml.sax.saxutils import escape

import numpy as np
import shapely
from PIL import Image

from graylight.drawing.lettering import Box, Face
from graylight.drawing.palettes import INK, RGB, hex_of
from graylight.drawing.sheet import Anchor, Points, Sheet

__all__ = ["VectorSheet"]

FAMILY = "Barlow"
_WEIGHT = {"plain": "500", "strong": "600", "slanted": "500"}
_ANCHOR = {"ls": "start", "ms": "middle", "rs": "end"}
_BEYOND_PX = 40.0
"""So far beyond the edge lines are kept, so that no end of a broad line shows."""
_STRAIGHT_PX = 0.12
"""Points nearer than this to the line without them are left out: a fiftieth of a millimetre on paper."""


class VectorSheet(Sheet):
    """Takes what a `Sheet` takes, on no ground; lengths are in pixels, y downward.

    Parameters
    ----------
    width, height
        Of the picture; what lies beyond is cut off.
    """

    def __init__(self, width: int, height: int) -> None:
        self.width, self.height = width, height
        self._parts: list[str] = []

    def svg(self) -> bytes:
        """The drawing as SVG 1.1, UTF-8."""
        size = f'width="{self.width}" height="{self.height}" viewBox="0 0 {self.width} {self.height}"'
        clip = f'<clipPath id="edge"><rect width="{self.width}" height="{self.height}"/></clipPath>'
        body = "\n".join(self._parts)
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" {size}>\n<defs>{clip}</defs>\n'
            f'<g clip-path="url(#edge)" fill="none" stroke-linejoin="round">\n{body}\n</g>\n</svg>\n'
        ).encode()

    def finish(self) -> Image.Image:
        """Refused: this sheet has no pixels."""
        raise NotImplementedError("a vector sheet is handed over by svg()")

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
        """Draw lines, each (n, 2)."""
        path = "".join(part for line in lines for part in self._within(line))
        if path:
            cap = ' stroke-linecap="round"' if round_ends else ""
            marks = "" if not dash else f' stroke-dasharray="{" ".join(_n(v) for v in dash)}"'
            self._parts.append(
                f'<path d="{path}" stroke="{hex_of(colour)}" stroke-width="{_n(width)}"{_part("stroke", opacity)}{cap}{marks}/>'
            )

    def fill(self, rings: Sequence[Points], colour: RGB, *, opacity: float = 1.0) -> None:
        """Fill an area: its outer ring, then holes."""
        path = _rings(rings)
        if path:
            self._parts.append(
                f'<path d="{path}" fill="{hex_of(colour)}" fill-rule="evenodd"{_part("fill", opacity)}/>'
            )

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
        """Fill an area with slanted lines, cut at its edge."""
        kept = [ring for ring in rings if len(ring) > 2]
        if not kept:
            return
        area = shapely.make_valid(shapely.Polygon(kept[0], kept[1:]))
        edge = shapely.box(-_BEYOND_PX, -_BEYOND_PX, self.width + _BEYOND_PX, self.height + _BEYOND_PX)
        shown = shapely.intersection(area, edge)
        if shown.is_empty:
            return
        left, top, right, bottom = shown.bounds
        high, step = bottom - top, apart * math.sqrt(2.0)
        # lines through whole steps of x + y (or x - y), so that neighbours' hatches meet
        first, last = (left + top, right + bottom) if rise > 0 else (left - bottom, right - top)
        slants = []
        for number in range(math.floor(first / step), math.ceil(last / step) + 1):
            c = number * step
            ends = (
                ((c - top, top), (c - bottom, bottom)) if rise > 0 else ((c + top, top), (c + bottom, bottom))
            )
            slants.append(ends)
        if high > 0 and slants:
            cut = shapely.intersection(shapely.MultiLineString(slants), shown)
            parts = [
                np.asarray(one.coords)
                for one in getattr(cut, "geoms", [cut])
                if one.geom_type == "LineString"
            ]
            self.stroke(parts, colour, width, opacity=opacity)

    def paste(self, picture: Image.Image, x: float, y: float) -> None:
        """Refused: pictures are laid under this sheet, not on it."""
        raise NotImplementedError("a vector sheet takes no pictures")

    def disc(self, x: float, y: float, radius: float, colour: RGB) -> None:
        """Draw a full circle."""
        self._parts.append(f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(radius)}" fill="{hex_of(colour)}"/>')

    def box(
        self, box: Box, colour: RGB, *, round_px: float = 0.0, outline: RGB | None = None, width: float = 1.0
    ) -> None:
        """Draw a full box; the outline lies inside it, as on a `Sheet`."""
        inset = 0.0 if outline is None else width / 2
        left, top, right, bottom = box[0] + inset, box[1] + inset, box[2] - inset, box[3] - inset
        line = "" if outline is None else f' stroke="{hex_of(outline)}" stroke-width="{_n(width)}"'
        self._parts.append(
            f'<rect x="{_n(left)}" y="{_n(top)}" width="{_n(max(right - left, 0.0))}" '
            f'height="{_n(max(bottom - top, 0.0))}" rx="{_n(round_px)}" fill="{hex_of(colour)}"{line}/>'
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
        """Write a line with its baseline at y."""
        self._write(at, text, size=size, kind=kind, colour=colour, anchor=anchor, halo=halo, halo_px=halo_px)

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
        turn = f' transform="rotate({_n(-turn_deg)} {_n(at[0])} {_n(at[1])})"'
        low = (at[0], at[1] + 0.36 * size)
        self._write(
            low, text, size=size, kind=kind, colour=colour, anchor="ms", halo=halo, halo_px=2.2, turn=turn
        )

    def _write(
        self, at: tuple[float, float], text: str, *, size: float, kind: Face, colour: RGB, anchor: Anchor,
        halo: RGB | None, halo_px: float, turn: str = "",
    ) -> None:  # fmt: skip
        if not text:
            return
        slant = ' font-style="italic"' if kind == "slanted" else ""
        face = f'font-family="{FAMILY}, sans-serif" font-stretch="semi-condensed" font-weight="{_WEIGHT[kind]}"{slant}'
        letters = f'x="{_n(at[0])}" y="{_n(at[1])}" {face} font-size="{_n(size)}" text-anchor="{_ANCHOR[anchor]}"{turn}'
        said = escape(text)
        if halo is not None:
            # a halo is a second, outlined copy below: not every program heeds paint-order
            self._parts.append(
                f'<text {letters} fill="{hex_of(halo)}" stroke="{hex_of(halo)}" stroke-width="{_n(2 * halo_px)}" '
                f'opacity="0.8">{said}</text>'
            )
        self._parts.append(f'<text {letters} fill="{hex_of(colour)}">{said}</text>')

    def _within(self, line: Points) -> list[str]:
        """A line as path data, without what lies far beyond the edge."""
        if len(line) < 2:
            return []
        low, high = np.min(line, axis=0), np.max(line, axis=0)
        far = _BEYOND_PX
        if high[0] < -far or high[1] < -far or low[0] > self.width + far or low[1] > self.height + far:
            return []
        if low[0] >= -far and low[1] >= -far and high[0] <= self.width + far and high[1] <= self.height + far:
            return [_path(np.asarray(line))]
        cut = shapely.clip_by_rect(shapely.LineString(line), -far, -far, self.width + far, self.height + far)
        return [_path(np.asarray(one.coords)) for one in getattr(cut, "geoms", [cut]) if not one.is_empty]


def _n(value: float) -> str:
    """A number to a tenth of a pixel."""
    return f"{round(float(value), 1) + 0.0:g}" if abs(value) < 1e5 else f"{value:.1f}"


def _part(what: str, opacity: float) -> str:
    return "" if opacity >= 1.0 else f' {what}-opacity="{opacity:.3g}"'


def _path(line: Points) -> str:
    """Path data in tenths of a pixel, without points that lie on the line between others to a fraction of one."""
    plain = shapely.simplify(shapely.LineString(line), _STRAIGHT_PX, preserve_topology=False)
    tenths = np.rint(shapely.get_coordinates(plain) * 10.0).astype(np.int64)
    points = (tenths / 10.0).tolist()
    return f"M{points[0][0]:g} {points[0][1]:g}L" + " ".join(f"{x:g} {y:g}" for x, y in points[1:])


def _rings(rings: Sequence[Points]) -> str:
    return "".join(_path(np.asarray(ring)) + "Z" for ring in rings if len(ring) > 2)

"""Maps for paper: light ground under sharp lines and letters, with the grid and all that stands around it."""

from __future__ import annotations

import io
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from PIL import Image

from graylight.drawing import legend
from graylight.drawing.contours import FOOT_M
from graylight.drawing.furniture import MILE_M
from graylight.drawing.ground import MapData, paint, shade_of
from graylight.drawing.labels import seat_labels
from graylight.drawing.legend import Entry
from graylight.drawing.lettering import Room, extent
from graylight.drawing.linework import contour_words, draw_areas, draw_contours, draw_ways
from graylight.drawing.map import ground_labels
from graylight.drawing.palettes import INK, PAPER
from graylight.drawing.plan_marks import draw_plan, plan_entries, reserve
from graylight.drawing.scene import Scene
from graylight.packet.sheet import PX_PER_MM, MapSheet
from graylight.packet.vector import VectorSheet
from graylight.plan.model import Approach, Plan
from graylight.units import Units

__all__ = ["DrawnMap", "draw_sheet"]

LIGHTER = 0.42
"""How far the ground is lightened for paper, so that lines stand out where all is grey (set by eye)."""
_UNIT = {False: 0.70, True: 0.58}
"""Pixels of a unit on maps of a morning (letters about 8 points) and of the whole country."""
_JPEG = 85
_MILES = (20.0, 10.0, 5.0, 4.0, 2.0, 1.0, 0.5, 0.25, 0.1)
_KILOMETRES = (40.0, 20.0, 10.0, 5.0, 4.0, 2.0, 1.0, 0.5, 0.2)
_FEET = (100_000.0, 50_000.0, 20_000.0, 10_000.0, 5_000.0, 4_000.0, 2_000.0, 1_000.0, 500.0)
_LONGEST_MM = 62.0


@dataclass(frozen=True, slots=True)
class DrawnMap:
    """A map, as it is laid on a page.

    Parameters
    ----------
    sheet
        Its scale and its place in the grid.
    ground
        JPEG of the ground.
    lines
        SVG of lines and letters, laid over it.
    legend
        SVG of the legend, `legend_mm` wide and high.
    contours
        The contour interval in words.
    """

    sheet: MapSheet
    ground: bytes
    lines: bytes
    legend: bytes
    legend_mm: tuple[float, float]
    contours: str

    def told(self) -> dict[str, Any]:
        """What the page needs beside the pictures: sizes in millimetres, ticks, bars, norths."""
        wide, high = self.sheet.size_mm
        return {
            "width_mm": wide, "height_mm": high, "scale": f"1:{self.sheet.scale:,}", "across": self.sheet.across,
            "contours": self.contours, "ticks": _ticks(self.sheet), "bars": _bars(self.sheet),
            "legend_mm": list(self.legend_mm),
        }  # fmt: skip


def draw_sheet(
    data: MapData, plan: Plan, sheet: MapSheet, *, units: Units, whole: bool, ways: list[Approach]
) -> DrawnMap:
    """Draw a piece of country with the plan on it.

    Parameters
    ----------
    data, plan
        The ground and the plan.
    sheet
        From `graylight.packet.sheet`.
    units
        Of contours and heights.
    whole
        Whether it is the map of the whole country: smaller letters.
    ways
        The ways on foot to draw.
    """
    frame, u = sheet.frame, _UNIT[whole]
    height_m, shade = shade_of(data, frame)
    ground = paint(data, frame, shade)
    ground = Image.blend(ground, Image.new("RGB", ground.size, (255, 255, 255)), LIGHTER)
    lines = VectorSheet(frame.width, frame.height)
    scene = Scene(data, frame, lines, Room(frame.width, frame.height), units, u)
    shown = plan.model_copy(update={"approaches": ways})
    reserve(scene, shown)
    step = draw_contours(scene, height_m)
    kinds = draw_areas(scene) | draw_ways(scene)
    _grid_lines(scene, sheet)
    labels = ground_labels(scene) + draw_plan(scene, shown)
    _lengths(scene, ways)
    seat_labels(lines, scene.room, labels, u=u)
    entries = [*plan_entries(scene, shown), *_ground_entries(kinds)]
    picture, size = _legend(entries, 250 if sheet.across else 186)
    return DrawnMap(sheet, _jpeg(ground), lines.svg(), picture, size, contour_words(step, units))


def _jpeg(picture: Image.Image) -> bytes:
    out = io.BytesIO()
    picture.save(out, format="JPEG", quality=_JPEG, subsampling=0, optimize=True)
    return out.getvalue()


def grid_step_m(sheet: MapSheet) -> float:
    """Distance between lines of the UTM grid: 1 km, more where they would lie closer than 15 mm."""
    return next(
        (s for s in (1000.0, 2000.0, 5000.0, 10_000.0, 20_000.0) if s / sheet.metres_per_mm >= 15.0), 50_000.0
    )


def _lines(low: float, high: float, step: float) -> list[float]:
    return [n * step for n in range(math.ceil(low / step), math.floor(high / step) + 1)]


def _grid_lines(scene: Scene, sheet: MapSheet) -> None:
    """Draw the UTM grid, thin."""
    box, frame, step = scene.frame.box, scene.frame, grid_step_m(sheet)
    ends = []
    for east in _lines(box.west, box.east, step):
        x = (east - box.west) / frame.metres_per_pixel
        ends.append(np.array([[x, 0.0], [x, float(frame.height)]]))
    for north in _lines(box.south, box.north, step):
        y = (box.north - north) / frame.metres_per_pixel
        ends.append(np.array([[0.0, y], [float(frame.width), y]]))
    scene.sheet.stroke(ends, INK, 0.8, opacity=0.45)


def _ticks(sheet: MapSheet) -> dict[str, list[dict[str, Any]]]:
    """Numbers of the UTM grid along the edge, where they stand in millimetres from the upper left corner."""
    box, step, per_mm = sheet.frame.box, grid_step_m(sheet), sheet.metres_per_mm
    east = [
        {"mm": round((e - box.west) / per_mm, 3), "words": f"{e / 1000:.0f}"}
        for e in _lines(box.west, box.east, step)
    ]
    north = [
        {"mm": round((box.north - n) / per_mm, 3), "words": f"{n / 1000:.0f}"}
        for n in _lines(box.south, box.north, step)
    ]
    return {"east": east, "north": north[::-1]}


def _bars(sheet: MapSheet) -> list[dict[str, Any]]:
    """Scale bars: length on the paper, and what stands at half and whole."""
    bars = []
    for name, in_m, lengths in (
        ("miles", MILE_M, _MILES),
        ("km", 1000.0, _KILOMETRES),
        ("feet", FOOT_M, _FEET),
    ):
        fits = [one for one in lengths if one * in_m / sheet.metres_per_mm <= _LONGEST_MM]
        length = fits[0] if fits else lengths[-1]
        bars.append({
            "mm": round(length * in_m / sheet.metres_per_mm, 4), "half": _number(length / 2), "whole": _number(length),
            "name": "mile" if name == "miles" and length <= 1 else name,
        })  # fmt: skip
    return bars


def _number(value: float) -> str:
    return {0.05: "0.05", 0.125: "⅛", 0.25: "¼", 0.5: "½"}.get(value, f"{value:,.10g}")


def _lengths(scene: Scene, ways: list[Approach]) -> None:
    """Number the way every half mile or kilometre, as its profile is numbered."""
    u, sheet = scene.unit, scene.sheet
    step = MILE_M / 2 if scene.units == "us" else 1000.0
    for way in ways if len(ways) == 1 else []:
        line = scene.frame.pixels(np.array(way.line, dtype=np.float64)[:, :2])
        along = (
            np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
            * scene.frame.metres_per_pixel
        )
        for number in range(1, int(along[-1] / step) + 1):
            x, y = (float(np.interp(number * step, along, line[:, i])) for i in (0, 1))
            words = f"{number / 2:g}" if scene.units == "us" else f"{number}"
            sheet.disc(x, y, 13.0 * u, INK)
            sheet.disc(x, y, 11.2 * u, PAPER)
            sheet.text((x, y + 6.4 * u), words, size=18 * u, kind="strong", anchor="ms")
            scene.room.take((x - 13 * u, y - 13 * u, x + 13 * u, y + 13 * u))


_WORDS = {
    "road": "road", "trail": "trail", "stream": "stream", "intermittent": "stream, may be dry", "unit": "unit boundary",
}  # fmt: skip


def _ground_entries(kinds: set[str]) -> list[Entry]:
    entries = [legend.line_entry(_WORDS[kind], kind) for kind in _WORDS if kind in kinds]
    return [*entries, legend.hatch_entry()] if "private" in kinds else entries


def _legend(entries: list[Entry], wide_mm: float) -> tuple[bytes, tuple[float, float]]:
    """Samples and words in rows across the page."""
    u, row = 0.62, 26.0
    wide = wide_mm * PX_PER_MM
    sheet, x, y = VectorSheet(round(wide), 400), 0.0, row / 2
    for entry in entries:
        long = (70 + 30) * u + extent(entry.words, "plain", 25 * u)[0]
        if x + long > wide and x > 0:
            x, y = 0.0, y + row
        entry.sample(sheet, x, y, u)
        sheet.text((x + 68 * u, y + 8 * u), entry.words, size=25 * u)
        x += long
    sheet.height = round(y + row / 2)
    return sheet.svg(), (wide_mm, sheet.height / PX_PER_MM)

"""The rise and fall of a way, drawn sharp for paper and screen, numbered as the way is on its map."""

from __future__ import annotations

import numpy as np

from graylight.drawing.furniture import MILE_M
from graylight.drawing.palettes import DUSK, INK, LIGHT, PAPER, mix
from graylight.drawing.profile import heights, levels
from graylight.grid import WGS84
from graylight.packet.vector import VectorSheet
from graylight.plan.model import Approach
from graylight.units import Units

__all__ = ["PROFILE_PX", "draw_way"]

PROFILE_PX = (900, 220)


def draw_way(way: Approach, units: Units) -> bytes | None:
    """SVG of height against distance; None where the way has no length or a height is not known."""
    line = [point for point in way.line if len(point) > 2]
    if len(line) < 2 or len(line) < len(way.line):
        return None
    lon, lat, up = np.array(line, dtype=np.float64).T
    steps = WGS84.inv(lon[:-1], lat[:-1], lon[1:], lat[1:])[2]
    along = np.concatenate([[0.0], np.cumsum(steps)])
    if along[-1] <= 0.0:
        return None
    unit_m = 0.3048 if units == "us" else 1.0
    low, high, step = levels(up, unit_m)
    sheet, (wide, tall) = VectorSheet(*PROFILE_PX), PROFILE_PX
    box = (92.0, 14.0, wide - 26.0, tall - 34.0)
    heights(sheet, box, (low, high, step), units, 0.86)
    x = box[0] + along / along[-1] * (box[2] - box[0])
    top = np.column_stack([x, box[3] - (up - low) / (high - low) * (box[3] - box[1])])
    sheet.fill([np.vstack([top, [[x[-1], box[3]], [x[0], box[3]]]])], mix(DUSK, PAPER, 0.62))
    sheet.stroke([top], INK, 5.0, round_ends=True)
    sheet.stroke([top], LIGHT, 2.4, round_ends=True)
    _numbers(sheet, box, along, top, units)
    return sheet.svg()


def _numbers(
    sheet: VectorSheet, box: tuple[float, float, float, float], along: np.ndarray, top: np.ndarray, units: Units
) -> None:  # fmt: skip
    """Half miles or kilometres, as on the map, and the whole length."""
    step, unit_m, name = (MILE_M / 2, MILE_M, "mi") if units == "us" else (1000.0, 1000.0, "km")
    total = float(along[-1])
    every = max(1, round(total / step / 9))
    for number in range(every, int(total / step) + 1, every):
        x = box[0] + number * step / total * (box[2] - box[0])
        y = float(np.interp(x, top[:, 0], top[:, 1]))
        sheet.stroke([np.array([[x, y], [x, box[3] + 5]])], INK, 1.0, opacity=0.6)
        if x < box[2] - 60:
            sheet.text((x, box[3] + 24), f"{number * step / unit_m:g}", size=18, anchor="ms")
    sheet.text((box[2], box[3] + 24), f"{total / unit_m:.1f} {name}", size=18, kind="strong", anchor="rs")
    sheet.text((box[0], box[3] + 24), "start", size=18, anchor="ms")

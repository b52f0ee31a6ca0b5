"""The morning as a band of hours: night, twilight and sun, and below it what lasts from when until when."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np

from graylight.drawing.palettes import ANIMAL, DUSK, INK, LIGHT, MUTED, PAPER, RGB, mix
from graylight.packet.vector import VectorSheet
from graylight.plan.model import Light
from graylight.plan.morning_model import Happening, Morning

__all__ = ["BAND_PX", "draw_band"]

BAND_PX = 1116
_LEFT, _RIGHT, _HIGH, _ROW = 210.0, 16.0, 30.0, 22.0
_LETTERS = 17.0
MOST_ROWS = 8
_ROWS = {
    "first sun": "first sun on {}, to half", "moves to bed": "likely to bed, {}", "sun in the glass": "sun in the glass, {}",
    "air unreliable": "air unreliable", "scent": "your scent on {}",
}  # fmt: skip
"""What lasts, in the order in which it is drawn."""
_LINES = {
    "settled": "sit",
    "usable light": "usable",
    "sunrise": "sun",
    "air turns": "air turns",
    "end of watch": "end",
}
"""Moments drawn through the band."""


def draw_band(morning: Morning) -> bytes | None:
    """SVG of the hours from sitting down to the end of the watch; None where neither is told."""
    moments = [one for one in morning.timeline if one.kind in _LINES]
    if len({one.kind for one in moments} & {"settled", "usable light", "end of watch"}) < 2:
        return None
    margin = dt.timedelta(minutes=20)
    span = min(m.at for m in moments) - margin, max(m.at for m in moments) + margin
    lasting = [
        one for kind in _ROWS for one in morning.timeline if one.kind == kind and one.until is not None
    ]
    rows = [one for one in lasting if one.at < span[1] and one.until is not None and one.until > span[0]][
        :MOST_ROWS
    ]
    sheet = VectorSheet(BAND_PX, round(_HIGH + 44 + _ROW * len(rows)))
    draw = _Band(sheet, span)
    draw.sky(morning.light)
    draw.hours(morning.light.timezone)
    draw.moments(moments)
    for number, one in enumerate(rows):
        draw.row(number, one)
    if any(one.rule_of_thumb for one in rows):
        sheet.text(
            (_LEFT - 10.0, 18.0 + _HIGH + 18.0),
            "hatched: rule of thumb",
            size=_LETTERS * 0.8,
            anchor="rs",
            colour=MUTED,
        )
    return sheet.svg()


class _Band:
    """A band in the making: hours from left to right."""

    def __init__(self, sheet: VectorSheet, span: tuple[dt.datetime, dt.datetime]) -> None:
        self.sheet, self.span = sheet, span

    def x(self, when: dt.datetime) -> float:
        """Pixel of a moment, held to the band."""
        part = (when - self.span[0]) / (self.span[1] - self.span[0])
        return _LEFT + min(max(part, 0.0), 1.0) * (BAND_PX - _LEFT - _RIGHT)

    def sky(self, light: Light) -> None:
        """Night, twilights and day side by side."""
        ends = [light.nautical_dawn, light.civil_dawn, light.sunrise, self.span[1]]
        tints: list[RGB] = [mix(INK, DUSK, 0.3), DUSK, mix(DUSK, PAPER, 0.6), mix(LIGHT, PAPER, 0.75)]
        left = self.x(self.span[0])
        for end, tint in zip(ends, tints, strict=True):
            # where the sun does not pass an altitude that day there is no such edge
            if end is not None and self.x(end) > left:
                self.sheet.box((left, 18.0, self.x(end), 18.0 + _HIGH), tint)
                left = self.x(end)

    def hours(self, timezone: str) -> None:
        """Whole hours by the local clock, below the band."""
        zone = ZoneInfo(timezone)
        hour = self.span[0].astimezone(zone).replace(minute=0, second=0, microsecond=0)
        foot = 18.0 + _HIGH
        while (hour := hour + dt.timedelta(hours=1)) < self.span[1]:
            x = self.x(hour)
            self.sheet.stroke([np.array([[x, foot], [x, self.sheet.height]])], INK, 0.7, opacity=0.35)
            self.sheet.text((x, foot + 18.0), f"{hour:%H:%M}", size=_LETTERS, anchor="ms")

    def moments(self, found: list[Happening]) -> None:
        """Lines through the band with a word above; a word that finds no room is left out."""
        end = 0.0
        for one in found:
            x, words = self.x(one.at), _LINES[one.kind]
            self.sheet.stroke([np.array([[x, 16.0], [x, 18.0 + _HIGH]])], PAPER, 4.0)
            self.sheet.stroke([np.array([[x, 16.0], [x, 18.0 + _HIGH]])], INK, 2.0)
            half = 4.2 * len(words)
            if x - half > end:
                self.sheet.text((x, 13.0), words, size=_LETTERS * 0.9, anchor="ms")
                end = x + half

    def row(self, number: int, one: Happening) -> None:
        """One bar with its words to the left: full for the sun, hatched for what is a rule of thumb."""
        top = 18.0 + _HIGH + 28.0 + _ROW * number
        words = _ROWS[one.kind].format(one.of)
        self.sheet.text((_LEFT - 10.0, top + 12.0), words, size=_LETTERS, anchor="rs")
        left, right = self.x(one.at), self.x(one.until or one.at)
        box = (left, top, max(right, left + 3.0), top + 14.0)
        warm = not one.rule_of_thumb
        self.sheet.box(box, LIGHT if warm else PAPER, outline=INK, width=1.2)
        if not warm:
            ring = np.array([[box[0], box[1]], [box[2], box[1]], [box[2], box[3]], [box[0], box[3]]])
            self.sheet.hatch([ring], ANIMAL if one.kind == "moves to bed" else INK, apart=5.0, width=1.2)

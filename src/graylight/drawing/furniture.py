"""What stands around a map: title, scale bars, north, grid ticks."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from pyproj import CRS

from graylight.drawing.frame import Frame
from graylight.drawing.lettering import extent
from graylight.drawing.palettes import INK, LIGHT, MUTED, PAPER, mix
from graylight.drawing.sheet import Sheet

__all__ = ["Page", "bar_length", "grid_steps", "header", "neatline", "north", "scale_bars"]

MILE_M = 1609.344
_MILES = (20.0, 10.0, 5.0, 4.0, 2.0, 1.0, 0.5, 0.25, 0.1, 0.05, 0.02)
_KILOMETRES = (40.0, 20.0, 10.0, 5.0, 4.0, 2.0, 1.0, 0.5, 0.2, 0.1, 0.05, 0.02)


@dataclass(frozen=True, slots=True)
class Page:
    """Where the parts of a map picture lie; `unit` is a pixel at 1600 pixels' width."""

    width: int
    height: int
    unit: float
    left: int
    top: int
    body_width: int
    body_height: int

    @property
    def foot(self) -> float:
        """Upper edge of the strip below the map."""
        return self.top + self.body_height + 44 * self.unit


def header(sheet: Sheet, page: Page, *, title: str, line: str, flag: str | None) -> None:
    """Draw the title band, with the flag of an invented range where it is one."""
    u = page.unit
    sheet.box((0, 0, page.width, 112 * u), INK)
    sheet.box((0, 112 * u, page.width, 116 * u), LIGHT)
    room = page.width - 2 * page.left
    if flag:
        wide = extent(flag, "strong", 27 * u)[0] + 36 * u
        right = page.width - page.left
        sheet.box((right - wide, 33 * u, right, 80 * u), LIGHT, round_px=4 * u)
        sheet.text(right - wide / 2, 66 * u, flag, size=27 * u, kind="strong", colour=INK, anchor="ms")
        room -= int(wide + 24 * u)
    size = fitted(title, room, 47 * u)
    sheet.text(page.left, 60 * u, title, size=size, kind="strong", colour=PAPER)
    sheet.text(page.left, 95 * u, line, size=fitted(line, room, 27 * u), colour=mix(PAPER, INK, 0.18))


def fitted(text: str, room: float, size: float) -> float:
    """Letter size at which a line fits, at most `size`."""
    wide = extent(text, "strong", size)[0]
    return size if wide <= room else max(size * room / wide, 6.0)


def neatline(sheet: Sheet, page: Page, frame: Frame) -> None:
    """Draw the edge of the map and the UTM ticks and numbers along it."""
    u = page.unit
    left, top = page.left, page.top
    right, bottom = left + page.body_width, top + page.body_height
    edge = np.array([[left, top], [right, top], [right, bottom], [left, bottom], [left, top]], dtype=float)
    sheet.stroke([edge], INK, 2.6 * u)
    step = grid_steps(frame, 120 * u)
    for number, east in enumerate(_ticks(frame.box.west, frame.box.east, step)):
        x = left + (east - frame.box.west) / frame.metres_per_pixel
        if left + 30 * u < x < right - 60 * u:
            sheet.stroke([np.array([[x, bottom], [x, bottom + 9 * u]])], INK, 2 * u)
            sheet.stroke([np.array([[x, top], [x, top - 9 * u]])], INK, 2 * u)
            words = _kilometres(east, step) + (" km E" if number == 0 else "")
            sheet.text(x, bottom + 32 * u, words, size=23 * u, colour=MUTED, anchor="ms")
    for number, north_m in enumerate(_ticks(frame.box.south, frame.box.north, step)):
        y = top + (frame.box.north - north_m) / frame.metres_per_pixel
        if top + 40 * u < y < bottom - 40 * u:
            sheet.stroke([np.array([[left - 9 * u, y], [left, y]])], INK, 2 * u)
            sheet.stroke([np.array([[right, y], [right + 9 * u, y]])], INK, 2 * u)
            words = _kilometres(north_m, step) + (" km N" if number == 0 else "")
            sheet.turned(left - 25 * u, y, words, size=23 * u, turn_deg=90, kind="plain", colour=MUTED)


def _ticks(low: float, high: float, step: float) -> list[float]:
    return [n * step for n in range(math.ceil(low / step), math.floor(high / step) + 1)]


def _kilometres(metres: float, step: float) -> str:
    return f"{metres / 1000:.0f}" if step >= 1000 else f"{metres / 1000:.1f}"


def grid_steps(frame: Frame, least_px: float) -> float:
    """Distance between UTM grid ticks, metres."""
    wanted = least_px * frame.metres_per_pixel
    return next((s for s in (100.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0, 10000.0) if s >= wanted), 20000.0)


def bar_length(metres_per_pixel: float, longest_px: float, *, units: str) -> tuple[float, float]:
    """Choose a scale bar: its length in miles (or kilometres) and in pixels, at most `longest_px`."""
    in_metres = MILE_M if units == "us" else 1000.0
    for length in _MILES if units == "us" else _KILOMETRES:
        pixels = length * in_metres / metres_per_pixel
        if pixels <= longest_px:
            return length, pixels
    return length, pixels


def scale_bars(sheet: Sheet, page: Page, frame: Frame, *, x: float, y: float, longest: float) -> None:
    """Draw a bar of miles over one of kilometres."""
    u = page.unit
    for units, name, top in (("us", "mile", y), ("metric", "km", y + 62 * u)):
        length, pixels = bar_length(frame.metres_per_pixel, longest, units=units)
        for part in range(4):
            ends = (x + pixels * part / 4, x + pixels * (part + 1) / 4)
            shade = INK if part % 2 == 0 else PAPER
            sheet.box((ends[0], top, ends[1], top + 10 * u), shade, outline=INK, width=1.5 * u)
        for part in (0.0, 0.5, 1.0):
            words = _plain(length * part)
            if part == 1.0:
                words += f" {name}" + ("s" if name == "mile" and length > 1 else "")
            anchor_x = x + pixels * part
            if part == 1.0:  # the number stands under the bar's end, its unit runs on
                anchor_x -= extent(_plain(length), "plain", 23 * u)[0] / 2
                sheet.text(anchor_x, top + 33 * u, words, size=23 * u)
            else:
                sheet.text(anchor_x, top + 33 * u, words, size=23 * u, anchor="ms" if part else "ls")


def _plain(value: float) -> str:
    return {0.125: "⅛", 0.25: "¼", 0.5: "½", 0.75: "¾"}.get(value, f"{value:g}")


def north(sheet: Sheet, page: Page, *, x: float, y: float, convergence_deg: float, declination_deg: float | None) -> None:
    """Draw where true and magnetic north lie; the page's own up is grid north.

    Parameters
    ----------
    x, y
        The foot of the lines.
    convergence_deg
        Meridian convergence: true azimuth less grid azimuth.
    declination_deg
        Magnetic declination, east positive; none: not known, not drawn.
    """
    u = page.unit
    _needle(sheet, x, y, -convergence_deg, 104 * u, u, solid=True)
    sheet.text(x + _lean(-convergence_deg, 118 * u), y - 112 * u, "N", size=30 * u, kind="strong", anchor="ms")
    if declination_deg is not None:
        turn = declination_deg - convergence_deg
        _needle(sheet, x, y, turn, 88 * u, u, solid=False)
        side = 14 if turn >= 0 else -14
        at = x + _lean(turn, 88 * u) + side * u
        sheet.text(at, y - 82 * u, "m", size=24 * u, anchor="ls" if side > 0 else "rs")


def _lean(turn_deg: float, length: float) -> float:
    return length * math.sin(math.radians(turn_deg))


def _needle(sheet: Sheet, x: float, y: float, turn_deg: float, length: float, u: float, *, solid: bool) -> None:
    way = math.radians(turn_deg)
    along, across = np.array([math.sin(way), -math.cos(way)]), np.array([math.cos(way), math.sin(way)])
    foot = np.array([x, y])
    tip = foot + along * length
    sheet.stroke([np.array([foot, tip])], INK, 2.4 * u, dash=None if solid else (7 * u, 4 * u))
    half = [tip, tip - along * 24 * u - across * 8 * u, tip - along * 18 * u]
    if solid:
        half[2:] = [tip - along * 18 * u, tip - along * 24 * u + across * 8 * u]
    sheet.fill([np.array(half)], INK)


def frame_words(crs: str) -> str:
    """The grid's name in words."""
    zone = CRS.from_string(crs).utm_zone
    return f"UTM zone {zone[:-1]} {zone[-1]}, WGS 84" if zone else crs


def north_words(convergence_deg: float, declination_deg: float | None) -> list[str]:
    """Say where the norths lie, to a tenth of a degree."""
    true = f"Page up is grid north; true north (N) {_side(-convergence_deg)} of it"
    if declination_deg is None:
        return [f"{true}.", "Magnetic north is not known for the date."]
    return [f"{true},", f"magnetic north (m) {_side(declination_deg)} of true."]


def _side(turn_deg: float) -> str:
    return f"{abs(turn_deg):.1f}° {'east' if turn_deg >= 0 else 'west'}"

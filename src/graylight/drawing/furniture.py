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

__all__ = [
    "INVENTED",
    "MILE_M",
    "Page",
    "bar_length",
    "draw_north",
    "draw_scale_bars",
    "fitted",
    "grid_step",
    "page_of",
]

INVENTED = "INVENTED RANGE: does not exist"
MILE_M = 1609.344
_MILES = (20.0, 10.0, 5.0, 4.0, 2.0, 1.0, 0.5, 0.25, 0.1, 0.05, 0.02)
_KILOMETRES = (40.0, 20.0, 10.0, 5.0, 4.0, 2.0, 1.0, 0.5, 0.2, 0.1, 0.05, 0.02)
_GRID_STEPS_M = (100.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0, 10000.0, 20000.0)
_MARGIN, _TOP, _FOOT = 58, 144, 54
"""Pixels at 1600 pixels' width: beside the map, above it, and from its lower edge to the strip below."""


@dataclass(frozen=True, slots=True)
class Page:
    """Where the parts of a map picture lie, and what is written on it.

    Parameters
    ----------
    frame
        Of the body.
    unit
        A pixel at 1600 pixels' width.
    left, top
        Upper left corner of the body on the page.
    title, line
        Written in the band above.
    invented
        Whether the range does not exist.
    contours
        The contour interval in words.
    declination_deg
        Magnetic declination, east positive; none where not known.
    credits
        Whom to name for the data, in lines.
    """

    frame: Frame
    unit: float
    left: int
    top: int
    title: str
    line: str
    invented: bool
    contours: str
    declination_deg: float | None
    credits: tuple[str, ...] = ()

    @property
    def width(self) -> int:
        """Of the whole picture."""
        return self.frame.width + 2 * self.left

    @property
    def foot_top(self) -> float:
        """Upper edge of the strip below the map."""
        return self.top + self.frame.height + _FOOT * self.unit

    @property
    def words(self) -> str:
        """The line at the foot."""
        convergence = self.frame.grid.convergence_deg()
        words = [self.contours, f"{_frame_words(self.frame.grid.crs)}, ticks in kilometres."]
        return " ".join([*words, *_north_words(convergence, self.declination_deg)])

    def draw_frame(self, sheet: Sheet) -> None:
        """Draw the title band, the neatline and the grid ticks."""
        _header(sheet, self)
        _neatline(sheet, self)


def page_of(
    frame: Frame,
    *,
    unit: float,
    title: str,
    line: str,
    invented: bool,
    contours: str,
    declination_deg: float | None,
    credits: tuple[str, ...] = (),
) -> Page:
    """Lay a page out around a body."""
    left, top = round(_MARGIN * unit), round(_TOP * unit)
    return Page(frame, unit, left, top, title, line, invented, contours, declination_deg, credits)


def _header(sheet: Sheet, page: Page) -> None:
    u = page.unit
    sheet.box((0, 0, page.width, 112 * u), INK)
    sheet.box((0, 112 * u, page.width, 116 * u), LIGHT)
    room = float(page.width - 2 * page.left)
    if page.invented:
        wide = extent(INVENTED, "strong", 27 * u)[0] + 36 * u
        right = page.width - page.left
        sheet.box((right - wide, 33 * u, right, 80 * u), LIGHT, round_px=4 * u)
        sheet.text((right - wide / 2, 66 * u), INVENTED, size=27 * u, kind="strong", colour=INK, anchor="ms")
        room -= wide + 24 * u
    size = fitted(page.title, room, 47 * u)
    sheet.text((page.left, 60 * u), page.title, size=size, kind="strong", colour=PAPER)
    size = fitted(page.line, room, 27 * u)
    sheet.text((page.left, 95 * u), page.line, size=size, colour=mix(PAPER, INK, 0.18))


def fitted(text: str, room: float, size: float) -> float:
    """Letter size at which a line fits, at most `size`."""
    wide = extent(text, "strong", size)[0]
    # letters come in half pixels; rounded up, the line would run over
    return size if wide <= room else max(math.floor(2.0 * size * room / wide) / 2.0, 6.0)


def _neatline(sheet: Sheet, page: Page) -> None:
    """Draw the edge of the map, with the UTM ticks and numbers along it."""
    u, box, frame = page.unit, page.frame.box, page.frame
    left, top = float(page.left), float(page.top)
    right, bottom = left + frame.width, top + frame.height
    edge = np.array(
        [[left, top], [right, top], [right, bottom], [left, bottom], [left, top]], dtype=np.float64
    )
    sheet.stroke([edge], INK, 2.6 * u)
    step = grid_step(frame, 120 * u)
    number = 0
    for east in _ticks(box.west, box.east, step):
        x = left + (east - box.west) / frame.metres_per_pixel
        if left + 30 * u < x < right - 60 * u:
            words = _kilometres(east, step) + ("" if number else " km E")
            sheet.text((x, bottom + 32 * u), words, size=23 * u, colour=MUTED, anchor="ms")
            sheet.stroke(
                [np.array([[x, y], [x, y + out]]) for y, out in ((bottom, 9 * u), (top, -9 * u))], INK, 2 * u
            )
            number += 1
    number = 0
    for north in _ticks(box.south, box.north, step):
        y = top + (box.north - north) / frame.metres_per_pixel
        if top + 40 * u < y < bottom - 50 * u:
            words = _kilometres(north, step) + ("" if number else " km N")
            sheet.turned((left - 25 * u, y), words, size=23 * u, turn_deg=90, colour=MUTED)
            sheet.stroke(
                [np.array([[x, y], [x + out, y]]) for x, out in ((left, -9 * u), (right, 9 * u))], INK, 2 * u
            )
            number += 1


def _ticks(low: float, high: float, step: float) -> list[float]:
    return [n * step for n in range(math.ceil(low / step), math.floor(high / step) + 1)]


def _kilometres(metres: float, step: float) -> str:
    return f"{metres / 1000:.0f}" if step >= 1000 else f"{metres / 1000:.1f}"


def grid_step(frame: Frame, least_px: float) -> float:
    """Distance between UTM grid ticks, metres."""
    wanted = least_px * frame.metres_per_pixel
    return next((step for step in _GRID_STEPS_M if step >= wanted), 50000.0)


def bar_length(metres_per_pixel: float, longest_px: float, *, units: str) -> tuple[float, float]:
    """Choose a scale bar: its length in miles (or kilometres) and in pixels, at most `longest_px`.

    Lengths are of the grid: in UTM they differ from the ground's by up to about 0.09 % in high country.
    """
    in_metres, lengths = (MILE_M, _MILES) if units == "us" else (1000.0, _KILOMETRES)
    fitting = [one for one in lengths if one * in_metres / metres_per_pixel <= longest_px]
    length = fitting[0] if fitting else lengths[-1]
    return length, length * in_metres / metres_per_pixel


def draw_scale_bars(sheet: Sheet, page: Page, *, x: float, y: float, longest: float) -> None:
    """Draw a bar of miles over one of kilometres."""
    for units, name, top in (("us", "mile", y), ("metric", "km", y + 62 * page.unit)):
        length, pixels = bar_length(page.frame.metres_per_pixel, longest, units=units)
        plural = "s" if name == "mile" and length > 1 else ""
        for part in range(4):
            ends = (x + pixels * part / 4, x + pixels * (part + 1) / 4)
            shade = INK if part % 2 == 0 else PAPER
            sheet.box(
                (ends[0], top, ends[1], top + 10 * page.unit), shade, outline=INK, width=1.5 * page.unit
            )
        _bar_numbers(sheet, (x, top + 33 * page.unit), length, pixels, name=name + plural, unit=page.unit)


def _bar_numbers(
    sheet: Sheet, at: tuple[float, float], length: float, pixels: float, *, name: str, unit: float
) -> None:
    x, y = at
    size = 23 * unit
    sheet.text((x, y), "0", size=size)
    sheet.text((x + pixels / 2, y), _plain(length / 2), size=size, anchor="ms")
    # the number stands under the bar's end, its unit runs on
    end = x + pixels - extent(_plain(length), "plain", size)[0] / 2
    sheet.text((end, y), f"{_plain(length)} {name}", size=size)


def _plain(value: float) -> str:
    return {0.25: "¼", 0.5: "½", 0.75: "¾"}.get(value, f"{value:g}")


def draw_north(sheet: Sheet, page: Page, *, x: float, y: float) -> None:
    """Draw where true and magnetic north lie, from a foot at (x, y); the page's own up is grid north."""
    u = page.unit
    convergence = page.frame.grid.convergence_deg()
    _needle(sheet, (x, y), turn_deg=-convergence, length=104 * u, unit=u, solid=True)
    sheet.text((x + _lean(-convergence, 118 * u), y - 112 * u), "N", size=30 * u, kind="strong", anchor="ms")
    if page.declination_deg is not None:
        turn = page.declination_deg - convergence
        _needle(sheet, (x, y), turn_deg=turn, length=88 * u, unit=u, solid=False)
        side = 14 if turn >= 0 else -14
        at = x + _lean(turn, 88 * u) + side * u, y - 82 * u
        sheet.text(at, "m", size=24 * u, anchor="ls" if side > 0 else "rs")


def _lean(turn_deg: float, length: float) -> float:
    return length * math.sin(math.radians(turn_deg))


def _needle(
    sheet: Sheet, foot: tuple[float, float], *, turn_deg: float, length: float, unit: float, solid: bool
) -> None:
    """Draw a needle: full with a whole head for true north, dashed with half a head for magnetic."""
    way = math.radians(turn_deg)
    along, across = np.array([math.sin(way), -math.cos(way)]), np.array([math.cos(way), math.sin(way)])
    tip = np.array(foot) + along * length
    dash = None if solid else (7 * unit, 4 * unit)
    sheet.stroke([np.array([foot, tip])], INK, 2.4 * unit, dash=dash)
    head = [tip, tip - along * 24 * unit - across * 8 * unit, tip - along * 18 * unit]
    if solid:
        head.append(tip - along * 24 * unit + across * 8 * unit)
    sheet.fill([np.array(head)], INK)


def _frame_words(crs: str) -> str:
    zone = CRS.from_string(crs).utm_zone
    return f"UTM zone {zone[:-1]} {zone[-1]}, WGS 84" if zone else crs


def _north_words(convergence_deg: float, declination_deg: float | None) -> list[str]:
    """Say where the norths lie, to a tenth of a degree."""
    true = f"Page up is grid north; true north (N) {_side(-convergence_deg)} of it"
    if declination_deg is None:
        return [f"{true}.", "Magnetic north is not known for the date."]
    return [f"{true},", f"magnetic north (m) {_side(declination_deg)} of true."]


def _side(turn_deg: float) -> str:
    return f"{abs(turn_deg):.1f}° {'east' if turn_deg >= 0 else 'west'}"

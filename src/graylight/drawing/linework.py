"""Lines of the ground on a map: contours with their heights, water, ways, boundaries."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from graylight.drawing.contours import FOOT_M, Contour, LabelSeat, contours, interval, seats
from graylight.drawing.frame import Frame
from graylight.drawing.ground import Area, MapData
from graylight.drawing.hillshade import Floats, fill_gaps
from graylight.drawing.legend import draw_line
from graylight.drawing.lettering import Room, extent
from graylight.drawing.palettes import ANIMAL, CONTOUR, INK, PAPER, RGB, WATER
from graylight.drawing.sheet import Points, Sheet, chaikin

__all__ = ["contour_words", "draw_areas", "draw_contours", "draw_ways", "ring_pixels"]

_INDEX_EVERY = 5
_STREAMS = {"perennial": "stream", "stream": "stream", "intermittent": "intermittent"}


def draw_contours(sheet: Sheet, room: Room, height: Floats, frame: Frame, *, units: str, u: float) -> float:
    """Draw contour lines with their heights on the index lines.

    Parameters
    ----------
    height : (height, width) float32
        Elevation in metres on the picture's pixels.
    units
        "us" or "metric": the unit of the interval and of the heights written.

    Returns
    -------
    The interval used, in feet or metres.
    """
    step = interval(height, pixels_per_cell=1.0, units=units, closest_px=4.4 * u)
    unit_m = FOOT_M if units == "us" else 1.0
    lines = [_smooth(line, frame) for line in contours(_calmed(height, frame), interval_m=step * unit_m)]
    plain = [line.line for line in lines if not line.index]
    sheet.stroke(plain, CONTOUR, 1.0 * u, opacity=0.46)
    index = [line for line in lines if line.index]
    labelled = _label_seats(index, room, unit_m=unit_m, u=u)
    sheet.stroke([part for line in labelled for part in line[1]], CONTOUR, 1.9 * u, opacity=0.72)
    for contour, _, places in labelled:
        for seat in places:
            words = f"{round(contour.height_m / unit_m):,}"
            sheet.turned(
                seat.x, seat.y, words, size=20 * u, turn_deg=seat.turn_deg, kind="plain", colour=CONTOUR, halo=PAPER
            )
    return step


def contour_words(step: float, units: str) -> str:
    """The interval in words."""
    unit = "ft" if units == "us" else "m"
    return f"Contours every {step:,.0f} {unit}, heavy lines every {step * _INDEX_EVERY:,.0f} {unit}."


def _calmed(height: Floats, frame: Frame) -> Floats:
    """Smooth by a fraction of the cell: bilinear facets of an enlarged grid would show as kinks."""
    sigma = 0.55 * frame.grid.cell_m / frame.metres_per_pixel
    known = np.isfinite(height)
    calm = gaussian_filter(fill_gaps(height), sigma=max(sigma, 0.6), mode="nearest")
    return np.asarray(np.where(known, calm, np.nan), dtype=np.float32)


def _smooth(contour: Contour, frame: Frame) -> Contour:
    # pixel centres are whole numbers to the tracer, halves to the sheet
    line = contour.line + 0.5
    keep = max(1, round(frame.grid.cell_m / frame.metres_per_pixel / 3.0))
    if keep > 1 and len(line) > 4 * keep:
        line = np.vstack([line[:-1:keep], line[-1:]])
    return contour._replace(line=line)


def _label_seats(
    index: list[Contour], room: Room, *, unit_m: float, u: float
) -> list[tuple[Contour, list[Points], list[LabelSeat]]]:
    found = []
    for contour in index:
        words = f"{round(contour.height_m / unit_m):,}"
        wide = extent(words, "plain", 20 * u)[0] + 10 * u
        places = []
        for seat in seats(contour.height_m, contour.line, length_px=wide, apart_px=620 * u):
            reach = wide * 0.42
            box = (seat.x - reach, seat.y - reach * 0.7, seat.x + reach, seat.y + reach * 0.7)
            wide_box = (box[0] - 90 * u, box[1] - 60 * u, box[2] + 90 * u, box[3] + 60 * u)
            if room.inside(box) and room.free(wide_box if room.inside(wide_box) else box) is not None:
                room.take(box)
                places.append(seat)
        found.append((contour, _broken(contour.line, places), places))
    return found


def _broken(line: Points, places: list[LabelSeat]) -> list[Points]:
    parts, start = [], 0
    for seat in places:
        parts.append(line[start : seat.start + 1])
        start = seat.stop
    return [*parts, line[start:]]


def draw_ways(sheet: Sheet, room: Room, data: MapData, frame: Frame, *, u: float) -> set[str]:
    """Draw streams, trails and roads, and the names of streams; returns the kinds drawn."""
    drawn = set()
    order = {"intermittent": 0, "stream": 1, "perennial": 1, "trail": 2, "road": 3}
    for way in sorted(data.paths, key=lambda p: order.get(p.kind, 2)):
        kind = _STREAMS.get(way.kind, "road" if "road" in way.kind else "trail")
        line = frame.pixels(np.asarray(way.points, dtype=np.float64)[:, :2])
        if not _near(line, frame):
            continue
        draw_line(sheet, line, kind, u)
        drawn.add(kind)
        room.avoid(line, 0.12 if kind in ("stream", "intermittent") else 0.3)
    for way in data.paths:
        if way.name:
            water = way.kind in _STREAMS
            line = frame.pixels(np.asarray(way.points, dtype=np.float64)[:, :2])
            _name_along(sheet, room, line, way.name, frame, u, WATER if water else INK)
    return drawn


def _near(line: Points, frame: Frame) -> bool:
    low, high = line.min(axis=0), line.max(axis=0)
    return bool(high[0] >= 0 and high[1] >= 0 and low[0] <= frame.width and low[1] <= frame.height)


def _name_along(sheet: Sheet, room: Room, line: Points, name: str, frame: Frame, u: float, colour: RGB) -> None:
    """Write a name once beside its line, where the line runs straight and there is room."""
    wide = extent(name, "slanted", 22 * u)[0]
    for seat in seats(0.0, chaikin(line), length_px=wide, apart_px=1.2 * wide, first_px=0.5):
        turn = np.radians(seat.turn_deg)
        x, y = seat.x - 15 * u * np.sin(turn), seat.y - 15 * u * np.cos(turn)
        across, up = abs(np.cos(turn)) * wide / 2 + 8 * u, abs(np.sin(turn)) * wide / 2 + 10 * u
        box = (x - across, y - up, x + across, y + up)
        if frame.holds(x, y, margin=wide / 2) and room.free(box) is not None:
            room.take(box)
            sheet.turned(x, y, name, size=22 * u, turn_deg=seat.turn_deg, kind="slanted", colour=colour, halo=PAPER)
            return


def ring_pixels(rings: list[NDArray[np.float64]], frame: Frame, *, smooth: int = 0) -> list[Points]:
    """Bring rings of longitudes and latitudes onto the picture."""
    placed = [frame.pixels(np.asarray(ring, dtype=np.float64)[:, :2]) for ring in rings if len(ring) > 2]
    return [chaikin(ring, smooth, closed=True) for ring in placed] if smooth else placed


def draw_areas(sheet: Sheet, data: MapData, frame: Frame, *, u: float) -> None:
    """Draw shores, private holdings (hatched) and unit boundaries."""
    for lake in data.lakes:
        rings = _shown(lake, frame)
        sheet.stroke(rings, WATER, 1.8 * u)
    for holding in data.private:
        rings = _shown(holding, frame)
        if rings:
            sheet.hatch(rings, INK, apart=12 * u, width=1.4 * u, opacity=0.42)
            sheet.stroke(rings, INK, 2.2 * u, dash=(18 * u, 7 * u))
    for unit in data.units:
        for ring in _shown(unit, frame):
            draw_line(sheet, ring, "unit", u)


def _shown(area: Area, frame: Frame) -> list[Points]:
    rings = ring_pixels(area.rings, frame)
    return rings if rings and _near(rings[0], frame) else []


def draw_pocket(sheet: Sheet, rings: list[Points], *, shut: bool, u: float) -> None:
    """Draw a pocket: tinted, outlined; struck through where it is shut."""
    sheet.fill(rings, ANIMAL, opacity=0.06 if shut else 0.13)
    sheet.stroke(rings, PAPER, 6.5 * u, opacity=0.55)
    sheet.stroke(rings, ANIMAL, 3.2 * u, dash=(12 * u, 8 * u) if shut else None)
    if shut:
        low, high = rings[0].min(axis=0), rings[0].max(axis=0)
        strike = np.array([[low[0], high[1]], [high[0], low[1]]])
        sheet.stroke([strike], PAPER, 6 * u, opacity=0.6)
        sheet.stroke([strike], ANIMAL, 2.8 * u)

"""Lines of the ground on a map: contours with their heights, water, ways, boundaries, pockets."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from graylight.drawing.contours import FOOT_M, Contour, LabelSeat, contours, interval, seats
from graylight.drawing.frame import Frame
from graylight.drawing.ground import Area, Line
from graylight.drawing.hillshade import Floats, fill_gaps
from graylight.drawing.legend import draw_line
from graylight.drawing.lettering import extent
from graylight.drawing.palettes import ANIMAL, CONTOUR, COVER, INK, PAPER, WATER
from graylight.drawing.scene import Scene
from graylight.drawing.sheet import Points, Sheet, chaikin

__all__ = ["contour_words", "draw_areas", "draw_contours", "draw_pocket", "draw_ways", "ring_pixels"]

_INDEX_EVERY = 5
_STREAMS = {"perennial": "stream", "stream": "stream", "intermittent": "intermittent"}
_ORDER = {"intermittent": 0, "stream": 1, "trail": 2, "road": 3}


def draw_contours(scene: Scene, height: Floats, *, coarse: int = 1) -> float:
    """Draw contour lines with their heights on the index lines.

    Parameters
    ----------
    scene
        Where; its units are those of the interval and of the heights written.
    height : (height, width) float32
        Elevation in metres on the picture's pixels, or on pixels `coarse` times as large: on a large picture
        lines are traced in a fraction of the time.

    Returns
    -------
    The interval used, in feet or metres.
    """
    u, sheet = scene.unit, scene.sheet
    step = interval(height, pixels_per_cell=coarse, units=scene.units, closest_px=4.4 * u)
    unit_m = FOOT_M if scene.units == "us" else 1.0
    traced = contours(
        _calmed(height, scene.frame, coarse), interval_m=step * unit_m, index_every=_INDEX_EVERY
    )
    lines = [_thinned(line, scene.frame, coarse) for line in traced]
    sheet.stroke([one.line for one in lines if not one.heavy], CONTOUR, 1.0 * u, opacity=0.46)
    labelled = [(one, _label_seats(scene, one, unit_m)) for one in lines if one.heavy]
    parts = [part for one, places in labelled for part in _broken(one.line, places)]
    sheet.stroke(parts, CONTOUR, 1.9 * u, opacity=0.72)
    for _, places in labelled:
        for seat in places:
            words = f"{round(seat.height_m / unit_m):,}"
            sheet.turned(
                (seat.x, seat.y), words, size=20 * u, turn_deg=seat.turn_deg, colour=CONTOUR, halo=PAPER
            )
    return step


def contour_words(step: float, units: str) -> str:
    """The interval in words."""
    unit = "ft" if units == "us" else "m"
    return f"Contours every {step:,.0f} {unit}, heavy lines every {step * _INDEX_EVERY:,.0f} {unit}."


def _calmed(height: Floats, frame: Frame, coarse: int) -> Floats:
    """Smooth by a fraction of the cell: facets of an enlarged grid would show as kinks."""
    sigma = 0.55 * frame.grid.cell_m / frame.metres_per_pixel / coarse
    known = np.isfinite(height)
    calm = gaussian_filter(fill_gaps(height), sigma=max(sigma, 0.6), mode="nearest")
    return np.asarray(np.where(known, calm, np.nan), dtype=np.float32)


def _thinned(contour: Contour, frame: Frame, coarse: int) -> Contour:
    """Bring a line from pixel numbers to the sheet, with no more points than the cells warrant."""
    line = (contour.line + 0.5) * coarse  # pixel centres are whole numbers to the tracer, halves to the sheet
    keep = max(1, round(frame.grid.cell_m / frame.metres_per_pixel / 3.0 / coarse))
    if keep > 1 and len(line) > 4 * keep:
        line = np.vstack([line[:-1:keep], line[-1:]])
    return contour._replace(line=line)


def _label_seats(scene: Scene, contour: Contour, unit_m: float) -> list[LabelSeat]:
    """Seats for a heavy line's height: on straight stretches, and clear of the heights of its neighbours."""
    u, room = scene.unit, scene.room
    words = f"{round(contour.height_m / unit_m):,}"
    wide = extent(words, "plain", 20 * u)[0] + 10 * u
    places = []
    for seat in seats(contour.height_m, contour.line, length_px=wide, apart_px=620 * u):
        across, up = wide * 0.42, wide * 0.3
        box = (seat.x - across, seat.y - up, seat.x + across, seat.y + up)
        around = (box[0] - 90 * u, box[1] - 60 * u, box[2] + 90 * u, box[3] + 60 * u)
        if room.inside(box) and room.free(around if room.inside(around) else box) is not None:
            room.take(box)
            places.append(seat)
    return places


def _broken(line: Points, places: list[LabelSeat]) -> list[Points]:
    parts, start = [], 0
    for seat in places:
        parts.append(line[start : seat.start + 1])
        start = seat.stop
    return [*parts, line[start:]]


def draw_ways(scene: Scene) -> set[str]:
    """Draw streams, trails and roads, and their names; returns the kinds drawn."""
    drawn = set()
    for way in sorted(scene.data.paths, key=lambda one: _ORDER[_kind(one)]):
        line = _eased(_pixels(way.points, scene.frame), way, scene.frame)
        if _near(line, scene.frame):
            kind = _kind(way)
            draw_line(scene.sheet, line, kind, scene.unit)
            drawn.add(kind)
            scene.room.avoid(line, 0.12 if kind in ("stream", "intermittent") else 0.3)
    for way in scene.data.paths:
        if way.name:
            _name_along(scene, way)
    return drawn


def _kind(way: Line) -> str:
    return _STREAMS.get(way.kind, "road" if "road" in way.kind else "trail")


def _pixels(lonlats: NDArray[np.floating], frame: Frame) -> Points:
    return frame.pixels(np.asarray(lonlats, dtype=np.float64)[:, :2])


def _near(line: Points, frame: Frame) -> bool:
    """Whether a line touches the picture."""
    body = shapely.box(0.0, 0.0, frame.width, frame.height)
    return len(line) > 1 and bool(shapely.LineString(line).intersects(body))


def _eased(line: Points, way: Line, frame: Frame) -> Points:
    """Ease a stream that steps from cell to cell into a drawn line; its ends stay, it moves under a cell."""
    cell_px = frame.grid.cell_m / frame.metres_per_pixel
    if way.kind not in _STREAMS or len(line) < 7:
        return line
    if float(np.median(np.hypot(*np.diff(line, axis=0).T))) > 1.6 * cell_px:
        return line
    padded = np.vstack([np.repeat(line[:1], 2, axis=0), line, np.repeat(line[-1:], 2, axis=0)])
    weights = (0.15, 0.2, 0.3, 0.2, 0.15)
    eased = sum(weight * padded[at : at + len(line)] for at, weight in enumerate(weights))
    return chaikin(np.vstack([line[:1], np.asarray(eased)[1:-1], line[-1:]]), 1)


def _name_along(scene: Scene, way: Line) -> None:
    """Write a name once beside its line, where the line runs straight and there is room."""
    u, name = scene.unit, way.name or ""
    colour, away = (WATER, 15 * u) if way.kind in _STREAMS else (INK, 19 * u)
    wide = extent(name, "slanted", 22 * u)[0]
    line = chaikin(_pixels(way.points, scene.frame))
    for seat in seats(0.0, line, length_px=wide, apart_px=1.2 * wide, first_part=0.5):
        turn = np.radians(seat.turn_deg)
        x, y = float(seat.x - away * np.sin(turn)), float(seat.y - away * np.cos(turn))
        across, up = abs(np.cos(turn)) * wide / 2 + 8 * u, abs(np.sin(turn)) * wide / 2 + 10 * u
        box = (x - across, y - up, x + across, y + up)
        if scene.room.free(box) is not None:
            scene.room.take(box)
            scene.sheet.turned(
                (x, y), name, size=22 * u, turn_deg=seat.turn_deg, kind="slanted", colour=colour, halo=PAPER
            )
            return


def ring_pixels(rings: Sequence[NDArray[np.floating]], frame: Frame, *, smooth: int = 0) -> list[Points]:
    """Bring rings of longitudes and latitudes onto the picture."""
    placed = [_pixels(ring, frame) for ring in rings if len(ring) > 2]
    return [chaikin(ring, smooth, closed=True) for ring in placed] if smooth else placed


def draw_areas(scene: Scene, *, fill_lakes: bool = True) -> set[str]:
    """Draw lakes and shores, private holdings (hatched) and unit boundaries; returns the kinds drawn."""
    drawn = set()
    sheet, u = scene.sheet, scene.unit
    for lake in scene.data.lakes:
        rings = _shown(lake, scene.frame, smooth=2)
        if rings and fill_lakes:
            sheet.fill(rings, COVER[6])
        sheet.stroke(rings, WATER, 1.8 * u)
    for holding in scene.data.private:
        rings = _shown(holding, scene.frame)
        if rings:
            sheet.hatch(rings, INK, apart=12 * u, width=1.4 * u, opacity=0.42)
            sheet.stroke(rings, INK, 2.2 * u, dash=(18 * u, 7 * u))
            drawn.add("private")
    for unit in scene.data.units:
        for ring in _shown(unit, scene.frame):
            draw_line(sheet, ring, "unit", u)
            drawn |= {"unit"} if _near(ring, scene.frame) else set()
    return drawn


def _shown(area: Area, frame: Frame, *, smooth: int = 0) -> list[Points]:
    """The rings of an area, where any of it lies on the picture."""
    rings = ring_pixels(area.rings, frame, smooth=smooth)
    if not rings:
        return []
    body = shapely.box(0.0, 0.0, frame.width, frame.height)
    return rings if shapely.Polygon(rings[0]).intersects(body) else []


def draw_pocket(sheet: Sheet, rings: list[Points], *, shut: bool, unit: float, tint: bool = True) -> None:
    """Draw a pocket: tinted, outlined; struck through where it is shut."""
    if tint:
        sheet.fill(rings, ANIMAL, opacity=0.06 if shut else 0.13)
    sheet.stroke(rings, PAPER, 6.5 * unit, opacity=0.55)
    sheet.stroke(rings, ANIMAL, 3.2 * unit, dash=(12 * unit, 8 * unit) if shut else None)
    if shut:
        low, high = rings[0].min(axis=0), rings[0].max(axis=0)
        strike = np.array([[low[0], high[1]], [high[0], low[1]]])
        sheet.stroke([strike], PAPER, 6 * unit, opacity=0.6)
        sheet.stroke([strike], ANIMAL, 2.8 * unit)

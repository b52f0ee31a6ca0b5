"""The map: ground, what lies on it, and the plan, as one picture that can be printed or shown on a phone."""

from __future__ import annotations

import math
from typing import Literal, TypeAlias

import numpy as np
from PIL import Image

from graylight.drawing import legend
from graylight.drawing.contours import contours
from graylight.drawing.frame import Frame, frame_of
from graylight.drawing.furniture import Page, header, neatline
from graylight.drawing.ground import Area, Line, MapData, Name, paint, shade_of
from graylight.drawing.hillshade import Floats
from graylight.drawing.labels import Label, seat_labels
from graylight.drawing.lettering import Room
from graylight.drawing.linework import (
    contour_words, draw_areas, draw_contours, draw_pocket, draw_ways, ring_pixels,
)  # fmt: skip
from graylight.drawing.marks import Mark, angle, arrow, mark
from graylight.drawing.palettes import ANIMAL, INK, LIGHT, PAPER, WATER, mix
from graylight.drawing.sheet import Sheet
from graylight.errors import BadInput
from graylight.grid import Bounds, LonLat
from graylight.plan.model import Lookout, Place, Plan, Pocket
from graylight.units import clock, height

__all__ = ["INVENTED", "Area", "Line", "MapData", "Name", "Units", "draw_map"]

Units: TypeAlias = Literal["us", "metric"]

INVENTED = "INVENTED RANGE: does not exist"
_LIMIT_KINDS = ("limit loaded", "limit")
_ANIMAL_TEXT = mix(ANIMAL, INK, 0.25)


def draw_map(
    data: MapData,
    plan: Plan | None = None,
    *,
    width_px: int = 1600,
    title: str | None = None,
    layer: str = "ground",
    raster: Floats | None = None,
    box: Bounds | None = None,
    units: Units = "us",
    slope_limits_deg: tuple[float, ...] = (35.0, 45.0),
) -> Image.Image:
    """Draw the map of a country, or of a box of it, with the plan on it.

    Parameters
    ----------
    data
        The ground.
    plan
        What to draw on it; none: the ground alone.
    width_px
        Width of the whole picture, 400 to 6000 pixels; letters and lines grow with it.
    title
        None: the country's name.
    layer
        "ground" (cover tints), or a key of `graylight.drawing.ground.LAYERS` laid over shaded ground.
    raster : (rows, cols) float32
        The layer's values, NaN where not known; needed for all layers but "ground". Feed, bed and suitability
        and sight in [0, 1], slope in degrees, facing in degrees from true north, walk in hours.
    box
        What to show, WGS 84 degrees; none: the whole country.
    units
        Unit of contours and heights; the scale bars show miles and kilometres in any case.
    slope_limits_deg
        The walker's limits, drawn as lines over the slope layer: with a load or in the dark, and at all.

    Returns
    -------
    An RGB picture; the same input gives the same pixels. Page up is grid north.
    """
    if not 400 <= width_px <= 6000:
        raise BadInput(f"a picture {width_px} pixels wide; accepted is 400 to 6000; choose a width in that range")
    u = width_px / 1600
    margin = round(58 * u)
    frame = frame_of(data.grid, width=width_px - 2 * margin, box=box)
    body, entries, step = _body(data, plan, frame, layer, raster, units, slope_limits_deg, u)
    columns = legend.columns_of(entries, width_px, margin=margin, unit=u)
    foot = legend.foot_height(columns, unit=u, layer=layer)
    page = _page(width_px, margin, frame, u, foot)
    sheet = Sheet((page.width, page.height))
    flag = INVENTED if plan is not None and plan.country.invented else None
    header(sheet, page, title=title or _title(plan), line=_subtitle(plan), flag=flag)
    neatline(sheet, page, frame)
    legend.footer(
        sheet, page, frame,
        columns=columns,
        contours=contour_words(step, units),
        declination_deg=plan.light.declination_deg if plan else None,
        layer=layer,
        limits=_limits(layer, slope_limits_deg),
    )  # fmt: skip
    picture = sheet.finish()
    picture.paste(body, (page.left, page.top))
    return picture


def _page(width: int, margin: int, frame: Frame, u: float, foot: int) -> Page:
    top = round(144 * u)
    high = top + frame.height + round(48 * u) + foot + round(62 * u)
    return Page(width, high, u, margin, top, frame.width, frame.height)


def _title(plan: Plan | None) -> str:
    return plan.country.name if plan else "The ground"


def _subtitle(plan: Plan | None) -> str:
    if plan is None:
        return ""
    light = plan.light
    parts = [plan.animal.replace("-", " "), f"{light.date.day} {light.date:%B %Y}"]
    if light.usable_from is not None:
        parts.append(f"usable light from {clock(light.usable_from, light.timezone)}")
    if light.sunrise is not None:
        parts.append(f"sunrise {clock(light.sunrise, light.timezone)}")
    return "  ·  ".join(parts)


def _limit_entries(layer: str, limits: tuple[float, ...]) -> list[legend.Entry]:
    if layer != "slope":
        return []
    words = ("{:g}°: not loaded, not in the dark", "{:g}°: not at all")
    return [
        legend.line_entry(text.format(limit), kind)
        for limit, kind, text in zip(limits, _LIMIT_KINDS, words, strict=False)
    ]


def _limits(layer: str, slope_limits_deg: tuple[float, ...]) -> list[tuple[float, str]]:
    return [(value, f"{value:g}°") for value in slope_limits_deg] if layer == "slope" else []


def _body(
    data: MapData,
    plan: Plan | None,
    frame: Frame,
    layer: str,
    raster: Floats | None,
    units: Units,
    limits: tuple[float, ...],
    u: float,
) -> tuple[Image.Image, list[legend.Entry], float]:
    height_m, shade = shade_of(data, frame)
    sheet = Sheet(paint(data, frame, shade, layer=layer, raster=raster))
    room = Room(frame.width, frame.height)
    if plan is not None:
        _reserve(room, plan, frame, u)
    step = draw_contours(sheet, room, height_m, frame, units=units, u=u)
    if layer == "slope" and raster is not None:
        _limit_lines(sheet, frame.sample(raster, smooth=False), limits, u)
    draw_areas(sheet, data, frame, u=u)
    kinds = draw_ways(sheet, room, data, frame, u=u)
    labels = _ground_labels(data, frame, u)
    entries = _ground_entries(data, kinds, layer) + _limit_entries(layer, limits)
    if plan is not None:
        labels += _draw_plan(sheet, room, plan, frame, units, u)
        entries = _plan_entries(plan, frame) + entries
    seat_labels(sheet, room, labels, u=u)
    return sheet.finish(), entries, step


def _limit_lines(sheet: Sheet, slope: Floats, limits: tuple[float, ...], u: float) -> None:
    """Draw where the ground passes the walker's limits."""
    for limit, kind in zip(limits, _LIMIT_KINDS, strict=False):
        lines = [one.line + 0.5 for one in contours(slope, interval_m=limit) if abs(one.height_m - limit) < 1e-6]
        for line in lines:
            legend.draw_line(sheet, line, kind, u)


def _reserve(room: Room, plan: Plan, frame: Frame, u: float) -> None:
    """Keep the glyphs of the plan free of labels."""
    places = [spot.place for pocket in plan.pockets for spot in _spots(pocket)]
    places += [lookout.place for lookout in plan.lookouts] + [one.start.place for one in plan.approaches]
    places += [peak.place for peak in plan.peaks]
    for place in places:
        x, y = _at(place, frame)
        if frame.holds(x, y):
            room.take((x - 11 * u, y - 11 * u, x + 11 * u, y + 11 * u))


def _at(place: Place, frame: Frame) -> tuple[float, float]:
    return frame.pixel(LonLat(place.lon, place.lat))


def _spots(pocket: Pocket) -> list[object]:
    return [*pocket.feed, *pocket.beds, *pocket.crossings]


def _ground_labels(data: MapData, frame: Frame, u: float) -> list[Label]:
    labels = []
    for name in data.names:
        if name.kind == "peak":
            continue
        x, y = frame.pixel(name.place)
        if frame.holds(x, y):
            water = name.kind in ("water", "lake", "stream")
            labels.append(
                Label(
                    6 if name.kind == "basin" else 7, x, y, name.text,
                    kind="slanted" if water or name.kind != "other" else "plain",
                    size=24 * u, colour=WATER if water else mix(INK, PAPER, 0.12), gap=8 * u, far=2,
                )
            )  # fmt: skip
    for areas, kind, colour, rank in ((data.lakes, "slanted", WATER, 5), (data.private, "plain", INK, 3)):
        labels += [_area_label(area, frame, u, kind, colour, rank) for area in areas if area.name]
    return [label for label in labels if frame.holds(label.x, label.y)]


def _area_label(area: Area, frame: Frame, u: float, kind: str, colour: tuple[int, int, int], rank: int) -> Label:
    ring = ring_pixels(area.rings, frame)[0]
    x, y = ring.mean(axis=0)
    text = f"private: {area.name}" if kind == "plain" else str(area.name)
    size = 24 * u if kind == "plain" else 22 * u
    return Label(rank, float(x), float(y), text, kind="slanted" if kind != "plain" else "plain", size=size, colour=colour, gap=5 * u, far=2)


def _ground_entries(data: MapData, kinds: set[str], layer: str) -> list[legend.Entry]:
    words = {"road": "road", "trail": "trail", "stream": "stream", "intermittent": "stream, may be dry"}
    entries = [legend.line_entry(words[kind], kind) for kind in words if kind in kinds]
    if data.private:
        entries.append(legend.hatch_entry())
    if data.units:
        entries.append(legend.line_entry("unit boundary", "unit"))
    if layer == "ground" and data.kind is not None:
        shown = [int(kind) for kind in np.unique(data.kind)]
        entries += legend.cover_entries(shown)
    return entries


def _plan_entries(plan: Plan, frame: Frame) -> list[legend.Entry]:
    entries = [legend.pocket_entry("pocket")] if plan.pockets else []
    if any(pocket.shut for pocket in plan.pockets):
        entries.append(legend.pocket_entry("pocket, shut", shut=True))
    kinds: dict[Mark, str] = {"feed": "feed", "bed": "bed", "crossing": "crossing"}
    present = {spot.kind for pocket in plan.pockets for spot in [*pocket.feed, *pocket.beds, *pocket.crossings]}
    entries += [legend.mark_entry(words, kind) for kind, words in kinds.items() if kind in present]
    if plan.lookouts:
        entries.append(legend.lookout_entry())
    if plan.approaches:
        entries.append(legend.line_entry("way on foot", "approach"))
    water = {one.sure for pocket in plan.pockets for one in pocket.water}
    if False in water:
        entries.append(legend.mark_entry("water, may be dry", "unsure water"))
    return entries


def _draw_plan(sheet: Sheet, room: Room, plan: Plan, frame: Frame, units: Units, u: float) -> list[Label]:
    labels: list[Label] = []
    for pocket in plan.pockets:
        labels += _pocket(sheet, pocket, frame, u)
    for approach in plan.approaches:
        line = frame.pixels(np.array(approach.line, dtype=np.float64)[:, :2])
        legend.draw_line(sheet, line, "approach", u)
        room.avoid(line, 0.5)
    labels += _peaks(sheet, plan, frame, units, u)
    for pocket in plan.pockets:
        _glyphs(sheet, pocket, frame, u)
    return labels + _starts(sheet, plan, frame, u) + _lookouts(sheet, plan, frame, units, u)


def _pocket(sheet: Sheet, pocket: Pocket, frame: Frame, u: float) -> list[Label]:
    rings = ring_pixels([np.array(ring) for ring in pocket.outline], frame, smooth=2)
    if not rings:
        return []
    draw_pocket(sheet, rings, shut=pocket.shut is not None, u=u)
    x, y = _at(pocket.centre, frame)
    if not frame.holds(x, y):
        return []
    text, under = _two_lines(pocket.name or "")
    return [
        Label(
            1, x, y, text, under=under, chip=pocket.id, chip_colour=ANIMAL, kind="strong", size=27 * u,
            colour=_ANIMAL_TEXT, gap=8 * u, far=5,
        )
    ]  # fmt: skip


def _two_lines(name: str, longest: int = 24) -> tuple[str, str]:
    """Break a long name at the space nearest its middle."""
    if len(name) <= longest or " " not in name:
        return name, ""
    spaces = [at for at, letter in enumerate(name) if letter == " "]
    at = min(spaces, key=lambda one: abs(one - len(name) / 2))
    return name[:at], name[at + 1 :]


def _glyphs(sheet: Sheet, pocket: Pocket, frame: Frame, u: float) -> None:
    for water in pocket.water:
        x, y = _at(water.place, frame)
        if frame.holds(x, y):
            mark(sheet, "water" if water.sure else "unsure water", x, y, size=15 * u)
    turn = frame.grid.convergence_deg()
    for way in pocket.ways_out:
        x, y = _at(way.place, frame)
        if frame.holds(x, y) and frame.metres_per_pixel < 6.0 / u:
            arrow(sheet, x, y, turn_deg=way.bearing_true_deg - turn, length=44 * u)
    drawn: list[tuple[float, float]] = []
    for spot in [*pocket.feed, *pocket.beds, *pocket.crossings]:
        x, y = _at(spot.place, frame)
        if frame.holds(x, y) and all(math.dist((x, y), other) > 17 * u for other in drawn):
            mark(sheet, spot.kind, x, y, size=20 * u)
            drawn.append((x, y))


def _peaks(sheet: Sheet, plan: Plan, frame: Frame, units: Units, u: float) -> list[Label]:
    labels = []
    for number, peak in enumerate(plan.peaks[:40]):
        x, y = _at(peak.place, frame)
        if not frame.holds(x, y, margin=6 * u):
            continue
        mark(sheet, "peak", x, y, size=13 * u)
        high = height(peak.place.height_m, units) if peak.place.height_m is not None else ""
        text, under = (peak.name, high) if peak.name else (high, "")
        labels.append(
            Label(4 if number < 12 else 8, x, y, text, under=under, kind="strong" if peak.name else "plain",
                  size=(24 if peak.name else 21) * u, gap=14 * u, far=2)
        )  # fmt: skip
    return labels


def _starts(sheet: Sheet, plan: Plan, frame: Frame, u: float) -> list[Label]:
    labels = {}
    for approach in plan.approaches:
        start = approach.start
        x, y = _at(start.place, frame)
        if frame.holds(x, y):
            mark(sheet, "start", x, y, size=22 * u)
            labels[start.name, round(x), round(y)] = Label(2, x, y, start.name, kind="strong", size=24 * u, gap=17 * u, far=3)
    return list(labels.values())


def _lookouts(sheet: Sheet, plan: Plan, frame: Frame, units: Units, u: float) -> list[Label]:
    """Draw the lookouts: those of the largest set large and with their heights, the others small."""
    chosen = set(plan.sets[-1].lookouts) if plan.sets else {one.id for one in plan.lookouts}
    labels = []
    for lookout in sorted(plan.lookouts, key=lambda one: one.id in chosen):
        x, y = _at(lookout.place, frame)
        if not frame.holds(x, y):
            continue
        first = lookout.id in chosen
        angle(sheet, x, y, turn_deg=_view(lookout) - frame.grid.convergence_deg(), size=(36 if first else 22) * u)
        labels.append(
            Label(
                0 if first else 5, x, y, height(lookout.height_m, units) if first else "", chip=lookout.id,
                chip_colour=LIGHT, chip_ink=INK, size=(27 if first else 21) * u, gap=(20 if first else 13) * u, far=4,
            )
        )  # fmt: skip
    return labels


def _view(lookout: Lookout) -> float:
    """The way a lookout looks: the mean of the bearings to what it sees, by share; north if it sees nothing."""
    weights = [(one.share.likely, math.radians(one.bearing_true_deg)) for one in lookout.sees]
    east = sum(weight * math.sin(turn) for weight, turn in weights)
    north = sum(weight * math.cos(turn) for weight, turn in weights)
    return math.degrees(math.atan2(east, north)) % 360.0 if weights else 0.0

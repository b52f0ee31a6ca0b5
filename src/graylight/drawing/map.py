"""The map: ground, what lies on it, and the plan, as one picture that can be printed or shown on a phone."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass

import numpy as np
from PIL import Image

from graylight.drawing import legend
from graylight.drawing.contours import contours
from graylight.drawing.frame import Frame, frame_of
from graylight.drawing.furniture import Page, page_of
from graylight.drawing.ground import Area, Line, MapData, Name, paint, shade_of
from graylight.drawing.hillshade import Floats
from graylight.drawing.labels import Label, seat_labels
from graylight.drawing.lettering import Face
from graylight.drawing.linework import contour_words, draw_areas, draw_contours, draw_ways, ring_pixels
from graylight.drawing.palettes import INK, PAPER, WATER, mix
from graylight.drawing.plan_marks import draw_plan, plan_entries, reserve
from graylight.drawing.scene import Scene, Units
from graylight.drawing.sheet import Sheet
from graylight.errors import BadInput
from graylight.grid import Bounds
from graylight.plan.model import Plan
from graylight.units import clock

__all__ = ["Area", "Line", "MapData", "Name", "Units", "credit_lines", "draw_map", "ground_labels"]

CREDIT_LETTERS = 170
"""Letters of a line of credits."""
_LIMIT_KINDS = ("limit loaded", "limit")
_LIMIT_WORDS = ("{:g}°: not loaded, not in the dark", "{:g}°: not at all")


@dataclass(frozen=True, slots=True)
class _Layer:
    """What is laid over the ground."""

    name: str
    raster: Floats | None
    limits_deg: tuple[float, ...]

    @property
    def limits(self) -> list[tuple[float, str]]:
        """The walker's limits with their words, for the slope layer."""
        return [(value, f"{value:g}°") for value in self.limits_deg] if self.name == "slope" else []


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
        None: the ground alone.
    width_px
        Width of the whole picture, 400 to 6000 pixels; letters and lines grow with it.
    title
        None: the country's name.
    layer
        "ground" (cover tints), or a key of `graylight.drawing.ground.LAYERS` laid over shaded ground.
    raster : (rows, cols) float32
        The layer's values, NaN where not known; needed for all layers but "ground". Feed, bed, suitability
        and sight in [0, 1], slope in degrees, facing in degrees from true north, walk in hours.
    box
        What to show, WGS 84 degrees; none: the whole country.
    units
        Unit of contours and heights; the scale bars show miles and kilometres in any case.
    slope_limits_deg
        The walker's limits, drawn as lines over the slope layer: with a load or in the dark, and at all.

    Returns
    -------
    RGB; the same input gives the same pixels. Page up is grid north.
    """
    frame, u = body_frame(data, width_px, box)
    over = _Layer(layer, raster, slope_limits_deg)
    height_m, shade = shade_of(data, frame)
    scene = Scene.over(
        paint(data, frame, shade, layer=layer, raster=raster), data, frame, units=units, unit=u
    )
    if plan is not None:
        reserve(scene, plan)
    _limit_lines(scene, over)
    step = draw_contours(scene, height_m)
    kinds = draw_areas(scene) | draw_ways(scene)
    labels = ground_labels(scene)
    entries = _ground_entries(scene, kinds, over)
    if plan is not None:
        labels += draw_plan(scene, plan)
        entries = plan_entries(scene, plan) + entries
    seat_labels(scene.sheet, scene.room, labels, u=u)
    page = page_of(
        frame, unit=u, title=title or (plan.country.name if plan else "The ground"), line=_subtitle(plan),
        invented=plan is not None and plan.country.invented, contours=contour_words(step, units),
        declination_deg=plan.light.declination_deg if plan else None, credits=credit_lines(plan),
    )  # fmt: skip
    return compose(scene.sheet, page, entries, layer=layer, limits=over.limits)


def body_frame(data: MapData, width_px: int, box: Bounds | None) -> tuple[Frame, float]:
    """The frame of a map's body in a picture of a width, and the width's unit."""
    if not 400 <= width_px <= 6000:
        raise BadInput(
            f"a picture {width_px} pixels wide; accepted is 400 to 6000; choose a width in that range"
        )
    u = width_px / 1600
    return frame_of(data.grid, width=width_px - 2 * round(58 * u), box=box), u


def compose(
    body: Sheet,
    page: Page,
    entries: list[legend.Entry],
    *,
    layer: str = "ground",
    limits: list[tuple[float, str]] | None = None,
) -> Image.Image:
    """Put the body of a map onto its page, with title, neatline, scale bars, north and legend."""
    columns = legend.columns_of(entries, page.width, margin=page.left, unit=page.unit)
    height = page.foot_top + legend.foot_height(columns, unit=page.unit, layer=layer)
    height += (62 + len(page.credits) * legend.CREDIT_PX) * page.unit
    sheet = Sheet((page.width, round(height)))
    page.draw_frame(sheet)
    legend.footer(sheet, page, columns, layer=layer, limits=limits or [])
    picture = sheet.finish()
    picture.paste(body.finish(), (page.left, page.top))
    return picture


def credit_lines(plan: Plan | None) -> tuple[str, ...]:
    """Whom to name for the plan's data, in lines that fit the foot of a map; none where nobody is to be named."""
    credits = [] if plan is None else [fact.credit for fact in plan.country.layers if fact.credit]
    text = "; ".join(dict.fromkeys(credits))
    return tuple(textwrap.wrap(f"Data: {text}.", CREDIT_LETTERS)) if text else ()


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


def _limit_lines(scene: Scene, over: _Layer) -> None:
    """Draw where the ground passes the walker's limits."""
    if not over.limits or over.raster is None:
        return
    slope = scene.frame.sample(over.raster, smooth=False)
    for limit, kind in zip(over.limits_deg, _LIMIT_KINDS, strict=False):
        # the first multiple of an interval is the interval itself
        lines = [
            one.line + 0.5 for one in contours(slope, interval_m=limit) if abs(one.height_m - limit) < 1e-6
        ]
        for line in lines:
            legend.draw_line(scene.sheet, line, kind, scene.unit)


def ground_labels(scene: Scene) -> list[Label]:
    """Labels of names, lakes and private holdings, still to be seated."""
    labels = _name_labels(scene)
    for lake in scene.data.lakes:
        if lake.name:
            labels.append(_area_label(scene, lake, lake.name, rank=5, kind="slanted"))
    for holding in scene.data.private:
        labels.append(
            _area_label(scene, holding, f"private: {holding.name or 'owner not known'}", rank=3, kind="plain")
        )
    return [label for label in labels if scene.frame.holds(label.x, label.y)]


def _name_labels(scene: Scene) -> list[Label]:
    """Names of the ground; peaks are named by the plan."""
    labels = []
    for name in scene.data.names:
        if name.kind == "peak":
            continue
        x, y = scene.frame.pixel(name.place)
        water = name.kind in ("water", "lake", "stream")
        labels.append(
            Label(
                rank=6 if name.kind == "basin" else 7, x=x, y=y, text=name.text, size=24 * scene.unit,
                kind="plain" if name.kind == "other" else "slanted",
                colour=WATER if water else mix(INK, PAPER, 0.12), gap=8 * scene.unit, far=2,
            )
        )  # fmt: skip
    return labels


def _area_label(scene: Scene, area: Area, text: str, *, rank: int, kind: Face) -> Label:
    x, y = ring_pixels(area.rings, scene.frame)[0].mean(axis=0)
    colour = WATER if kind == "slanted" else INK
    return Label(
        rank=rank, x=float(x), y=float(y), text=text, kind=kind, size=23 * scene.unit, colour=colour,
        gap=5 * scene.unit, far=2,
    )  # fmt: skip


def _ground_entries(scene: Scene, kinds: set[str], over: _Layer) -> list[legend.Entry]:
    words = {
        "road": "road", "trail": "trail", "stream": "stream", "intermittent": "stream, may be dry",
        "unit": "unit boundary",
    }  # fmt: skip
    entries = [legend.line_entry(words[kind], kind) for kind in words if kind in kinds]
    if "private" in kinds:
        entries.append(legend.hatch_entry())
    if over.name == "ground" and scene.data.kind is not None:
        shown = np.unique(scene.frame.sample_class(scene.data.kind))
        entries += legend.cover_entries([int(kind) for kind in shown])
        entries += [legend.green_entry()] if scene.data.green is not None else []
    for (limit, _), kind, text in zip(over.limits, _LIMIT_KINDS, _LIMIT_WORDS, strict=False):
        entries.append(legend.line_entry(text.format(limit), kind))
    return entries

"""The plan on a map: pockets, their feed, beds and crossings, lookouts, ways on foot, tops, starts."""

from __future__ import annotations

import math

import numpy as np

from graylight.drawing import legend
from graylight.drawing.labels import Label
from graylight.drawing.linework import draw_pocket, ring_pixels
from graylight.drawing.marks import Mark, angle, arrow, mark
from graylight.drawing.palettes import ANIMAL, INK, LIGHT, mix
from graylight.drawing.scene import Scene
from graylight.plan.model import Lookout, Plan, Pocket, Spot
from graylight.units import height

__all__ = ["draw_plan", "plan_entries", "reserve"]

_ANIMAL_TEXT = mix(ANIMAL, INK, 0.25)
_MOST_PEAKS = 40
_FIRST_PEAKS = 12


def reserve(scene: Scene, plan: Plan) -> None:
    """Keep the glyphs of the plan free of labels."""
    u = scene.unit
    places = [spot.place for pocket in plan.pockets for spot in _spots(pocket)]
    places += [one.start.place for one in plan.approaches]
    places += [peak.place for peak in plan.peaks[:_MOST_PEAKS]]
    seats = [(*scene.at(place), 11 * u) for place in places]
    for lookout in plan.lookouts:
        x, y = scene.at(lookout.place)
        way = math.radians(_view_on_page(scene, lookout))
        seats += [(x, y, 11 * u), (x + 22 * u * math.sin(way), y - 22 * u * math.cos(way), 14 * u)]
    for x, y, reach in seats:
        if scene.frame.holds(x, y):
            scene.room.take((x - reach, y - reach, x + reach, y + reach))


def draw_plan(scene: Scene, plan: Plan) -> list[Label]:
    """Draw the plan, and return its labels still to be seated."""
    labels: list[Label] = []
    for pocket in plan.pockets:
        labels += _pocket(scene, pocket)
    for approach in plan.approaches:
        line = scene.frame.pixels(np.array(approach.line, dtype=np.float64)[:, :2])
        legend.draw_line(scene.sheet, line, "approach", scene.unit)
        scene.room.avoid(line, 0.5)
    labels += _peaks(scene, plan)
    for pocket in plan.pockets:
        _glyphs(scene, pocket)
    return labels + _starts(scene, plan) + _lookouts(scene, plan)


def plan_entries(scene: Scene, plan: Plan) -> list[legend.Entry]:
    """The plan's part of the legend: what the picture shows of it."""
    pockets = plan.pockets
    entries = []
    inside = [pocket for pocket in pockets if scene.shows(pocket.centre)]
    if any(pocket.shut is None for pocket in inside):
        entries.append(legend.pocket_entry("pocket"))
    if any(pocket.shut is not None for pocket in inside):
        entries.append(legend.pocket_entry("pocket, shut", shut=True))
    kinds: tuple[Mark, ...] = ("feed", "bed", "crossing")
    present = {spot.kind for pocket in pockets for spot in _spots(pocket) if scene.shows(spot.place)}
    entries += [legend.mark_entry(kind, kind) for kind in kinds if kind in present]
    if _close(scene) and any(scene.shows(way.place) for pocket in pockets for way in pocket.ways_out):
        entries.append(legend.way_out_entry())
    if any(scene.shows(lookout.place) for lookout in plan.lookouts):
        entries.append(legend.lookout_entry())
    if plan.approaches:
        entries.append(legend.line_entry("way on foot", "approach"))
    if any(not water.sure and scene.shows(water.place) for pocket in pockets for water in pocket.water):
        entries.append(legend.mark_entry("water, may be dry", "unsure water"))
    return entries


def _spots(pocket: Pocket) -> list[Spot]:
    return [*pocket.feed, *pocket.beds, *pocket.crossings]


def _close(scene: Scene) -> bool:
    """Whether the scale is large enough for what would only clutter a small one."""
    return scene.frame.metres_per_pixel * scene.unit < 6.0


def _pocket(scene: Scene, pocket: Pocket) -> list[Label]:
    rings = ring_pixels([np.array(ring) for ring in pocket.outline], scene.frame, smooth=2)
    if not rings:
        return []
    u = scene.unit
    draw_pocket(scene.sheet, rings, shut=pocket.shut is not None, unit=u)
    x, y = scene.at(pocket.centre)
    if not scene.frame.holds(x, y):
        return []
    text, under = _two_lines(pocket.name or "")
    return [
        Label(
            rank=1, x=x, y=y, text=text, under=under, chip=pocket.id, chip_colour=ANIMAL, kind="strong",
            size=27 * u, colour=_ANIMAL_TEXT, gap=8 * u, far=5,
        )
    ]  # fmt: skip


def _two_lines(name: str, longest: int = 24) -> tuple[str, str]:
    """Break a long name at the space nearest its middle."""
    if len(name) <= longest or " " not in name:
        return name, ""
    spaces = [at for at, letter in enumerate(name) if letter == " "]
    at = min(spaces, key=lambda one: abs(one - len(name) / 2))
    return name[:at], name[at + 1 :]


def _glyphs(scene: Scene, pocket: Pocket) -> None:
    u, sheet = scene.unit, scene.sheet
    for water in pocket.water:
        if scene.shows(water.place):
            mark(sheet, "water" if water.sure else "unsure water", *scene.at(water.place), size=15 * u)
    turn = scene.frame.grid.convergence_deg()
    for way in pocket.ways_out:
        if scene.shows(way.place) and _close(scene):
            arrow(sheet, *scene.at(way.place), turn_deg=way.bearing_true_deg - turn, length=44 * u)
    drawn: list[tuple[float, float]] = []
    for spot in _spots(pocket):
        at = scene.at(spot.place)
        if scene.frame.holds(*at) and all(math.dist(at, other) > 17 * u for other in drawn):
            mark(sheet, spot.kind, *at, size=20 * u)
            drawn.append(at)


def _peaks(scene: Scene, plan: Plan) -> list[Label]:
    labels = []
    u = scene.unit
    for number, peak in enumerate(plan.peaks[:_MOST_PEAKS]):
        if not scene.shows(peak.place, margin=6 * u):
            continue
        x, y = scene.at(peak.place)
        mark(scene.sheet, "peak", x, y, size=13 * u)
        high = height(peak.place.height_m, scene.units) if peak.place.height_m is not None else ""
        text, under = (peak.name, high) if peak.name else (high, "")
        labels.append(
            Label(
                rank=4 if number < _FIRST_PEAKS else 8, x=x, y=y, text=text, under=under, gap=14 * u, far=2,
                kind="strong" if peak.name else "plain", size=(24 if peak.name else 21) * u,
            )
        )  # fmt: skip
    return labels


def _starts(scene: Scene, plan: Plan) -> list[Label]:
    labels = {}
    u = scene.unit
    for approach in plan.approaches:
        start = approach.start
        if scene.shows(start.place):
            x, y = scene.at(start.place)
            mark(scene.sheet, "start", x, y, size=22 * u)
            label = Label(rank=2, x=x, y=y, text=start.name, kind="strong", size=24 * u, gap=17 * u, far=3)
            labels[start.name, round(x), round(y)] = label
    return list(labels.values())


def _lookouts(scene: Scene, plan: Plan) -> list[Label]:
    """Draw the lookouts: those of the largest set large and with their heights, the others small."""
    chosen = set(plan.sets[-1].lookouts) if plan.sets else {one.id for one in plan.lookouts}
    shown = [one for one in plan.lookouts if scene.shows(one.place)]
    return [
        _lookout(scene, one, first=one.id in chosen)
        for one in sorted(shown, key=lambda one: one.id in chosen)
    ]


def _lookout(scene: Scene, lookout: Lookout, *, first: bool) -> Label:
    u = scene.unit
    x, y = scene.at(lookout.place)
    angle(scene.sheet, x, y, turn_deg=_view_on_page(scene, lookout), size=(36 if first else 22) * u)
    return Label(
        rank=0 if first else 5, x=x, y=y, text=height(lookout.height_m, scene.units) if first else "",
        chip=lookout.id, chip_colour=LIGHT, chip_ink=INK, size=(27 if first else 21) * u,
        gap=(20 if first else 13) * u, far=4,
    )  # fmt: skip


def _view_on_page(scene: Scene, lookout: Lookout) -> float:
    """The way a lookout looks, clockwise from the top of the page.

    The mean of the true bearings to what it sees, by share; the page's top where it sees nothing.
    """
    weights = [(one.share.likely, math.radians(one.bearing_true_deg)) for one in lookout.sees]
    east = sum(weight * math.sin(turn) for weight, turn in weights)
    north = sum(weight * math.cos(turn) for weight, turn in weights)
    if math.hypot(east, north) < 1e-9:
        return 0.0
    return math.degrees(math.atan2(east, north)) - scene.frame.grid.convergence_deg()

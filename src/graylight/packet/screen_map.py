"""The map for screens, in full colour: of a piece of country, as pixels."""

from __future__ import annotations

from PIL import Image

from graylight.drawing.frame import Frame
from graylight.drawing.ground import MapData, paint, shade_of
from graylight.drawing.hillshade import Floats
from graylight.drawing.labels import seat_labels
from graylight.drawing.linework import draw_areas, draw_contours, draw_ways
from graylight.drawing.map import ground_labels
from graylight.drawing.plan_marks import draw_plan, reserve
from graylight.drawing.scene import Scene
from graylight.grid import Grid
from graylight.plan.model import Plan
from graylight.units import Units

__all__ = ["screen_frame", "screen_map"]


def screen_frame(grid: Grid, width_px: int) -> Frame:
    """The whole country on so many pixels across; up to two rows of pixels at the south may be missing."""
    width_px += width_px % 2  # even, so that half of it is whole pixels
    edge = grid.bounds
    metres = (edge.east - edge.west) / width_px
    height_px = max(2, 2 * int((edge.north - edge.south) / metres / 2.0 + 1e-6))
    return Frame(grid, edge._replace(south=edge.north - height_px * metres), width_px, height_px)


def screen_map(data: MapData, plan: Plan | None, frame: Frame, *, units: Units, unit: float) -> Image.Image:
    """Draw the ground and, where there is one, the plan on it.

    Parameters
    ----------
    unit
        Pixels of a unit of lines and letters: names are about 24 of them high.

    Notes
    -----
    On pictures finer than the cells the ground is painted, and contours are traced, on pixels twice as large.
    """
    fine = frame.metres_per_pixel <= 0.75 * data.grid.cell_m and min(frame.width, frame.height) > 800
    coarse = 2 if fine else 1
    ground, height_m = _ground(data, frame, coarse)
    scene = Scene.over(ground, data, frame, units=units, unit=unit)
    if plan is not None:
        reserve(scene, plan)
    draw_contours(scene, height_m, coarse=coarse)
    draw_areas(scene)
    draw_ways(scene)
    labels = ground_labels(scene)
    labels += [] if plan is None else draw_plan(scene, plan)
    seat_labels(scene.sheet, scene.room, labels, u=unit)
    return scene.sheet.finish()


def _ground(data: MapData, frame: Frame, coarse: int) -> tuple[Image.Image, Floats]:
    """The ground painted at the picture's size, and heights on pixels `coarse` times as large."""
    if coarse == 1:
        height_m, shade = shade_of(data, frame)
        return paint(data, frame, shade), height_m
    under = Frame(frame.grid, frame.box, -(-frame.width // coarse), -(-frame.height // coarse))
    height_m, shade = shade_of(data, under)
    painted = paint(data, under, shade)
    return painted.resize((frame.width, frame.height), Image.Resampling.BICUBIC), height_m

"""From where marks can be seen: the ground lit by how many of them show, the marks, and the best seats."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from graylight.drawing import legend
from graylight.drawing.furniture import page_of
from graylight.drawing.ground import MapData, paint, shade_of
from graylight.drawing.labels import Label, seat_labels
from graylight.drawing.linework import contour_words, draw_areas, draw_contours, draw_ways
from graylight.drawing.map import body_frame, compose
from graylight.drawing.marks import mark
from graylight.drawing.palettes import LIGHT
from graylight.drawing.scene import Scene, Units
from graylight.grid import WGS84, Bounds
from graylight.plan.model import Watch

__all__ = ["draw_from_where"]


def draw_from_where(
    data: MapData,
    watch: Watch,
    seen: NDArray[np.uint8],
    *,
    declination_deg: float | None = None,
    invented: bool = False,
    width_px: int = 1400,
    units: Units = "us",
) -> Image.Image:
    """Draw the ground from which marks show.

    Parameters
    ----------
    data
        The ground.
    watch
        Marks and seats.
    seen : (rows, cols) uint8
        How many marks show from each cell one can sit on.
    declination_deg, invented
        Magnetic declination or none, and whether to flag the range as invented.
    width_px
        400 to 6000.
    """
    frame, u = body_frame(data, width_px, _around(data, watch))
    height_m, shade = shade_of(data, frame)
    part = (seen / np.float32(len(watch.marks))).astype(np.float32)
    scene = Scene.over(
        paint(data, frame, shade, layer="sight", raster=part), data, frame, units=units, unit=u
    )
    step = draw_contours(scene, height_m)
    kinds = draw_areas(scene) | draw_ways(scene)
    labels = _marks(scene, watch) + _seats(scene, watch)
    seat_labels(scene.sheet, scene.room, labels, u=u)
    words = {"road": "road", "trail": "trail", "stream": "stream"}
    entries = [legend.mark_entry("mark", "place"), legend.mark_entry("best seats, by number", "start")]
    entries += [legend.line_entry(words[kind], kind) for kind in words if kind in kinds]
    entries += [legend.hatch_entry()] if "private" in kinds else []
    page = page_of(
        frame, unit=u, title="From where the marks show", line=f"{watch.country}  ·  lit by how many of {len(watch.marks)}",
        invented=invented, contours=contour_words(step, units), declination_deg=declination_deg,
    )  # fmt: skip
    return compose(scene.sheet, page, entries, layer="sight")


def _around(data: MapData, watch: Watch) -> Bounds:
    """A box about the marks as far as was looked, within the country."""
    lons, lats = [one.place.lon for one in watch.marks], [one.place.lat for one in watch.marks]
    ends = [
        WGS84.fwd(lon, lat, turn, 1.05 * watch.within_m)[:2]
        for lon, lat in zip(lons, lats, strict=True)
        for turn in (0.0, 90.0, 180.0, 270.0)
    ]
    grid = data.grid
    corners = [grid.lonlat(row, col) for row in (0, grid.rows - 1) for col in (0, grid.cols - 1)]
    west, east = min(c.lon for c in corners), max(c.lon for c in corners)
    south, north = min(c.lat for c in corners), max(c.lat for c in corners)
    return Bounds(
        max(min(e[0] for e in ends), west),
        max(min(e[1] for e in ends), south),
        min(max(e[0] for e in ends), east),
        min(max(e[1] for e in ends), north),
    )


def _marks(scene: Scene, watch: Watch) -> list[Label]:
    labels = []
    for one in watch.marks:
        x, y = scene.at(one.place)
        mark(scene.sheet, "place", x, y, size=26 * scene.unit)
        labels.append(_label(scene, x, y, one.name, rank=1))
    return labels


def _seats(scene: Scene, watch: Watch) -> list[Label]:
    labels = []
    for number, seat in enumerate(watch.seats, 1):
        x, y = scene.at(seat.place)
        mark(scene.sheet, "start", x, y, size=20 * scene.unit, colour=LIGHT)
        labels.append(_label(scene, x, y, f"seat {number}", rank=2))
    return labels


def _label(scene: Scene, x: float, y: float, text: str, *, rank: int) -> Label:
    u = scene.unit
    reach = 14 * u
    scene.room.take((x - reach, y - reach, x + reach, y + reach))
    return Label(rank=rank, x=x, y=y, text=text, kind="strong", size=26 * u, gap=16 * u, far=4)

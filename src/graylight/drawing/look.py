"""What one place sees: the ground around it, lit where it is clear, dimmed where it is hidden."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from graylight.drawing import legend
from graylight.drawing.furniture import MILE_M, page_of
from graylight.drawing.ground import MapData, paint, shade_of
from graylight.drawing.labels import Label, seat_labels
from graylight.drawing.linework import (
    contour_words,
    draw_areas,
    draw_contours,
    draw_pocket,
    draw_ways,
    ring_pixels,
)  # fmt: skip
from graylight.drawing.map import body_frame, compose
from graylight.drawing.marks import mark
from graylight.drawing.palettes import ANIMAL, DUSK, INK, LIGHT, PAPER, RGB, mix
from graylight.drawing.scene import Scene, Units
from graylight.drawing.sheet import Sheet
from graylight.errors import BadInput
from graylight.grid import WGS84, Bounds, LonLat
from graylight.plan.model import Look, Pocket, Sees
from graylight.units import height, share_range

__all__ = ["draw_look"]

BLOCKED, TOUCH_AND_GO, CLEAR, OUTSIDE = 0, 1, 2, 3
"""The answers of graylight.sight.answers, which drawing does not import; a test holds them together."""

_DIM = mix(DUSK, INK, 0.4)
_FARTHEST_M = 5000.0
_MOST_RINGS = 12


def draw_look(
    data: MapData,
    look: Look,
    answers: NDArray[np.uint8],
    *,
    pockets: Sequence[Pocket] = (),
    declination_deg: float | None = None,
    invented: bool = False,
    width_px: int = 1400,
    radius_m: float | None = None,
    units: Units = "us",
) -> Image.Image:
    """Draw what can be seen from one place.

    Parameters
    ----------
    data
        The ground.
    look
        The place, and its shares of the pockets.
    answers : (rows, cols) uint8
        0 blocked, 1 touch-and-go, 2 clear, 3 not looked at, as in graylight.sight.answers.
    pockets
        Outlined and named, with the share in sight where `look` has it.
    declination_deg, invented
        From the plan: magnetic declination or none, and whether to flag the range as invented.
    width_px
        Width of the whole picture, 400 to 6000 pixels.
    radius_m
        How far about the place is shown; none: as far as was looked, at most 5 km.
    units
        Rings every half mile, or every kilometre.

    Returns
    -------
    An RGB picture. Clear ground keeps its colours and is lit, touch-and-go ground is dotted, blocked ground
    dimmed, ground not looked at is greyed.
    """
    if answers.shape != data.grid.shape:
        raise BadInput(
            f"answers of shape {answers.shape}; accepted is the grid's {data.grid.shape}; look again on it"
        )
    place = LonLat(look.place.lon, look.place.lat)
    reach = radius_m or min(_reach(data, place, answers), _FARTHEST_M)
    frame, u = body_frame(data, width_px, _around(place, reach))
    height_m, shade = shade_of(data, frame)
    colour = np.asarray(paint(data, frame, shade), dtype=np.float32)
    lit = Image.fromarray(_lit(colour, frame.sample_class(answers), u))
    scene = Scene.over(lit, data, frame, units=units, unit=u)
    x, y = scene.at(look.place)
    scene.room.take((x - 18 * u, y - 18 * u, x + 18 * u, y + 18 * u))
    step = draw_contours(scene, height_m)
    kinds = draw_areas(scene, fill_lakes=False) | draw_ways(scene)
    labels = _rings(scene, look) + _pockets(scene, pockets, look)
    mark(scene.sheet, "place", x, y, size=30 * u)
    seat_labels(scene.sheet, scene.room, [_here(scene, look), *labels], u=u)
    page = page_of(
        frame, unit=u, title="What shows from here", line=f"{look.country}  ·  {_degrees(place)}",
        invented=invented, contours=contour_words(step, units), declination_deg=declination_deg,
    )  # fmt: skip
    return compose(scene.sheet, page, _entries(kinds, pockets=bool(pockets)))


def _reach(data: MapData, place: LonLat, answers: NDArray[np.uint8]) -> float:
    """How far from the place there are answers, metres."""
    rows, cols = np.nonzero(answers != OUTSIDE)
    if not rows.size:
        return 2000.0
    row, col = data.grid.locate(place)
    far = max(np.abs(rows - row).max(), np.abs(cols - col).max())
    return max(float(far) * data.grid.cell_m * 1.03, 8 * data.grid.cell_m)


def _around(place: LonLat, reach_m: float) -> Bounds:
    ends = [WGS84.fwd(place.lon, place.lat, turn, reach_m)[:2] for turn in (0.0, 90.0, 180.0, 270.0)]
    return Bounds(ends[3][0], ends[2][1], ends[1][0], ends[0][1])


def _degrees(place: LonLat) -> str:
    lat = f"{abs(place.lat):.5f} {'N' if place.lat >= 0 else 'S'}"
    return f"{lat}, {abs(place.lon):.5f} {'E' if place.lon >= 0 else 'W'}"


def _here(scene: Scene, look: Look) -> Label:
    x, y = scene.at(look.place)
    text = "here" if look.place.height_m is None else height(look.place.height_m, scene.units)
    u = scene.unit
    return Label(rank=0, x=x, y=y, text=text, kind="strong", size=28 * u, gap=22 * u, far=3)


def _lit(colour: NDArray[np.float32], seen: NDArray[np.uint8], u: float) -> NDArray[np.uint8]:
    """Light what is clear, dot what is touch-and-go, dim what is blocked, grey what was not looked at."""
    out = colour.copy()
    _lay(out, seen == CLEAR, LIGHT, 0.24)
    _lay(out, (seen == BLOCKED) | (seen == TOUCH_AND_GO), _DIM, 0.58)
    _lay(out, (seen == TOUCH_AND_GO) & _dots(seen.shape, u), LIGHT, 0.85)
    outside = seen == OUTSIDE
    grey = out[outside].mean(axis=-1, keepdims=True)
    out[outside] = grey * 0.35 + np.array(PAPER, dtype=np.float32) * 0.65
    return np.clip(np.rint(out), 0, 255).astype(np.uint8)


def _lay(colour: NDArray[np.float32], where: NDArray[np.bool_], ink: RGB, part: float) -> None:
    colour[where] = colour[where] * (1.0 - part) + np.array(ink, dtype=np.float32) * part


def _dots(shape: tuple[int, ...], u: float) -> NDArray[np.bool_]:
    """Dots over the whole picture, every other row shifted by half."""
    apart = max(round(9 * u), 4)
    rows, cols = np.ogrid[: shape[0], : shape[1]]
    shifted = cols + (rows // apart % 2) * (apart // 2)
    size = max(round(apart * 0.45), 2)
    return np.asarray((rows % apart < size) & (shifted % apart < size))


def _rings(scene: Scene, look: Look) -> list[Label]:
    """Draw rings of distance on the ellipsoid, every half mile or kilometre."""
    step = MILE_M / 2 if scene.units == "us" else 1000.0
    labels = []
    u, frame = scene.unit, scene.frame
    turns = np.linspace(0.0, 360.0, 181)
    middle = np.full(181, look.place.lon), np.full(181, look.place.lat)
    for number in range(1, _MOST_RINGS + 1):
        lon, lat, _ = WGS84.fwd(*middle, turns, np.full(181, number * step))
        ring = frame.pixels(np.column_stack([lon, lat]))
        inside = [(x, y) for x, y in ring[:-1].tolist() if frame.holds(x, y, margin=40 * u)]
        if not inside:
            break
        scene.sheet.stroke([ring], PAPER, 2.6 * u, opacity=0.35)
        scene.sheet.stroke([ring], INK, 1.5 * u, opacity=0.75, dash=(10 * u, 6 * u))
        x, y = min(inside, key=lambda at: (at[1], at[0]))  # its northernmost point in the picture
        words = _distance(number, scene.units)
        labels.append(Label(rank=2, x=x, y=y, text=words, size=23 * u, gap=4 * u, far=2))
    return labels


def _distance(number: int, units: Units) -> str:
    if units == "metric":
        return f"{number} km"
    whole, half = divmod(number, 2)
    return f"{whole or ''}{'½' if half else ''} mile{'s' if number > 2 else ''}"


def _pockets(scene: Scene, pockets: Sequence[Pocket], look: Look) -> list[Label]:
    sees = {one.pocket: one for one in look.sees}
    labels = []
    u = scene.unit
    for pocket in pockets:
        rings = ring_pixels([np.array(ring) for ring in pocket.outline], scene.frame, smooth=2)
        if not rings:
            continue
        draw_pocket(scene.sheet, rings, shut=pocket.shut is not None, unit=u, tint=False)
        if scene.shows(pocket.centre):
            x, y = scene.at(pocket.centre)
            text = _share(sees.get(pocket.id))
            labels.append(
                Label(
                    rank=1, x=x, y=y, text=text, chip=pocket.id, chip_colour=ANIMAL, kind="strong",
                    size=26 * u, gap=8 * u, far=5,
                )
            )  # fmt: skip
    return labels


def _share(sees: Sees | None) -> str:
    if sees is None:
        return ""
    return share_range(sees.share.low, sees.share.high) if sees.shows else "hidden"


def _entries(kinds: set[str], *, pockets: bool) -> list[legend.Entry]:
    entries = [
        legend.Entry("clear", _sample(CLEAR)),
        legend.Entry("touch-and-go", _sample(TOUCH_AND_GO)),
        legend.Entry("blocked", _sample(BLOCKED)),
        legend.Entry("not looked at", _sample(OUTSIDE)),
        legend.mark_entry("here", "place"),
    ]
    if pockets:
        entries.append(legend.pocket_entry("pocket, share in sight"))
    entries += [legend.line_entry(kind, kind) for kind in ("road", "trail", "stream") if kind in kinds]
    return [*entries, legend.hatch_entry()] if "private" in kinds else entries


def _sample(answer: int) -> legend.Sample:
    def sample(sheet: Sheet, x: float, y: float, u: float) -> None:
        base = np.full((round(24 * u) or 1, round(54 * u) or 1, 3), (222, 224, 205), dtype=np.float32)
        patch = Image.fromarray(_lit(base, np.full(base.shape[:2], answer, dtype=np.uint8), u))
        sheet.paste(patch, x, y - 12 * u)

    return sample

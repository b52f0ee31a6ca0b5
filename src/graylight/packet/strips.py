"""The horizon strip of a lookout for paper: the part of the ring in which its pockets lie."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy.ndimage import binary_dilation, binary_erosion

from graylight.drawing.palettes import ANIMAL, INK, PAPER, mix
from graylight.drawing.panorama import Strip, draw_panorama, landmarks, margin_px
from graylight.drawing.strip import Landmark
from graylight.grid import LonLat
from graylight.plan.looking import Ready
from graylight.plan.model import Lookout
from graylight.plan.sight_facts import unseen
from graylight.sight.panorama import Framing, framing, panorama

__all__ = ["DrawnStrip", "arc_about", "draw_strip"]

WIDTH_PX, TEXT_PX = 1488, 21
"""Eight pixels to the millimetre on paper; letters of about 7.5 points."""
LEAST_HEIGHT_PX, MOST_HEIGHT_PX = 170, 330
STRETCH = 2.0
LEAST_ARC_DEG, BESIDE_DEG = 110.0, 22.0
WIDER = (1.0, 1.4, 2.0, 2.8)
"""Times the least arc that are tried until the view is no taller than the page has room for."""
HATCH_PX = 11
LIGHTER = 0.22
"""How far the strip is lightened for paper (set by eye)."""


@dataclass(frozen=True, slots=True)
class DrawnStrip:
    """A strip as PNG, its size in pixels, the landmarks named on it, and the pockets it calls hidden."""

    png: bytes
    size_px: tuple[int, int]
    named: tuple[str, ...]
    hidden: tuple[str, ...] = ()


def arc_about(bearings_deg: Sequence[float]) -> tuple[float, float]:
    """The smallest arc that holds some bearings with room beside them: where it begins, and how wide it is.

    >>> arc_about([350.0, 20.0])
    (310.0, 110.0)
    >>> arc_about([])
    (0.0, 360.0)
    """
    if not bearings_deg:
        return 0.0, 360.0
    turns = sorted(float(b) % 360.0 for b in bearings_deg)
    gaps = [
        (turns[(i + 1) % len(turns)] - t) % 360.0 or 360.0 * (len(turns) == 1) for i, t in enumerate(turns)
    ]
    widest = int(np.argmax(gaps))
    first, span = turns[(widest + 1) % len(turns)], 360.0 - gaps[widest]
    wide = max(span + 2 * BESIDE_DEG, LEAST_ARC_DEG)
    if wide >= 330.0:
        return 0.0, 360.0
    return (first + span / 2.0 - wide / 2.0) % 360.0, wide


def draw_strip(ready: Ready, lookout: Lookout, *, named: bool = True) -> DrawnStrip:
    """Draw what a lookout looks at, pockets tinted, names and bearings about it.

    Parameters
    ----------
    ready
        From `ready_to_look`.
    lookout
        Where.
    named
        False: no names, heights, bearings from magnetic north or title, for others to see.
    """
    grid, settings = ready.country.grid, ready.country.settings
    place = LonLat(lookout.place.lon, lookout.place.lat)
    cell = grid.rowcol(place)
    eye: dict[str, Any] = {
        "row": cell.row, "col": cell.col, "cell_m": grid.cell_m, "eye_m": settings.sight.eye_m,
        "convergence_deg": grid.convergence_deg(place), "width": WIDTH_PX - 2 * margin_px(TEXT_PX),
    }  # fmt: skip
    heights = ready.survey.elevation_m
    eye, fit = _fitted(heights, ready.labels, eye, arc_about(_bearings(lookout)))
    view = panorama(
        heights, up_from_deg=fit.up_from_deg, up_to_deg=fit.up_to_deg, height=fit.height,
        refraction=settings.sight.refraction, **eye,
    )  # fmt: skip
    dark = unseen(lookout.sees, ready.plan.pockets)
    marks: list[Landmark] = landmarks(ready.plan, grid, settings.units) if named else []
    strip = draw_panorama(
        view, marks=marks, labels=ready.labels, pockets=[one.id for one in ready.plan.pockets], unseen=dark,
        declination_deg=ready.plan.light.declination_deg if named else None, invented=ready.country.invented,
        text_px=TEXT_PX, title=f"From {lookout.id}",
    )  # fmt: skip
    drawn = [i + 1 for i, one in enumerate(ready.plan.pockets) if one.id not in dark]
    pockets = np.isin(view.values(ready.labels), drawn)
    return DrawnStrip(_for_paper(strip, pockets), strip.image.size, strip.named, strip.hidden)


def _fitted(
    heights: NDArray[np.float32], labels: NDArray[np.int32], eye: dict[str, Any], arc: tuple[float, float]
) -> tuple[dict[str, Any], Framing]:
    """The narrowest arc, from the one asked for, in which the view is no taller than there is room for."""
    first, wide = arc
    for wider in WIDER:
        span = min(wide * wider, 360.0)
        begin = 0.0 if span >= 330.0 else (first + (wide - span) / 2.0) % 360.0
        span = 360.0 if span >= 330.0 else span
        looking = {**eye, "azimuth_from_deg": begin, "azimuth_to_deg": begin + span}
        for stretch in (STRETCH, 1.4, 1.0):
            fit = framing(heights, labels=labels, stretch=stretch, least_height=LEAST_HEIGHT_PX, **looking)
            if fit.height <= MOST_HEIGHT_PX:
                return looking, fit
    return looking, fit


def _for_paper(strip: Strip, pockets: NDArray[np.bool_]) -> bytes:
    """The strip lightened, its margins white, the pockets hatched: in grey their tint would not be seen."""
    drawn = np.asarray(strip.image, dtype=np.float32)
    rgb = drawn + (255.0 - drawn) * LIGHTER
    rgb[(drawn == np.array(PAPER, dtype=np.float32)).all(axis=-1)] = 255.0
    rows, cols = np.ogrid[: pockets.shape[0], : pockets.shape[1]]
    lines = pockets & ((rows + cols) % HATCH_PX < 2)
    body = rgb[strip.top : strip.top + pockets.shape[0], strip.left : strip.left + pockets.shape[1]]
    lines &= ~_chips(
        drawn[strip.top : strip.top + pockets.shape[0], strip.left : strip.left + pockets.shape[1]]
    )
    body[lines] = body[lines] * 0.35 + np.array(mix(ANIMAL, INK, 0.35), dtype=np.float32) * 0.65
    out = io.BytesIO()
    Image.fromarray(np.rint(rgb).astype(np.uint8)).save(out, format="PNG", compress_level=6)
    return out.getvalue()


def _bearings(lookout: Lookout) -> list[float]:
    """True bearings of the ground in sight of each pocket's places, and of the pockets' middles."""
    shown = [s for s in lookout.sees if s.shows]
    spots = [p.bearing_true_deg for s in shown for p in s.places if p.answer != "hidden"]
    return [*(s.bearing_true_deg for s in shown), *spots]


def _chips(drawn: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Where the names of pockets stand in their filled boxes."""
    filled = (drawn == np.array(ANIMAL, dtype=np.float32)).all(axis=-1)
    boxes: NDArray[np.bool_] = binary_dilation(binary_erosion(filled, iterations=2), iterations=14)
    return boxes

"""A line of sight drawn from the side: the ground and trees under it, and where it passes or stops."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from graylight.drawing.contours import FOOT_M
from graylight.drawing.lettering import extent
from graylight.drawing.palettes import COVER, DUSK, INK, LIGHT, MUTED, PAPER, mix
from graylight.drawing.profile import distances, heights, levels
from graylight.drawing.sheet import Points, Sheet
from graylight.errors import BadInput

__all__ = ["draw_sightline"]

Line = NDArray[np.float64]

LEAVES = mix(COVER[1], INK, 0.28)
"""Crowns from the side: the map's timber, deeper, to stand against the sky."""


def draw_sightline(
    along_m: NDArray[np.floating],
    ground_m: NDArray[np.floating],
    ray_m: NDArray[np.floating],
    *,
    base_m: NDArray[np.floating] | None = None,
    top_m: NDArray[np.floating] | None = None,
    closest: tuple[float, float] | None = None,
    start: str = "",
    end: str = "",
    caption: str = "",
    width_px: int = 1200,
    height_px: int = 460,
    units: str = "us",
) -> Image.Image:
    """Draw a line of sight from the side.

    Parameters
    ----------
    along_m, ground_m, ray_m : (n,) float
        Distances from the eye, rising, n at least 2; bare ground (NaN where unknown) and height of the line there.
    base_m, top_m : (n,) float, optional
        Where crowns begin and end.
    closest : (float, float), optional
        Distance at which the line is nearest to the ground, and by how much it clears it there (negative: it runs
        so deep below).
    start, end, caption
        Names of the eye's and the target's place; a sentence for the foot.
    units
        "us" (feet and miles) or "metric".

    Returns
    -------
    An RGB picture. Heights are stretched, and by how much is written; the line is bright as far as the ground lets it
    by, dashed beyond. Trees dim it but are not drawn to hide it.

    Raises
    ------
    BadInput
        Fewer than two points, or arrays of different length.
    """
    along, ground, ray = (np.asarray(one, dtype=np.float64) for one in (along_m, ground_m, ray_m))
    base = ground if base_m is None else np.asarray(base_m, dtype=np.float64)
    top = ground if top_m is None else np.asarray(top_m, dtype=np.float64)
    _hold_to(along, ground, ray, base, top)
    u = width_px / 1200
    sheet = Sheet((width_px, height_px))
    box = (112 * u, 62 * u, width_px - 44 * u, height_px - 92 * u)
    all_known = np.concatenate([one[np.isfinite(one)] for one in (ground, ray, top)])
    scale = levels(all_known, FOOT_M if units == "us" else 1.0)
    heights(sheet, box, scale, units, u)
    place = _Place(box, float(along[-1]), scale[0], scale[1])
    _trees(sheet, place, along, (ground, base, top), u)
    _earth(sheet, place, along, ground, u)
    _ray(sheet, place, along, ground, ray, u)
    if closest is not None:
        _where(sheet, place, along, ray, closest, units, u)
    distances(sheet, box, float(along[-1]), units, u)
    sheet.text((box[0], 34 * u), start, size=25 * u, kind="strong")
    sheet.text((box[2], 34 * u), end, size=25 * u, kind="strong", anchor="rs")
    foot = f"Heights drawn {place.stretch():.2g} times as long as distances."
    sheet.text((box[0], height_px - 16 * u), caption, size=23 * u)
    sheet.text((box[2], height_px - 16 * u), foot, size=20 * u, colour=MUTED, anchor="rs")
    return sheet.finish()


class _Place:
    """From distance and height to the picture."""

    def __init__(self, box: tuple[float, float, float, float], length_m: float, low: float, high: float):
        self.box, self.length_m, self.low, self.high = box, length_m, low, high

    def __call__(self, along_m: Line, height_m: Line) -> Points:
        x = self.box[0] + along_m / self.length_m * (self.box[2] - self.box[0])
        y = self.box[3] - (height_m - self.low) / (self.high - self.low) * (self.box[3] - self.box[1])
        return np.column_stack([x, y])

    def stretch(self) -> float:
        """How many times taller heights are drawn than distances."""
        across = (self.box[2] - self.box[0]) / self.length_m
        return (self.box[3] - self.box[1]) / (self.high - self.low) / across


def _hold_to(along: Line, *others: Line) -> None:
    if along.ndim != 1 or len(along) < 2 or along[-1] <= 0 or any(one.shape != along.shape for one in others):
        shapes = ", ".join(str(one.shape) for one in (along, *others))
        raise BadInput(
            f"a sight line of arrays of {shapes}; accepted are two or more distances and as many heights of each"
        )


def _runs(where: NDArray[np.bool_]) -> list[slice]:
    """Stretches of at least two points on which something holds."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], where.astype(np.int8), [0]])))
    pairs = zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)
    return [slice(a, b) for a, b in pairs if b - a > 1]


def _earth(sheet: Sheet, place: _Place, along: Line, ground: Line, u: float) -> None:
    for run in _runs(np.isfinite(ground)):
        line = place(along[run], ground[run])
        below = np.array([[line[-1, 0], place.box[3]], [line[0, 0], place.box[3]]])
        sheet.fill([np.vstack([line, below])], mix(DUSK, PAPER, 0.45))
        sheet.stroke([line], INK, 3 * u, round_ends=True)


def _trees(sheet: Sheet, place: _Place, along: Line, layers: tuple[Line, Line, Line], u: float) -> None:
    """Crowns filled, trunks below them in upright strokes."""
    ground, base, top = layers
    leaves = top > base
    beside = (
        np.convolve(leaves, np.ones(3), mode="same") > 0
    )  # to the next bare point, to which they thin out
    for run in _runs(beside & np.isfinite(ground)):
        upper, lower = place(along[run], top[run]), place(along[run], base[run])
        sheet.fill([np.vstack([upper, lower[::-1]])], LEAVES, opacity=0.8)
    apart_m = 9 * u / (place.box[2] - place.box[0]) * place.length_m
    for at in np.arange(apart_m / 2, place.length_m, apart_m):
        foot, crown = (float(np.interp(at, along, one)) for one in (ground, base))
        if crown - foot > 0.5:  # NaN is not
            sheet.stroke([place(np.array([at, at]), np.array([foot, crown]))], LEAVES, 1.6 * u)


def _ray(sheet: Sheet, place: _Place, along: Line, ground: Line, ray: Line, u: float) -> None:
    """Draw the line: bright to where the ground stops it, dashed beyond."""
    inside = ~(ray >= ground)  # unknown ground stops it too
    inside[[0, -1]] = False
    stop = int(np.argmax(inside)) if inside.any() else len(along) - 1
    line = place(along, ray)
    sheet.stroke([line[stop:]], INK, 2.4 * u, dash=(9 * u, 8 * u))
    sheet.stroke([line[: stop + 1]], INK, 7 * u, round_ends=True)
    sheet.stroke([line[: stop + 1]], LIGHT, 3.8 * u, round_ends=True)
    for x, y in (line[0], line[-1]):
        sheet.disc(float(x), float(y), 7 * u, INK)
        sheet.disc(float(x), float(y), 4 * u, PAPER)


def _where(
    sheet: Sheet, place: _Place, along: Line, ray: Line, closest: tuple[float, float], units: str, u: float
) -> None:
    """Mark where the line is nearest to the ground, with the height written."""
    distance_m, clears_m = closest
    unit_m, name = (FOOT_M, "ft") if units == "us" else (1.0, "m")
    here = float(np.interp(distance_m, along, ray))
    (x, y), (_, foot) = place(np.full(2, distance_m), np.array([here, here - clears_m])).tolist()
    foot = min(max(foot, place.box[1]), place.box[3])
    sheet.stroke([np.array([[x, y], [x, foot]])], INK, 2 * u)
    for end in (y, foot):
        sheet.stroke([np.array([[x - 6 * u, end], [x + 6 * u, end]])], INK, 2 * u)
    away = abs(clears_m) / unit_m
    figure = f"{away:,.0f}" if away >= 10 else f"{away:.1f}"
    words = f"clears by {figure} {name}" if clears_m >= 0 else f"{figure} {name} too low"
    wide = extent(words, "strong", 24 * u)[0]
    x = min(max(x, place.box[0] + wide / 2), place.box[2] - wide / 2)
    line = place(along, ray)
    beside = np.interp(np.linspace(x - wide / 2, x + wide / 2, 9), line[:, 0], line[:, 1])
    above = max(float(min(beside.min(), foot)) - 14 * u, place.box[1] + 4 * u)
    sheet.text((x, above), words, size=24 * u, kind="strong", anchor="ms", halo=PAPER)

"""The view from a lookout, drawn: the strip of land in true angles, its names, bearings and elevation angles."""

from __future__ import annotations

import io
import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from graylight.drawing.angles import draw_bearings, draw_elevations, draw_level
from graylight.drawing.dusk import coloured
from graylight.drawing.furniture import INVENTED
from graylight.drawing.lettering import Face, face
from graylight.drawing.palettes import ANIMAL, MUTED, PAPER
from graylight.drawing.strip import HALO, Landmark, StripPage, seat_chips, seat_names
from graylight.errors import BadInput
from graylight.grid import Grid, LonLat
from graylight.plan.model import Peak, Plan, Saddle
from graylight.sight.panorama import Panorama
from graylight.units import Units, height

__all__ = ["Landmark", "Strip", "draw_panorama", "landmarks", "margin_px"]

_LEAST_TEXT, _MOST_TEXT = 8, 60
_LINES = 3
"""Lines of letters that find room over the strip."""
_ASKED = 16
"""Cells of a pocket that are asked why none of it shows."""


@dataclass(frozen=True, slots=True)
class Strip:
    """A drawn panorama, and where the view lies on it.

    Parameters
    ----------
    image
        RGB.
    left, top
        Pixel of the picture at which pixel (0, 0) of the view lies.
    hidden, slight, outside
        Pockets without a pixel: hidden by the ground; in sight, but by less than a pixel; not within the edges.
    named
        Texts of the landmarks that were drawn, as they stand from left to right.
    """

    image: Image.Image
    left: int
    top: int
    hidden: tuple[str, ...]
    slight: tuple[str, ...]
    outside: tuple[str, ...]
    named: tuple[str, ...]

    def png(self) -> bytes:
        """The picture as PNG, packed lightly: written in a third of the time for a fifth more bytes."""
        out = io.BytesIO()
        self.image.save(out, format="PNG", compress_level=1)
        return out.getvalue()

    def on_view(self, x: float, y: float) -> tuple[float, float]:
        """Pixel of the view under a pixel of the picture, for `Panorama.at`."""
        return x - self.left, y - self.top


def landmarks(plan: Plan, grid: Grid, units: Units = "us") -> list[Landmark]:
    """Tops and saddles of a plan, those with names first, then the most prominent."""
    found = []
    kinds: tuple[tuple[bool, Sequence[Peak | Saddle]], ...] = ((False, plan.peaks), (True, plan.saddles))
    for saddle, places in kinds:
        for rank, one in enumerate(places):
            row, col = grid.rowcol(LonLat(one.place.lon, one.place.lat))
            up = "" if one.place.height_m is None else height(one.place.height_m, units)
            text = f"{one.name or ''} {up}".strip()
            if text:
                mark = Landmark("saddle" if saddle else "peak", row, col, text)
                found.append(((one.name is None, saddle, rank), mark))
    return [mark for _, mark in sorted(found, key=lambda one: one[0])]


def margin_px(text_px: int) -> int:
    """Pixels to the left, and to the right, of the view: a picture of 390 holds a view of 390 - 2 * margin_px(12).

    >>> margin_px(12)
    34
    """
    return round(face("plain", text_px).getlength("−10°") + 1.0 * text_px)


def draw_panorama(
    view: Panorama,
    *,
    marks: Sequence[Landmark] = (),
    labels: NDArray[np.int32] | None = None,
    pockets: Sequence[str] = (),
    unseen: Collection[str] | None = None,
    light: tuple[float, float] = (110.0, 8.0),
    declination_deg: float | None = None,
    title: str = "",
    invented: bool = False,
    text_px: int = 15,
) -> Strip:
    """Draw a panorama.

    Parameters
    ----------
    view
        What is seen, at the size it is drawn.
    marks
        Places to name, those that matter most first; one that is hidden or finds no room is left out.
    labels : (rows, cols) int32, optional
        Ground of the pockets: 0 outside, i + 1 on pocket i.
    pockets
        Their short names, in that order.
    unseen
        Those that count as hidden, whatever speck of their ground has a pixel, and no others: how much shows is not told by
        pixels. None: it is told by them.
    light
        True azimuth and altitude of the light that the ground is shaded by, degrees.
    declination_deg
        Magnetic declination, east positive; without it there are no magnetic bearings.
    title, invented
        Written over the sky.
    text_px
        Size of the letters, 8 to 60 pixels; about 12 where the picture is shown as it is on a telephone.

    Returns
    -------
    Strip
        The picture, where the view lies on it, and which pockets it doesn't show.

    Raises
    ------
    BadInput
        Letters too small or too large.
    """
    if not _LEAST_TEXT <= text_px <= _MOST_TEXT:
        raise BadInput(
            f"letters of {text_px} pixels; accepted is {_LEAST_TEXT} to {_MOST_TEXT}; choose another size"
        )
    drawn = (
        None
        if labels is None
        else _without(labels, [i + 1 for i, p in enumerate(pockets) if p in (unseen or ())])
    )
    shown = None if drawn is None else view.values(drawn)
    page = _page(
        view, shown, light, text_px, title_line=bool(title or invented), magnetic=declination_deg is not None
    )
    _head(page, title, invented=invented)
    seen = set() if shown is None else seat_chips(page, shown, pockets)
    named = seat_names(page, marks, lines=_LINES)
    draw_level(page)
    missing = _missing(view, drawn, pockets, seen)
    if unseen is not None:
        slight = tuple(p for p in pockets if p in {*missing.slight, *missing.hidden} - {*unseen})
        missing = missing._replace(hidden=tuple(p for p in pockets if p in unseen), slight=slight)
    draw_elevations(page)
    foot = draw_bearings(page, declination_deg)
    how = _how(view, light, saddles=any(mark.kind == "saddle" for mark in named))
    end = _words(page, foot, missing, how)
    image = page.image.crop((0, 0, page.image.width, end))
    return Strip(image, page.left, page.top, *missing, tuple(mark.text for mark in named))


def _without(labels: NDArray[np.int32], numbers: Sequence[int]) -> NDArray[np.int32]:
    return np.where(np.isin(labels, numbers), np.int32(0), labels) if numbers else labels


def _page(
    view: Panorama,
    shown: NDArray[np.int32] | None,
    light: tuple[float, float],
    t: int,
    *,
    title_line: bool,
    magnetic: bool,
) -> StripPage:
    """Lay the coloured view on a sheet, with room for letters about it."""
    head = round(1.9 * t) if title_line else round(0.4 * t)
    # the letters stand in the sky: where the view has little of its own, more is added
    crest = view.up_to_deg - float(np.nanmax(view.skyline_deg, initial=view.up_from_deg))
    own = max(crest, 0.0) * view.pixels_per_deg[1]
    sky = head + max(0, round((_LINES * 1.32 + 0.6) * t - own))
    side = margin_px(t)
    foot = round((1.7 + (1.5 if magnetic else 0.0) + 3.2) * t)
    colour = coloured(view, light=light, pockets=shown, head=sky)
    image = Image.new("RGB", (view.width + 2 * side, colour.shape[0] + foot), PAPER)
    image.paste(Image.fromarray(colour), (side, 0))
    return StripPage(view, t, side, sky, head, image, ImageDraw.Draw(image))


def _head(page: StripPage, title: str, *, invented: bool) -> None:
    """Write title and flag over the sky; where both find no room, the flag stays."""
    t, room = page.text_px, float(page.view.width)
    if invented:
        size = min(1.0, room / (page.long(INVENTED, kind="strong") + 1.2 * t))
        page.write(
            page.right - 0.6 * t, 1.45 * t, INVENTED, size=size, kind="strong", colour=ANIMAL, anchor="rs", halo=HALO
        )  # fmt: skip
        room -= page.long(INVENTED, size=size, kind="strong") + t
        page.taken.append((page.left + room, 0.0, page.right, 1.9 * t))
    wide = page.long(title, size=1.15, kind="strong") + t
    if title and wide <= room:
        page.write(page.left + 0.6 * t, 1.45 * t, title, size=1.15, kind="strong", halo=HALO)
        page.taken.append((page.left, 0.0, page.left + wide, 1.9 * t))


class _Missing(NamedTuple):
    """Pockets without a pixel: wholly hidden, in sight by less than a pixel, not in this picture."""

    hidden: tuple[str, ...] = ()
    slight: tuple[str, ...] = ()
    outside: tuple[str, ...] = ()


def _missing(
    view: Panorama, labels: NDArray[np.int32] | None, pockets: Sequence[str], seen: set[int]
) -> _Missing:
    """Say of each pocket without a pixel why it has none."""
    absent = [index for index in range(len(pockets)) if index not in seen]
    if labels is None or not absent:
        return _Missing()
    at = np.flatnonzero(labels.ravel() > 0)
    number = labels.ravel()[at] - 1
    why: dict[str, list[str]] = {"hidden": [], "slight": [], "outside": []}
    for index in absent:
        mine = at[number == index]
        if mine.size:
            why[_reason(view, mine, labels.shape[1])].append(pockets[index])
    return _Missing(*(tuple(names) for names in why.values()))


def _reason(view: Panorama, cells: NDArray[np.int64], cols: int) -> str:
    """Why none of a pocket's cells has a pixel, by cells spread over it."""
    spread = cells[np.linspace(0, cells.size - 1, min(_ASKED, cells.size)).astype(int)]
    places = [divmod(int(cell), cols) for cell in spread]
    asked = [view.angles_to(p) for p in places if p != view.seat and not np.isnan(view.surface_m[p])]
    inside = [view.pixel(one.azimuth_deg, one.up_deg) is not None for one in asked if not one.hidden]
    if inside:
        return "slight" if all(inside) else "outside"
    turns = [(one.azimuth_deg - view.azimuth_from_deg) % 360.0 <= view.span_deg for one in asked]
    return "hidden" if any(turns) else "outside"


def _words(page: StripPage, y: float, missing: _Missing, how: str) -> int:
    """Say below the strip what it does not show, and how it is drawn; where the picture ends."""
    t, x = page.text_px, float(page.left)
    parts = zip(("Hidden from here", "Less than a pixel of", "Not in this picture"), missing, strict=True)
    said = "   ·   ".join(f"{words}: {', '.join(names)}" for words, names in parts if names)
    if said:
        # the names of what is hidden are never cut: they shrink
        size = min(1.0, (page.image.width - page.left) / page.long(said, kind="strong"))
        page.write(x, y, said, size=size, kind="strong", colour=ANIMAL)
        y += 1.4 * t
    page.write(x, y, _cut(page, how, 0.85, "plain"), size=0.85, colour=MUTED)
    return math.ceil(y + 0.6 * t)


def _how(view: Panorama, light: tuple[float, float], *, saddles: bool) -> str:
    times = view.stretch
    heights = "True angles" if abs(times - 1.0) < 0.02 else f"Heights stretched × {times:.1f}"
    # what the line has no room for is cut from its end: what misleads most stands first
    words = (
        f"{heights}  ·  ground beyond the country's edge is not drawn  ·  "
        f"light from {light[0] % 360.0:.0f}° true, {light[1]:.0f}° high, no cast shadows"
    )
    return words + "  ·  slanted: saddles" if saddles else words


def _cut(page: StripPage, text: str, size: float, kind: Face) -> str:
    """Shorten a line at a part's end until it finds room."""
    while page.long(text, size=size, kind=kind) > page.image.width - page.left and "  ·" in text:
        text = text[: text.rindex("  ·")].rstrip()
    return text

"""The edges of a panorama: bearings, true and magnetic, along its foot, elevation angles at its sides."""

from __future__ import annotations

import numpy as np

from graylight.drawing.palettes import INK, MUTED, PAPER, RGB, mix
from graylight.drawing.strip import StripPage

__all__ = ["draw_bearings", "draw_elevations", "draw_level"]

_STEPS = (1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 45.0, 90.0)
_UP_STEPS = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 45.0)


def draw_level(page: StripPage) -> None:
    """Dot the level of the eye across the view, but for letters, which are seated before."""
    view = page.view
    if not view.up_from_deg < 0.0 < view.up_to_deg:
        return
    y = round(page.top + view.up_to_deg * view.pixels_per_deg[1])
    dot = max(1, round(page.text_px / 15))
    apart = max(4, round(page.text_px * 0.45))
    written = [(left, right) for left, top, right, bottom in page.taken if top <= y <= bottom]
    for number, x in enumerate(range(page.left, page.right, apart)):
        if any(left <= x <= right for left, right in written):
            continue
        # dark on light and light on dark: the land below may be either
        page.pen.rectangle((x, y, x + dot - 1, y + dot - 1), fill=PAPER if number % 2 else INK)


def draw_elevations(page: StripPage) -> None:
    """Write elevation angles at both sides."""
    view, t = page.view, page.text_px
    step = _step(_UP_STEPS, view.pixels_per_deg[1], 2.2 * t)
    first = np.ceil(view.up_from_deg / step) * step
    for up in np.arange(first, view.up_to_deg, step):
        y = page.top + (view.up_to_deg - up) * view.pixels_per_deg[1]
        if y > page.bottom - 0.3 * t:
            continue
        words = f"{abs(up):g}°" if up >= 0 else f"−{abs(up):g}°"
        for x, toward, anchor in ((page.left - 1, -1, "rs"), (page.right, 1, "ls")):
            page.pen.line((x, y, x + toward * 0.35 * t, y), fill=MUTED, width=_thick(page))
            page.write(x + toward * 0.5 * t, y + 0.3 * t, words, size=0.85, colour=MUTED, anchor=anchor)


def draw_bearings(page: StripPage, declination_deg: float | None) -> float:
    """Write true bearings, and magnetic ones below, under the view; baseline of the next line of letters."""
    t = page.text_px
    y = page.bottom
    _row(page, y, 0.0, "true", INK)
    y = y + round(1.6 * t)
    if declination_deg is not None:
        _row(page, y, declination_deg, "magnetic", mix(INK, MUTED, 0.5))
        y = y + round(1.5 * t)
    return y + 1.15 * t


def _row(page: StripPage, y: float, declination_deg: float, name: str, ink: RGB) -> None:
    """One row of bearings with ticks above; magnetic bearing = true bearing less declination."""
    view, t = page.view, page.text_px
    across = view.pixels_per_deg[0]
    step = _step(_STEPS, across, page.long("300°") + 1.6 * t)
    start = view.azimuth_from_deg - declination_deg
    wide = page.long(name, size=0.85)
    clear = page.left + wide + 1.2 * t
    page.write(page.left, y + 1.25 * t, name, size=0.85, colour=MUTED)
    small = step / 5.0 if step in {5.0, 10.0, 15.0} else step / 2.0
    for number in range(int(np.ceil(start / small)), int(np.floor((start + view.span_deg) / small)) + 1):
        bearing = number * small
        x = page.left + (bearing - start) * across
        whole = abs(bearing / step - round(bearing / step)) < 1e-6
        page.pen.line((x, y, x, y + (0.42 if whole else 0.2) * t), fill=ink, width=_thick(page))
        words = f"{round(bearing) % 360}°"
        half = page.long(words) / 2
        if whole and x - half > clear and x + half < page.image.width:
            # the figures stand under their tick, the sign hangs off them
            page.write(x + page.long("°") / 2, y + 1.3 * t, words, colour=ink, anchor="ms")


def _step(steps: tuple[float, ...], per_deg: float, room: float) -> float:
    return next((step for step in steps if step * per_deg >= room), steps[-1])


def _thick(page: StripPage) -> int:
    return max(1, round(page.text_px / 15))

"""Names and heights on a map: gathered with a rank each, then seated one by one where there is room."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from graylight.drawing.lettering import Box, Face, Room, extent
from graylight.drawing.palettes import INK, PAPER, RGB
from graylight.drawing.sheet import Sheet

__all__ = ["Label", "seat_labels"]


@dataclass(frozen=True, slots=True)
class Label:
    """One label.

    Parameters
    ----------
    rank
        Lower is seated sooner; ties by place, north first.
    x, y
        The pixel it belongs to.
    text, under
        Its line, and a second, smaller one below it.
    chip
        A short text in a filled box before the line.
    gap
        Distance from the pixel.
    far
        Rings of seats tried; from the second on a thin leader is drawn.
    """

    rank: int
    x: float
    y: float
    text: str
    under: str = ""
    chip: str = ""
    chip_colour: RGB = INK
    chip_ink: RGB = PAPER
    kind: Face = "plain"
    size: float = 24.0
    colour: RGB = INK
    gap: float = 12.0
    far: int = 1


def seat_labels(sheet: Sheet, room: Room, labels: list[Label], *, u: float) -> list[Label]:
    """Draw the labels that find room, and return those that did not."""
    left_out = []
    for label in sorted(labels, key=lambda one: (one.rank, one.y, one.x)):
        size = _size(label, u)
        box = room.seat(label.x, label.y, size, gap=label.gap, far=label.far)
        if box is None:
            left_out.append(label)
            continue
        _leader(sheet, label, box, u)
        _draw(sheet, label, box[0], box[1], u)
    return left_out


def _size(label: Label, u: float) -> tuple[float, float]:
    wide = extent(label.text, label.kind, label.size)[0] if label.text else 0.0
    wide = max(wide, extent(label.under, "plain", label.size * 0.86)[0] if label.under else 0.0)
    high = label.size * (1.0 + (0.95 if label.under else 0.0))
    if label.chip:
        wide += _chip_width(label, u) + (7 * u if label.text else 0.0)
        high = max(high, label.size * 1.26)
    return wide, high


def _chip_width(label: Label, u: float) -> float:
    return extent(label.chip, "strong", label.size)[0] + 15 * u


def _draw(sheet: Sheet, label: Label, left: float, top: float, u: float) -> None:
    baseline = top + label.size * 0.88
    if label.chip:
        baseline = _chip(sheet, label, left, top, u)
        left += _chip_width(label, u) + 7 * u
    ink, paper = label.colour, PAPER
    sheet.text(
        (left, baseline), label.text, size=label.size, kind=label.kind, colour=ink, halo=paper, halo_px=3 * u
    )
    if label.under:
        low = baseline + label.size * 0.92
        sheet.text((left, low), label.under, size=label.size * 0.86, colour=ink, halo=paper, halo_px=2.6 * u)


def _chip(sheet: Sheet, label: Label, left: float, top: float, u: float) -> float:
    """Draw the filled box before a label, and return the baseline of its text."""
    wide, high = _chip_width(label, u), label.size * 1.26
    sheet.box(
        (left - 1.5 * u, top - 2.5 * u, left + wide + 1.5 * u, top + high - 0.5 * u), PAPER, round_px=5 * u
    )
    sheet.box((left, top - u, left + wide, top + high - 2 * u), label.chip_colour, round_px=4 * u)
    base = top + high / 2 + label.size * 0.35 - 1.5 * u
    at = (left + wide / 2, base)
    sheet.text(at, label.chip, size=label.size, kind="strong", colour=label.chip_ink, anchor="ms")
    return base


def _leader(sheet: Sheet, label: Label, box: Box, u: float) -> None:
    """Draw a thin line from a far label to its place."""
    place = np.array([label.x, label.y])
    end = np.array([np.clip(label.x, box[0], box[2]), np.clip(label.y, box[1], box[3])])
    length = float(np.hypot(*(end - place)))
    if length > 1.7 * label.gap:
        line = np.array([place + (end - place) * (0.5 * label.gap / length), end])
        sheet.stroke([line], PAPER, 3.6 * u, opacity=0.7)
        sheet.stroke([line], label.chip_colour if label.chip else label.colour, 1.5 * u)

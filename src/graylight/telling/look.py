"""What can be seen from one place, told."""

from __future__ import annotations

from collections.abc import Mapping

from graylight.plan.model import Clear, Look
from graylight.telling.naming import standing
from graylight.telling.paragraph import Paragraph, sentence
from graylight.telling.plan import LAW
from graylight.telling.sight import hidden, shown
from graylight.units import Units, compass, duration, share

__all__ = ["tell_look"]

LEVEL_DEG = 2.0
"""Flatter than this has no facing worth telling."""


def tell_look(look: Look, units: Units, names: Mapping[str, str] | None = None) -> list[Paragraph]:
    """Tell a look: the place, what it hides, what it shows, how far on foot, what is not known.

    Parameters
    ----------
    look
        What can be seen from one place.
    units
        'us' or 'metric'.
    names
        Names of pockets by id, where they have one: a look carries ids only.
    """
    known = names or {}

    def name(pocket: str) -> str:
        return known.get(pocket) or (pocket if pocket.lower().startswith("pocket") else f"pocket {pocket}")

    told = [f"{look.country}, {standing(look.place, units)}.", _ground(look), _walk(look)]
    sight = [
        *hidden(look.sees, [one.pocket for one in look.sees], name),
        *shown(look.sees, name, units, glasses=True),
    ]
    if not look.sees:
        sight = ["No pocket lies within the distance looked at."]
    paragraphs = [Paragraph("From here", told), Paragraph("What shows", [*sight, *_cells(look.cells)])]
    if look.picture is not None:
        view = "" if look.strip is None else f", the view {look.strip}"
        paragraphs[-1].sentences.append(f"The map of it is {look.picture}{view}.")
    if look.not_known:
        paragraphs.append(Paragraph("Not known", [sentence(words) for words in look.not_known]))
    return [*paragraphs, Paragraph("Take care", [*(sentence(words) for words in look.cautions), LAW])]


def _ground(look: Look) -> str:
    if look.slope_deg < LEVEL_DEG or look.facing_true_deg is None:
        lie = "about level" if look.slope_deg < LEVEL_DEG else f"slope {look.slope_deg:.0f}°"
    else:
        lie = f"slope {look.slope_deg:.0f}°, facing {compass(look.facing_true_deg)}"
    cover = "cover not known" if look.cover == "unknown" else f"cover {look.cover}"
    return sentence(f"{lie}; {cover}")


def _walk(look: Look) -> str:
    if look.walk_seconds is None:
        return "No way on foot to it is known."
    return sentence(f"{duration(look.walk_seconds)} on foot from the best start, with a day pack in the dark")


def _cells(cells: Clear) -> list[str]:
    total = cells.clear + cells.touch_and_go + cells.blocked
    if total == 0:
        return ["No ground was looked at."]
    parts = (("clear", cells.clear), ("touch-and-go", cells.touch_and_go), ("blocked", cells.blocked))
    words = ", ".join(f"{name} {share(count / total)}" for name, count in parts)
    return [sentence(f"of the ground looked at: {words}")]

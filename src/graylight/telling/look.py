"""What can be seen from one place, told."""

from __future__ import annotations

from collections.abc import Mapping

from graylight.plan.model import Clear, Look, SightLine
from graylight.telling.naming import standing
from graylight.telling.paragraph import Paragraph, sentence
from graylight.telling.plan import LAW
from graylight.telling.sight import hidden, shown
from graylight.units import Units, bearings, compass, distance, duration, share, share_range, small_height

__all__ = ["tell_look"]

LEVEL_DEG = 2.0
"""Flatter than this has no facing worth telling."""
SMALL_RISE_M = 30.48
"""100 ft: one may find that much on the same slope; of a higher eye nothing is told. Proposed default."""


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
    if look.lies_in is not None:
        told.append(f"It lies in {name(look.lies_in)}: animals there would see or smell you.")
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
    if look.line is not None:
        paragraphs.append(Paragraph("The line of sight", _line(look.line, units)))
    if look.not_known:
        paragraphs.append(Paragraph("Not known", [sentence(words) for words in look.not_known]))
    return [*paragraphs, Paragraph("Take care", [*(sentence(words) for words in look.cautions), LAW])]


def _line(line: SightLine, units: Units) -> list[str]:
    """One line of sight: the answer first, then why, then how far and how steep."""
    where = bearings(line.bearing_true_deg, line.bearing_magnetic_deg)
    told = [
        sentence(f"what stands {distance(line.distance_m, units)} off at {where} is {_ANSWERS[line.answer]}")
    ]
    if line.margin_m is not None and line.closest_m is not None:
        ground = f"the ground {distance(line.closest_m, units)} out"
        by = small_height(abs(line.margin_m), units)
        clears = f"the line clears {ground}, by {by} at the far end"
        told.append(sentence(clears if line.margin_m >= 0 else f"it is hidden behind {ground}"))
    if line.rise_m and line.rise_m <= SMALL_RISE_M:
        told.append(sentence(f"the eye would have to be {small_height(line.rise_m, units)} higher"))
    if line.margin_m is None or line.margin_m >= 0:
        through = share_range(line.light.low, line.light.high)
        told.append(
            "Nothing grows on it."
            if line.light.low > 0.95
            else sentence(f"the trees on it let {through} through")
        )
    if abs(line.up_deg) >= LEVEL_DEG:
        told.append(sentence(f"{abs(line.up_deg):.0f}° {'up' if line.up_deg > 0 else 'down'}"))
    return told if line.picture is None else [*told, f"It is drawn in {line.picture}."]


_ANSWERS = {"seen": "in sight", "doubtful": "in doubt", "hidden": "hidden"}


def _ground(look: Look) -> str:
    if look.slope_deg < LEVEL_DEG or look.facing_true_deg is None:
        lie = "about level" if look.slope_deg < LEVEL_DEG else f"slope {look.slope_deg:.0f}°"
    else:
        lie = f"slope {look.slope_deg:.0f}°, facing {compass(look.facing_true_deg)}"
    cover = "cover not known" if look.cover.endswith("unknown") else f"cover {look.cover}"
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

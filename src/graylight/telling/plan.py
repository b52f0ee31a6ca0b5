"""The whole plan, told in the order in which it is needed."""

from __future__ import annotations

from graylight.plan.model import Plan
from graylight.telling.light import the_light
from graylight.telling.paragraph import Paragraph, plain, sentence
from graylight.telling.pockets import the_pockets
from graylight.telling.seats import how_to_get_there, other_lookouts, where_to_sit
from graylight.units import Units

__all__ = ["LAW", "Paragraph", "plain", "tell_plan"]

LAW = (
    "Nothing here says that a place is legal or safe: current regulations, land managers and landowners "
    "decide."
)


def tell_plan(plan: Plan, units: Units) -> list[Paragraph]:
    """Tell a plan: where to sit, the way there, the light, the pockets and why, other lookouts, what is open.

    Parameters
    ----------
    plan
        A plan, whole or with parts missing (no lookouts, no starts, no dawn, no magnetic bearings).
    units
        'us': feet, yards, miles and acres; 'metric': metres, kilometres and hectares.

    Returns
    -------
    list of Paragraph
        Ranges instead of single figures, shares to 5 %, times by the local clock with its zone, bearings
        from magnetic and true north.

    Notes
    -----
    Words that the stages hand over (reasons, what is hidden, hazards) are told as they are.
    """
    paragraphs = [where_to_sit(plan, units)]
    way = how_to_get_there(plan, units)
    paragraphs += [way] if way is not None else []
    paragraphs.append(the_light(plan.light, plan.country))
    paragraphs += the_pockets(plan, units)
    paragraphs += other_lookouts(plan, units)
    if plan.edits_applied:
        paragraphs.append(Paragraph("Your changes", [sentence(words) for words in plan.edits_applied]))
    if plan.not_known:
        paragraphs.append(Paragraph("Not known", [sentence(words) for words in plan.not_known]))
    paragraphs.append(Paragraph("Take care", [*(sentence(words) for words in plan.cautions), LAW]))
    return paragraphs

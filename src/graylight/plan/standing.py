"""What every answer carries: the program that made it, and the cautions of the trade."""

from __future__ import annotations

from graylight import __version__

__all__ = ["ALWAYS", "INVENTED", "PROGRAM", "always"]

PROGRAM = f"graylight {__version__}"

ALWAYS = (
    "Check current regulations with the responsible agency: seasons, units, shooting hours, tagging, closures and access change, and nothing here says that a place is legal.",
    "Ownership shown is only what the layers hold; ask the landowner or land manager before crossing private or unclear ground.",
    "Elevation grids hide cliffs smaller than a few cells: a way that looks walkable may not be. Turn back where it is not, above all in the dark.",
    "At any thunder above timberline go down, and wait 30 minutes after the last of it. Be off the tops by midday when storms build.",
    "Leave a trip plan with someone: who, vehicle, trailhead, lookouts, when you are overdue and whom to call.",
)

INVENTED = "This range is invented. It does not exist; don't go there."


def always(*, invented: bool) -> list[str]:
    """The cautions of every answer; first of all that a country is invented."""
    return [*([INVENTED] if invented else []), *ALWAYS]

"""The command that makes the packet."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from graylight.cli.begin import opened, plan_of
from graylight.cli.progress import bar

__all__ = ["packet"]


def packet(
    folder: Path,
    *,
    date: str | None = None,
    lookouts: str | None = None,
    wind: str | None = None,
    share: Annotated[bool, Parameter(negative="")] = False,
) -> None:
    """Make the packet: the plan on paper, on the phone and in open formats, for where there is no network.

    Parameters
    ----------
    folder
        A country's folder.
    date
        The morning, YYYY-MM-DD; the plan's own if not given.
    lookouts
        Ids of the lookouts told in full, with commas between (L1,L3); those of the largest set if not given.
    wind
        General wind as a forecast says it, such as "SW 8mph", or "none"; the setting sit.wind if not given, else calm.
    share
        Only what may be shown to others: no coordinates, no names, no map, no date, photos without their position.
    """
    from graylight.packet.asked import understood
    from graylight.packet.making import make_packet

    country = opened(folder)
    kept = plan_of(country)
    asked = understood(kept, lookouts=lookouts, date=date, wind=wind)
    country = country.with_settings(animal=kept.animal, date=kept.light.date.isoformat())
    with bar("making the packet") as tick:
        made = make_packet(country, kept, asked, share=share, tick=tick)
    for path in made.paths:
        print(path)

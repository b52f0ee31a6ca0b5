"""The commands of camps and water, and of one's own pace."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from graylight.cli.progress import bar
from graylight.cli.words import Folder, Json, say

__all__ = ["camp", "pace"]


def camp(
    folder: Folder,
    *,
    lookout: str | None = None,
    date: str | None = None,
    wind: str | None = None,
    json: Json = False,
) -> None:
    """Tell places to camp near the lookouts, out of sight and scent of the pockets, and where water is.

    Parameters
    ----------
    lookout
        Id of a lookout of the plan, such as L1; any of them if not given.
    date
        The day, YYYY-MM-DD; the plan's own if not given.
    wind
        General wind as a forecast says it, such as "SW 8mph", or "none"; the setting sit.wind if not given, else calm.
    """
    from graylight.cli.begin import opened, plan_of
    from graylight.plan.camping import camps_for
    from graylight.plan.morning_asked import camps_asked
    from graylight.plan.morning_ready import ready_for_morning
    from graylight.telling.camp import tell_camps

    country = opened(folder)
    kept = plan_of(country)
    chosen, day = camps_asked(kept, lookout=lookout, date=date, wind=wind)
    country = country.with_settings(animal=kept.animal, date=kept.light.date.isoformat())
    with bar("looking for places to camp") as tick:
        ready = ready_for_morning(country, kept)
        tick(0.3)
        told = camps_for(ready, chosen, date=day, wind=wind, tick=lambda f: tick(0.3 + 0.7 * f))
    if json:
        print(told.model_dump_json(indent=1))
    else:
        print(say(tell_camps(told, country.settings.units)))


def pace(
    folder: Folder,
    *,
    walks: Annotated[list[Path], Parameter(consume_multiple=True, negative="")],
    pack: Annotated[bool, Parameter(negative="")] = False,
    dark: Annotated[bool, Parameter(negative="")] = False,
    keep: Annotated[bool, Parameter(negative="")] = False,
    json: Json = False,
) -> None:
    """Measure one's own pace from tracks with times, walked inside the country.

    Parameters
    ----------
    folder
        A country's folder, planned once.
    walks
        GPX files with timed tracks; rests are left out.
    pack
        They were walked with a day pack.
    dark
        They were walked in the dark.
    keep
        Keep the measured factor as walk.pace_factor in the country's settings.
    """
    from graylight.cli.begin import plan_of
    from graylight.country.folder import Country
    from graylight.exchange.timed import read_timed
    from graylight.plan.looking import ready_to_look
    from graylight.plan.pace import measured, with_pace
    from graylight.telling.pace import tell_pace

    country = Country.open(folder)
    kept = plan_of(country)
    tracks = [track for path in walks for track in read_timed(path)]
    told = measured(ready_to_look(country, kept), tracks, pack=pack, dark=dark)
    if keep:
        country.save_settings(with_pace(country.settings, told))
        told = told.model_copy(update={"kept": True})
    if json:
        print(told.model_dump_json(indent=1))
    else:
        print(say(tell_pace(told)))

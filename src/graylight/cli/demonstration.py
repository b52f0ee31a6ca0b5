"""The demonstration: a range invented, entered as any country is, planned on, told, and written out."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

from graylight.cli.files import write_files
from graylight.cli.pictures import draw_the_plan
from graylight.cli.progress import bar
from graylight.cli.words import say
from graylight.country.entry import Sources, check_place, make_country
from graylight.country.folder import Country
from graylight.demo.files import write_sources
from graylight.demo.range import invent
from graylight.errors import BadInput
from graylight.plan.edits import edited
from graylight.plan.keeping import PLAN, make_plan
from graylight.settings import Settings
from graylight.telling.plan import tell_plan
from graylight.work import Tick, part, silent

__all__ = ["NAME", "demonstrate", "invented_country"]

NAME = "the Tallow Range"


def demonstrate(folder: Path) -> None:
    """Make the invented range in a folder (an earlier one is used again), plan on it, and tell the plan."""
    country = _earlier(folder)
    if country is None:
        check_place(folder)
        with bar("inventing a range") as tick:
            country = invented_country(folder, tick=tick)
    country = edited(country)
    with bar("working out the plan") as tick:
        made = make_plan(country, tick=tick)
    print(say(tell_plan(made.plan, country.settings.units)))
    written = [country.folder / PLAN, *write_files(country, made.plan), draw_the_plan(country, made.plan)]
    print("\nWritten:")
    for path in written:
        print(f"  {path}")


def _earlier(folder: Path) -> Country | None:
    """The earlier demonstration in a folder; None when there is nothing there.

    Raises
    ------
    BadInput
        Something else is there.
    """
    if not folder.exists() or (folder.is_dir() and not any(folder.iterdir())):
        return None
    country = Country.open(folder)
    if not country.invented:
        raise BadInput(
            f"{folder} holds a real country; the demonstration takes a new folder; name another one"
        )
    return country


def invented_country(folder: Path, *, tick: Tick = silent) -> Country:
    """Invent the range and bring it in through the same door as any other data."""
    invented = invent(tick=part(tick, 0.0, 0.6))
    scratch = Path(tempfile.mkdtemp(prefix="graylight-demo-"))
    try:
        paths = write_sources(invented, scratch)
        sources = Sources(
            elevation=paths["elevation"], cover=paths["cover"], canopy=paths["canopy"], imagery=paths["imagery"],
            vectors=(paths["vectors"],), bounds=None, cell_m=None, name=NAME, invented=True, feet=None,
        )  # fmt: skip
        return make_country(folder, sources, Settings(), tick=part(tick, 0.6, 1.0))
    finally:
        shutil.rmtree(scratch, ignore_errors=True)

"""How a command begins: a country opened as the person set it, and its plan."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from graylight.cli.progress import bar

if TYPE_CHECKING:
    from graylight.country.folder import Country
    from graylight.plan.model import Plan

__all__ = ["begun", "opened", "plan_of", "planned"]


def opened(folder: Path) -> Country:
    """The country with the settings that the person changed on the map page, as they see it there."""
    from graylight.country.folder import Country

    return _edited(Country.open(folder))


def begun(folder: Path, layers: Sequence[str]) -> tuple[Country, Plan | None]:
    """A country, set as its plan was made, and that plan, if one was; the layers are read meanwhile."""
    from graylight.cli.start import load_compiler
    from graylight.country.folder import Country
    from graylight.plan.kept import PLAN

    country = Country.open(folder)
    country.read_ahead(*layers)
    load_compiler()
    country = _edited(country)
    return (country, None) if country.read_text(PLAN) is None else planned(country)


def planned(country: Country) -> tuple[Country, Plan]:
    """A country's plan, made if need be, and the country set as the plan was made."""
    kept = plan_of(country)
    return country.with_settings(animal=kept.animal, date=kept.light.date.isoformat()), kept


def plan_of(country: Country) -> Plan:
    """The plan kept in the folder; made first when there is none, or its layers are another run's."""
    from graylight.plan.kept import belongs_together, kept_plan

    kept = kept_plan(country)
    if kept is not None and belongs_together(country):
        return kept

    from graylight.plan.keeping import make_plan

    with bar("no whole plan yet: working it out") as tick:
        return make_plan(country, tick=tick).plan


def _edited(country: Country) -> Country:
    from graylight.plan.edits import edited

    return edited(country)

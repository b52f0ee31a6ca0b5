"""The ground under study, told."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from graylight.plan.model import CountryFacts, LayerFact
from graylight.settings import Settings
from graylight.telling.paragraph import Paragraph, sentence
from graylight.units import FOOT_M, Units, area, height

__all__ = ["tell_country"]


class Recorded(Protocol):
    """A country that is open: what was recorded on entry, and its settings."""

    @property
    def record(self) -> Sequence[str]:
        """Plain sentences."""

    @property
    def settings(self) -> Settings:
        """The country's settings."""


def tell_country(
    facts: CountryFacts, extra: Recorded | Sequence[str] = (), *, units: Units | None = None
) -> list[Paragraph]:
    """Tell a country: extent, heights, grid, and for each layer where it is from and what was done to it.

    Parameters
    ----------
    facts
        The ground.
    extra
        More sentences, told under their own heading; or the open country, whose record is told.
    units
        'us' or 'metric'; none: those of the country's settings, or 'us'.
    """
    record, wanted = _extra(extra)
    paragraphs = [
        Paragraph(facts.name, _extent(facts, units or wanted)),
        Paragraph("Layers", [_layer(one) for one in facts.layers]),
    ]
    if record:
        paragraphs.append(Paragraph("On entry", [sentence(words) for words in record]))
    return paragraphs


def _extra(extra: Recorded | Sequence[str]) -> tuple[list[str], Units]:
    if isinstance(extra, Sequence):
        return list(extra), "us"
    return list(extra.record), extra.settings.units


def _extent(facts: CountryFacts, units: Units) -> list[str]:
    told = ["This range is invented: it does not exist."] if facts.invented else []
    low, high = height(facts.lowest_m, units), height(facts.highest_m, units)
    return [
        *told,
        f"{area(facts.area_km2 * 1e6, units)}, from {low} to {high}.",
        f"Latitude {facts.south:.4f} to {facts.north:.4f}, longitude {facts.west:.4f} to {facts.east:.4f}.",
        f"{facts.rows} rows and {facts.cols} columns of {_cell(facts.cell_m, units)}, {facts.crs}.",
        f"Clock: {facts.timezone}.",
    ]


def _cell(cell_m: float, units: Units) -> str:
    """Cells are known by their metres; feet beside them for those who think in feet."""
    feet = f" (about {cell_m / FOOT_M:.0f} ft)" if units == "us" else ""
    return f"{cell_m:g} m cells{feet}"


def _layer(one: LayerFact) -> str:
    date = f", {one.date}" if one.date else ", date not known"
    fine = f", {one.resolution_m:g} m" if one.resolution_m is not None else ""
    done = f": {'; '.join(one.done)}" if one.done else ""
    terms = f" ({one.licence})" if one.licence else ""
    named = f". Credit: {one.credit}" if one.credit else ""
    return sentence(f"{one.name} from {one.source}{terms}{date}{fine}{done}{named}")

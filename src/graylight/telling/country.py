"""The ground under study, told."""

from __future__ import annotations

from collections.abc import Sequence

from graylight.plan.model import CountryFacts, LayerFact
from graylight.telling.paragraph import Paragraph, sentence
from graylight.units import FOOT_M, Units, area, height

__all__ = ["tell_country"]


def tell_country(facts: CountryFacts, extra: Sequence[str] = (), *, units: Units = "us") -> list[Paragraph]:
    """Tell a country: extent, heights, grid, and for each layer where it is from and what was done to it.

    Parameters
    ----------
    facts
        The ground.
    extra
        More sentences, told under their own heading.
    units
        'us' or 'metric'.
    """
    told = ["This range is invented: it does not exist."] if facts.invented else []
    told.append(
        f"{area(facts.area_km2 * 1e6, units)}, from {height(facts.lowest_m, units)} to "
        f"{height(facts.highest_m, units)}."
    )
    told.append(
        f"Latitude {facts.south:.4f} to {facts.north:.4f}, longitude {facts.west:.4f} to {facts.east:.4f}."
    )
    told.append(f"{facts.rows} rows and {facts.cols} columns of {_cell(facts.cell_m, units)}, {facts.crs}.")
    told.append(f"Clock: {facts.timezone}.")
    paragraphs = [Paragraph(facts.name, told), Paragraph("Layers", [_layer(one) for one in facts.layers])]
    if extra:
        paragraphs.append(Paragraph("Besides", [sentence(words) for words in extra]))
    return paragraphs


def _cell(cell_m: float, units: Units) -> str:
    """Cells are known by their metres; feet beside them for those who think in feet."""
    feet = f" (about {cell_m / FOOT_M:.0f} ft)" if units == "us" else ""
    return f"{cell_m:g} m cells{feet}"


def _layer(one: LayerFact) -> str:
    date = f", {one.date}" if one.date else ", date not known"
    fine = f", {one.resolution_m:g} m" if one.resolution_m is not None else ""
    done = f": {'; '.join(one.done)}" if one.done else ""
    return sentence(f"{one.name} from {one.source}{date}{fine}{done}")

"""The band and the landforms, as the plan tells them."""

from __future__ import annotations

from typing import NamedTuple

from graylight.ground.landforms import Landforms
from graylight.habitat.band import BandMap
from graylight.plan.model import Band, Basin, Peak, Saddle
from graylight.plan.survey import Survey

__all__ = ["Tops", "band_facts", "landform_facts"]


class Tops(NamedTuple):
    """The landforms that have ids."""

    peaks: list[Peak]
    saddles: list[Saddle]
    basins: list[Basin]


def band_facts(found: BandMap, below_m: float) -> Band:
    """The band in numbers, and the rule it came from."""
    return Band(
        low_m=found.low_m,
        centre_m=found.centre_m,
        high_m=found.high_m,
        tops_m=found.tops_m,
        rule=f"centred {below_m:.0f} m below the local tops, soft edges (common practice, no source)",
    )


def landform_facts(forms: Landforms, survey: Survey) -> Tops:
    """Peaks by prominence, saddles with the tops they part, basins."""
    peaks = [
        Peak(
            id=f"T{i}",
            name=survey.name(t.row, t.col, "peak"),
            place=survey.place(t.row, t.col),
            prominence_m=t.prominence_m,
            at_least=t.at_least,
            key_saddle=None if t.key_row is None or t.key_col is None else survey.place(t.key_row, t.key_col),
        )
        for i, t in enumerate(forms.tops, 1)
    ]
    saddles = [
        Saddle(
            id=f"S{i}",
            name=survey.name(s.row, s.col, "saddle"),
            place=survey.place(s.row, s.col),
            between=[f"T{s.higher + 1}", f"T{s.lower + 1}"],
            below_m=s.below_m,
        )
        for i, s in enumerate(forms.saddles, 1)
    ]
    basins = [
        Basin(
            id=f"B{i}",
            name=survey.name(b.row, b.col, "basin"),
            place=survey.place(b.row, b.col),
            area_m2=b.area_m2,
            opens_true_deg=b.opens_true_deg,
            ringed=b.ringed,
            rim_m=b.rim_m,
        )
        for i, b in enumerate(forms.basins, 1)
    ]
    return Tops(peaks, saddles, basins)

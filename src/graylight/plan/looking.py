"""From here: what one place sees, by the plan and the layers kept with it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from graylight.country.folder import Country
from graylight.errors import BadInput
from graylight.grid import LonLat
from graylight.ground.cover import Kind
from graylight.habitat.places import WORDS
from graylight.plan.animals import find_profile
from graylight.plan.cautions import ALWAYS
from graylight.plan.composing import PROGRAM, survey_of
from graylight.plan.model import Clear, Look, Plan
from graylight.plan.sight_facts import View, sees, view_from
from graylight.sight.answers import BLOCKED, CLEAR, TOUCH_AND_GO, obstacles

__all__ = ["Looked", "look_from"]


@dataclass(frozen=True, slots=True)
class Looked:
    """The answer for one place, and the view behind it."""

    look: Look
    view: View


def look_from(country: Country, plan: Plan, place: LonLat) -> Looked:
    """Look round from a place: share, distance and bearing of each pocket, and the answers behind them.

    Raises
    ------
    BadInput
        The place lies outside the country or on unknown ground.
    """
    cell = country.grid.rowcol(place)
    survey = survey_of(country)
    if np.isnan(survey.elevation_m[cell]):
        raise BadInput(
            f"the ground at {place.lat:.5f}, {place.lon:.5f} is not known (no elevation there); choose another place"
        )
    profile = find_profile(country)
    land = obstacles(
        survey.elevation_m, _kept(country, "canopy"), _kept(country, "closure"), country.settings.sight
    )
    view = view_from(
        (cell.row, cell.col),
        land,
        cell_m=country.grid.cell_m,
        animal_m=profile.watch.animal_m,
        settings=country.settings.sight,
    )
    seen = sees(view, plan.pockets, country.read("pockets"), country.read("use_at_dawn"), survey)
    counts = np.bincount(view.answers.ravel(), minlength=4)
    aspect = float(country.read("aspect")[cell])
    walk = _kept(country, "walk_seconds")
    walk_s = None if walk is None or np.isnan(walk[cell]) else float(walk[cell])
    look = Look(
        program=PROGRAM,
        country=country.name,
        place=survey.place(*cell),
        slope_deg=float(country.read("slope")[cell]),
        facing_true_deg=None if np.isnan(aspect) else aspect,
        cover=WORDS[Kind(int(country.read("cover")[cell]))],
        cells=Clear(
            clear=int(counts[CLEAR]), touch_and_go=int(counts[TOUCH_AND_GO]), blocked=int(counts[BLOCKED])
        ),
        sees=seen,
        walk_seconds=walk_s,
        cautions=list(ALWAYS),
        not_known=plan.not_known,
        picture=None,
    )
    return Looked(look, view)


def _kept(country: Country, layer: str) -> NDArray[np.float32] | None:
    return country.read(layer) if country.has(layer) else None

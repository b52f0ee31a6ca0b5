"""The country as the plan and `graylight info` tell it."""

from __future__ import annotations

import numpy as np

from graylight.country.folder import Country
from graylight.plan.model import CountryFacts
from graylight.plan.survey import Survey
from graylight.sky.zone import timezone_of

__all__ = ["country_facts"]


def country_facts(country: Country, survey: Survey) -> CountryFacts:
    """Frame, size, heights and layers."""
    grid = country.grid
    west, south, east, north = grid.lonlat_bounds()
    return CountryFacts(
        name=country.name,
        invented=country.invented,
        crs=grid.crs,
        cell_m=grid.cell_m,
        rows=grid.rows,
        cols=grid.cols,
        west=west,
        south=south,
        east=east,
        north=north,
        area_km2=float(np.isfinite(survey.elevation_m).sum()) * grid.cell_m**2 / 1e6,
        lowest_m=float(np.nanmin(survey.elevation_m)),
        highest_m=float(np.nanmax(survey.elevation_m)),
        timezone=timezone_of(grid.center),
        layers=list(country.facts),
    )

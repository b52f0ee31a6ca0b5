"""From here: what one place sees, by the plan and the layers kept with it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from graylight.country.folder import Country
from graylight.errors import BadInput
from graylight.grid import LonLat, RowCol
from graylight.ground.kind import WORDS, Kind
from graylight.plan.animals import find_profile
from graylight.plan.data_truth import canopy_on_top
from graylight.plan.model import Clear, Look, Plan, Share, SightLine
from graylight.plan.sight_facts import PocketCells, View, pocket_cells, sees, view_from
from graylight.plan.standing import PROGRAM, always
from graylight.plan.survey import Survey, survey_of
from graylight.sight.answers import BLOCKED, CLEAR, TOUCH_AND_GO, Obstacles, answers_through, obstacles
from graylight.sight.line import Sightline, sightline

__all__ = ["Looked", "Ready", "line_to", "look_from", "ready_to_look"]

Raster = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Ready:
    """A country and its plan with the layers in memory, so that one look after another is quick."""

    country: Country
    plan: Plan
    survey: Survey
    land: Obstacles
    labels: NDArray[np.int32]
    cells: tuple[PocketCells, ...]
    slope_deg: Raster
    aspect_deg: Raster
    kind: NDArray[np.uint8]
    walk_s: Raster | None
    animal_m: float


@dataclass(frozen=True, slots=True)
class Looked:
    """The answer for one place, and the view behind it."""

    look: Look
    view: View


def ready_to_look(country: Country, plan: Plan) -> Ready:
    """Read what looks need, once; `plan` and the layers kept must belong together."""
    survey = survey_of(country)
    labels = np.asarray(country.read("pockets"), np.int32)
    return Ready(
        country=country,
        plan=plan,
        survey=survey,
        land=obstacles(
            survey.elevation_m,
            *canopy_on_top(country, _kept(country, "canopy"), _kept(country, "closure")),
            country.settings.sight,
            cell_m=country.grid.cell_m,
        ),
        labels=labels,
        cells=pocket_cells(labels, country.read("use_at_dawn"), len(plan.pockets)),
        slope_deg=country.read("slope"),
        aspect_deg=country.read("aspect"),
        kind=country.read("cover"),
        walk_s=_kept(country, "walk_seconds"),
        animal_m=find_profile(country).watch.animal_m,
    )


def look_from(ready: Ready, place: LonLat) -> Looked:
    """Look round from a place: share, distance and bearing of each pocket, and the answers behind them.

    Raises
    ------
    BadInput
        The place lies outside the country or on unknown ground.
    """
    cell = ready.country.grid.rowcol(place)
    if np.isnan(ready.survey.elevation_m[cell]):
        raise BadInput(
            f"the ground at {place.lat:.5f}, {place.lon:.5f} is not known (no elevation there); choose another place"
        )
    view = view_from(
        (cell.row, cell.col), ready.land, cell_m=ready.country.grid.cell_m, animal_m=ready.animal_m,
        settings=ready.country.settings,
    )  # fmt: skip
    return Looked(_told(ready, cell, view), view)


def line_to(ready: Ready, looked: Looked, place: LonLat) -> tuple[SightLine, Sightline]:
    """The line of sight from a look to another place, told and as worked out.

    Raises
    ------
    BadInput
        The place lies outside the country, on unknown ground, or in the watcher's own cell.
    """
    settings, view = ready.country.settings, looked.view
    cell = ready.country.grid.rowcol(place)
    target = (cell.row, cell.col)
    found = sightline(
        view.land.leaves, eye=view.cell, target=target, cell_m=view.cell_m, eye_m=settings.sight.eye_m,
        target_m=ready.animal_m, settings=settings.sight, openings_m=(settings.watch.seat_open_m, 0.0),
    )  # fmt: skip
    rows, cols = np.array([cell.row]), np.array([cell.col])
    answer = int(answers_through(view.through(rows, cols), settings.sight)[0])
    line = ready.survey.line(view.cell, target)
    told = SightLine(
        place=ready.survey.place(*cell),
        distance_m=line.distance_m,
        straight_m=found.straight_distance_m,
        bearing_true_deg=line.true_deg,
        bearing_magnetic_deg=line.magnetic_deg,
        up_deg=found.angle_deg,
        answer="seen" if answer == CLEAR else "doubtful" if answer == TOUCH_AND_GO else "hidden",
        margin_m=found.margin_m if np.isfinite(found.margin_m) else None,
        closest_m=None if found.closest is None else found.closest.distance_m,
        rise_m=found.rise_m if np.isfinite(found.rise_m) else None,
        light=Share(low=found.low, likely=found.likely, high=found.high),
    )
    return told, found


def _told(ready: Ready, cell: RowCol, view: View) -> Look:
    counts = np.bincount(view.answers.ravel(), minlength=4)
    aspect, label = float(ready.aspect_deg[cell]), int(ready.labels[cell])
    walk = np.nan if ready.walk_s is None else float(ready.walk_s[cell])
    return Look(
        program=PROGRAM,
        country=ready.country.name,
        place=ready.survey.place(*cell),
        slope_deg=float(ready.slope_deg[cell]),
        facing_true_deg=None if np.isnan(aspect) else aspect,
        cover=WORDS[Kind(int(ready.kind[cell]))],
        cells=Clear(
            clear=int(counts[CLEAR]), touch_and_go=int(counts[TOUCH_AND_GO]), blocked=int(counts[BLOCKED])
        ),
        sees=sees(view, ready.plan.pockets, ready.cells, ready.survey),
        walk_seconds=None if np.isnan(walk) else walk,
        cautions=always(invented=ready.country.invented),
        not_known=ready.plan.not_known,
        picture=None,
        strip=None,
        lies_in=ready.plan.pockets[label - 1].id if 0 < label <= len(ready.plan.pockets) else None,
    )


def _kept(country: Country, layer: str) -> Raster | None:
    return country.read(layer) if country.has(layer) else None

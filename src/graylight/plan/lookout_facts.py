"""Lookouts, their sets and the ways to them, as the plan tells them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from graylight.approach.way import Way, leave_by, way_to
from graylight.country.folder import Country
from graylight.plan.making import Worked
from graylight.plan.model import Approach, Lookout, LookoutSet, Pocket, Reason, Sees, Start
from graylight.plan.sight_facts import PocketCells, hides, sees, view_from
from graylight.plan.survey import Survey
from graylight.siting.lookouts import Pick, PickedSet

__all__ = ["approach_facts", "lookout_facts", "set_facts"]

FORMS = (
    "ground", "level ground", "a top, on the skyline", "a crest: keep off the skyline", "a shoulder", "a spur",
    "a hillside", "a hollow", "a footslope", "a valley floor", "a dip",
)  # fmt: skip


def lookout_facts(
    pick: Pick,
    *,
    name: str,
    worked: Worked,
    pockets: list[Pocket],
    cells: tuple[PocketCells, ...],
    country: Country,
    animal_m: float,
    survey: Survey,
    against: Sequence[str] = (),
) -> Lookout:
    """One lookout: what it hides, what it sees, why it was chosen.

    `against` says what would have kept the plan from choosing it by itself: the person may sit there all the same.
    """
    cell = pick.row, pick.col
    watched = worked.watched
    view = view_from(
        cell, watched.land, cell_m=country.grid.cell_m, animal_m=animal_m, settings=country.settings
    )
    seen = sees(view, pockets, cells, survey)
    place = survey.place(*cell)
    return Lookout(
        id=name,
        place=place,
        height_m=place.height_m or 0.0,
        worth=pick.worth,
        hides=hides(seen, pockets),
        sees=[s for s in seen if s.share.high > 0],
        reasons=[*_reasons(pick, seen, worked), *_own(name, worked, against)],
        walk_seconds=_walk_seconds(cell, worked),
        name=worked.edits.names.get(name),
        own=name in worked.watched.own,
    )


def _own(name: str, worked: Worked, against: Sequence[str]) -> list[Reason]:
    """That the person chose it, and what speaks against it."""
    how = next((one.how for one in worked.edits.of("L") if one.id == name), None)
    if how is None or name not in worked.watched.own:
        return []
    told = [("own", f"{how} by you")]
    if against:
        told.append(("against", f"the plan by itself would not sit here: the ground {'; '.join(against)}"))
    return [Reason(fact=fact, value=None, unit="", worth=None, words=words) for fact, words in told]


def _walk_seconds(cell: tuple[int, int], worked: Worked) -> float | None:
    if worked.walked.reach is None:
        return None
    seconds = float(worked.walked.reach.seconds[cell])
    return seconds if np.isfinite(seconds) else None


def _reasons(pick: Pick, seen: list[Sees], worked: Worked) -> list[Reason]:
    cell = pick.row, pick.col
    form, slope = int(worked.read.landforms.forms[cell]), float(worked.read.relief.slope_deg[cell])
    told = [
        Reason(
            fact="worth",
            value=pick.worth,
            unit="1",
            worth=pick.worth,
            words="part of the chance that is in view from here, by distance",
        ),
        Reason(
            fact="seat",
            value=slope,
            unit="deg",
            worth=pick.liking,
            words=f"{FORMS[min(form, 10)]}, slope {slope:.0f} degrees",
        ),
    ]
    if seen:
        best = seen[0]
        words = f"{best.pocket} lies {best.distance_m:.0f} m off, {_steep(best.down_deg)}"
        told.append(Reason(fact="distance", value=best.distance_m, unit="m", worth=None, words=words))
    closure = worked.read.cover.closure
    if closure is not None and closure[cell] >= 0.2:
        told.append(
            Reason(
                fact="openings",
                value=float(closure[cell]),
                unit="1",
                worth=None,
                words="trees about: shift a few steps for an opening",
            )
        )
    return told


def _steep(down_deg: float) -> str:
    if down_deg > 4.0:
        return f"looking down {down_deg:.0f} degrees"
    return f"looking up {-down_deg:.0f} degrees" if down_deg < -4.0 else "straight across"


def set_facts(found: PickedSet, names: list[str]) -> LookoutSet:
    """A set of lookouts by their ids, in the order of the ids."""
    return LookoutSet(
        k=found.k, lookouts=sorted((names[i] for i in found.picks), key=lambda n: int(n[1:])), covered=found.covered,
        bound=found.bound, gap=found.gap, shortlist_gap=found.shortlist_gap,
    )  # fmt: skip


def approach_facts(
    pick: Pick,
    *,
    name: str,
    worked: Worked,
    country: Country,
    usable_from: dt.datetime | None,
    survey: Survey,
) -> Approach | None:
    """The way to a lookout; None when no start is known or none reaches it."""
    walked, settings = worked.walked, country.settings
    if walked.reach is None:
        return None
    way = way_to(
        pick.row, pick.col, walked.reach, worked.read.elevation_m, worked.read.relief.slope_deg, walked.ground,
        cell_m=country.grid.cell_m, settings=settings.walk,
    )  # fmt: skip
    if way is None:
        return None
    slow = way.seconds * (1.0 + settings.walk.spread)
    return Approach(
        lookout=name,
        start=_start(way, worked, survey),
        seconds=way.seconds,
        seconds_low=way.seconds * (1.0 - settings.walk.spread),
        seconds_high=slow,
        distance_m=way.distance_m,
        climb_m=way.climb_m,
        fall_m=way.fall_m,
        steepest_deg=way.steepest_deg,
        on_trail=way.on_path,
        leave_by=leave_by(usable_from, slow, settings.watch.settle_minutes),
        back_seconds=way.back_seconds if np.isfinite(way.back_seconds) else None,
        line=_line(way.rows, way.cols, survey),
        hazards=list(way.hazards),
    )


def _start(way: Way, worked: Worked, survey: Survey) -> Start:
    first = int(way.rows[0]), int(way.cols[0])
    start = min(
        worked.walked.starts, key=lambda s: (np.hypot(s.cell.row - first[0], s.cell.col - first[1]), s.cell)
    )
    return Start(name=start.name, kind=start.kind, place=survey.place(*first))


def _line(rows: NDArray[np.integer], cols: NDArray[np.integer], survey: Survey) -> list[list[float]]:
    places = survey.grid.lonlats(rows.astype(np.float64), cols.astype(np.float64))
    heights = survey.elevation_m[rows, cols]
    return [
        [round(float(lon), 6), round(float(lat), 6), round(float(h), 1)]
        for (lon, lat), h in zip(places, heights, strict=True)
    ]

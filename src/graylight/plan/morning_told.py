"""The ways of a sit and the water near it, as they are handed over."""

from __future__ import annotations

import datetime as dt

import numpy as np
from numpy.typing import NDArray

from graylight.approach.ways import Course
from graylight.plan.model import Lookout, Start
from graylight.plan.morning import Sat
from graylight.plan.morning_model import Met, MorningWay, NearSeat, OtherWay, ProfilePoint, ScentOn, WaterNear
from graylight.plan.morning_ready import MorningReady
from graylight.plan.morning_ways import WayTaken, turn_round
from graylight.plan.on_foot import smelled
from graylight.siting.neighbours import neighbours

__all__ = ["near_seats", "other_ways", "water_near", "way_told"]

PROFILE_POINTS = 60


def way_told(ready: MorningReady, sat: Sat) -> MorningWay | None:
    """The way advised; None where no start is known."""
    taken: WayTaken | None = sat.way
    if taken is None or sat.facts.walk is None:
        return None
    way, spread = taken.course.way, ready.looking.country.settings.walk.spread
    exposure, kind, start = taken.course.exposure, taken.course.kind, taken.begun.start
    return MorningWay(
        kind="quickest" if kind == "out" else kind,
        start=Start(name=start.name, kind=start.kind, place=ready.looking.survey.place(*taken.begun.begin)),
        leave_by=sat.facts.walk.leave_by,
        seconds=way.seconds,
        seconds_low=way.seconds * (1.0 - spread),
        seconds_high=way.seconds * (1.0 + spread),
        quickest_seconds=taken.quickest_s,
        back_seconds=taken.out_s if np.isfinite(taken.out_s) else None,
        dark=taken.dark,
        back_in_dark=taken.out_in_dark,
        distance_m=way.distance_m,
        climb_m=way.climb_m,
        fall_m=way.fall_m,
        steepest_deg=way.steepest_deg,
        seen_minutes=exposure.seen_minutes,
        scented_minutes=exposure.scented_minutes,
        line=_line(ready, taken.course),
        hazards=list(way.hazards),
        turn_round_by=_turn_round(ready, sat, taken, 1.0 + spread),
        scent_on=[ScentOn(pocket=name, share=min(share, 1.0)) for name, share in sat.smelled],
    )


def _turn_round(ready: MorningReady, sat: Sat, taken: WayTaken, slower: float) -> dt.datetime | None:
    """After a dawn to be out by civil dusk; after dusk no later than planned."""
    walk, facts = sat.facts.walk, sat.facts
    assert walk is not None
    out_by = facts.dusk
    if facts.has_dusk and facts.usable_until is not None and walk.back_slow_seconds is not None:
        out_by = facts.usable_until + dt.timedelta(seconds=walk.back_slow_seconds)
    return turn_round(taken, ready.foot, walk.leave_by, out_by, slower)


def other_ways(ready: MorningReady, sat: Sat) -> list[OtherWay]:
    """Quickest, between and hidden in, and the way out."""
    if sat.way is None:
        return []
    ways = sat.way.ways
    courses = [smelled(one, sat.scented) for one in (ways.quickest, ways.between, ways.hidden)]
    return [_other(ready, one) for one in (*courses, *([] if sat.way.out is None else [sat.way.out]))]


def _other(ready: MorningReady, course: Course) -> OtherWay:
    way, exposure = course.way, course.exposure
    met = sorted((*course.junctions, *course.crossings), key=lambda m: (m.at_s, m.words))
    some = _spread(way.along_m, PROFILE_POINTS)
    place = ready.looking.survey.place
    return OtherWay(
        kind=course.kind,
        seconds=way.seconds,
        distance_m=way.distance_m,
        climb_m=way.climb_m,
        fall_m=way.fall_m,
        steepest_deg=way.steepest_deg,
        on_trail=way.on_path,
        seen_minutes=exposure.seen_minutes,
        scented_minutes=exposure.scented_minutes,
        hazards=list(way.hazards),
        meets=[Met(words=m.words, seconds=m.at_s, along_m=m.at_m, place=place(m.row, m.col)) for m in met],
        profile=[
            ProfilePoint(along_m=way.along_m[i], height_m=way.height_m[i], seconds=way.at_s[i]) for i in some
        ],
        line=_line(ready, course),
    )


def _spread(along_m: NDArray[np.float64], most: int) -> list[int]:
    """Indices of points evenly along a way, both ends among them."""
    stops = np.linspace(0.0, along_m[-1], min(most, len(along_m)))
    return [int(i) for i in np.unique(np.clip(np.searchsorted(along_m, stops - 1e-6), 0, len(along_m) - 1))]


def _line(ready: MorningReady, course: Course) -> list[list[float]]:
    way = course.way
    places = ready.looking.country.grid.lonlats(way.rows.astype(np.float64), way.cols.astype(np.float64))
    return [[float(lon), float(lat)] for lon, lat in places]


def water_near(ready: MorningReady, lookout: Lookout) -> list[WaterNear]:
    """Water soonest fetched from a lookout."""
    return [
        WaterNear(
            kind=one.kind, sure=one.sure, place=ready.looking.survey.place(one.row, one.col),
            there_seconds=one.there_s, back_seconds=one.back_s,
        )
        for one in ready.foot.water_near(lookout, ready.cell(lookout))
    ]  # fmt: skip


def near_seats(ready: MorningReady, lookout: Lookout) -> list[NearSeat]:
    """Other places to sit near a lookout, with gain and loss."""
    if ready.worth is None:
        return []
    looking, cell = ready.looking, ready.cell(lookout)
    here = float(np.nan_to_num(ready.worth[cell]))
    found = neighbours(
        ready.worth, (cell.row, cell.col), looking.survey.elevation_m, looking.walk_s,
        cell_m=looking.country.grid.cell_m,
    )  # fmt: skip
    return [
        NearSeat(
            kind=one.kind, place=looking.survey.place(one.row, one.col), distance_m=one.distance_m,
            height_change_m=one.height_change_m, walk_change_seconds=one.walk_change_s,
            worth_change=one.worth_change / here if here > 0.0 else None,
        )
        for one in found
    ]  # fmt: skip

"""Pockets as the plan tells them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from graylight.grid import Grid
from graylight.ground.water import Water
from graylight.habitat.crossings import Crossing as FoundCrossing
from graylight.habitat.places import Spot as FoundSpot
from graylight.habitat.pockets import Pocket as FoundPocket
from graylight.habitat.profile import Profile
from graylight.habitat.scoring import Fact
from graylight.habitat.wayout import WayOut as FoundWayOut
from graylight.plan.ids import ground_of
from graylight.plan.model import Crossing, Pocket, Reason, Spot, WaterPlace, WayOut
from graylight.plan.survey import Survey

__all__ = ["outline_of", "pocket_facts", "reason"]

WATER_WITHIN_M = 2000.0
FORMS = {
    "saddle": "a saddle that the ways between feed and beds lead through",
    "ledge": "a ledge across steep ground",
    "narrows": "the ways draw together here",
    "open": "the likeliest line over open ground; they may pass anywhere near it",
}


def outline_ring(ring: NDArray[np.float64], grid: Grid) -> list[list[float]]:
    """A ring of (row, col) as [lon, lat]."""
    return [[float(lon), float(lat)] for lon, lat in grid.lonlats(ring[:, 0], ring[:, 1])]


def outline_of(pocket: FoundPocket, grid: Grid) -> BaseGeometry:
    """A pocket's ground as a polygon in degrees."""
    return ground_of([outline_ring(r, grid) for r in pocket.outline])


def reason(fact: Fact) -> Reason:
    """A fact as a reason."""
    return Reason(fact=fact.name, value=fact.value, unit=fact.unit, worth=fact.worth, words=fact.words)


def pocket_facts(
    pocket: FoundPocket,
    *,
    name: str,
    called: str | None,
    own: bool,
    rank: int,
    chance: float,
    sightings: int,
    confidence: str,
    water: Water,
    profile: Profile,
    survey: Survey,
) -> Pocket:
    """One pocket: its places get ids that hang on its own; `called` is the person's name for it."""
    feed = [_spot(s, f"{name}-f{i}", survey) for i, s in enumerate(pocket.feed, 1)]
    beds = [_spot(s, f"{name}-b{i}", survey) for i, s in enumerate(pocket.beds, 1)]
    crossings = [_crossing(c, f"{name}-x{i}", survey) for i, c in enumerate(pocket.crossings, 1)]
    return Pocket(
        id=name,
        rank=rank,
        name=called or _named(pocket, survey),
        score=pocket.score,
        chance=chance,
        confidence=confidence,  # type: ignore[arg-type]
        centre=survey.place(pocket.row, pocket.col),
        area_m2=pocket.area_m2,
        outline=[outline_ring(r, survey.grid) for r in pocket.outline],
        feed=feed,
        beds=beds,
        crossings=crossings,
        first_light=_first_light(feed, beds, crossings, profile),
        ways_out=[_way_out(w, pocket, survey) for w in pocket.ways_out],
        water=_water_near(pocket, water, survey),
        reasons=[*(reason(f) for f in pocket.facts), *_seen_before(sightings)],
        shut=pocket.shut,
        own=own,
    )


def _seen_before(count: int) -> list[Reason]:
    if count == 0:
        return []
    words = (
        "animals were seen near here before"
        if count == 1
        else f"animals were seen near here {count} times before"
    )
    return [Reason(fact="sightings", value=count, unit="times", worth=None, words=words)]


def _named(pocket: FoundPocket, survey: Survey) -> str | None:
    """The pocket goes by the named basin it lies in, if any."""
    return survey.name(pocket.row, pocket.col, "basin")


def _spot(spot: FoundSpot, name: str, survey: Survey) -> Spot:
    return Spot(
        id=name, kind=spot.kind, place=survey.place(spot.row, spot.col), suitability=spot.suitability,
        area_m2=spot.area_m2, words=spot.words,
    )  # fmt: skip


def _crossing(crossing: FoundCrossing, name: str, survey: Survey) -> Crossing:
    return Crossing(
        id=name, kind="crossing", place=survey.place(crossing.row, crossing.col), suitability=crossing.suitability,
        words=FORMS[crossing.form], form=crossing.form, alternates=[survey.place(*cell) for cell in crossing.alternates],
    )  # fmt: skip


def _first_light(
    feed: list[Spot], beds: list[Spot], crossings: list[Crossing], profile: Profile
) -> list[Spot]:
    """The likeliest places at first light: suitability times the part of the use at that hour."""
    watch = profile.watch
    parts = {"feed": watch.dawn_feed, "bed": watch.dawn_bed, "crossing": watch.dawn_crossing}
    plain = [
        Spot.model_validate(s.model_dump(include=set(Spot.model_fields))) for s in [*feed, *crossings, *beds]
    ]
    return sorted(plain, key=lambda s: -parts[s.kind] * s.suitability)[:4]


def _way_out(way: FoundWayOut, pocket: FoundPocket, survey: Survey) -> WayOut:
    line = survey.line((pocket.row, pocket.col), (way.row, way.col))
    over = way.over if way.saddle is None else f"saddle S{way.saddle + 1}"
    return WayOut(
        place=survey.place(way.row, way.col), over=over, climb_m=way.climb_m, distance_m=line.distance_m,
        bearing_true_deg=line.true_deg,
    )  # fmt: skip


def _water_near(pocket: FoundPocket, water: Water, survey: Survey) -> list[WaterPlace]:
    """The nearest water of each kind, nearest first."""
    nearest: dict[str, tuple[float, int, int, bool]] = {}
    for place in water.places:
        far = float(np.hypot(place.row - pocket.row, place.col - pocket.col)) * survey.grid.cell_m
        if far <= WATER_WITHIN_M and far < nearest.get(place.kind, (np.inf, 0, 0, False))[0]:
            nearest[place.kind] = (far, place.row, place.col, place.sure)
    found = sorted((far, kind, row, col, sure) for kind, (far, row, col, sure) in nearest.items())
    return [
        WaterPlace(place=survey.place(row, col), kind=kind, sure=sure, distance_m=far)
        for far, kind, row, col, sure in found[:3]
    ]

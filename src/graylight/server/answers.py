"""Answers about places: from here, the quick one while a lookout is dragged, and a line between two places."""

from __future__ import annotations

import base64
import math
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import Point

from graylight.drawing.overlay import seen_picture
from graylight.errors import BadInput
from graylight.grid import LonLat, RowCol, azimuth_deg, distance_m
from graylight.place import PlaceForm, write_place
from graylight.plan.holdings import is_shut
from graylight.plan.looking import line_to
from graylight.plan.model import Look, Plan
from graylight.plan.model import Place as Told
from graylight.server.models import FromHere, Line, Near, Picture, PocketShare, Profile, Quick, Walk
from graylight.server.notes import notes_of
from graylight.server.opened import Opened
from graylight.sight.line import Sightline
from graylight.sight.viewshed import overlap, reach_cells
from graylight.telling.look import tell_look
from graylight.units import compass

__all__ = ["from_here", "line_between", "quick_sight"]

FORMS: tuple[PlaceForm, ...] = ("degrees", "minutes", "utm", "usng")
NEAR_M = 5000.0
LEVEL_DEG = 2.0


def from_here(opened: Opened, place: LonLat) -> FromHere:
    """What a place is and sees; the shares are those of `graylight look`.

    Raises
    ------
    BadInput
        It lies outside the country or on unknown ground.
    """
    cell = opened.country.grid.rowcol(place)
    if opened.plan is None:
        return _bare(opened, cell)
    look = opened.look(place).look
    return FromHere(
        place=look.place, texts=_texts(place), slope_deg=look.slope_deg, facing_true_deg=look.facing_true_deg,
        facing_words=_facing(look.slope_deg, look.facing_true_deg), cover=look.cover, walk_seconds=_walk(opened, look),
        ownership=_holdings(opened, place), sees=look.sees, words=notes_of(_told(opened, look)),
        near=_near(opened, opened.plan, place),
    )  # fmt: skip


def _bare(opened: Opened, cell: RowCol) -> FromHere:
    """What is known of a place before there is a plan."""
    if np.isnan(opened.raster("elevation")[cell]):
        raise BadInput("the ground there is not known (no elevation); choose another place")
    place = opened.survey.lonlat(*cell)
    slope, aspect = float(opened.raster("slope")[cell]), float(opened.raster("aspect")[cell])
    facing = None if math.isnan(aspect) else round(aspect, 1)
    return FromHere(
        place=opened.survey.place(*cell), texts=_texts(place), slope_deg=None if math.isnan(slope) else round(slope, 1),
        facing_true_deg=facing, facing_words=_facing(slope, facing), cover=None, walk_seconds=None,
        ownership=_holdings(opened, place), sees=[], words=[], near=[],
    )  # fmt: skip


def _told(opened: Opened, look: Look) -> list[Any]:
    """The look in sentences; what is not known and the cautions stand in the notes already."""
    names = {one.id: one.name for one in opened.must_plan().pockets if one.name}
    told = tell_look(look, opened.country.settings.units, names)
    return [one for one in told if one.heading not in {"Not known", "Take care"}]


def _texts(place: LonLat) -> dict[str, str]:
    return {form: write_place(place, form) for form in FORMS}


def _facing(slope_deg: float, facing_deg: float | None) -> str | None:
    if facing_deg is None or math.isnan(slope_deg):
        return None
    return "level" if slope_deg < LEVEL_DEG else compass(facing_deg)


def _walk(opened: Opened, look: Look) -> Walk | None:
    if look.walk_seconds is None:
        return None
    spread = opened.country.settings.walk.spread
    return Walk(
        likely=look.walk_seconds, low=look.walk_seconds * (1 - spread), high=look.walk_seconds * (1 + spread)
    )


def _holdings(opened: Opened, place: LonLat) -> list[dict[str, Any]]:
    """Whose ground it is, as far as the layers tell."""
    row, col = opened.country.grid.locate(place)
    here = Point(*opened.country.grid.xy(row, col))
    holdings = opened.once("ownership", lambda: opened.country.features("ownership"))
    return [
        {
            "owner": f.properties.get("owner"),
            "access": f.properties.get("access"),
            "shut": is_shut(f.properties),
        }
        for f in holdings
        if f.geometry.covers(here)
    ]


def _near(opened: Opened, plan: Plan, place: LonLat) -> list[Near]:
    """The nearest of each kind within a few kilometres."""
    kinds: dict[str, list[Any]] = {
        "peak": [p for p in plan.peaks if p.name], "saddle": list(plan.saddles), "basin": list(plan.basins),
        "lookout": list(plan.lookouts), "pocket": list(plan.pockets),
    }  # fmt: skip
    found = []
    for kind, things in kinds.items():
        where = [(distance_m(place, _lonlat(_place_of(one))), one) for one in things]
        best = min(where, key=lambda pair: pair[0], default=None)
        if best is not None and best[0] <= NEAR_M:
            found.append(_near_one(opened, place, kind, *best))
    return sorted(found, key=lambda one: one.distance_m)


def _place_of(one: Any) -> Told:
    return one.centre if hasattr(one, "centre") else one.place  # type: ignore[no-any-return]


def _lonlat(place: Told) -> LonLat:
    return LonLat(place.lon, place.lat)


def _near_one(opened: Opened, place: LonLat, kind: str, away_m: float, one: Any) -> Near:
    true = azimuth_deg(place, _lonlat(_place_of(one)))
    east = opened.survey.declination_deg
    return Near(
        kind=kind, id=one.id, name=getattr(one, "name", None), distance_m=round(away_m), bearing_true_deg=round(true, 1),
        bearing_magnetic_deg=None if east is None else round((true - east) % 360.0, 1),
    )  # fmt: skip


def quick_sight(opened: Opened, place: LonLat, *, day: bool = False) -> Quick:
    """The answer while a lookout is dragged: shares, and the ground in sight as a picture.

    Raises
    ------
    NoPlan, BadInput
        No plan yet; the place lies outside the country or on unknown ground.
    """
    looked = opened.look(place)
    sees = [
        PocketShare(
            pocket=one.pocket,
            share=one.share,
            distance_m=one.distance_m,
            bearing_true_deg=one.bearing_true_deg,
        )
        for one in looked.look.sees
    ]
    return Quick(
        place=looked.look.place,
        sees=sees,
        picture=_picture(opened, looked.view.cell, looked.view.answers, day=day),
    )


def _picture(opened: Opened, cell: tuple[int, int], answers: NDArray[np.uint8], *, day: bool) -> Picture:
    """The cells as far as was looked, a pixel each."""
    grid = opened.country.grid
    radius = reach_cells(opened.country.settings.sight.radius_m, grid.cell_m, grid.shape)
    inside, _ = overlap(*cell, radius, *grid.shape)
    rows, cols = inside
    top, foot, left, right = rows.start - 0.5, rows.stop - 0.5, cols.start - 0.5, cols.stop - 0.5
    corners = [grid.lonlat(*at) for at in ((top, left), (top, right), (foot, right), (foot, left))]
    return Picture(
        png=data_url(seen_picture(answers[inside], day=day)),
        corners=[[round(c.lon, 7), round(c.lat, 7)] for c in corners],
    )


def data_url(png: bytes) -> str:
    """A PNG as an address that holds it."""
    return "data:image/png;base64," + base64.b64encode(png).decode("ascii")


def line_between(opened: Opened, start: LonLat, end: LonLat) -> Line:
    """The line of sight between two places, with its profile.

    Raises
    ------
    NoPlan, BadInput
        No plan yet; a place lies outside the country, on unknown ground, or both lie in one cell.
    """
    looked = opened.look(start)
    told, found = line_to(opened.ready, looked, end)
    look = looked.look.model_copy(update={"line": told})
    words = next(
        p.sentences
        for p in tell_look(look, opened.country.settings.units)
        if p.heading == "The line of sight"
    )
    closest = None if found.closest is None else opened.survey.lonlat(found.closest.row, found.closest.col)
    return Line(
        line=told, profile=_profile(found), ground_m=round(_on_the_ground(found), 1), map_m=round(found.ground_distance_m, 1),
        air_m=round(found.straight_distance_m, 1), angle_deg=round(found.angle_deg, 1),
        closest=None if closest is None else [round(closest.lon, 6), round(closest.lat, 6)], words=words,
    )  # fmt: skip


def _profile(found: Sightline) -> Profile:
    return Profile(
        distance_m=_rounded(found.along_m), ground_m=_rounded(found.ground_m), canopy_m=_rounded(found.top_m),
        sight_m=_rounded(found.ray_m),
    )  # fmt: skip


def _rounded(values: NDArray[np.float64]) -> list[Any]:
    """To the decimetre; None where not known."""
    return [None if math.isnan(v) else round(v, 1) for v in values.tolist()]


def _on_the_ground(found: Sightline) -> float:
    """Length along the lie of the ground; unknown ground counts as level."""
    steps = np.hypot(np.diff(found.along_m), np.nan_to_num(np.diff(found.ground_m)))
    return float(steps.sum())

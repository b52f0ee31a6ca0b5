"""Paths that only look: state, plan, notes, vectors, tiles, and answers about places."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Path, Query
from starlette.responses import Response

from graylight.plan.model import Plan
from graylight.server import answers, asking, vectors
from graylight.server.layers import Asked, draw_tile
from graylight.server.models import Features, FromHere, Line, Note, Now, Quick
from graylight.server.notes import plan_notes
from graylight.server.state import state_of

__all__ = ["router"]

router = APIRouter()
FOR_GOOD = "private, max-age=31536000, immutable"
"""What hangs on the version in its address never changes."""
MapLight = Literal["dark", "day"]
"""The map that it is laid on: what is not picked out is dark there, or pale."""
Degrees = Annotated[float | None, Query(ge=0.0, le=360.0, allow_inf_nan=False)]


def _json(text: str) -> Response:
    return Response(text, media_type="application/json")


@router.get("/state")
def state(desk: asking.The) -> Now:
    """Everything the page must know at first."""
    return state_of(desk)


@router.get("/plan", response_model=Plan)
def plan(opened: asking.Here) -> Response:
    """The plan (docs/plan.md)."""
    return _json(opened.plan_text)


@router.get("/notes")
def notes(opened: asking.Here) -> list[Note]:
    """The plan told, in the person's units."""
    return plan_notes(opened.must_plan(), opened.country.settings.units)


@router.get("/features", response_model=Features)
def features(opened: asking.Here) -> Response:
    """What was brought in: roads, trails, streams, lakes, ownership, unit, names."""
    text: str = opened.once("features", lambda: vectors.features_text(opened))
    return _json(text)


@router.get("/contours", response_model=Features)
def contours(opened: asking.Here, level: Annotated[int, Query(ge=0, le=2)] = 1) -> Response:
    """Contour lines; level 0 for the whole country, 2 for close by."""
    units = opened.country.settings.units
    text: str = opened.once(("contours", units, level), lambda: vectors.contours_text(opened, level))
    return _json(text)


PNG: dict[int | str, dict[str, Any]] = {200: {"content": {"image/png": {}}, "description": "a tile"}}


@router.get("/tiles/{layer}/{z}/{x}/{y}.png", response_class=Response, responses=PNG)
def tile(
    opened: asking.Here,
    layer: Annotated[str, Path(max_length=40)],
    at: asking.TileAt,
    time: asking.Moment | None = None,
    lookout: Annotated[str | None, Query(max_length=20)] = None,
    lon: Annotated[float | None, Query(ge=-180, le=180, allow_inf_nan=False)] = None,
    lat: Annotated[float | None, Query(ge=-90, le=90, allow_inf_nan=False)] = None,
    low: Degrees = None,
    high: Degrees = None,
    watch: Annotated[str | None, Query(max_length=40)] = None,
    light: MapLight = "dark",
    v: Annotated[str | None, Query(max_length=40)] = None,
) -> Response:
    """A tile of 256 pixels; `low` and `high` pick an arc of facing, clockwise; `v` is the version from the state."""
    asked = Asked(
        time=None if time is None else asking.read_moment(time),
        place=asking.place_or_lookout(opened, lookout, lon, lat),
        arc=None if low is None or high is None else (low, high),
        watch=watch,
        day=light == "day",
    )
    png = draw_tile(opened, layer, at, asked)
    keep = FOR_GOOD if v == opened.version else "no-cache"
    return Response(png, media_type="image/png", headers={"cache-control": keep})


@router.get("/from-here")
def from_here(opened: asking.Here, at: asking.At) -> FromHere:
    """What a place is, and what it sees."""
    return answers.from_here(opened, at)


@router.get("/sight")
def sight(opened: asking.Here, at: asking.At, light: MapLight = "dark") -> Quick:
    """The quick answer while a lookout is dragged."""
    return answers.quick_sight(opened, at, day=light == "day")


@router.get("/line")
def line(
    opened: asking.Here,
    start: Annotated[asking.Pair, Query(alias="from")],
    to: asking.Pair,
) -> Line:
    """The line of sight between two places, with its profile."""
    return answers.line_between(opened, asking.read_pair(start), asking.read_pair(to))

"""Paths that judge: the horizon, the day, a morning, and from where marks show."""

from __future__ import annotations

import threading
from hashlib import sha256
from typing import Annotated, Any

import numpy as np
from fastapi import APIRouter, Query
from pydantic import BaseModel, ConfigDict, Field

from graylight.errors import BadInput
from graylight.plan.model import Watch
from graylight.plan.morning_asked import read_date, understood
from graylight.plan.morning_model import Morning
from graylight.plan.mornings import morning as work_out
from graylight.plan.watch import ready_to_watch, watch_marks
from graylight.server import asking, horizon
from graylight.server.day import DayStrip, day_strip
from graylight.server.models import Note
from graylight.server.notes import notes_of
from graylight.server.opened import Opened
from graylight.telling.morning import tell_morning
from graylight.telling.watch import tell_watch

__all__ = ["heavy", "router"]

router = APIRouter()
Width = Annotated[int, Query(ge=horizon.LEAST_PX, le=horizon.MOST_PX)]
Pixel = Annotated[float, Query(ge=0.0, le=10_000.0, allow_inf_nan=False)]
heavy = threading.Lock()
"""Mornings and watches take memory by the country's size: one at a time."""


class MorningTold(BaseModel):
    """A morning, and its sentences."""

    morning: Morning
    notes: list[Note]


class Wanted(BaseModel):
    """Marks to be watched."""

    model_config = ConfigDict(extra="forbid")
    targets: Annotated[list[Annotated[str, Field(max_length=80)]], Field(min_length=1, max_length=24)]
    within_m: Annotated[float, Field(gt=0.0, le=20_000.0, allow_inf_nan=False)] | None = None
    standing: bool = False


class WatchTold(BaseModel):
    """From where marks show: the answer, its sentences, and the key of its tiles."""

    watch: Watch
    notes: list[Note]
    key: str
    tiles: str


@router.get("/horizon")
def strip(
    opened: asking.Here, at: asking.At, width: Width = 1000, time: asking.Moment | None = None
) -> horizon.HorizonPicture:
    """The drawn view from a place, and what stands where on it."""
    return horizon.horizon_picture(opened, at, width, None if time is None else asking.read_moment(time))


@router.get("/horizon/ground")
def ground(opened: asking.Here, at: asking.At, x: Pixel, y: Pixel, width: Width = 1000) -> horizon.Ground:
    """The ground behind a pixel of the view drawn for the same place and width."""
    return horizon.ground_at(opened, at, width, x, y)


@router.get("/day")
def day(opened: asking.Here, at: asking.At, date: asking.Day | None = None) -> DayStrip:
    """A day at a place: night, twilight, sun and shade, and the moments that matter."""
    on = opened.as_planned.settings.date if date is None else read_date(date, "date")
    key = ("day", opened.country.grid.rowcol(at), on)
    found: DayStrip = opened.answers.get(key, lambda: day_strip(opened, at, on))
    return found


@router.get("/morning")
def morning(
    opened: asking.Here,
    lookout: Annotated[str, Query(max_length=20)],
    date: asking.Day | None = None,
    wind: Annotated[str | None, Query(max_length=40)] = None,
) -> MorningTold:
    """One morning at a lookout of the plan."""
    asked = understood(opened.must_plan(), lookout=lookout, date=date, wind=wind or None, until=None)
    key = ("morning", lookout, asked.date, wind)

    def told() -> MorningTold:
        with heavy:
            found = work_out(opened.mornings, lookout, date=asked.date, wind=wind or None)
        return MorningTold(morning=found, notes=notes_of(tell_morning(found, opened.country.settings.units)))

    answer: MorningTold = opened.answers.get(key, told)
    return answer


@router.post("/watch")
def watch(opened: asking.Here, wanted: Wanted) -> WatchTold:
    """From where marks can be watched; the marks are places as they are typed, or ids such as P1-f1."""
    if any(";" in one for one in wanted.targets):
        raise BadInput(
            "a mark with a semicolon in it; accepted is one place or id each; send them one by one"
        )
    asked = repr(
        (
            opened.version,
            [" ".join(one.split()).lower() for one in wanted.targets],
            wanted.within_m,
            wanted.standing,
        )
    )
    key = sha256(asked.encode()).hexdigest()[:12]
    answer: WatchTold = opened.answers.get(("watch", key), lambda: _watched(opened, wanted, key))
    return answer


def _watched(opened: Opened, wanted: Wanted, key: str) -> WatchTold:
    with heavy:
        ready: Any = opened.once("watch", lambda: ready_to_watch(opened.as_planned, opened.plan))
        found = watch_marks(
            ready, "; ".join(wanted.targets), within_m=wanted.within_m, standing=wanted.standing
        )
    part = found.seen.astype(np.float32) / np.float32(len(found.watch.marks))
    part[found.seen == 0] = np.nan
    opened.keep_watch(key, part)
    return WatchTold(
        watch=found.watch, notes=notes_of(tell_watch(found.watch, opened.country.settings.units)), key=key,
        tiles=f"/api/tiles/watch/{{z}}/{{x}}/{{y}}.png?watch={key}&v={opened.version}",
    )  # fmt: skip

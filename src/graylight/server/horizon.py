"""The horizon strip: the drawn view from a place, what stands where on it, and the ground behind a pixel."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, Field

from graylight.drawing.panorama import Strip, draw_panorama, landmarks, margin_px
from graylight.drawing.strip import Landmark
from graylight.errors import BadInput
from graylight.grid import LonLat, azimuth_deg, distance_m
from graylight.place import write_place
from graylight.plan.sight_facts import unseen as none_of
from graylight.server.answers import data_url
from graylight.server.opened import Opened
from graylight.sight.panorama import Panorama, framing, panorama
from graylight.sky.sun import sun_path, upper_limb_deg

__all__ = ["Ground", "HorizonPicture", "direction_at", "ground_at", "horizon_picture"]

LEAST_PX, MOST_PX = 240, 3200
STRETCH = 2.0
"""Heights of a whole ring are stretched: as the eye sees it, it would be a thin line."""
TALL_PX = 120
"""A view higher than this at that stretch is stretched less, as far as true angles: the page shows it whole in a quarter of
its own height."""
SHORT_PX = 60
LIGHT = (110.0, 8.0)
"""Azimuth and height of the light while the sun is down."""
LOWEST_LIGHT = 3.0
SMALL_PX = 700
KEPT = 12


class Mark(BaseModel):
    """Something to be seen on the strip."""

    name: str
    kind: str
    bearing_deg: float
    x: float
    y: float
    lon: float
    lat: float
    named: bool = Field(description="whether its name stands on the picture")


class PocketSpan(BaseModel):
    """Where a pocket shows."""

    pocket: str
    x_from: float
    x_to: float
    part: float = Field(description="part of the picture's land that is this pocket")


class HorizonPicture(BaseModel):
    """The drawn view. Pixels x, y are those of the picture; the land runs from `left` to `left` + `view_width`."""

    picture: str = Field(description="data URL, PNG")
    width: int
    height: int
    left: int
    top: int
    view_width: int
    view_height: int
    bearing_low: float
    bearing_high: float
    up_low: float
    up_high: float
    marks: list[Mark]
    pockets: list[PocketSpan]
    hidden: list[str]
    slight: list[str]
    skyline: list[int] = Field(
        description="by column of the land, the row of the land at which the sky ends; view_height where all is sky"
    )
    sun: list[float] | None = Field(
        description="true bearing, and height of the sun's upper edge; null when it is down"
    )


class Ground(BaseModel):
    """The ground behind a pixel; `sky` where there is none."""

    sky: bool
    lon: float | None = None
    lat: float | None = None
    height_m: float | None = None
    distance_m: float | None = None
    bearing_true_deg: float | None = None


@dataclass(frozen=True, slots=True)
class _Asked:
    """A place and the width of the picture."""

    place: LonLat
    width: int

    @property
    def text_px(self) -> int:
        """Size of the letters."""
        return 12 if self.width < SMALL_PX else 15


def horizon_picture(opened: Opened, place: LonLat, width: int, time: dt.datetime | None) -> HorizonPicture:
    """The view from a place, drawn in the light of a moment.

    Raises
    ------
    NoPlan, BadInput
        No plan yet; a place outside the country or on unknown ground; a width that is none.
    """
    asked = _Asked(place, width)
    view = _view(opened, asked)
    sun = None if time is None else _sun(opened, time)
    marks = landmarks(opened.must_plan(), opened.country.grid, opened.country.settings.units)
    unseen = _unseen(opened, place)
    strip = _drawn(opened, asked, view, marks, sun, unseen)
    return HorizonPicture(
        picture=data_url(strip.png()), width=strip.image.width, height=strip.image.height, left=strip.left, top=strip.top,
        view_width=view.width, view_height=view.height, bearing_low=view.azimuth_from_deg,
        bearing_high=view.azimuth_from_deg + view.span_deg, up_low=round(view.up_from_deg, 3),
        up_high=round(view.up_to_deg, 3), marks=_marks(opened, view, strip, marks), pockets=_spans(opened, view, strip, unseen),
        hidden=[*strip.hidden, *strip.outside], slight=list(strip.slight),
        skyline=_skyline(view), sun=None if sun is None else [*sun],
    )  # fmt: skip


def ground_at(opened: Opened, place: LonLat, width: int, x: float, y: float) -> Ground:
    """The ground behind a pixel of the picture that `horizon_picture` drew for the same place and width.

    Raises
    ------
    NoPlan, BadInput
        As `horizon_picture`.
    """
    asked = _Asked(place, width)
    view = _view(opened, asked)
    left, top = _corner(opened, asked, view)
    cell = view.at(x - left, y - top)
    if cell is None:
        return Ground(sky=True)
    there = opened.survey.place(*cell)
    at = LonLat(there.lon, there.lat)
    eye = opened.country.grid.lonlat(*view.seat)
    return Ground(
        sky=False, lon=there.lon, lat=there.lat, height_m=there.height_m, distance_m=round(distance_m(eye, at)),
        bearing_true_deg=round(azimuth_deg(eye, at), 1) if cell != view.seat else None,
    )  # fmt: skip


def direction_at(opened: Opened, place: LonLat, width: int, x: float, y: float) -> tuple[float, float]:
    """True bearing and angle above the horizontal of a pixel of the picture that `horizon_picture` drew.

    Raises
    ------
    NoPlan, BadInput
        As `horizon_picture`; or the pixel lies off the drawn view.
    """
    asked = _Asked(place, width)
    view = _view(opened, asked)
    left, top = _corner(opened, asked, view)
    col, row = int(x - left), int(y - top)
    if not (x >= left and y >= top and col < view.width and row < view.height):
        raise BadInput(
            f"the point {x:g}, {y:g} of the view; accepted are {left} to {left + view.width} and {top} to "
            f"{top + view.height}; pick a point in it"
        )
    return float(view.azimuth_deg[col]), float(view.elevation_deg[row])


def _view(opened: Opened, asked: _Asked) -> Panorama:
    """The view at the size it is drawn; the last few are kept."""
    if not LEAST_PX <= asked.width <= MOST_PX:
        raise BadInput(
            f"a width of {asked.width} pixels; accepted is {LEAST_PX} to {MOST_PX}; choose another"
        )
    cell = opened.country.grid.rowcol(asked.place)
    found: Panorama = opened.views.get((cell, asked.width), lambda: _seen(opened, asked, cell))
    return found


def _seen(opened: Opened, asked: _Asked, cell: tuple[int, int]) -> Panorama:
    ready, grid = opened.ready, opened.country.grid
    sight = opened.country.settings.sight
    eye: dict[str, Any] = {
        "row": cell[0], "col": cell[1], "cell_m": grid.cell_m, "eye_m": sight.eye_m,
        "convergence_deg": grid.convergence_deg(asked.place), "azimuth_from_deg": 0.0, "azimuth_to_deg": 360.0,
        "width": asked.width - 2 * margin_px(asked.text_px),
    }  # fmt: skip
    ground = ready.survey.elevation_m
    frame = partial(framing, ground, labels=ready.labels, least_height=SHORT_PX, most_height=600, **eye)
    fit = frame(stretch=STRETCH)
    if fit.height > TALL_PX:  # who looks far down sees it less steep rather than cut off
        fit = frame(stretch=max(1.0, STRETCH * TALL_PX / fit.height))
    return panorama(
        ground,
        up_from_deg=fit.up_from_deg,
        up_to_deg=fit.up_to_deg,
        height=fit.height,
        refraction=sight.refraction,
        **eye,
    )


def _sun(opened: Opened, time: dt.datetime) -> tuple[float, float] | None:
    """Where the sun stands; None when it is down."""
    moment = np.array([time.astimezone(dt.UTC).replace(tzinfo=None)], "datetime64[us]")
    path = sun_path(opened.country.grid.center, height_m=0.0, times=moment)
    limb = float(upper_limb_deg(path.altitude_deg)[0])
    return None if limb < 0.0 else (round(float(path.azimuth_deg[0]), 2), round(limb, 2))


def _drawn(
    opened: Opened,
    asked: _Asked,
    view: Panorama,
    marks: list[Landmark],
    sun: tuple[float, float] | None,
    unseen: frozenset[str] = frozenset(),
) -> Strip:
    light = LIGHT if sun is None else (sun[0], max(sun[1], LOWEST_LIGHT))
    plan = opened.must_plan()
    return draw_panorama(
        view, marks=marks, labels=opened.ready.labels, pockets=[one.id for one in plan.pockets], unseen=unseen, light=light,
        declination_deg=opened.survey.declination_deg, invented=opened.country.invented, text_px=asked.text_px,
        title="From " + write_place(asked.place, "degrees"),
    )  # fmt: skip


def _corner(opened: Opened, asked: _Asked, view: Panorama) -> tuple[int, int]:
    """Pixel of the picture at which the view begins; it hangs on neither light nor names."""

    def corner() -> tuple[int, int]:
        strip = _drawn(opened, asked, view, [], None)
        return strip.left, strip.top

    found: tuple[int, int] = opened.once(("corner", view.seat, asked.width), corner)
    return found


def _marks(opened: Opened, view: Panorama, strip: Strip, marks: list[Landmark]) -> list[Mark]:
    """Tops and saddles that show, whether or not their names found room."""
    found = []
    for mark in marks:
        cell = (mark.row, mark.col)
        if cell == tuple(view.seat) or np.isnan(view.surface_m[cell]):
            continue
        toward = view.angles_to(cell)
        at = None if toward.hidden else view.pixel(toward.azimuth_deg, toward.up_deg)
        if at is not None:
            place = opened.country.grid.lonlat(*cell)
            found.append(
                Mark(
                    name=mark.text, kind=mark.kind, bearing_deg=round(toward.azimuth_deg, 1), x=round(at[0] + strip.left, 1),
                    y=round(at[1] + strip.top, 1), lon=round(place.lon, 6), lat=round(place.lat, 6),
                    named=mark.text in strip.named,
                )
            )  # fmt: skip
    return found


def _skyline(view: Panorama) -> list[int]:
    """Column by column, the first row with ground."""
    land = view.row >= 0
    first = np.where(land.any(axis=0), land.argmax(axis=0), view.height)
    return [int(row) for row in first]


def _unseen(opened: Opened, place: LonLat) -> frozenset[str]:
    """Pockets of which the shares say that nothing is seen: too little, or too far for a glass."""
    return none_of(opened.look(place).look.sees, opened.must_plan().pockets)


def _spans(opened: Opened, view: Panorama, strip: Strip, unseen: frozenset[str]) -> list[PocketSpan]:
    """From where to where each pocket shows, in pixels of the picture; those that the shares name, whatever its width."""
    shown: NDArray[np.int32] = view.values(opened.ready.labels)
    land = max(int((view.row >= 0).sum()), 1)
    found = []
    for index, pocket in enumerate(opened.must_plan().pockets):
        if pocket.id in unseen:
            continue
        columns = np.flatnonzero((shown == index + 1).any(axis=0))
        if columns.size:
            part = float((shown == index + 1).sum()) / land
            ends = (float(columns[0] + strip.left), float(columns[-1] + 1 + strip.left))
            found.append(PocketSpan(pocket=pocket.id, x_from=ends[0], x_to=ends[1], part=round(part, 4)))
    return found

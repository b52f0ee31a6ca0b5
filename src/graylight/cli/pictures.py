"""Pictures of a country's plan: what the map needs is read from the layers, drawn, and written whole."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from PIL import Image

from graylight.country.folder import Country
from graylight.drawing.from_where import draw_from_where
from graylight.drawing.look import draw_look
from graylight.drawing.map import draw_map
from graylight.drawing.panorama import Strip, draw_panorama, landmarks, margin_px
from graylight.drawing.sightline import draw_sightline
from graylight.drawing.strip import Landmark
from graylight.errors import BadInput
from graylight.grid import LonLat
from graylight.packet.ground import map_data
from graylight.place import write_place
from graylight.plan.looking import Looked, look_from
from graylight.plan.looking import Ready as ReadyToLook
from graylight.plan.model import Look, Plan, SightLine
from graylight.plan.sight_facts import unseen
from graylight.plan.watch import Ready, Watched
from graylight.sight.line import Sightline
from graylight.sight.panorama import Panorama, framing, panorama

__all__ = [
    "draw_the_line", "draw_the_look", "draw_the_plan", "draw_the_watch", "map_data", "strip_direction", "strip_of",
]  # fmt: skip

MAP = "plan/map.png"
STRIP_PX = 1440
RING_STRETCH = 2.0
"""Heights of a whole ring are stretched: as the eye sees it, it would be a thin line."""


def draw_the_plan(country: Country, plan: Plan) -> Path:
    """Draw the plan's map into the country's plan/ folder."""
    picture = draw_map(map_data(country), plan, units=country.settings.units)
    return _written(country, MAP, picture)


def draw_the_look(ready: ReadyToLook, looked: Looked) -> Look:
    """Draw what a place sees, as a map and as a strip, into the country's looks/ folder; the look that names them."""
    country, plan = ready.country, ready.plan
    here = LonLat(looked.look.place.lon, looked.look.place.lat)
    name = "looks/" + _file_words(here)
    picture = draw_look(
        map_data(country, ready.survey.elevation_m),
        looked.look,
        looked.view.answers,
        pockets=plan.pockets,
        declination_deg=plan.light.declination_deg,
        invented=country.invented,
        radius_m=country.settings.sight.radius_m,
        units=country.settings.units,
    )
    _written(country, f"{name}.png", picture)
    strip = strip_of(ready, looked, marks=landmarks(plan, country.grid, country.settings.units))
    country.write_bytes(f"{name}-strip.png", strip.png())
    return looked.look.model_copy(update={"picture": f"{name}.png", "strip": f"{name}-strip.png"})


def draw_the_line(ready: ReadyToLook, looked: Looked, told: SightLine, found: Sightline) -> SightLine:
    """Draw a line of sight into the country's looks/ folder; the line that names its picture."""
    here, there = (LonLat(p.lon, p.lat) for p in (looked.look.place, told.place))
    clear = None if found.closest is None else (found.closest.distance_m, found.closest.clears_m)
    flag = "invented range: does not exist" if ready.country.invented else ""
    picture = draw_sightline(
        found.along_m, found.ground_m, found.ray_m, base_m=found.base_m, top_m=found.top_m, closest=clear,
        start=write_place(here, "degrees"), end=write_place(there, "degrees"), caption=flag,
        units=ready.country.settings.units,
    )  # fmt: skip
    name = f"looks/{_file_words(here)}_to_{_file_words(there)}.png"
    _written(ready.country, name, picture)
    return told.model_copy(update={"picture": name})


def _file_words(place: LonLat) -> str:
    """A place as part of a file's name."""
    words = write_place(place, "degrees").replace(", ", "_").replace(" ", "")
    return "".join(c for c in words if c.isascii() and (c.isalnum() or c in "-._"))


def strip_of(
    ready: ReadyToLook,
    looked: Looked,
    *,
    marks: Sequence[Landmark],
    width_px: int = STRIP_PX,
    text_px: int = 15,
) -> Strip:
    """The whole ring of the view from a place, over bare ground."""
    view = _ring(ready, looked, width_px - 2 * margin_px(text_px))
    place = LonLat(looked.look.place.lon, looked.look.place.lat)
    return draw_panorama(
        view, marks=marks, labels=ready.labels, pockets=[one.id for one in ready.plan.pockets],
        unseen=unseen(looked.look.sees, ready.plan.pockets),
        declination_deg=ready.plan.light.declination_deg, invented=ready.country.invented, text_px=text_px,
        title="From " + write_place(place, "degrees"),
    )  # fmt: skip


def _ring(ready: ReadyToLook, looked: Looked, width: int) -> Panorama:
    """The whole ring of the view from a place."""
    grid, cell = ready.country.grid, looked.view.cell
    place = LonLat(looked.look.place.lon, looked.look.place.lat)
    eye: dict[str, Any] = {
        "row": cell[0], "col": cell[1], "cell_m": grid.cell_m, "eye_m": ready.country.settings.sight.eye_m,
        "convergence_deg": grid.convergence_deg(place),
        "azimuth_from_deg": 0.0, "azimuth_to_deg": 360.0, "width": width,
    }  # fmt: skip
    fit = framing(
        ready.survey.elevation_m, labels=ready.labels, stretch=RING_STRETCH, least_height=240, **eye
    )
    return panorama(
        ready.survey.elevation_m, up_from_deg=fit.up_from_deg, up_to_deg=fit.up_to_deg, height=fit.height,
        refraction=ready.country.settings.sight.refraction, **eye,
    )  # fmt: skip


def strip_direction(ready: ReadyToLook, place: LonLat, point: str) -> tuple[float, float]:
    """True bearing and angle above the horizontal of a point "X,Y" on the strip that `look` draws from a place.

    Raises
    ------
    BadInput
        Not two numbers, or outside the drawn view.
    """
    looked = look_from(ready, place)
    strip = strip_of(
        ready, looked, marks=landmarks(ready.plan, ready.country.grid, ready.country.settings.units)
    )
    view = _ring(ready, looked, STRIP_PX - 2 * margin_px(15))
    try:
        x, y = strip.on_view(*(float(part) for part in point.split(",")))
    except (TypeError, ValueError):
        x = y = -1.0
    if not (0.0 <= x < view.width and 0.0 <= y < view.height):
        raise BadInput(
            f"--strip is {point!r}; accepted are X,Y in pixels of the strip's view, {strip.left:.0f} to "
            f"{strip.left + view.width:.0f} and {strip.top:.0f} to {strip.top + view.height:.0f}; pick a point in it"
        )
    return float(view.azimuth_deg[int(x)]), float(view.elevation_deg[int(y)])


def draw_the_watch(ready: Ready, watched: Watched, name: str) -> Path:
    """Draw from where marks show into the country's watch/ folder."""
    country = ready.country
    picture = draw_from_where(
        map_data(country, ready.survey.elevation_m), watched.watch, watched.seen, declination_deg=ready.survey.declination_deg,
        invented=country.invented, units=country.settings.units,
    )  # fmt: skip
    return _written(country, name, picture)


def _written(country: Country, name: str, picture: Image.Image) -> Path:
    buffer = io.BytesIO()
    # measured on a map: 3 % larger than at level 6, in half the time
    picture.save(buffer, format="PNG", optimize=False, compress_level=4)
    country.write_bytes(name, buffer.getvalue())
    return country.folder / name

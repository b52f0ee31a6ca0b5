"""What the README shows of the invented range: pictures by the program's own drawing, and the plan as it is told."""

from __future__ import annotations

import io
import textwrap
from collections.abc import Callable
from functools import partial
from itertools import accumulate, pairwise
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from docs.make import HERE, NOTE
from graylight.cli.demonstration import invented_country
from graylight.country.folder import Country
from graylight.drawing.from_where import draw_from_where
from graylight.drawing.look import draw_look
from graylight.drawing.map import MapData, draw_map
from graylight.drawing.panorama import draw_panorama, landmarks
from graylight.drawing.profile import draw_profile
from graylight.errors import BadInput
from graylight.grid import Bounds, LonLat, distance_m
from graylight.packet.asked import understood
from graylight.packet.contents import gathered
from graylight.packet.document import page_pictures
from graylight.packet.ground import map_data
from graylight.plan.keeping import kept_plan, make_plan
from graylight.plan.looking import look_from, ready_to_look
from graylight.plan.model import Lookout, Plan
from graylight.plan.watch import ready_to_watch, watch_marks
from graylight.sight.panorama import framing, panorama
from graylight.telling.naming import best_seat
from graylight.telling.paragraph import plain
from graylight.telling.plan import tell_plan

MOST_BYTES = 880_000
PANORAMA_PX = 1200
BEGIN, END = "<!-- told, by docs/make.py -->", "<!-- end of told -->"
EXCERPT = ("Where to sit", "How to get there")
ACROSS = 0.6
"""Part of the country's width that the feed and bed maps show: glyphs stay legible at half a page."""


def show(folder: Path, readme: Path) -> None:
    """Draw the pictures, write docs/told.md, and put its beginning into the README."""
    country = Country.open(folder) if folder.exists() else invented_country(folder)
    if not country.invented:
        raise BadInput(
            f"{folder} holds a real country; the docs show only the invented range; name a demo's folder"
        )
    plan = kept_plan(country) or make_plan(country).plan
    for name, draw in _pictures(country, plan).items():
        _save(name, draw(), whole=name == "panorama")
    (HERE / "told.md").write_text(told_page(plan), encoding="utf-8")
    readme.write_text(_with_excerpt(readme.read_text(encoding="utf-8"), plan), encoding="utf-8")


def _pictures(country: Country, plan: Plan) -> dict[str, Callable[[], Image.Image]]:
    data, seat = map_data(country), best_seat(plan)
    if seat is None:
        raise BadInput(
            "the plan has no lookout; the docs show one; plan the invented range with its own settings"
        )
    walk = country.settings.walk
    ground = partial(draw_map, data, _bare(plan), width_px=1100)
    close = partial(draw_map, data, plan, width_px=1100, box=_around(seat, plan))
    return {
        "plan": partial(draw_map, data, plan, width_px=1300),
        "feed": partial(close, layer="feed", raster=country.read("feed"), title="Feed"),
        "beds": partial(close, layer="bed", raster=country.read("bed"), title="Beds"),
        "slope": partial(
            ground, layer="slope", raster=country.read("slope"), title="Slope",
            slope_limits_deg=(walk.scramble_deg, walk.shut_deg),
        ),
        "facing": partial(ground, layer="facing", raster=country.read("aspect"), title="Facing"),
        "look": partial(_look, country, plan, data, seat),
        "panorama": partial(_panorama, country, plan, seat),
        "watch": partial(_watch, country, plan, data, seat),
        "way": partial(_way, plan, seat),
        "packet": partial(_packet, country, plan, seat),
    }  # fmt: skip


def _packet(country: Country, plan: Plan, seat: Lookout) -> Image.Image:
    """Four pages of the packet side by side: the country, a lookout by the clock, its map, the range card."""
    country = country.with_settings(animal=plan.animal, date=plan.light.date.isoformat())
    contents = gathered(country, plan, understood(plan, lookouts=seat.id))
    drawn = page_pictures(contents, "letter", ppi=66.0)
    pages = [Image.open(io.BytesIO(drawn[number])).convert("RGB") for number in (0, 2, 3, 4)]
    shown = Image.new(
        "RGB", (sum(p.width + 8 for p in pages) - 8, max(p.height for p in pages)), (120, 126, 140)
    )
    left = 0
    for page in pages:
        shown.paste(page, (left, 0))
        left += page.width + 8
    return shown


def _bare(plan: Plan) -> Plan:
    """The plan without its picks: a map of the ground that still says that the range is invented."""
    return plan.model_copy(update={"pockets": [], "lookouts": [], "sets": [], "approaches": []})


def _around(seat: Lookout, plan: Plan) -> Bounds:
    """A box around a lookout and the pocket it sees best, inside the country."""
    west, south, east, north = plan.country.west, plan.country.south, plan.country.east, plan.country.north
    best = max(seat.sees, key=lambda one: one.share.likely).pocket
    middle = next(pocket.centre for pocket in plan.pockets if pocket.id == best)
    width, height = (east - west) * ACROSS, (north - south) * ACROSS
    left = min(max((seat.place.lon + middle.lon - width) / 2, west), east - width)
    foot = min(max((seat.place.lat + middle.lat - height) / 2, south), north - height)
    return Bounds(left, foot, left + width, foot + height)


def _look(country: Country, plan: Plan, data: MapData, seat: Lookout) -> Image.Image:
    looked = look_from(ready_to_look(country, plan), LonLat(seat.place.lon, seat.place.lat))
    return draw_look(
        data, looked.look, looked.view.answers, pockets=plan.pockets, declination_deg=plan.light.declination_deg,
        invented=country.invented, radius_m=country.settings.sight.radius_m, width_px=1200,
    )  # fmt: skip


def _panorama(country: Country, plan: Plan, seat: Lookout) -> Image.Image:
    """Half the ring about what the lookout sees best, by the light a while after sunrise."""
    here = LonLat(seat.place.lon, seat.place.lat)
    cell, middle = (
        country.grid.rowcol(here),
        max(seat.sees, key=lambda one: one.share.likely).bearing_true_deg,
    )
    ground, labels = country.read("elevation"), country.read("pockets").astype(np.int32)
    eye: dict[str, Any] = {
        "row": cell.row, "col": cell.col, "cell_m": country.grid.cell_m, "eye_m": country.settings.sight.eye_m,
        "convergence_deg": country.grid.convergence_deg(here), "azimuth_from_deg": middle - 90.0,
        "azimuth_to_deg": middle + 90.0, "width": PANORAMA_PX,
    }  # fmt: skip
    fit = framing(ground, labels=labels, stretch=1.5, **eye)
    view = panorama(ground, up_from_deg=fit.up_from_deg, up_to_deg=fit.up_to_deg, height=fit.height, **eye)
    return draw_panorama(
        view, marks=landmarks(plan, country.grid, "us"), labels=labels, pockets=[one.id for one in plan.pockets],
        light=(110.0, 8.0), declination_deg=plan.light.declination_deg, title=f"From {seat.id}", invented=True,
        text_px=16,
    ).image  # fmt: skip


def _watch(country: Country, plan: Plan, data: MapData, seat: Lookout) -> Image.Image:
    """From where the feed and the crossings of the pocket that the lookout sees best can be watched."""
    best = max(seat.sees, key=lambda one: one.share.likely).pocket
    pocket = next(pocket for pocket in plan.pockets if pocket.id == best)
    marks = "; ".join(spot.id for spot in (*pocket.feed, *pocket.crossings))
    ready = ready_to_watch(country, plan)
    watched = watch_marks(ready, marks, within_m=1931.0)
    return draw_from_where(
        data, watched.watch, watched.seen, declination_deg=plan.light.declination_deg, invented=True, width_px=1100
    )  # fmt: skip


def _way(plan: Plan, seat: Lookout) -> Image.Image:
    way = next(way for way in plan.approaches if way.lookout == seat.id)
    steps = [distance_m(LonLat(*a[:2]), LonLat(*b[:2])) for a, b in pairwise(way.line)]
    along = np.array(list(accumulate(steps, initial=0.0)))
    heights = np.array([point[2] for point in way.line])
    start = f"{way.start.name or way.start.kind} (invented range)"
    return draw_profile(along, heights, start=start, end=seat.id)


def _save(name: str, picture: Image.Image, *, whole: bool = False) -> None:
    """Write a picture with as many colours as the size allows; `whole`: all, for a sky without steps."""
    path = HERE / "pictures" / f"{name}.png"
    path.parent.mkdir(exist_ok=True)
    if whole:
        picture.save(path, format="PNG", optimize=True)
        print(
            f"{path.name}: {picture.width} x {picture.height}, {path.stat().st_size // 1000} kB, all colours"
        )
        return
    for colours in (256, 192, 128):
        buffer = io.BytesIO()
        # median cut gives small areas such as the legend's the colour of a neighbour (59 of 255 off); this stays within 10
        method, rounds = Image.Quantize.MAXCOVERAGE, 4
        small = picture.quantize(colours, method=method, kmeans=rounds, dither=Image.Dither.NONE)
        small.save(buffer, format="PNG", optimize=True)
        if buffer.tell() <= MOST_BYTES:
            break
    path.write_bytes(buffer.getvalue())
    print(f"{path.name}: {picture.width} x {picture.height}, {buffer.tell() // 1000} kB, {colours} colours")


def told_page(plan: Plan) -> str:
    """The whole plan of the invented range, as `graylight demo` tells it."""
    intro = (
        "What `make demo` prints: the plan of the invented range, whole. [The plan told](telling.md) says in which order and "
        "by which rules."
    )
    text = plain(tell_plan(plan, "us"), 100).strip()
    return f"# The plan of the invented range\n\n{NOTE}\n\n{intro}\n\n```text\n{text}\n```\n"


def _with_excerpt(text: str, plan: Plan) -> str:
    before, rest = text.split(BEGIN)
    after = rest.split(END)[1]
    told = [" ".join(one.sentences) for one in tell_plan(plan, "us") if one.heading in EXCERPT]
    quoted = "\n>\n".join(
        textwrap.fill(words, 118, initial_indent="> ", subsequent_indent="> ") for words in told
    )
    return f"{before}{BEGIN}\n{quoted}\n{END}{after}"

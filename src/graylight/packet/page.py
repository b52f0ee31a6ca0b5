"""The offline page: one HTML file with map, strips and timelines that opens from a telephone's storage."""

from __future__ import annotations

import base64
import hashlib
import html
import io
import json
from importlib.resources import files
from typing import Any

import numpy as np
from PIL import Image
from pyproj import Transformer

from graylight.drawing.frame import Frame
from graylight.exchange.marks import name_of
from graylight.packet.band import draw_band
from graylight.packet.contents import Contents, Sit
from graylight.packet.profiles import draw_way
from graylight.packet.words import DATUM, cautions_of, flag_of, sit_told, title_of
from graylight.plan.model import Pocket
from graylight.plan.morning_model import Morning
from graylight.telling import naming
from graylight.telling.paragraph import listed, sentence
from graylight.units import area, in_units, share

__all__ = ["data_uri", "map_facts", "page_of", "svg_uri", "written"]

HEADS = ("pocket", "in sight", "off", "magnetic", "true", "lies", "seen", "doubtful", "hidden")
COLUMNS = ("pocket", "share", "distance", "magnetic", "true", "tilt", "seen", "doubtful", "hidden")
_NODES = 9
_JPEG = 80


def page_of(contents: Contents, picture: Image.Image, frame: Frame) -> bytes:
    """The page.

    Parameters
    ----------
    contents
        From `gathered`.
    picture, frame
        The drawn map of the whole country, and where it lies.
    """
    care, unknown = cautions_of(contents)
    return written({
        "title": title_of(contents), "flag": flag_of(contents.plan), "datum": DATUM, "heads": HEADS, "columns": COLUMNS,
        "map": map_facts(contents, picture, frame), "sits": [_sit(sit, contents) for sit in contents.sits],
        "pockets": [_pocket(pocket, contents) for pocket in contents.plan.pockets],
        "foot": [{"heading": "Take care", "text": care}, {"heading": "Not known", "text": unknown}],
    })  # fmt: skip


def written(facts: dict[str, Any]) -> bytes:
    """Put facts into the page; it may run no script and show no picture but its own."""
    shipped = files("graylight.packet") / "screen"
    style, script = (shipped.joinpath(name).read_text(encoding="utf-8") for name in ("page.css", "page.js"))
    # "</script" in a name would end the element: a slash may always be written \/ in JSON
    told = (
        json.dumps(facts, ensure_ascii=False, allow_nan=False)
        .replace("</", "<\\/")
        .replace("<!--", "<\\u0021--")
    )
    text = shipped.joinpath("page.html").read_text(encoding="utf-8")
    parts = {
        "title": html.escape(facts["title"]), "style-hash": _hash(style), "script-hash": _hash(script), "style": style,
        "script": script, "facts": told,
    }  # fmt: skip
    for name, value in parts.items():
        before, mark, after = text.partition(f"@{name}@")
        text = before + value + after if mark else text
    return text.encode()


def _hash(text: str) -> str:
    """How a content security policy names a script or style (CSP level 3, 2.3.1)."""
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


def data_uri(data: bytes, kind: str) -> str:
    """A picture written into the page itself (RFC 2397)."""
    return f"data:{kind};base64,{base64.b64encode(data).decode()}"


def svg_uri(svg: bytes | None) -> str | None:
    """A drawing written into the page itself; none where there is none."""
    return None if svg is None else data_uri(svg, "image/svg+xml")


def map_facts(contents: Contents, picture: Image.Image, frame: Frame) -> dict[str, Any]:
    """The map picture, where it lies, and what can be touched on it, in its pixels."""
    out = io.BytesIO()
    picture.save(out, format="JPEG", quality=_JPEG, subsampling=0)
    code = int(frame.grid.crs.removeprefix("EPSG:"))
    plan = contents.plan
    return {
        "picture": data_uri(out.getvalue(), "image/jpeg"), "width": frame.width, "height": frame.height,
        "west": frame.box.west, "north": frame.box.north, "metres": frame.metres_per_pixel,
        "zone": f"{code % 100} {'north' if code < 32700 else 'south'}", "net": _net(frame),
        "pockets": [
            {"id": p.id, "rings": [_pixels(ring, frame) for ring in p.outline], **_at(p.centre.lon, p.centre.lat, frame)}
            for p in plan.pockets
        ],
        "lookouts": [{"id": one.id, **_at(one.place.lon, one.place.lat, frame)} for one in plan.lookouts],
        "ways": [{"lookout": way.lookout, "line": _pixels(way.line, frame)} for way in plan.approaches],
    }  # fmt: skip


def _pixels(line: list[list[float]], frame: Frame) -> list[list[float]]:
    if not line:
        return []
    found = frame.pixels(np.array([point[:2] for point in line], dtype=np.float64))
    return [[round(float(x), 1), round(float(y), 1)] for x, y in found]


def _at(lon: float, lat: float, frame: Frame) -> dict[str, float]:
    ((x, y),) = _pixels([[lon, lat]], frame)
    return {"x": x, "y": y}


def _net(frame: Frame) -> list[list[list[float]]]:
    """Longitude and latitude at the nodes of a net over the picture, row by row from the north."""
    turn = Transformer.from_crs(frame.grid.crs, "EPSG:4326", always_xy=True)
    east, north = np.meshgrid(
        np.linspace(frame.box.west, frame.box.east, _NODES),
        np.linspace(frame.box.north, frame.box.south, _NODES),
    )
    lon, lat = turn.transform(east, north)
    return [
        [[round(float(a), 8), round(float(b), 8)] for a, b in zip(x, y, strict=True)]
        for x, y in zip(lon, lat, strict=True)
    ]


def _sit(sit: Sit, contents: Contents) -> dict[str, Any]:
    told = sit_told(sit, contents)
    profile = None if sit.way is None else draw_way(sit.way, contents.country.settings.units)
    band = None if sit.morning is None else draw_band(sit.morning)
    place = told["place"]
    return {
        **told, "place": f"{chr(10).join(words for words in place.values() if words)}\n{DATUM}",
        "strip": data_uri(sit.strip.png, "image/png"), "moments": _moments(told, sit.morning),
        "profile": svg_uri(profile), "band": svg_uri(band),
    }  # fmt: skip


def _moments(told: dict[str, Any], morning: Morning | None) -> list[int]:
    """Seconds since 1970 of the lines of the clock; the lines are those of the timeline, put together by their time."""
    if morning is None or told["clock"] is None:
        return []
    stamps: dict[str, int] = {}
    for one in morning.timeline:
        early = one.kind in {"leave", "start back at the latest"}
        words = (
            naming.moment(one.at, morning.light, step_minutes=5, way="earlier")
            if early
            else naming.moment(one.at, morning.light, step_minutes=5)
        )
        stamps.setdefault(words, int(one.at.timestamp()))
    return [stamps.get(row[0].removeprefix("~"), 0) for row in told["clock"]["rows"]]


def _pocket(pocket: Pocket, contents: Contents) -> dict[str, Any]:
    units = contents.country.settings.units
    name = name_of(contents.plan, pocket.id)
    title = pocket.id if name == f"pocket {pocket.id}" else f"{pocket.id}  {name}"
    if pocket.shut is not None:
        return {"id": pocket.id, "title": title, "told": [sentence(f"not ranked: {pocket.shut}")]}
    seen = [
        f"{seat.id} ({share(one.share.likely)})"
        for seat in contents.plan.lookouts
        for one in seat.sees
        if one.pocket == pocket.id and one.share.high >= 0.01
    ]
    told = [
        sentence(f"rank {pocket.rank}, chance {share(pocket.chance)}, {area(pocket.area_m2, units)}"),
        sentence(f"in sight from {listed(seen)}") if seen else "Not in sight from any lookout kept.",
        *(sentence(in_units(reason.words, units)) for reason in pocket.reasons),
    ]
    return {"id": pocket.id, "title": title, "told": told}

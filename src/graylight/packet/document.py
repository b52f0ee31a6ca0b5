"""The packet as PDF: pages set by typst, map pages georeferenced, the same bytes for the same plan."""

from __future__ import annotations

import datetime as dt
import json
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any

from graylight.packet.band import draw_band
from graylight.packet.carrying_out import carrying_told
from graylight.packet.contents import Contents, Sit
from graylight.packet.maps import DrawnMap
from graylight.packet.profiles import draw_way
from graylight.packet.words import (
    DATUM,
    capital,
    cautions_of,
    first_of,
    flag_of,
    forms,
    places_of,
    ranges_of,
    sit_told,
    title_of,
)
from graylight.plan.model import Place
from graylight.telling import naming
from graylight.telling.morning import CARRYING
from graylight.telling.plan import LAW

__all__ = ["PAPERS", "MapPlace", "Set", "compiled", "page_pictures", "set_pages"]

PAPERS = {"letter": "us-letter", "a4": "a4"}
CHECKS = (
    "season and dates for this animal, sex and weapon", "unit, tag and licence; tagging and evidence of sex",
    "shooting hours", "closures: area, road, fire, wildlife", "access and permission on private or leased ground",
    "fire restrictions, food storage, camping orders", "moving carcasses out of the unit or state",
    "weather, snow, rivers, and the state of the road",
)  # fmt: skip
ATTRIBUTION = (
    "Sun: JPL DE421. Magnetic declination: World Magnetic Model 2025. Letters: Barlow Semi Condensed, SIL Open Font "
    "License 1.1. Where a layer's source asks for credit or sets terms, they hold for these pages too."
)


@dataclass(frozen=True, slots=True)
class MapPlace:
    """Where a map's upper left corner lies on which page, millimetres from the page's upper left corner."""

    name: str
    page: int
    x_mm: float
    y_mm: float


@dataclass(frozen=True, slots=True)
class Set:
    """Pages as typst set them, and where the maps lie on them."""

    pdf: bytes
    maps: tuple[MapPlace, ...]


def set_pages(contents: Contents, paper: str) -> Set:
    """Set the packet on Letter or A4.

    Parameters
    ----------
    contents
        From `gathered`.
    paper
        "letter" or "a4".
    """
    pictures: dict[str, bytes] = {}
    return compiled("packet.typ", _told(contents, paper, pictures), pictures)


def page_pictures(contents: Contents, paper: str, *, ppi: float = 60.0) -> list[bytes]:
    """The same pages as PNG pictures, to look at."""
    pictures: dict[str, bytes] = {}
    told = _told(contents, paper, pictures)
    with _compiler("packet.typ", told, pictures) as compiler:
        found = compiler.compile(format="png", ppi=ppi)
    return found if isinstance(found, list) else [found]


def compiled(template: str, told: Mapping[str, Any], pictures: Mapping[str, bytes]) -> Set:
    """Set one of the shipped templates with what it reads; only the shipped letters, no clock."""
    with _compiler(template, told, pictures) as compiler:
        # without tags: poppler takes exception to a flag that typst writes with them
        pdf = compiler.compile(format="pdf", timestamp=0, pdf_tags=False)
        found = json.loads(compiler.query("<map>", field="value"))
    return Set(pdf, tuple(MapPlace(m["name"], m["page"], m["x"], m["y"]) for m in found))


@contextmanager
def _compiler(template: str, told: Mapping[str, Any], pictures: Mapping[str, bytes]) -> Iterator[Any]:
    """The page setter over a folder that holds the templates, the pictures and what is told."""
    import typst

    shipped = files("graylight.packet") / "paper"
    beside = {name: shipped.joinpath(name).read_bytes() for name in ("common.typ", template)}
    beside |= {**pictures, "packet.json": json.dumps(told, ensure_ascii=False).encode()}
    with tempfile.TemporaryDirectory() as scratch, as_file(files("graylight.drawing") / "fonts") as fonts:
        for name, data in beside.items():
            (Path(scratch) / name).write_bytes(data)
        yield typst.Compiler(
            str(Path(scratch) / template), root=scratch, font_paths=[str(fonts)], ignore_system_fonts=True
        )


def _told(contents: Contents, paper: str, pictures: dict[str, bytes]) -> dict[str, Any]:
    plan = contents.plan
    care, unknown = cautions_of(contents)
    return {
        "paper": PAPERS[paper], "title": title_of(contents), "short": shortened(capital(plan.country.name)),
        "flag": flag_of(plan),
        "program": plan.program, "law": LAW, "day": naming.day(contents.asked.date), "datum": DATUM,
        "animal": naming.animal(plan.animal), "north": _north(contents), "grid-words": _grid_words(contents),
        "first": first_of(contents), "whole": _map(contents.whole, "whole", pictures),
        "sits": [_sit(sit, contents, pictures) for sit in contents.sits],
        "ranges": [ranges_of(sit, contents) for sit in contents.sits], "places": places_of(contents),
        "carrying": carrying_told(contents), "trip": [_trip(sit) for sit in contents.sits], "care": care,
        "unknown": unknown, "checks": list(CHECKS), "layers": _layers(contents),
        "attribution": f"{ATTRIBUTION} Made by {plan.program}.",
    }  # fmt: skip


def shortened(name: str, longest: int = 44) -> str:
    """A name for the foot of a page, where it must not take a second line.

    >>> shortened("The Tallow Range"), shortened("A" * 60, 10)
    ('The Tallow Range', 'AAAAAAAAA…')
    """
    return name if len(name) <= longest else name[: longest - 1].rstrip() + "…"


def _sit(sit: Sit, contents: Contents, pictures: dict[str, bytes]) -> dict[str, Any]:
    name = sit.lookout.id
    pictures[f"strip-{name}.png"] = sit.strip.png
    drawn = {"profile": None if sit.way is None else draw_way(sit.way, contents.country.settings.units)}
    drawn["band"] = None if sit.morning is None else draw_band(sit.morning)
    pictures.update({f"{part}-{name}.svg": svg for part, svg in drawn.items() if svg is not None})
    named = {part: None if svg is None else f"{part}-{name}.svg" for part, svg in drawn.items()}
    told = sit_told(sit, contents)
    for one in told["sections"]:  # carrying out has a page of its own
        one["rows"] = [row for row in one["rows"] if row[0] != CARRYING]
    return {**told, **named, "strip": f"strip-{name}.png", "map": _map(sit.map, name, pictures)}


def _map(drawn: DrawnMap, name: str, pictures: dict[str, bytes]) -> dict[str, Any]:
    parts = {"ground": ("jpg", drawn.ground), "lines": ("svg", drawn.lines), "legend": ("svg", drawn.legend)}
    named = {part: f"{part}-{name}.{kind}" for part, (kind, _) in parts.items()}
    pictures.update({named[part]: data for part, (_, data) in parts.items()})
    return {**drawn.told(), **named}


def _north(contents: Contents) -> dict[str, Any]:
    light = next((s.morning.light for s in contents.sits if s.morning is not None), contents.plan.light)
    grid = contents.country.grid
    convergence, declination = grid.convergence_deg(), light.declination_deg
    if declination is None:
        words = "Magnetic north is not known for the date."
    else:
        words = (
            f"Magnetic north {_side(declination)} of true ({light.declination_model}, {light.date.isoformat()}): true bearing = "
            f"magnetic {'+' if declination >= 0 else '−'} {abs(declination):.1f}°. A degree is 17 m in a kilometre."
        )
    return {
        "convergence_deg": convergence, "declination_deg": declination,
        "words": f"Grid north {_side(convergence)} of true. {words}",
    }  # fmt: skip


def _side(turn_deg: float) -> str:
    return f"{abs(turn_deg):.1f}° {'east' if turn_deg >= 0 else 'west'}"


def _grid_words(contents: Contents) -> str:
    code = int(contents.country.grid.crs.removeprefix("EPSG:"))
    half = "north" if code < 32700 else "south"
    return (
        f"{DATUM}, UTM zone {code % 100} {half}; grid numbers in kilometres. Elevation cells of "
        f"{contents.country.grid.cell_m:g} m: smaller cliffs are not on this map."
    )


def _trip(sit: Sit) -> dict[str, str]:
    """A row of the trip plan: the lookout and where it is, the start and where it is, leave, turn and back."""
    row = {
        "lookout": sit.lookout.id,
        "at": _square(sit.lookout.place),
        "start": "",
        "place": "",
        "leave": "",
        "turn": "",
        "back": "",
    }
    if sit.way is None:
        return row
    row |= {"start": sit.way.start.name or sit.way.start.kind, "place": _square(sit.way.start.place)}
    morning = sit.morning
    if morning is None or morning.way is None:
        return row

    def said(when: dt.datetime | None, *, early: bool) -> str:
        if when is None:
            return ""
        return naming.moment(when, morning.light, step_minutes=5, way="earlier" if early else "nearest")

    back = next((one.at for one in morning.timeline if one.kind == "back"), None)
    return row | {
        "leave": said(sit.way.leave_by, early=True), "turn": said(morning.way.turn_round_by, early=True),
        "back": said(back, early=False),
    }  # fmt: skip


def _square(place: Place) -> str:
    named = forms(place)
    return f"{named['degrees']}   {named['usng']}".strip()


def _layers(contents: Contents) -> list[dict[str, str]]:
    return [
        {
            "name": fact.name, "source": fact.source, "date": fact.date or "not stated",
            "cells": "" if fact.resolution_m is None else f"{fact.resolution_m:g} m", "done": "; ".join(fact.done),
        }
        for fact in contents.plan.country.layers
    ]  # fmt: skip

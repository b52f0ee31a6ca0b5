"""Heights: 3DEP in the USA (1/3 arc-second, or 1 m where finer cells are asked for), Copernicus GLO-30, terrain tiles."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np

from graylight.country.area import Area, in_degrees
from graylight.errors import SourceUnavailable
from graylight.gather.errand import Errand, Had
from graylight.gather.gate import NotThere, Trouble, as_json
from graylight.gather.sheet import Sheet, joined, read_window, spread_over, write_sheet, zone_frame
from graylight.gather.tiles import tiles_over
from graylight.grid import Bounds

__all__ = [
    "FINE_BELOW_M",
    "corner_name",
    "glo30",
    "southwest_name",
    "terrain_tiles",
    "three_dep",
    "three_dep_1m",
    "told_heights",
]

FINE_BELOW_M = 8.0
"""Cells finer than this are not in the 1/3 arc-second data (about 10 m): the 1 m projects are asked."""
MOST_PROJECT_FILES = 60
THIRD_SECOND_M = 10.3
SECOND_M = 31.0
"""Cells of the two grids along a meridian."""


def corner_name(lat: int, lon: int) -> str:
    """A degree of 3DEP by its north-west corner.

    >>> corner_name(40, -112)
    'n40w112'
    """
    return f"{'n' if lat >= 0 else 's'}{abs(lat):02d}{'w' if lon < 0 else 'e'}{abs(lon):03d}"


def southwest_name(lat: int, lon: int) -> str:
    """A degree of GLO-30 by its south-west corner.

    >>> southwest_name(39, -112)
    'N39_00_W112_00'
    """
    return f"{'N' if lat >= 0 else 'S'}{abs(lat):02d}_00_{'W' if lon < 0 else 'E'}{abs(lon):03d}_00"


def degrees_of(box: Bounds) -> list[tuple[int, int]]:
    """South-west corners of the whole degrees that a box touches, from the north-west on."""
    lats = range(math.ceil(box.north) - 1, math.floor(box.south) - 1, -1)
    return [(lat, lon) for lat in lats for lon in range(math.floor(box.west), math.ceil(box.east))]


def three_dep(errand: Errand) -> list[Had]:
    """The 1/3 arc-second grid."""
    area = errand.wanted.area(THIRD_SECOND_M)
    urls = [errand.service.url.format(corner=corner_name(lat + 1, lon)) for lat, lon in _degrees_under(area)]
    return [_had(errand, *_degrees(errand, urls, area), surface=False)]


def glo30(errand: Errand) -> list[Had]:
    """Copernicus GLO-30: heights of the surface, trees and roofs included."""
    area = errand.wanted.area(SECOND_M)
    urls = [errand.service.url.format(tile=southwest_name(*at)) for at in _degrees_under(area)]
    return [_had(errand, *_degrees(errand, urls, area), surface=True)]


def _degrees_under(area: Area) -> list[tuple[int, int]]:
    return degrees_of(in_degrees(area))


def _degrees(errand: Errand, urls: list[str], area: Area) -> tuple[Sheet, list[str]]:
    """The degrees that are there, joined; which are not."""
    sheets, lacking = [], []
    for url in urls:
        try:
            sheets.append(read_window(errand.gate, errand.service, url, area, cell_m=errand.wanted.fine_m))
        except NotThere:
            lacking.append(f"{Path(url).name} is not there: that part is not known")
    if not sheets:
        raise NotThere(
            f"{errand.service.title} has nothing here ({len(urls)} file{'s' if len(urls) != 1 else ''} asked for)"
        )
    return joined(sheets, area, smooth=True), lacking


def _had(errand: Errand, sheet: Sheet, said: list[str], *, surface: bool) -> Had:
    path = errand.work / "elevation.tif"
    write_sheet(path, sheet)
    done = [f"{errand.service.title}", *said]
    done += sheet.said()
    if sheet.changed:
        done.append(f"the service last changed its file on {sheet.changed}")
    if surface:
        done.append("a surface model: heights are those of tree tops and roofs where there are any")
    return Had(path, None, sheet.fetched, tuple(done), surface)


def three_dep_1m(errand: Errand) -> list[Had]:
    """The 1 m projects, the newest first, with their overviews near the cell asked for; 1/3 arc-second where they have gaps."""
    wanted = errand.wanted
    area, cell = wanted.area(THIRD_SECOND_M), wanted.fine_m
    projects = _projects(errand, in_degrees(area))
    frame = zone_frame(wanted.crs, wanted.box_m, cell, margin=2)
    sheets, said = [], []
    for url, date in projects:
        try:
            sheets.append(read_window(errand.gate, errand.service, url, area, cell_m=cell))
        except NotThere:
            continue
        said.append(f"{Path(url).name} of {date or 'unknown date'}")
    if not sheets:
        raise NotThere(f"{errand.service.title} has no project here")
    base = errand.gate.services["three_dep"]
    try:
        coarse = Errand(errand.gate, base, wanted, errand.work)
        urls = [base.url.format(corner=corner_name(lat + 1, lon)) for lat, lon in _degrees_under(area)]
        under, _ = _degrees(coarse, urls, area)
        sheets.append(_alike(under, sheets[0]))
        said.append("gaps filled from the 1/3 arc-second grid, interpolated")
    except SourceUnavailable as error:
        said.append(f"gaps left as they are: {error}")
    had = _had(errand, spread_over(sheets, frame, smooth=True), said, surface=False)
    dates = sorted(date for _, date in projects if date)
    return [Had(had.path, dates[0] if dates else None, had.fetched, had.done)]


def _alike(sheet: Sheet, like: Sheet) -> Sheet:
    """A sheet with the type and nodata of another."""
    values = sheet.values.astype(like.values.dtype)
    blank = like.nodata if like.nodata is not None else math.nan
    return Sheet(np.where(sheet.known(), values, blank), sheet.frame, blank, sheet.fetched, sheet.changed)


def _projects(errand: Errand, box: Bounds) -> list[tuple[str, str | None]]:
    """Addresses of the files over a box, with their dates, the newest first."""
    service = errand.service
    asked = {
        "datasets": "Digital Elevation Model (DEM) 1 meter",
        "bbox": ",".join(f"{v:.6f}" for v in box),
        "prodFormats": "GeoTIFF",
        "max": str(MOST_PROJECT_FILES),
    }
    answer = errand.gate.ask(
        service,
        service.url,
        params=asked,
        check=lambda body: _listed(as_json(body, service.title), service.title),
    )
    items = as_json(answer.body, service.title)["items"]
    found = [
        (str(i.get("downloadURL") or ""), str(i.get("publicationDate") or "")[:10] or None) for i in items
    ]
    fine = [(url, date) for url, date in found if url.lower().endswith((".tif", ".tiff"))]
    return sorted(fine, key=lambda f: (f[1] or "", f[0]), reverse=True)


def _listed(given: Any, title: str) -> None:
    if not isinstance(given, dict) or not isinstance(given.get("items"), list):
        raise Trouble(f"{title} sent a list of products that can't be read")


def terrain_tiles(errand: Errand) -> list[Had]:
    """Heights told by the colours of pictures: h = R x 256 + G + B / 256 - 32768; black (-32768 m) is where none is known."""
    sheet, said = told_heights(errand, errand.wanted.reach(SECOND_M), int(errand.service.more["zoom"]))
    return [_had(errand, sheet, said, surface=False)]


def told_heights(errand: Errand, box: Bounds, zoom: int) -> tuple[Sheet, list[str]]:
    """Heights of a box of degrees from such pictures, and what is to be said of them."""
    sheet, absent = tiles_over(errand, box, zoom)
    red, green, blue = sheet.values[:3].astype(np.float64)
    height = (red * 256.0 + green + blue / 256.0 - 32768.0).astype(np.float32)
    height[~sheet.known() | ~sheet.values[:3].any(axis=0)] = np.nan
    values = Sheet(height[None], sheet.frame, math.nan, sheet.fetched)
    said = [f"{absent} of its tiles are not there"] if absent else []
    return values, [*said, "whether of ground or surface differs by place"]

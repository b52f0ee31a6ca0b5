"""Heights around the country, coarse: Copernicus GLO-90, else terrain tiles of a low zoom."""

from __future__ import annotations

from dataclasses import replace

from graylight.country.apron import CELL_M, REACH_M
from graylight.country.area import Area, in_degrees
from graylight.gather.elevation import degrees_of, southwest_name, told_heights
from graylight.gather.errand import Errand, Had
from graylight.gather.gate import NotThere
from graylight.gather.sheet import Sheet, joined, read_window, write_sheet
from graylight.gather.wanted import Wanted
from graylight.grid import Bounds

__all__ = ["apron_tiles", "around_in_degrees", "glo90"]


def around_in_degrees(wanted: Wanted) -> Bounds:
    """The apron's box in degrees."""
    return in_degrees(_around(wanted))


def _around(wanted: Wanted) -> Area:
    return wanted.area_around(REACH_M + 2 * CELL_M)


def glo90(errand: Errand) -> list[Had]:
    """GLO-90's degrees around the country: heights of the surface. Degrees of open sea have no file."""
    area, service = _around(errand.wanted), errand.service
    sheets, absent = [], 0
    for at in degrees_of(in_degrees(area)):
        url = service.url.format(tile=southwest_name(*at))
        try:
            sheets.append(read_window(errand.gate, service, url, area, cell_m=CELL_M))
        except NotThere:
            absent += 1
    if not sheets:
        raise NotThere(f"{service.title} has nothing here")
    said = [f"{absent} of its degrees are not there (sea, or not known)"] if absent else []
    said.append("a surface model: heights are those of tree tops and roofs where there are any")
    # in longitude its cells get wider toward the poles, by steps at some degrees: those are brought to one width
    return [_had(errand, joined(sheets, area, smooth=True), said, surface=True)]


def apron_tiles(errand: Errand) -> list[Had]:
    """The same from pictures that tell heights."""
    zoom = int(errand.service.more["apron_zoom"])
    return [_had(errand, *told_heights(errand, around_in_degrees(errand.wanted), zoom), surface=False)]


def _had(errand: Errand, sheet: Sheet, said: list[str], *, surface: bool) -> Had:
    # the name tells the country's entry whether it is a surface model
    path = errand.work / ("apron-dsm.tif" if surface else "apron.tif")
    write_sheet(path, replace(sheet, values=sheet.values[:1]))
    return Had(path, None, sheet.fetched, (errand.service.title, *said), surface)

"""Land cover: ESA WorldCover, or the National Land Cover Database from its map service."""

from __future__ import annotations

import math

from graylight.country.area import in_degrees, within
from graylight.errors import SourceUnavailable
from graylight.gather.errand import Errand, Had
from graylight.gather.gate import NotThere, Trouble, is_tiff
from graylight.gather.sheet import joined, read_file, read_window, write_sheet, zone_frame
from graylight.grid import Bounds

__all__ = ["nlcd", "tiles_of", "worldcover", "worldcover_name"]

SIDE_DEG = 3
OWN_CELL_M = 9.3
NLCD_CELL_M = 30.0
ALBERS = "EPSG:5070"


def worldcover_name(lat: float, lon: float) -> str:
    """The tile of 3 degrees that holds a place, by its south-west corner.

    >>> worldcover_name(39.3, -111.5)
    'N39W114'
    """
    south, west = math.floor(lat / SIDE_DEG) * SIDE_DEG, math.floor(lon / SIDE_DEG) * SIDE_DEG
    return f"{'N' if south >= 0 else 'S'}{abs(south):02d}{'W' if west < 0 else 'E'}{abs(west):03d}"


def tiles_of(box: Bounds) -> list[str]:
    """Of the tiles that a box touches; one that it only borders on has nothing of it, and its lack would be no gap."""
    rows = range(math.floor(box.south / SIDE_DEG), math.ceil(box.north / SIDE_DEG))
    cols = range(math.floor(box.west / SIDE_DEG), math.ceil(box.east / SIDE_DEG))
    return sorted(worldcover_name(row * SIDE_DEG, col * SIDE_DEG) for row in rows for col in cols)


def worldcover(errand: Errand) -> list[Had]:
    """WorldCover's codes in their own frame, 10 m."""
    area, service = errand.wanted.area(OWN_CELL_M), errand.service
    sheets, lacking = [], []
    for name in tiles_of(in_degrees(area)):
        url = service.url.format(tile=name)
        try:
            sheets.append(read_window(errand.gate, service, url, area, cell_m=errand.wanted.fine_m))
        except NotThere:
            lacking.append(f"tile {name} is not there: that part is not known")
    if not sheets:
        raise NotThere(f"{errand.service.title} has nothing here")
    sheet = joined(sheets, area, smooth=False)
    path = errand.work / "cover.tif"
    write_sheet(path, sheet)
    return [Had(path, errand.service.date, sheet.fetched, (errand.service.title, *sheet.said(), *lacking))]


def nlcd(errand: Errand) -> list[Had]:
    """The codes of the land cover database by WCS 1.0.0 (OGC 03-065r6), in its own frame, 30 m."""
    service = errand.service
    space, more = str(service.more["space"]), service.more
    frame = zone_frame(ALBERS, within(errand.wanted.area(NLCD_CELL_M), ALBERS), NLCD_CELL_M)
    asked = {
        "service": "WCS", "version": "1.0.0", "request": "GetCoverage", "coverage": f"{space}:{more['layer']}",
        "CRS": ALBERS, "BBOX": _corners(frame.transform.c, frame.transform.f, frame.cols, frame.rows),
        "width": str(frame.cols), "height": str(frame.rows), "format": "image/geotiff", "time": str(more["time"]),
    }  # fmt: skip

    def check(body: bytes) -> None:
        if not is_tiff(body):
            raise Trouble(f"{service.title} sent something that is no TIFF")

    answer = errand.gate.ask(service, service.url.format(space=space), params=asked, check=check)
    sheet = read_file(answer.body, service, answer.fetched)
    if sheet.values.shape[0] != 1:
        raise SourceUnavailable(f"{service.title} sent a picture instead of codes")
    path = errand.work / "cover.tif"
    write_sheet(path, sheet)
    return [Had(path, service.date, answer.fetched, (service.title,))]


def _corners(west: float, north: float, cols: int, rows: int) -> str:
    return f"{west:.0f},{north - rows * NLCD_CELL_M:.0f},{west + cols * NLCD_CELL_M:.0f},{north:.0f}"

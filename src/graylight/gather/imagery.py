"""Imagery to look at: aerial photographs exported for a box, or the public imagery tiles; and close-ups kept for offline."""

from __future__ import annotations

import json
from typing import Any

from graylight.country.area import Area, in_degrees
from graylight.errors import SourceUnavailable
from graylight.gather.errand import Errand, Had
from graylight.gather.gate import Refused, Trouble, is_tiff
from graylight.gather.sheet import Frame, Sheet, read_file, spread_over, write_sheet, zone_frame
from graylight.gather.tiles import tiles_over
from graylight.grid import Bounds

__all__ = ["closeup_tiles", "closeups", "imagery_tiles", "naip"]

CLOSEUP_CELL_M = 1.0
COLOURS = ("red", "green", "blue", "nir")


def naip(errand: Errand) -> list[Had]:
    """The whole country in the photographs' four bands, on cells of the country's size: brightness, not reflectance."""
    wanted = errand.wanted
    frame = zone_frame(wanted.crs, wanted.box_m, wanted.fine_m, margin=2)
    sheet = _exported(errand, frame)
    path = errand.work / "imagery.tif"
    write_sheet(path, sheet, names=COLOURS[: sheet.values.shape[0]])
    done = (errand.service.title, "dates of the photographs differ and are not told")
    return [Had(path, None, sheet.fetched, done)]


def imagery_tiles(errand: Errand) -> list[Had]:
    """The whole country in colours."""
    sheet, absent = tiles_over(errand, errand.wanted.reach(), int(errand.service.more["zoom"]))
    path = errand.work / "imagery.tif"
    write_sheet(path, sheet, names=COLOURS[:3])
    done = [
        errand.service.title,
        "dates are not told",
        *([f"{absent} tiles are not there"] if absent else []),
    ]
    return [Had(path, None, sheet.fetched, tuple(done))]


def closeups(errand: Errand) -> list[Had]:
    """Photographs of about 1 m around each chosen place."""

    def one(box: Bounds) -> Sheet:
        return _exported(errand, zone_frame(errand.wanted.crs, box, CLOSEUP_CELL_M))

    return _each(errand, one)


def closeup_tiles(errand: Errand) -> list[Had]:
    """Imagery tiles of their finest zoom around each chosen place."""

    def one(box: Bounds) -> Sheet:
        degrees = in_degrees(Area(box, errand.wanted.crs))
        sheet, _ = tiles_over(errand, degrees, int(errand.service.more["fine_zoom"]))
        cell = max(CLOSEUP_CELL_M, 1.0)
        return spread_over([sheet], zone_frame(errand.wanted.crs, box, cell), smooth=True)

    return _each(errand, one)


def _each(errand: Errand, one: Any) -> list[Had]:
    """A file for each close-up; all or none, so that the next service can be asked."""
    found = []
    for place in errand.wanted.closeups:
        sheet = one(errand.wanted.closeup_box_m(place))
        north, east = "N" if place.lat >= 0 else "S", "E" if place.lon >= 0 else "W"
        path = errand.work / f"closeup_{abs(place.lat):.4f}{north}_{abs(place.lon):.4f}{east}.tif"
        write_sheet(path, Sheet(sheet.values[:3], sheet.frame, None), names=COLOURS[:3])
        done = (errand.service.title, f"around {place.lat:.5f}, {place.lon:.5f}")
        found.append(Had(path, None, sheet.fetched, done))
    return found


def _exported(errand: Errand, frame: Frame) -> Sheet:
    """A frame asked for in pieces of at most so many cells a side."""
    most = int(errand.service.more["most_pixels"])
    sheets = [
        _piece(errand, frame, (row, min(frame.rows, row + most)), (col, min(frame.cols, col + most)))
        for row in range(0, frame.rows, most)
        for col in range(0, frame.cols, most)
    ]
    return spread_over(sheets, frame, smooth=False)


def _piece(errand: Errand, frame: Frame, rows: tuple[int, int], cols: tuple[int, int]) -> Sheet:
    """One answer of an image service (Esri's ArcGIS REST API, "Export Image")."""
    service, cell = errand.service, frame.transform.a
    west, north = frame.transform.c + cols[0] * cell, frame.transform.f - rows[0] * cell
    east, south = frame.transform.c + cols[1] * cell, frame.transform.f - rows[1] * cell
    code = frame.crs.removeprefix("EPSG:")
    asked = {
        "bbox": f"{west:.3f},{south:.3f},{east:.3f},{north:.3f}", "bboxSR": code, "imageSR": code,
        "size": f"{cols[1] - cols[0]},{rows[1] - rows[0]}", "format": "tiff", "pixelType": "U8",
        "interpolation": "RSP_BilinearInterpolation", "f": "image",
    }  # fmt: skip

    def check(body: bytes) -> None:
        if not is_tiff(body):
            raise _no_picture(body, service.title)

    answer = errand.gate.ask(service, service.url, params=asked, check=check)
    sheet = read_file(answer.body, service, answer.fetched)
    if sheet.values.shape[0] < 3 or sheet.values.shape[1:] != (rows[1] - rows[0], cols[1] - cols[0]):
        raise Refused(f"{service.title} sent {sheet.values.shape} instead of what was asked for")
    return Sheet(sheet.values[:4], sheet.frame, 0, answer.fetched)


def _no_picture(body: bytes, title: str) -> SourceUnavailable:
    """An error told as JSON under status 200, or something else that is no TIFF."""
    try:
        error = json.loads(body)["error"]
        words = f"{error.get('code')}: {error.get('message')}"
        return Trouble(f"{title} answered 200 with an error, {words}")
    except (ValueError, KeyError, TypeError, AttributeError):
        return Trouble(f"{title} sent something that is no TIFF")

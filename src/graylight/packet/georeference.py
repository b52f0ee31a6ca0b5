"""Map pages that know where they lie: viewports with a geospatial measure dictionary (ISO 32000-2, 12.10)."""

from __future__ import annotations

import io
from collections.abc import Mapping
from decimal import Decimal

import pikepdf
from pikepdf import Array, Dictionary, Name, Pdf, String
from pyproj import CRS, Transformer

from graylight.packet.document import MapPlace, Set
from graylight.packet.sheet import MapSheet

__all__ = ["georeferenced", "single_maps", "untimed"]

POINTS_PER_MM = 72.0 / 25.4
_DIGITS = 10
"""Places of a degree: field programs compare corners, and GDAL wants nine at the least."""


def georeferenced(pages: Set, sheets: Mapping[str, MapSheet], *, title: str) -> bytes:
    """The pages with a viewport on each map; the same input gives the same bytes.

    Parameters
    ----------
    pages
        From `set_pages`.
    sheets
        By the maps' names.
    title
        Of the document.
    """
    with pikepdf.open(io.BytesIO(pages.pdf)) as pdf:
        for place in pages.maps:
            _mark(pdf.pages[place.page - 1], place, sheets[place.name])
        return _saved(pdf, title)


def untimed(pdf: bytes, *, title: str) -> bytes:
    """Pages without maps, without a clock."""
    with pikepdf.open(io.BytesIO(pdf)) as whole:
        return _saved(whole, title)


def single_maps(pages: bytes, places: tuple[MapPlace, ...], *, title: str) -> dict[str, bytes]:
    """Each map as a PDF of one page, for programs that show where one stands; by the maps' names."""
    found = {}
    with pikepdf.open(io.BytesIO(pages)) as whole:
        for place in places:
            with Pdf.new() as one:
                one.pages.append(whole.pages[place.page - 1])
                for key in ("/StructParents", "/Tabs"):
                    if key in one.pages[0]:
                        del one.pages[0][key]
                found[place.name] = _saved(one, f"{title}: {place.name}")
    return found


def _saved(pdf: Pdf, title: str) -> bytes:
    pdf.remove_unreferenced_resources()
    with pdf.open_metadata(set_pikepdf_as_editor=False, update_docinfo=False) as kept:
        kept["dc:title"] = title
    pdf.docinfo["/Title"] = String(title)
    for key in ("/CreationDate", "/ModDate"):
        if key in pdf.docinfo:
            del pdf.docinfo[key]
    out = io.BytesIO()
    pdf.save(
        out, deterministic_id=True, min_version="1.7", compress_streams=True,
        object_stream_mode=pikepdf.ObjectStreamMode.generate,
    )  # fmt: skip
    return out.getvalue()


def _mark(page: pikepdf.Page, place: MapPlace, sheet: MapSheet) -> None:
    """Add the viewport of a map to its page."""
    tall = float(page.mediabox[3])
    wide_mm, high_mm = sheet.size_mm
    left, top = place.x_mm * POINTS_PER_MM, tall - place.y_mm * POINTS_PER_MM
    box = (left, top - high_mm * POINTS_PER_MM, left + wide_mm * POINTS_PER_MM, top)
    corners = Array([0, 0, 0, 1, 1, 1, 1, 0])
    measure = Dictionary(
        Type=Name.Measure, Subtype=Name.GEO, Bounds=corners, LPTS=Array([0, 0, 0, 1, 1, 1, 1, 0]),
        GPTS=Array(_decimals(_corner_degrees(sheet))), GCS=_frame(sheet.frame.grid.crs),
        PDU=Array([Name.M, Name.SQM, Name.DEG]),
    )  # fmt: skip
    page.obj["/VP"] = Array(
        [Dictionary(Type=Name.Viewport, BBox=Array(_decimals(box)), Name=String(place.name), Measure=measure)]
    )


def _decimals(values: tuple[float, ...] | list[float]) -> list[object]:
    return [Decimal(f"{value:.{_DIGITS}f}") for value in values]


def _corner_degrees(sheet: MapSheet) -> list[float]:
    """Latitude and longitude of the lower left, upper left, upper right and lower right corner."""
    box = sheet.frame.box
    turn = Transformer.from_crs(sheet.frame.grid.crs, "EPSG:4326", always_xy=True)
    found = []
    for east, north in (
        (box.west, box.south),
        (box.west, box.north),
        (box.east, box.north),
        (box.east, box.south),
    ):
        lon, lat = turn.transform(east, north)
        found += [lat, lon]
    return found


def _frame(crs: str) -> Dictionary:
    """The projected frame: its EPSG code and its text, spelled as field programs expect it."""
    text = CRS.from_string(crs).to_wkt("WKT1_ESRI").replace("Transverse Mercator", "Transverse_Mercator")
    return Dictionary(Type=Name.PROJCS, EPSG=int(crs.removeprefix("EPSG:")), WKT=String(text))

"""Canopy height, and how closed the canopy is, from height tiles of about a metre."""

from __future__ import annotations

import numpy as np
from rasterio.transform import Affine

from graylight.country.area import in_degrees
from graylight.gather.errand import Errand, Had
from graylight.gather.gate import NotThere
from graylight.gather.sheet import Frame, Sheet, joined, read_window, write_sheet
from graylight.gather.tiles import quadkey, tile_range

__all__ = ["canopy_tiles"]

ZOOM = 10
TREE_M = 2.0
"""A cell with a canopy of at least this is under trees or tall brush. Common practice, no source."""
UNKNOWN = 255
STRIP = 64
"""Rows of blocks reckoned at once."""
FINER = 3.0
"""Cells at least this much finer than the country's are read, so that closure can be counted in them."""


def canopy_tiles(errand: Errand) -> list[Had]:
    """Height and closure on cells of about the country's size."""
    wanted = errand.wanted
    area = wanted.area(wanted.fine_m)
    cols, rows = tile_range(in_degrees(area), ZOOM)
    sheets, lacking = [], []
    for name in [quadkey(col, row, ZOOM) for row in rows for col in cols]:
        url = errand.service.url.format(quadkey=name)
        try:
            sheets.append(read_window(errand.gate, errand.service, url, area, cell_m=wanted.fine_m / FINER))
        except NotThere:
            lacking.append(f"tile {name} is not there: that part is not known")
    if not sheets:
        raise NotThere(f"{errand.service.title} has nothing here")
    sheet = joined(sheets, area, smooth=False)
    many = max(1, round(FINER))
    fine_m = abs(sheet.frame.transform.e)
    path = errand.work / "canopy.tif"
    write_sheet(path, gathered_up(sheet, many), names=("height, m", "closure, 0 to 1"))
    done = (
        errand.service.title,
        f"height: mean of {many} x {many} cells of {fine_m:.1f} m (Mercator metres)",
        f"closure: part of those cells with a canopy of {TREE_M:g} m or more",
        "ground of which the service had no image reads as ground without trees",
        *lacking,
    )
    return [Had(path, errand.service.date, sheet.fetched, done)]


def gathered_up(sheet: Sheet, many: int) -> Sheet:
    """Height and closure over blocks of many x many cells; blocks half unknown are unknown.

    >>> frame = Frame("EPSG:3857", Affine(1, 0, 0, 0, -1, 0), 2, 2)
    >>> gathered_up(Sheet(np.array([[[0, 8], [4, 0]]], np.uint8), frame, 255), 2).values.ravel().tolist()
    [3.0, 0.5]
    """
    rows, cols = sheet.values.shape[1] // many, sheet.values.shape[2] // many
    height, closure = np.empty((rows, cols), np.float32), np.empty((rows, cols), np.float32)
    # in strips: a country in metre cells would fill the memory several times over
    for first in range(0, rows, STRIP):
        end = min(rows, first + STRIP)
        piece = sheet.values[0, first * many : end * many, : cols * many].reshape(-1, many, cols, many)
        known = piece != UNKNOWN if sheet.nodata is None else (piece != UNKNOWN) & (piece != sheet.nodata)
        count = known.sum(axis=(1, 3))
        few = count * 2 < many * many
        for out, cells in ((height, piece), (closure, piece >= TREE_M)):
            total = np.where(known, cells, 0).sum(axis=(1, 3), dtype=np.float64)
            out[first:end] = np.where(few, np.nan, total / np.maximum(count, 1))
    a, b, c, d, e, f = sheet.frame.transform[:6]
    frame = Frame(sheet.frame.crs, Affine(a * many, b * many, c, d * many, e * many, f), rows, cols)
    return Sheet(np.stack([height, closure]), frame, float("nan"), sheet.fetched, sheet.changed)

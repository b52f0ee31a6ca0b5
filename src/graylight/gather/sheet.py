"""Pieces of rasters: a window read from a remote file, several joined, written as one file for the country's entry."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
from numpy.typing import NDArray
from pyproj import CRS, Transformer
from pyproj.exceptions import CRSError, ProjError
from rasterio.errors import RasterioError
from rasterio.transform import Affine
from rasterio.warp import Resampling, reproject
from rasterio.windows import Window

from graylight.country.area import DEGREES, Area, within
from graylight.country.raster import written_whole
from graylight.gather.gate import Expired, Gate, NotThere, Refused
from graylight.gather.services import Service
from graylight.gather.store import room_for
from graylight.gather.tiff import Directory
from graylight.gather.twin import Twin
from graylight.grid import WGS84, Bounds

__all__ = [
    "Frame",
    "Sheet",
    "area_of",
    "frame_of",
    "joined",
    "read_file",
    "read_window",
    "spread_over",
    "write_sheet",
    "zone_frame",
]

MARGIN = 2
"""Cells read around a window, for what is interpolated at its edges: only where they lie in blocks that are had anyway."""
MOST_CELLS = 400_000_000
"""A window of more is no country's: the file lies about its place or its size."""
ALIGNED = 1e-3
"""Cells by which two frames may differ and still be pasted without a change."""


@dataclass(frozen=True)
class Frame:
    """Where cells lie."""

    crs: str
    transform: Affine
    rows: int
    cols: int


@dataclass(frozen=True)
class Sheet:
    """A piece of a raster.

    Parameters
    ----------
    values : (bands, rows, cols)
    frame
    nodata
        What stands for not known; None: nothing does.
    fetched, changed
        When it was had; when the service last changed the file; None: not told.
    overview_m
        Cells of the overview that was read, metres; None: the full resolution.
    """

    def said(self) -> list[str]:
        """What a coarser reading is told by."""
        if self.overview_m is None:
            return []
        return [
            f"its overview with cells of {self.overview_m:.0f} m was read: the country asks for no finer ones"
        ]

    values: NDArray[Any]
    frame: Frame
    nodata: float | None
    fetched: str = ""
    changed: str | None = None
    overview_m: float | None = None

    def known(self) -> NDArray[np.bool_]:
        """(rows, cols): where at least one band says something."""
        found = np.ones(self.values.shape[1:], bool)
        if self.nodata is not None and not math.isnan(self.nodata):
            found &= (self.values != self.nodata).any(axis=0)
        if self.values.dtype.kind == "f":
            found &= np.isfinite(self.values).any(axis=0)
        return found


def read_window(gate: Gate, service: Service, url: str, area: Area, *, cell_m: float | None = None) -> Sheet:
    """Read a window of a remote raster, asking only for the blocks that it touches.

    Parameters
    ----------
    gate, service, url
        Where it lies.
    area
        The ground wanted.
    cell_m
        Take the coarsest overview whose cells are at most this; None: the full resolution.

    Raises
    ------
    SourceUnavailable
        It can't be had, is no raster, or does not reach the box.
    """
    twin = Twin(gate, service, url)
    try:
        return _window(twin, area, cell_m)
    except Expired:
        if _signed(url):
            raise
        return _window(
            Twin(gate, service, url), area, cell_m
        )  # it changed while it was read: once more from the start


def _signed(url: str) -> bool:
    """Whether an address carries something that may run out."""
    return "?" in url


def _window(twin: Twin, area: Area, cell_m: float | None) -> Sheet:
    found = [d for d in twin.directories() if not d.mask]
    level, number = _level(twin, found, area, cell_m)
    how = {} if number is None else {"overview_level": number}
    try:
        with rasterio.open(twin.path, **how) as file:
            window = _touched(file, level, area)
            if window is None:
                raise NotThere(
                    f"{twin.service.title}: {Path(twin.url).name} does not reach the ground wanted"
                )
            if window.width * window.height * file.count > MOST_CELLS:
                raise Refused(f"{twin.service.title}: {Path(twin.url).name} has more cells here than can be")
            rows = int(window.row_off), int(window.row_off + window.height)
            cols = int(window.col_off), int(window.col_off + window.width)
        twin.have_window(level, rows, cols)
        with rasterio.open(twin.path, **how) as file:
            values = file.read(window=window)
            crs, transform = _crs_text(file), _shifted(file.transform, window.col_off, window.row_off)
            nodata, overview_m = file.nodata, None if number is None else _cell_m(file, area)
    except RasterioError as error:
        raise Refused(
            f"{twin.service.title}: {Path(twin.url).name} can't be read as a raster ({error})"
        ) from None
    frame = Frame(crs, transform, values.shape[1], values.shape[2])
    return Sheet(values, frame, nodata, twin.fetched, twin.changed, overview_m)


def _level(
    twin: Twin, found: list[Directory], area: Area, cell_m: float | None
) -> tuple[Directory, int | None]:
    """The directory to read, and its number among the overviews; None: the full one."""
    full = found[0]
    if cell_m is None:
        return full, None
    try:
        with rasterio.open(twin.path) as file:
            own = _cell_m(file, area)
            factors = file.overviews(1)
    except RasterioError as error:
        raise Refused(f"{twin.service.title}: not a raster ({error})") from None
    fits = [i for i, factor in enumerate(factors) if own * factor <= cell_m * 1.01]
    if not fits:
        return full, None
    width = -(-full.width // factors[fits[-1]])
    level = min(found[1:], key=lambda d: abs(d.width - width))
    return level, fits[-1]


def _cell_m(file: Any, area: Area) -> float:
    """Side of the file's cells at the middle of an area, metres on the ellipsoid."""
    to_own = Transformer.from_crs(DEGREES, _crs_text(file), always_xy=True)
    lon, lat = area.middle
    x, y = to_own.transform(lon, lat)
    here = to_own.transform(x, y, direction="INVERSE")
    there = to_own.transform(x, y + abs(file.transform.e), direction="INVERSE")
    return float(WGS84.inv(*here, *there)[2])


def _crs_text(file: Any) -> str:
    if file.crs is None or file.transform.is_identity:
        raise Refused(f"{Path(file.name).name} has no place on the earth")
    try:
        crs = CRS.from_wkt(file.crs.to_wkt())
    except CRSError:
        raise Refused(f"{Path(file.name).name} has a CRS that can't be read") from None
    crs = crs.sub_crs_list[0] if crs.is_compound else crs
    return str(crs.to_wkt())


def _touched(file: Any, level: Directory, area: Area) -> Window | None:
    """Cells that an area touches, with a margin that costs no further block; None when it lies off the raster."""
    try:
        corners = _corners(file.transform, within(area, _crs_text(file)))
    except ProjError:
        return None
    if not np.isfinite(corners).all():
        return None
    first, last = np.floor(corners.min(axis=0)).astype(int), np.ceil(corners.max(axis=0)).astype(int)
    if last[0] <= 0 or last[1] <= 0 or first[0] >= file.width or first[1] >= file.height:
        return None
    block = np.array([level.block_width, level.block_height])
    col0, row0 = np.maximum(np.maximum(first - MARGIN, first // block * block), 0)
    col1, row1 = np.minimum(np.minimum(last + MARGIN, -(-last // block) * block), (file.width, file.height))
    return Window(int(col0), int(row0), int(col1 - col0), int(row1 - row0))


def area_of(frame: Frame) -> Area:
    """The area of a frame that lies straight."""
    west, north, cell, down = frame.transform.c, frame.transform.f, frame.transform.a, frame.transform.e
    return Area(Bounds(west, north + frame.rows * down, west + frame.cols * cell, north), frame.crs)


def read_file(data: bytes, service: Service, fetched: str) -> Sheet:
    """A sheet from the bytes of a whole raster file.

    Raises
    ------
    Refused
        They are none.
    """
    try:
        with rasterio.MemoryFile(data) as memory, memory.open() as file:
            frame = Frame(_crs_text(file), file.transform, file.height, file.width)
            return Sheet(file.read(), frame, file.nodata, fetched)
    except RasterioError as error:
        raise Refused(f"{service.title} sent a raster that can't be read ({error})") from None


def frame_of(like: Frame, area: Area) -> Frame:
    """Whole cells of a frame's kind that hold an area."""
    corners = _corners(like.transform, within(area, like.crs))
    col0, row0 = np.floor(corners.min(axis=0) + 1e-6).astype(int)
    col1, row1 = np.ceil(corners.max(axis=0) - 1e-6).astype(int)
    shifted = _shifted(like.transform, int(col0), int(row0))
    return Frame(like.crs, shifted, int(row1 - row0), int(col1 - col0))


def _shifted(transform: Affine, col: float, row: float) -> Affine:
    """The transform of a window that begins at a cell."""
    a, b, c, d, e, f = transform[:6]
    return Affine(a, b, c + a * col + b * row, d, e, f + d * col + e * row)


def _colrow(transform: Affine, x: float, y: float) -> tuple[float, float]:
    a, b, c, d, e, f = (~transform)[:6]
    return a * x + b * y + c, d * x + e * y + f


def _corners(transform: Affine, box: Bounds) -> NDArray[np.float64]:
    """(4, 2) column and row of a box's corners."""
    west, south, east, north = box
    places = ((west, north), (east, south), (west, south), (east, north))
    return np.array([_colrow(transform, x, y) for x, y in places])


def joined(sheets: Sequence[Sheet], area: Area, *, smooth: bool) -> Sheet:
    """One sheet over an area, in the frame of the first; where several know, the first counts.

    Parameters
    ----------
    sheets
        The one that counts most first.
    area
        The ground wanted.
    smooth
        Interpolate where a sheet must be moved; else take the nearest cell.
    """
    return spread_over(sheets, frame_of(sheets[0].frame, area), smooth=smooth)


def spread_over(sheets: Sequence[Sheet], frame: Frame, *, smooth: bool) -> Sheet:
    """The sheets in a frame; where several know, the first counts."""
    first = sheets[0]
    bands, kind = first.values.shape[0], first.values.dtype
    nodata = first.nodata if first.nodata is not None else (math.nan if kind.kind == "f" else None)
    blank = 0 if nodata is None else nodata
    out = np.full((bands, frame.rows, frame.cols), blank, kind)
    free = np.ones((frame.rows, frame.cols), bool)
    for sheet in sheets:
        values, known = _in_frame(sheet, frame, blank, smooth)
        np.copyto(out, values, where=free & known)
        free &= ~known
    fetched = min((s.fetched for s in sheets if s.fetched), default="")
    changed = max((s.changed for s in sheets if s.changed), default=None)
    overview_m = max((s.overview_m for s in sheets if s.overview_m is not None), default=None)
    return Sheet(out, frame, nodata, fetched, changed, overview_m)


def _in_frame(
    sheet: Sheet, frame: Frame, blank: float, smooth: bool
) -> tuple[NDArray[Any], NDArray[np.bool_]]:
    """Values in another frame, and where they are known."""
    at = _offset(sheet.frame, frame)
    values = np.full((sheet.values.shape[0], frame.rows, frame.cols), blank, sheet.values.dtype)
    known = np.zeros((frame.rows, frame.cols), bool)
    if at is not None:
        row, col = at
        to, own = _overlap(row, sheet.frame.rows, frame.rows), _overlap(col, sheet.frame.cols, frame.cols)
        if to and own:
            values[:, to[0], own[0]] = sheet.values[:, to[1], own[1]]
            known[to[0], own[0]] = sheet.known()[to[1], own[1]]
        return values, known
    here = sheet.known()
    how = {"src_transform": sheet.frame.transform, "src_crs": sheet.frame.crs, "dst_crs": frame.crs}
    how |= {"dst_transform": frame.transform}
    bilinear = smooth and sheet.values.dtype.kind in "fiu"
    for band in range(values.shape[0]):
        source = np.where(here, sheet.values[band], blank)
        reproject(
            source, values[band], **how, src_nodata=blank, dst_nodata=blank,
            resampling=Resampling.bilinear if bilinear else Resampling.nearest,
        )  # fmt: skip
    marked = np.zeros(known.shape, np.uint8)
    reproject(here.astype(np.uint8), marked, **how, resampling=Resampling.nearest)
    known = marked == 1
    if not math.isnan(blank):
        return values, known & (values != blank).any(axis=0) if sheet.nodata is not None else known
    return values, known & np.isfinite(values).any(axis=0)


def _offset(own: Frame, frame: Frame) -> tuple[int, int] | None:
    """Row and column of a sheet's corner in a frame, where their cells are the same; else None."""
    a, b = own.transform, frame.transform
    same = own.crs == frame.crs or CRS.from_user_input(own.crs) == CRS.from_user_input(frame.crs)
    sizes = max(abs(a.a - b.a) * own.cols / abs(b.a), abs(a.e - b.e) * own.rows / abs(b.e))
    if not same or sizes > ALIGNED or any(abs(v) > 1e-12 for v in (a.b, a.d, b.b, b.d)):
        return None
    col, row = _colrow(b, a.c, a.f)
    if max(abs(col - round(col)), abs(row - round(row))) > ALIGNED:
        return None
    return round(row), round(col)


def _overlap(at: int, size: int, limit: int) -> tuple[slice, slice] | None:
    """Where a run of cells that begins at a place lies within 0 to limit: in the whole, and in itself."""
    start, end = max(0, at), min(limit, at + size)
    return (slice(start, end), slice(start - at, end - at)) if end > start else None


def zone_frame(crs: str, box_m: Bounds, cell_m: float, *, margin: int = 0) -> Frame:
    """Cells of a size over a box of a zone, corners at multiples of the cell, with a margin of cells."""
    west, south = math.floor(box_m.west / cell_m) - margin, math.floor(box_m.south / cell_m) - margin
    east, north = math.ceil(box_m.east / cell_m) + margin, math.ceil(box_m.north / cell_m) + margin
    corner = Affine(cell_m, 0.0, west * cell_m, 0.0, -cell_m, north * cell_m)
    return Frame(crs, corner, north - south, east - west)


def write_sheet(
    path: Path, sheet: Sheet, *, names: Sequence[str] = (), tags: Mapping[str, str] | None = None
) -> None:
    """Write a sheet as a GeoTIFF, its bands described by names."""
    bands, rows, cols = sheet.values.shape
    how: dict[str, Any] = {"compress": "deflate", "zlevel": 1, "tiled": True, "bigtiff": "if_safer"}
    how |= {"photometric": "minisblack", "alpha": "no"}  # a fourth band is near infrared, not transparency
    if sheet.nodata is not None:
        how["nodata"] = sheet.nodata
    with room_for(path.parent), written_whole(path), rasterio.open(
        path, "w", driver="GTiff", width=cols, height=rows, count=bands, dtype=sheet.values.dtype,
        crs=rasterio.CRS.from_wkt(CRS.from_user_input(sheet.frame.crs).to_wkt("WKT2_2018")),
        transform=sheet.frame.transform, **how,
    ) as out:  # fmt: skip
        out.write(sheet.values)
        out.update_tags(**(tags or {}))
        for band, name in enumerate(names, 1):
            out.set_band_description(band, name)

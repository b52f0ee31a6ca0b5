"""A raster handed over: opened, placed on the earth, and read with everything unknown turned to NaN."""

from __future__ import annotations

import math
import warnings
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
from numpy.typing import NDArray
from pyproj import CRS, Transformer
from pyproj.exceptions import CRSError, ProjError
from rasterio.errors import NotGeoreferencedWarning, RasterioError
from rasterio.transform import Affine
from rasterio.windows import Window

from graylight.country.area import Area, within
from graylight.errors import BadInput
from graylight.grid import WGS84, Bounds, LonLat
from graylight.work import Tick, silent

__all__ = ["Source", "opened"]

UNDECLARED = (-32768.0, -32767.0, -9999.0, -99999.0)
"""Values that files hold for "unknown" without saying so; no height, reflectance or canopy is one of them."""
HIGHEST_SAID = 31_000.0
"""No ground and no tree reaches higher in any unit that files use (Everest is 29,032 ft high), so the largest whole
number of a type, when it stands for more, marks the unknown."""
GAP = 0.25
"""In scaled values the largest whole number is a marker when this part of the range below it is empty."""
HUGE = 1e30
"""Beyond this a float is a marker (3.4e38 is the largest float32), not a measurement."""
AT_ONCE = 4_000_000
"""Source cells read at a time: 16 MB as float32."""


@dataclass(frozen=True)
class Source:
    """An open raster and where it lies.

    Parameters
    ----------
    role
        "elevation", "land cover", ...: how messages call it.
    file
        The open dataset; used by one thread only.
    crs
        Its horizontal frame.
    met
        How many cells so far held a marker that the file does not declare, by marker.
    """

    role: str
    file: Any
    crs: CRS
    met: Counter[float] = field(default_factory=Counter, compare=False)

    @property
    def name(self) -> str:
        """The file's name without its folder."""
        return Path(self.file.name).name

    @property
    def crs_name(self) -> str:
        """EPSG code where it has one, else the frame's name."""
        code = self.crs.to_epsg()
        return f"EPSG:{code}" if code else str(self.crs.name)

    def xy(self, col: Any, row: Any) -> tuple[Any, Any]:
        """Place of a cell corner (whole numbers) or any place between, in its own frame."""
        a, b, c, d, e, f = self.file.transform[:6]
        return a * col + b * row + c, d * col + e * row + f

    def colrow(self, x: Any, y: Any) -> tuple[Any, Any]:
        """The reverse of `xy`."""
        a, b, c, d, e, f = (~self.file.transform)[:6]
        return a * x + b * y + c, d * x + e * y + f

    def affine_of(self, window: Window, across: float, along: float) -> Affine:
        """From (col, row) to its own frame, for a window read in steps of across x along cells."""
        a, b, _, d, e, _ = self.file.transform[:6]
        x, y = self.xy(window.col_off, window.row_off)
        return Affine(a * across, b * along, x, d * across, e * along, y)

    def lonlat(self, col: float, row: float) -> LonLat:
        """Longitude and latitude of a cell corner (whole numbers) or any place between."""
        lon, lat = self.to_lonlat().transform(*self.xy(col, row))
        if not (math.isfinite(lon) and math.isfinite(lat)):
            raise self._lost()
        return LonLat(lon, lat)

    def to_lonlat(self) -> Transformer:
        """Transformer to WGS 84 degrees."""
        try:
            return Transformer.from_crs(self.crs, "EPSG:4326", always_xy=True)
        except ProjError:
            raise self._lost() from None

    def _lost(self) -> BadInput:
        return BadInput(
            f"the {self.role} file {self.name} has the frame {self.crs_name!r}, which can't be placed on "
            "the earth; accepted is any earth-bound CRS; give it its right CRS, for example with gdal_edit "
            "-a_srs"
        )

    def whole(self) -> Window:
        """The window that holds every cell."""
        return Window(0, 0, self.file.width, self.file.height)

    def edge(self, window: Window, *, points: int = 41) -> NDArray[np.float64]:
        """(4, points, 2) col and row along the window's top, right, bottom and left edge, going round."""
        w, n = window.col_off, window.row_off
        e, s = w + window.width, n + window.height
        t = np.linspace(0.0, 1.0, points)
        rows, cols = n + (s - n) * t, w + (e - w) * t
        top, bottom = np.full(points, float(n)), np.full(points, float(s))
        left, right = np.full(points, float(w)), np.full(points, float(e))
        sides = [(cols, top), (right, rows), (cols[::-1], bottom), (left, rows[::-1])]
        return np.array([np.column_stack(side) for side in sides])

    def sides_m(self, window: Window) -> tuple[float, float]:
        """Sides of the cell in the window's middle, along a row and along a column, metres on the
        ellipsoid.
        """
        col, row = window.col_off + window.width / 2, window.row_off + window.height / 2
        across = WGS84.inv(*self.lonlat(col - 0.5, row), *self.lonlat(col + 0.5, row))[2]
        along = WGS84.inv(*self.lonlat(col, row - 0.5), *self.lonlat(col, row + 0.5))[2]
        return float(across), float(along)

    def window_of(self, box: Bounds, crs: CRS | str, *, margin: int = 4) -> Window | None:
        """Cells that a box in another frame touches, with a margin; None when it lies off the raster."""
        try:
            west, south, east, north = within(Area(box, crs), self.crs)
        except ProjError:
            return None
        corners = np.array(
            [self.colrow(x, y) for x, y in ((west, south), (west, north), (east, south), (east, north))]
        )
        if not np.isfinite(corners).all():
            return None
        first = np.floor(corners.min(axis=0)).astype(int)
        last = np.ceil(corners.max(axis=0)).astype(int)
        col0, row0 = max(0, first[0] - margin), max(0, first[1] - margin)
        col1, row1 = min(self.file.width, last[0] + margin), min(self.file.height, last[1] + margin)
        off = last[0] <= 0 or last[1] <= 0 or first[0] >= self.file.width or first[1] >= self.file.height
        return None if off else Window(col0, row0, col1 - col0, row1 - row0)

    def means(self, band: int, window: Window, step: int, *, tick: Tick = silent) -> NDArray[np.float32]:
        """Means over blocks of step x step cells of a window, unknown cells left out; step 1: the cells
        themselves.

        Returns
        -------
        (ceil(height / step), ceil(width / step)) float32
            With the file's scale and offset applied; NaN where a whole block is unknown.
        """
        rows, cols = -(-int(window.height) // step), -(-int(window.width) // step)
        out = np.empty((rows, cols), np.float32)
        chunk = max(1, AT_ONCE // (step * int(window.width)))
        for first in range(0, rows, chunk):
            end = min(rows, first + chunk)
            top = first * step
            piece = Window(
                window.col_off, window.row_off + top, window.width, min(window.height, end * step) - top
            )
            out[first:end] = _block_means(self._known(band, piece), step)
            tick(end / rows)
        return out

    def _known(self, band: int, window: Window) -> NDArray[np.float32]:
        """Cells as float32 with NaN for unknown."""
        cells = self.read(band, window, masked=True)
        with np.errstate(over="ignore"):  # a float64 marker beyond float32 becomes infinite, and then NaN
            values = np.asarray(cells.data, np.float32)
        marked = (np.abs(values) >= HUGE) | np.isin(values, [*UNDECLARED, *self._fullest(band)])
        declared = np.ma.getmaskarray(cells)
        for value, count in zip(*np.unique(values[marked & ~declared], return_counts=True), strict=True):
            self.met[float(value)] += int(count)
        unknown = declared | marked | np.isnan(values)
        scale, offset = self.file.scales[band - 1], self.file.offsets[band - 1]
        if (scale, offset) != (1.0, 0.0):
            values = (values * np.float64(scale) + offset).astype(np.float32)
        return np.where(unknown, np.float32(np.nan), values)

    def _fullest(self, band: int) -> tuple[float, ...]:
        """The largest whole number of the band's type, where it can't be a measurement.

        Imagery is left out: there it is the brightest there is.
        """
        kind = np.dtype(self.file.dtypes[band - 1])
        if kind.kind not in "iu" or kind.itemsize < 2 or self.role == "imagery":
            return ()
        top = float(np.iinfo(kind).max)
        scale, offset = self.file.scales[band - 1], self.file.offsets[band - 1]
        if abs(top * scale + offset) > HIGHEST_SAID or self._alone(band, top):
            return (float(np.float32(top)),)
        return ()

    def _alone(self, band: int, top: float) -> bool:
        """Whether nothing lies next below a value, seen on a thinned copy."""
        shape = min(self.file.height, 512), min(self.file.width, 512)
        seen = np.ma.compressed(self.read(band, self.whole(), masked=True, out_shape=shape)).astype(
            np.float64
        )
        below = seen[seen < top]
        return below.size > 0 and float(below.max()) < (1.0 - GAP) * top

    def markers_met(self) -> list[str]:
        """What was taken as unknown though the file does not say so, in sentences."""
        return [
            f"{count:,} cell{'s' if count != 1 else ''} of {value:.6g}, which the file does not declare, taken as not known"
            for value, count in sorted(self.met.items())
        ]

    def codes(self, band: int, window: Window, step: int) -> NDArray[Any]:
        """Every step-th cell of a window as it is, unknown cells 0."""
        shape = -(-int(window.height) // step), -(-int(window.width) // step)
        cells = self.read(band, window, masked=True, out_shape=shape)
        return np.ma.filled(cells, 0)

    def read(self, band: int, window: Window, **how: Any) -> Any:
        """Read a window of a band.

        Raises
        ------
        BadInput
            The file ends too early or is damaged.
        """
        try:
            return self.file.read(band, window=window, **how)
        except (RasterioError, OSError):
            raise BadInput(
                f"the {self.role} file {self.name} is cut short or damaged (reading rows "
                f"{int(window.row_off)} to {int(window.row_off + window.height)} failed); accepted is a "
                "whole raster; fetch or copy it again"
            ) from None


def _block_means(cells: NDArray[np.float32], step: int) -> NDArray[np.float32]:
    if step == 1:
        return cells
    rows, cols = -(-cells.shape[0] // step), -(-cells.shape[1] // step)
    full = np.full((rows * step, cols * step), np.nan, np.float32)
    full[: cells.shape[0], : cells.shape[1]] = cells
    blocks = full.reshape(rows, step, cols, step)
    known = np.isfinite(blocks)
    total = np.where(known, blocks, 0.0).sum(axis=(1, 3), dtype=np.float64)
    count = known.sum(axis=(1, 3))
    return np.where(count > 0, total / np.maximum(count, 1), np.nan).astype(np.float32)


@contextmanager
def opened(path: Path, role: str) -> Iterator[Source]:
    """Open a raster and see that it lies somewhere.

    Raises
    ------
    BadInput
        There is no such file, it is not a raster, it holds complex numbers, or it has no CRS.
    """
    if not path.exists():
        raise BadInput(
            f"no {role} file {str(path)!r}; accepted is any raster that GDAL reads; check the path"
        )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", NotGeoreferencedWarning)
        try:
            file = rasterio.open(path)
        except RasterioError:
            raise BadInput(
                f"the {role} file {path.name} is not a raster, or is cut short or damaged; accepted is any "
                "raster that GDAL reads, such as a GeoTIFF; check the file"
            ) from None
    with file:
        yield Source(role, file, _frame(file, role, path))


def _frame(file: Any, role: str, path: Path) -> CRS:
    if file.count == 0 or any(np.dtype(kind).kind not in "iuf" for kind in file.dtypes):
        raise BadInput(
            f"the {role} file {path.name} has {file.count} bands of {', '.join(file.dtypes) or 'nothing'}; "
            "accepted are bands of whole numbers or floats; give another file"
        )
    if file.crs is None or file.transform.is_identity:
        raise BadInput(
            f"the {role} file {path.name} has no {'CRS' if file.crs is None else 'position'}: it can't be "
            "placed on the earth; accepted is any raster with a CRS and a geotransform; set them, for "
            "example with gdal_edit -a_srs EPSG:4269 -a_ullr"
        )
    try:
        crs = CRS.from_wkt(file.crs.to_wkt())
    except CRSError:
        raise BadInput(
            f"the {role} file {path.name} has a CRS that can't be read; accepted is any CRS known to PROJ; "
            "set it anew"
        ) from None
    return crs.sub_crs_list[0] if crs.is_compound else crs

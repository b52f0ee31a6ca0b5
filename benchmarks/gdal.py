"""libgdal called by ctypes from the rasterio wheel, for comparison only: in-memory sources, warm cache."""

from __future__ import annotations

import ctypes
from pathlib import Path

import numpy as np
import rasterio

__all__ = ["Gdal"]


class Gdal:
    """A float32 raster in a MEM dataset of libgdal, and what libgdal works out from it."""

    def __init__(self, elevation_m: np.ndarray, cell_m: float) -> None:
        self.lib = ctypes.CDLL(
            str(next(Path(rasterio.__file__).parent.parent.glob("rasterio.libs/libgdal*")))
        )
        self.lib.GDALAllRegister()
        for name in (
            "GDALGetDriverByName",
            "GDALCreate",
            "GDALGetRasterBand",
            "GDALViewshedGenerate",
            "GDALVersionInfo",
        ):
            getattr(self.lib, name).restype = ctypes.c_void_p
        self.lib.GDALVersionInfo.restype = ctypes.c_char_p
        self.elevation = np.ascontiguousarray(elevation_m, np.float32)
        self.rows, self.cols = elevation_m.shape
        driver = ctypes.c_void_p(self.lib.GDALGetDriverByName(b"MEM"))
        self.dataset = ctypes.c_void_p(self.lib.GDALCreate(driver, b"", self.cols, self.rows, 1, 6, None))
        frame = (ctypes.c_double * 6)(0.0, cell_m, 0.0, 0.0, 0.0, -cell_m)
        self.lib.GDALSetGeoTransform(self.dataset, frame)
        self.band = ctypes.c_void_p(self.lib.GDALGetRasterBand(self.dataset, 1))
        self._io(self.band, 1, self.elevation, self.rows, self.cols, 6)

    def _io(
        self, band: ctypes.c_void_p, write: int, array: np.ndarray, rows: int, cols: int, kind: int
    ) -> None:
        code = self.lib.GDALRasterIO(
            band, write, 0, 0, cols, rows, array.ctypes.data_as(ctypes.c_void_p), cols, rows, kind, 0, 0
        )  # fmt: skip
        assert code == 0

    @property
    def version(self) -> str:
        """Version of libgdal."""
        return self.lib.GDALVersionInfo(b"RELEASE_NAME").decode()

    def viewshed(
        self, row: int, col: int, *, cell_m: float, eye_m: float, target_m: float, radius_m: float
    ) -> np.ndarray:
        """Visible cells over the whole grid (GDALViewshedGenerate, edge mode, curvature coefficient 6/7)."""
        d = ctypes.c_double
        out = ctypes.c_void_p(
            self.lib.GDALViewshedGenerate(
                self.band, b"MEM", b"", None, d((col + 0.5) * cell_m), d(-(row + 0.5) * cell_m), d(eye_m), d(target_m),
                d(255.0), d(0.0), d(0.0), d(-1.0), d(6.0 / 7.0), 2, d(radius_m), None, None, 1, None,
            )
        )  # fmt: skip
        rows, cols = self.lib.GDALGetRasterYSize(out), self.lib.GDALGetRasterXSize(out)
        frame = (ctypes.c_double * 6)()
        self.lib.GDALGetGeoTransform(out, frame)
        seen = np.zeros((rows, cols), np.uint8)
        self._io(ctypes.c_void_p(self.lib.GDALGetRasterBand(out, 1)), 0, seen, rows, cols, 1)
        self.lib.GDALClose(out)
        whole = np.zeros((self.rows, self.cols), bool)
        top, left = round(-frame[3] / cell_m), round(frame[0] / cell_m)
        whole[top : top + rows, left : left + cols] = seen > 0
        return whole

"""GDAL's terrain programs, in the library that rasterio brings along, called through ctypes."""

from __future__ import annotations

import ctypes
from importlib.util import find_spec
from pathlib import Path

import numpy as np

_FLOAT32 = 6
_NODATA = -9999.0
_P, _I, _S = ctypes.c_void_p, ctypes.c_int, ctypes.c_char_p
_SIGNATURES = {
    "GDALAllRegister": (None, []),
    "GDALGetDriverByName": (_P, [_S]),
    "GDALCreate": (_P, [_P, _S, _I, _I, _I, _I, _P]),
    "GDALSetGeoTransform": (_I, [_P, _P]),
    "GDALGetRasterBand": (_P, [_P, _I]),
    "GDALSetRasterNoDataValue": (_I, [_P, ctypes.c_double]),
    "GDALRasterIO": (_I, [_P, _I, _I, _I, _I, _I, _P, _I, _I, _I, _I, _I]),
    "GDALDEMProcessingOptionsNew": (_P, [_P, _P]),
    "GDALDEMProcessingOptionsFree": (None, [_P]),
    "GDALDEMProcessing": (_P, [_S, _P, _S, _S, _P, _P]),
    "GDALClose": (None, [_P]),
}


class GdalDem:
    """An elevation raster in GDAL's memory, and gdaldem's programs on it."""

    def __init__(self, elevation_m: np.ndarray, cell_m: float) -> None:
        self._gdal = _library()
        self._shape = elevation_m.shape
        rows, cols = elevation_m.shape
        self._source = self._gdal.GDALCreate(
            self._gdal.GDALGetDriverByName(b"MEM"), b"", cols, rows, 1, _FLOAT32, None
        )
        frame = (ctypes.c_double * 6)(450000.0, cell_m, 0.0, 4450000.0, 0.0, -cell_m)
        self._gdal.GDALSetGeoTransform(self._source, frame)
        band = self._gdal.GDALGetRasterBand(self._source, 1)
        self._gdal.GDALSetRasterNoDataValue(band, _NODATA)
        filled = np.ascontiguousarray(np.where(np.isnan(elevation_m), _NODATA, elevation_m), np.float32)
        self._transfer(band, filled, write=True)

    def run(self, program: str, *, compute_edges: bool = True) -> np.ndarray:
        """The result of "slope" or "aspect", NaN for nodata."""
        words = [b"-of", b"MEM"] + ([b"-compute_edges"] if compute_edges else [])
        options = self._gdal.GDALDEMProcessingOptionsNew((_S * (len(words) + 1))(*words, None), None)
        failed = _I(0)
        result = self._gdal.GDALDEMProcessing(
            b"", self._source, program.encode(), None, options, ctypes.byref(failed)
        )
        self._gdal.GDALDEMProcessingOptionsFree(options)
        assert result
        assert not failed.value
        out = np.empty(self._shape, np.float32)
        self._transfer(self._gdal.GDALGetRasterBand(result, 1), out, write=False)
        self._gdal.GDALClose(result)
        out[out == _NODATA] = np.nan
        return out

    def close(self) -> None:
        self._gdal.GDALClose(self._source)

    def _transfer(self, band: int, array: np.ndarray, *, write: bool) -> None:
        rows, cols = array.shape
        self._gdal.GDALRasterIO(
            band, int(write), 0, 0, cols, rows, array.ctypes.data, cols, rows, _FLOAT32, 0, 0
        )


def _library() -> ctypes.CDLL:
    import rasterio._base  # noqa: F401  (loads the libraries GDAL needs)

    spec = find_spec("rasterio")
    assert spec is not None
    assert spec.origin is not None
    folder = Path(spec.origin).parents[1] / "rasterio.libs"
    gdal = ctypes.CDLL(str(next(folder.glob("libgdal*"))))
    for name, (result, arguments) in _SIGNATURES.items():
        function = getattr(gdal, name)
        function.restype, function.argtypes = result, arguments
    gdal.GDALAllRegister()
    return gdal

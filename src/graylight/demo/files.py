"""The invented range as files, such as a person would bring."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import pyogrio.raw
import rasterio
import shapely
from numpy.typing import NDArray
from rasterio.transform import Affine

from graylight.country.feature import Feature
from graylight.demo.range import InventedRange
from graylight.grid import Grid

__all__ = ["write_sources"]

_COLUMNS: dict[str, dict[str, type]] = {
    "roads": {"name": str, "kind": str},
    "trails": {"name": str},
    "trailheads": {"name": str, "kind": str},
    "streams": {"name": str, "kind": str},
    "lakes": {"name": str},
    "ownership": {"owner": str, "access": str},
    "unit": {"name": str},
    "names": {"name": str, "kind": str},
    "sightings": {"animal": str, "count": int, "date": str, "note": str},
}
_TYPES = {"roads": "LineString", "trails": "LineString", "streams": "LineString", "lakes": "Polygon"}
_TYPES |= {"ownership": "Polygon", "unit": "Polygon"}

_WHEN = (
    "2026-01-01T00:00:00.000Z"  # GeoPackage keeps the time of writing; the same range gives the same bytes
)


def write_sources(invented: InventedRange, folder: Path) -> dict[str, Path]:
    """Write elevation.tif, cover.tif, canopy.tif, imagery.tif and vectors.gpkg.

    Parameters
    ----------
    invented
        From `invent`.
    folder
        Made if it is not there; files of these names are written over.

    Returns
    -------
    dict
        'elevation', 'cover', 'canopy', 'imagery', 'vectors' to the file's path. Canopy has the height in
        metres in band 1, the closure (0 to 1) in band 2; imagery holds reflectance x 10000 (red, nir).
    """
    folder.mkdir(parents=True, exist_ok=True)
    grid = invented.grid
    imagery = [_scaled(invented.red), _scaled(invented.nir)]
    rasters: dict[str, tuple[list[NDArray[Any]], list[str]]] = {
        "elevation": (
            [np.round(invented.elevation_m.astype(np.float64), 2).astype(np.float32)],
            ["elevation, m"],
        ),
        "cover": ([invented.cover], ["ESA WorldCover class"]),
        "canopy": ([invented.canopy_m, invented.closure], ["height, m", "closure, 0 to 1"]),
        "imagery": (imagery, ["red", "nir"]),
    }
    paths = {}
    for name, (bands, words) in rasters.items():
        paths[name] = folder / f"{name}.tif"
        _write_raster(paths[name], bands, words, grid)
    paths["vectors"] = folder / "vectors.gpkg"
    _write_vectors(paths["vectors"], invented.vectors, grid)
    return paths


def _scaled(reflectance: NDArray[np.float32]) -> NDArray[np.uint16]:
    return np.round(reflectance * 10000.0).astype(np.uint16)


def _write_raster(path: Path, bands: list[NDArray[Any]], words: list[str], grid: Grid) -> None:
    kind = bands[0].dtype
    profile = {
        "driver": "GTiff",
        "height": grid.rows,
        "width": grid.cols,
        "count": len(bands),
        "dtype": kind,
        "crs": grid.crs,
        "transform": Affine(*grid.transform),
        "compress": "deflate",
        "predictor": 3 if kind == np.float32 else 2,
        "nodata": np.nan if kind == np.float32 else 0,
    }
    if min(grid.shape) >= 256:
        profile |= {"tiled": True, "blockxsize": 256, "blockysize": 256}
    with rasterio.open(path, "w", **profile) as target:
        for at, (band, word) in enumerate(zip(bands, words, strict=True), start=1):
            target.write(band, at)
            target.set_band_description(at, word)
        if path.stem == "elevation":
            target.set_band_unit(1, "m")


def _write_vectors(path: Path, layers: dict[str, list[Feature]], grid: Grid) -> None:
    path.unlink(missing_ok=True)
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": _WHEN})
    try:
        _write_layers(path, layers, grid)
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


def _write_layers(path: Path, layers: dict[str, list[Feature]], grid: Grid) -> None:
    for at, (name, columns) in enumerate(_COLUMNS.items()):
        features = layers.get(name, [])
        pyogrio.raw.write(
            path,
            geometry=np.array([shapely.to_wkb(f.geometry) for f in features], dtype=object),
            field_data=[_column(features, key, kind) for key, kind in columns.items()],
            fields=np.array(list(columns), dtype=object),
            layer=name,
            driver="GPKG",
            geometry_type=_TYPES.get(name, "Point"),
            crs=grid.crs,
            append=at > 0,
        )


def _column(features: list[Feature], key: str, kind: type) -> NDArray[Any]:
    values = [f.properties.get(key) for f in features]
    return np.array(values, dtype=np.int64 if kind is int else object)

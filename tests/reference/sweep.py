"""The sweep-line viewshed of xarray-spatial, for comparison only; its drawing library is not installed nor needed."""

from __future__ import annotations

import sys
from importlib import import_module
from importlib.machinery import ModuleSpec
from types import ModuleType
from typing import Any

import numpy as np
import xarray

__all__ = ["sweep_viewshed", "version"]

_UNUSED = {"datashader": {}, "datashader.transfer_functions": {}, "datashader.colors": {"rgb": None}}


def _engine() -> Any:
    """xrspatial.viewshed alone: the package's own __init__ imports all of its tools and their drawing."""
    for name, things in _UNUSED.items():
        module = ModuleType(name)
        module.__spec__ = ModuleSpec(name, None)
        vars(module).update(things)
        sys.modules.setdefault(name, module)
    if "xrspatial" not in sys.modules:
        from importlib.util import find_spec

        spec = find_spec("xrspatial")
        assert spec is not None
        package = ModuleType("xrspatial")
        package.__path__ = list(spec.submodule_search_locations or [])
        sys.modules["xrspatial"] = package
    return import_module("xrspatial.viewshed")


def version() -> str:
    """Version of xarray-spatial."""
    from importlib.metadata import version as installed

    return installed("xarray-spatial")


def sweep_viewshed(
    elevation_m: np.ndarray, row: int, col: int, *, cell_m: float, eye_m: float, target_m: float
) -> np.ndarray:
    """Visible cells of a whole square grid, on a flat earth."""
    rows, cols = elevation_m.shape
    ground = xarray.DataArray(
        elevation_m.astype(np.float64), dims=("y", "x"),
        coords={"y": -cell_m * np.arange(rows), "x": cell_m * np.arange(cols)},
    )  # fmt: skip
    angle = _engine().viewshed(
        ground, x=cell_m * col, y=-cell_m * row, observer_elev=eye_m, target_elev=target_m
    )
    return np.asarray(angle.values > -1)

"""Walking time: user time of one field, beside whitebox-workflows and scikit-image on the same factors."""

from __future__ import annotations

import tempfile
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import rasterio
import whitebox_workflows
from scipy import ndimage

from benchmarks.row import Row, cpu_seconds
from graylight.demo.range import invent
from graylight.ground.cover import kinds_of
from graylight.ground.relief import slope_and_aspect
from graylight.reach.ground import WalkGround, walk_ground
from graylight.reach.walking import quiet
from graylight.settings import WalkSettings

RUNS = 3


def rows() -> list[Row]:
    """The invented range at its own 10 m, and drawn finer to 4 million cells."""
    range_ = invent()
    kind, _ = kinds_of(range_.cover, "worldcover")
    fine = ndimage.zoom(range_.elevation_m, 2000 / 1200, order=1).astype(np.float32)
    fine_kind = ndimage.zoom(kind, 2000 / 1200, order=0)
    return [
        _field(
            "walking time, 16 directions, up and down apart, 1.44 M cells", range_.elevation_m, kind, 10.0
        ),
        _field("the same, 4 M cells", fine, fine_kind, 6.0, target="3 s"),
    ]


def _field(what: str, elevation_m: np.ndarray, kind: np.ndarray, cell_m: float, target: str = "") -> Row:
    ground = _ground(elevation_m, kind, cell_m)
    row, col = _start(ground)
    ours = cpu_seconds(lambda: quiet(elevation_m, ground, row, col, cell_m=cell_m), runs=RUNS)
    others = [("whitebox-workflows cost_distance", _whitebox(ground, row, col, cell_m))]
    if find_spec("skimage"):
        others.append(("scikit-image MCP_Geometric", _scikit_image(ground, row, col)))
    beside = ", ".join(f"{name}: {theirs:.2f} s" for name, theirs in others)
    ratio = ", ".join(f"{ours / theirs:.2f}" for _, theirs in others)
    return Row(f"{what}, user time", f"{ours:.2f} s", f"8 directions, no slope: {beside}", ratio, target)


def _ground(elevation_m: np.ndarray, kind: np.ndarray, cell_m: float) -> WalkGround:
    slope, _ = slope_and_aspect(elevation_m, cell_m=cell_m)
    none = np.zeros(kind.shape, bool)
    return walk_ground(
        slope, kind, deep_water=none, path_cells=none, private_cells=none, settings=WalkSettings(), dark=False
    )


def _start(ground: WalkGround) -> tuple[int, int]:
    """The open cell nearest to the middle."""
    rows, cols = np.nonzero(np.isfinite(ground.factor))
    middle = np.array(ground.factor.shape) / 2
    best = int(np.argmin((rows - middle[0]) ** 2 + (cols - middle[1]) ** 2))
    return int(rows[best]), int(cols[best])


def _scikit_image(ground: WalkGround, row: int, col: int) -> float:
    """User time of one field of scikit-image's least cost with diagonals weighed; making the object counts."""
    from skimage.graph import MCP_Geometric

    cost = np.where(np.isfinite(ground.factor), ground.factor, -1.0)  # what is not above 0 is closed to it
    return cpu_seconds(lambda: MCP_Geometric(cost).find_costs([(row, col)]), runs=RUNS)


def _whitebox(ground: WalkGround, row: int, col: int, cell_m: float) -> float:
    """User time of one cost distance; reading the rasters is not counted."""
    source = np.zeros(ground.factor.shape)
    source[row, col] = 1.0
    cost = np.where(np.isfinite(ground.factor), ground.factor, -9.0)
    program = whitebox_workflows.WbEnvironment()
    with tempfile.TemporaryDirectory() as folder:
        rasters = []
        for name, values in (("source", source), ("cost", cost)):
            path = str(Path(folder) / f"{name}.tif")
            with rasterio.open(
                path, "w", driver="GTiff", height=values.shape[0], width=values.shape[1], count=1,
                dtype="float32", nodata=-9.0, crs="EPSG:32611",
                transform=rasterio.Affine(cell_m, 0, 450000, 0, -cell_m, 4450000),
            ) as target:  # fmt: skip
                target.write(values.astype(np.float32), 1)
            rasters.append(program.read_raster(path))
        return cpu_seconds(lambda: program.cost_distance(*rasters), runs=RUNS)

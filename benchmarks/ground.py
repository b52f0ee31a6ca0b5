"""Relief, landforms and prominence: beside gdaldem and whitebox-workflows where they do the same."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import rasterio
from tests.reference.gdal_dem import GdalDem
from tests.reference.whitebox import whitebox

from benchmarks.row import Row, cpu_seconds, wall_seconds
from graylight.demo.range import invent
from graylight.ground.cover import cover
from graylight.ground.landforms import forms_of, landforms
from graylight.ground.relief import relief, slope_and_aspect
from graylight.ground.tops import flooded
from graylight.ground.water import water

CELL_M = 10.0


def rows() -> list[Row]:
    """Slope and aspect, geomorphons, prominence, and the four stages together, on the invented range."""
    ground = invent().elevation_m
    return [
        _slope(ground),
        _slope_cpu(ground),
        _agreement(ground),
        _forms(ground),
        _prominence(ground),
        _stages(ground),
    ]


def _slope(ground: np.ndarray) -> Row:
    gdal = GdalDem(ground, CELL_M)
    ours = wall_seconds(lambda: slope_and_aspect(ground, cell_m=CELL_M))
    theirs = wall_seconds(lambda: (gdal.run("slope"), gdal.run("aspect")))
    gdal.close()
    return _beside("slope and aspect, 1.44 M cells", ours, f"gdaldem {rasterio.__gdal_version__}", theirs)


def _slope_cpu(ground: np.ndarray) -> Row:
    gdal = GdalDem(ground, CELL_M)
    ours = cpu_seconds(lambda: slope_and_aspect(ground, cell_m=CELL_M))
    theirs = cpu_seconds(lambda: (gdal.run("slope"), gdal.run("aspect")))
    gdal.close()
    return _beside("the same, user time of all threads", ours, "gdaldem", theirs)


def _agreement(ground: np.ndarray) -> Row:
    gdal = GdalDem(ground, CELL_M)
    slope, aspect = slope_and_aspect(ground, cell_m=CELL_M)
    off = np.abs(slope - gdal.run("slope"))[1:-1, 1:-1].max()
    turned = (aspect - gdal.run("aspect") + 180.0) % 360.0 - 180.0
    gdal.close()
    worst = f"{off:.6f} and {np.nanmax(np.abs(turned[1:-1, 1:-1])):.6f} degrees"
    return Row("the same: largest difference in slope and aspect", worst, target="0.001")


def _forms(ground: np.ndarray) -> Row:
    reach = 40
    ours = wall_seconds(lambda: forms_of(ground, cell_m=CELL_M, reach_m=reach * CELL_M))
    with tempfile.TemporaryDirectory() as scratch:
        theirs = wall_seconds(
            lambda: whitebox("geomorphons", ground, CELL_M, Path(scratch), search_distance=reach), runs=1
        )
    return _beside("geomorphons, 400 m", ours, "whitebox-workflows, with its reading of the file", theirs)


def _prominence(ground: np.ndarray) -> Row:
    big = np.tile(ground, (2, 2))[:2000, :2000]
    found = flooded(big)
    ours = wall_seconds(lambda: flooded(big), runs=3)
    return Row(f"prominence of all {found.cell.size} tops, 4 M cells", f"{ours:.2f} s", target="5 s")


def _stages(ground: np.ndarray) -> Row:
    def work() -> None:
        shape = relief(ground, cell_m=CELL_M)
        landforms(ground, shape, cell_m=CELL_M)
        kind = cover(ground, shape, cell_m=CELL_M, lat_deg=40.5).kind
        water(ground, cell_m=CELL_M, kind=kind)

    return Row(
        "relief, landforms, cover, water, 1.44 M cells", f"{wall_seconds(work, runs=3):.2f} s", target="4 s"
    )


def _beside(what: str, ours: float, name: str, theirs: float) -> Row:
    return Row(what, f"{1000 * ours:.0f} ms", f"{name}: {1000 * theirs:.0f} ms", f"{ours / theirs:.2f}")

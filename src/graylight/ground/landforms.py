"""Landforms: tops, saddles, ridgelines, bowls, benches, knobs, cliffs, and the form of every cell."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from graylight.ground.benches import COARSEST_BENCH_M, Bench, benches
from graylight.ground.bowls import COARSEST_BOWL_M, Bowl, bowls
from graylight.ground.relief import Relief
from graylight.ground.ridgelines import COARSEST_RIDGE_M, ridgelines
from graylight.ground.tops import Col, Flood, Top, flooded, saddles_between, tops_of
from graylight.kernels.landform import FORM_OF_COUNTS, geomorphons
from graylight.work import Tick, in_bands, part, silent

__all__ = [
    "FORMS", "Bench", "Bowl", "Col", "Knob", "Landforms", "Top", "bytes_needed", "cliff_deg", "forms_of",
    "landforms", "least_peak_m", "not_meant",
]  # fmt: skip

FORMS = (
    "unknown", "flat", "summit", "ridge", "shoulder", "spur", "slope", "hollow", "footslope", "valley",
    "depression",
)  # fmt: skip
"""Names of the geomorphons 0 to 10."""

FORM_REACH_M = 400.0
"""How far geomorphons look: wider than a gully, narrower than a mountain. Common practice, no source."""
FORM_FLAT_DEG = 1.0
"""Within this a direction counts as level: the value Jasiewicz & Stepinski (2013) work with."""
PEAK_M = 40.0
"""Least prominence of a peak in high country; less where the whole country has little relief."""
KNOB_M = 4.0
"""Least prominence of a knob."""
COARSEST_CLIFF_M = 20.0
COARSEST_KNOB_M = 30.0
COARSEST_TOP_M = 250.0
_TOO_COARSE = (
    ("cliffs", COARSEST_CLIFF_M),
    ("benches", COARSEST_BENCH_M),
    ("knobs", COARSEST_KNOB_M),
    ("bowls", COARSEST_BOWL_M),
    ("ridgelines", COARSEST_RIDGE_M),
    ("peaks and saddles", COARSEST_TOP_M),
)


@dataclass(frozen=True, slots=True)
class Knob:
    """A small top on a spur or ridge: its highest cell, and how far it rises above its saddle."""

    row: int
    col: int
    height_m: float
    prominence_m: float


@dataclass(frozen=True, slots=True)
class Landforms:
    """The landforms of a country.

    Parameters
    ----------
    peaks
        Tops with at least `least_peak_m` of prominence, most prominent first, ties by place.
    tops
        The peaks, followed by lesser tops down to a quarter of that (and tops at the edge whose lower bound
        is small): `tops[:len(peaks)] == peaks`.
    saddles
        Between neighbouring tops, deepest first; `higher` and `lower` are places in `tops`.
    basins, benches
        Bowls and benches, largest first.
    knobs
        Small tops on ridges and spurs, most prominent first.
    forms : (rows, cols) uint8
        Geomorphon 1 to 10 (see `FORMS`), 0 unknown.
    ridgelines, cliffs : (rows, cols) bool
    basin_labels, bench_labels : (rows, cols) int32
        Number of the bowl or bench a cell belongs to, 0 for none.
    not_meant
        Landforms for which the cells are too coarse, in plain words.
    least_peak_m
        Prominence asked of a peak here.
    """

    peaks: tuple[Top, ...]
    tops: tuple[Top, ...]
    saddles: tuple[Col, ...]
    basins: tuple[Bowl, ...]
    benches: tuple[Bench, ...]
    knobs: tuple[Knob, ...]
    forms: NDArray[np.uint8]
    ridgelines: NDArray[np.bool_]
    cliffs: NDArray[np.bool_]
    basin_labels: NDArray[np.int32]
    bench_labels: NDArray[np.int32]
    not_meant: tuple[str, ...]
    least_peak_m: float


def bytes_needed(shape: tuple[int, int]) -> int:
    """Memory that `landforms` takes at its peak for a raster of this shape."""
    return 60 * shape[0] * shape[1]


def landforms(
    elevation_m: NDArray[np.float32],
    relief: Relief,
    *,
    cell_m: float,
    convergence_deg: float = 0.0,
    tick: Tick = silent,
) -> Landforms:
    """Find the landforms of a raster.

    Parameters
    ----------
    elevation_m
        (rows, cols) float32, metres, NaN for unknown (treated as outside).
    relief
        Its relief.
    cell_m, convergence_deg
        Cell size; true azimuth = grid azimuth + convergence.
    tick
        Progress; raises to stop.

    Notes
    -----
    Conventions for prominence: see `tops.flooded`. Each landform has a coarsest cell; beyond it none is
    given and `not_meant` says so. Not modelled: rock type, ice, anything narrower than two cells.
    """
    ground = np.ascontiguousarray(elevation_m, dtype=np.float32)
    forms = forms_of(ground, cell_m=cell_m, tick=part(tick, 0.0, 0.4))
    flood = flooded(ground)
    tick(0.6)
    least = least_peak_m(ground)
    tops, number = tops_of(flood, least_m=least / 4.0)
    peaks = tuple(top for top in tops if top.prominence_m >= least)
    saddles = tuple(
        s for s in saddles_between(flood, tops, number, ground) if not _at_edge(ground, s.row, s.col)
    )
    ridges = ridgelines(ground, forms, relief.local_relief_m, flood, number, cell_m=cell_m)
    basins, basin_labels = bowls(
        ground, relief.slope_deg, cell_m=cell_m, convergence_deg=convergence_deg, tick=part(tick, 0.7, 0.9)
    )
    ledges, bench_labels = benches(ground, relief.slope_deg, cell_m=cell_m)
    cliffs = (
        np.zeros(ground.shape, bool) if cell_m > COARSEST_CLIFF_M else relief.slope_deg > cliff_deg(cell_m)
    )
    knobs = _knobs(flood, ground, ridges, least, cell_m)
    tick(1.0)
    return Landforms(
        peaks, tops, saddles, basins, ledges, knobs, forms, ridges, cliffs, basin_labels, bench_labels,
        not_meant(cell_m), least,
    )  # fmt: skip


def forms_of(
    elevation_m: NDArray[np.float32], *, cell_m: float, reach_m: float = FORM_REACH_M, tick: Tick = silent
) -> NDArray[np.uint8]:
    """Geomorphon of every cell (Jasiewicz & Stepinski 2013, doi:10.1016/j.geomorph.2012.11.005), 0 unknown.

    Eight directions are searched out to `reach_m` (at least three cells). Where a direction leaves the known
    ground at once, the ground is taken to go straight on through the cell.
    """
    forms = np.empty(elevation_m.shape, np.uint8)
    reach, flat = max(reach_m, 3.0 * cell_m), math.tan(math.radians(FORM_FLAT_DEG))
    in_bands(
        lambda a, b: geomorphons(elevation_m, reach, cell_m, flat, FORM_OF_COUNTS, a, b, forms),
        elevation_m.shape[0],
        rows_at_once=32,
        tick=tick,
    )
    return forms


def cliff_deg(cell_m: float) -> float:
    """Slope of the grid taken as cliff: 48 degrees at 10 m, less on coarser cells, which blunt a face.

    Common practice, no source.

    >>> cliff_deg(10.0), cliff_deg(20.0)
    (48.0, 44.0)
    """
    return min(max(48.0 - 0.4 * (cell_m - 10.0), 40.0), 52.0)


def least_peak_m(elevation_m: NDArray[np.float32]) -> float:
    """Prominence asked of a peak: 40 m, or a twentieth of the relief (2nd to 98th percentile) where that is
    less.

    Common practice, no source. Never under 5 m.
    """
    known = elevation_m[~np.isnan(elevation_m)]
    if known.size == 0:
        return PEAK_M
    low, high = np.percentile(known, [2.0, 98.0])
    return float(min(PEAK_M, max(5.0, (high - low) / 20.0)))


def not_meant(cell_m: float) -> tuple[str, ...]:
    """The landforms for which cells of this size are too coarse, in plain words.

    >>> not_meant(25.0)
    ('cliffs: cells of 25 m are too coarse (20 m at most)',)
    """
    return tuple(
        f"{what}: cells of {cell_m:.0f} m are too coarse ({most:.0f} m at most)"
        for what, most in _TOO_COARSE
        if cell_m > most
    )


def _at_edge(ground: NDArray[np.float32], row: int, col: int) -> bool:
    """Whether a cell lies at the edge of known ground, where the true saddle may lie outside."""
    rows, cols = ground.shape
    if not (0 < row < rows - 1 and 0 < col < cols - 1):
        return True
    return bool(np.isnan(ground[row - 1 : row + 2, col - 1 : col + 2]).any())


def _knobs(
    flood: Flood, ground: NDArray[np.float32], ridges: NDArray[np.bool_], least: float, cell_m: float
) -> tuple[Knob, ...]:
    """Tops of knob size that stand on a ridgeline, away from the edge."""
    if cell_m > COARSEST_KNOB_M:
        return ()
    small = np.flatnonzero((flood.drop_m >= KNOB_M) & (flood.drop_m < least) & (flood.bound_m >= KNOB_M))
    near = ndimage.binary_dilation(ridges, iterations=max(1, round(30.0 / cell_m)))
    found = []
    for k in small:
        row, col = divmod(int(flood.cell[k]), ground.shape[1])
        if near[row, col] and not _at_edge(ground, row, col):
            found.append(Knob(row, col, float(flood.height_m[k]), float(flood.drop_m[k])))
    return tuple(sorted(found, key=lambda knob: (-knob.prominence_m, knob.row, knob.col)))

"""The panorama: wall time of looking, of drawing and of packing, 1440 x 240 pixels over the whole invented range."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np

from benchmarks.row import Row, wall_seconds
from graylight.demo.range import invent
from graylight.drawing.panorama import draw_panorama
from graylight.drawing.strip import Landmark
from graylight.ground.tops import flooded, tops_of
from graylight.sight.panorama import Panorama, panorama
from graylight.units import height

RUNS = 15


def rows() -> list[Row]:
    """A whole ring from the highest top, and a quarter of it, finer, from a corner: the most ground a ray can cross."""
    ground = invent().elevation_m
    top_row, top_col = divmod(int(ground.argmax()), ground.shape[1])
    ring = partial(_look, ground, top_row, top_col, 0.0, 360.0)
    quarter = partial(_look, ground, ground.shape[0] - 1, 0, 0.0, 90.0)
    marks, labels = _marks(ground), _pockets(ground.shape)
    names = [f"P{number}" for number in range(1, 13)]
    draw = partial(
        draw_panorama, ring(), marks=marks, labels=labels, pockets=names, declination_deg=11.6, title="bench"
    )
    strip = draw()
    return [
        _row("panorama, whole ring, 1440 x 240 pixels, every crossing to the edge", ring, "25 ms"),
        _row("the same, a quarter from a corner", quarter, "25 ms"),
        _row("the same ring drawn, letters once cut (warm)", draw, "40 ms"),
        _row("the same packed as PNG", strip.png, "20 ms"),
    ]


def _row(what: str, work: Callable[[], object], target: str) -> Row:
    return Row(what, f"{wall_seconds(work, runs=RUNS) * 1000:.1f} ms", target=target)


def _look(ground: np.ndarray, row: int, col: int, first_deg: float, last_deg: float) -> Panorama:
    return panorama(
        ground, row=row, col=col, cell_m=10.0, eye_m=1.0, convergence_deg=1.4, azimuth_from_deg=first_deg,
        azimuth_to_deg=last_deg, up_from_deg=-20.0, up_to_deg=12.0, width=1440, height=240,
    )  # fmt: skip


def _marks(ground: np.ndarray) -> list[Landmark]:
    tops, _ = tops_of(flooded(ground), least_m=20.0)
    return [Landmark("peak", top.row, top.col, f"Top {height(top.height_m, 'us')}") for top in tops]


def _pockets(shape: tuple[int, int]) -> np.ndarray:
    """Twelve squares of 500 m, spread over the grid."""
    labels = np.zeros(shape, np.int32)
    for number in range(12):
        row, col = 200 + 350 * (number // 4), 120 + 280 * (number % 4)
        labels[row : row + 50, col : col + 50] = number + 1
    return labels

"""Air: what the ground does to it, one moment of it, and the drift from one place."""

from __future__ import annotations

import numpy as np

from benchmarks.row import Row, wall_seconds
from graylight.demo.range import invent
from graylight.settings import AirSettings
from graylight.sky.drift import carries_to, drift
from graylight.sky.wind import air_day, air_ground, read_wind, wind_field

CELL_M = 10.0
NIGHT_S = 11 * 3600.0


def rows() -> list[Row]:
    """The invented range, at night, calm and with a general wind."""
    z = invent().elevation_m
    kept = AirSettings()
    ground = air_ground(z, cell_m=CELL_M, convergence_deg=0.0, settings=kept)
    sun = np.full(z.shape, 13 * 3600.0, np.float32)
    day = air_day(ground, sun, sun + np.float32(12 * 3600), settings=kept)
    blown = read_wind("SW 15mph")
    field = wind_field(ground, day, NIGHT_S, settings=kept)
    pocket = np.zeros(z.shape, bool)
    pocket[560:640, 560:640] = True
    return [
        _row(
            "air: fall lines, valley axes, exposure, 1.44 M cells",
            lambda: air_ground(z, cell_m=CELL_M, convergence_deg=0.0, settings=kept),
        ),
        _row(
            "the wind of one moment, 1.44 M cells",
            lambda: wind_field(ground, day, NIGHT_S, general=blown, settings=kept),
            "100 ms",
        ),
        _row("drift from one lookout", lambda: drift(field, 600, 600, settings=kept), "50 ms"),
        _row(
            "the ground whose air reaches a pocket of 64 ha", lambda: carries_to(field, pocket, settings=kept)
        ),
    ]


def _row(what: str, work, target: str = "") -> Row:
    return Row(what, f"{1e3 * wall_seconds(work):.1f} ms", target=target)

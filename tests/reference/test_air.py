"""The wind's rules and the drift beside slow twins that were written from the page, not from the kernel."""

from __future__ import annotations

import math

import numpy as np
import pytest

from graylight.kernels.drift import carry
from graylight.settings import AirSettings
from graylight.sky.drift import _quantiles
from graylight.sky.wind import AirDay, AirGround, wind_field
from graylight.wind import GeneralWind
from tests.reference.slow_drift import air_of, seconds_in_cells

KEPT = AirSettings()


@pytest.mark.parametrize("speed_ms", [0.0, 3.0, 4.4, 5.5, 7.0, 12.0])
def test_the_wind_is_what_the_rules_say(speed_ms):
    rng = np.random.default_rng(round(10 * speed_ms))
    shape = (30, 40)
    fall = rng.normal(scale=0.3, size=(2, *shape)) * (rng.random(shape) < 0.9)
    angle, weight = rng.uniform(0, 7, shape), np.clip(rng.uniform(-1, 1.5, shape), 0, 1)
    axis = np.stack([np.sin(angle), np.cos(angle)]) * weight
    layers = np.concatenate([fall, axis, rng.random((2, *shape))]).astype(np.float32)
    turns = np.sort(rng.uniform(0, 9e4, (4, *shape)), axis=0)[[0, 2, 1, 3]].astype(np.float32)
    turns[:, rng.random(shape) < 0.1] = np.nan
    turns[1::2, rng.random(shape) < 0.1] = np.nan
    ground = AirGround(layers, np.zeros(shape, np.int64), 10.0, 0.0)
    field = wind_field(ground, AirDay(turns), 4e4, general=GeneralWind(230.0, speed_ms), settings=KEPT)
    toward = math.radians(50.0)
    general = speed_ms * math.sin(toward), speed_ms * math.cos(toward)
    told = set()
    for r, c in np.ndindex(shape):
        x = layers[:, r, c].astype(float)
        air, mover, doubt = air_of(
            x[:2], x[2:4], x[4], x[5], turns[:, r, c].astype(float), 4e4, general, KEPT
        )
        assert field.grid_east_ms[r, c] == pytest.approx(air[0], abs=2e-5)
        assert field.grid_north_ms[r, c] == pytest.approx(air[1], abs=2e-5)
        assert field.mover[r, c] == mover
        assert field.doubt[r, c] == doubt
        told.add((mover, doubt))
    assert len(told) >= 2


def swirl(rows, cols, kind):
    """Winds that part, meet and turn."""
    row, col = np.mgrid[:rows, :cols].astype(float)
    if kind == "parting":
        return np.full((rows, cols), 1.5), 0.01 * (rows / 2 - row)
    if kind == "meeting":
        return np.full((rows, cols), 1.5), -0.01 * (rows / 2 - row)
    return 1.5 + 0.3 * np.sin(row / 15), 0.8 * np.cos(col / 20)


@pytest.mark.parametrize("kind", ["parting", "meeting", "turning"])
@pytest.mark.parametrize("paths", [9, 25])
def test_the_drift_holds_the_seconds_of_very_many_fine_paths(kind, paths):
    """In squares of 60 m, at most one in ten seconds lies elsewhere (3 to 7 % found)."""
    east, north = (layer.astype(np.float32) for layer in swirl(120, 162, kind))
    a, b, c = 0.16, 1e-4, -0.5
    seconds, laid = 700.0, 0.45 if paths == 25 else 0.6
    out = np.zeros(east.shape, np.float32)
    laws = np.array([laid, 5000.0, seconds, 0.01, 0.05, 0.0])
    law = np.array([a, b, c, 0.0, 0.0, 1.0])  # depth stays 1 m
    carry(east, north, 1.0, 10.0, 66.0, 12.0, _quantiles(paths, laid), law, laws, 0, 0, out)
    ours = out.astype(float) * 100.0 * math.sqrt(2 * math.pi) / 2
    theirs = seconds_in_cells(east, north, 66.0, 12.0, (a, b, c), cell_m=10.0, seconds=seconds)
    squares = [x.reshape(20, 6, 27, 6).sum(axis=(1, 3)) for x in (ours, theirs)]
    assert theirs.sum() > 500.0
    assert ours.sum() == pytest.approx(theirs.sum(), rel=0.02)
    assert 0.5 * np.abs(squares[0] - squares[1]).sum() < theirs.sum() / 10

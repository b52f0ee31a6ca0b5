"""The shape of the invented range, from uplift to the last gully."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter, maximum_filter, minimum_filter

from graylight.demo.erosion import breach, combed, erode, slump
from graylight.demo.glacier import Bowl, bowls, carve
from graylight.demo.noise import Floats, Frame, fractal, smooth_field
from graylight.work import Tick, part

__all__ = ["Land", "land"]

FOOT_M = 2150.0  # what the range stands on, far outside the country
LOWEST_M, HIGHEST_M = 2380.0, 3545.0
STOUTNESS = 0.75  # below 1 there is more high ground; fitted to the share of high ground in docs/demo.md
MARGIN_M = 4200.0  # ground made around the country, so that no valley begins at its edge
NEAR_M = 700.0
ERODIBILITY = 0.24
STEPS = {80.0: 64, 40.0: 9, 20.0: 2}
HEAD_M2 = {80.0: 16e4, 40.0: 12e4, 20.0: 9e4}
WARP = {40.0: (330.0, 2600.0), 20.0: (80.0, 620.0)}


@dataclass(frozen=True)
class Land:
    """The bare ground.

    Parameters
    ----------
    elevation_m : (rows, cols) float32
        Metres; hollows not yet dealt with.
    ice_floor : (rows, cols) float32
        How much a cell is floor left by ice, 0 to 1.
    heads : tuple of (north_m, east_m, radius_m)
        The bowls' floors, from the middle of the country.
    """

    elevation_m: Floats
    ice_floor: Floats
    heads: tuple[tuple[float, float, float], ...]


def land(seed: int, frame: Frame, *, tick: Tick) -> Land:
    """Raise the range, let water and ice cut it, and put in ledges, knobs and gullies."""
    near, near_frame = _ranges(seed, frame, part(tick, 0.0, 0.6))
    chosen = bowls(near, near_frame, seed=seed, count=22)
    cut, floor = carve(near, near_frame, chosen, seed=seed)
    cut = _knobs(seed, gaussian_filter(cut, 0.7), near_frame)
    z = _at_height(frame.drawn_from(cut, near_frame))
    ice = np.clip(frame.drawn_from(floor, near_frame), 0.0, 1.0)
    tick(0.7)
    z = _ledges(seed, z, ice, frame)
    z = _rough(seed, z, ice, frame)
    tick(1.0)
    return Land(z, ice, _heads(chosen, near_frame))


def _ranges(seed: int, frame: Frame, tick: Tick) -> tuple[Floats, Frame]:
    """Uplift against water, on ever finer cells, the last ones on the country and a little around it."""
    half_e, half_n = frame.cols * frame.cell_m / 2, frame.rows * frame.cell_m / 2
    coarse = Frame(half_e + MARGIN_M, half_n + MARGIN_M, 80.0)
    z = _beginning(seed, coarse)
    z = _aged(seed, z, coarse)
    for at, (cell_m, margin_m) in enumerate(((40.0, MARGIN_M), (20.0, NEAR_M))):
        tick(0.4 + 0.3 * at)
        finer = Frame(half_e + margin_m, half_n + margin_m, cell_m)
        z = _aged(seed, _finer(seed, z, coarse, finer), finer)
        coarse = finer
    z = gaussian_filter(_faces(seed, z, coarse), 0.8)
    breach(z, most_m=300.0)
    slump(z, np.full(z.shape, 0.75, np.float32), coarse.cell_m)
    tick(1.0)
    return gaussian_filter(z, 0.6), coarse


def _swell(seed: int, frame: Frame) -> Floats:
    """Where the ground rises, 0 to about 1: a winding crest, a lesser range across the western valley."""
    north, east = frame.north, frame.east
    crest = 1500 + 1000 * np.sin(north / 1700 + 0.6) + 500 * np.sin(north / 760 + 2.0) + 0.1 * north
    ends = 1.0 / (1.0 + np.exp((np.abs(north) - 8000.0) / 500.0))
    uneven = 1.0 + 0.15 * fractal(seed, 1, frame, 3500.0, octaves=3)
    main = np.exp(-((np.abs(east - crest) / 4600.0) ** 3)) * uneven
    west = 0.6 * np.exp(-(((east + 9500.0) / 2600.0) ** 2))
    return np.asarray((main + west) * ends, dtype=np.float32)


def _beginning(seed: int, frame: Frame) -> Floats:
    """Low swells that tell the first streams where to run."""
    z = FOOT_M + 100.0 + 130.0 * fractal(seed, 2, frame, 2600.0, octaves=5) + 300.0 * _swell(seed, frame)
    z = np.maximum(z, FOOT_M + 10.0)
    z[[0, -1]] = z[:, [0, -1]] = FOOT_M
    return z.astype(np.float32)


def _aged(seed: int, z: Floats, frame: Frame) -> Floats:
    """Uplift and erosion on one frame; rock differs from place to place."""
    cell_m = frame.cell_m
    uplift = 28.0 * _swell(seed, frame) + np.float32(1.5)
    erodibility = ERODIBILITY * np.exp(0.35 * fractal(seed, 3, frame, 1500.0, octaves=4))
    steepest = (0.36 + 0.20 * _swell(seed, frame)) * np.exp(0.22 * fractal(seed, 4, frame, 700.0, octaves=3))
    return erode(
        z,
        uplift=uplift,
        erodibility=erodibility,
        steepest=steepest,
        cell_m=cell_m,
        steps=STEPS[cell_m],
        creep=0.3 if cell_m > 20.0 else 0.6,
        head_m2=HEAD_M2[cell_m],
        wander_m=0.05 * cell_m,
        seed=seed,
    )


def _finer(seed: int, z: Floats, coarse: Frame, finer: Frame) -> Floats:
    """Bring the ground onto finer cells, bent sideways: streams on a grid run too straight along it."""
    strength, length_m = WARP[finer.cell_m]
    name = 50 + int(finer.cell_m)
    east = strength * fractal(seed, name, finer, length_m, octaves=2)
    north = strength * fractal(seed, name + 1, finer, length_m, octaves=2)
    drawn = finer.warped_from(z, coarse, east, north)
    drawn += np.float32(0.06 * finer.cell_m) * smooth_field(seed, name + 2, finer, 2.2 * finer.cell_m)
    return drawn


def _at_height(z: Floats) -> Floats:
    """Set the range between its lowest and highest ground, within reason for small country."""
    low, high = float(z.min()), float(z.max())
    relief = (high - low) * float(np.clip((HIGHEST_M - LOWEST_M) / (high - low), 0.6, 1.1))
    part_way = np.clip((z - low) / (high - low), 0.0, 1.0)
    return np.asarray(HIGHEST_M - relief * (1.0 - part_way**STOUTNESS), dtype=np.float32)


def _knobs(seed: int, z: Floats, frame: Frame) -> Floats:
    """Small tops on the spurs, where harder rock stands out."""
    standing = z - gaussian_filter(z, 160.0 / frame.cell_m)
    crest = (standing == maximum_filter(standing, size=round(560.0 / frame.cell_m) | 1)) & (standing > 9.0)
    crest &= z > np.quantile(z, 0.3)
    raised = z.copy()
    rng = np.random.default_rng(seed + 17)
    uneven = np.exp(0.3 * fractal(seed, 18, frame, 160.0, octaves=3))
    for r, c in np.argwhere(crest).tolist():
        radius_m = rng.uniform(70.0, 130.0)
        height_m = radius_m * rng.uniform(0.06, 0.24)
        window, away = _around(frame, r, c, radius_m)
        bump = np.exp(-((away / radius_m * uneven[window]) ** 2.4))
        raised[window] += (height_m * bump).astype(np.float32)
    return raised


def _around(frame: Frame, r: int, c: int, radius_m: float) -> tuple[tuple[slice, slice], Floats]:
    """The cells within three radii of a cell, and how far each is from it in metres."""
    reach = int(3 * radius_m / frame.cell_m)
    window = (slice(max(r - reach, 0), r + reach + 1), slice(max(c - reach, 0), c + reach + 1))
    away = np.hypot(frame.north[window[0]] - frame.north[r], frame.east[:, window[1]] - frame.east[0, c])
    return window, np.asarray(away, dtype=np.float32)


def _ledges(seed: int, z: Floats, ice: Floats, frame: Frame) -> Floats:
    """Tilted beds of hard and soft rock: the hard ones stand as cliffs, the soft ones lie as benches.

    A height is moved within its bed, never past its neighbours', so what ran downhill still does (nearly).
    """
    bent = z + 0.06 * frame.east - 0.09 * frame.north + 30.0 * fractal(seed, 8, frame, 900.0, octaves=4)
    strength = np.clip(0.10 + 0.50 * fractal(seed, 9, frame, 800.0, octaves=4, gain=0.7), 0.0, 0.85)
    strength *= np.clip((z - 2450.0) / 300.0, 0.15, 1.0) * (1.0 - 0.9 * ice)
    for thickness, portion in ((150.0, 0.6), (61.0, 0.4)):
        turn = np.float32(2.0 * np.pi / thickness)
        z = z - portion * strength / turn * np.sin(bent * turn)
    return np.asarray(z, dtype=np.float32)


def _faces(seed: int, z: Floats, frame: Frame) -> Floats:
    """Ribs, gullies and swellings of the faces, fading out towards the streams."""
    down, east = np.gradient(z, frame.cell_m)
    steep = np.clip(np.hypot(down, east) - 0.12, 0.0, 0.5)
    steep *= np.clip((z - minimum_filter(z, round(180.0 / frame.cell_m) | 1)) / 45.0, 0.0, 1.0)
    grain = combed(smooth_field(seed, 13, frame, 75.0), z, smooth=70.0 / frame.cell_m, steps=16)
    lumps = fractal(seed, 14, frame, 560.0, octaves=4, gain=0.55)
    uneven = np.exp(0.45 * fractal(seed, 15, frame, 1100.0, octaves=2))
    return np.asarray(z + steep * uneven * (21.0 * grain + 28.0 * lumps), dtype=np.float32)


def _rough(seed: int, z: Floats, ice: Floats, frame: Frame) -> Floats:
    """Small-scale roughness: chutes and crags on steep ground, humps on floors left by ice."""
    down, east = np.gradient(z, frame.cell_m)
    steep = np.clip(np.hypot(down, east), 0.0, 1.2)
    steps = max(1, round(110.0 / frame.cell_m))
    grain = combed(smooth_field(seed, 16, frame, 24.0), z, smooth=35.0 / frame.cell_m, steps=steps)
    crags = fractal(seed, 10, frame, 110.0, octaves=3, gain=0.5)
    humps = fractal(seed, 11, frame, 150.0, octaves=2)
    z = z + steep * (3.2 * steep * grain + 2.2 * crags) + 0.4 * crags + 3.0 * ice * humps
    z = np.asarray(z, dtype=np.float32)
    slump(z, np.full(frame.shape, 1.9, np.float32), frame.cell_m)
    return z


def _heads(chosen: list[Bowl], frame: Frame) -> tuple[tuple[float, float, float], ...]:
    places = []
    for bowl in chosen:
        r, c = divmod(int(bowl.path[0]), frame.cols)
        places.append((float(frame.north[r, 0]), float(frame.east[0, c]), bowl.radius_m))
    return tuple(places)

"""What grows and lies on the invented range, and how it looks from above in red and near infrared."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation, gaussian_filter

from graylight.demo.erosion import combed
from graylight.demo.lakes import Waters
from graylight.demo.noise import Floats, Frame, fractal, smooth_field

__all__ = ["BARE", "GRASS", "MOSS", "SHRUB", "SNOW", "TREE", "WATER", "Plants", "plants"]

# ESA WorldCover classes (Product User Manual v2.0, 2022)
TREE, SHRUB, GRASS, BARE, SNOW, WATER, MOSS = 10, 20, 30, 60, 70, 80, 100

TREELINE_M = 3170.0
# red and near-infrared reflectance of plain covers; from memory, in the range of spectral libraries
LOOK = {
    TREE: (0.030, 0.230),
    SHRUB: (0.095, 0.235),
    GRASS: (0.145, 0.265),
    BARE: (0.210, 0.255),
    SNOW: (0.780, 0.720),
    WATER: (0.025, 0.012),
    MOSS: (0.150, 0.240),
}


@dataclass(frozen=True)
class Plants:
    """Cover of the invented range; all (rows, cols).

    Parameters
    ----------
    cover : uint8
        ESA WorldCover class.
    canopy_m, closure : float32
        Height of the canopy in metres and the part of the ground it covers, 0 where there is none.
    red, nir : float32
        Surface reflectance, 0 to 1.
    """

    cover: NDArray[np.uint8]
    canopy_m: Floats
    closure: Floats
    red: Floats
    nir: Floats


@dataclass(frozen=True)
class _Site:
    """What plants feel of the ground; all (rows, cols) float32."""

    z: Floats
    slope: Floats  # rise over run
    cold: Floats  # -1 on warm slopes to 1 on cold ones
    rib: Floats  # metres above the ground around: ribs positive, gullies negative
    wet: Floats  # 0 to 1


def plants(seed: int, water: Waters, ice: Floats, frame: Frame) -> Plants:
    """Cover from height, slope, facing, shade, gullies and wet ground."""
    site = _site(water, frame)
    timber = _timber(seed, site, ice, frame)
    rock = _rock(seed, site, ice, frame)
    brush = _brush(seed, site, frame)
    cover = np.full(frame.shape, GRASS, np.uint8)
    cover[brush > 0.0] = SHRUB
    cover[(site.z > TREELINE_M + 170.0) & (rock > -0.35)] = MOSS
    cover[timber > 0.0] = TREE
    cover[rock > 0.0] = BARE
    cover[_snow(site, ice)] = SNOW
    cover[water.lake > 0] = WATER
    canopy, closure = _canopy(seed, site, timber, cover, frame)
    red, nir = _look(seed, _green(seed, site, rock, cover, frame), cover, closure, frame)
    return Plants(cover, canopy, closure, red, nir)


def _site(water: Waters, frame: Frame) -> _Site:
    z, cell_m = water.elevation_m, frame.cell_m
    south, east = np.gradient(gaussian_filter(z, 15.0 / cell_m), cell_m)
    slope = np.hypot(south, east)
    # downslope unit vector (-east, -south in rows): cold where it points to the north-north-east
    cold = (0.9 * south - 0.42 * east) / np.maximum(slope, 1e-6) * np.clip(slope / 0.25, 0.0, 1.0)
    rib = z - gaussian_filter(z, 55.0 / cell_m)
    area = water.cells * cell_m**2
    run = np.log10(area / np.maximum(slope, 0.02) / cell_m)
    wet = np.clip((gaussian_filter(run, 25.0 / cell_m) - 2.4) / 1.8, 0.0, 1.0)
    return _Site(z, *(np.asarray(a, dtype=np.float32) for a in (slope, cold, rib, wet)))


def _timber(seed: int, site: _Site, ice: Floats, frame: Frame) -> Floats:
    """Above 0 where trees stand: ribs and cold slopes, thinning into strips towards the treeline."""
    line = TREELINE_M + 55.0 * fractal(seed, 20, frame, 900.0, octaves=2) - 20.0 * site.cold
    below = (line - site.z) / 260.0
    patchy = fractal(seed, 21, frame, 300.0, octaves=4, gain=0.65)
    steps = max(1, round(160.0 / frame.cell_m))
    strips = combed(smooth_field(seed, 28, frame, 42.0), site.z, smooth=45.0 / frame.cell_m, steps=steps)
    dry = np.clip((2850.0 - site.z) / 330.0, 0.0, 1.3) * (0.55 - 0.75 * site.cold)
    score = np.minimum(below, 0.95) - 0.45 + 0.42 * site.cold + 0.52 * patchy - 1.3 * dry
    score += 0.42 * strips * np.clip(3.0 * site.slope - 0.6, 0.0, 1.0)
    score += 0.11 * np.clip(site.rib, -7.0, 7.0) * np.clip(0.4 + site.slope, 0.4, 1.1)
    score -= 2.0 * np.clip(site.slope - 0.68, 0.0, 0.6) + 1.7 * site.wet * np.clip(
        1.2 - 4 * site.slope, 0.0, 1.0
    )
    score -= 0.75 * ice * np.clip((site.z - 2650.0) / 250.0, 0.0, 1.0)  # cold air lies on floors left by ice
    score[site.z > line + 30.0] = -1.0
    return np.asarray(score, dtype=np.float32)


def _rock(seed: int, site: _Site, ice: Floats, frame: Frame) -> Floats:
    """Above 0 where rock and rubble lie bare: steep ground, high crests, boulders on floors left by ice."""
    mixed = fractal(seed, 22, frame, 130.0, octaves=4, gain=0.65)
    broad = fractal(seed, 23, frame, 700.0, octaves=2)
    high = np.clip((site.z - TREELINE_M + 60.0) / 260.0, -0.6, 1.0)
    score = 3.2 * (site.slope - 0.74) + 0.95 * high - 0.50 + 0.36 * mixed + 0.42 * broad
    score += 0.06 * np.clip(site.rib, -6.0, 6.0)
    score += 0.15 * ice + 0.65 * ice * broad - 0.8 * site.wet * (site.slope < 0.5)
    return np.asarray(score, dtype=np.float32)


def _brush(seed: int, site: _Site, frame: Frame) -> Floats:
    """Above 0 where brush grows: warm low slopes, and willow along wet ground."""
    patchy = fractal(seed, 24, frame, 210.0, octaves=3)
    low = np.clip((2900.0 - site.z) / 260.0, -1.0, 1.2)
    sage = low - 0.25 - 0.25 * site.cold + 0.45 * patchy - 0.9 * site.wet
    willow = 2.2 * (site.wet - 0.72) + 0.35 * patchy - 0.3
    return np.asarray(np.maximum(sage, willow), dtype=np.float32)


def _snow(site: _Site, ice: Floats) -> NDArray[np.bool_]:
    """The last drifts of the year: high, cold, at the foot of headwalls."""
    foot = (ice > 0.25) & (site.cold > 0.8) & (site.slope > 0.45) & (site.slope < 0.8)
    return np.asarray(foot & (site.z > TREELINE_M + 20.0) & (site.rib < -2.0))


def _canopy(
    seed: int, site: _Site, timber: Floats, cover: NDArray[np.uint8], frame: Frame
) -> tuple[Floats, Floats]:
    """Height and closure: tall and dense low on cold slopes, bent and broken at the treeline."""
    trees = cover == TREE
    uneven = fractal(seed, 25, frame, 45.0, octaves=2)
    vigour = np.clip((TREELINE_M + 60.0 - site.z) / 330.0, 0.08, 1.0)
    height = (4.0 + 15.0 * vigour) * (1.0 + 0.16 * uneven) * np.clip(0.6 + timber, 0.6, 1.1)
    closure = np.clip(0.22 + 0.55 * timber + 0.08 * uneven, 0.12, 0.88)
    canopy = np.where(trees, np.clip(height, 1.5, 26.0), 0.0)
    canopy = np.where(cover == SHRUB, np.clip(0.8 + 0.35 * uneven, 0.3, 2.0), canopy)
    return canopy.astype(np.float32), np.where(trees, closure, 0.0).astype(np.float32)


def _look(
    seed: int, green: Floats, cover: NDArray[np.uint8], closure: Floats, frame: Frame
) -> tuple[Floats, Floats]:
    """Reflectance in red and near infrared: the cover's own, drawn towards green leaves by `green`."""
    thin = np.where(cover == TREE, 0.9 - closure, 0.0)  # ground seen between the trees
    grain = 1.0 + 0.07 * fractal(seed, 27, frame, 26.0, octaves=2)
    grain[binary_dilation(cover == WATER)] = 1.0
    found = []
    for band, leaves, ground in ((0, 0.042, 0.06), (1, 0.420, 0.03)):
        plain = np.zeros(frame.shape, np.float32)
        for code, look in LOOK.items():
            plain[cover == code] = look[band]
        light = (plain + green * (leaves - plain) + ground * thin) * grain
        found.append(np.clip(light, 0.005, 1.0).astype(np.float32))
    return found[0], found[1]


def _green(seed: int, site: _Site, rock: Floats, cover: NDArray[np.uint8], frame: Frame) -> Floats:
    """How much of the ground green leaves hide: most where water lasts, some between rocks."""
    high = np.clip((site.z - 2750.0) / 1100.0, -0.25, 0.35)
    rain = 0.16 * fractal(seed, 29, frame, 1700.0, octaves=2)  # one basin stays green, the next dries
    patchy = fractal(seed, 26, frame, 170.0, octaves=3)
    lush = np.clip(0.02 + 0.80 * site.wet + 0.20 * site.cold + high + rain + 0.16 * patchy, 0.0, 1.0)
    herbs, brush, bare = np.isin(cover, (GRASS, MOSS)), cover == SHRUB, cover == BARE
    among_rocks = lush * np.clip(0.75 - 1.5 * rock, 0.0, 0.6)
    green = np.select([herbs, brush, bare], [lush, 0.45 * lush, among_rocks], 0.0)
    return np.asarray(green, dtype=np.float32)

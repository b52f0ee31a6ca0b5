"""The panorama against its slow twin, against geodesy, against the viewshed, and against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pyproj import Geod

from graylight.cli.main import main
from graylight.country.folder import Country
from graylight.grid import LonLat
from graylight.ground.tops import flooded, tops_of
from graylight.sight.panorama import panorama
from graylight.sight.viewshed import visible
from tests.reference import slow_panorama
from tests.reference.test_sight import rough_ground

WGS84 = Geod(ellps="WGS84")
RING = {"azimuth_from_deg": 0.0, "azimuth_to_deg": 360.0}


def look(z, row, col, **given):
    plain = {"cell_m": 10.0, "eye_m": 1.5, "convergence_deg": 0.0, "up_from_deg": -60.0, "up_to_deg": 40.0}
    size = {"width": 360, "height": 200}
    return panorama(z, row=row, col=col, **(plain | size | RING | given))


# --- the slow twin -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(5))
def test_the_skyline_and_every_pixel_agree_with_the_slow_twin(seed):
    z = rough_ground(seed)
    row, col = (int(i) for i in np.random.default_rng(seed).integers(0, 61, 2))
    seen = look(z, row, col, width=96, azimuth_from_deg=0.3 * seed, azimuth_to_deg=0.3 * seed + 360.0)
    near, off = 0, 0
    for x, azimuth in enumerate(seen.azimuth_deg):
        points = slow_panorama.profile(z, row, col, float(azimuth), cell_m=10.0, eye_m=1.5)
        if len(points) == 1:  # along the outermost row or column, outward
            assert np.isnan(seen.skyline_deg[x])
            continue
        assert seen.skyline_deg[x] == pytest.approx(slow_panorama.skyline_deg(points), abs=1e-4)
        for y, up in enumerate(seen.elevation_deg):
            d = slow_panorama.first_met(points, float(up))
            near += 1
            # the very pixel at a crest may fall on either side of it by rounding
            off += not (
                np.isnan(seen.distance_m[y, x])
                if d is None
                else seen.distance_m[y, x] == pytest.approx(d, rel=1e-4, abs=0.01)
            )
    assert near > 5000
    assert off <= 1e-3 * near


# --- geodesy -------------------------------------------------------------------------------------------------------


def true_up_deg(z0: float, z1: float, metres: float, k: float = 1 / 7) -> float:
    """Elevation angle on a sphere of radius R / (1 - k), without the small-angle parabola.

    Plane trigonometry of the triangle centre-eye-target; the widened radius is how levelling and radio practice
    count refraction (Torge and Mueller, Geodesy, section on trigonometric heights; cited from memory).
    """
    radius = 6371000.0 / (1 - k)
    angle = metres / radius
    return math.degrees(
        math.atan2((radius + z1) * math.cos(angle) - (radius + z0), (radius + z1) * math.sin(angle))
    )


def check_tops(country: Country, seat: LonLat, *, least: int) -> None:
    z, grid = country.read("elevation"), country.grid
    row, col = grid.rowcol(seat)
    here = grid.lonlat(row, col)
    width, height = 3600, 1500
    seen = look(
        z, row, col, cell_m=grid.cell_m, convergence_deg=grid.convergence_deg(here), width=width, height=height,
        up_from_deg=-20.0, up_to_deg=20.0,
    )  # fmt: skip
    tops, _ = tops_of(flooded(z), least_m=20.0)
    shown = 0
    for top in tops:
        if math.hypot(top.row - row, top.col - col) < 20:
            continue
        there = grid.lonlat(top.row, top.col)
        azimuth, _, metres = WGS84.inv(*here, *there)
        up = true_up_deg(float(z[row, col]) + 1.5, top.height_m, metres)
        told = seen.angles_to((top.row, top.col))
        # 0.01 degrees is a tenth of a pixel here, and a twentieth of what a hand compass reads
        assert (told.azimuth_deg - azimuth + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=0.01)
        assert told.up_deg == pytest.approx(up, abs=0.012)
        if told.margin_m > 2.0 and abs(up) < 19.0:
            x, y = seen.pixel(azimuth % 360.0, up)
            window = (slice(int(y) - 1, int(y) + 3), slice(max(int(x) - 1, 0), int(x) + 2))
            near = np.hypot(seen.row[window] - top.row, seen.col[window] - top.col)
            # within the ground that a pixel covers there (0.1 degrees), and two cells of a rounded top
            assert near.min() <= 2.0 + metres * math.radians(0.1) / grid.cell_m, (top, x, y)
            shown += 1
    assert shown >= least


def test_tops_of_the_invented_range_stand_where_geodesy_says(demo):
    check_tops(Country.open(demo), LonLat(-114.791657, 40.450975), least=5)


def test_tops_of_real_ground_stand_where_geodesy_says(jacksboro, tmp_path):
    assert main(["new", str(tmp_path / "jacksboro"), "--elevation", str(jacksboro)]) == 0
    country = Country.open(tmp_path / "jacksboro")
    z = country.read("elevation")
    row, col = np.unravel_index(np.nanargmax(z), z.shape)
    check_tops(country, country.grid.lonlat(int(row), int(col)), least=8)


# --- the viewshed --------------------------------------------------------------------------------------------------


def seats(z: np.ndarray) -> list[tuple[int, int]]:
    top = np.unravel_index(np.nanargmax(z), z.shape)
    return [
        (int(top[0]), int(top[1])),
        (z.shape[0] // 2, z.shape[1] // 2),
        (0, 0),
        (z.shape[0] - 1, z.shape[1] // 3),
    ]


def check_against_viewshed(z: np.ndarray, cell_m: float, *, least: float) -> None:
    """The two were written apart: the viewshed asks of cell centres, the panorama of pixels."""
    counts = np.zeros(7)
    for row, col in seats(z):
        given = {"cell_m": cell_m, "eye_m": 1.5}
        seen = look(z, row, col, width=2880, height=800, **given)
        clear = visible(z, row=row, col=col, target_m=0.0, **given)
        ground = seen.row >= 0
        shown = np.zeros(z.shape, bool)
        shown[seen.row[ground], seen.col[ground]] = True
        large = clear & larger_than_a_pixel(z, row, col, seen, cell_m)
        counts += (
            ground.sum(), clear[seen.row[ground], seen.col[ground]].sum(), shown.sum(), (shown & clear).sum(),
            (shown & grown(clear)).sum(), large.sum(), (large & shown).sum(),
        )  # fmt: skip
    pixels, clear_pixels, cells, clear_cells, beside_clear, larger, larger_shown = counts
    assert clear_pixels > 0.99 * pixels
    # a cell whose near half alone shows is shown, though its centre is hidden: it touches one that is clear
    assert clear_cells > least * cells
    assert beside_clear > 0.999 * cells
    assert larger > 1000
    assert larger_shown > 0.99 * larger


def grown(mask: np.ndarray) -> np.ndarray:
    padded = np.pad(mask, 1)
    parts = [padded[r : r + mask.shape[0], c : c + mask.shape[1]] for r in range(3) for c in range(3)]
    return np.logical_or.reduce(parts)


def larger_than_a_pixel(z, row, col, seen, cell_m) -> np.ndarray:
    """Cells that span two pixels and more each way, wholly inside the picture: their plane seen from the eye."""
    south, east = np.mgrid[: z.shape[0], : z.shape[1]] - np.array([row, col])[:, None, None]
    d = np.maximum(np.hypot(south, east), 0.1) * cell_m
    down, right = np.gradient(z, cell_m)
    outward = (down * south + right * east) * cell_m / d
    rise = z - seen.eye_z_m
    up = np.degrees(np.arctan2(rise, d))
    # the angle under which the far edge of the cell stands above its near edge
    tall = np.degrees(cell_m * (outward * d - rise) / (d**2 + rise**2))
    wide = np.degrees(cell_m / d)
    across, upward = seen.pixels_per_deg
    inside = (up > seen.up_from_deg + 2.0) & (up < seen.up_to_deg - 2.0)
    return (tall * upward > 2.0) & (wide * across > 2.0) & inside


@pytest.mark.parametrize("seed", [1, 4])
def test_the_panorama_and_the_viewshed_agree_on_rough_ground(seed):
    check_against_viewshed(rough_ground(seed, size=401), 10.0, least=0.94)


def test_the_panorama_and_the_viewshed_agree_on_the_invented_range(demo):
    country = Country.open(demo)
    check_against_viewshed(country.read("elevation"), country.grid.cell_m, least=0.98)

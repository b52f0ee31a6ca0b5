"""The panorama on grounds whose angles are known by formula, at edges, over unknown ground, and with JIT off."""

from __future__ import annotations

import json
import math
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from graylight.errors import BadInput
from graylight.sight.panorama import SKY, UNKNOWN, bytes_needed, framing, panorama
from graylight.sight.viewshed import bend
from tests.unit.hand_ground import axes, hills

CELL_M = 10.0
EYE_M = 2.0


def look(z, row, col, **given):
    plain = {
        "cell_m": CELL_M, "eye_m": EYE_M, "convergence_deg": 0.0, "azimuth_from_deg": 0.0, "azimuth_to_deg": 360.0,
        "up_from_deg": -60.0, "up_to_deg": 60.0, "width": 360, "height": 240,
    }  # fmt: skip
    return panorama(z, row=row, col=col, **(plain | given))


# --- closed forms --------------------------------------------------------------------------------------------------


def test_a_cone_seen_from_beside_it():
    """The top of a cone 300 m high, 600 m north: atan((300 - 2 - bend d^2) / 600), and it is the skyline there."""
    north, east = axes(161, 161, CELL_M)
    z = np.maximum(0.0, 300.0 - np.hypot(north - 300.0, east)).astype(np.float32)
    row, col = 80 + 30, 80
    assert z[row, col] == 0.0
    seen = look(z, row, col, width=1441, azimuth_from_deg=-90.0, azimuth_to_deg=90.0)
    up = math.degrees(math.atan((300.0 - EYE_M - bend(1 / 7) * 600.0**2) / 600.0))
    middle = 1441 // 2
    assert seen.azimuth_deg[middle] == pytest.approx(0.0, abs=1e-9)
    assert seen.skyline_deg[middle] == pytest.approx(up, abs=1e-4)
    assert np.nanargmax(seen.skyline_deg) == middle
    x, y = seen.pixel(0.0, up - 0.3)
    assert seen.at(x, y) == (80 - 30, 80)
    assert seen.at(x, seen.pixel(0.0, up + 0.6)[1]) is None
    # its foot, 300 m wide at 600 m: tangents from the eye touch the circle at asin(300 / 600) = 30 degrees
    bare = seen.skyline_deg < 0.0
    edges = seen.azimuth_deg[~bare]
    assert min(edges[edges > 180.0]) == pytest.approx(330.0, abs=0.8)
    assert max(edges[edges < 180.0]) == pytest.approx(30.0, abs=0.8)


def test_a_wall_hides_what_stands_low_behind_it():
    """A wall 20 m high in column 40 of a plain; behind it a step 60 m high from column 70 on."""
    z = np.zeros((61, 121), np.float32)
    z[:, 40] = 20.0
    z[:, 70:] = 60.0
    seen = look(z, 30, 20, width=3, azimuth_from_deg=89.0, azimuth_to_deg=91.0, height=2400)
    wall = math.degrees(math.atan((20.0 - EYE_M) / 200.0))
    step = math.degrees(math.atan((60.0 - EYE_M) / 500.0))
    column = seen.col[:, 1]
    assert seen.skyline_deg[1] == pytest.approx(step, abs=0.002)
    up = seen.elevation_deg
    assert set(column[(up > wall + 0.1) & (up < step - 0.1)]) == {70}
    assert set(column[(up > 0.1) & (up < wall - 0.1)]) <= {39, 40}
    assert not set(column) & set(range(41, 69))
    assert set(column[up > step + 0.05]) == {SKY}
    assert seen.angles_to((30, 60)).hidden
    assert not seen.angles_to((30, 40)).hidden
    assert seen.angles_to((30, 60)).margin_m == pytest.approx(-EYE_M * 2 + 2.0 - 36.0, abs=0.05)
    assert seen.angles_to((30, 60), above_m=60.0).margin_m == pytest.approx(22.0, abs=0.05)


def test_a_plain_lies_where_the_height_of_the_eye_puts_it():
    """On level ground a pixel at angle -a shows the ground at eye / tan(a)."""
    z = np.full((101, 101), 500.0, np.float32)
    seen = look(z, 50, 50, refraction=1.0, eye_m=30.0)
    for y in range(130, 240, 7):
        wanted = 30.0 / math.tan(math.radians(-seen.elevation_deg[y]))
        assert seen.distance_m[y] == pytest.approx(np.full(360, wanted), rel=1e-4)
    assert seen.at(*seen.pixel(137.0, -59.9)) == (51, 51)  # 17 m to the south-east
    straight_down = look(z, 50, 50, up_from_deg=-90.0, up_to_deg=-80.0)
    assert (straight_down.row == 50).all()


def test_the_fall_of_the_earth_lowers_the_far_sea():
    """Dip of the horizon from 100 m, k = 0: acos(R / (R + 100)) = 0.3210 degrees, by the right triangle."""
    sea = np.zeros((3, 1800), np.float32)
    seen = look(
        sea,
        1,
        0,
        cell_m=50.0,
        eye_m=100.0,
        refraction=0.0,
        width=3,
        azimuth_from_deg=89.9,
        azimuth_to_deg=90.1,
    )
    assert seen.skyline_deg[1] == pytest.approx(-math.degrees(math.acos(6371000.0 / 6371100.0)), abs=1e-3)


def test_true_azimuths_turn_with_the_convergence():
    """A lone top due grid east stands at 90 + convergence from true north."""
    z = hills(81, 81, CELL_M, (0.0, 300.0, 200.0, 60.0))
    seen = look(z, 40, 40, convergence_deg=1.7, width=3600)
    assert seen.azimuth_deg[np.nanargmax(seen.skyline_deg)] == pytest.approx(91.7, abs=0.06)
    assert seen.angles_to((40, 70)).azimuth_deg == pytest.approx(91.7, abs=1e-9)
    assert seen.pixel(91.7, 0.0)[0] == pytest.approx(917.0)


def test_an_arc_over_north_and_grids_that_are_not_square():
    z = hills(61, 141, CELL_M, (250.0, 0.0, 150.0, 60.0))
    arc = look(z, 50, 70, azimuth_from_deg=300.0, azimuth_to_deg=60.0, width=240)
    assert arc.span_deg == 120.0
    assert arc.azimuth_deg[0] == pytest.approx(300.25)
    assert arc.azimuth_deg[-1] == pytest.approx(59.75)
    ring = look(z, 50, 70, width=720)
    across = [int(ring.pixel(a, 0.0)[0]) for a in arc.azimuth_deg]
    assert (arc.row == ring.row[:, across]).mean() > 0.999
    assert arc.pixel(180.0, 0.0) is None


def test_canopy_is_seen_and_stands_in_the_way_but_not_over_the_watcher():
    z = np.zeros((41, 41), np.float32)
    trees = z + 15.0
    trees[:, :30] = 0.0
    trees[20, 20] = 15.0
    seen = look(z, 20, 20, surface_m=trees)
    edge = math.degrees(math.atan((15.0 - EYE_M) / 100.0))
    assert seen.skyline_deg[90] == pytest.approx(edge, abs=0.01)
    assert look(z, 20, 20).skyline_deg[90] < 0.0
    assert seen.angles_to((20, 35)).up_deg > 0.0


# --- unknown ground, edges -----------------------------------------------------------------------------------------


def test_beyond_unknown_ground_nothing_is_promised():
    z = np.zeros((41, 61), np.float32)
    z[:, 40:] = 80.0
    z[15:26, 25:28] = np.nan
    seen = look(z, 20, 10)
    east, other = 90, 60
    assert UNKNOWN in seen.row[:, east]
    assert seen.at(east, seen.pixel(90.5, 5.0)[1]) is None
    assert np.isnan(seen.distance_m[seen.row < 0]).all()
    assert UNKNOWN not in seen.row[:, other]
    # the hole hides nothing below the last ground known before it
    assert (seen.row[seen.elevation_deg < -2.0, east] >= 0).all()
    assert seen.angles_to((20, 50)).hidden


def test_unknown_ground_at_the_rim_is_the_end_of_the_country():
    z = np.zeros((41, 41), np.float32)
    framed = z.copy()
    framed[:5] = framed[-5:] = framed[:, :5] = framed[:, -5:] = np.nan
    seen = look(framed, 20, 20)
    assert UNKNOWN not in seen.row
    assert seen.reach_m.max() < look(z, 20, 20).reach_m.max()
    cut = look(z[5:-5, 5:-5], 15, 15)
    np.testing.assert_allclose(cut.skyline_deg, seen.skyline_deg, atol=0.2)


@pytest.mark.parametrize("seat", [(0, 0), (0, 17), (16, 28), (32, 0), (32, 28)])
def test_a_watcher_on_the_outermost_cell(seat):
    z = hills(33, 29, CELL_M, (0.0, 0.0, 90.0, 80.0))
    seen = look(z, *seat)
    known = seen.row >= 0
    assert known[-1].all()  # 60 degrees down lies the watcher's own cell, outward as well
    assert ((seen.row[known] < 33) & (seen.col[known] < 29) & (seen.col[known] >= 0)).all()
    inward = math.degrees(math.atan2(14 - seat[1], seat[0] - 16)) % 360.0 if seat != (16, 28) else 270.0
    assert seen.at(*seen.pixel(inward, 0.5)) is not None
    assert np.isnan(seen.skyline_deg).any()
    assert not np.isnan(seen.skyline_deg).all()


def test_one_cell_alone():
    seen = look(np.zeros((1, 1), np.float32), 0, 0)
    assert np.isnan(seen.skyline_deg).all()
    assert set(np.unique(seen.row)) == {SKY, 0}


def test_unknown_ground_all_about_the_seat():
    z = np.full((9, 9), np.nan, np.float32)
    z[4, 4] = 100.0
    z[0, :] = 300.0
    seen = look(z, 4, 4)
    assert set(np.unique(seen.row[seen.row >= 0])) == {4}
    assert UNKNOWN in seen.row[:, 0]


def test_how_far_is_looked():
    z = np.zeros((101, 101), np.float32)
    seen = look(z, 50, 50, radius_m=200.0)
    assert np.nanmax(seen.distance_m) <= 200.0
    assert seen.reach_m.max() <= 200.0
    assert seen.reach_m.min() > 185.0


# --- questions asked of it -----------------------------------------------------------------------------------------


def test_light_is_lambert_s_cosine():
    """A plane that falls 30 degrees to the south, lit from the south 40 degrees high: cos(20 degrees)."""
    north, _ = axes(41, 41, CELL_M)
    z = (north * math.tan(math.radians(30.0))).astype(np.float32)
    seen = look(z, 30, 20, convergence_deg=2.0)
    lit = seen.light(182.0, 40.0)
    assert lit[seen.row >= 0] == pytest.approx(
        np.full((seen.row >= 0).sum(), math.cos(math.radians(20.0))), abs=1e-4
    )
    assert (lit[seen.row < 0] == 0.0).all()


def test_values_are_those_of_the_cells_shown():
    z = hills(41, 41, CELL_M, (100.0, 100.0, 60.0, 50.0))
    seen = look(z, 20, 20)
    numbers = np.arange(41 * 41, dtype=np.int32).reshape(41, 41)
    got = seen.values(numbers, nothing=-9)
    known = seen.row >= 0
    assert (got[known] == seen.row[known] * 41 + seen.col[known]).all()
    assert (got[~known] == -9).all()
    with pytest.raises(BadInput, match="a raster of shape"):
        seen.values(numbers[1:])


def test_the_frame_holds_the_skyline_and_the_pockets():
    z = hills(121, 121, CELL_M, (500.0, 0.0, 200.0, 150.0))
    labels = np.zeros(z.shape, np.int32)
    labels[56:59, 58:62] = 1  # close to the seat, below the level of the eye
    where = {
        "row": 60,
        "col": 60,
        "cell_m": CELL_M,
        "eye_m": EYE_M,
        "convergence_deg": 0.0,
        "surface_m": None,
    }
    arc = {"azimuth_from_deg": 300.0, "azimuth_to_deg": 60.0, "width": 600}
    frame = framing(z, labels=labels, **where, **arc)
    seen = panorama(
        z, **where, **arc, up_from_deg=frame.up_from_deg, up_to_deg=frame.up_to_deg, height=frame.height
    )
    assert seen.stretch == pytest.approx(1.0, abs=1e-9)
    assert frame.up_to_deg > np.nanmax(seen.skyline_deg)
    assert (seen.values(labels) > 0).any()
    bare = framing(z, **where, **arc)
    assert bare.up_from_deg > frame.up_from_deg + 3.0
    twice = framing(z, labels=labels, stretch=2.0, **where, **arc)
    assert twice.height == pytest.approx(2 * frame.height, abs=2)


def test_bad_words():
    z = np.zeros((9, 9), np.float32)
    z[0, 0] = np.nan
    for words, given in (
        ("no ground is known at row 0", {"row": 0, "col": 0}),
        ("no ground is known at row 9", {"row": 9, "col": 0}),
        ("an arc from 40 to 40", {"azimuth_from_deg": 40.0, "azimuth_to_deg": 40.0}),
        ("elevation angles from 5 to -5", {"up_from_deg": 5.0, "up_to_deg": -5.0}),
        ("a picture of 1 x 240", {"width": 1}),
        ("a surface of shape", {"surface_m": z[1:]}),
    ):
        with pytest.raises(BadInput, match=words):
            look(z, **({"row": 4, "col": 4} | given))
    with pytest.raises(BadInput, match="the watcher's own cell"):
        look(z, 4, 4).angles_to((4, 4))
    assert bytes_needed(1440, 240) == 16 * 1440 * 240


# --- compiled and not ----------------------------------------------------------------------------------------------


def shown_by_a_small_ground() -> dict[str, list]:
    z = hills(19, 23, CELL_M, (40.0, 30.0, 60.0, 30.0), (-50.0, -60.0, 40.0, 40.0))
    z[12:14, 6:8] = np.nan
    seen = look(z, 11, 9, width=48, height=40, azimuth_from_deg=3.3, azimuth_to_deg=363.3)
    assert UNKNOWN in seen.row
    assert SKY in seen.row
    labels = np.arange(z.size, dtype=np.int32).reshape(z.shape)
    exact = {"row": seen.row, "col": seen.col, "values": seen.values(labels)}
    near = {"distance": np.nan_to_num(seen.distance_m, nan=-1.0), "light": seen.light(120.0, 20.0)}
    return {name: array.tolist() for name, array in (exact | near).items()}


def test_plain_python_agrees_with_the_compiled_code():
    root = Path(__file__).parents[2]
    script = "import json; from tests.unit.test_panorama import shown_by_a_small_ground as s; print(json.dumps(s()))"
    path = os.pathsep.join([str(root / "src"), str(root)])
    env = os.environ | {"NUMBA_DISABLE_JIT": "1", "PYTHONPATH": path}
    done = subprocess.run(
        [sys.executable, "-c", script], env=env, cwd=root, capture_output=True, text=True, check=True
    )
    plain, compiled = json.loads(done.stdout), shown_by_a_small_ground()
    for name in ("row", "col", "values"):
        assert plain[name] == compiled[name]
    np.testing.assert_allclose(plain["distance"], compiled["distance"], rtol=1e-6)
    np.testing.assert_allclose(plain["light"], compiled["light"], atol=1e-5)

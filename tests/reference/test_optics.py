"""What the eye gets, against published limits and closed forms."""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np
import pytest

from graylight.errors import BadInput
from graylight.settings import OpticsSettings
from graylight.sight.optics import (
    ARCSEC,
    Glass,
    Task,
    air_cn2,
    apparent_arcmin,
    eye_gets,
    farthest,
    finest_arcsec,
    glasses,
    ground_view,
    shimmer_arcsec,
    tasks,
)

OPTICS = OpticsSettings()
STILL = OpticsSettings(cn2_still=1e-17)


# Eye 60", instrument max(60"/power, 116"/aperture) (Dawes 1867; acuity of one arc minute).
@pytest.mark.parametrize(
    ("power", "aperture_mm", "arcsec"),
    [(8, 42, 7.5), (10, 42, 6.0), (12, 50, 5.0), (15, 56, 4.0), (30, 80, 2.0), (60, 80, 1.45)],
)
def test_finest_angle_of_known_glasses(power, aperture_mm, arcsec):
    assert finest_arcsec(Glass("", power, aperture_mm), OPTICS) == pytest.approx(arcsec)
    assert finest_arcsec(glasses(OPTICS)[0], OPTICS) == 60.0


# Distance = h / (2 N angle), Johnson 1958 (line pairs) with the limits above; km, computed by hand from them.
@pytest.mark.parametrize(
    ("least_m", "power", "aperture_mm", "km"),
    [
        (0.10, 10, 42, 1.7), (0.10, 15, 56, 2.6), (0.10, 30, 80, 5.2),
        (0.04, 15, 56, 1.0), (0.04, 30, 80, 2.1), (0.04, 60, 80, 2.9),
    ],
)  # fmt: skip
def test_chart_distance_in_still_air(least_m, power, aperture_mm, km):
    reach = farthest(Task("judge", least_m), Glass("", power, aperture_mm), STILL, sun_deg=-6.0)
    assert reach.chart_m / 1000 == pytest.approx(km, abs=0.06)
    assert reach.field_m == pytest.approx(reach.chart_m * STILL.field_part)


# Johnson 1958: detection 1.0, orientation 1.4, recognition 4.0, identification 6.4 line pairs across the target.
def test_more_line_pairs_bring_the_distance_down_in_proportion():
    far = [
        farthest(Task("find", 0.45), Glass("", 10, 42), OpticsSettings(cycles=n, cn2_still=1e-17), sun_deg=-6)
        for n in (1.0, 1.4, 4.0, 6.4)
    ]
    assert [far[0].chart_m / one.chart_m for one in far] == pytest.approx([1.0, 1.4, 4.0, 6.4], rel=1e-2)


# 0.98 lambda / r0 at 0.55 um, spherical wave; the equation worked by hand for the project's table of check values.
@pytest.mark.parametrize(
    ("cn2", "at_1_3_5_km"),
    [(1e-15, (0.7, 1.3, 1.8)), (1e-14, (2.7, 5.3, 7.2)), (1e-13, (10.9, 21.0, 28.5))],
)
def test_shimmer(cn2, at_1_3_5_km):
    for km, arcsec in zip((1, 3, 5), at_1_3_5_km, strict=True):
        assert shimmer_arcsec(1000.0 * km, cn2) == pytest.approx(arcsec, abs=0.06)
    assert shimmer_arcsec(0.0, cn2) == 0.0


def test_the_farthest_distance_just_meets_the_need():
    for glass in glasses(OPTICS):
        for sun_deg in (-6.0, 10.0, 50.0):
            d = farthest(Task("judge", 0.04), glass, OPTICS, sun_deg=sun_deg).chart_m
            blur = math.hypot(finest_arcsec(glass, OPTICS), shimmer_arcsec(d, air_cn2(sun_deg, OPTICS)))
            assert 2 * OPTICS.cycles * blur * ARCSEC * d == pytest.approx(0.04)


def test_shimmer_takes_most_from_the_strongest_glass():
    weak, strong = glasses(OPTICS)[1], glasses(OPTICS)[4]
    for task in tasks(0.9, OPTICS):
        lost = [
            farthest(task, glass, OPTICS, sun_deg=50).chart_m
            / farthest(task, glass, OPTICS, sun_deg=0).chart_m
            for glass in (weak, strong)
        ]
        assert lost[1] < lost[0] <= 1.0


def test_air_goes_from_still_to_strong_with_the_sun():
    assert air_cn2(-20.0, OPTICS) == pytest.approx(OPTICS.cn2_still)
    assert air_cn2(80.0, OPTICS) == pytest.approx(OPTICS.cn2_strong)
    assert air_cn2(17.5, OPTICS) == pytest.approx(math.sqrt(OPTICS.cn2_still * OPTICS.cn2_strong))


def test_defaults_stay_near_the_practice():
    """Find with 10x to about 3 km, judge antlers at 45x to about 2 km in still air: common practice, no source.

    Between the field's and the chart's distance, that is; a deer with the naked eye well within a kilometre.
    """
    find, _, judge = tasks(0.9, OPTICS)
    eye, _, ten, _, scope = glasses(OPTICS)
    assert farthest(find, ten, OPTICS, sun_deg=0).field_m == pytest.approx(3000, rel=0.3)
    reach = farthest(judge, scope, OPTICS, sun_deg=0)
    assert reach.field_m < 2000 < reach.chart_m
    assert 300 < farthest(find, eye, OPTICS, sun_deg=0).field_m < 1000


def test_the_page_tells_the_distances_of_the_defaults():
    page = (Path(__file__).parents[2] / "docs" / "sight.md").read_text(encoding="utf-8")
    rows = re.findall(
        r"^\| ([\w ]+), (find|tell apart|judge)(?: a deer)? \| (.+) \| (.+) \|$", page, re.MULTILINE
    )
    assert len(rows) == 5
    for name, task_name, *told in rows:
        glass = next(one for one in glasses(OPTICS) if one.name == name)
        task = next(one for one in tasks(0.9, OPTICS) if one.name == task_name)
        for words, sun_deg in zip(told, (0.0, 40.0), strict=True):
            reach = farthest(task, glass, OPTICS, sun_deg=sun_deg)
            ours = [reach.field_m / 1000, reach.chart_m / 1000]
            assert [float(one) for one in words.split(" – ")] == pytest.approx(ours, rel=0.04)


def test_answers_fall_with_distance_and_rise_with_the_glass():
    rank = {"no": 0, "in doubt": 1, "yes": 2}
    near, far = (eye_gets(d, 0.9, OPTICS, sun_deg=5.0) for d in (600.0, 2500.0))
    for glass, by_task in near.items():
        assert [rank[a] for a in by_task.values()] == sorted(
            (rank[a] for a in by_task.values()), reverse=True
        )
        for task, answer in by_task.items():
            assert rank[far[glass][task]] <= rank[answer]
    for task in ("find", "tell apart", "judge"):
        column = [rank[by_task[task]] for by_task in far.values()]
        assert column == sorted(column)


def test_apparent_size():
    # one arc minute is 0.291 m at 1 km (360 x 60 arc minutes to a circle)
    assert apparent_arcmin(2 * math.pi * 1000 / 21600, 1000.0) == pytest.approx(1.0)
    assert apparent_arcmin(0.9, 0.45) == pytest.approx(5400.0)  # a right angle


# --- the ground in the view ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("slope_deg", [0.0, 20.0, 45.0])
@pytest.mark.parametrize("turn", range(4))
def test_a_slope_is_seen_by_the_cosine_to_its_normal(slope_deg, turn):
    """A plane rising away from a level eye shows sin(slope) of itself; turned to any side of the grid."""
    rows, _ = np.mgrid[:81, :81].astype(np.float64)
    z = np.where(rows < 40, (40 - rows) * 10 * math.tan(math.radians(slope_deg)), 0.0)
    eye, cell, eye_m = (80, 40), (20, 40), 200 * math.tan(math.radians(slope_deg))
    for _ in range(turn):
        z, eye, cell = np.rot90(z), (80 - eye[1], eye[0]), (80 - cell[1], cell[0])
    got = ground_view(
        z,
        eye=eye,
        eye_m=eye_m,
        rows=np.array([cell[0]]),
        cols=np.array([cell[1]]),
        cell_m=10.0,
        refraction=1.0,
    )
    assert got.cosine[0] == pytest.approx(math.sin(math.radians(slope_deg)), abs=1e-9)
    assert got.squareness == pytest.approx(got.cosine[0])


def test_flat_ground_from_above_fills_its_solid_angle():
    """A rectangle about the foot of the eye: four times atan(a b / (h sqrt(a2 + b2 + h2))) steradians."""
    rows, cols = np.mgrid[:61, :41]
    a, b, h = 30.5, 20.5, 80.0
    got = ground_view(
        np.zeros((61, 41)), eye=(30, 20), eye_m=h, rows=rows, cols=cols, cell_m=1.0, refraction=1.0
    )
    whole = 4 * math.atan(a * b / (h * math.sqrt(a * a + b * b + h * h)))
    own_cell = 1 / h**2  # left out
    assert got.square_degrees == pytest.approx((whole - own_cell) * math.degrees(1) ** 2, rel=1e-4)


def test_ground_that_faces_away_shows_nothing_and_unknown_ground_is_left_out():
    rows, _ = np.mgrid[:41, :41].astype(np.float64)
    z = -rows * 10.0
    away = ground_view(
        z[::-1], eye=(40, 20), eye_m=1.0, rows=np.array([30]), cols=np.array([20]), cell_m=10.0
    )
    assert 0 <= away.cosine[0] < 0.01  # along the slope: edge on
    back = ground_view(
        np.abs(rows - 20) * -10.0,
        eye=(0, 20),
        eye_m=1.0,
        rows=np.array([30]),
        cols=np.array([20]),
        cell_m=10.0,
    )
    assert back.cosine[0] == 0.0
    z[10, 10] = np.nan
    hole = ground_view(
        z, eye=(0, 20), eye_m=1.0, rows=np.array([10, 9]), cols=np.array([10, 10]), cell_m=10.0
    )
    assert np.isnan(hole.cosine).all()
    assert np.isnan(hole.squareness)
    assert hole.square_degrees == 0.0
    with pytest.raises(BadInput, match="no ground is known at row 10"):
        ground_view(z, eye=(10, 10), eye_m=1.0, rows=np.array([1]), cols=np.array([1]), cell_m=10.0)

"""Ground beyond the country's edge: a wall outside makes the first sun late, by as much as geometry says."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from graylight.errors import BadInput
from graylight.grid import LonLat
from graylight.kernels.skyline import NONE, PER_DEG, UNKNOWN
from graylight.sky.beyond import GAP_M, Beyond
from graylight.sky.first_last_sun import sharpened
from graylight.sky.horizon import sunlit
from graylight.sky.shade import moment, shade
from graylight.sky.sun import sun_path, upper_limb_deg
from graylight.sky.surface import Surface
from tests.reference.exact_beyond import tangent

PLACE, DAY = LonLat(-111.0, 39.3), dt.date(2026, 9, 15)
CELL, FAR_CELL = 10.0, 90.0
REACH = 15_000.0
EARTH = 6_371_000.0


def apron(ground, wall=None, *, reach=REACH, base=2000.0):
    """An apron of level ground around a country, with heights from a function of metres east and north of its middle."""
    rows, cols = ground.shape
    n, m = (2 * round((side * CELL / 2 + reach) / FAR_CELL) + 1 for side in (rows, cols))
    heights = np.full((n, m), base, np.float32)
    y, x = np.meshgrid((np.arange(n) - n // 2) * -FAR_CELL, (np.arange(m) - m // 2) * FAR_CELL, indexing="ij")
    if wall is not None:
        heights = np.asarray(wall(x, y, heights), np.float32)
    # the middle of the country is the middle of the apron's middle cell
    corner = (n // 2 - (rows - 1) / 2 * CELL / FAR_CELL, m // 2 - (cols - 1) / 2 * CELL / FAR_CELL)
    return Beyond.of(heights, ground, apron_cell_m=FAR_CELL, cell_m=CELL, corner=corner)


def flat(rows=60, cols=60, height=2000.0):
    return np.full((rows, cols), height, np.float32)


def ridge_in_the_east(away_m, rise_m):
    return lambda x, y, h: np.where((x >= away_m) & (x < away_m + 200), h + rise_m, h)


def day(ground, beyond=None, **how):
    level = np.zeros_like(ground)
    return shade(
        ground, level, level, cell_m=CELL, convergence_deg=0.0, place=PLACE, day=DAY, beyond=beyond, **how
    )


def when_over(angle_deg, azimuth_change=True):
    """When the sun's upper edge passes an altitude in the morning, seconds of the day; by the almanac's own path."""
    times = np.datetime64(DAY, "us") + np.arange(11 * 3600, 17 * 3600, 5) * np.timedelta64(1, "s")
    path = sun_path(PLACE, height_m=0.0, times=times)
    limb = upper_limb_deg(path.altitude_deg)
    k = int(np.argmax(limb >= angle_deg))
    return 11 * 3600 + 5 * k, float(path.azimuth_deg[k])


def test_the_first_sun_is_late_by_a_ridge_outside():
    """A ridge 600 m higher, 12 km to the east: its angle by plane geometry less the curve of the earth."""
    ground = flat()
    late = day(ground, apron(ground, ridge_in_the_east(12_000.0, 600.0)))
    early = day(ground)
    at = (30, 30)
    _, azimuth = when_over(2.5)
    away = 12_000.0 / np.sin(np.radians(azimuth))  # the ridge runs north and south
    angle = np.degrees(np.arctan(600.0 / away - (6 / 7) * away / (2 * EARTH)))
    expected, _ = when_over(angle)
    assert late.first_sun_s[at] == pytest.approx(expected, abs=45.0)
    assert late.first_sun_s[at] - early.first_sun_s[at] > 600.0
    assert late.last_sun_s[at] == early.last_sun_s[at]  # nothing stands in the west


def test_sharpening_keeps_it_late():
    ground = flat()
    ground[:, 45:48] += 8.0  # a bank inside, which alone would let the sun in earlier
    beyond = apron(ground, ridge_in_the_east(12_000.0, 600.0))
    found = day(ground, beyond)
    sharp = sharpened(
        ground,
        found.first_sun_s,
        cell_m=CELL,
        convergence_deg=0.0,
        place=PLACE,
        day=DAY,
        beyond_s=found.beyond_s[0],
    )
    assert (sharp >= found.beyond_s[0] - 16.0).all()
    plain = day(ground)
    alone = sharpened(ground, plain.first_sun_s, cell_m=CELL, convergence_deg=0.0, place=PLACE, day=DAY)
    behind = np.s_[
        10:50, 41:44
    ]  # close under the bank the bank decides, and is sharpened as without the ridge
    assert np.abs(sharp[behind] - alone[behind]).max() <= 31.0


def test_a_ridge_in_the_west_takes_the_last_sun_early():
    """By the same plane geometry, and sharpening keeps it so though the ground inside would let the sun stay longer."""
    ground = flat()
    ground[:, 12:15] += 2.0
    west = day(ground, apron(ground, lambda x, y, h: ridge_in_the_east(12_000.0, 600.0)(-x, y, h)))
    plain = day(ground)
    sharp = sharpened(
        ground, west.last_sun_s, last=True, cell_m=CELL, convergence_deg=0.0, place=PLACE, day=DAY,
        beyond_s=west.beyond_s[1],
    )  # fmt: skip
    open_ground = np.s_[10:50, 30:50]
    assert (plain.last_sun_s[open_ground] - sharp[open_ground] > 600.0).all()
    assert (sharp <= west.beyond_s[1] + 16.0).all()
    assert np.array_equal(west.first_sun_s[open_ground], plain.first_sun_s[open_ground])


def test_few_cells_and_all_cells_agree():
    north = np.sin(np.arange(60) / 9.0)[:, None]
    ground = (2060 - np.arange(60)[None, :] + 20 * north).astype(
        np.float32
    )  # it falls to the east, where one looks

    def hills(x, y, h):
        return h + 700 * np.exp(-(((x - 9000) / 1500) ** 2)) * (1 + 0.3 * np.sin(y / 900))

    beyond = apron(ground, hills)
    rows, cols = np.array([5, 30, 55]), np.array([8, 30, 50])
    for azimuth in (75.0, 90.0, 110.0):
        codes = beyond.codes(azimuth)
        exact = beyond.tangents(rows, cols, azimuth_grid_deg=np.array([azimuth]), least_deg=np.array([0.0]))[
            0
        ]
        angle = codes[rows, cols] / PER_DEG
        assert angle == pytest.approx(np.degrees(np.arctan(exact)), abs=0.02)
        lit = sunlit(
            ground, rows, cols, cell_m=CELL, azimuth_grid_deg=np.array([azimuth] * 2),
            limb_deg=np.degrees(np.arctan([exact.min() - 0.005, exact.max() + 0.005])), beyond=beyond,
        )  # fmt: skip
        assert lit.tolist() == [[False] * 3, [True] * 3]


@settings(max_examples=25, deadline=None)
@given(
    seed=st.integers(0, 10_000), azimuth=st.floats(0.0, 360.0), row=st.integers(0, 39), col=st.integers(0, 29)
)
def test_as_the_plainest_way_has_it(seed, azimuth, row, col):
    """Against tests/reference/exact_beyond.py, which samples every 4 m and ends nowhere early."""
    rng = np.random.default_rng(seed)
    ground = (2000 + 200 * rng.random((40, 30))).astype(np.float32)

    def rough(x, y, h):
        a, b, c = rng.uniform(1500, 6000, 3)
        return h + 500 * np.sin(x / a) * np.cos(y / b) + 300 * np.sin((x + y) / c)

    beyond = apron(ground, rough, reach=9000.0)
    height = float(ground[row, col])
    place = tuple(corner + at * CELL / FAR_CELL for corner, at in zip(beyond.corner, (row, col), strict=True))
    gap = GAP_M / FAR_CELL
    half = 0.5 * CELL / FAR_CELL
    (r, c), (rows, cols) = beyond.corner, ground.shape
    box = (
        r - half - gap,
        r + (rows - 0.5) * CELL / FAR_CELL + gap,
        c - half - gap,
        c + (cols - 0.5) * CELL / FAR_CELL + gap,
    )
    exact = tangent(beyond.apron_m, FAR_CELL, place, height, box, azimuth)
    got = beyond.tangents(
        np.array([row]), np.array([col]), azimuth_grid_deg=np.array([azimuth]), least_deg=np.array([0.0])
    )[0, 0]
    if exact <= 0.001:
        assert got < 0.006
    else:
        # every 90 to 127 m against every 4 m, over slopes of up to 20 degrees
        assert got == pytest.approx(exact, abs=0.006 + 0.03 * exact)
        assert got <= exact * 1.02 + 0.002


def test_level_ground_outside_changes_nothing():
    ground = flat()
    ground[20:40, 20:40] += 30.0
    with_it, without = day(ground, apron(ground)), day(ground)
    for name in ("first_sun_s", "last_sun_s", "sun_s", "midday", "by_hour"):
        assert np.array_equal(getattr(with_it, name), getattr(without, name), equal_nan=True), name


def test_the_wall_must_be_toward_the_sun():
    ground = flat()
    west = apron(ground, lambda x, y, h: np.where(x < -8000, h + 900, h))
    plain, found = day(ground), day(ground, west)
    assert np.array_equal(found.first_sun_s, plain.first_sun_s)
    assert (plain.last_sun_s - found.last_sun_s > 600).all()
    assert (plain.sun_s - found.sun_s > 600).all()


def test_a_higher_wall_or_a_lower_place_is_later():
    ground = flat()
    ground[:30] += 300.0
    low = day(ground, apron(ground, ridge_in_the_east(9000.0, 500.0)))
    high = day(ground, apron(ground, ridge_in_the_east(9000.0, 900.0)))
    away = np.r_[0:28, 50:60]  # from the step itself, which throws a shadow of its own
    assert (high.first_sun_s[away] > low.first_sun_s[away] + 300).all()
    # 300 m lower, 9 km from the ridge: 1.9 degrees, ten minutes
    assert low.first_sun_s[50, 30] - low.first_sun_s[10, 30] > 480


def test_a_moment_knows_it_too():
    ground = flat()
    level = np.zeros_like(ground)
    seconds, _ = when_over(1.5)
    time = dt.datetime.combine(DAY, dt.time(), dt.UTC) + dt.timedelta(seconds=seconds)
    plain = Surface.of(ground, level, level, cell_m=CELL, convergence_deg=0.0)
    far = apron(ground, ridge_in_the_east(12_000.0, 600.0))
    walled = Surface.of(ground, level, level, cell_m=CELL, convergence_deg=0.0, beyond=far)
    assert moment(plain, place=PLACE, time=time).lit.all()
    assert not moment(walled, place=PLACE, time=time).lit.any()


def test_unknown_ground_hides_nothing_and_gets_no_answer():
    ground = flat()
    ground[5:10, 5:10] = np.nan
    holes = apron(ground, lambda x, y, h: np.where(x > 5000, np.nan, h))
    found = day(ground, holes)
    assert np.array_equal(found.first_sun_s, day(ground).first_sun_s, equal_nan=True)
    walled = apron(ground, ridge_in_the_east(5000.0, 800.0))
    codes = walled.codes(90.0)
    assert (codes[5:10, 5:10] == UNKNOWN).all()
    assert (codes[20:] > NONE).all()
    assert apron(ground, lambda x, y, h: h * np.nan).codes(90.0) is None


def test_ground_right_at_the_edge_is_left_to_the_countrys_own():
    ground = flat()
    edge = ground.shape[1] * CELL / 2
    near = apron(ground, lambda x, y, h: np.where((x > edge) & (x < edge + 60), h + 50, h))
    assert near.codes(90.0) is None


def test_what_is_no_apron_is_refused():
    with pytest.raises(BadInput, match="accepted"):
        Beyond.of(np.zeros(4, np.float32), flat(), apron_cell_m=90.0, cell_m=10.0, corner=(0.0, 0.0))


def test_the_same_bytes_twice():
    ground = flat()
    beyond = apron(ground, lambda x, y, h: h + 400 * np.sin(x / 2000) * np.sin(y / 3000))
    assert np.array_equal(beyond.codes(100.0), beyond.codes(100.0))


def test_a_thinned_country_sees_the_same():
    ground = (2030 + 20 * np.sin(np.arange(60) / 10.0)[:, None] * np.ones(60)).astype(np.float32)
    beyond = apron(ground, ridge_in_the_east(9000.0, 700.0))
    thin = beyond.thinned(4).codes(90.0)
    assert thin.shape == (15, 15)
    assert np.abs(thin - beyond.codes(90.0)[2::4, 2::4].astype(int)).max() <= 12  # a sixteenth of a degree

"""Shade: directions, canopy, holes, hemispheres, and the frame of the grid."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.ndimage import gaussian_filter

from graylight.errors import BadInput, Cancelled
from graylight.grid import LonLat
from graylight.ground.relief import slope_and_aspect
from graylight.sky.horizon import bytes_needed as bytes_of_a_ring
from graylight.sky.horizon import degrees, horizon, horizon_of, toward
from graylight.sky.light import light_of_day, solar_noon
from graylight.sky.shade import NODATA_PERCENT, bytes_needed, moment, shade
from graylight.sky.surface import Surface

NORTH, SOUTH = LonLat(-111.5, 39.3), LonLat(169.0, -44.0)
SUMMER, WINTER = date(2026, 6, 21), date(2026, 12, 21)


def plane(rows=9, cols=11, *, slope=0.0, aspect=0.0, cell=10.0):
    """A tilted plane and its exact slope and aspect."""
    row, col = np.mgrid[:rows, :cols]
    fall = np.tan(np.radians(slope))
    # downhill is toward the aspect: lower to the north means higher with the row
    z = 2000.0 + cell * fall * (row * np.cos(np.radians(aspect)) - col * np.sin(np.radians(aspect)))
    return z.astype(np.float32), np.full(z.shape, slope, np.float32), np.full(z.shape, aspect, np.float32)


def day_of(layers, *, place=NORTH, day=SUMMER, **more):
    return shade(*layers, cell_m=10.0, **{"convergence_deg": 0.0, **more}, place=place, day=day)


def test_shapes_types_and_hours():
    result = day_of(plane(), day=date(2026, 8, 27))
    assert result.midday.shape == result.first_sun_s.shape == (9, 11)
    assert result.midday.dtype == result.first_sun_s.dtype == np.float32
    assert result.by_hour.dtype == np.uint8
    assert result.by_hour.shape == (len(result.hours), 9, 11)
    assert list(result.hours) == list(range(6, 19))


def test_level_ground_is_shaded_by_the_suns_lowness_alone():
    """Level ground gets sin(altitude) of the beam; at noon in June at 39.3 N the sun stands at 74.1."""
    result = day_of(plane())
    noon = result.by_hour[list(result.hours).index(12)]
    assert np.all(noon == round(100 - 100 * np.sin(np.radians(90 - 39.3 + 23.43))))


def test_ground_square_to_the_noon_sun_gets_all_of_it():
    result = day_of(plane(slope=39.3 - 23.43, aspect=180.0))
    assert np.all(result.by_hour[list(result.hours).index(12)] == 0)


@pytest.mark.parametrize(("place", "sunny", "shady"), [(NORTH, 180.0, 0.0), (SOUTH, 0.0, 180.0)])
@pytest.mark.parametrize("day", [SUMMER, WINTER])
def test_slopes_away_from_the_equator_are_shadier(place, sunny, shady, day):
    bright = day_of(plane(slope=30.0, aspect=sunny), place=place, day=day).midday.mean()
    dark = day_of(plane(slope=30.0, aspect=shady), place=place, day=day).midday.mean()
    assert dark > bright + 0.1


@pytest.mark.parametrize("place", [NORTH, SOUTH])
def test_east_slopes_have_the_morning_and_west_slopes_the_evening(place):
    east = day_of(plane(slope=25.0, aspect=90.0), place=place, day=date(2026, 9, 20))
    west = day_of(plane(slope=25.0, aspect=270.0), place=place, day=date(2026, 9, 20))
    at = {int(h): i for i, h in enumerate(east.hours)}
    assert east.by_hour[at[8]].mean() < west.by_hour[at[8]].mean()
    assert east.by_hour[at[16]].mean() > west.by_hour[at[16]].mean()
    # the far side of a 25 degree slope waits for a 25 degree sun; its upper edge has nothing above it
    assert np.nanmean(west.first_sun_s[:, -4:]) < np.nanmean(west.first_sun_s) + 1
    assert np.nanmedian(west.first_sun_s) - np.nanmedian(east.first_sun_s) > 90 * 60


def test_steep_cold_side_in_winter_never_sees_the_sun():
    result = day_of(plane(slope=40.0, aspect=0.0), day=WINTER)
    inner = (slice(0, -1), slice(1, -1))  # the upper, sunward edge has no ground before it
    assert np.all(np.isnan(result.first_sun_s[inner]))
    assert np.all(result.midday[inner] == 1.0)
    assert np.all(result.by_hour[:, :-1, 1:-1] == 100)


def test_polar_night_is_full_shade_and_polar_day_has_every_hour():
    night = day_of(plane(), place=LonLat(15.0, 79.0), day=WINTER)
    assert night.hours.size == 0
    assert night.by_hour.shape == (0, 9, 11)
    assert np.all(night.midday == 1.0)
    assert np.all(np.isnan(night.first_sun_s))
    light = day_of(plane(), place=LonLat(15.0, 79.0), day=SUMMER)
    assert list(light.hours) == list(range(24))
    assert np.all(np.isfinite(light.first_sun_s))
    # where the sun doesn't set, the day runs from solar midnight to midnight
    assert np.allclose(light.sun_s, 86400.0, atol=120.0)
    assert np.allclose(light.last_sun_s - light.first_sun_s, 86400.0, atol=120.0)
    assert np.all(night.sun_s == 0.0)
    assert np.all(np.isnan(night.last_sun_s))


@pytest.mark.parametrize("place", [NORTH, SOUTH, LonLat(18.9, 66.2)])
@pytest.mark.parametrize("day", [SUMMER, date(2026, 9, 20), date(2026, 1, 25)])
def test_sun_on_a_plain_is_the_almanacs(place, day):
    light = light_of_day(place, day)
    got = day_of(plane(), place=place, day=day)
    if light.sunrise is None or light.sunset is None:
        assert np.all(np.isnan(got.first_sun_s) | (got.sun_s > 80_000))
        return
    midnight = datetime(day.year, day.month, day.day, tzinfo=UTC)
    assert np.all(got.first_sun_s == (light.sunrise - midnight).total_seconds())
    assert np.all(got.last_sun_s == (light.sunset - midnight).total_seconds())
    assert np.allclose(got.sun_s, (light.sunset - light.sunrise).total_seconds(), atol=1.0)


def test_the_sun_comes_and_goes_behind_a_post():
    """A post due south of a cell takes its noon: less sun than from first to last."""
    z = np.full((61, 61), 1000.0, np.float32)
    z[30:33, 29:32] = 1400.0
    level = np.zeros_like(z)
    got = shade(z, level, level, cell_m=10.0, convergence_deg=0.0, place=NORTH, day=WINTER)
    behind, clear = (20, 30), (50, 30)
    whole = got.last_sun_s - got.first_sun_s
    assert got.sun_s[behind] < whole[behind] - 1200
    assert got.sun_s[clear] == pytest.approx(whole[clear], abs=2.0)
    assert got.first_sun_s[behind] == got.first_sun_s[clear]


def ragged(rows=70, cols=83):
    """Rough ground with a hole, and its slope and aspect."""
    rng = np.random.default_rng(8)
    z = gaussian_filter(rng.random((rows, cols)) * 900, 4).astype(np.float32) * 2
    z[30:34, 40:43] = np.nan
    return (z, *slope_and_aspect(z, cell_m=10.0))


@pytest.mark.parametrize("hour", [8, 12, 16])
def test_a_moment_is_the_days_hour(hour):
    layers = ragged()
    day = date(2026, 9, 20)
    got = day_of(layers, day=day, convergence_deg=1.3)
    noon = solar_noon(NORTH, day).astype(datetime).replace(tzinfo=UTC)
    ground = Surface.of(*layers, cell_m=10.0, convergence_deg=1.3)
    time = noon + timedelta(hours=hour - 12)
    now = moment(ground, place=NORTH, time=time)
    assert np.array_equal(now.shade_percent, got.by_hour[list(got.hours).index(hour)])
    assert np.array_equal(now.lit == NODATA_PERCENT, np.isnan(layers[0]))
    assert np.all(now.shade_percent[now.lit == 0] == 100)
    elsewhere = moment(ground, place=NORTH, time=time.astimezone(timezone(timedelta(hours=-6))))
    assert np.array_equal(now.lit, elsewhere.lit)


def test_a_moment_from_the_kept_horizon():
    layers = ragged()
    ground = Surface.of(*layers, cell_m=10.0, convergence_deg=1.3)
    time = datetime(2026, 9, 20, 14, 40, tzinfo=UTC)
    fresh = moment(ground, place=NORTH, time=time)
    off = []
    for directions in (16, 64, 256):
        kept = horizon(layers[0], cell_m=10.0, convergence_deg=1.3, directions=directions)
        near = moment(ground, place=NORTH, time=time, kept=kept)
        off.append((near.lit != fresh.lit).mean())
        assert near.limb_deg == fresh.limb_deg
    assert off[0] > off[1] > off[2]
    assert off[1] < 0.05
    assert 0.2 < (fresh.lit == 1).mean() < 0.95


def test_a_moment_by_night_and_bad_moments():
    layers = ragged()
    ground = Surface.of(*layers, cell_m=10.0, convergence_deg=0.0)
    night = moment(ground, place=NORTH, time=datetime(2026, 9, 20, 8, tzinfo=UTC))
    known = np.isfinite(layers[0])
    assert np.all(night.lit[known] == 0)
    assert np.all(night.shade_percent[known] == 100)
    with pytest.raises(BadInput, match="no zone"):
        moment(ground, place=NORTH, time=datetime(2026, 9, 20, 8))
    other = horizon(layers[0][:-1], cell_m=10.0, directions=8)
    with pytest.raises(BadInput, match="one shape"):
        moment(ground, place=NORTH, time=datetime(2026, 9, 20, 15, tzinfo=UTC), kept=other)


def test_a_ring_of_horizons_answers_between_its_directions():
    z = ragged()[0]
    ring = horizon(z, cell_m=10.0, convergence_deg=-2.0, directions=36)
    assert ring.codes.shape == (36, *z.shape)
    assert np.array_equal(
        ring.at(70.0), degrees(toward(z, cell_m=10.0, azimuth_grid_deg=72.0)), equal_nan=True
    )
    assert np.array_equal(ring.at(430.0), ring.at(70.0), equal_nan=True)
    half = (ring.at(70.0) + ring.at(80.0)) / 2.0
    met = (ring.at(70.0) > -90.0) & (ring.at(80.0) > -90.0)
    assert np.abs(ring.at(75.0) - half)[met].max() < 0.0051
    last = (ring.at(350.0) + ring.at(0.0)) / 2.0
    met = (ring.at(350.0) > -90.0) & (ring.at(0.0) > -90.0)
    assert np.abs(ring.at(355.0) - last)[met].max() < 0.0051
    assert np.all(np.isnan(ring.at(11.0)) == np.isnan(z))
    assert np.array_equal(ring.profile(12, 34), [ring.at(a)[12, 34] for a in ring.azimuth_true_deg])
    assert np.all(np.isnan(ring.profile(31, 41)))


def test_memory_of_a_ring():
    assert bytes_of_a_ring((1200, 1200)) < 200e6
    assert bytes_of_a_ring((1200, 1200), directions=128) > 1.9 * bytes_of_a_ring((1200, 1200))


def test_bad_horizons():
    z = plane()[0]
    with pytest.raises(BadInput, match="4 to 720"):
        horizon(z, cell_m=10.0, directions=3)
    with pytest.raises(BadInput, match="size above 0"):
        horizon(z, cell_m=float("nan"))
    with pytest.raises(BadInput, match="at least 1 x 1"):
        toward(z[:0], cell_m=10.0, azimuth_grid_deg=0.0)
    with pytest.raises(BadInput, match="0 to 1"):
        toward(z, cell_m=10.0, azimuth_grid_deg=0.0, refraction=1.5)


def test_first_sun_counts_from_midnight_utc_of_the_local_date():
    """27 August in New Zealand dawns on 26 August, UTC: below zero."""
    result = day_of(plane(), place=SOUTH, day=date(2026, 8, 27))
    assert np.all(result.first_sun_s < 0)
    assert np.all(result.first_sun_s > -6 * 3600)


def test_canopy_multiplies_the_beam():
    layers = plane(slope=20.0, aspect=150.0)
    open_ground = day_of(layers).midday
    half = day_of(layers, closure=np.full(open_ground.shape, 0.5, np.float32)).midday
    assert np.allclose(1 - half, 0.5 * (1 - open_ground), atol=1e-6)
    closed = day_of(layers, closure=np.ones(open_ground.shape, np.float32)).midday
    assert np.all(closed == 1.0)
    unknown = day_of(layers, closure=np.full(open_ground.shape, np.nan, np.float32)).midday
    assert np.array_equal(unknown, open_ground)


def test_holes_get_no_answer_and_cast_no_shadow():
    z, slope, aspect = plane(12, 15)
    hole = np.zeros(z.shape, bool)
    hole[4:6, 6:9] = True
    result = day_of((np.where(hole, np.nan, z).astype(np.float32), slope, aspect))
    whole = day_of((z, slope, aspect))
    assert np.all(np.isnan(result.midday[hole]))
    assert np.all(np.isnan(result.first_sun_s[hole]))
    assert np.all(result.by_hour[:, hole] == NODATA_PERCENT)
    assert np.array_equal(result.midday[~hole], whole.midday[~hole])
    assert np.array_equal(result.by_hour[:, ~hole], whole.by_hour[:, ~hole])


def test_level_ground_without_an_aspect():
    z, slope, _ = plane()
    result = day_of((z, slope, np.full(z.shape, np.nan, np.float32)))
    assert np.array_equal(result.midday, day_of((z, slope, slope)).midday)


def angle_toward(z, azimuth, *, cell=10.0):
    return degrees(toward(z, cell_m=cell, azimuth_grid_deg=azimuth))


def wall():
    z = np.full((41, 41), 1000.0, np.float32)
    z[20, 20] = 1100.0
    return z


@pytest.mark.parametrize("azimuth", range(0, 360, 15))
def test_shadow_falls_away_from_the_sun(azimuth):
    rows, cols = np.nonzero(angle_toward(wall(), azimuth) > 35.0)
    east, north = cols.mean() - 20, 20 - rows.mean()
    pointed = np.degrees(np.arctan2(east, north)) % 360
    assert abs((pointed - azimuth - 180 + 180) % 360 - 180) < 5.0


@pytest.mark.parametrize("turn", [1, 2, 3])
def test_turned_country_has_turned_shadows(turn):
    rng = np.random.default_rng(1)
    z = (2000 + 40 * rng.random((23, 31))).astype(np.float32)
    z[3:5, 7] = np.nan
    there = angle_toward(np.rot90(z, turn), 112.0 - 90.0 * turn)
    assert np.allclose(np.rot90(there, -turn), angle_toward(z, 112.0), atol=0.006, equal_nan=True)


def test_mirrored_country_has_mirrored_shadows():
    z = (2000 + 40 * np.random.default_rng(2).random((23, 31))).astype(np.float32)
    there = angle_toward(z[:, ::-1], -112.0)
    assert np.allclose(there[:, ::-1], angle_toward(z, 112.0), atol=0.006)


def test_height_of_the_whole_country_does_not_matter():
    layers = plane(slope=35.0, aspect=20.0)
    layers[0][3, 5] += 30.0
    low, high = day_of(layers), day_of((layers[0] + np.float32(1024.0), *layers[1:]))
    assert np.allclose(low.midday, high.midday, atol=1e-5)


def test_grid_turned_against_true_north_turns_the_shadow():
    """With true = grid + convergence, shadows of the same ground swing by the convergence."""
    z = np.full((61, 61), 1000.0, np.float32)
    z[30, 30] = 1200.0
    level = np.zeros_like(z)
    east = shade(z, level, level, cell_m=10.0, convergence_deg=20.0, place=NORTH, day=date(2026, 9, 22))
    noon = east.by_hour[list(east.hours).index(12)]
    rows, cols = np.nonzero(noon == 100)
    away = np.hypot(rows - 30, cols - 30) > 4
    pointed = np.degrees(np.arctan2(cols[away] - 30, 30 - rows[away]))
    assert np.median(pointed) == pytest.approx(-20.0, abs=2.0)  # sun at grid azimuth 160, shadow at 340


def test_the_same_bytes_twice():
    layers = plane(40, 33, slope=20.0, aspect=100.0)
    layers[0][10:20, 12] += 35.0
    one, two = day_of(layers), day_of(layers)
    for name in ("midday", "by_hour", "first_sun_s", "last_sun_s", "sun_s"):
        assert getattr(one, name).tobytes() == getattr(two, name).tobytes()


def test_any_range_of_lines_gives_the_same_shadow(monkeypatch):
    z = (2000 + 90 * np.random.default_rng(3).random((50, 70))).astype(np.float32)
    whole = [toward(z, cell_m=10.0, azimuth_grid_deg=a) for a in (33, 118, 250)]
    monkeypatch.setattr("graylight.sky.horizon._LINES_AT_ONCE", 7)
    parts = [toward(z, cell_m=10.0, azimuth_grid_deg=a) for a in (33, 118, 250)]
    assert all(np.array_equal(a, b) for a, b in zip(whole, parts, strict=True))


def test_progress_and_stop():
    seen = []
    day_of(plane(), tick=seen.append)
    assert seen == sorted(seen)
    assert seen[-1] == 1.0

    def stop(fraction):
        if fraction > 0.3:
            raise Cancelled("stopped")

    with pytest.raises(Cancelled):
        day_of(plane(), tick=stop)


def test_layers_that_do_not_match():
    z, slope, aspect = plane()
    with pytest.raises(BadInput, match="one shape"):
        day_of((z, slope[:-1], aspect))
    with pytest.raises(BadInput, match="one shape"):
        day_of((z[:0], slope[:0], aspect[:0]))
    with pytest.raises(BadInput, match="size above 0"):
        shade(z, slope, aspect, cell_m=0.0, convergence_deg=0.0, place=NORTH, day=SUMMER)


@pytest.mark.parametrize("shape", [(1, 1), (1, 7), (6, 1), (2, 3)])
def test_the_smallest_grids(shape):
    result = day_of(plane(*shape))
    assert np.all(np.isfinite(result.midday))


def test_memory_grows_with_the_country():
    assert bytes_needed((1200, 1200)) < 120e6
    assert bytes_needed((2400, 1200)) == 2 * bytes_needed((1200, 1200))


@given(st.integers(1, 12), st.integers(1, 12), st.floats(-720, 720), st.integers(0, 99))
@settings(max_examples=80, deadline=None)
def test_any_horizon(rows, cols, azimuth, seed):
    rng = np.random.default_rng(seed)
    z = (1000 + 500 * rng.random((rows, cols))).astype(np.float32)
    z[rng.random(z.shape) < 0.2] = np.nan
    angle = angle_toward(z, azimuth, cell=25.0)
    assert np.array_equal(np.isnan(angle), np.isnan(z))
    assert np.nanmax(angle, initial=-90.0) < 90.0
    if np.isfinite(z).any():  # nothing stands over the highest cell, by its own ray
        highest = np.unravel_index([np.nanargmax(z)], z.shape)
        assert horizon_of(z, *highest, cell_m=25.0, azimuth_grid_deg=np.array([azimuth]))[0, 0] <= 0.0


@given(st.integers(2, 14), st.integers(2, 14), st.floats(0, 360), st.floats(0, 80), st.integers(0, 99))
@settings(max_examples=40, deadline=None)
def test_more_ground_never_lowers_a_horizon(rows, cols, azimuth, lift, seed):
    rng = np.random.default_rng(seed)
    z = (1000 + 100 * rng.random((rows, cols))).astype(np.float32)
    raised = z.copy()
    at = rng.integers(rows), rng.integers(cols)
    raised[at] += lift
    low, high = angle_toward(z, azimuth), angle_toward(raised, azimuth)
    # the cells in whose own ground the raised one has a part look out from higher up
    row, col = np.ogrid[:rows, :cols]
    others = np.maximum(abs(row - at[0]), abs(col - at[1])) > 1
    assert np.all((high >= low - 0.006)[others])


@given(
    st.floats(-180, 180),
    st.floats(-90, 90),
    st.dates(date(1900, 1, 1), date(2050, 12, 31)),
    st.integers(0, 9),
)
@settings(max_examples=15, deadline=None)
def test_shade_anywhere_on_any_day(lon, lat, day, seed):
    rng = np.random.default_rng(seed)
    z = (1000 + 100 * rng.random((6, 7))).astype(np.float32)
    layers = (
        z,
        (50 * rng.random(z.shape)).astype(np.float32),
        (360 * rng.random(z.shape)).astype(np.float32),
    )
    try:
        result = shade(*layers, cell_m=30.0, convergence_deg=1.0, place=LonLat(lon, lat), day=day)
    except BadInput as error:
        assert "crossed the date line" in str(error)  # noqa: PT017
        return
    assert np.all((result.midday >= 0) & (result.midday <= 1))
    assert result.by_hour.max(initial=0) <= 100
    known = result.first_sun_s[np.isfinite(result.first_sun_s)]
    assert np.all(np.abs(known) < 2.2 * 86400)

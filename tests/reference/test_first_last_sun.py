"""First and last sun set right by own rays: against the same rays marched plainly, and what is left alone."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from graylight.errors import BadInput
from graylight.grid import LonLat
from graylight.ground.relief import slope_and_aspect
from graylight.kernels.skyline import sharpen
from graylight.sky.first_last_sun import STEP_S, WITHIN_S, _highest_of_blocks, _way_of_the_sun, sharpened
from graylight.sky.horizon import sunlit
from graylight.sky.light import light_of_day
from graylight.sky.shade import shade
from graylight.sky.sun import sun_path, upper_limb_deg

PLACE, DAY = LonLat(-114.8, 40.45), date(2026, 8, 27)
FRAME = {"cell_m": 10.0, "convergence_deg": 0.0, "place": PLACE, "day": DAY}


def rough(seed: int, size: int = 120) -> np.ndarray:
    """Hills of some 120 m, 17 degrees in the mean."""
    noise = gaussian_filter(np.random.default_rng(seed).normal(size=(size, size)), 5.0)
    return (2500.0 + 120.0 * noise / np.abs(noise).max()).astype(np.float32)


def swept(z: np.ndarray, *, last: bool = False, **more) -> np.ndarray:
    slope, aspect = slope_and_aspect(z, cell_m=10.0)
    found = shade(z, slope, aspect, **{**FRAME, **more})
    return found.last_sun_s if last else found.first_sun_s


def marched(z: np.ndarray, *, last: bool = False) -> np.ndarray:
    """First (last) lit moment of every cell along its own rays, looked at every 15 s for six hours (`sunlit`)."""
    rows, cols = (side.ravel() for side in np.indices(z.shape))
    light, sign = light_of_day(PLACE, DAY), -1 if last else 1
    edge = light.sunset if last else light.sunrise
    at = np.datetime64(edge.replace(tzinfo=None), "us") + sign * np.arange(0, 6 * 3600, 15) * np.timedelta64(
        1, "s"
    )
    path = sun_path(PLACE, height_m=0.0, times=at)
    limb = upper_limb_deg(path.altitude_deg)
    limb[0] = max(limb[0], 0.0)
    lit = sunlit(z, rows, cols, cell_m=10.0, azimuth_grid_deg=path.azimuth_deg, limb_deg=limb)
    seconds = (at - np.datetime64(DAY, "us")) / np.timedelta64(1, "s")
    first = np.argmax(lit, axis=0)
    found = seconds[first] - sign * np.where(first > 0, 7.5, 0.0)
    return np.where(lit.any(axis=0), found, np.nan).reshape(z.shape)


@pytest.mark.parametrize(("seed", "last"), [(3, False), (4, False), (3, True), (4, True)])
def test_nearly_all_cells_are_right_to_a_minute(seed, last):
    z = rough(seed)
    before, want = swept(z, last=last), marched(z, last=last)
    after = sharpened(z, before, last=last, **FRAME)
    off_before, off_after = (np.abs(got - want)[np.isfinite(want)] for got in (before, after))
    assert (off_before > 60).mean() > 0.1  # else there is nothing to set right
    # what is left are gleams farther off than the edge is looked for
    assert (off_after > 60).mean() < (0.015 if last else 0.01)
    assert np.median(off_after) <= np.median(off_before)


def test_what_agrees_is_kept_and_what_is_far_off_is_left():
    z = rough(5)
    before = swept(z)
    after = sharpened(z, before, **FRAME)
    changed = np.abs(after - before)
    assert changed[np.isfinite(changed)].max() <= 2 * WITHIN_S
    again = sharpened(z, after, **FRAME)
    assert np.abs(again - after)[np.isfinite(after)].max() <= STEP_S
    # a time an hour off finds no edge near, unless it is dark there and light soon after
    late = sharpened(z, before + np.float32(7200.0), **FRAME)
    assert (late == before + np.float32(7200.0)).mean() > 0.9


def test_on_a_plain_it_is_the_almanacs_sunrise():
    z = np.full((40, 50), 2000.0, np.float32)
    rise = light_of_day(PLACE, DAY).sunrise
    want = (np.datetime64(rise.replace(tzinfo=None), "us") - np.datetime64(DAY, "us")) / np.timedelta64(
        1, "s"
    )
    assert sharpened(z, swept(z), **FRAME) == pytest.approx(want, abs=1.0)
    down = light_of_day(PLACE, DAY).sunset
    want = (np.datetime64(down.replace(tzinfo=None), "us") - np.datetime64(DAY, "us")) / np.timedelta64(
        1, "s"
    )
    assert sharpened(z, swept(z, last=True), last=True, **FRAME) == pytest.approx(want, abs=1.0)


@pytest.mark.parametrize("shape", [(64, 64), (61, 75)])
def test_blocks_change_no_answer(shape):
    """Rays that jump over low blocks, against rays that take each step because no block counts as low."""
    z = np.ascontiguousarray(rough(6, 80)[: shape[0], : shape[1]])
    z[10:13, 30] = np.nan
    before = swept(z)
    begin_s, way = _way_of_the_sun(PLACE, DAY, 10.0, 0.0)
    high = _highest_of_blocks(z)
    found = []
    for blocks in (high, np.full_like(high, np.inf)):
        first = before.copy()
        sharpen(z, blocks, way, begin_s, STEP_S, 32, float(high.max()), 0, z.shape[0], first)
        found.append(first)
    assert np.array_equal(*found, equal_nan=True)
    assert (found[0] != before)[np.isfinite(before)].mean() > 0.1


def test_a_block_knows_the_cells_beside_it():
    """A ray between two cells meets both: the highest of a block counts the next row and column too."""
    z = np.zeros((20, 18), np.float32)
    z[8, 16] = 50.0
    high = _highest_of_blocks(z)
    assert high.shape == (3, 3)
    assert high[0, 1] == high[0, 2] == high[1, 1] == high[1, 2] == 50.0
    assert high[2, 2] == high[0, 0] == 0.0


def test_unknown_ground_casts_no_shadow_and_gets_no_time():
    z = rough(7, 60)
    z[20:30, 20:30] = np.nan
    before = swept(z)
    after = sharpened(z, before, **FRAME)
    assert np.isnan(after[20:30, 20:30]).all()
    assert np.array_equal(np.isnan(after), np.isnan(before))


def test_the_polar_night_and_shapes_that_differ():
    z = rough(8, 30)
    frame = FRAME | {"place": LonLat(18.95, 69.65), "day": date(2026, 12, 21)}
    none = swept(z, **{"place": frame["place"], "day": frame["day"]})
    assert np.isnan(sharpened(z, none, **frame)).all()
    with pytest.raises(BadInput, match="one shape"):
        sharpened(z, none[:-1], **frame)


def test_midnight_sun_is_looked_at_from_solar_midnight():
    z = rough(9, 60)
    frame = FRAME | {"place": LonLat(18.95, 69.65), "day": date(2026, 6, 21)}
    before = swept(z, place=frame["place"], day=frame["day"])
    after = sharpened(z, before, **frame)
    assert np.isfinite(after).mean() > 0.99
    assert np.abs(after - before)[np.isfinite(after)].max() <= 2 * WITHIN_S

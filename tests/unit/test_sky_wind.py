"""The air over the ground: what a person says of the wind, slopes and valleys by the local sun, the general wind."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from graylight.errors import BadInput, Cancelled
from graylight.settings import AirSettings
from graylight.sky.wind import (
    DOUBTS,
    MOVERS,
    STRENGTHS,
    air_day,
    air_ground,
    bytes_needed,
    turns_at,
    wind_field,
)
from graylight.wind import CALM, COMPASS, GeneralWind, read_wind

HOUR = 3600.0
SUN, DUSK = 13 * HOUR, 25 * HOUR
SET = AirSettings()


def ramp(rows=41, cols=61, *, slope=20.0, aspect=0.0, cell=10.0):
    """A plane that falls toward an azimuth of the grid."""
    row, col = np.mgrid[:rows, :cols] * cell
    fall = np.tan(np.radians(slope))
    a = np.radians(aspect)
    return (3000.0 + fall * (row * np.cos(a) - col * np.sin(a))).astype(np.float32)


def valley(rows=161, cols=121, *, cell=20.0, fall=0.05, sides=0.5):
    """A straight V-shaped valley that falls to the south."""
    row, col = np.mgrid[:rows, :cols] * cell
    return (3000.0 - fall * row + sides * np.abs(col - (cols // 2) * cell)).astype(np.float32)


def ground_of(z, *, cell=10.0, convergence=0.0, settings=SET, closure=None):
    return air_ground(z, cell_m=cell, convergence_deg=convergence, closure=closure, settings=settings)


def at(z, hour, *, general=CALM, first=SUN, last=DUSK, settings=SET, **more):
    ground = ground_of(z, settings=settings, **more)
    sun = [np.broadcast_to(np.float32(one), z.shape).astype(np.float32) for one in (first, last)]
    return wind_field(
        ground, air_day(ground, *sun, settings=settings), hour * HOUR, general=general, settings=settings
    )


def turned(a, b):
    """Degrees between two azimuths."""
    return abs((a - b + 180.0) % 360.0 - 180.0)


# --- what a person says --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "from_deg", "speed_ms"),
    [
        # the mile has 1609.344 m, the nautical mile 1852 m, both exact (NIST SP 811, SI brochure)
        ("SW 8mph", 225.0, 8 * 0.44704),
        ("8 mph SW", 225.0, 8 * 0.44704),
        ("nnw 10 kt", 337.5, 10 * 1852 / 3600),
        ("225 13km/h", 225.0, 13 / 3.6),
        ("13 km/h from 225°", 225.0, 13 / 3.6),
        ("3.5 m/s 7 deg", 7.0, 3.5),
        ("360 2m/s", 0.0, 2.0),
        ("southwest wind 5 to 10 mph", 225.0, 7.5 * 0.44704),
        ("North-North-West 5-15 knots", 337.5, 10 * 1852 / 3600),
        ("wind from the east at 4 mph", 90.0, 4 * 0.44704),
        ("light", None, 1.5),
        ("light and variable", None, 1.5),
        ("light SW", 225.0, 1.5),
        ("Calm", None, 0.0),
        ("0 mph", None, 0.0),
    ],
)
def test_the_wind_is_read_as_people_write_it(text, from_deg, speed_ms):
    wind = read_wind(text)
    assert wind.from_deg == from_deg
    assert wind.speed_ms == pytest.approx(speed_ms, abs=1e-5)


@given(st.sampled_from(COMPASS), st.integers(1, 60), st.sampled_from(["mph", "km/h", "m/s", "kt"]))
def test_every_compass_point_is_read_in_either_order(point, number, unit):
    one, other = read_wind(f"{point} {number}{unit}"), read_wind(f"{number} {unit} {point.lower()}")
    assert one == other
    assert one.from_deg == 22.5 * COMPASS.index(point)
    assert one.toward_deg == (one.from_deg + 180.0) % 360.0


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "no speed with its unit"),
        ("SW", "no speed with its unit"),
        ("SW 8", "no speed with its unit"),
        ("8 mph", "no direction is in it"),
        ("SSSW 8mph", "'sssw' is no direction"),
        ("365 8mph", "degrees run from 0 to 360"),
        ("SW 8mph gusts 20", "is no direction"),
        ("light breeze", "'breeze' is no direction"),
        ("SW -8mph", "is no direction"),
        ("SW 8mphs", "no speed with its unit"),
    ],
)
def test_what_is_not_understood_lists_the_forms(text, told):
    with pytest.raises(BadInput, match=r"accepted are a direction.*mph, km/h, m/s or kt.*'calm'") as caught:
        read_wind(text)
    assert told in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_wind_no_one_walks_in_is_questioned():
    with pytest.raises(BadInput, match="at most 60 m/s"):
        read_wind("SW 300mph")


# --- slopes --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("aspect", [0.0, 37.0, 90.0, 200.0, 315.0])
def test_air_goes_down_at_night_and_up_by_day(aspect):
    z = ramp(aspect=aspect)
    night, day = at(z, 11).at(20, 30), at(z, 18).at(20, 30)
    assert turned(night.toward_deg, aspect) < 0.1
    assert turned(day.from_deg, aspect) < 0.1
    assert turned(night.from_deg, night.toward_deg) == pytest.approx(180.0)
    assert (night.mover, day.mover) == ("down the slope", "up the slope")
    assert (night.speed_ms, day.speed_ms) == pytest.approx((SET.down_slope_ms, SET.up_slope_ms))
    assert night.reliable
    assert day.reliable


def test_directions_are_true_on_a_grid_that_leans():
    """True azimuth = grid azimuth + convergence; the general wind is given from true north."""
    z = ramp(aspect=100.0)
    assert turned(at(z, 11, convergence=1.7).at(20, 30).toward_deg, 101.7) < 0.1
    blown = at(z, 11, convergence=1.7, general=GeneralWind(250.0, 15.0)).at(20, 30)
    assert blown.from_deg == pytest.approx(250.0, abs=1e-4)


def test_the_turn_is_by_the_sun_on_the_place_itself():
    """Sun comes to the west half two hours later: an hour after the east half's it still goes down there."""
    z = ramp(aspect=180.0)
    first = np.where(np.arange(61) < 30, SUN + 2 * HOUR, SUN)
    field = at(z, SUN / HOUR + 1.5, first=first)
    assert field.at(20, 10).mover == "down the slope"
    assert field.at(20, 50).mover == "up the slope"


def test_about_the_turn_the_air_dies_down_and_is_not_relied_on():
    z = ramp()
    turn = (SUN + 60 * SET.up_slope_minutes) / HOUR
    half = SET.turn_minutes / 60
    calm = at(z, turn).at(20, 30)
    assert calm.speed_ms == pytest.approx(0.0, abs=1e-6)
    assert calm.strength == "still"
    assert not calm.reliable
    before, after = at(z, turn - 0.9 * half).at(20, 30), at(z, turn + 0.9 * half).at(20, 30)
    assert before.doubt == after.doubt == "the air is turning"
    assert turned(before.toward_deg, after.from_deg) < 0.1
    assert at(z, turn - 1.01 * half).at(20, 30).reliable
    assert at(z, turn + 1.01 * half).at(20, 30).reliable


def test_in_the_evening_it_turns_down_again_and_without_last_sun_it_does_not():
    z = ramp()
    dusk = (DUSK + 60 * SET.down_slope_minutes) / HOUR
    assert at(z, dusk - 0.6).at(20, 30).mover == "up the slope"
    assert at(z, dusk + 0.6).at(20, 30).mover == "down the slope"
    ground = ground_of(z)
    endless = air_day(ground, np.full(z.shape, SUN, np.float32), None, settings=SET)
    assert wind_field(ground, endless, 30 * HOUR, settings=SET).at(20, 30).mover == "up the slope"


def test_a_place_without_sun_has_air_going_down_all_day():
    z = ramp()
    for hour in (6, 14, 20):
        assert at(z, hour, first=np.nan, last=np.nan).at(20, 30).mover == "down the slope"


def test_gentle_ground_has_less_and_level_ground_none():
    full = at(ramp(slope=12.0), 11).at(20, 30).speed_ms
    gentle = at(ramp(slope=2.0), 11).at(20, 30).speed_ms
    assert full == pytest.approx(SET.down_slope_ms)
    assert gentle == pytest.approx(
        full * np.tan(np.radians(2.0)) / np.tan(np.radians(SET.full_slope_deg)), rel=1e-3
    )
    level = at(np.full((30, 40), 2000.0, np.float32), 11).at(15, 20)
    assert (level.mover, level.strength, level.toward_deg, level.reliable) == (
        "nothing",
        "still",
        None,
        False,
    )


def test_turn_times_are_told_with_their_unreliable_spans():
    z = ramp()
    ground = ground_of(z)
    sun = [np.full(z.shape, one, np.float32) for one in (SUN, DUSK)]
    turns = turns_at(ground, air_day(ground, *sun, settings=SET), 20, 30, settings=SET)
    assert (turns.of, turns.up_s, turns.down_s) == ("slope", SUN + 1800.0, DUSK + 900.0)
    assert turns.unreliable == ((SUN, SUN + 3600.0), (DUSK - 900.0, DUSK + 2700.0))
    sun[0][:] = np.nan
    dark = turns_at(ground, air_day(ground, *sun, settings=SET), 20, 30, settings=SET)
    assert dark == (None, None, "slope", ())


# --- valleys -------------------------------------------------------------------------------------------------------


def test_the_valley_wind_runs_along_the_valley_and_turns_later_than_the_slopes():
    z = valley()
    middle, side = (100, 60), (100, 20)
    kept = AirSettings(valley_km2=0.5)
    night = at(z, 11, cell=20.0, settings=kept)
    assert night.at(*middle).mover == "down the valley"
    assert turned(night.at(*middle).toward_deg, 180.0) < 1.0
    morning = at(z, SUN / HOUR + 1.2, cell=20.0, settings=kept)
    assert morning.at(*side).mover == "up the slope"
    assert morning.at(*middle).mover == "down the valley"
    day = at(z, SUN / HOUR + 4, cell=20.0, settings=kept)
    assert day.at(*middle).mover == "up the valley"
    assert turned(day.at(*middle).toward_deg, 0.0) < 1.0
    assert turned(at(z, 11, cell=20.0, settings=kept).at(*side).toward_deg, 90.0) < 12.0  # and a little south


def test_a_valley_goes_by_the_sun_on_its_floor():
    z = valley()
    kept = AirSettings(valley_km2=0.5)
    ground = ground_of(z, cell=20.0, settings=kept)
    first = np.full(z.shape, SUN, np.float32)
    first[:, 60] = SUN + 3 * HOUR
    day = air_day(ground, first, None, settings=kept)
    turns = turns_at(ground, day, 100, 60, settings=kept)
    assert (turns.of, turns.up_s) == ("valley", SUN + 3 * HOUR + 60 * kept.up_valley_minutes)
    assert turns_at(ground, day, 100, 61, settings=kept).up_s == turns.up_s


# --- the general wind ----------------------------------------------------------------------------------------------


def test_a_general_wind_rules_by_speed_and_exposure():
    """A crest with ground 600 m lower within a kilometre, and the bottom beside it."""
    ridge = np.abs(np.arange(201) - 100) * 10.0
    z = np.repeat((3000.0 - 0.6 * ridge)[None, :], 61, axis=0).astype(np.float32)
    crest, foot = (30, 102), (30, 4)
    exposed, sheltered = SET.exposed_ms, SET.sheltered_ms
    for cell, rules in ((crest, exposed), (foot, sheltered)):
        above, below = (at(z, 11, general=GeneralWind(0.0, speed)) for speed in (1.05 * rules, 0.47 * rules))
        assert above.at(*cell).mover == "general wind"
        assert turned(above.at(*cell).from_deg, 0.0) < 1.0
        assert below.at(*cell).mover == "down the slope"
        assert turned(below.at(*cell).toward_deg, 90.0 if cell == crest else 270.0) < 1.0
    # between the two limits the crest has the general wind, the foot not yet
    between = at(z, 11, general=GeneralWind(0.0, exposed))
    assert between.at(*crest).mover == "general wind"
    assert between.at(*foot).mover == "down the slope"


def test_a_general_wind_is_weaker_near_the_ground_and_weakest_in_timber():
    z = ramp(slope=10.0, aspect=180.0)
    closure = np.zeros(z.shape, np.float32)
    closure[:, :30] = 0.7
    field = at(z, 11, general=GeneralWind(180.0, 20.0), closure=closure)
    assert field.at(20, 50).speed_ms == pytest.approx(20.0 * SET.open_part)
    assert field.at(20, 10).speed_ms == pytest.approx(20.0 * SET.timber_part)
    assert field.at(20, 50).strength == "strong"


def test_the_lee_of_a_steep_fall_and_winds_against_each_other_are_doubted():
    z = ramp(slope=30.0, aspect=90.0)
    assert at(z, 11, general=GeneralWind(270.0, 15.0)).at(20, 30).doubt == DOUBTS[3]
    assert at(z, 11, general=GeneralWind(90.0, 15.0)).at(20, 30).doubt == "none"
    # half-way between not felt and ruling, and up against air that goes down
    middle = 0.75 * (SET.exposed_ms + SET.sheltered_ms) / 2
    assert at(z, 11, general=GeneralWind(90.0, middle)).at(20, 30).doubt == DOUBTS[2]


def test_a_wind_without_direction_leaves_the_slopes_their_own():
    z = ramp()
    quiet, light = at(z, 11), at(z, 11, general=read_wind("light"))
    assert np.array_equal(quiet.grid_east_ms, light.grid_east_ms)


# --- frame, holes, bad input ---------------------------------------------------------------------------------------


def test_unknown_ground_has_no_air():
    z = ramp()
    z[10:14, 20:25] = np.nan
    field = at(z, 11)
    assert np.isnan(field.grid_east_ms[12, 22])
    assert field.at(12, 22).doubt == "the ground is not known"
    assert not field.at(12, 22).reliable
    assert np.isfinite(field.grid_east_ms[30, 40])
    empty = at(np.full((6, 7), np.nan, np.float32), 11)
    assert (empty.doubt == 4).all()


def test_rasters_say_the_same_as_the_cell():
    z = ramp(aspect=215.0)
    field = at(z, 11, convergence=-1.0)
    air = field.at(7, 9)
    assert field.toward_deg()[7, 9] == pytest.approx(air.toward_deg, abs=1e-3)
    assert field.from_deg()[7, 9] == pytest.approx(air.from_deg, abs=1e-3)
    assert field.speed_ms()[7, 9] == pytest.approx(air.speed_ms)
    assert field.toward_deg().dtype == field.from_deg().dtype == field.speed_ms().dtype == np.float32


def test_strengths_are_the_beaufort_scales():
    """Beaufort 0 to 3 end at 0.2, 1.5, 3.3 and 5.4 m/s (WMO-No. 8, value from memory): next whole tenth here."""
    assert [limit for limit, _ in STRENGTHS[:-1]] == [0.3, 1.6, 3.4, 5.5]


def test_mirrored_and_turned_ground_has_mirrored_and_turned_air():
    row, col = np.mgrid[:60, :60] / 60.0
    waves = 40.0 * np.sin(9.0 * col + 4.0 * row**2) + 15.0 * np.cos(17.0 * col - 6.0 * row + 1.0)
    z = (ramp(60, 60) + waves).astype(np.float32)  # without hollows
    kept = AirSettings(valley_km2=0.05)

    def air(ground):
        field = at(np.ascontiguousarray(ground), 11, settings=kept)
        return field.grid_east_ms, field.grid_north_ms, field.mover

    east, north, mover = air(z)
    assert (mover == 3).sum() > 100  # there are valleys in it
    near = {"rtol": 0, "atol": 1e-3}  # heights near 3000 m are known to 0.00024 m in float32
    e, n, _ = air(z[:, ::-1])
    np.testing.assert_allclose(e[:, ::-1], -east, **near)
    np.testing.assert_allclose(n[:, ::-1], north, **near)
    e, n, _ = air(np.rot90(z))  # a quarter to the left: what went east goes north
    np.testing.assert_allclose(np.rot90(e, -1), -north, **near)
    np.testing.assert_allclose(np.rot90(n, -1), east, **near)


def test_the_same_input_gives_the_same_bytes():
    z = ramp(aspect=33.0)
    one, two = at(z, 13.7), at(z, 13.7)
    for name in ("grid_east_ms", "grid_north_ms", "mover", "doubt"):
        assert getattr(one, name).tobytes() == getattr(two, name).tobytes()


def test_layers_that_do_not_fit_are_refused():
    z = ramp()
    with pytest.raises(BadInput, match="closure has shape"):
        ground_of(z, closure=np.zeros((3, 3), np.float32))
    with pytest.raises(BadInput, match="a cell of 0"):
        ground_of(z, cell=0.0)
    with pytest.raises(BadInput, match="rows and columns"):
        ground_of(np.zeros(5, np.float32))
    with pytest.raises(BadInput, match="times of the sun have shape"):
        air_day(ground_of(z), np.zeros((2, 2), np.float32), None, settings=SET)


@pytest.mark.parametrize("shape", [(1, 1), (1, 5), (5, 1), (2, 3)])
def test_the_smallest_countries_have_air(shape):
    z = np.arange(np.prod(shape), dtype=np.float32).reshape(shape) * 5
    field = at(z, 11)
    assert np.isfinite(field.grid_east_ms).all()
    assert (field.doubt == 0).all()


def test_a_stop_is_heard_and_memory_is_said_beforehand():
    def stop(_fraction):
        raise Cancelled("stopped")

    with pytest.raises(Cancelled):
        air_ground(ramp(), cell_m=10.0, convergence_deg=0.0, settings=SET, tick=stop)
    assert bytes_needed((1200, 1200)) > 1200 * 1200 * 69


def test_codes_have_words():
    assert len(MOVERS) == 6
    assert len(DOUBTS) == 5

"""Ways in and out: quickest, hidden and between, what is met on them, and when none leads there."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from graylight.approach.exposure import Notice
from graylight.approach.leaving import leave_lookout_by, turn_around
from graylight.approach.waymarks import NamedPaths
from graylight.approach.ways import Land, bytes_needed, ways_to
from graylight.errors import BadInput, Cancelled
from graylight.grid import RowCol
from graylight.reach.ground import walk_ground
from graylight.settings import ApproachSettings
from tests.unit.test_reach import PLAIN, ground_of, marks

EVEN = ApproachSettings(seen_weight=4.0, scent_weight=6.0, between=0.2, seen_dark=1.0)


def open_picture(rows, cols, sign="."):
    return "\n".join([" ".join([sign] * cols)] * rows)


def land_of(picture, *, z=None, named=None, **more):
    ground = ground_of(picture, **more)
    z = np.zeros(ground.factor.shape) if z is None else np.asarray(z)
    return Land(z.astype(np.float32), np.zeros(z.shape, np.float32), ground, 10.0, named)


def ways(land, place, starts, *, seen=None, scented=None, approach=EVEN, **more):
    rows, cols = [s[0] for s in starts], [s[1] for s in starts]
    return ways_to(
        RowCol(*place),
        (rows, cols),
        land,
        walk=PLAIN,
        approach=approach,
        notice=Notice(seen, scented),
        **more,
    )


def strip(rows, cols, where):
    part = np.zeros((rows, cols), np.float32)
    part[where] = 1.0
    return part


# In view, and scent


def test_without_notice_all_three_are_the_quickest():
    (found,) = ways(land_of(open_picture(9, 21)), (4, 20), [(4, 0)])
    assert found.hidden.way.rows.tolist() == found.between.way.rows.tolist() == [4] * 21
    assert (found.quickest.kind, found.between.kind, found.hidden.kind) == ("quickest", "between", "hidden")
    assert found.quickest.exposure.seen_share is None


def test_the_hidden_way_goes_round_what_is_in_view():
    """A block in view lies across the straight way: the hidden way goes round it, the quickest through."""
    seen = strip(21, 31, np.s_[6:15, 13:18])
    (found,) = ways(land_of(open_picture(21, 31)), (10, 30), [(10, 0)], seen=seen)
    assert found.quickest.way.distance_m == pytest.approx(300.0)
    assert found.quickest.exposure.seen_share == pytest.approx(5 / 30)
    assert found.quickest.exposure.seen_minutes == pytest.approx(found.quickest.way.seconds / 60 / 6)
    assert found.hidden.exposure.seen_minutes == 0.0
    assert found.hidden.way.seconds > found.quickest.way.seconds


def test_scent_is_shunned_as_view_is():
    scented = strip(21, 31, np.s_[6:15, 13:18])
    (found,) = ways(land_of(open_picture(21, 31)), (10, 30), [(10, 0)], scented=scented)
    assert found.quickest.exposure.scented_share > 0.0
    assert found.hidden.exposure.scented_share == 0.0
    assert found.hidden.exposure.seen_share is None


def test_a_detour_is_taken_as_far_as_the_weights_say():
    """One cell wide: 30 m in view on the straight way, 200 m more round it; even at a weight of 20 / 3."""
    open_cells = strip(11, 31, np.s_[0, :])
    open_cells[10, 10:21] = open_cells[:, 10] = open_cells[:, 20] = 1.0
    picture = "\n".join(" ".join(".x"[int(cell == 0)] for cell in row) for row in open_cells)
    seen = strip(11, 31, np.s_[0, 14:17])
    for weight, hides in ((6.6, False), (6.7, True)):
        approach = EVEN.model_copy(update={"seen_weight": weight})
        (found,) = ways(land_of(picture), (0, 30), [(0, 0)], seen=seen, approach=approach)
        assert found.quickest.way.distance_m == pytest.approx(300.0)
        assert found.hidden.way.distance_m == pytest.approx(500.0 if hides else 300.0)
        assert (found.hidden.exposure.seen_share == 0.0) is hides


def test_in_the_dark_being_in_view_counts_less():
    seen = strip(21, 31, np.s_[6:15, 13:18])
    blind = EVEN.model_copy(update={"seen_dark": 0.0})
    (found,) = ways(land_of(open_picture(21, 31)), (10, 30), [(10, 0)], seen=seen, approach=blind)
    assert found.hidden.way.rows.tolist() == found.quickest.way.rows.tolist()
    (found,) = ways(land_of(open_picture(21, 31)), (10, 30), [(10, 0)], seen=seen, approach=blind, dark=False)
    assert found.hidden.exposure.seen_minutes == 0.0


def test_unknown_view_counts_as_none():
    seen = np.full((9, 21), np.nan, np.float32)
    (found,) = ways(land_of(open_picture(9, 21)), (4, 20), [(4, 0)], seen=seen)
    assert found.quickest.exposure.seen_share == 0.0
    assert found.hidden.way.rows.tolist() == [4] * 21


@pytest.mark.parametrize(
    ("seen", "words"),
    [(np.zeros((2, 2), np.float32), "the shape (2, 2)"), (np.full((9, 21), 1.5, np.float32), "to 1.5")],
)
def test_notice_that_does_not_fit_is_refused(seen, words):
    with pytest.raises(BadInput, match="accepted is") as refused:
        ways(land_of(open_picture(9, 21)), (4, 20), [(4, 0)], seen=seen)
    assert words in str(refused.value)


# From every start, and out again


def test_every_start_has_its_ways():
    found = ways(land_of(open_picture(9, 21)), (4, 10), [(4, 0), (0, 20), (8, 10)])
    assert [f.start for f in found] == [0, 1, 2]
    for one in found:
        assert (one.quickest.way.rows[0], one.quickest.way.cols[0]) == one.begin
        assert (one.quickest.way.rows[-1], one.quickest.way.cols[-1]) == (4, 10)
        assert (one.out.way.rows[0], one.out.way.cols[0]) == (4, 10)
        assert (one.out.way.rows[-1], one.out.way.cols[-1]) == one.begin


def test_a_start_that_does_not_reach_it_is_left_out():
    picture = ". w . . .\n. w . . .\n. w . . ."
    found = ways(land_of(picture), (1, 4), [(1, 0), (1, 2)])
    assert [f.start for f in found] == [1]


def test_up_and_out_again_have_their_own_times():
    z = np.tile(np.arange(31) * 3.0, (5, 1))
    (found,) = ways(land_of(open_picture(5, 31), z=z), (2, 30), [(2, 0)])
    assert found.out.way.seconds < found.quickest.way.seconds
    assert found.hidden.way.back_seconds == found.quickest.way.back_seconds == found.out.way.seconds
    assert (found.quickest.way.climb_m, found.out.way.fall_m) == (pytest.approx(90), pytest.approx(90))
    assert found.quickest.way.height_m[[0, -1]].tolist() == [0.0, 90.0]
    assert found.quickest.way.at_s[-1] == found.quickest.way.seconds


def test_at_the_start_itself():
    (found,) = ways(land_of(open_picture(3, 3)), (1, 1), [(1, 1)], seen=np.ones((3, 3), np.float32))
    assert found.hidden.way.seconds == found.out.way.seconds == 0.0
    assert found.hidden.exposure.seen_share == 0.0
    assert found.quickest.junctions == ()


# None leads there


def test_no_start_reaches_the_lookout():
    land = land_of(". . w . .\n. . w . .\n. . w . .")
    with pytest.raises(BadInput) as refused:
        ways(land, (0, 4), [(1, 0), (2, 0)])
    said = str(refused.value)
    assert "no start reaches the lookout at row 0, column 4" in said
    assert "cut off by deep water" in said
    assert "nearest place reached lies 30 m to the west" in said
    assert said.endswith("choose another, or a start on its side")  # a longer walk would not help
    assert "\n" not in said


def test_a_lookout_on_closed_ground():
    with pytest.raises(BadInput, match="the place itself is closed: private land"):
        ways(land_of(". . x"), (0, 2), [(0, 0)])


def test_a_lookout_too_far():
    with pytest.raises(BadInput, match=r"farther than 0\.0 hours.*, or allow a longer walk$"):
        ways(land_of(open_picture(1, 40)), (0, 39), [(0, 0)], limit_s=60.0)


@pytest.mark.parametrize(("place", "start"), [((9, 0), (0, 0)), ((0, -1), (0, 0)), ((0, 0), (0, 99))])
def test_outside_the_country(place, start):
    with pytest.raises(BadInput, match="lies outside the country"):
        ways(land_of(open_picture(9, 21)), place, [start])


def test_a_stop_is_obeyed():
    def stop(_fraction):
        raise Cancelled("stopped")

    with pytest.raises(Cancelled):
        ways(land_of(open_picture(9, 21)), (4, 20), [(4, 0)], tick=stop)


def test_bytes_needed_grow_with_the_country():
    assert bytes_needed((2000, 2000)) > 3.9 * (bytes_needed((1000, 1000)) - (8 << 20))


# Junctions and water


def test_junctions_with_names():
    """Along one path, onto another, off it, across a third."""
    picture = "p " * 20 + "p " * 20 + ". " * 10 + "p " + ". " * 9 + "."
    index = np.zeros((1, 61), np.uint8)
    index[0, :20], index[0, 20:40], index[0, 50] = 1, 2, 3
    named = NamedPaths(index, ("Long Hollow path", "Rim path", "Mill path"))
    (found,) = ways(land_of(picture, named=named), (0, 60), [(0, 0)])
    told = [(m.words, m.col) for m in found.quickest.junctions]
    assert told == [
        ("begins on Long Hollow path", 0),
        ("from Long Hollow path onto Rim path", 20),
        ("leaves Rim path", 40),
        ("crosses Mill path", 50),
    ]
    mark = found.quickest.junctions[2]
    assert mark.at_m == pytest.approx(400.0)
    assert mark.at_s == pytest.approx(found.quickest.way.at_s[40])
    assert [m.words for m in found.out.junctions] == [
        "crosses Mill path", "joins Rim path", "from Rim path onto Long Hollow path",
    ]  # fmt: skip


def test_an_unnamed_path_and_a_gap_that_is_the_grids():
    picture = ". " * 10 + "p " * 10 + ". " * 2 + "p " * 10 + ". " * 9 + "."
    (found,) = ways(land_of(picture), (0, 41), [(0, 0)])
    assert [(m.words, m.col) for m in found.quickest.junctions] == [
        ("joins an unnamed path", 10),
        ("leaves an unnamed path", 32),
    ]


def test_a_short_stretch_at_either_end_is_passed_over():
    """A start on a road's last cell does not make the walk begin on that road."""
    (found,) = ways(land_of("p p . . . . . . . . . . . . . p"), (0, 15), [(0, 0)])
    assert found.quickest.junctions == ()
    (found,) = ways(land_of(". . p p p p p p p p p p p"), (0, 12), [(0, 0)])
    assert [(m.words, m.col) for m in found.quickest.junctions] == [("begins on an unnamed path", 0)]


@pytest.mark.parametrize(
    ("over", "words", "hazard"),
    [
        ("", "deep water under the path: a bridge or a ford, which of the two is not known", "not known"),
        ("bridge", "a bridge, as mapped", None),
        ("ford", "a ford, as mapped", "not to be forded when the water is high"),
    ],
)
def test_bridges_and_fords_are_said(over, words, hazard):
    picture = "p p p b b p p p"
    at = {sign: marks(picture, sign) for sign in "pb"}
    ground = walk_ground(
        np.zeros((1, 8), np.float32), np.zeros((1, 8), np.uint8), deep_water=at["b"], path_cells=at["p"] | at["b"],
        private_cells=np.zeros((1, 8), bool), settings=PLAIN,
        bridge_cells=at["b"] if over == "bridge" else None, ford_cells=at["b"] if over == "ford" else None,
    )  # fmt: skip
    land = Land(np.zeros((1, 8), np.float32), np.zeros((1, 8), np.float32), ground, 10.0)
    (found,) = ways(land, (0, 7), [(0, 0)])
    assert [m.words for m in found.quickest.crossings] == [words]
    assert found.quickest.crossings[0].at_m == pytest.approx(20.0)
    said = found.quickest.way.hazards
    assert (said == ()) if hazard is None else any(hazard in h for h in said)


def test_each_crossing_of_a_stream_is_told():
    streams = np.zeros((1, 30), bool)
    streams[0, [8, 9, 20]] = True
    (found,) = ways(land_of(open_picture(1, 30), streams=streams), (0, 29), [(0, 0)])
    assert [(m.words, m.col) for m in found.quickest.crossings] == [
        ("water to be crossed", 7),
        ("water to be crossed", 19),
    ]


# Out in time


def at(hours, minutes=0):
    return dt.datetime(2026, 8, 27, hours, minutes, tzinfo=dt.UTC)


def test_leave_the_lookout_in_time():
    assert leave_lookout_by(at(20, 0), 3601.0) == at(18, 59)
    assert leave_lookout_by(None, 60.0) is None
    assert leave_lookout_by(at(20), float("inf")) is None


def test_turned_round_one_is_back_in_time():
    """However slow the walk: t in, then t x (out / in) back."""
    turn = turn_around(at(12), at(18), at_s=np.array([0.0, 3600, 7200]), back_s=np.array([0.0, 2000, 5400]))
    gone = (turn - at(12)).total_seconds()
    back = turn + dt.timedelta(seconds=gone * 5400 / 7200)
    assert dt.timedelta(0) <= at(18) - back < dt.timedelta(minutes=2)


def test_no_time_to_turn_round():
    def turn(out_by, at_s=60.0, back_s=60.0):
        return turn_around(at(12), out_by, at_s=np.array([0.0, at_s]), back_s=np.array([0.0, back_s]))

    assert turn(None) is None
    assert turn(at(18), back_s=float("inf")) is None
    assert turn(at(11)) == at(12)
    assert turn(at(18), 0.0, 0.0) == at(18)


def test_where_the_way_back_is_slower_early_on_one_turns_sooner():
    """A steep drop in the first half: whoever turns there climbs it again, though the whole way back is quick."""
    at_s = np.array([0.0, 1800.0, 7200.0])
    even = turn_around(at(12), at(18), at_s=at_s, back_s=np.array([0.0, 1800.0, 7200.0]))
    drop = turn_around(at(12), at(18), at_s=at_s, back_s=np.array([0.0, 3600.0, 7200.0]))
    assert even == at(15)
    assert drop == at(14)

"""Water by walking time, and places to camp: every rule on small ground drawn by hand."""

from __future__ import annotations

import numpy as np
import pytest

from graylight.approach.camp import HIDDEN, CampGround, camps, fit, why_none
from graylight.approach.water import nearest_water, shore
from graylight.errors import BadInput
from graylight.ground.cover import Kind
from graylight.ground.water import Water, WaterPlace
from graylight.reach.ground import walk_ground
from graylight.reach.walking import reach
from graylight.settings import CampSettings, WalkSettings

WALK = WalkSettings(pack_factor=1.0, dark_factor=1.0)
CAMP = CampSettings()
CELL = 10.0
FOOT_M = 0.3048


# --- water ---------------------------------------------------------------------------------------------------------


def land(text):
    """Ground from a drawing: L a sure lake, l an unsure one, s a sure stream, ~ an unsure one, # too steep."""
    marks = np.array([line.split() for line in text.strip().splitlines()])
    lake, stream = np.isin(marks, ["L", "l"]), np.isin(marks, ["s", "~"])
    sure = np.isin(marks, ["L", "s"])
    places = tuple(
        WaterPlace(int(r), int(c), "inferred stream" if marks[r, c] == "~" else "stream", bool(sure[r, c]))
        for r, c in np.argwhere(stream)
    )
    water = Water(lake, lake | stream, sure, places)
    ground = walk_ground(
        np.where(marks == "#", 60.0, 0.0).astype(np.float32), np.full(marks.shape, Kind.GRASS, np.uint8),
        deep_water=lake, path_cells=np.zeros(marks.shape, bool), private_cells=np.zeros(marks.shape, bool),
        settings=WALK, dark=False,
    )  # fmt: skip
    return water, ground


def found_from(text, row, col, *, z=None):
    water, ground = land(text)
    height = np.zeros(water.near.shape) if z is None else z
    walked = reach(height.astype(np.float32), ground, ([row], [col]), cell_m=CELL, settings=WALK)
    return nearest_water(walked, water, ground.factor), walked


def test_the_nearest_water_is_by_the_walk_and_not_by_the_map():
    """The stream lies nearer on the map, but behind a cliff."""
    (only,), walked = found_from(
        """
        s # . . . .
        s # . . . .
        s # . . . s
        s # . . . s
        """,
        0, 2,
    )  # fmt: skip
    assert (only.row, only.col) in {(1, 4), (2, 4), (1, 5)}
    assert (only.kind, only.sure) == ("stream", True)
    assert only.there_s == walked.seconds[only.row, only.col]
    assert only.round_s == only.there_s + only.back_s


def test_a_lake_is_fetched_from_its_shore():
    (only,), _ = found_from(". . . . L L", 0, 0)
    assert (only.row, only.col, only.kind, only.sure) == (0, 3, "lake", True)


def test_unsure_water_is_told_with_the_nearest_that_is_sure():
    (near, far), _ = found_from(". ~ . . . . . L", 0, 0)
    assert (near.kind, near.sure, near.col) == ("inferred stream", False, 0)
    assert (far.kind, far.sure, far.col) == ("lake", True, 6)
    (alone,), _ = found_from(". . l . .", 0, 0)
    assert (alone.kind, alone.sure) == ("lake", False)


def test_no_water_in_reach_is_none():
    assert found_from(". . . . .", 0, 0)[0] == ()
    assert found_from(". . # # s", 0, 0)[0] == ()


def test_carrying_it_back_uphill_counts():
    """Two streams equally far: the one below costs more by the time it is carried up."""
    z = np.array([[0.0, 20.0, 40.0, 42.0, 44.0]])
    (only,), _ = found_from("s . . . s", 0, 2, z=z)
    assert only.col == 3


def test_the_shore_is_open_ground_beside_water():
    water, ground = land("L . s #\n. . . .\n. . . .")
    assert shore(water, ground.factor).tolist() == [[False, True, True, False], [True] * 4, [False] * 4]
    with pytest.raises(BadInput, match="water has shape"):
        shore(water, ground.factor[:2])


# --- camps ---------------------------------------------------------------------------------------------------------


def plain(rows=60, cols=80, **layers):
    """Level open ground with nothing against it."""
    shape = (rows, cols)
    base = {
        "slope_deg": np.full(shape, 2.0, np.float32),
        "form": np.ones(shape, np.uint8),
        "wet": np.zeros(shape, bool),
        "closed": np.zeros(shape, bool),
        "pockets": np.zeros(shape, bool),
    }
    return CampGround(**{**base, **layers})


def offered(ground, **more):
    return camps(ground, cell_m=CELL, settings=CAMP.model_copy(update=more))


def passed(ground, rule, **more):
    return fit(ground, cell_m=CELL, settings=CAMP.model_copy(update=more))[rule]


def test_the_setback_is_two_hundred_feet_from_the_waters_edge():
    """200 ft: common practice on public land (Leave No Trace); local orders differ."""
    assert pytest.approx(200 * FOOT_M, abs=0.1) == CAMP.setback_m
    wet = np.zeros((60, 80), bool)
    wet[30, 40] = True
    back = passed(plain(wet=wet), "back from water")
    row, col = np.mgrid[:60, :80]
    edge_m = np.hypot(row - 30, col - 40) * CELL - CELL / 2
    assert np.array_equal(back, edge_m >= CAMP.setback_m)
    assert not back[30, 46]
    assert back[30, 47]
    assert all(np.hypot(c.row - 30, c.col - 40) * CELL > 61 for c in offered(plain(wet=wet)))


@pytest.mark.parametrize(
    ("layer", "bad", "rule"),
    [
        ("slope_deg", 20.0, "flat enough"),
        ("slope_deg", np.nan, "flat enough"),
        ("form", 3, "not on a crest"),
        ("closed", True, "open to camping, as far as is known"),
        ("pockets", True, "away from pockets"),
        ("water_s", np.inf, "water within the walk"),
        ("start_s", np.inf, "reached from a start"),
        ("lookout_s", 60.0 * 121, "a lookout within the walk"),
        ("seen", 0.3, "out of sight of pockets"),
        ("scent", 0.2, "out of scent of pockets"),
    ],
)
def test_each_rule_shuts_out_what_it_is_for(layer, bad, rule):
    """The left half is bad: with all else alike the camps lie in the right one."""
    kind = {"form": np.uint8, "closed": bool, "pockets": bool}.get(layer, np.float32)
    good = {"slope_deg": 2.0, "form": 1}.get(layer, 0)
    raster = np.full((60, 80), good, kind)
    raster[:, :40] = bad
    ground = plain(**{layer: raster})
    near = {"keep_m": 100.0}
    inside = passed(ground, rule, **near)
    assert not inside[:, :40].any()
    assert inside[:, 55:].all()
    found = offered(ground, **near)
    assert found
    assert all(c.col >= 40 for c in found)
    first = why_none(ground, cell_m=CELL, settings=CAMP.model_copy(update=near))[0]
    assert first.words == rule
    assert first.alone == pytest.approx(1.0 - inside.mean())


def test_trees_near_are_liked_and_crowns_warned_of():
    closure = np.zeros((60, 80), np.float32)
    closure[10:14, 60:64] = 0.6
    best, *others = offered(plain(closure=closure), apart_m=150.0)
    assert 4 <= best.row <= 19
    assert 54 <= best.col <= 69
    assert any(r.words == "trees that break the wind" and r.value <= 60.0 for r in best.reasons)
    assert any("no trees near" in r.words for r in others[-1].against)
    closure[:] = 0.6
    assert any("dead ones" in r.words for r in offered(plain(closure=closure))[0].against)


def test_hollows_hold_cold_air_and_shoulders_are_better():
    form = np.full((60, 80), 9, np.uint8)
    form[40:, 50:] = 6
    best, *rest = offered(plain(form=form))
    assert best.row >= 40
    assert best.col >= 50
    assert not any("cold air" in r.words for r in best.against)
    assert any("cold air" in r.words for c in rest for r in c.against)


def test_camps_are_apart_best_first_and_no_more_than_asked():
    found = offered(plain(), apart_m=200.0, most=5)
    assert len(found) == 5
    spots = np.array([(c.row, c.col) for c in found]) * CELL
    away = np.hypot(*(spots[:, None] - spots[None, :]).transpose(2, 0, 1))
    assert away[~np.eye(5, dtype=bool)].min() >= 200.0
    assert [c.worth for c in found] == sorted((c.worth for c in found), reverse=True)
    assert (found[0].row, found[0].col) == (0, 0)  # all alike: by row and column


def test_near_water_and_lookout_are_better():
    far = np.tile(np.linspace(1500.0, 100.0, 80, dtype=np.float32), (60, 1))
    for layer in ("water_s", "lookout_s"):
        best = offered(plain(**{layer: far}), water_minutes=30.0)[0]
        assert best.col == 79
        assert any(r.unit == "s" and r.value == pytest.approx(100.0) for r in best.reasons)


def test_what_is_against_a_camp_is_said():
    slope = np.full((60, 80), 2.0, np.float32)
    slope[28:33, 36:40] = 50.0
    shape = slope.shape
    ground = plain(
        slope_deg=slope, seen=np.full(shape, 0.04, np.float32), scent=np.full(shape, 0.05, np.float32),
        water_s=np.full(shape, 300, np.float32), sure_water_s=np.full(shape, 7200, np.float32),
    )  # fmt: skip
    found = camps(ground, cell_m=CELL, settings=CAMP.model_copy(update={"apart_m": 50.0, "most": 12}))
    words = {r.words for c in found for r in c.against}
    assert {"part of a pocket that looks at it", "some scent may reach a pocket"} <= words
    assert any(r.words.endswith("sure water") and r.value == 7200.0 for c in found for r in c.against)
    inner = plain(slope_deg=slope[25:36, 33:43], form=np.ones((11, 10), np.uint8), wet=np.zeros((11, 10), bool),
                  closed=np.zeros((11, 10), bool), pockets=np.zeros((11, 10), bool))  # fmt: skip
    assert any("fallen stones" in r.words for r in offered(inner)[0].against)


def test_what_could_not_be_looked_at_is_named():
    (camp, *_) = offered(plain())
    assert {"trees", "walk to water", "sight from pockets", "scent to pockets"} <= set(camp.not_known)
    assert "whether camping is allowed: check local rules" in camp.not_known
    shape = (60, 80)
    all_known = {
        n: np.zeros(shape, np.float32)
        for n in ("closure", "water_s", "start_s", "lookout_s", "seen", "scent")
    }
    (camp, *_) = offered(plain(**all_known))
    assert camp.not_known == (
        "whether camping is allowed: check local rules", "dead trees, wet ground, flood",
    )  # fmt: skip
    assert {HIDDEN, "by the rules of thumb no air goes from here to a pocket"} <= {
        r.words for r in camp.reasons
    }


def test_no_camp_says_which_rule_to_ease():
    shape = (60, 80)
    ground = plain(slope_deg=np.full(shape, 12.0, np.float32))
    assert offered(ground) == ()
    assert why_none(ground, cell_m=CELL, settings=CAMP)[0] == ("flat enough", 1.0, 0.0)
    twice = plain(slope_deg=np.full(shape, 12.0, np.float32), closed=np.ones(shape, bool))
    told = why_none(twice, cell_m=CELL, settings=CAMP)
    assert {one.words for one in told[:2]} == {"flat enough", "open to camping, as far as is known"}
    assert all(one.alone == 0.0 for one in told)


def test_layers_of_different_shapes_are_refused():
    with pytest.raises(BadInput, match=r"layers for camps have the shapes.*one shape"):
        offered(plain(scent=np.zeros((3, 3), np.float32)))


def test_the_same_ground_turned_has_the_same_best_camp():
    rng = np.random.default_rng(2)
    slope = rng.uniform(0, 12, (50, 70)).astype(np.float32)
    water = rng.uniform(0, 1500, (50, 70)).astype(np.float32)
    best = offered(plain(50, 70, slope_deg=slope, water_s=water))[0]
    turned = offered(plain(70, 50, slope_deg=np.rot90(slope).copy(), water_s=np.rot90(water).copy()))[0]
    assert (turned.row, turned.col) == (69 - best.col, best.row)
    assert turned.worth == best.worth

"""Light through foliage on little grids: what is asked, what is refused, and compiled as not compiled."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import graylight
from graylight.errors import BadInput
from graylight.settings import SightSettings
from graylight.sight.foliage import Canopy, foliage, through

SETTINGS = SightSettings()
FLAT = np.zeros((5, 31), np.float32)


def stand(height: float, closure: float, *, base: float | None = None) -> Canopy:
    """A strip of trees across the middle of the flat."""
    tall, closed = np.zeros_like(FLAT), np.zeros_like(FLAT)
    tall[:, 12:17], closed[:, 12:17] = height, closure
    return Canopy(tall, closed, None if base is None else np.full_like(FLAT, base))


def look(canopy: Canopy | None, *, eye=(2, 0), target=(2, 30), settings=SETTINGS, ground=FLAT, **more):
    land = foliage(ground, canopy, settings)
    given = {"cell_m": 10.0, "eye_m": 1.0, "target_m": 0.9} | more
    rows, cols = np.array([target[0]]), np.array([target[1]])
    return through(land, eye=eye, rows=rows, cols=cols, settings=settings, **given)


def test_without_a_canopy_all_the_light_is_left():
    got = look(None)
    assert got.low[0] == got.likely[0] == got.high[0] == 1.0
    assert got.margin_m[0] > 0


def test_a_strip_of_timber_dims_and_brush_of_the_same_closure_dims_more_down_low():
    timber, brush = look(stand(18.0, 0.6)), look(stand(2.0, 0.6))
    assert 0 < timber.low[0] < timber.likely[0] < timber.high[0] < 1
    # under timber only trunks are in the way, brush has leaves down to the ground
    assert brush.likely[0] < timber.likely[0]


def test_over_low_brush_one_sees_from_high():
    assert look(stand(2.0, 0.9), eye_m=30.0).likely[0] == 1.0
    assert look(stand(2.0, 0.9)).likely[0] < 0.1


def test_a_known_crown_base_goes_before_the_share():
    low = look(stand(18.0, 0.6, base=0.0)).likely[0]
    assert low < look(stand(18.0, 0.6)).likely[0]
    assert look(stand(18.0, 0.6, base=np.nan)).likely[0] == look(stand(18.0, 0.6)).likely[0]


def test_a_watcher_in_the_stand_is_not_blind_and_an_opening_helps():
    inside = look(stand(6.0, 0.5), eye=(2, 14), settings=SightSettings(crown_base_share=0.0))
    opened = look(
        stand(6.0, 0.5), eye=(2, 14), settings=SightSettings(crown_base_share=0.0), openings_m=(18.0, 0.0)
    )
    assert 0 < inside.likely[0] < opened.likely[0]
    alone = Canopy(np.zeros_like(FLAT), np.zeros_like(FLAT))
    alone.height_m[2, 14], alone.closure[2, 14] = 20.0, 1.0
    assert look(alone, eye=(2, 14)).likely[0] == 1.0  # the tree on the head
    assert look(alone, target=(2, 14)).likely[0] == 1.0  # and the animal's


def test_without_an_error_the_three_readings_are_one():
    got = look(stand(18.0, 0.6), settings=SightSettings(closure_error=0.0))
    assert got.low[0] == got.likely[0] == got.high[0]


def test_nothing_is_promised_behind_unknown_ground_or_on_it():
    hole = FLAT.copy()
    hole[:, 15] = np.nan
    behind, on_it = look(stand(5.0, 0.5), ground=hole), look(stand(5.0, 0.5), ground=hole, target=(2, 15))
    assert behind.margin_m[0] < -1e6
    assert behind.likely[0] == behind.seen()[0] == 0.0
    assert np.isnan(on_it.margin_m[0])
    assert np.isnan(on_it.likely[0])
    assert look(None, ground=hole, target=(2, 15)).seen()[0] == 0.0


def test_canopy_that_is_not_known_counts_as_none():
    unknown = Canopy(np.full_like(FLAT, np.nan), np.full_like(FLAT, np.nan))
    assert look(unknown).likely[0] == 1.0


def test_near_targets_and_the_watchers_own_cell_are_in_full_light():
    closed = Canopy(np.full_like(FLAT, 20.0), np.ones_like(FLAT))
    for target in ((2, 0), (2, 1), (3, 1)):
        assert look(closed, target=target).likely[0] == 1.0
    assert look(closed, target=(2, 2), settings=SightSettings(crown_base_share=0.0)).likely[0] == 0.0


def test_many_targets_are_as_one_by_one():
    rng = np.random.default_rng(3)
    ground = rng.normal(0, 3, (41, 41)).cumsum(axis=0).astype(np.float32)
    canopy = Canopy(
        rng.uniform(0, 20, (41, 41)).astype(np.float32), rng.uniform(0, 0.3, (41, 41)).astype(np.float32)
    )
    land = foliage(ground, canopy, SETTINGS)
    rows, cols = (part.ravel() for part in np.mgrid[:41, :41])
    rows, cols = np.tile(rows, 2), np.tile(cols, 2)  # more than go into one job
    ask = {"eye": (20, 20), "cell_m": 10.0, "eye_m": 1.0, "target_m": 0.9, "settings": SETTINGS}
    whole = through(land, rows=rows, cols=cols, **ask)
    for i in (0, 7, 1200, 3000):
        one = through(land, rows=rows[i : i + 1], cols=cols[i : i + 1], **ask)
        assert (one.margin_m[0], one.likely[0]) == (whole.margin_m[i], whole.likely[i])
    assert (whole.likely[:1681] == whole.likely[1681:]).all()
    assert len(through(land, rows=rows[:0], cols=cols[:0], **ask).likely) == 0


def test_what_is_refused():
    with pytest.raises(BadInput, match="one grid for all"):
        foliage(FLAT, Canopy(np.zeros((2, 2), np.float32), np.zeros((2, 2), np.float32)), SETTINGS)
    with pytest.raises(BadInput, match="target 0 at row 2, column 31"):
        look(None, target=(2, 31))
    with pytest.raises(BadInput, match="no ground is known at row 9"):
        look(None, eye=(9, 0))
    with pytest.raises(BadInput, match="1 rows and 2 columns"):
        through(
            foliage(FLAT, None, SETTINGS), eye=(0, 0), rows=np.array([1]), cols=np.array([1, 2]), cell_m=10.0,
            eye_m=1.0, target_m=1.0, settings=SETTINGS,
        )  # fmt: skip


RUN = """
import json, numpy as np
from graylight.settings import SightSettings
from graylight.sight.foliage import Canopy, foliage, through
rng = np.random.default_rng(5)
z = rng.normal(0, 4, (24, 24)).cumsum(axis=1).astype(np.float32)
z[3, 4] = np.nan
c = Canopy(rng.uniform(0, 25, z.shape).astype(np.float32), rng.uniform(0, 0.4, z.shape).astype(np.float32))
s = SightSettings(elevation_error_m=20.0)
rows, cols = np.mgrid[:24:3, :24:3]
t = through(foliage(z, c, s), eye=(11, 12), rows=rows.ravel(), cols=cols.ravel(), cell_m=10.0, eye_m=6.0,
            target_m=0.9, settings=s, openings_m=(12.0, 5.0))
print(json.dumps([np.nan_to_num(v, nan=-9, posinf=99).tolist() for v in (t.margin_m, t.low, t.likely, t.high)]))
"""


def test_compiled_and_not_compiled_give_the_same():
    root = Path(graylight.__file__).parents[1]
    answers = []
    for off in ("0", "1"):
        env = os.environ | {"NUMBA_DISABLE_JIT": off, "PYTHONPATH": str(root)}
        done = subprocess.run(
            [sys.executable, "-c", RUN], env=env, capture_output=True, text=True, check=True
        )
        answers.append(json.loads(done.stdout))
    compiled, plain = np.array(answers)
    assert np.allclose(compiled, plain, rtol=1e-5, atol=1e-6)
    assert ((compiled[2] > 0.01) & (compiled[2] < 0.99)).sum() > 5

"""What must hold of light through foliage on any ground and in any canopy."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from graylight.kernels.foliage import transmittance
from graylight.settings import SightSettings
from graylight.sight.foliage import Canopy, Foliage, foliage, through
from graylight.sight.viewshed import bend

SIZE = 21
cells = st.tuples(st.integers(0, SIZE - 1), st.integers(0, SIZE - 1))
seeds = st.integers(0, 10_000)
heights = st.floats(0.2, 60.0)
shares = st.floats(0.0, 0.8)


def ground(seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return np.round(rng.normal(0, 8, (SIZE, SIZE)).cumsum(axis=0).cumsum(axis=1) / 6, 2).astype(np.float32)


def canopy(seed: int, *, opaque: bool = True) -> Canopy:
    rng = np.random.default_rng(seed + 1)
    there = rng.random((SIZE, SIZE)) < rng.random()
    closure = rng.random((SIZE, SIZE)) * 1.05 if opaque else rng.random((SIZE, SIZE)) * 0.97
    height = rng.gamma(2, 6, (SIZE, SIZE))
    return Canopy(
        np.where(there, height, 0).astype(np.float32),
        np.where(there, np.minimum(closure, 1), 0).astype(np.float32),
    )


def look(land: Foliage, eye, target, eye_m, target_m, *, sight: SightSettings, openings=(0.0, 0.0)):
    return through(
        land, eye=eye, rows=np.array([target[0]]), cols=np.array([target[1]]), cell_m=10.0, eye_m=eye_m,
        target_m=target_m, settings=sight, openings_m=openings,
    )  # fmt: skip


def sight_with(share: float) -> SightSettings:
    return SightSettings(crown_base_share=share, elevation_error_m=30.0)


@settings(max_examples=150)
@given(seeds, cells, cells, heights, heights, shares)
def test_light_lies_in_0_1_and_in_order(seed, eye, target, eye_m, target_m, share):
    sight = sight_with(share)
    got = look(foliage(ground(seed), canopy(seed), sight), eye, target, eye_m, target_m, sight=sight)
    assert 0 <= got.low[0] <= got.likely[0] <= got.high[0] <= 1


@settings(max_examples=150)
@given(seeds, cells, cells, heights, heights, shares, st.floats(0, 1))
def test_closing_the_canopy_never_lets_more_light_through(seed, eye, target, eye_m, target_m, share, part):
    """Closure raised anywhere, heights as they are."""
    sight, z, before = sight_with(share), ground(seed), canopy(seed)
    raised = np.random.default_rng(seed + 2).random((SIZE, SIZE)) < part
    closure = np.where(raised & (before.height_m > 0), (before.closure + 1) / 2, before.closure)
    after = Canopy(before.height_m, closure.astype(np.float32))
    one, two = (
        look(foliage(z, c, sight), eye, target, eye_m, target_m, sight=sight) for c in (before, after)
    )
    assert two.likely[0] <= one.likely[0] * (1 + 1e-5)
    assert two.margin_m[0] == one.margin_m[0]


@settings(max_examples=150)
@given(seeds, cells, cells, heights, heights, st.floats(0, 1))
def test_growing_trees_on_bare_cells_never_lets_more_light_through(seed, eye, target, eye_m, target_m, part):
    """With leaves down to the ground; with bare trunks below, a taller neighbour lifts the crown's base between."""
    sight, z, before, more = sight_with(0.0), ground(seed), canopy(seed), canopy(seed + 7)
    grown = (before.height_m == 0) & (np.random.default_rng(seed + 3).random((SIZE, SIZE)) < part)
    after = Canopy(
        np.where(grown, more.height_m, before.height_m).astype(np.float32),
        np.where(grown, more.closure, before.closure).astype(np.float32),
    )
    one, two = (
        look(foliage(z, c, sight), eye, target, eye_m, target_m, sight=sight) for c in (before, after)
    )
    assert two.likely[0] <= one.likely[0] * (1 + 1e-5)


@settings(max_examples=150)
@given(seeds, cells, cells, heights, heights, shares, st.floats(0, 40), st.floats(0, 40))
def test_light_is_mutual_with_heights_and_openings_exchanged(
    seed, a, b, high_a, high_b, share, open_a, open_b
):
    sight = sight_with(share)
    land = foliage(ground(seed), canopy(seed, opaque=False), sight)
    there = look(land, a, b, high_a, high_b, sight=sight, openings=(open_a, open_b))
    back = look(land, b, a, high_b, high_a, sight=sight, openings=(open_b, open_a))
    if min(there.margin_m[0], back.margin_m[0]) > -30.0:  # below the stated error nothing is worked out
        assert np.isclose(there.likely[0], back.likely[0], rtol=1e-4, atol=1e-7)


@settings(max_examples=60)
@given(
    seeds, st.floats(-0.4, 0.4), st.floats(-0.4, 0.4), st.floats(0.002, 0.2), cells, cells,
    st.integers(2, 4),
)  # fmt: skip
def test_splitting_the_cells_changes_nothing_on_a_slab(seed, tilt_row, tilt_col, k, eye, target, parts):
    """A uniform slab over a tilted plane, both ends' openings as large as the coarse cell's: the same light."""
    if max(abs(eye[0] - target[0]), abs(eye[1] - target[1])) < 4:
        return
    found = []
    for split in (1, parts):
        size = (SIZE - 1) * split + 1
        rows, cols = np.mgrid[:size, :size] * (10.0 / split)
        z = (tilt_row * rows + tilt_col * cols).astype(np.float32)
        land = np.stack([z, z + 2, z + 12], axis=-1).astype(np.float32)
        leaf = np.full((size, size, 6), [k, k, k, 0.01, 0.01, 0.01], np.float32)
        (r0, c0), (r1, c1) = (tuple(i * split for i in cell) for cell in (eye, target))
        out = np.empty(3)
        # where the leaves of the ends thin out goes by the cell: openings of 15 m take it out of the question
        transmittance(
            z, land, leaf, r0, c0, float(z[r0, c0]) + 20.0, r1, c1, float(z[r1, c1]) + 1.0, 10.0 / split,
            bend(1 / 7), 15.0, 15.0, -1e6, out,
        )  # fmt: skip
        found.append(out[0])
    assert np.isclose(found[0], found[1], rtol=1e-3)

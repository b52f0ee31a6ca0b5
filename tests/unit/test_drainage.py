"""Drainage: hand-drawn grounds, a slow reference, and the independent program whitebox-workflows."""

from __future__ import annotations

import heapq
import os
import subprocess
import sys
from operator import attrgetter
from pathlib import Path

import numpy as np
import pytest
import rasterio
import whitebox_workflows
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.ndimage import gaussian_filter

from graylight.kernels.drainage import accumulate, fill, receivers


def drained(z: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Receivers, order, cells drained and filled surface; the last two as rasters."""
    z = np.ascontiguousarray(z, np.float32)
    receiver, order = np.empty(z.size, np.int64), np.empty(z.size, np.int64)
    cells, level = np.empty(z.size), np.empty(z.size, np.float32)
    known = receivers(z, receiver, order)
    assert known == np.isfinite(z).sum()
    accumulate(receiver, order, cells)
    fill(z.ravel(), receiver, order, level)
    return receiver, order[:known], cells.reshape(z.shape), level.reshape(z.shape)


def filled_slowly(z: np.ndarray) -> np.ndarray:
    """Least over all ways out of the highest ground on the way, by Dijkstra's method on a plain heap."""
    rows, cols = z.shape
    level = np.full(z.shape, np.nan)
    padded = np.pad(z.astype(float), 1, constant_values=np.nan)
    queue = [
        (float(z[r, c]), r, c)
        for r in range(rows)
        for c in range(cols)
        if np.isfinite(z[r, c]) and np.isnan(padded[r : r + 3, c : c + 3]).any()
    ]
    heapq.heapify(queue)
    while queue:
        height, r, c = heapq.heappop(queue)
        if np.isfinite(level[r, c]):
            continue
        level[r, c] = height
        for i in range(max(r - 1, 0), min(r + 2, rows)):
            for j in range(max(c - 1, 0), min(c + 2, cols)):
                if np.isfinite(z[i, j]) and np.isnan(level[i, j]):
                    heapq.heappush(queue, (max(height, float(z[i, j])), i, j))
    return level


def whitebox(tool: str, z: np.ndarray, folder: Path, **options: object) -> np.ndarray:
    path = folder / "ground.tif"
    profile = {"driver": "GTiff", "height": z.shape[0], "width": z.shape[1], "count": 1, "dtype": "float32"}
    profile |= {"crs": "EPSG:32611", "transform": rasterio.Affine(10.0, 0, 680000, 0, -10.0, 4480000)}
    with rasterio.open(path, "w", nodata=-32768.0, **profile) as target:
        target.write(z, 1)
    program = whitebox_workflows.WbEnvironment()
    result = attrgetter(tool)(program)(input=program.read_raster(str(path)), **options)
    return np.asarray(result.to_numpy(), dtype=np.float64).reshape(z.shape)


def test_water_leaves_by_the_steepest_of_eight():
    #  9 9 9 9       from the 6 it is 2 down over one cell to the 4,
    #  9 6 4 9       and 3 down over 1.41 cells (2.12 a cell) to the 3
    #  9 9 3 9
    z = np.array([[9, 9, 9, 9], [9, 6, 4, 9], [9, 9, 3, 9]], np.float32)
    receiver, _, cells, _ = drained(z)
    assert receiver[1 * 4 + 1] == 2 * 4 + 2
    assert receiver[1 * 4 + 2] == 2 * 4 + 2
    assert cells[2, 2] == 3.0


def test_a_hollow_is_filled_to_its_rim_and_drains_over_it():
    z = np.full((5, 6), 10.0, np.float32)
    z[1:4, 1:5] = 4.0
    z[2, 5] = 7.0  # the way out
    receiver, _, cells, level = drained(z)
    assert (level[1:4, 1:5] == 7.0).all()
    assert cells[2, 5] == 13.0
    assert receiver[2 * 6 + 4] == 2 * 6 + 5


def test_water_leaves_beside_unknown_ground():
    z = np.arange(49, dtype=np.float32).reshape(7, 7) + 100.0
    z[3, 3] = np.nan
    receiver, order, cells, level = drained(z)
    assert receiver[3 * 7 + 3] == -1
    assert 3 * 7 + 3 not in order
    assert np.isnan(cells[3, 3])
    assert np.isnan(level[3, 3])
    assert receiver[4 * 7 + 4] == 4 * 7 + 4
    outlets = np.flatnonzero(receiver == np.arange(49))
    assert cells.ravel()[outlets].sum() == 48.0


grounds = arrays(
    np.float32,
    st.tuples(st.integers(1, 9), st.integers(1, 11)),
    elements=st.sampled_from([0.0, 1.0, 2.0, 3.0, 5.0, 8.0, float("nan")]),
)


@given(grounds)
@settings(max_examples=150, deadline=None)
def test_filled_ground_is_that_of_the_slow_reference(z):
    receiver, order, cells, level = drained(z)
    np.testing.assert_array_equal(level, filled_slowly(z))
    place = np.full(z.size, -1)
    place[order] = np.arange(order.size)
    down = receiver[order]
    assert (place[down] <= place[order]).all()
    assert ((place[down] == place[order]) == (down == order)).all()
    assert (level.ravel()[down] <= level.ravel()[order]).all()
    assert cells.ravel()[order[down == order]].sum() == order.size


def test_turned_ground_has_turned_drainage():
    z = gaussian_filter(np.random.default_rng(4).normal(size=(40, 31)), 2.0).astype(np.float32)
    cells = drained(z)[2]
    level = drained(z)[3]
    dry = level == z  # in hollows the way over level ground is a matter of order, not of form
    turned = drained(np.rot90(z))
    np.testing.assert_array_equal(np.rot90(level), turned[3])
    np.testing.assert_array_equal(np.rot90(cells)[np.rot90(dry)].sum(), turned[2][np.rot90(dry)].sum())


def test_filled_ground_is_whiteboxs(tmp_path):
    # whitebox-workflows 2: fill_depressions_wang_and_liu (Wang & Liu 2006), no slope put on flats
    z = gaussian_filter(np.random.default_rng(1).normal(size=(80, 90)), 4) * 900 + 2000
    z = z.astype(np.float32)
    theirs = whitebox("hydrology.fill_depressions_wang_and_liu", z, tmp_path, fix_flats=False)
    level = drained(z)[3]
    assert (level > z + 1.0).sum() > 200
    np.testing.assert_array_equal(level, theirs)


def test_cells_drained_are_whiteboxs(tmp_path):
    # whitebox-workflows 2: d8_flow_accum. Its edge cells drain into one another where ours are outlets, so
    # the edge is laid low and only the ground inside is compared.
    y, x = np.mgrid[:80, :90]
    z = 2000 + 25 * gaussian_filter(np.random.default_rng(1).normal(size=(80, 90)), 5) + 3 * y + 1.3 * x
    z[[0, -1]] = z[:, [0, -1]] = 1000.0
    z = z.astype(np.float32)
    theirs = whitebox("hydrology.d8_flow_accum", z, tmp_path, out_type="cells")
    cells = drained(z)[2]
    assert cells[1:-1, 1:-1].max() > 500
    np.testing.assert_array_equal(cells[1:-1, 1:-1], theirs[1:-1, 1:-1])


@pytest.mark.parametrize("seed", [0, 5])
def test_plain_python_agrees_with_the_compiled_code(seed):
    script = (
        "import numpy as np; from tests.unit.test_drainage import drained;"
        f"z = np.random.default_rng({seed}).integers(0, 9, (23, 17)).astype('f4'); z[5:8, 4:6] = np.nan;"
        "import hashlib; print(hashlib.sha256(b''.join(a.tobytes() for a in drained(z))).hexdigest())"
    )
    root = Path(__file__).parents[2]
    said = []
    for off in ("0", "1"):
        env = os.environ | {"NUMBA_DISABLE_JIT": off, "PYTHONPATH": str(root)}
        done = subprocess.run(
            [sys.executable, "-c", script],
            env=env,
            cwd=root,
            capture_output=True,
            text=True,
            check=True,
        )
        said.append(done.stdout.strip())
    assert said[0] == said[1]
    assert len(said[0]) == 64

"""Walking against published values and closed forms, each named beside its check."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
import rasterio
import whitebox_workflows
from numpy.typing import NDArray

from graylight.kernels.costpath import EVERYWHERE, least_time, nodes
from graylight.reach.burden import pandolf_watts, slowing
from graylight.reach.pace import irmischer_off, irmischer_on, on_path, pace_table, tobler_off, tobler_on
from graylight.settings import WalkSettings

SLOPES = [-0.30, -0.20, -0.10, -0.05, 0.0, 0.05, 0.10, 0.20, 0.30]
PLAIN = WalkSettings(pack_factor=1.0, dark_factor=1.0)


def field(
    z: NDArray,
    *,
    source: tuple[int, int],
    pace: NDArray | None = None,
    factor: NDArray | None = None,
    toward: bool = False,
    ground: int = 0,
    cell_m: float = 10.0,
) -> NDArray[np.float32]:
    """Seconds from one source over one kind of ground; without a pace table one second a metre."""
    z = z.astype(np.float32)
    table = np.ones((1, 401), np.float32) if pace is None else pace
    factor = np.ones(z.shape, np.float32) if factor is None else factor.astype(np.float32)
    seconds, came = np.empty(z.shape, np.float32), np.empty(z.shape, np.int8)
    rows, cols = np.array([source[0]]), np.array([source[1]])
    surface = np.full(z.shape, ground, np.uint8)
    least_time(
        z,
        factor,
        surface,
        table,
        -2.0,
        0.01,
        cell_m,
        rows,
        cols,
        np.zeros(1),
        np.inf,
        toward,
        EVERYWHERE,
        nodes(z.shape),
        seconds,
        came,
    )
    return seconds


# Speeds by slope, m/s


def test_tobler_on_path():
    """Tobler 1993, 'Three presentations on geographical analysis and modeling', from the equation."""
    expected = [0.695, 0.986, 1.399, 1.667, 1.399, 1.174, 0.986, 0.695, 0.490]
    np.testing.assert_allclose(tobler_on(SLOPES), expected, atol=6e-4)


def test_tobler_off_path():
    """Tobler 1993: six tenths of the speed on a path."""
    expected = [0.417, 0.592, 0.839, 1.000, 0.839, 0.705, 0.592, 0.417, 0.294]
    np.testing.assert_allclose(tobler_off(SLOPES), expected, atol=6e-4)


def test_irmischer_and_clarke_off_path():
    """Irmischer & Clarke 2018, 'Measuring and modeling the speed of human navigation', from the equation."""
    expected = [0.543, 0.670, 0.757, 0.777, 0.779, 0.762, 0.728, 0.622, 0.489]
    np.testing.assert_allclose(irmischer_off(SLOPES), expected, atol=6e-4)


def test_irmischer_and_clarke_on_path():
    """Irmischer & Clarke 2018, on path, from the equation."""
    expected = [0.817, 0.992, 1.096, 1.110, 1.096, 1.056, 0.992, 0.817, 0.616]
    np.testing.assert_allclose(irmischer_on(SLOPES), expected, atol=6e-4)


def test_a_path_is_never_slower_than_meadow_beside_it():
    """Herzog's meadow factor 1.25 against off path 1.67: the pace on a path must not fall below that."""
    slopes = np.linspace(-2.0, 2.0, 401)
    assert np.all(on_path(slopes) >= irmischer_off(slopes) * 1.67 / 1.25 - 1e-12)


@pytest.mark.parametrize("slope", SLOPES)
@pytest.mark.parametrize(("ground", "speed"), [(0, irmischer_off), (1, on_path)])
def test_a_ramp_takes_the_published_time(slope, ground, speed):
    """Straight up or down a plane: distance over the published speed, both directions of the slope."""
    columns = np.arange(101)
    z = np.tile(columns * 10.0 * slope, (5, 1))
    table = pace_table(PLAIN).seconds_per_m
    seconds = field(z, source=(2, 0), pace=table, ground=ground)
    assert seconds[2, 100] == pytest.approx(1000.0 / float(speed(slope)), rel=1e-4)
    back = field(z, source=(2, 0), pace=table, ground=ground, toward=True)
    assert back[2, 100] == pytest.approx(1000.0 / float(speed(-slope)), rel=1e-4)


def test_the_table_follows_the_equations_between_its_columns():
    slope = np.linspace(-0.6, 0.6, 4801)
    table = pace_table(PLAIN)
    column = table.slope_min + table.slope_step * np.arange(table.seconds_per_m.shape[1])
    for row, speed in enumerate((irmischer_off, on_path)):
        read = np.interp(slope, column, table.seconds_per_m[row])
        np.testing.assert_allclose(read, 1.0 / speed(slope), rtol=5e-3)  # worst where curves cross


def test_pack_dark_and_own_factor_multiply():
    own = WalkSettings(pace_factor=1.1, pack_factor=1.25, dark_factor=1.3)
    plain = pace_table(PLAIN).seconds_per_m
    np.testing.assert_allclose(pace_table(own).seconds_per_m, plain * 1.1 * 1.25 * 1.3, rtol=1e-6)
    by_day = pace_table(own, pack=False, dark=False).seconds_per_m
    np.testing.assert_allclose(by_day, plain * 1.1, rtol=1e-6)


# Shape of the field: closed forms


def sixteen(dr: NDArray, dc: NDArray) -> NDArray:
    """Shortest way on the plane by straight, diagonal and knight moves; its unit ball has 16 corners."""
    a, b = np.maximum(np.abs(dr), np.abs(dc)), np.minimum(np.abs(dr), np.abs(dc))
    low = (a - 2 * b) + b * math.sqrt(5)  # nearer the axis: straight and knight moves
    high = (2 * b - a) * math.sqrt(2) + (a - b) * math.sqrt(5)  # nearer the diagonal
    return np.where(a >= 2 * b, low, high)


def test_flat_plane_equals_the_closed_form_of_sixteen_directions():
    dr, dc = np.mgrid[-40:41, -40:41]
    seconds = field(np.zeros((81, 81)), source=(40, 40))
    np.testing.assert_allclose(seconds, 10.0 * sixteen(dr, dc), rtol=1e-6)


def test_direction_error_on_the_plane():
    """Sixteen directions are worst by 2.75 %: 1 / cos of half of 26.57 degrees, the widest gap (geometry)."""
    dr, dc = np.mgrid[-60:61, -60:61]
    true = 10.0 * np.hypot(dr, dc)
    seconds = field(np.zeros((121, 121)), source=(60, 60))
    away = true > 0
    error = seconds[away] / true[away] - 1.0
    assert error.min() >= -1e-6
    assert error.max() <= 1.0 / math.cos(math.atan(0.5) / 2) - 1.0 + 1e-6
    assert error.max() > 0.027


def test_cone_equals_the_closed_form_along_the_eight_rays():
    """Up a cone along an axis or a diagonal the slope is even: distance over speed."""
    slope = 0.25
    dr, dc = np.mgrid[-50:51, -50:51]
    z = -slope * 10.0 * np.hypot(dr, dc)
    table = pace_table(PLAIN).seconds_per_m
    down = field(z, source=(50, 50), pace=table)
    up = field(z, source=(50, 50), pace=table, toward=True)
    for row, col in [(0, 50), (100, 50), (50, 0), (50, 100), (0, 0), (100, 100), (0, 100), (100, 0)]:
        distance = 10.0 * math.hypot(row - 50, col - 50)
        assert down[row, col] == pytest.approx(distance / float(irmischer_off(-slope)), rel=2e-3)
        assert up[row, col] == pytest.approx(distance / float(irmischer_off(slope)), rel=2e-3)


def test_a_steep_wall_is_climbed_on_the_slant():
    """Where the pace grows faster than the slope, a way goes up on the slant."""
    z = np.tile(np.arange(60)[:, None] * 10.0 * 0.8, (1, 120))
    table = pace_table(PLAIN).seconds_per_m
    seconds = field(z, source=(0, 60), pace=table)
    straight = 590.0 / float(irmischer_off(0.8))
    assert seconds[59, 60] < 0.8 * straight


def test_shortest_way_round_one_closed_cell():
    """Drawn by hand: past a closed cell with two knight moves and no corner."""
    factor = np.ones((7, 7))
    factor[3, 3] = np.inf
    seconds = field(np.zeros((7, 7)), source=(3, 1), factor=factor)
    # (3,1)-(2,3) lies in (3,2) and (2,2), (2,3)-(3,5) in (2,4) and (3,4): all open.
    assert seconds[3, 5] == pytest.approx(10.0 * 2 * math.sqrt(5), rel=1e-6)


def whitebox_cost(factor: NDArray, source: tuple[int, int], folder: Path) -> NDArray[np.float64]:
    """Cost distance of whitebox-workflows 2: 8 directions, mean of two cells, no slope; an independent program."""
    marked = np.zeros(factor.shape)
    marked[source] = 1.0
    for name, values in (("source", marked), ("cost", factor)):
        with rasterio.open(
            folder / f"{name}.tif", "w", driver="GTiff", height=factor.shape[0], width=factor.shape[1], count=1,
            dtype="float32", nodata=-9.0, crs="EPSG:32613", transform=rasterio.Affine(10, 0, 450000, 0, -10, 4450000),
        ) as target:  # fmt: skip
            target.write(values.astype(np.float32), 1)
    program = whitebox_workflows.WbEnvironment()
    rasters = [program.read_raster(str(folder / f"{name}.tif")) for name in ("source", "cost")]
    result = program.cost_distance(*rasters)
    result = result[0] if isinstance(result, tuple) else result
    return np.asarray(result.to_numpy(), dtype=np.float64).reshape(factor.shape)


def test_more_directions_never_lengthen_a_way(tmp_path):
    """Beside the 8 directions of whitebox-workflows, on even ground: nowhere longer, up to 7 % shorter."""
    shape = (60, 90)
    eight = whitebox_cost(np.ones(shape), (7, 11), tmp_path)
    ours = field(np.zeros(shape), source=(7, 11))
    assert np.all(ours <= eight * (1 + 1e-5))
    assert np.max(eight / np.maximum(ours, 1e-9)) > 1.05


def test_along_a_row_equals_whitebox(tmp_path):
    """Over ground that changes along one row there is one way only: the same rule, so the same sum."""
    factor = np.ones((3, 50))
    factor[:, 20:33] = 3.0
    eight = whitebox_cost(factor, (1, 0), tmp_path)
    np.testing.assert_allclose(field(np.zeros((3, 50)), source=(1, 0), factor=factor)[1], eight[1], rtol=1e-5)


def test_of_the_cells_that_touch_a_wall_the_way_round_is_nearly_the_true_one():
    """Shortest way round a wall: straight lines over its two outer corners (geometry), within 2.75 % and the
    one or two cells by which a way of cell centres must stand off the corners."""
    factor = np.ones((41, 41))
    factor[10:31, 20] = np.inf
    seconds = field(np.zeros((41, 41)), source=(20, 6), factor=factor)
    true = 2.0 * math.hypot(10.5, 13.5) + 1.0  # corners at (9.5, 19.5) and (9.5, 20.5), in cells
    assert true * 10.0 < seconds[20, 34] < 10.0 * (true * 1.0279 + 1.5)


def test_naismith():
    """Naismith 1892: 5 km/h and an hour for 600 m of climb: 10 km with 600 m take 3.0 h.

    His rule as a pace table gives just that; the published paces lie on either side of it.
    """
    slope = -2.0 + 0.01 * np.arange(401)
    table = (0.72 + 6.0 * np.maximum(slope, 0.0))[None].astype(np.float32)
    z = np.tile(np.arange(1001) * 0.6, (3, 1))
    assert field(z, source=(1, 0), pace=table)[1, 1000] == pytest.approx(3.0 * 3600.0, rel=1e-4)
    paces = pace_table(PLAIN).seconds_per_m
    path, rough = (field(z, source=(1, 0), pace=paces, ground=g)[1, 1000] / 3600.0 for g in (1, 0))
    assert path < 3.0 < rough


def test_beside_scikit_image_no_way_is_longer():
    """MCP_Geometric of scikit-image: 8 directions, mean of two cells, no slope. The same moves are among ours."""
    graph = pytest.importorskip("skimage.graph")
    rng = np.random.default_rng(8)
    for spread in (0.0, 0.3, 1.0):
        factor = np.exp(spread * rng.normal(size=(60, 90))).astype(np.float32)
        theirs, _ = graph.MCP_Geometric(factor.astype(np.float64)).find_costs([(7, 11)])
        ours = field(np.zeros((60, 90)), source=(7, 11), factor=factor)
        assert np.all(ours <= 10.0 * theirs * (1 + 1e-5))
        assert np.median(ours / (10.0 * np.maximum(theirs, 1e-9))) > 0.9


# Loads


def test_pandolf():
    """Pandolf, Givoni & Goldman 1977, 'Predicting energy expenditure with loads', from the equation."""
    assert pandolf_watts(70, 0, 1.34, 0, 1.0) == pytest.approx(293.5, abs=0.05)
    assert pandolf_watts(80, 20, 1.0, 10, 1.2) == pytest.approx(732.5, abs=0.05)


@pytest.mark.parametrize("slope", [0.0, 0.1, 0.3])
@pytest.mark.parametrize("load_kg", [10.0, 25.0])
def test_the_pace_under_a_load_costs_what_the_pace_without_did(slope, load_kg):
    """The rule is the same metabolic power: put back into the equation it comes out."""
    free = float(irmischer_off(slope))
    loaded = free / float(slowing(free, slope, load_kg=load_kg, body_kg=80.0, terrain=1.3))
    assert loaded < free
    before, after = (
        pandolf_watts(80.0, kg, v, 100.0 * slope, 1.3) for kg, v in ((0.0, free), (load_kg, loaded))
    )
    assert after == pytest.approx(before, rel=1e-9)

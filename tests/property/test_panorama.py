"""What holds of any panorama: turned and mirrored ground gives turned and mirrored views; a sight line is clear to its end."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from graylight.sight.panorama import panorama
from tests.reference import slow_panorama

SIZE = 15


@st.composite
def grounds(draw, unknown: bool = True):
    seed = draw(st.integers(0, 2**20))
    rng = np.random.default_rng(seed)
    z = (rng.random((SIZE, SIZE)) * draw(st.sampled_from([0.0, 3.0, 80.0]))).astype(np.float32)
    seat = draw(st.integers(0, SIZE - 1)), draw(st.integers(0, SIZE - 1))
    if unknown:
        holes = rng.random(z.shape) < draw(st.sampled_from([0.0, 0.03, 0.3]))
        holes[seat] = False
        z[holes] = np.nan
    return z, seat


def look(z, seat, first_deg=1.0, **given):
    # 71 columns that begin at 1 degree: no ray runs along a row, a column or a diagonal
    return panorama(
        np.ascontiguousarray(z), row=seat[0], col=seat[1], cell_m=10.0, eye_m=2.0, convergence_deg=0.0,
        azimuth_from_deg=first_deg, azimuth_to_deg=first_deg + 360.0, up_from_deg=-60.0, up_to_deg=60.0, width=71,
        height=50, **given,
    )  # fmt: skip


def same(a, b) -> None:
    """Equal but for pixels whose middle a crest meets to the last digit."""
    assert (np.isnan(a) != np.isnan(b)).mean() < 0.002
    both = ~np.isnan(a) & ~np.isnan(b)
    off = np.abs(a[both] - b[both]) > 1e-3 * (1.0 + a[both])
    assert off.mean() < 0.002 if off.size else True


@settings(max_examples=60)
@given(grounds(), st.integers(1, 3))
def test_turned_ground_gives_a_turned_view(made, quarters):
    z, (row, col) = made
    plain = look(z, (row, col))
    turned = np.rot90(z, -quarters)  # clockwise: what stood north stands east
    there = np.zeros(z.shape, bool)
    there[row, col] = True
    seat = tuple(int(i) for i in np.argwhere(np.rot90(there, -quarters))[0])
    same(plain.distance_m, look(turned, seat, 1.0 + 90.0 * quarters).distance_m)


@settings(max_examples=60)
@given(grounds())
def test_mirrored_ground_gives_a_mirrored_view(made):
    z, (row, col) = made
    mirrored = look(z[:, ::-1], (row, SIZE - 1 - col), -1.0)
    same(look(z, (row, col)).distance_m, mirrored.distance_m[:, ::-1])


@settings(max_examples=30)
@given(grounds(unknown=False))
def test_no_ground_stands_above_a_line_of_sight_before_its_end(made):
    z, (row, col) = made
    seen = look(z, (row, col))
    for x in range(0, seen.width, 5):
        points = slow_panorama.profile(z, row, col, float(seen.azimuth_deg[x]), cell_m=10.0, eye_m=2.0)
        for y in range(0, seen.height, 3):
            end = float(seen.distance_m[y, x])
            limit = np.inf if np.isnan(end) else end - 1e-2
            slope = np.tan(np.radians(seen.elevation_deg[y]))
            assert all(h <= slope * d + 1e-3 for d, h in points[1:] if d < limit)


@settings(max_examples=40)
@given(grounds(), st.floats(-500.0, 500.0))
def test_only_heights_relative_to_the_eye_matter(made, lift):
    z, seat = made
    same(look(z, seat).distance_m, look((z + np.float32(lift)).astype(np.float32), seat).distance_m)

"""The ground of a pocket: no unknown ground in it, every place it names inside its line, none on the country's rim."""

from __future__ import annotations

import numpy as np
import pytest
from shapely import Point, Polygon

from graylight.country.folder import Country
from graylight.grid import LonLat
from graylight.ground.cover import Kind
from graylight.habitat.habitat import habitat
from graylight.habitat.outline import body, gathered, joined, outlined
from graylight.habitat.profile import shipped
from graylight.habitat.ways import Frame, going
from graylight.plan.ids import ground_of
from graylight.plan.model import Plan
from tests.unit.small_land import CELL_M, land_of, two_bowls

DEER = shipped("mule-deer-summer")


def level(rows: int = 80, cols: int = 120) -> tuple[np.ndarray, np.ndarray]:
    """Nearly level grass."""
    z = 2500.0 + 0.02 * np.indices((rows, cols)).sum(axis=0)
    return z.astype(np.float32), np.full((rows, cols), int(Kind.GRASS), np.uint8)


def square(shape: tuple[int, int], row: int, col: int, half: int) -> np.ndarray:
    mask = np.zeros(shape, bool)
    mask[row - half : row + half + 1, col - half : col + half + 1] = True
    return mask


def inside(rings, row: float, col: float) -> bool:
    return Polygon(rings[0], rings[1:]).contains(Point(row, col))


def test_pockets_hold_no_unknown_ground():
    z, kind = two_bowls()
    z[52:58, 50:54] = np.nan  # a hole in the feed, and another
    z[44:47, 180:190] = np.nan
    result = habitat(land_of(z, kind), DEER)
    assert len(result.pockets) >= 2
    assert not (result.labels[np.isnan(z)] > 0).any()
    for pocket in result.pockets:
        for row, col in np.argwhere(np.isnan(z)):
            assert not inside(pocket.outline, row, col)


def test_a_hole_of_unknown_ground_stays_a_hole():
    z, kind = level()
    z[38:43, 58:63] = np.nan
    land, frame = land_of(z, kind), Frame(0, 0, 80, 120)
    feeding = square(z.shape, 40, 60, 15) & ~np.isnan(z)
    whole = body(feeding, np.zeros(z.shape, bool), [], frame, land)
    rings, ground = outlined(whole, feeding, frame, land)
    assert not ground[np.isnan(z)].any()
    assert len(rings) == 2
    assert not inside(rings, 40, 60)
    assert inside(rings, 40, 50)


def test_a_bed_off_the_feed_is_joined_by_the_way_there():
    """A cliff wall with one gap between feed and bed: the pocket takes in the gap, not the straight line."""
    z, kind = level()
    z[:, 60] += 300.0
    z[30:35, 60] -= 300.0
    land, frame = land_of(z, kind), Frame(0, 0, 80, 120)
    move = going(land, DEER.ways, daylight=0.4)
    feeding = square(z.shape, 60, 40, 8)
    whole = body(feeding, square(z.shape, 60, 80, 3), [(60, 80)], frame, land)
    _, main = outlined(whole, feeding, frame, land)
    assert not main[60, 80]
    more = joined(whole, main, [(60, 40)], [(60, 80)], frame, move, land)
    rings, ground = outlined(more, feeding, frame, land)
    assert ground[60, 80]
    assert inside(rings, 60, 80)
    assert ground[30:35, 60].any()
    assert not ground[39:, 60].any()  # the way is 40 m and a cell wide to either side
    assert ground.sum() < whole.sum() + 90 * 7  # a way, not a field: some 70 cells long, 5 to 7 wide


def test_a_place_to_which_no_way_leads_adds_nothing():
    z, kind = level()
    z[:, 60] += 300.0
    land, frame = land_of(z, kind), Frame(0, 0, 80, 120)
    feeding = square(z.shape, 60, 40, 8)
    more = joined(feeding, feeding, [(60, 40)], [(60, 80)], frame, going(land, DEER.ways, daylight=0.4), land)
    assert (more == feeding).all()


def test_feed_farther_off_belongs_to_no_one_pocket():
    near, far = square((80, 120), 40, 20, 10), square((80, 120), 40, 100, 8)
    kept = gathered(near | far, (40, 20), CELL_M)
    assert (kept == near).all()
    beside = square((80, 120), 40, 43, 6)  # 6 cells of 20 m between them
    assert (gathered(near | beside, (40, 20), CELL_M) == (near | beside)).all()


def test_the_rim_of_the_country_is_shut_to_animals():
    z, kind = level()
    move = going(land_of(z, kind), DEER.ways, daylight=0.4)
    rim = np.ones(z.shape, bool)
    rim[1:-1, 1:-1] = False
    assert np.isinf(move.factor[rim]).all()
    assert np.isfinite(move.factor[~rim]).all()


@pytest.fixture(scope="module", params=["demo", "small"])
def planned(request) -> tuple[Plan, Country]:
    folder = request.getfixturevalue(request.param)
    return Plan.model_validate_json((folder / "plan" / "plan.json").read_text()), Country.open(folder)


def test_every_place_a_pocket_names_lies_inside_its_outline(planned):
    plan, _ = planned
    assert len(plan.pockets) > 2
    for pocket in plan.pockets:
        ground = ground_of(pocket.outline)
        for spot in [*pocket.feed, *pocket.beds, *pocket.crossings]:
            assert ground.contains(Point(spot.place.lon, spot.place.lat)), spot.id
        assert ground.contains(Point(pocket.centre.lon, pocket.centre.lat))


def test_no_place_lies_on_the_outermost_cells(planned):
    plan, country = planned
    places = [k.place for k in plan.lookouts]
    for pocket in plan.pockets:
        spots = [*pocket.feed, *pocket.beds, *pocket.crossings, *pocket.ways_out]
        places += [s.place for s in spots] + [a for c in pocket.crossings for a in c.alternates]
    for place in places:
        row, col = country.grid.rowcol(LonLat(place.lon, place.lat))
        assert 0 < row < country.grid.rows - 1, place
        assert 0 < col < country.grid.cols - 1, place

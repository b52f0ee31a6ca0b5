"""Turning or mirroring the country turns or mirrors the answer: the whole line, from the ground to the lookouts.

The check is a symmetry: nothing in the rules knows rows from columns, so no outside source is needed. What has a
direction of its own is carried along as input: the sun's shade, and true north (by the convergence on turned
grids; mirrored ground has no true north, so its aspects are laid over).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from types import SimpleNamespace

import numpy as np
import pytest

from graylight.chance.prior import prior
from graylight.country.folder import Country
from graylight.country.masks import burn
from graylight.ground.landforms import landforms
from graylight.ground.relief import relief
from graylight.ground.water import water
from graylight.habitat.feed import feed
from graylight.habitat.habitat import Habitat, habitat
from graylight.habitat.land import Land
from graylight.habitat.profile import shipped
from graylight.plan.edits import Edits
from graylight.plan.making import Read, Walked, Watching, read_ground, walk, watch
from graylight.plan.seats import Seats
from graylight.plan.stages_kept import Kept
from graylight.reach.ground import walk_ground
from graylight.reach.walking import quiet, reach
from graylight.siting.lookouts import Siting

DEER = shipped("mule-deer-summer")
# the shipped profile gives aspect no weight: with some, the aspects must be carried along rightly
WARM = DEER.model_copy(update={"feed": DEER.feed.model_copy(update={"warm_side_weight": 0.5})})


@dataclass(frozen=True)
class Turn:
    """One of the eight ways to lay a square on itself."""

    quarters: int
    mirrored: bool

    def __call__(self, values: np.ndarray) -> np.ndarray:
        turned = np.rot90(values, self.quarters, axes=(-2, -1))
        return np.ascontiguousarray(turned[..., ::-1] if self.mirrored else turned)

    def back(self, values: np.ndarray) -> np.ndarray:
        straight = values[..., ::-1] if self.mirrored else values
        return np.ascontiguousarray(np.rot90(straight, -self.quarters, axes=(-2, -1)))

    def __str__(self) -> str:
        return f"{90 * self.quarters} degrees{' and mirrored' if self.mirrored else ''}"


TURNS = [Turn(q, m) for m in (False, True) for q in range(4) if q or m]


@dataclass(frozen=True)
class Given:
    """What the line is fed with: the country as read, streams, roads and starts as cells."""

    country: Country
    read: Read
    streams: np.ndarray
    sure: np.ndarray
    lakes: np.ndarray
    roads: np.ndarray
    starts: np.ndarray


@dataclass(frozen=True)
class Found:
    """What comes out at the other end."""

    read: Read
    land: Land
    lived: Habitat
    walked: Walked
    siting: Siting
    use: np.ndarray


def line(given: Given, turn: Callable[[np.ndarray], np.ndarray], quarters: int, mirrored: bool) -> Found:
    """Everything is worked out anew on the turned ground, as the plan does it."""
    country, cell_m = given.country, given.country.grid.cell_m
    z = turn(given.read.elevation_m)
    bend = country.grid.convergence_deg() + 90.0 * quarters
    shape = relief(z, cell_m=cell_m, convergence_deg=bend)
    if mirrored:
        shape = replace(shape, aspect_deg=turn(given.read.relief.aspect_deg))
    forms = landforms(z, shape, cell_m=cell_m, convergence_deg=bend)
    cover = given.read.cover
    cover = replace(
        cover, kind=turn(cover.kind), green=turn(cover.green), canopy_m=turn(cover.canopy_m), closure=turn(cover.closure)
    )  # fmt: skip
    wet = water(
        z, cell_m=cell_m, kind=cover.kind, stream_cells=turn(given.streams), stream_sure=turn(given.sure),
        lake_cells=turn(given.lakes),
    )  # fmt: skip
    shade = replace(given.read.shade, midday=turn(given.read.shade.midday))
    read = Read(
        "", z, shape, forms, cover, wet, turn(given.read.private), turn(given.read.outside_unit), turn(given.read.paths), shade
    )  # fmt: skip
    walked = on_foot(given, read, turn)
    land = Land(
        z, cell_m, shape, forms, cover, wet, shade.midday, walked.quiet_s, read.private | read.outside_unit,
        np.zeros(z.shape, bool),
    )  # fmt: skip
    lived = habitat(land, DEER)
    chance = prior([0.0 if p.shut else p.score for p in lived.pockets], elsewhere=0.4, sharpness=4.0)
    shape = SimpleNamespace(cell_m=cell_m, shape=z.shape)
    frame = SimpleNamespace(grid=shape, settings=country.settings, facts=())
    of = Watching(frame, read, walked, lived, tuple(chance), DEER)
    watched = watch(of, Seats((), ()), Kept())
    return Found(read, land, lived, walked, watched.siting, watched.use)


def on_foot(given: Given, read: Read, turn: Callable[[np.ndarray], np.ndarray]) -> Walked:
    settings, cell_m = given.country.settings, given.country.grid.cell_m

    def footing(dark: bool):
        return walk_ground(
            read.relief.slope_deg, read.cover.kind, deep_water=read.water.deep, path_cells=read.paths,
            private_cells=read.private, settings=settings.walk, dark=dark, stream_cells=turn(given.streams),
        )  # fmt: skip

    ground = footing(True)
    times = reach(
        read.elevation_m, ground, np.nonzero(turn(given.starts)), cell_m=cell_m, settings=settings.walk,
        limit_s=1.2 * settings.watch.walk_limit_hours * 3600.0,
    )  # fmt: skip
    rows, cols = np.nonzero(turn(given.roads | given.starts))
    return Walked(ground, (), times, quiet(read.elevation_m, footing(False), rows, cols, cell_m=cell_m))


@pytest.fixture(scope="module")
def given(small) -> Given:
    country = Country.open(small)
    grid = country.grid
    read = read_ground(country, Kept())

    def cells(table: str, sure: bool = False) -> np.ndarray:
        features = country.features(table)
        return burn(
            (f.geometry for f in features if not sure or f.properties.get("kind") != "intermittent"), grid
        )

    starts = np.zeros(grid.shape, bool)
    for way in walk(country, read, Edits(), Kept()).starts:
        starts[way.cell] = True
    if not starts.any():
        starts[grid.rows // 3, grid.cols // 5] = True
    return Given(
        country,
        read,
        cells("streams"),
        cells("streams", sure=True),
        cells("lakes"),
        cells("roads") | cells("trailheads"),
        starts,
    )


@pytest.fixture(scope="module")
def straight(given) -> Found:
    return line(given, lambda values: values, 0, False)


@pytest.fixture(scope="module", params=TURNS, ids=str)
def turned(request, given) -> tuple[Turn, Found]:
    turn = request.param
    return turn, line(given, turn, turn.quarters, turn.mirrored)


def at(turn: Turn, shape: tuple[int, int], row: int, col: int) -> tuple[int, int]:
    """Where a cell of the turned ground lies on the straight one."""
    mark = np.zeros(turn(np.empty(shape, bool)).shape, bool)
    mark[row, col] = True
    (back,) = np.argwhere(turn.back(mark))
    return int(back[0]), int(back[1])


def test_suitabilities_turn_with_the_ground(straight, turned):
    turn, found = turned
    for name in ("band", "quiet", "feed", "bed"):
        one, two = getattr(straight.lived.parts, name), turn.back(getattr(found.lived.parts, name))
        assert (np.abs(one - two) > 0.01).mean() < 1e-3, name
    one, two = (feed(x.land, x.lived.parts.band, x.lived.parts.quiet, WARM) for x in (straight, found))
    assert (np.abs(one - turn.back(two)) > 0.01).mean() < 1e-3
    assert np.abs(one - straight.lived.parts.feed).max() > 0.1  # else it would show nothing
    aspect = np.radians(straight.read.relief.aspect_deg - turn.back(found.read.relief.aspect_deg))
    facing = straight.read.relief.slope_deg > 2.0  # on nearly level ground rounding turns the aspect
    assert np.nanmin(np.cos(aspect[facing])) > 0.999


def test_pockets_turn_with_the_ground(straight, turned):
    turn, found = turned
    assert len(straight.lived.pockets) == len(found.lived.pockets) > 2
    labels = turn.back(found.lived.labels)
    for pocket in straight.lived.pockets:
        mine = straight.lived.labels == pocket.label
        hit = labels[mine]
        twin = int(np.bincount(hit[hit > 0]).argmax())
        other = labels == twin
        assert (mine & other).sum() / (mine | other).sum() > 0.95, pocket.label
        match = found.lived.pockets[twin - 1]
        assert match.score == pytest.approx(pocket.score, abs=0.01)
        for kind in ("feed", "beds", "crossings", "ways_out"):
            here = {(s.row, s.col) for s in getattr(pocket, kind)}
            there = {at(turn, mine.shape, s.row, s.col) for s in getattr(match, kind)}
            assert len(here) == len(there), kind
            assert all(min(np.hypot(a - c, b - d) for c, d in there) <= 4 for a, b in here), (
                kind,
                here,
                there,
            )


def test_lookouts_turn_with_the_ground(straight, turned):
    turn, found = turned
    one, two = straight.siting, found.siting
    assert len(one.sets) == len(two.sets) == 3
    for a, b in zip(one.sets, two.sets, strict=True):
        assert b.covered == pytest.approx(a.covered, rel=0.01)
    worth = turn.back(two.worth)
    seen = one.worth > 0.2 * one.worth.max()
    assert np.median(np.abs(worth - one.worth)[seen] / one.worth[seen]) < 0.01
    assert len(one.singles) == len(two.singles) > 2
    there = [at(turn, worth.shape, two.picks[j].row, two.picks[j].col) for j in two.singles]
    for i, j in zip(one.singles, two.singles, strict=True):
        a, b = one.picks[i], two.picks[j]
        near = min(np.hypot(a.row - row, a.col - col) for row, col in there) <= 3
        # of two places alike within 1 % either may be given
        assert near or b.worth * b.liking == pytest.approx(a.worth * a.liking, rel=0.01)

"""Pockets: pieces of country where feed and beds lie within reach of each other.

Found where feed and beds stand close together, parted by the animals' own travel time, so that one bowl that
serves two groups becomes two pockets and a ridge that nobody crosses parts them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter

from graylight.habitat.crossings import Crossing, crossings
from graylight.habitat.land import Land
from graylight.habitat.outline import Mask, Rings, body, gathered, joined, outlined
from graylight.habitat.places import Spot, best_spots
from graylight.habitat.profile import Profile
from graylight.habitat.scoring import Fact, Part, facts, score
from graylight.habitat.suitability import Raster, smooth
from graylight.habitat.wayout import WayOut, ways_out
from graylight.habitat.ways import Cell, Frame, Going
from graylight.work import Tick, silent, spread
from graylight.work import part as span

__all__ = [
    "WORTH_KEEPING",
    "Made",
    "Pocket",
    "in_order",
    "labelled",
    "middle_of",
    "pockets",
    "why_shut",
    "worth_keeping",
]

SEEDS = 20
"""Most places looked at as pockets."""
EDGE_PART = 0.25
"""No pocket is begun nearer to the country's edge than this part of the reach: half of it would lie unseen beyond."""
KEPT = 12
"""Most pockets kept."""
WORTH_KEEPING = 0.45
"""Pockets that score less than this part of the best are dropped. Proposed default."""


@dataclass(frozen=True, slots=True)
class Pocket:
    """A pocket: centre cell, label in the label raster, outline, its places, the facts behind its score.

    Parameters
    ----------
    outline : tuple of (n, 2) float64
        Rings of (row, col), the outer one first; closed. Every feed, bed and crossing lies inside.
    shut : str or None
        Why it is not ranked.
    """

    row: int
    col: int
    label: int
    area_m2: float
    outline: tuple[NDArray[np.float64], ...]
    feed: tuple[Spot, ...]
    beds: tuple[Spot, ...]
    crossings: tuple[Crossing, ...]
    ways_out: tuple[WayOut, ...]
    facts: tuple[Fact, ...]
    score: float
    shut: str | None


class _Named(NamedTuple):
    feeds: tuple[Spot, ...]
    beds: tuple[Spot, ...]
    crossings: tuple[Crossing, ...]


class Made(NamedTuple):
    """A pocket and its ground: a mask over a piece of the grid."""

    pocket: Pocket
    frame: Frame
    body: Mask


def pockets(
    land: Land, part: Part, move: Going, profile: Profile, *, tick: Tick = silent
) -> tuple[Made, ...]:
    """All pockets there are, the poor ones too, best first (shut ones last); none has a label yet."""
    seeds = _seeds(part, land, profile)
    claims = _claims(seeds, move, land, profile, tick=tick)
    made: list[Made | None] = [None] * len(seeds)

    def one(index: int) -> None:
        made[index] = _pocket(seeds[index], claims == index + 1, part, move, land, profile)

    if seeds:
        spread([partial(one, index) for index in range(len(seeds))], tick=span(tick, 0.4, 1.0))
    return in_order(m for m in made if m is not None)


def _seeds(part: Part, land: Land, profile: Profile) -> list[Cell]:
    """Places where much feed and good beds stand together, strongest first: no stronger within half the spacing."""
    numbers = profile.pocket
    feed = smooth(part.feed * (part.feed >= part.feed_from), 0.14 * numbers.reach_m, land.cell_m)
    beds = smooth(part.bed * (part.bed >= part.bed_from), 0.25 * numbers.reach_m, land.cell_m)
    both = np.sqrt(feed * beds)
    inner = max(1, round(EDGE_PART * numbers.reach_m / land.cell_m))
    both[:inner], both[-inner:], both[:, :inner], both[:, -inner:] = 0, 0, 0, 0
    across = max(3, round(numbers.spacing_m / land.cell_m) | 1)
    tops = (both == maximum_filter(both, size=across)) & (both > 0.02)
    rows, cols = np.nonzero(tops)
    order = np.lexsort((cols, rows, -both[rows, cols]))[:SEEDS]
    return [
        _nearest_feed((int(r), int(c)), part, land) for r, c in zip(rows[order], cols[order], strict=True)
    ]


def _nearest_feed(cell: Cell, part: Part, land: Land) -> Cell:
    """The seed moved to the best feed within 200 m, the nearest of equals: ground an animal can stand on."""
    frame = Frame.around(cell, max(1, round(200.0 / land.cell_m)), land.elevation_m.shape)
    piece = part.feed[frame.cut]
    if piece.max() < part.feed_from:
        return cell
    rows, cols = np.nonzero(piece >= np.float32(0.999) * piece.max())
    middle = frame.inside(cell)
    nearest = int(np.argmin(np.hypot(rows - middle[0], cols - middle[1])))
    return frame.outside((int(rows[nearest]), int(cols[nearest])))


def _claims(seeds: list[Cell], move: Going, land: Land, profile: Profile, *, tick: Tick) -> NDArray[np.int32]:
    """Which seed's animals are first at each cell, within reach; i + 1 for seed i, 0 beyond everyone's reach."""
    reach = profile.pocket.reach_m
    limit = 1.8 * reach * move.flat_s_per_m
    frames = [Frame.around(seed, round(1.1 * reach / land.cell_m), land.elevation_m.shape) for seed in seeds]
    times: list[Raster] = [np.empty(0, np.float32)] * len(seeds)

    def one(index: int) -> None:
        times[index] = move.seconds([seeds[index]], frames[index], limit_s=limit)

    if seeds:
        spread([partial(one, index) for index in range(len(seeds))], tick=span(tick, 0.0, 0.4))
    soonest = np.full(land.elevation_m.shape, np.inf, np.float32)
    owner = np.zeros(land.elevation_m.shape, np.int32)
    for index, (frame, seconds) in enumerate(zip(frames, times, strict=True)):
        sooner = seconds < soonest[frame.cut]
        owner[frame.cut][sooner] = index + 1
        soonest[frame.cut][sooner] = seconds[sooner]
    return owner


def _pocket(seed: Cell, claimed: Mask, part: Part, move: Going, land: Land, profile: Profile) -> Made | None:
    """Put one pocket together; None when it lacks feed or beds."""
    numbers = profile.pocket
    frame = Frame.around(seed, round(1.2 * numbers.reach_m / land.cell_m), land.elevation_m.shape)
    mine = claimed[frame.cut]
    feeding = gathered(mine & (part.feed[frame.cut] >= part.feed_from), frame.inside(seed), land.cell_m)
    bedding = mine & (part.bed[frame.cut] >= part.bed_from)
    if feeding.sum() * land.cell_m**2 < numbers.feed_least_ha * 1e4 or not bedding.any():
        return None
    named = _named(feeding, bedding, frame, part, move, land, profile)
    if not named.feeds or not named.beds:
        return None
    ring, ground = _ground(feeding, bedding, named, frame, move, land)
    named = _within(named, ground, frame)
    if not named.feeds or not named.beds:
        return None  # the largest piece is bed ground alone: the feed has fallen to crumbs
    centre = middle_of(ground, feeding, frame)
    out = ways_out(centre, _cells(named.beds), 1.8 * numbers.reach_m, move, land)
    told = facts(part, land, profile, frame, feeding & ground, bedding & ground, named.feeds, named.beds)
    area = float(ground.sum()) * land.cell_m**2
    pocket = Pocket(
        *centre,
        0,
        area,
        ring,
        named.feeds,
        named.beds,
        named.crossings,
        out,
        told,
        score(told, profile),
        why_shut(ground, frame, land),
    )
    return Made(pocket, frame, ground)


def why_shut(ground: Mask, frame: Frame, land: Land) -> str | None:
    """Why a pocket's ground is not ranked; None when it is."""
    mostly = land.shut[frame.cut][ground].mean() > 0.5
    return "private or closed ground, or outside the unit" if mostly else None


def _named(
    feeding: Mask, bedding: Mask, frame: Frame, part: Part, move: Going, land: Land, profile: Profile
) -> _Named:
    """The places that stand for its feed and beds, and the crossings between them."""
    numbers = profile.pocket
    feeds = best_spots(part.feed, feeding, frame, land, kind="feed", most=3, apart_m=220.0)
    beds = best_spots(
        part.bed, bedding, frame, land, kind="bed", most=4, apart_m=160.0, near=feeds,
        reach_m=numbers.reach_m, off_m=numbers.bed_off_feed_m,
    )  # fmt: skip
    if not feeds or not beds:
        return _Named(feeds, beds, ())
    return _Named(feeds, beds, crossings(_cells(feeds), _cells(beds), frame, move, land))


def _ground(
    feeding: Mask, bedding: Mask, named: _Named, frame: Frame, move: Going, land: Land
) -> tuple[Rings, Mask]:
    """Rings of (row, col) and the ground in them: feed, beds, and the ways to what lies off the main piece."""
    whole = body(feeding, bedding, _cells(named.beds), frame, land)
    rings, main = outlined(whole, feeding, frame, land)
    places = [cell for kind in named for cell in _cells(kind)]
    more = joined(whole, main, _cells(named.feeds), places, frame, move, land)
    return (rings, main) if more is whole else outlined(more, feeding, frame, land)


def _within(named: _Named, ground: Mask, frame: Frame) -> _Named:
    """The places that lie on the ground outlined; one to which no way leads is left out."""
    feeds, beds, cross = (tuple(s for s in kind if ground[frame.inside((s.row, s.col))]) for kind in named)
    return _Named(feeds, beds, cross)  # type: ignore[arg-type]


def _cells(places: tuple[Spot, ...] | tuple[Crossing, ...]) -> list[Cell]:
    return [(place.row, place.col) for place in places]


def middle_of(ground: Mask, feeding: Mask, frame: Frame) -> Cell:
    """The feed cell nearest to the middle of the feed."""
    mask = feeding & ground
    rows, cols = np.nonzero(mask if mask.any() else ground)
    far = np.hypot(rows - rows.mean(), cols - cols.mean())
    best = int(np.argmin(far))
    return frame.outside((int(rows[best]), int(cols[best])))


def in_order(made: Iterable[Made]) -> tuple[Made, ...]:
    """Best first, ties by place, shut ones last."""
    return tuple(
        sorted(made, key=lambda m: (m.pocket.shut is not None, -m.pocket.score, m.pocket.row, m.pocket.col))
    )


def worth_keeping(made: Sequence[Made]) -> tuple[Made, ...]:
    """The first of them, without the poor."""
    best = max((m.pocket.score for m in made if m.pocket.shut is None), default=0.0)
    return tuple(m for m in made if m.pocket.score >= WORTH_KEEPING * best)[:KEPT]


def labelled(
    kept: Sequence[Made], shape: tuple[int, int], *, first: Iterable[int] = ()
) -> tuple[tuple[Pocket, ...], NDArray[np.int32]]:
    """Number the pockets and draw them on the grid.

    Where two outlines overlap, the better one has the ground; those of the indices `first` go before all.
    """
    labels = np.zeros(shape, np.int32)
    for index in dict.fromkeys([*first, *range(len(kept))]):
        made = kept[index]
        free = made.body & (labels[made.frame.cut] == 0)
        labels[made.frame.cut][free] = index + 1
    return tuple(replace(made.pocket, label=index + 1) for index, made in enumerate(kept)), labels

"""Pockets: pieces of country where feed and beds lie within reach of each other.

Found where feed and beds stand close together, parted by the animals' own travel time, so that one bowl that
serves two groups becomes two pockets and a ridge that nobody crosses parts them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise
from typing import Any, NamedTuple

import contourpy
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_closing, binary_fill_holes, label, maximum_filter

from graylight.habitat.crossings import Crossing, crossings
from graylight.habitat.land import Land
from graylight.habitat.places import Spot, best_spots
from graylight.habitat.profile import Profile
from graylight.habitat.scoring import Fact, Part, facts, score
from graylight.habitat.suitability import Raster, smooth
from graylight.habitat.wayout import WayOut, ways_out
from graylight.habitat.ways import Cell, Frame, Going, going
from graylight.work import Tick, silent, spread
from graylight.work import part as span

__all__ = ["Pocket", "pockets"]

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
        Rings of (row, col), the outer one first; closed.
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


class _Made(NamedTuple):
    pocket: Pocket
    frame: Frame
    body: NDArray[np.bool_]


def pockets(
    land: Land, part: Part, profile: Profile, *, tick: Tick = silent
) -> tuple[tuple[Pocket, ...], NDArray[np.int32]]:
    """All pockets worth keeping, best first (shut ones last), and the raster of their labels (0: none)."""
    move = going(land, profile.ways, daylight=0.4)
    seeds = _seeds(part, land, profile)
    claims = _claims(seeds, move, land, profile, tick=tick)
    made: list[_Made | None] = [None] * len(seeds)

    def one(index: int) -> None:
        made[index] = _pocket(seeds[index], claims == index + 1, part, move, land, profile)

    if seeds:
        spread([partial(one, index) for index in range(len(seeds))], tick=span(tick, 0.4, 1.0))
    return _labelled(_kept([m for m in made if m is not None]), land.elevation_m.shape)


def _seeds(part: Part, land: Land, profile: Profile) -> list[Cell]:
    """Places where much feed and good beds stand together, well apart, strongest first."""
    numbers = profile.pocket
    feed = smooth(part.feed * (part.feed >= part.feed_from), 0.14 * numbers.reach_m, land.cell_m)
    beds = smooth(part.bed * (part.bed >= part.bed_from), 0.25 * numbers.reach_m, land.cell_m)
    both = np.sqrt(feed * beds)
    across = max(3, round(numbers.spacing_m / land.cell_m) | 1)
    step = max(1, across // 40)
    coarse = both[::step, ::step].copy()
    inner = max(1, round(EDGE_PART * numbers.reach_m / land.cell_m) // step)
    coarse[:inner], coarse[-inner:], coarse[:, :inner], coarse[:, -inner:] = 0, 0, 0, 0
    tops = (coarse == maximum_filter(coarse, size=max(3, (across // step) | 1))) & (coarse > 0.02)
    rows, cols = np.nonzero(tops)
    order = np.lexsort((cols, rows, -coarse[rows, cols]))[:SEEDS]
    found = [(int(r) * step, int(c) * step) for r, c in zip(rows[order], cols[order], strict=True)]
    return [_nearest_feed(cell, part, land) for cell in found]


def _nearest_feed(cell: Cell, part: Part, land: Land) -> Cell:
    """The seed moved to the best feed close by, so that it stands on ground an animal can stand on."""
    frame = Frame.around(cell, max(1, round(200.0 / land.cell_m)), land.elevation_m.shape)
    piece = part.feed[frame.cut]
    if piece.max() < part.feed_from:
        return cell
    row, col = np.unravel_index(int(np.argmax(piece)), piece.shape)
    return frame.outside((int(row), int(col)))


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


def _pocket(
    seed: Cell, claimed: NDArray[np.bool_], part: Part, move: Going, land: Land, profile: Profile
) -> _Made | None:
    """Put one pocket together; None when it lacks feed or beds."""
    numbers = profile.pocket
    frame = Frame.around(seed, round(1.2 * numbers.reach_m / land.cell_m), land.elevation_m.shape)
    mine = claimed[frame.cut]
    feeding = _gathered(mine & (part.feed[frame.cut] >= part.feed_from), frame.inside(seed), land.cell_m)
    bedding = mine & (part.bed[frame.cut] >= part.bed_from)
    if feeding.sum() * land.cell_m**2 < numbers.feed_least_ha * 1e4 or not bedding.any():
        return None
    feeds = best_spots(part.feed, feeding, frame, land, kind="feed", most=3, apart_m=220.0)
    beds = best_spots(
        part.bed,
        bedding,
        frame,
        land,
        kind="bed",
        most=4,
        apart_m=160.0,
        near=feeds,
        reach_m=numbers.reach_m,
        off_m=numbers.bed_off_feed_m,
    )
    if not feeds or not beds:
        return None
    body = _body(feeding, bedding, beds, frame, land)
    ring, outlined = _outline(body, feeding, frame, land.cell_m)
    if not (feeding & outlined).any():
        return None  # the largest piece is bed ground alone: the feed has fallen to crumbs
    feed_cells, bed_cells = [(s.row, s.col) for s in feeds], [(s.row, s.col) for s in beds]
    cross = crossings(feed_cells, bed_cells, frame, move, land)
    centre = _centre(outlined, feeding, frame)
    out = ways_out(centre, bed_cells, 1.8 * numbers.reach_m, move, land)
    told = facts(part, land, profile, frame, feeding & outlined, bedding & outlined, feeds, beds)
    shut = (
        "private or closed ground, or outside the unit"
        if land.shut[frame.cut][outlined].mean() > 0.5
        else None
    )
    area = float(outlined.sum()) * land.cell_m**2
    pocket = Pocket(*centre, 0, area, ring, feeds, beds, cross, out, told, score(told, profile), shut)
    return _Made(pocket, frame, outlined)


def _gathered(mask: NDArray[np.bool_], seed: Cell, cell_m: float) -> NDArray[np.bool_]:
    """Feed that hangs together (gaps up to about 60 m bridged) with most ground or nearest the seed; crumbs dropped."""
    bridged = binary_closing(np.pad(mask, 4), iterations=max(1, min(3, round(30.0 / cell_m))))[4:-4, 4:-4]
    groups, count = label(bridged, structure=np.ones((3, 3)))
    if count == 0:
        return mask
    sizes = np.bincount(groups[mask], minlength=count + 1)
    sizes[0] = 0
    keep = sizes >= 0.15 * sizes.max()
    keep[groups[seed]] = groups[seed] > 0
    return np.asarray(mask & keep[groups], bool)


def _body(
    feeding: NDArray[np.bool_], bedding: NDArray[np.bool_], beds: tuple[Spot, ...], frame: Frame, land: Land
) -> NDArray[np.bool_]:
    """Feed, and bed ground within 200 m of the bed places, made one piece."""
    near = np.zeros(feeding.shape, bool)
    rows, cols = np.ogrid[: feeding.shape[0], : feeding.shape[1]]
    for spot in beds:
        row, col = frame.inside((spot.row, spot.col))
        near |= np.hypot(rows - row, cols - col) * land.cell_m <= max(200.0, 1.5 * land.cell_m)
    body = feeding | (bedding & near)
    turns = max(1, min(6, round(60.0 / land.cell_m)))
    body = binary_closing(np.pad(body, 8), iterations=turns)[8:-8, 8:-8]
    return np.asarray(binary_fill_holes(body), bool)


def _outline(
    body: NDArray[np.bool_], feeding: NDArray[np.bool_], frame: Frame, cell_m: float
) -> tuple[tuple[NDArray[np.float64], ...], NDArray[np.bool_]]:
    """Smooth rings (row, col) of the piece of a mask that holds most feed, and that piece."""
    soft = smooth(body.astype(np.float32), 20.0, cell_m) if cell_m <= 40.0 else body.astype(np.float32)
    groups, count = label(soft >= 0.5)
    if count == 0 or not (feeding & (groups > 0)).any():
        groups, count = label(body, structure=np.ones((3, 3)))
        soft = body.astype(np.float32)
    largest = groups == 1 + int(
        np.argmax(np.bincount(groups[feeding & (groups > 0)], minlength=count + 1)[1:])
    )
    field = np.pad(np.where(largest, np.maximum(soft, 0.5001), np.minimum(soft, 0.4999)), 1)
    tracer = contourpy.contour_generator(z=field, fill_type="OuterOffset")
    pieces: list[tuple[Any, Any]] = list(zip(*tracer.filled(0.5, 2.0), strict=True))
    points, cuts = max(pieces, key=lambda piece: len(piece[0]))
    rings = [points[a:b] for a, b in pairwise(cuts)]
    shift = np.array([frame.top - 1, frame.left - 1], np.float64)
    return tuple(ring[:, ::-1] + shift for ring in rings), largest


def _centre(outlined: NDArray[np.bool_], feeding: NDArray[np.bool_], frame: Frame) -> Cell:
    """The feed cell nearest to the middle of the feed."""
    mask = feeding & outlined
    rows, cols = np.nonzero(mask if mask.any() else outlined)
    far = np.hypot(rows - rows.mean(), cols - cols.mean())
    best = int(np.argmin(far))
    return frame.outside((int(rows[best]), int(cols[best])))


def _kept(made: list[_Made]) -> list[_Made]:
    """Best first, ties by place, shut ones last, the poor dropped."""
    order = sorted(
        made, key=lambda m: (m.pocket.shut is not None, -m.pocket.score, m.pocket.row, m.pocket.col)
    )
    best = max((m.pocket.score for m in order if m.pocket.shut is None), default=0.0)
    return [m for m in order if m.pocket.score >= WORTH_KEEPING * best][:KEPT]


def _labelled(kept: list[_Made], shape: tuple[int, int]) -> tuple[tuple[Pocket, ...], NDArray[np.int32]]:
    """Number the pockets and draw them on the grid; where two outlines overlap, the better one has the ground."""
    labels = np.zeros(shape, np.int32)
    for index, made in enumerate(kept):
        free = made.body & (labels[made.frame.cut] == 0)
        labels[made.frame.cut][free] = index + 1
    return tuple(replace(made.pocket, label=index + 1) for index, made in enumerate(kept)), labels

"""The habitat stage: band, feed, beds, pockets."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from graylight.habitat.band import BandMap, band
from graylight.habitat.beds import bed
from graylight.habitat.feed import feed, quietness
from graylight.habitat.land import Land
from graylight.habitat.pockets import Made, Pocket, labelled, pockets, worth_keeping
from graylight.habitat.profile import Profile
from graylight.habitat.scoring import Part
from graylight.habitat.suitability import Raster
from graylight.habitat.ways import Going, going
from graylight.work import Tick, part, silent

__all__ = ["Found", "Habitat", "bytes_needed", "dawn_use", "found_habitat", "habitat", "settled"]

ALIKE = np.float32(0.1)
"""Use of a pocket's ground, all of it alike, where the layers show neither feed nor beds in it. Proposed default."""


@dataclass(frozen=True, slots=True)
class Found:
    """What the ground says by itself: suitabilities, how animals get over it, and every pocket, best first."""

    parts: Part
    band: BandMap
    going: Going
    made: tuple[Made, ...]


@dataclass(frozen=True, slots=True)
class Habitat:
    """Suitabilities, the band, pockets best first, and their label raster (0: none)."""

    parts: Part
    band: BandMap
    pockets: tuple[Pocket, ...]
    labels: NDArray[np.int32]


def bytes_needed(shape: tuple[int, int]) -> int:
    """Memory of the stage at its fullest."""
    return shape[0] * shape[1] * 4 * 14


def habitat(land: Land, profile: Profile, *, tick: Tick = silent) -> Habitat:
    """Work out where animals feed, bed and cross, with the pockets worth keeping."""
    found = found_habitat(land, profile, tick=tick)
    return settled(found, worth_keeping(found.made))


def settled(found: Found, kept: Sequence[Made], *, first: Iterable[int] = ()) -> Habitat:
    """The habitat with these pockets, in this order; see `labelled` for `first`."""
    pockets, labels = labelled(kept, found.parts.feed.shape, first=first)  # type: ignore[arg-type]
    return Habitat(found.parts, found.band, pockets, labels)


def found_habitat(land: Land, profile: Profile, *, tick: Tick = silent) -> Found:
    """Work out where animals feed, bed and cross.

    See docs/habitat.md for the rules and their sources. What it does not model: the animals themselves (numbers,
    herd, sex), snow, fire, grazing by stock, weather, or anything smaller than a cell.
    """
    belt = band(land.elevation_m, cell_m=land.cell_m, numbers=profile.band)
    tick(0.1)
    quiet = quietness(land.quiet_s, profile.quiet)
    feeding = feed(land, belt.suitability, quiet, profile)
    tick(0.2)
    bedding = bed(land, belt.suitability, quiet, feeding, profile.bed)
    tick(0.35)
    numbers = profile.pocket
    feed_from = _from(feeding, numbers.feed_from, numbers.feed_part)
    bed_from = _from(bedding, numbers.bed_from, numbers.bed_part)
    parts = Part(belt.suitability, quiet, feeding, bedding, feed_from, bed_from)
    move = going(land, profile.ways, daylight=0.4)
    return Found(parts, belt, move, pockets(land, parts, move, profile, tick=part(tick, 0.35, 1.0)))


def _from(worth: Raster, least: float, most_part: float) -> float:
    """Suitability from which ground counts.

    The profile's, or higher where more than `most_part` of the country would. Where next to nothing reaches it,
    down to half of it: in poor or poorly known country the best there is still counts, and its score says so.
    """
    best_part = float(np.quantile(worth, 1.0 - most_part))
    if (worth >= least).mean() >= 0.1 * most_part:
        return max(least, best_part)
    return max(0.5 * least, min(least, best_part))


def dawn_use(result: Habitat, profile: Profile, cell_m: float) -> Raster:
    """How much each cell is used at first light, from feed, bed and crossing suitability; 0 outside pockets."""
    parts, watch = result.parts, profile.watch
    use = np.float32(watch.dawn_feed) * parts.feed * (parts.feed >= parts.feed_from)
    use = use + np.float32(watch.dawn_bed) * parts.bed * (parts.bed >= parts.bed_from)
    for pocket in result.pockets:
        for crossing in pocket.crossings:
            _add_crossing(use, crossing.row, crossing.col, watch.dawn_crossing * crossing.suitability, cell_m)
    use = np.where(result.labels > 0, use, 0).astype(np.float32)
    some = np.bincount(result.labels[use > 0], minlength=len(result.pockets) + 1) > 0
    some[0] = True
    use[~some[result.labels]] = ALIKE
    return use


def _add_crossing(use: Raster, row: int, col: int, worth: float, cell_m: float) -> None:
    """Spread a crossing over about 50 m round it."""
    reach = max(1, round(100.0 / cell_m))
    top, left = max(row - reach, 0), max(col - reach, 0)
    piece = use[top : row + reach + 1, left : col + reach + 1]
    rows, cols = np.ogrid[top : top + piece.shape[0], left : left + piece.shape[1]]
    piece += worth * np.exp(-0.5 * ((rows - row) ** 2 + (cols - col) ** 2) * (cell_m / 50.0) ** 2)

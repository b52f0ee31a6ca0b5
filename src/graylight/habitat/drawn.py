"""A pocket whose outline the person drew: what the layers show inside it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from graylight.habitat.crossings import crossings
from graylight.habitat.land import Land
from graylight.habitat.outline import Mask, Rings
from graylight.habitat.places import Spot, best_spots
from graylight.habitat.pockets import Made, Pocket, middle_of, why_shut
from graylight.habitat.profile import Profile
from graylight.habitat.scoring import Part, facts, score
from graylight.habitat.suitability import Raster
from graylight.habitat.wayout import ways_out
from graylight.habitat.ways import Frame, Going

__all__ = ["drawn_pocket"]

AROUND_M = 200.0
"""Ground around the outline over which ways between its feed and beds may lead. Proposed default."""
GOOD_PART = 0.6
"""Where nothing reaches what counts as feed or bed, ground of at least this part of the best counts. Proposed default."""


def drawn_pocket(
    ground: NDArray[np.bool_], rings: Rings, part: Part, move: Going, land: Land, profile: Profile
) -> Made | None:
    """A pocket with this ground and outline, measured as found ones are; None where none of it is known.

    Parameters
    ----------
    ground : (rows, cols) bool
        Cells in the outline.
    rings
        The outline as drawn, (row, col), outer ring first.
    """
    known = ground & ~np.isnan(land.elevation_m)
    if not known.any():
        return None
    frame = _frame(known, land)
    body = known[frame.cut]
    feeding, bedding = (
        _good(part.feed, body, frame, part.feed_from),
        _good(part.bed, body, frame, part.bed_from),
    )
    feeds, beds = _spots(feeding, bedding, frame, part, land, profile)
    ground_for_facts = feeding if feeds else body
    centre = middle_of(body, ground_for_facts, frame)
    feed_cells, bed_cells = [(s.row, s.col) for s in feeds], [(s.row, s.col) for s in beds]
    cross = crossings(feed_cells, bed_cells, frame, move, land) if feeds and beds else ()
    cross = tuple(c for c in cross if body[frame.inside((c.row, c.col))])
    out = ways_out(centre, bed_cells or [centre], 1.8 * profile.pocket.reach_m, move, land)
    told = facts(part, land, profile, frame, ground_for_facts, bedding, feeds, beds)
    area = float(body.sum()) * land.cell_m**2
    shut = why_shut(body, frame, land)
    pocket = Pocket(*centre, 0, area, rings, feeds, beds, cross, out, told, score(told, profile), shut)
    return Made(pocket, frame, body)


def _frame(ground: Mask, land: Land) -> Frame:
    """The ground's box with a margin, cut off at the country's edge."""
    rows, cols = np.nonzero(ground)
    margin = max(1, round(AROUND_M / land.cell_m))
    return Frame(
        max(int(rows.min()) - margin, 0), max(int(cols.min()) - margin, 0),
        min(int(rows.max()) + margin + 1, ground.shape[0]), min(int(cols.max()) + margin + 1, ground.shape[1]),
    )  # fmt: skip


def _good(worth: Raster, body: Mask, frame: Frame, least: float) -> Mask:
    """Ground that counts; where none does, the best of it, if it is worth anything."""
    piece = worth[frame.cut]
    good = body & (piece >= least)
    best = float(piece[body].max())
    return good if good.any() or best <= 0.0 else np.asarray(body & (piece >= GOOD_PART * best), bool)


def _spots(
    feeding: Mask, bedding: Mask, frame: Frame, part: Part, land: Land, profile: Profile
) -> tuple[tuple[Spot, ...], tuple[Spot, ...]]:
    """The places that stand for its feed and beds; beds off the feed where there are such."""
    numbers = profile.pocket
    feeds = best_spots(part.feed, feeding, frame, land, kind="feed", most=3, apart_m=220.0)
    beds = best_spots(
        part.bed, bedding, frame, land, kind="bed", most=4, apart_m=160.0, near=feeds,
        reach_m=numbers.reach_m, off_m=numbers.bed_off_feed_m,
    )  # fmt: skip
    return feeds, beds or best_spots(part.bed, bedding, frame, land, kind="bed", most=4, apart_m=160.0)

"""Why no pocket or no lookout was found, in plain words: which rule shut out most of the ground."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt

from graylight.approach.barrier import why_not
from graylight.country.folder import Country
from graylight.ground.cover import Kind
from graylight.habitat.profile import Profile
from graylight.plan.making import Worked, closed_to_sitting
from graylight.plan.own import DROPPED
from graylight.settings import WatchSettings
from graylight.siting.seat import suited
from graylight.units import duration, share

__all__ = ["seat_rules", "why_nothing"]

Mask: TypeAlias = NDArray[np.bool_]
Rules: TypeAlias = list[tuple[Mask, str]]
"""Ground that a rule shuts out, and the rule in words that follow on a part of the ground."""

SHUT_BELOW = 0.05
"""Band or openness below this counts as shutting the ground out. Proposed default."""
TOLD_FROM = 0.01
"""Rules that shut out less are not told."""


def why_nothing(country: Country, profile: Profile, worked: Worked) -> list[str]:
    """Say why there is no pocket or no lookout; empty where there are some."""
    if not worked.habitat.pockets:
        return _no_pocket(country, profile, worked)
    if worked.watched.siting.picks:
        return []
    if all(pocket.shut for pocket in worked.habitat.pockets):
        also = ", or was dropped by you" if any(p.shut == DROPPED for p in worked.habitat.pockets) else ""
        return [f"Every pocket found lies on private or closed ground, or outside the unit{also}"]
    return _no_lookout(country, profile, worked)


def _no_pocket(country: Country, profile: Profile, worked: Worked) -> list[str]:
    """What the known ground lacks."""
    read, parts, numbers = worked.read, worked.habitat.parts, profile.pocket
    known = ~np.isnan(read.elevation_m)
    hectares = country.grid.cell_m**2 / 1e4
    feed_ha, bed_ha = (
        float(np.count_nonzero(m)) * hectares
        for m in (parts.feed >= parts.feed_from, parts.bed >= parts.bed_from)
    )
    if feed_ha < numbers.feed_least_ha:
        first = f"No pocket was found: {_size(feed_ha)} would feed them, and a pocket needs {numbers.feed_least_ha:g} ha"
    elif bed_ha == 0.0:
        first = "No pocket was found: there is feed, but no ground to lie on by day, in cover or shade"
    else:
        first = (
            f"No pocket was found: {_size(feed_ha)} would feed them and {_size(bed_ha)} would bed them, but nowhere do "
            f"{numbers.feed_least_ha:g} ha of feed and a bed lie within reach of each other ({numbers.reach_m:.0f} m) and "
            "well inside the country"
        )
    return [first, *_told(known, _feed_rules(profile, worked), "Of the known ground")]


def _size(hectares: float) -> str:
    return "no ground" if hectares == 0.0 else f"only {max(hectares, 0.1):.3g} ha"


def _feed_rules(profile: Profile, worked: Worked) -> Rules:
    read = worked.read
    open_by_kind = np.zeros(256, np.float32)
    for kind in Kind:
        open_by_kind[int(kind)] = getattr(profile.openness, kind.name.lower())
    steep = profile.feed.slope_limit_deg
    return [
        (
            worked.habitat.parts.band < SHUT_BELOW,
            "lies outside the season's band, or has too little relief for one",
        ),
        (read.relief.slope_deg >= steep, f"is steeper than {steep:.0f}°, too steep for feed"),
        (open_by_kind[read.cover.kind] < SHUT_BELOW, "is not open (timber, bare rock, water or snow)"),
    ]


def _no_lookout(country: Country, profile: Profile, worked: Worked) -> list[str]:
    """Which rule for sitting shut out the ground within sight of the pockets."""
    radius_m = country.settings.sight.radius_m
    wanted = [p.label for p, chance in zip(worked.habitat.pockets, worked.chance, strict=True) if chance > 0]
    off_m = distance_transform_edt(~np.isin(worked.habitat.labels, wanted)) * country.grid.cell_m
    near = (off_m <= radius_m) & ~np.isnan(worked.read.elevation_m)
    rules = seat_rules(country, profile, worked)
    left = near & ~np.any([shut for shut, _ in rules], axis=0)
    first = "No ground within sight of a pocket passes every rule for sitting"
    if left.any():
        first = (
            f"{_part(left, near)} of the ground about the pockets would do to sit on, but nothing of "
            "them shows from there"
        )
    told = [first, *_told(near, rules, f"Of the ground within {radius_m:.0f} m of a pocket")]
    return told + _not_reached(near, rules, country, worked)


def seat_rules(country: Country, profile: Profile, worked: Worked) -> Rules:
    """Each rule of `siting.seat.suited` by itself: the others are given ground that passes them."""
    watch, cell_m, read, walked = country.settings.watch, country.grid.cell_m, worked.read, worked.walked
    none = np.zeros(country.grid.shape, bool)
    level = np.where(np.isnan(read.relief.slope_deg), np.nan, 0.0).astype(np.float32)
    walk_s = None if walked.reach is None else walked.reach.seconds
    standoff_m = profile.watch.standoff_m

    def fails(
        slope: NDArray[np.float32] = level,
        closure: NDArray[np.float32] | None = None,
        walk: NDArray[np.float32] | None = None,
        closed: Mask = none,
        used: Mask = none,
        rules: WatchSettings = watch,
    ) -> Mask:
        return ~suited(slope, closure, walk, closed, used, cell_m=cell_m, standoff_m=standoff_m, watch=rules)

    return [
        (fails(walk=walk_s), f"is not reached on foot within {duration(3600.0 * watch.walk_limit_hours)}"),
        (fails(closed=closed_to_sitting(read, walked)), "is closed: deep water, private, too steep to walk, or at the rim"),
        (fails(slope=read.relief.slope_deg), f"is steeper than {watch.seat_slope_deg:.0f}°"),
        (fails(closure=read.cover.closure), f"is under trees, with no opening within {watch.seat_open_m:.0f} m"),
        (fails(used=worked.watched.use > 0), f"lies nearer than {standoff_m:.0f} m to ground that the animals use"),
    ]  # fmt: skip


def _not_reached(near: Mask, rules: Rules, country: Country, worked: Worked) -> list[str]:
    """Why the nearest seat that fails by the walk alone is not reached."""
    reached = worked.walked.reach
    others = np.any([shut for shut, _ in rules[1:]], axis=0)
    lost = near & rules[0][0] & ~others
    if reached is None or not lost.any():
        return []
    best = worked.habitat.pockets[0]
    rows, cols = np.nonzero(lost)
    at = int(np.argmin(np.hypot(rows - best.row, cols - best.col)))
    words = why_not(int(rows[at]), int(cols[at]), reached, worked.walked.ground, cell_m=country.grid.cell_m)
    words = words or "it is reached, but too late"
    return [f"Why the ground to sit on nearest to the best pocket is not reached: {words}"]


def _told(ground: Mask, rules: Rules, of: str) -> list[str]:
    """The rules, the one that shuts out most first, each with its part of the ground."""
    parts = sorted(
        ((int((shut & ground).sum()), -i, words, shut) for i, (shut, words) in enumerate(rules)),
        key=lambda part: part[:2],
        reverse=True,
    )
    least = TOLD_FROM * max(1, int(ground.sum()))
    told = [f"{_part(shut & ground, ground)} {words}" for count, _, words, shut in parts if count >= least]
    return [f"{of} (parts may overlap): {'; '.join(told)}"] if told else []


def _part(mask: Mask, of: Mask) -> str:
    part = float(mask.sum()) / max(1, int(of.sum()))
    return "all of it" if part == 1.0 else share(part)

"""The facts behind a pocket's score. Every score can be opened: it is a weighted geometric mean of these."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from graylight.habitat.beds import distance_m
from graylight.habitat.land import Land
from graylight.habitat.places import Spot
from graylight.habitat.profile import Profile
from graylight.habitat.suitability import Raster
from graylight.habitat.ways import Frame

__all__ = ["Fact", "Part", "facts", "score"]

Mask = NDArray[np.bool_]
WATER_WITHIN_M = 1500.0
"""Water farther from the pocket than this is as good as none. Proposed default."""


@dataclass(frozen=True, slots=True)
class Part:
    """The suitabilities a pocket is made of, each (rows, cols) float32 in [0, 1].

    `feed_from` and `bed_from` are the suitabilities from which ground counts as feed or as a bed.
    """

    band: Raster
    quiet: Raster
    feed: Raster
    bed: Raster
    feed_from: float
    bed_from: float


@dataclass(frozen=True, slots=True)
class Fact:
    """One fact: its name, value and unit, the worth in [0, 1] with which it enters the score, and the words."""

    name: str
    value: float | None
    unit: str
    worth: float
    words: str


NO_FEED = Fact("feed", 0.0, "ha", 0.0, "no feed that the layers show")
NO_BED = Fact("bed", 0.0, "places", 0.0, "no bed place that the layers show")
NO_LINK = Fact("link", None, "m", 0.0, "how far beds lie from feed is not known")


def score(told: tuple[Fact, ...], profile: Profile) -> float:
    """Weighted geometric mean of the facts' worths, with the profile's weights (`pocket.weight_*`)."""
    weights = [float(getattr(profile.pocket, f"weight_{fact.name}")) for fact in told]
    logs = sum(w * np.log(max(fact.worth, 1e-6)) for w, fact in zip(weights, told, strict=True))
    return float(np.exp(logs / max(sum(weights), 1e-9)))


def facts(
    part: Part,
    land: Land,
    profile: Profile,
    frame: Frame,
    feeding: Mask,
    bedding: Mask,
    feeds: tuple[Spot, ...],
    beds: tuple[Spot, ...],
) -> tuple[Fact, ...]:
    """Measure one pocket, given its feed and bed cells (masks over the frame) and places.

    A pocket that the person drew may hold neither: then `feeding` is all of its ground, and `feeds` or `beds` empty.
    """
    return (
        _feed(part, land, profile, frame, feeding) if feeds else NO_FEED,
        _beds(beds) if beds else NO_BED,
        _link(feeds, beds, land, profile) if feeds and beds else NO_LINK,
        _band(part, frame, feeding, land),
        _quiet(part, land, frame, feeding),
        _water(land, frame, feeding),
        _bowl(land, frame, feeding),
        _cold_side(land, frame, bedding),
    )


def _feed(part: Part, land: Land, profile: Profile, frame: Frame, feeding: Mask) -> Fact:
    worth = part.feed[frame.cut][feeding]
    hectares = float(feeding.sum()) * land.cell_m**2 / 1e4
    amount = 1.0 - float(np.exp(-2.0 * hectares * worth.mean() / profile.pocket.feed_ample_ha))
    best = float(np.quantile(worth, 0.8))
    green = ""
    if land.cover.green is not None:
        known = land.cover.green[frame.cut][feeding]
        green = f", {100 * float(np.nanmean(known)):.0f} % green" if np.isfinite(known).any() else ""
    return Fact("feed", hectares, "ha", amount * best, f"{hectares:.0f} hectares of feed{green}")


def _beds(beds: tuple[Spot, ...]) -> Fact:
    best = float(np.mean(sorted((b.suitability for b in beds), reverse=True)[:3]))
    rotate = {1: 0.8, 2: 0.92}.get(len(beds), 1.0)
    many = "one bed place" if len(beds) == 1 else f"{len(beds)} bed places to turn between"
    return Fact("bed", float(len(beds)), "places", best * rotate, f"{many}; the best: {beds[0].words}")


def _link(feeds: tuple[Spot, ...], beds: tuple[Spot, ...], land: Land, profile: Profile) -> Fact:
    nearest = [min(np.hypot(b.row - f.row, b.col - f.col) for f in feeds) * land.cell_m for b in beds]
    middle = float(np.median(nearest))
    worth = float(np.exp(-0.5 * middle / profile.pocket.reach_m))
    return Fact("link", middle, "m", worth, f"beds lie about {round(middle, -1):.0f} m from the feed")


def _band(part: Part, frame: Frame, feeding: Mask, land: Land) -> Fact:
    mean = float(part.band[frame.cut][feeding].mean())
    height = float(np.nanmedian(land.elevation_m[frame.cut][feeding]))
    where = (
        "in the middle of the band"
        if mean > 0.8
        else "in the band"
        if mean > 0.5
        else "at the edge of the band"
    )
    return Fact("band", height, "m", mean, f"{where}, feed at {height:.0f} m")


def _quiet(part: Part, land: Land, frame: Frame, feeding: Mask) -> Fact:
    seconds = land.quiet_s[frame.cut][feeding]
    middle = float(np.median(seconds))
    worth = float(np.median(part.quiet[frame.cut][feeding]))
    if np.isinf(land.quiet_s).all():
        return Fact("quiet", None, "min", worth, "how far it lies from people is not known")
    if not np.isfinite(middle):
        return Fact(
            "quiet", None, "min", worth, "no way on foot from any known road end, trailhead or motor route"
        )
    return Fact(
        "quiet", middle / 60.0, "min", worth, f"{middle / 60:.0f} min on foot from the nearest way in"
    )


def _water(land: Land, frame: Frame, feeding: Mask) -> Fact:
    reach = round(WATER_WITHIN_M / land.cell_m)
    near = Frame(
        max(frame.top - reach, 0), max(frame.left - reach, 0), frame.bottom + reach, frame.right + reach
    )
    far = distance_m(land.water.near[near.cut], land.cell_m)
    inner = far[frame.top - near.top :, frame.left - near.left :][: feeding.shape[0], : feeding.shape[1]]
    away = float(np.quantile(inner[feeding], 0.1))
    if away > 5e5:
        return Fact("water", None, "m", 0.3, "no water known near")
    return Fact(
        "water",
        away,
        "m",
        float(0.3 + 0.7 * np.exp(-away / 800.0)),
        f"water within {max(50, round(away, -1)):.0f} m",
    )


def _bowl(land: Land, frame: Frame, feeding: Mask) -> Fact:
    ringed = float((land.landforms.basin_labels[frame.cut][feeding] > 0).mean())
    words = (
        "in a bowl"
        if ringed > 0.6
        else "partly in a bowl"
        if ringed > 0.15
        else "on open slopes, not in a bowl"
    )
    return Fact("bowl", ringed, "1", 0.5 + 0.5 * min(1.0, ringed / 0.7), words)


def _cold_side(land: Land, frame: Frame, bedding: Mask) -> Fact:
    shade = land.shade_midday[frame.cut][bedding]
    cool = float(np.quantile(shade, 0.85)) if len(shade) else 0.0
    words = (
        "a cold side to lie on" if cool > 0.85 else "some shade" if cool > 0.6 else "little shade by midday"
    )
    return Fact("cold_side", cool, "1", 0.3 + 0.7 * float(np.clip((cool - 0.4) / 0.6, 0, 1)), words)

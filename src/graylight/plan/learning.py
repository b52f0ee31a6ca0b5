"""What the record says of the settings in use: pace, the turn of the air, the habitat's weights. Nothing is changed here."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import tomlkit
from numpy.typing import NDArray

from graylight.chance.weights import learn_weights
from graylight.errors import BadInput
from graylight.grid import LonLat
from graylight.habitat.profile import Profile
from graylight.plan.animals import OWN, before_learning, find_profile, is_animal, profile_text
from graylight.plan.composing import PROGRAM
from graylight.plan.notebook import Notebook
from graylight.plan.odds_told import odds_now
from graylight.plan.on_foot import lands_on_foot, water_of
from graylight.plan.own_air import air_felt
from graylight.plan.record import Fix, Outing, Record
from graylight.plan.record_model import HabitatLearnt, Learning, PaceLearnt, Weight
from graylight.reach.ground import WalkGround
from graylight.reach.own_pace import TimedWalk, measured_factor
from graylight.sky.light import light_of_day

__all__ = ["learning", "own_profile"]

STILL_S = 180.0
STILL_MS = 0.25
"""Someone who gets on more slowly than this over three minutes rests. Proposed."""
FACTS = ("feed", "bed", "link", "band", "quiet", "water", "bowl", "cold_side")
LEAST_CHANGE = 0.01
"""Weights that move by less than this say nothing new. Proposed."""
LEAST_POCKETS = 3
"""Weights are not read from fewer pockets searched: there is nothing to compare. Proposed."""


def learning(book: Notebook) -> Learning:
    """Pace, turn of the air and weights as the record has them, beside those in use."""
    record = book.record()
    up, down, remarks = air_felt(book, record)
    return Learning(
        program=PROGRAM, country=book.country.name, animal=book.plan.animal, pace=_pace(book, record), air=up,
        evening_air=down, air_remarks=remarks, habitat=_habitat(book, record), used=[],
    )  # fmt: skip


# --- pace ----------------------------------------------------------------------------------------------------------


def _pace(book: Notebook, record: Record) -> PaceLearnt:
    settings = book.country.settings
    walks = [walk for outing in record.outings for walk in _walks(book, outing)]
    minutes = sum(walk.seconds for walk in walks) / 60.0
    measured = None
    if minutes >= settings.record.learn_walk_minutes:
        try:
            measured = measured_factor(
                walks, book.ready.survey.elevation_m, _footing(book), cell_m=book.country.grid.cell_m,
                settings=settings.walk,
            )  # fmt: skip
        except BadInput:  # no single walk of ten minutes
            measured = None
    return PaceLearnt(
        before=settings.walk.pace_factor, after=None if measured is None else measured.factor,
        low=None if measured is None else measured.low, high=None if measured is None else measured.high,
        walks=len(walks), minutes=minutes, needed_minutes=settings.record.learn_walk_minutes,
    )  # fmt: skip


def _footing(book: Notebook) -> WalkGround:
    """The ground as a walker meets it; what is shut counts at the pace of its surface."""
    return lands_on_foot(book.ready, water_of(book.ready))[1].ground


def _walks(book: Notebook, outing: Outing) -> list[TimedWalk]:
    """The stretches of a track on which its walker got on, rests cut out."""
    inside = [f for f in outing.track if book.country.grid.contains(LonLat(f.lon, f.lat))]
    found = []
    for stretch in _stretches(inside):
        rows, cols = (
            np.array(side)
            for side in zip(*(book.country.grid.locate(LonLat(f.lon, f.lat)) for f in stretch), strict=True)
        )
        seconds = (stretch[-1].at - stretch[0].at).total_seconds()
        found.append(TimedWalk(rows, cols, seconds, pack=True, dark=_dark(book, stretch)))
    return found


def _stretches(fixes: Sequence[Fix]) -> list[list[Fix]]:
    """Runs of fixes between rests: pieces of three minutes in which next to no way was made are left out."""
    runs: list[list[Fix]] = [[]]
    i = 0
    while i < len(fixes) - 1:
        j = i + 1
        while j < len(fixes) - 1 and (fixes[j].at - fixes[i].at).total_seconds() < STILL_S:
            j += 1
        seconds = (fixes[j].at - fixes[i].at).total_seconds()
        if seconds > 0.0 and _apart_m(fixes[i], fixes[j]) / seconds >= STILL_MS and seconds < 4 * STILL_S:
            runs[-1] += fixes[i if not runs[-1] else i + 1 : j + 1]
        elif runs[-1]:
            runs.append([])
        i = j
    return [run for run in runs if len(run) > 1]


def _apart_m(a: Fix, b: Fix) -> float:
    east = (b.lon - a.lon) * 111_320.0 * math.cos(math.radians(a.lat))
    return math.hypot(east, (b.lat - a.lat) * 111_320.0)


def _dark(book: Notebook, stretch: Sequence[Fix]) -> bool:
    """Whether a stretch was walked before or after usable light, by its middle."""
    middle = stretch[0].at + (stretch[-1].at - stretch[0].at) / 2
    day = light_of_day(
        book.country.grid.center,
        book.local(middle).date(),
        usable_sun_deg=book.country.settings.usable_light_sun_deg,
    )
    early = day.usable_from is not None and middle < day.usable_from
    return early or (day.usable_until is not None and middle > day.usable_until)


# --- habitat -------------------------------------------------------------------------------------------------------


def _habitat(book: Notebook, record: Record) -> HabitatLearnt:
    settings = book.country.settings.record
    effort, seen = _used(book, record)
    pockets, count = int((effort > 0).sum()), int(seen.sum())
    weights: list[Weight] = []
    if count >= settings.learn_sightings and pockets >= LEAST_POCKETS:
        weights = _weights(book, effort, seen)
    nothing_new = bool(weights) and all(abs(w.after - w.before) < LEAST_CHANGE for w in weights)
    return HabitatLearnt(
        sightings=count, needed=settings.learn_sightings, pockets=pockets, nothing_new=nothing_new,
        weights=[] if nothing_new else weights,
    )  # fmt: skip


def _used(book: Notebook, record: Record) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Effort and sightings by pocket: sightings on outings, once a pocket and outing, against what these searched."""
    count = len(book.plan.pockets)
    effort, seen = np.zeros(count), np.zeros(count)
    found = odds_now(book, record)
    for searched in found.searched.values():
        effort += np.array(searched.found(count))
    index = {name: i for i, name in enumerate(book.places.ids)}
    told: set[tuple[int, int]] = set()
    for one in record.sightings:
        if one.outing not in found.searched or not is_animal(one.animal, book.plan.animal):
            continue
        errors = (one.along_m or 1.0, one.across_m or 1.0, one.bearing_true_deg or 0.0)
        pocket, belongs = book.pocket_at(one.point, errors)
        if pocket is not None and belongs >= 0.5 and effort[index[pocket]] > 0.0:
            told.add((one.outing or 0, index[pocket]))
    for _, i in told:
        seen[i] += 1.0
    return effort, seen


def _weights(book: Notebook, effort: NDArray[np.float64], seen: NDArray[np.float64]) -> list[Weight]:
    """The profile's pocket weights before and after, their sum kept, and its sharpness, which takes up the rest."""
    profile, first = find_profile(book.country), before_learning(book.country)
    worth = np.array([[_worth(p.reasons, fact) for fact in FACTS] for p in book.plan.pockets])
    before, start = (
        np.array([float(getattr(one.pocket, f"weight_{fact}")) for fact in FACTS]) for one in (profile, first)
    )
    total = max(float(start.sum()), 1e-9)
    learnt = learn_weights(
        worth,
        effort,
        seen,
        start * first.chance.sharpness / total,
        spread_part=book.country.settings.record.learn_spread,
    )
    after_sharp = max(float(learnt.after.sum()), 1e-9)
    scale = total / after_sharp
    told = [
        _weight(
            profile, f"pocket.weight_{fact}", before[i], learnt.after[i] * scale, learnt.spread[i] * scale
        )
        for i, fact in enumerate(FACTS)
    ]
    spread = float(np.sqrt((learnt.spread**2).sum()))
    return [*told, _weight(profile, "chance.sharpness", profile.chance.sharpness, after_sharp, spread)]


def _weight(profile: Profile, name: str, before: float, after: float, spread: float) -> Weight:
    """Held to the range that the profile allows."""
    low, high = profile.numbers[name].range
    return Weight(name=name, before=before, after=min(max(float(after), low), high), spread=float(spread))


def _worth(reasons: Sequence[object], fact: str) -> float:
    found = next((r for r in reasons if getattr(r, "fact", "") == fact), None)
    worth = getattr(found, "worth", None)
    return 1.0 if worth is None else float(worth)


# --- put to use ----------------------------------------------------------------------------------------------------


def own_profile(book: Notebook, learnt: HabitatLearnt) -> tuple[str, str]:
    """A copy of the animal's profile with the weights learnt: its name and its text. Nothing is written.

    Raises
    ------
    BadInput
        Too little was seen.
    """
    if learnt.nothing_new:
        raise BadInput(
            f"{learnt.sightings} sightings move no weight by a hundredth; accepted are sightings that say something new; go on "
            "recording"
        )
    if not learnt.weights:
        raise BadInput(
            f"{learnt.sightings} sightings on outings in {learnt.pockets} pockets searched teach nothing about the habitat; "
            f"accepted are {learnt.needed} or more in {LEAST_POCKETS} pockets or more; go on recording"
        )
    document = tomlkit.parse(profile_text(book.country))
    name = f"{book.plan.animal.removesuffix(OWN)}{OWN}"
    document["name"] = name
    for weight in learnt.weights:
        group, key = weight.name.split(".")
        number: Any = document[group][key]  # type: ignore[index]
        number["value"] = weight.after
        number["source"] = (
            f"Learnt from {learnt.sightings} sightings; before {weight.before:g}. {number['source']}"
        )
    return name, tomlkit.dumps(document)

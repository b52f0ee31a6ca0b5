"""A plan made and kept: the plan JSON, what was worked out as layers, and the ids given."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from graylight.country.folder import Country
from graylight.plan.animals import find_profile
from graylight.plan.composing import compose
from graylight.plan.ids import given_before
from graylight.plan.kept import IDS, PLAN, SEAL, belongs_together, kept_plan, plan_text, seal
from graylight.plan.making import Worked, work_out
from graylight.plan.model import Plan
from graylight.plan.stages_kept import Kept, fingerprint
from graylight.work import Tick, part, silent

__all__ = ["IDS", "PLAN", "SEAL", "Made", "belongs_together", "kept_plan", "make_plan", "plan_text"]


@dataclass(frozen=True, slots=True)
class Made:
    """A plan and the results it was composed from."""

    plan: Plan
    worked: Worked


def make_plan(country: Country, *, kept: Kept | None = None, tick: Tick = silent) -> Made:
    """Run all stages, compose the plan, and keep plan, layers and ids in the country's folder.

    Nothing is written before everything is worked out; each file is replaced whole, the plan last.

    Parameters
    ----------
    country
        With the person's changes of settings (`plan.edits.edited`); their other edits are read here.
    kept
        Handed over again and again by a process that lives long: only what hangs on something changed is done anew,
        and the same is written as by a run without it. One run at a time: others wait.
    """
    kept = Kept() if kept is None else kept
    with kept.running:
        return _make(country, kept, tick)


def _make(country: Country, kept: Kept, tick: Tick) -> Made:
    country.check_writable()
    profile = find_profile(country)
    given = given_before(country.read_text(IDS))
    worked = work_out(country, profile, given=given, kept=kept, tick=part(tick, 0.0, 0.88))
    plan = compose(country, profile, worked, given)
    tick(0.92)

    def keep() -> None:
        country.write_text(IDS, given.to_json())
        country.write_text(PLAN, plan_text(plan))
        country.write_text(SEAL, seal(country))

    layers = layers_of(worked)
    marks = {name: fingerprint(str(country.folder), values) for name, values in layers.items()}
    anew = {n: v for n, v in layers.items() if kept.written.get(n) != (marks[n], country.stamp(n))}
    country.write_layers(anew, then=keep)
    kept.written = {name: (mark, country.stamp(name)) for name, mark in marks.items()}
    tick(1.0)
    return Made(plan, worked)


def layers_of(worked: Worked) -> dict[str, NDArray[np.generic]]:
    """What was worked out, by layer name (see docs/layers.md)."""
    read, lived, watched = worked.read, worked.habitat, worked.watched
    layers: dict[str, NDArray[np.generic] | None] = {
        "slope": read.relief.slope_deg,
        "aspect": read.relief.aspect_deg,
        "local_relief": read.relief.local_relief_m,
        "ruggedness": read.relief.ruggedness,
        "forms": read.landforms.forms,
        "cliffs": read.landforms.cliffs.astype(np.uint8),
        "basins": read.landforms.basin_labels.astype(np.int32),
        "cover": read.cover.kind,
        "greenness": read.cover.green,
        "canopy": read.cover.canopy_m,
        "closure": read.cover.closure,
        "water": read.water.near.astype(np.uint8),
        "shade_midday": read.shade.midday,
        "first_sun": read.shade.first_sun_s,
        "last_sun": read.shade.last_sun_s,
        # all unknown without a start: an earlier plan's times must not stay behind
        "walk_seconds": np.full(lived.labels.shape, np.nan)
        if worked.walked.reach is None
        else worked.walked.reach.seconds,
        "quiet_seconds": worked.walked.quiet_s,
        "band": lived.band.suitability,
        "feed": lived.parts.feed,
        "bed": lived.parts.bed,
        "pockets": lived.labels,
        "use_at_dawn": watched.use,
        "watch_worth": watched.siting.worth,
    }
    return {name: _finite(values) for name, values in layers.items() if values is not None}


def _finite(values: NDArray[np.generic]) -> NDArray[np.generic]:
    """Infinite times become nodata, which any map program reads."""
    if values.dtype.kind != "f":
        return values
    return np.where(np.isfinite(values), values, np.nan).astype(np.float32)

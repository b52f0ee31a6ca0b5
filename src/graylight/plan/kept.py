"""What is kept of a plan in the country's folder: read back, and seen to belong together."""

from __future__ import annotations

import json
from hashlib import sha256

from graylight.country.folder import Country
from graylight.errors import BadInput
from graylight.plan.model import Plan

__all__ = ["IDS", "PLAN", "SEAL", "TO_LOOK", "TO_WATCH", "belongs_together", "kept_plan", "plan_text", "seal"]

PLAN = "plan/plan.json"
IDS = "plan/ids.json"
SEAL = "plan/seal.json"
"""Written last: which plan and which labels belong together."""
TO_WATCH = ("pockets", "elevation")
"""Layers that watching reads whole, the seal's first: who will ask for them may begin early (`Country.read_ahead`)."""
TO_LOOK = (
    "pockets", "elevation", "canopy", "closure", "use_at_dawn", "slope", "aspect", "cover", "walk_seconds", "greenness",
)  # fmt: skip
"""Layers that looking and its picture read."""


def plan_text(plan: Plan) -> str:
    """The plan as JSON: the same plan, the same bytes."""
    return json.dumps(plan.model_dump(mode="json"), indent=1, ensure_ascii=False) + "\n"


def seal(country: Country) -> str:
    """Fingerprints of the plan and of the pockets' labels that were written with it."""
    marks = {"plan": (country.read_text(PLAN) or "").encode(), "pockets": country.read("pockets").tobytes()}
    return json.dumps({name: sha256(data).hexdigest() for name, data in marks.items()}, indent=1) + "\n"


def belongs_together(country: Country) -> bool:
    """Whether the plan kept and the layers kept come from one run (a run may have been killed in between)."""
    return country.has("pockets") and country.read_text(SEAL) == seal(country)


def kept_plan(country: Country) -> Plan | None:
    """The plan kept in the folder, if there is one.

    Raises
    ------
    BadInput
        The file is there but isn't a plan of this version.
    """
    text = country.read_text(PLAN)
    if text is None:
        return None
    try:
        return Plan.model_validate_json(text)
    except ValueError:
        raise BadInput(
            f"{PLAN} is not a plan this version reads; accepted is schema version 1.0 or 1.1; move the file away and plan again"
        ) from None

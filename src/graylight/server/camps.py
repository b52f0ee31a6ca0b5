"""The path to places to camp, and water near the lookouts."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query
from pydantic import BaseModel

from graylight.plan.camp_model import Camps
from graylight.plan.camping import camps_for
from graylight.plan.morning_asked import camps_asked
from graylight.server import asking
from graylight.server.judging import heavy
from graylight.server.models import Note
from graylight.server.notes import notes_of
from graylight.telling.camp import tell_camps

__all__ = ["router"]

router = APIRouter()


class CampsTold(BaseModel):
    """Places to camp, and the sentences about them."""

    camps: Camps
    notes: list[Note]


@router.get("/camps")
def camps(
    opened: asking.Here,
    lookout: Annotated[str | None, Query(max_length=20)] = None,
    date: asking.Day | None = None,
    wind: Annotated[str | None, Query(max_length=40)] = None,
) -> CampsTold:
    """Places to camp near a lookout, or near any of them, out of sight and scent of the pockets; and water."""
    seats, day = camps_asked(opened.must_plan(), lookout=lookout or None, date=date, wind=wind or None)
    key = ("camps", tuple(one.id for one in seats), day, wind, opened.country.settings.units)

    def told() -> CampsTold:
        with heavy:
            found = camps_for(opened.mornings, seats, date=day, wind=wind or None)
        return CampsTold(camps=found, notes=notes_of(tell_camps(found, opened.country.settings.units)))

    answer: CampsTold = opened.answers.get(key, told)
    return answer

"""Paths of long work: jobs, and the stream of what happens."""

from __future__ import annotations

from typing import Annotated, Literal, TypeAlias

from fastapi import APIRouter, Header, Path
from pydantic import BaseModel, ConfigDict, Field
from sse_starlette import EventSourceResponse
from starlette.responses import Response

from graylight.server import asking
from graylight.server.countries import gather_box
from graylight.server.desk import Desk, Said
from graylight.server.jobs import Job
from graylight.server.models import JobTold

__all__ = ["router"]

router = APIRouter()
PING_S = 15
JobId = Annotated[str, Path(pattern=r"^[0-9]{1,12}$")]


class WantedPlan(BaseModel):
    """The plan, worked out anew."""

    model_config = ConfigDict(extra="forbid")
    kind: Literal["plan"]


class WantedPacket(BaseModel):
    """The packet of the plan; what is not said is the plan's own."""

    model_config = ConfigDict(extra="forbid")
    kind: Literal["packet"]
    date: Annotated[str, Field(max_length=10)] | None = None
    lookouts: Annotated[str, Field(max_length=200, description="ids with commas between")] | None = None
    wind: Annotated[str, Field(max_length=40)] | None = None
    share: bool = False


class WantedCountry(BaseModel):
    """Open data, gathered for a box that was kept."""

    model_config = ConfigDict(extra="forbid")
    kind: Literal["gather"]
    key: Annotated[str, Field(max_length=200)]
    without: Annotated[str, Field(max_length=120)] | None = None


Wanted: TypeAlias = Annotated[WantedPlan | WantedPacket | WantedCountry, Field(discriminator="kind")]


@router.get("/jobs")
def jobs(desk: asking.The) -> list[JobTold]:
    """The jobs of this run, oldest first."""
    return [JobTold.model_validate(job.told()) for job in desk.jobs.all()]


@router.post("/jobs", status_code=202)
def start(desk: asking.The, wanted: Wanted) -> JobTold:
    """Begin long work; how far it is comes with the events."""
    return JobTold.model_validate(_begun(desk, wanted).told())


def _begun(desk: Desk, wanted: WantedPlan | WantedPacket | WantedCountry) -> Job:
    if isinstance(wanted, WantedPlan):
        return desk.plan()
    if isinstance(wanted, WantedPacket):
        return desk.packet(Said(wanted.date, wanted.lookouts or None, wanted.wind or None, wanted.share))
    return gather_box(desk, wanted.key, wanted.without)


@router.get("/jobs/{id}")
def job(desk: asking.The, id: JobId) -> JobTold:
    """How far a job is."""
    return JobTold.model_validate(desk.jobs.get(id).told())


@router.delete("/jobs/{id}")
def stop(desk: asking.The, id: JobId) -> JobTold:
    """Stop a job; one that has ended stays as it is."""
    return JobTold.model_validate(desk.jobs.stop(id).told())


EVENTS = {200: {"content": {"text/event-stream": {"schema": {"type": "string"}}}, "description": "events"}}


@router.get("/events", response_class=Response, responses=EVENTS)  # type: ignore[arg-type]
async def events(
    desk: asking.The, last_event_id: Annotated[str | None, Header(max_length=20)] = None
) -> EventSourceResponse:
    """What happens from now on, or from after the event named in Last-Event-ID."""
    after = (
        int(last_event_id) if last_event_id and last_event_id.isascii() and last_event_id.isdigit() else None
    )
    return EventSourceResponse(desk.stream.listen(after), ping=PING_S)

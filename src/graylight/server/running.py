"""Paths of long work: jobs, and the stream of what happens."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Header, Path
from pydantic import BaseModel, ConfigDict
from sse_starlette import EventSourceResponse
from starlette.responses import Response

from graylight.server import asking
from graylight.server.models import JobTold

__all__ = ["router"]

router = APIRouter()
PING_S = 15
JobId = Annotated[str, Path(pattern=r"^[0-9]{1,12}$")]


class Wanted(BaseModel):
    """What is to be worked out."""

    model_config = ConfigDict(extra="forbid")
    kind: Literal["plan"]


@router.get("/jobs")
def jobs(desk: asking.The) -> list[JobTold]:
    """The jobs of this run, oldest first."""
    return [JobTold.model_validate(job.told()) for job in desk.jobs.all()]


@router.post("/jobs", status_code=202)
def start(desk: asking.The, wanted: Wanted) -> JobTold:  # noqa: ARG001  one kind yet
    """Begin long work; how far it is comes with the events."""
    return JobTold.model_validate(desk.plan().told())


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

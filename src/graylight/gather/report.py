"""What a gathering brought and what it did not, why, and how old: kept in the country, and told."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Sequence

from pydantic import BaseModel, ConfigDict, Field

from graylight.gather.order import Expected

__all__ = [
    "REPORT",
    "Asked",
    "Report",
    "check_rules",
    "megabytes",
    "report_text",
    "tell_expected",
    "tell_report",
]

REPORT = "gathered.json"
RULES = (
    "Closures, fire perimeters and regulations are not gathered: check current rules with the agency responsible for the "
    "ground and the season, on the day ({date})."
)

MEANS = {
    "apron": "first and last sun are too early and too late where higher ground stands outside",
    "cover": "what grows is judged by canopy and terrain alone, so feed and beds are less sure",
    "canopy": "trees that stand in the way of a view are not known",
    "imagery": "how green the ground is, is not known, and there is no picture under the map",
    "ways": "no trails, roads or trailheads: give the road ends yourself, with 'graylight take' or on the map page",
    "names": "tops and saddles have their heights alone",
    "ownership": "whose ground it is, is not known: find out, and ask, before you go",
    "forecast": "look one up for the day, and tell the wind to 'graylight morning --wind'",
    "closeup": "no fine picture to look at",
}
"""What the lack of a thing means for whoever plans."""


class _Model(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Asked(_Model):
    """One service asked for one thing."""

    kind: str
    words: str
    service: str = Field(description="title of the service; empty where none has it here")
    got: bool
    why: str | None = Field(None, description="why not, where it was not had")
    date: str | None = Field(None, description="date of the data, where known")
    fetched: str | None = Field(None, description="when it was had from the service, UTC")
    licence: str | None = None
    credit: str | None = None
    about: str | None = Field(None, description="where to read of the service and its terms")
    done: list[str] = []


class Report(_Model):
    """A whole gathering."""

    asked: list[Asked]
    requests: int = Field(description="sent this time")
    bytes: int = Field(description="received this time")

    def lacking(self) -> list[Asked]:
        """What no service gave, one line a kind."""
        had = {one.kind for one in self.asked if one.got}
        seen: dict[str, Asked] = {}
        for one in self.asked:
            if one.kind not in had:
                seen[one.kind] = one
        return list(seen.values())


def report_text(report: Report) -> str:
    """The report as the text of its file."""
    return json.dumps(report.model_dump(mode="json"), indent=1, ensure_ascii=False) + "\n"


def tell_expected(found: Sequence[Expected]) -> list[str]:
    """The estimate, a line for each thing."""
    lines = []
    for one in found:
        if one.service is None:
            lines.append(f"{one.kind.words}: no service is known for this ground")
        else:
            lines.append(f"{one.kind.words}: {one.service.title}, about {megabytes(one.size)}")
    total = sum(one.size for one in found)
    return [*lines, f"together about {megabytes(total)}, less what is kept from before"]


def megabytes(size: int) -> str:
    """Bytes as people read them.

    >>> megabytes(1_234_567), megabytes(40_000), megabytes(123_456_789)
    ('1.2 MB', '0.1 MB', '123 MB')
    """
    mb = size / 1e6
    return f"{mb:.0f} MB" if mb >= 10 else f"{max(mb, 0.1):.1f} MB"


def tell_report(report: Report, now: dt.datetime) -> list[str]:
    """The report, a line for each thing: got, from whom, how old; or missing, why, and what that means."""
    lines = []
    last = {id(one) for one in report.lacking()}
    had = {one.kind for one in report.asked if one.got}
    for one in report.asked:
        if one.got:
            lines.append(f"got {one.words}: {one.service}, {_age(one, now)}")
        elif one.kind in had:
            lines.append(f"passed over for {one.words}: {_why(one)}")
        else:
            means = f"; {MEANS[one.kind]}" if id(one) in last and one.kind in MEANS else ""
            lines.append(f"missing {one.words}: {_why(one)}{means}")
    said = f"{report.requests} request{'s' if report.requests != 1 else ''}, {megabytes(report.bytes)}"
    return [
        *lines,
        f"asked this time: {said}"
        if report.requests
        else "asked this time: nothing; all was kept from before",
    ]


def _why(one: Asked) -> str:
    """Why a service gave nothing, with its name once."""
    why = one.why or "it gave nothing"
    return why if not one.service or one.service in why else f"{one.service}: {why}"


def check_rules(date: dt.date) -> str:
    """What no gathering brings, and is to be asked of those responsible."""
    return RULES.format(date=date)


def _age(one: Asked, now: dt.datetime) -> str:
    """How old the data is, and when it was had."""
    told = "date of the data not known" if one.date is None else f"data of {one.date}"
    if one.fetched:
        days = (now - dt.datetime.fromisoformat(one.fetched)).days
        told += ", had today" if days <= 0 else f", had {days} day{'s' if days != 1 else ''} ago"
    return told

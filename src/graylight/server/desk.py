"""What the server holds: the open country, its rows, the jobs and the stream of events."""

from __future__ import annotations

import contextlib
import json
import threading
from collections.abc import Callable
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

from graylight.country.folder import PACKAGE, SETTINGS, Country
from graylight.country.rows import Rows
from graylight.errors import GraylightError
from graylight.packet.asked import understood
from graylight.packet.making import make_packet
from graylight.plan.aside import aside, heard_settings
from graylight.plan.edits import edited
from graylight.plan.keeping import PLAN, SEAL, make_plan
from graylight.plan.stages_kept import Kept as Results
from graylight.server.events import Stream
from graylight.server.jobs import Job, Jobs
from graylight.server.opened import Opened
from graylight.server.outside import Outside, Round
from graylight.server.problems import NotThere
from graylight.work import Tick

__all__ = ["SAID", "Desk", "Said"]

SAID = "plan/said.json"
"""What the person had said when the plan was made, as a fingerprint beside that of the plan."""
HEARD = ("edits", "traces", "starts", "sightings", "outings", "sign")
"""Tables that the stages read."""


@dataclass(frozen=True, slots=True)
class Said:
    """What is said of a packet: date, lookouts and wind as they are typed, and whether it is to be shown to others."""

    date: str | None = None
    lookouts: str | None = None
    wind: str | None = None
    share: bool = False


class Desk:
    """One open country at a time.

    Parameters
    ----------
    home
        Folder in which countries that are made here lie.
    folder
        A country to open at once; None: none is open yet.
    outside
        The way to open services; None: the usual one, which asks nobody unless a person does.
    """

    def __init__(self, home: Path, folder: Path | None = None, *, outside: Outside | None = None) -> None:
        self.home = home
        self.outside = Outside() if outside is None else outside
        self.stream = Stream()
        self.jobs = Jobs(self.stream)
        self._lock = threading.RLock()
        self._opened: Opened | None = None
        self.opening = 0
        """How many countries have been opened so far: tells one from the other."""
        self._rows: Rows | None = None
        self._revision = 0
        self._seal: str | None = None
        self._kept = Results()
        self._heard: str | None = None
        if folder is not None:
            self.open(folder)

    @property
    def opened(self) -> Opened:
        """The open country.

        Raises
        ------
        NotThere
            None is open.
        """
        opened = self._opened
        if opened is None:
            raise NotThere("no country is open; accepted is one of GET /api/countries; open or make one")
        return opened

    @property
    def rows(self) -> Rows:
        """The open country's live rows.

        Raises
        ------
        NotThere
            No country is open.
        """
        if self._rows is None:
            raise NotThere("no country is open; accepted is one of GET /api/countries; open or make one")
        return self._rows

    def at_hand(self) -> tuple[Opened, Rows]:
        """The open country and its rows, of one and the same country.

        Raises
        ------
        NotThere
            None is open.
        """
        with self._lock:
            return self.opened, self.rows

    def open(self, folder: Path) -> None:
        """Open a country's folder; without a plan one is begun.

        Raises
        ------
        BadInput
            It is not a country.
        """
        country = Country.open(folder)
        rows = Rows(country)
        revision, opened = rows.revision(), Opened(edited(country))
        with self._lock:
            self._rows, self._opened, self._revision = rows, opened, revision
            self.opening += 1
            self._seal, self._kept = country.read_text(SEAL), Results()
            self._heard = _heard_by_plan(country)
        self.stream.tell("opened", name=country.name)
        if opened.plan is None:
            self.plan()

    def refresh(self) -> None:
        """Take in a plan made since, and the settings as edited; what looks need is read before it takes their place."""
        before = self.opened
        country = Country.open(before.country.folder)
        seal, now = country.read_text(SEAL), Opened(edited(country))
        if now.plan is not None:
            now.warm()
        with self._lock:
            if self.opened.country.folder != country.folder:
                return  # another country was opened meanwhile
            self._seal, self._opened, self._heard = seal, now, _heard_by_plan(country)
        if now.planned != before.planned:
            self.stream.tell("planned", planned=now.planned)

    def changed(self, *, settings: bool) -> int:
        """Tell the pages that rows have changed; the revision there is now.

        Parameters
        ----------
        settings
            Whether settings may have changed with them.
        """
        with self._lock:
            before = self.opened
            country = edited(Country.open(before.country.folder)) if settings else before.country
            if country.settings != before.country.settings:
                self._opened = before.with_country(country)
                threading.Thread(
                    target=_warmed, args=[self._opened], name="graylight-warm", daemon=True
                ).start()
            self._revision = revision = self.rows.revision()
        self.stream.tell("changed", revision=revision)
        return revision

    def notice(self) -> None:
        """See whether another program has changed rows or made a plan, and tell the pages."""
        if self._opened is None:
            return
        if self.rows.revision() != self._revision:
            self.changed(settings=True)
        if self.opened.country.read_text(SEAL) != self._seal and not self.jobs.busy():
            self.refresh()

    def stale(self) -> bool:
        """Whether the person said something that the plan does not know of."""
        return self.opened.plan is not None and _said(self.opened.country) != self._heard

    def plan(self) -> Job:
        """Begin to work the plan out anew."""
        folder = self.opened.country.folder
        return self.jobs.start("plan", "Working out the plan", lambda tick: self._plan(folder, tick))

    def _plan(self, folder: Path, tick: Tick) -> dict[str, Any]:
        found = Country.open(folder)
        said = _said(found)  # first: what is said from here on is not sure to be heard
        country = edited(found)
        make_plan(country, kept=self._kept, tick=tick)
        country.write_text(SAID, json.dumps({"plan": _plan_mark(country), "said": said}) + "\n")
        if self.opened.country.folder == folder:
            self.refresh()
        return {"planned": self.opened.planned}

    def packet(self, said: Said) -> Job:
        """Begin to make the packet of the plan as it is now.

        Raises
        ------
        NoPlan, BadInput
            There is no plan; a lookout, a date or a wind that is not understood.
        """
        opened = self.opened
        plan = opened.must_plan()
        asked = understood(plan, lookouts=said.lookouts, date=said.date, wind=said.wind)

        def work(tick: Tick) -> dict[str, Any]:
            made = make_packet(opened.as_planned, plan, asked, share=said.share, tick=tick)
            return {"files": len(made.names)}

        return self.jobs.start("packet", "Making the packet", work)

    def gather(self, key: str, name: str, wanted: Round, *, done: Callable[[], None]) -> Job:
        """Begin to gather a country into the home folder; `done` is called when it is made."""

        def work(tick: Tick) -> dict[str, Any]:
            lines = self.outside.gather(self.home / key, name, wanted, tick)
            done()
            return {"key": key, "words": lines}

        return self.jobs.start("gather", f"Gathering {name}", work)

    def close(self) -> None:
        """End the streams and stop the jobs."""
        self.stream.close()
        self.jobs.close()
        self.outside.close()


def _warmed(opened: Opened) -> None:
    """Read what the next look needs before it is asked for."""
    with contextlib.suppress(GraylightError):  # whoever asks meets the same error, and is told
        opened.warm()


def _said(country: Country) -> str:
    """A fingerprint of all that the person said and the stages read."""
    mark, rows = sha256(), Rows(country)
    for table in HEARD:
        for row in rows.read(table):
            if row.values.get("what") == "set" and aside(str(row.values.get("target"))):
                continue
            shape = "" if row.geometry is None else row.geometry.wkb_hex
            mark.update(repr((table, row.id, shape, sorted(row.values.items()))).encode())
    mark.update(heard_settings(country.read_text(SETTINGS) or "").encode())
    for name in country.own_profiles():
        mark.update((country.read_text(f"animals/{name}.toml") or "").encode())
    return mark.hexdigest()


def _heard_by_plan(country: Country) -> str | None:
    """What had been said when the plan was made; None where that can't be told, and something may be new.

    A plan made by the command leaves no word of it: what was written before the plan was heard.
    """
    kept = _kept_said(country)
    if kept.get("plan") == _plan_mark(country):
        return str(kept.get("said"))
    seal, package = (country.folder / name for name in (SEAL, PACKAGE))
    before = seal.is_file() and package.is_file() and package.stat().st_mtime <= seal.stat().st_mtime
    return _said(country) if before or not Rows(country).read("edits") else None


def _plan_mark(country: Country) -> str:
    return sha256((country.read_text(PLAN) or "").encode()).hexdigest()


def _kept_said(country: Country) -> dict[str, Any]:
    try:
        kept = json.loads(country.read_text(SAID) or "{}")
    except ValueError:
        return {}
    return kept if isinstance(kept, dict) else {}

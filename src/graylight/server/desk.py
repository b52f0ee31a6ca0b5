"""What the server holds: the open country, its rows, the jobs and the stream of events."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import Any

from graylight.country.folder import Country
from graylight.country.rows import Rows
from graylight.plan.keeping import make_plan
from graylight.server.events import Stream
from graylight.server.jobs import Job, Jobs
from graylight.server.opened import Opened
from graylight.server.problems import NotThere
from graylight.work import Tick

__all__ = ["Desk"]


class Desk:
    """One open country at a time.

    Parameters
    ----------
    home
        Folder in which countries that are made here lie.
    folder
        A country to open at once; None: none is open yet.
    """

    def __init__(self, home: Path, folder: Path | None = None) -> None:
        self.home = home
        self.stream = Stream()
        self.jobs = Jobs(self.stream)
        self._lock = threading.RLock()
        self._opened: Opened | None = None
        self._rows: Rows | None = None
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
        """The open country's live rows."""
        self.opened  # noqa: B018  raises where none is open
        assert self._rows is not None
        return self._rows

    def open(self, folder: Path) -> None:
        """Open a country's folder; without a plan one is begun.

        Raises
        ------
        BadInput
            It is not a country.
        """
        country = Country.open(folder)
        with self._lock:
            self._rows = Rows(country)
            self._opened = Opened(country)
        self.stream.tell("opened", name=country.name)
        if self.opened.plan is None:
            self.plan()

    def refresh(self) -> None:
        """Take in what has changed: the settings as edited, and a plan made since."""
        with self._lock:
            before = self.opened
            self._opened = Opened(Country.open(before.country.folder))
        if self.opened.planned != before.planned:
            self.stream.tell("planned", planned=self.opened.planned)

    def stale(self) -> bool:
        """Whether the person said something that the plan does not know of."""
        return False

    def changed(self) -> int:
        """Tell the pages that rows have changed, and the revision there is now."""
        revision = self.rows.revision()
        self.stream.tell("changed", revision=revision)
        return revision

    def plan(self) -> Job:
        """Begin to work the plan out anew."""
        return self.jobs.start("plan", "Working out the plan", self._plan)

    def _plan(self, tick: Tick) -> dict[str, Any]:
        folder = self.opened.country.folder
        make_plan(Country.open(folder), tick=tick)
        if self.opened.country.folder == folder:
            self.refresh()
        return {"planned": self.opened.planned}

    def close(self) -> None:
        """End the streams and stop the jobs."""
        self.stream.close()
        self.jobs.close()

"""The one way from the page to the network: through the gate and the store of what is gathered, when it is asked for."""

from __future__ import annotations

import threading
from dataclasses import dataclass, replace
from pathlib import Path

from graylight.errors import BadInput
from graylight.gather.basemap import Basemap
from graylight.gather.gate import Gate
from graylight.gather.gathering import gather
from graylight.gather.order import Expected, Kind, chosen, expected
from graylight.gather.report import check_rules, megabytes, tell_report
from graylight.gather.services import MOST_CONNECTIONS, Services, own_files, read_services
from graylight.gather.store import Store, now, usual_folder
from graylight.gather.wanted import Wanted, checked_bounds
from graylight.grid import Bounds
from graylight.settings import Settings
from graylight.work import Tick

__all__ = ["MOST_MB", "Outside", "Round"]

MOST_MB = 2000.0
"""A round that is expected to be larger is refused: the command's own limit if nothing is said."""
CONNECTIONS = MOST_CONNECTIONS // 2
"""Of a gathering; the map's tiles have the other half."""


@dataclass(frozen=True)
class Round:
    """What would be gathered: the ground, the kinds, and what is expected of whom."""

    wanted: Wanted
    kinds: list[Kind]
    expected: list[Expected]

    @property
    def size(self) -> int:
        """Bytes, about."""
        return sum(one.size for one in self.expected)


class Outside:
    """What the page may ask of open services. Nothing is read or asked before the first call.

    Parameters
    ----------
    table
        A file that changes the table of services; None: the user's and the country's own alone.
    store
        Where answers are kept; None: the system's place for caches.
    offline
        Ask nobody; use what is kept.
    """

    def __init__(
        self, table: Path | None = None, store: Path | None = None, *, offline: bool = False
    ) -> None:
        self._table, self._folder, self.offline = table, store, offline
        self._lock = threading.Lock()
        self._store: Store | None = None
        self._basemaps: dict[Path, Basemap] = {}

    def services(self, folder: Path | None) -> Services:
        """The table as it holds for a country."""
        return read_services(own_files(self._table, folder))

    @property
    def store(self) -> Store:
        """Where answers are kept."""
        with self._lock:
            if self._store is None:
                self._store = Store(self._folder or usual_folder())
            return self._store

    def basemap(self, folder: Path) -> Basemap:
        """The maps of public services for a country's folder."""
        store = self.store
        with self._lock:
            if folder not in self._basemaps:
                self._basemaps[folder] = Basemap(self.services(folder), store, offline=self.offline)
            return self._basemaps[folder]

    def plan_round(self, box: Bounds, without: str | None) -> Round:
        """What would be asked for a box, of whom, and how much it would be; nobody is asked.

        Raises
        ------
        BadInput
            The box can't be gathered for, is too large, or a kind is not known.
        """
        wanted = Wanted(checked_bounds(box), Settings().date)
        wanted.check_size(Settings().memory_gb)
        kinds = chosen(None, without or None, wanted)
        found = Round(wanted, kinds, expected(kinds, self.services(None), wanted))
        if found.size > MOST_MB * 1e6:
            raise BadInput(
                f"about {megabytes(found.size)} would be gathered; accepted are {MOST_MB:g} MB; draw a smaller box, or leave "
                "something out"
            )
        return found

    def gather(self, folder: Path, name: str, plan: Round, tick: Tick) -> list[str]:
        """Gather and make the country; the report in lines.

        Raises
        ------
        BadInput, SourceUnavailable, Cancelled
            As `graylight.gather.gathering.gather`.
        """
        table = self.services(None)
        manners = replace(table.manners, connections=min(CONNECTIONS, table.manners.connections))
        with Gate(replace(table, manners=manners), self.store, offline=self.offline) as gate:
            found = gather(folder, plan.wanted, plan.kinds, gate, name=name, tick=tick)
        return [*tell_report(found.report, now()), check_rules(plan.wanted.date)]

    def close(self) -> None:
        """End what is open."""
        with self._lock:
            for one in self._basemaps.values():
                one.close()
            self._basemaps.clear()

"""Map tiles of open public services, shown under the plan when a person asks for them: one tile at a time, kept."""

from __future__ import annotations

import threading
import time
from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import NamedTuple

from graylight.country.folder import Country
from graylight.errors import BadInput, SourceUnavailable
from graylight.gather.gate import Checked, Gate, NotThere, Refused, Trouble, is_picture
from graylight.gather.gathering import check_real
from graylight.gather.services import Service, Services
from graylight.gather.store import Store
from graylight.gather.tiles import tile_range
from graylight.grid import Bounds

__all__ = ["DEEPEST", "SHEETS", "Basemap", "Picture", "Sheet", "sheets_for"]

DEEPEST = 16
"""The closest zoom that both services draw for the whole of the USA."""
CONNECTIONS = 4
"""Half of the most: a gathering may run meanwhile, and has the other half."""
TRIES, CONNECT_S, READ_S, WHOLE_S = 2, 4.0, 12.0, 30.0
"""A map waits less long than a gathering does."""
CALM_S = 30.0
"""After a service could not be had, this long only what is kept is shown: nobody waits for each tile anew."""
MOST_TILE = 2**20
PNG = b"\x89PNG"


class Sheet(NamedTuple):
    """One map: the service it comes from, and how it is called."""

    service: str
    words: str


SHEETS: Mapping[str, Sheet] = MappingProxyType(
    {
        "topo": Sheet("topo_tiles", "the public topographic map"),
        "imagery": Sheet("imagery_tiles", "public imagery"),
    }
)


class Picture(NamedTuple):
    """A tile: its bytes and their media type."""

    body: bytes
    media: str


def sheets_for(country: Country, services: Services) -> list[tuple[str, Sheet, Service]]:
    """The maps that can be shown for a country; none for an invented one, or where no service has any."""
    if country.invented:
        return []
    box = country.grid.lonlat_bounds()
    return [
        (name, sheet, services[sheet.service])
        for name, sheet in SHEETS.items()
        if services[sheet.service].covers(box)
    ]


class Basemap:
    """Asks for tiles, or takes them from the store.

    Parameters
    ----------
    services
        The table; its manners are kept, with fewer connections and tries.
    store
        Where tiles are kept: with them the map is there without a network, too.
    offline
        Show only what is kept.
    """

    def __init__(self, services: Services, store: Store, *, offline: bool = False) -> None:
        manners = services.manners
        polite = replace(
            manners, connections=min(CONNECTIONS, manners.connections), tries=min(TRIES, manners.tries),
            connect_s=min(CONNECT_S, manners.connect_s), read_s=min(READ_S, manners.read_s),
            whole_s=min(WHOLE_S, manners.whole_s),
        )  # fmt: skip
        self.services = replace(services, manners=polite)
        self._asking = Gate(self.services, store, offline=offline)
        self._kept = Gate(self.services, store, offline=True)
        self._calm: dict[str, float] = {}
        self._lock = threading.Lock()

    def close(self) -> None:
        """End the connections."""
        for gate in (self._asking, self._kept):
            gate.stopped.set()
            gate.__exit__()

    def tile(self, country: Country, name: str, at: tuple[int, int, int]) -> Picture:
        """A tile over a country.

        Parameters
        ----------
        country
            Where it must lie: this is no way to the rest of the map.
        name
            One of `SHEETS`.
        at
            Zoom, column and row from the north.

        Raises
        ------
        BadInput
            The country is invented, or no such map is there for it.
        NotThere
            The tile lies off the country, or the service has none there.
        SourceUnavailable
            The service could not be had, and the tile is not kept.
        """
        service = self._service(country, name)
        zoom, col, row = at
        if zoom > DEEPEST or not _meets(country.grid.lonlat_bounds(), at):
            raise NotThere(f"the tile {zoom}/{col}/{row} lies off the country, or closer than zoom {DEEPEST}")
        gate = self._kept if self._is_calm(service.key) else self._asking
        try:
            answer = gate.ask(service, service.url.format(z=zoom, x=col, y=row), check=_checked(service))
        except (NotThere, Refused):
            raise
        except SourceUnavailable:
            with self._lock:
                self._calm[service.key] = time.monotonic() + CALM_S
            raise
        return Picture(answer.body, "image/png" if answer.body.startswith(PNG) else "image/jpeg")

    def _service(self, country: Country, name: str) -> Service:
        check_real(country)
        there = {one: service for one, _, service in sheets_for(country, self.services)}
        if name not in there:
            known = ", ".join(there) or "none: the services have the USA alone"
            raise BadInput(
                f"no public map {name!r} is known for this country; accepted: {known}; choose another"
            )
        return there[name]

    def _is_calm(self, key: str) -> bool:
        with self._lock:
            return time.monotonic() < self._calm.get(key, 0.0)


def _checked(service: Service) -> Checked:
    def check(body: bytes) -> None:
        if not is_picture(body) or len(body) > MOST_TILE:
            raise Trouble(f"{service.title} sent something that is no tile")

    return check


def _meets(box: Bounds, at: tuple[int, int, int]) -> bool:
    """Whether a tile lies over a box of degrees."""
    zoom, col, row = at
    cols, rows = tile_range(box, zoom)
    return col in cols and row in rows

"""What is gathered, in which order the services are asked for it, and how many bytes that will be, about."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from difflib import get_close_matches

from graylight.errors import BadInput
from graylight.gather.apron import apron_tiles, around_in_degrees, glo90
from graylight.gather.canopy import canopy_tiles
from graylight.gather.cover import nlcd, worldcover
from graylight.gather.elevation import FINE_BELOW_M, degrees_of, glo30, terrain_tiles, three_dep, three_dep_1m
from graylight.gather.errand import Client
from graylight.gather.forecast import nws
from graylight.gather.greenness import sentinel
from graylight.gather.holdings import blm, padus
from graylight.gather.imagery import CLOSEUP_CELL_M, closeup_tiles, closeups, imagery_tiles, naip
from graylight.gather.names import gnis
from graylight.gather.services import Service, Services
from graylight.gather.tiles import tile_range
from graylight.gather.wanted import CLOSEUP_M, Wanted
from graylight.gather.ways import overpass
from graylight.grid import Bounds

__all__ = ["KINDS", "Expected", "Kind", "chosen", "expected", "services_for"]

HEAD_BYTES = 65536
THIRD_SECOND_DEG = 1 / 10800
SECOND_DEG = 1 / 3600
DEGREE_M = 111_320.0
WORLDCOVER_DEG = 1 / 12000


@dataclass(frozen=True, slots=True)
class Kind:
    """Something to gather.

    Parameters
    ----------
    name, words
        How it is called by the person, and told.
    clients
        Services with what asks them, the best first.
    every
        Ask all of them; else the next only where the one before fails.
    needed
        Without it there is no country.
    """

    name: str
    words: str
    clients: tuple[tuple[str, Client], ...]
    every: bool = False
    needed: bool = False


KINDS = (
    Kind("elevation", "elevation", (("three_dep", three_dep), ("glo30", glo30), ("terrain_tiles", terrain_tiles)),
         needed=True),
    Kind("apron", "heights around the country", (("glo90", glo90), ("terrain_tiles", apron_tiles))),
    Kind("cover", "land cover", (("worldcover", worldcover), ("nlcd", nlcd))),
    Kind("canopy", "canopy height and closure", (("canopy_tiles", canopy_tiles),)),
    Kind("imagery", "imagery (greenness and picture)",
         (("sentinel", sentinel), ("naip", naip), ("imagery_tiles", imagery_tiles))),
    Kind("ways", "trails, roads, trailheads and water", (("overpass", overpass),)),
    Kind("names", "names of places", (("gnis", gnis),)),
    Kind("ownership", "ownership and management", (("padus", padus), ("blm", blm)), every=True),
    Kind("forecast", "forecast", (("nws", nws),)),
    Kind("closeup", "close-up imagery", (("naip", closeups), ("imagery_tiles", closeup_tiles))),
)  # fmt: skip
_FINE = Kind("elevation", "elevation", (("three_dep_1m", three_dep_1m), *KINDS[0].clients), needed=True)


def chosen(only: str | None, without: str | None, wanted: Wanted) -> list[Kind]:
    """The kinds that the person wants.

    Raises
    ------
    BadInput
        A name that is not known, or no elevation.
    """
    keep = _named(only) if only is not None else [kind.name for kind in KINDS]
    drop = _named(without) if without is not None else []
    found = [kind for kind in KINDS if kind.name in keep and kind.name not in drop]
    if not wanted.closeups:
        found = [kind for kind in found if kind.name != "closeup"]
    fine = wanted.cell_m is not None and wanted.cell_m < FINE_BELOW_M
    return [_FINE if fine and kind.name == "elevation" else kind for kind in found]


def _named(text: str) -> list[str]:
    names = [name.strip().lower() for name in text.split(",") if name.strip()]
    known = [kind.name for kind in KINDS]
    for name in names:
        if name not in known:
            near = get_close_matches(name, known, n=1)
            hint = f"did you mean {near[0]!r}?" if near else "leave it out"
            raise BadInput(f"no source is called {name!r}; accepted are {', '.join(known)}; {hint}")
    return names


def services_for(kind: Kind, services: Services, wanted: Wanted) -> list[tuple[Service, Client]]:
    """Services worth asking for a kind on this ground, the best first."""
    box = wanted.reach()
    return [(services[key], client) for key, client in kind.clients if services[key].covers(box)]


@dataclass(frozen=True, slots=True)
class Expected:
    """What will be asked: of whom, and how many bytes, about; service None: nobody has it here."""

    kind: Kind
    service: Service | None
    size: int


def expected(kinds: Sequence[Kind], services: Services, wanted: Wanted) -> list[Expected]:
    """An estimate, without the network: what from where, and how many bytes if the first service answers."""
    found = []
    for kind in kinds:
        asked = services_for(kind, services, wanted)
        if not asked:
            found.append(Expected(kind, None, 0))
        for service, _ in asked if kind.every else asked[:1]:
            found.append(Expected(kind, service, round(_SIZES[service.key, kind.name](service, wanted))))
    return found


_Size = Callable[[Service, Wanted], float]


def _degrees(cell_deg: float, bands: float = 1.0) -> _Size:
    """For a raster in degrees."""

    def size(service: Service, wanted: Wanted) -> float:
        return bands * _cells(wanted.reach(), cell_deg, wanted.fine_m, service)

    return size


def _cells(box: Bounds, cell_deg: float, fine_m: float, service: Service) -> float:
    """Bytes of a box of degrees in the coarsest overview whose cells are at most so large."""
    level = max(0, math.floor(math.log2(max(1.0, fine_m / (cell_deg * DEGREE_M)))))
    cell = cell_deg * 2.0**level
    cells = _in_blocks((box.east - box.west) / cell, (box.north - box.south) / cell, service)
    return cells * float(service.more["bytes_a_cell"]) + len(degrees_of(box)) * HEAD_BYTES


def _in_blocks(cols: float, rows: float, service: Service) -> float:
    """Cells of the blocks that a window touches, on the average: n cells touch n / B + 1 blocks of B each way.

    A service that cuts the window out itself has no blocks.
    """
    block = float(service.more.get("block", 0.0))
    return (cols + block) * (rows + block)


def _metres(cell_m: Callable[[Wanted], float], bands: Callable[[Service], float] = lambda _: 1.0) -> _Size:
    """For a raster in metres."""

    def size(service: Service, wanted: Wanted) -> float:
        side = math.sqrt(wanted.area_m2) / cell_m(wanted)
        cells = _in_blocks(side, side, service)
        return cells * bands(service) * float(service.more["bytes_a_cell"]) + HEAD_BYTES

    return size


def _tiles(zoom: str) -> _Size:
    def size(service: Service, wanted: Wanted) -> float:
        cols, rows = tile_range(wanted.reach(), int(service.more[zoom]))
        return len(cols) * len(rows) * float(service.more["bytes_a_tile"])

    return size


def _apron(service: Service, wanted: Wanted) -> float:
    return _cells(around_in_degrees(wanted), 3 * SECOND_DEG, 3 * SECOND_DEG * DEGREE_M, service)


def _apron_tiles(service: Service, wanted: Wanted) -> float:
    cols, rows = tile_range(around_in_degrees(wanted), int(service.more["apron_zoom"]))
    return len(cols) * len(rows) * float(service.more["bytes_a_tile"])


def _area(service: Service, wanted: Wanted) -> float:
    return wanted.area_m2 / 1e6 * float(service.more["bytes_a_km2"])


def _canopy_cell_m(wanted: Wanted) -> float:
    """The overview that will be read: cells of 1.2 m doubled while at most a third of the country's."""
    finest = 1.2
    times = math.log2(max(1.0, wanted.fine_m / 3.0 / finest))
    return finest * 2.0 ** math.floor(times)


def _closeups(service: Service, wanted: Wanted) -> float:
    return len(wanted.closeups) * (CLOSEUP_M / CLOSEUP_CELL_M) ** 2 * float(service.more["bytes_a_cell"])


def _closeup_tiles(service: Service, wanted: Wanted) -> float:
    tile_m = 256 * 1.9  # zoom 16 at middle latitudes
    return len(wanted.closeups) * (CLOSEUP_M / tile_m + 1) ** 2 * float(service.more["bytes_a_tile"])


def _sentinel_bands(service: Service) -> float:
    """Four bands and the classes (a quarter of the cells) of half of the most scenes."""
    return 4.25 * max(1.0, float(service.more["scenes"]) / 2)


_SIZES: dict[tuple[str, str], _Size] = {
    ("three_dep", "elevation"): _degrees(THIRD_SECOND_DEG),
    ("three_dep_1m", "elevation"): _metres(lambda w: max(1.0, w.fine_m / 2)),
    ("glo30", "elevation"): _degrees(SECOND_DEG),
    ("terrain_tiles", "elevation"): _tiles("zoom"),
    ("glo90", "apron"): _apron,
    ("terrain_tiles", "apron"): _apron_tiles,
    ("worldcover", "cover"): _degrees(WORLDCOVER_DEG),
    ("nlcd", "cover"): _metres(lambda _: 30.0),
    ("canopy_tiles", "canopy"): _metres(_canopy_cell_m),
    ("sentinel", "imagery"): _metres(lambda w: max(10.0, w.fine_m / 2), _sentinel_bands),
    ("naip", "imagery"): _metres(lambda w: w.fine_m),
    ("imagery_tiles", "imagery"): _tiles("zoom"),
    ("overpass", "ways"): _area,
    ("gnis", "names"): lambda service, _: float(service.more["bytes_a_state"]),
    ("padus", "ownership"): _area,
    ("blm", "ownership"): _area,
    ("nws", "forecast"): lambda service, _: float(service.more["bytes_a_forecast"]),
    ("naip", "closeup"): _closeups,
    ("imagery_tiles", "closeup"): _closeup_tiles,
}

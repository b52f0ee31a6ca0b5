"""A packet made: everything worked out first, then written below the country's packet/ folder, file by file whole."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from graylight.country.folder import Country
from graylight.exchange.geojson import write_geojson
from graylight.exchange.gpx import write_gpx
from graylight.exchange.marks import heading, reminder
from graylight.packet.asked import Asked
from graylight.packet.contents import Contents, gathered
from graylight.packet.document import PAPERS, set_pages
from graylight.packet.geopackage import geopackage
from graylight.packet.georeference import georeferenced, single_maps
from graylight.packet.kmz import kmz
from graylight.packet.listing import ENDINGS, FOLDER, LIST, kept_list
from graylight.packet.page import page_of
from graylight.packet.screen_map import screen_frame, screen_map
from graylight.packet.sharing import shared_files
from graylight.packet.strips import draw_strip
from graylight.packet.tile_files import mbtiles, pmtiles
from graylight.packet.tiles import draw_tiles
from graylight.packet.words import title_of
from graylight.plan.keeping import plan_text
from graylight.plan.model import Plan
from graylight.work import Tick, part, silent, spread

__all__ = ["Packet", "make_packet"]

SCREEN_PX, SCREEN_UNIT = 1760, 0.62

Part = dict[str, bytes]


@dataclass(frozen=True, slots=True)
class Packet:
    """A packet as written: its files, in the order in which they are of use."""

    folder: Path
    names: tuple[str, ...]

    @property
    def paths(self) -> list[Path]:
        """Where the files lie."""
        return [self.folder / name for name in self.names]


def make_packet(
    country: Country, kept: Plan, asked: Asked, *, share: bool = False, tick: Tick = silent
) -> Packet:
    """Make a packet and write it.

    Parameters
    ----------
    country
        Opened; set as the plan was made (its animal and date).
    kept
        The plan kept in it; it must belong together with the layers kept.
    asked
        From `graylight.packet.asked.understood`.
    share
        Only what may be shown to others, below packet/share/; what else lies in packet/ stays.

    Raises
    ------
    BadInput
        The folder can't be written to. Nothing is written before all is worked out.
    """
    country.check_writable()
    contents = gathered(country, kept, asked, tick=part(tick, 0.0, 0.45))
    files = _shared(contents) if share else _files(contents, part(tick, 0.45, 0.95))
    names = _written(country, files, share=share)
    tick(1.0)
    return Packet(country.folder / FOLDER, names)


def _shared(contents: Contents) -> Part:
    strips = {
        sit.lookout.id: draw_strip(contents.looking, sit.lookout, named=False).png for sit in contents.sits
    }
    return shared_files(contents, strips)


def _files(contents: Contents, tick: Tick) -> Part:
    """All files of a packet, by name below its folder."""
    makers: list[Callable[[Contents], Part]] = [
        _tiles,
        _screen,
        partial(_pages, paper="letter"),
        partial(_pages, paper="a4"),
        _open,
    ]
    found: dict[int, Part] = {}

    def make(number: int) -> None:
        found[number] = makers[number](contents)

    spread([partial(make, number) for number in range(len(makers))], tick=tick)
    files = {name: data for number in sorted(found) for name, data in found[number].items()}
    return {name: files[name] for name in sorted(files, key=_rank)}


def _rank(name: str) -> tuple[int, str]:
    """What is reached for first comes first."""
    inner = 1 if "/" in name else 0
    return inner * len(ENDINGS) + ENDINGS.index("." + name.rsplit(".", 1)[1]), name


def _pages(contents: Contents, *, paper: str) -> Part:
    pages = set_pages(contents, paper)
    sheets = {"overview": contents.whole.sheet, **{sit.lookout.id: sit.map.sheet for sit in contents.sits}}
    title = title_of(contents)
    whole = georeferenced(pages, sheets, title=title)
    found = {f"packet-{paper}.pdf": whole}
    if paper == next(iter(PAPERS)):
        single = single_maps(whole, pages.maps, title=title)
        found |= {f"maps/{name}.pdf": data for name, data in single.items()}
    return found


def _tiles(contents: Contents) -> Part:
    tiles = draw_tiles(contents.data, contents.plan, units=contents.country.settings.units)
    name, words = heading(contents.plan), reminder(contents.plan)
    return {
        "map.mbtiles": mbtiles(tiles, name=name, words=words), "map.pmtiles": pmtiles(tiles, name=name, words=words)
    }  # fmt: skip


def _screen(contents: Contents) -> Part:
    frame = screen_frame(contents.country.grid, SCREEN_PX)
    picture = screen_map(
        contents.data, contents.plan, frame, units=contents.country.settings.units, unit=SCREEN_UNIT
    )
    return {"packet.html": page_of(contents, picture, frame), "plan.kmz": kmz(contents.plan, picture, frame)}


def _open(contents: Contents) -> Part:
    plan = contents.plan
    mornings = {
        f"mornings/{sit.lookout.id}.json": (sit.morning.model_dump_json(indent=1) + "\n").encode()
        for sit in contents.sits
        if sit.morning is not None
    }
    return {
        "plan.gpx": write_gpx(plan).encode(), "plan.geojson": write_geojson(plan).encode(),
        "plan.gpkg": geopackage(plan, date=contents.asked.date.isoformat()), "plan.json": plan_text(plan).encode(), **mornings,
    }  # fmt: skip


def _written(country: Country, files: Part, *, share: bool) -> tuple[str, ...]:
    """Write the files, then the list of them, then take away what an earlier packet wrote and this one has not."""
    before = kept_list(country)
    kept = {name: facts for name, facts in before.items() if name.startswith("share/") != share}
    for name, data in files.items():
        country.write_bytes(f"{FOLDER}/{name}", data)
    listed = {
        name: {"bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()} for name, data in files.items()
    }
    country.write_text(LIST, json.dumps({"files": {**kept, **listed}}, indent=1, ensure_ascii=False) + "\n")
    for name in before.keys() - kept.keys() - listed.keys():
        country.remove(f"{FOLDER}/{name}")
    return tuple(files)

"""The files of the packet that was made last: their names, sizes, and what each is for."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from pathlib import PurePosixPath

from graylight.country.folder import Country
from graylight.errors import BadInput

__all__ = ["ENDINGS", "FOLDER", "LIST", "PacketFile", "kept_list", "packet_files", "read_packet_file"]

FOLDER = "packet"
LIST = f"{FOLDER}/contents.json"
"""What the last packet wrote: the names, sizes and fingerprints of its files."""
_WORDS = {
    "packet-letter.pdf": "the paper, US Letter",
    "packet-a4.pdf": "the paper, A4",
    "packet.html": "one page for the telephone; opens from storage, without a network",
    "plan.gpx": "marks and ways for a receiver",
    "plan.kmz": "the drawn map and the marks, to be laid over the ground",
    "plan.gpkg": "everything as tables, for map programs",
    "plan.geojson": "the marks, for programs",
    "plan.json": "the plan, for programs",
    "map.mbtiles": "the drawn map as tiles",
    "map.pmtiles": "the drawn map as tiles",
}
_FOLDERS = {
    "maps": "a map that tells where one stands, a page of its own",
    "mornings": "a morning, for programs",
}
_SHARED = "share"
ENDINGS = (".pdf", ".html", ".gpx", ".kmz", ".gpkg", ".geojson", ".mbtiles", ".pmtiles", ".json", ".jpg")
"""Kinds of files that a packet holds."""


@dataclass(frozen=True, slots=True)
class PacketFile:
    """A file of the packet: its name below the folder, its size, and what it is."""

    name: str
    size: int
    words: str


def kept_list(country: Country) -> dict[str, dict[str, object]]:
    """What the list of an earlier packet names; nothing where there is none or it can't be read.

    A list may have come with a country from elsewhere: names that lead out of the packet are not believed.
    """
    try:
        found = json.loads(country.read_text(LIST) or "{}")["files"]
        return {str(name): dict(facts) for name, facts in found.items() if _plain(str(name))}
    except (ValueError, KeyError, TypeError, AttributeError):
        return {}


def _plain(name: str) -> bool:
    """Whether a name stays below the packet's folder, and is of a kind that a packet holds."""
    parts = PurePosixPath(name).parts
    below = bool(parts) and not {"..", "/"} & set(parts) and not re.search(r"[\\:\x00]", name)
    return below and f".{name.rsplit('.', 1)[-1]}" in ENDINGS


def packet_files(country: Country) -> list[PacketFile]:
    """The files of the last packet that are still there, in the order in which they are of use."""
    found = []
    for name in kept_list(country):
        path = country.folder / FOLDER / name
        if _inside(country, name) and path.is_file():
            found.append(PacketFile(name, path.stat().st_size, _words(name)))
    return found


def read_packet_file(country: Country, name: str) -> bytes:
    """The bytes of a file that the listing names, and of no other.

    Raises
    ------
    BadInput
        The packet has no such file.
    """
    if name not in {one.name for one in packet_files(country)}:
        raise BadInput(f"the packet has no file {name!r}; accepted are those that it lists; make it first")
    return (country.folder / FOLDER / name).read_bytes()


def _inside(country: Country, name: str) -> bool:
    """Whether a listed name still lies below the folder when links are followed."""
    home = (country.folder / FOLDER).resolve()
    return (home / name).resolve().is_relative_to(home)


def _words(name: str) -> str:
    head, _, rest = name.partition("/")
    if head == _SHARED and rest:
        return "to show to others: no places, no names, no date"
    if rest:
        return _FOLDERS.get(head, "")
    return _WORDS.get(name, "")

"""A remote raster held in part: a local file of the same size in which only the bytes that were needed are filled in.

What is held is written down after the bytes are on the disk, so a killed run goes on where it stopped. GDAL's own reading
over HTTP is not used: through it requests can't be counted, kept, held to a number of connections or told apart when they
fail.
"""

from __future__ import annotations

import datetime as dt
import json
import os
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit, urlunsplit

from graylight.country.atomic import write_bytes
from graylight.gather.gate import Expired, Gate, NotThere
from graylight.gather.services import Service
from graylight.gather.store import now, request_key, room_for
from graylight.gather.tiff import Directory, directories

__all__ = ["Twin"]

HEAD = 16384
"""Read first: most cloud-optimised files have their directories in it."""
AHEAD = 16384
"""Read at least, where a directory lies beyond the head."""
BRIDGED = 4096
"""Blocks with less than this between them are asked for in one request."""
ABSENT_DAYS = 30
"""So long it is not asked again for a file that was not there."""
AT_ONCE = 8 * 2**20
"""At most so many bytes a request, so that a stop or a cut costs little."""


@dataclass
class Twin:
    """A raster held in part.

    Parameters
    ----------
    gate, service, url
        Where the rest is had.
    path
        The local file; beside it its sidecar.
    """

    gate: Gate
    service: Service
    url: str
    path: Path = field(init=False)
    whole: int = 0
    version: str = ""
    fetched: str = ""
    changed: str | None = None
    absent: str = ""
    """When the service said that it has no such file; empty: it did not."""
    held: list[tuple[int, int]] = field(default_factory=list)
    _directories: list[Directory] = field(default_factory=list)

    def __post_init__(self) -> None:
        # a signature in the address changes with time; the file is the same
        plain = urlunsplit(urlsplit(self.url)._replace(query="", fragment=""))
        self.path = self.gate.store.raster(request_key("RANGES", plain))
        self._recall()

    @property
    def _side(self) -> Path:
        return self.path.with_suffix(".json")

    def _recall(self) -> None:
        """What an earlier run has had."""
        try:
            facts = json.loads(self._side.read_text(encoding="utf-8"))
            self.absent = self._still(str(facts.get("absent", "")))
            held = [(int(a), int(b)) for a, b in facts["held"]]
            whole, version, fetched = int(facts["whole"]), str(facts["version"]), str(facts["fetched"])
            if self.path.stat().st_size != whole:
                return
        except (OSError, ValueError, KeyError, TypeError):
            return
        self.whole, self.version, self.fetched, self.held = whole, version, fetched, held
        self.changed = facts.get("changed")

    def _still(self, absent: str) -> str:
        """The day of a "no such file" that is believed still: for a month, or as long as nobody can be asked."""
        if not absent or self.gate.again:
            return ""
        young = (now() - dt.datetime.fromisoformat(absent)).days < ABSENT_DAYS
        return absent if young or self.gate.offline else ""

    def _remember(self) -> None:
        facts: dict[str, Any] = {
            "url": urlunsplit(urlsplit(self.url)._replace(query="", fragment="")),
            "whole": self.whole, "version": self.version, "fetched": self.fetched, "changed": self.changed, "absent": self.absent,
            "licence": self.service.licence, "credit": self.service.credit, "held": self.held,
        }  # fmt: skip
        with room_for(self.path.parent):
            write_bytes(self._side, (json.dumps(facts, ensure_ascii=False) + "\n").encode())

    def directories(self) -> list[Directory]:
        """The file's directories, had if need be.

        Raises
        ------
        SourceUnavailable
            They can't be had, or it is no TIFF.
        """
        if not self._directories:
            self.have([(0, HEAD)])
            self._directories = directories(self._read)
        return self._directories

    def have(self, ranges: list[tuple[int, int]]) -> None:
        """Fill in ranges of bytes that are not held yet."""
        for start, end in _joined(_missing(ranges, self.held, self.whole)):
            for first in range(start, end, AT_ONCE):
                self._fetch(first, min(end, first + AT_ONCE))

    def have_window(self, level: Directory, rows: tuple[int, int], cols: tuple[int, int]) -> None:
        """Fill in the blocks of a window of one of the directories, and of its mask."""
        alike = [
            d for d in self.directories() if d.mask and (d.width, d.height) == (level.width, level.height)
        ]
        self.have([b for d in (level, *alike) for b in d.blocks(rows, cols)])

    def _read(self, start: int, size: int) -> bytes:
        if _missing([(start, start + size)], self.held, self.whole):
            self.have([(start, start + max(size, AHEAD))])
        with self.path.open("rb") as file:
            file.seek(start)
            return file.read(size)

    def _fetch(self, start: int, end: int) -> None:
        if self.absent:
            raise NotThere(f"{self.service.title} has nothing at {self.url}")
        try:
            piece = self.gate.piece(self.service, self.url, start, end)
        except NotThere:
            self.absent = now().isoformat()
            self._remember()
            raise
        if (self.whole, self.version) != (piece.whole, piece.version):
            if self.held:
                self._forget()
                raise Expired(f"{self.service.title}: {self.path.name} has changed there since it was begun")
            self.whole, self.version, self.changed = piece.whole, piece.version, piece.changed
        with room_for(self.path.parent):
            self._fill(start, piece.data)
        self.held = _merged([*self.held, (start, start + len(piece.data))])
        self.fetched = now().isoformat()
        self._remember()

    def _fill(self, start: int, data: bytes) -> None:
        flags = os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0)
        handle = os.open(self.path, flags, 0o644)
        try:
            os.truncate(handle, self.whole) if os.fstat(handle).st_size != self.whole else None
            os.lseek(handle, start, os.SEEK_SET)
            view = memoryview(data)
            while view:
                view = view[os.write(handle, view) :]
            os.fsync(handle)
        finally:
            os.close(handle)

    def _forget(self) -> None:
        self._side.unlink(missing_ok=True)
        self.path.unlink(missing_ok=True)
        self.held, self._directories, self.whole, self.version = [], [], 0, ""


def _merged(ranges: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """The same bytes in as few ranges as can be, in order.

    >>> _merged([(5, 9), (0, 3), (3, 5), (20, 21)])
    [(0, 9), (20, 21)]
    """
    found: list[tuple[int, int]] = []
    for start, end in sorted(ranges):
        if found and start <= found[-1][1]:
            found[-1] = (found[-1][0], max(end, found[-1][1]))
        else:
            found.append((start, end))
    return found


def _missing(ranges: list[tuple[int, int]], held: list[tuple[int, int]], whole: int) -> list[tuple[int, int]]:
    """What of the ranges is not held; nothing beyond the file's end, where that is known.

    >>> _missing([(0, 10)], [(2, 4), (6, 7)], 9)
    [(0, 2), (4, 6), (7, 9)]
    """
    lacking = []
    for start, end in _merged(ranges):
        at, stop = start, min(end, whole) if whole else end
        for a, b in held:
            if b <= at or a >= stop:
                continue
            if a > at:
                lacking.append((at, a))
            at = b
        if at < stop:
            lacking.append((at, stop))
    return lacking


def _joined(ranges: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Ranges that lie near each other made one: fewer requests for a few more bytes.

    >>> _joined([(0, 10), (18, 30), (9000, 9001)])
    [(0, 30), (9000, 9001)]
    """
    found: list[tuple[int, int]] = []
    for start, end in ranges:
        if found and start - found[-1][1] <= BRIDGED:
            found[-1] = (found[-1][0], end)
        else:
            found.append((start, end))
    return found

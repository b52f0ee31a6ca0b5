"""Packed files from outside: looked over before a byte is unpacked, and read only as far as they may grow.

One defence for all that is handed over, by a page or at the command. It writes nothing: whoever unpacks chooses the paths.
"""

from __future__ import annotations

import re
import stat
import zipfile
import zlib
from collections.abc import Generator, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import NamedTuple, Protocol

__all__ = ["SIGNATURE", "BadArchive", "Packed", "Readable", "packed"]

SIGNATURE = b"PK\x03\x04"
MOST_TIMES = 200
"""A packed file that grows more often than this is taken for a bomb. DEFLATE reaches 1032; maps stay far below. Proposed."""
SMALL = 16 * 2**20
"""Below this size how often a file grows does not matter."""
_DAMAGE = (
    zipfile.BadZipFile, zipfile.LargeZipFile, NotImplementedError, RuntimeError, EOFError, OSError, ValueError, zlib.error,
)  # fmt: skip


class BadArchive(Exception):
    """Why an archive is not opened, or not read on: a clause that goes on after its name and a colon."""


class Readable(Protocol):
    """Anything that bytes are read from."""

    def read(self, size: int, /) -> bytes:
        """At most so many bytes; none at the end."""


class Packed(NamedTuple):
    """A file of an archive: what it is called in there, and what it holds."""

    name: str
    stream: Readable


@contextmanager
def packed(path: Path, *, most_files: int, most_bytes: int) -> Iterator[Iterator[Packed]]:
    """The files of an archive, one after the other.

    Parameters
    ----------
    path
        The archive.
    most_files, most_bytes
        Refused from the start where it tells of more; while it is read, where more comes out than it told.

    Raises
    ------
    BadArchive
        It is damaged or locked, holds a link or a name that leads out of it, or grows to more than it may. Errors of whoever
        writes what is read pass unchanged.
    """
    try:
        archive = zipfile.ZipFile(path)
    except _DAMAGE:
        raise _damaged() from None
    with archive:
        entries = [entry for entry in archive.infolist() if not entry.is_dir()]
        _look_over(entries, path.stat().st_size, most_files, most_bytes)
        with closing(_each(archive, entries, most_bytes)) as files:
            yield files


def _each(
    archive: zipfile.ZipFile, entries: list[zipfile.ZipInfo], most_bytes: int
) -> Generator[Packed, None, None]:
    left = [most_bytes]
    for entry in entries:
        try:
            stream = archive.open(entry)
        except _DAMAGE:
            raise _damaged() from None
        with stream:
            most = max(SMALL, entry.compress_size * MOST_TIMES)
            yield Packed(entry.filename, _Bounded(stream, most, left))


class _Bounded:
    """A stream that ends the work where more comes out than may, whatever the archive told of its size."""

    def __init__(self, stream: Readable, most: int, left: list[int]) -> None:
        self._stream, self._most, self._left = stream, most, left

    def read(self, size: int, /) -> bytes:
        """Some more bytes."""
        try:
            data = self._stream.read(size)
        except _DAMAGE:
            raise _damaged() from None
        self._most -= len(data)
        self._left[0] -= len(data)
        if self._most < 0 or self._left[0] < 0:
            raise BadArchive(
                f"it grows to more than {MOST_TIMES} times its size, or than there is room for, when unpacked"
            )
        return data


def _damaged() -> BadArchive:
    return BadArchive("it is damaged, locked, or packed in a way that can't be unpacked")


def _look_over(entries: list[zipfile.ZipInfo], size: int, most_files: int, most_bytes: int) -> None:
    """Refuse what would do harm before a byte is unpacked."""
    if len(entries) > most_files:
        raise BadArchive(f"it holds {len(entries):,} files; accepted are {most_files:,}")
    for entry in entries:
        _look_at(entry)
    total = sum(entry.file_size for entry in entries)
    if total > most_bytes or (total > SMALL and total > MOST_TIMES * max(1, size)):
        raise BadArchive(
            f"it grows too much: {size:,} bytes would unpack to {total:,}; accepted are {MOST_TIMES} times as many, up to "
            f"{most_bytes:,}"
        )


def _look_at(entry: zipfile.ZipInfo) -> None:
    """See that an entry is a plain file that stays where it is put."""
    parts = re.split(r"[/\\]", entry.filename)
    called = "".join(c if c.isprintable() else "?" for c in entry.filename[:60])
    if ".." in parts or not parts[0] or ":" in parts[0] or "\x00" in entry.orig_filename:
        raise BadArchive(f"a name in it leads out: it would write outside its folder ({called!r})")
    if stat.S_ISLNK(entry.external_attr >> 16):
        raise BadArchive(f"it holds a link to another place ({called!r})")
    if entry.flag_bits & 1:
        raise BadArchive("it is locked by a password")

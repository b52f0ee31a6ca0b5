"""Where things lie inside a TIFF: its directories and blocks, so that only the blocks needed are asked for.

TIFF 6.0 (Adobe 1992) and BigTIFF (https://bigtiff.org). Pixels are not decoded here; rasterio does that.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from graylight.gather.gate import Refused

__all__ = ["Directory", "directories"]

Read = Callable[[int, int], bytes]
"""Bytes of the file: offset, size."""

SIZES = {
    1: 1,
    2: 1,
    3: 2,
    4: 4,
    5: 8,
    6: 1,
    7: 1,
    8: 2,
    9: 4,
    10: 8,
    11: 4,
    12: 8,
    13: 4,
    16: 8,
    17: 8,
    18: 8,
}
CODES = {1: "B", 3: "H", 4: "I", 16: "Q", 13: "I", 18: "Q"}
SUBFILE, WIDTH, HEIGHT, SAMPLES, PLANAR, ROWS_PER_STRIP = 254, 256, 257, 277, 284, 278
STRIP_OFFSETS, STRIP_COUNTS, TILE_WIDTH, TILE_HEIGHT, TILE_OFFSETS, TILE_COUNTS = 273, 279, 322, 323, 324, 325
MOST_DIRECTORIES = 64
MOST_ENTRIES = 512
MOST_VALUES = 64 * 2**20


@dataclass(frozen=True, slots=True)
class Directory:
    """One image in a TIFF: the full one, an overview, or a mask.

    Parameters
    ----------
    width, height
        Cells.
    block_width, block_height
        Cells of a tile, or of a strip.
    bands
        Samples a cell.
    apart
        Whether the bands lie in blocks of their own.
    reduced, mask
        An overview; a mask.
    offsets, sizes
        Of the blocks, row by row, in bytes.
    """

    width: int
    height: int
    block_width: int
    block_height: int
    bands: int
    apart: bool
    reduced: bool
    mask: bool
    offsets: tuple[int, ...]
    sizes: tuple[int, ...]

    def blocks(self, rows: tuple[int, int], cols: tuple[int, int]) -> Iterator[tuple[int, int]]:
        """(start, end) in bytes of the blocks that hold rows and columns first to end (not included)."""
        across = -(-self.width // self.block_width)
        down = -(-self.height // self.block_height)
        for plane in range(self.bands if self.apart else 1):
            for r in range(rows[0] // self.block_height, -(-rows[1] // self.block_height)):
                for c in range(cols[0] // self.block_width, -(-cols[1] // self.block_width)):
                    number = plane * across * down + r * across + c
                    if number < len(self.offsets) and self.sizes[number] > 0:
                        yield self.offsets[number], self.offsets[number] + self.sizes[number]


def directories(read: Read) -> list[Directory]:
    """All directories of a TIFF, in the file's order; everything that they point to but the blocks has then been read.

    Raises
    ------
    Refused
        It is no TIFF, or one that is damaged.
    """
    head = read(0, 16)
    order = {b"II": "<", b"MM": ">"}.get(head[:2])
    if order is None or len(head) < 16:
        raise _damaged("it does not begin as one")
    version = struct.unpack(order + "H", head[2:4])[0]
    if version not in (42, 43):
        raise _damaged(f"its version is {version}")
    big = version == 43
    at = struct.unpack(order + ("Q" if big else "I"), head[8:16] if big else head[4:8])[0]
    found: list[Directory] = []
    seen: set[int] = set()
    while at and at not in seen and len(found) < MOST_DIRECTORIES:
        seen.add(at)
        tags, at = _directory(read, at, order, big)
        found.append(_told(tags))
    if not found:
        raise _damaged("it has no directory")
    return found


def _damaged(why: str) -> Refused:
    return Refused(f"the file is no TIFF, or is damaged: {why}")


def _directory(read: Read, at: int, order: str, big: bool) -> tuple[dict[int, tuple[int, ...]], int]:
    """Tags with whole-number values, and where the next directory lies."""
    count_code, entry, inline = ("Q", 20, 8) if big else ("H", 12, 4)
    count_size = struct.calcsize(order + count_code)
    count = _unpack(order + count_code, read(at, count_size))[0]
    if count > MOST_ENTRIES:
        raise _damaged(f"a directory of {count} entries")
    size = count * entry + inline
    body = read(at + count_size, size)
    if len(body) < size:
        raise _damaged("a directory is cut short")
    tags = {}
    for i in range(count):
        piece = body[i * entry : (i + 1) * entry]
        tag, kind, many = _unpack(order + ("HHQ" if big else "HHI"), piece[: entry - inline])
        values = _values(read, piece[entry - inline :], kind, many, order=order, big=big)
        if values is not None:
            tags[tag] = values
    return tags, int(_unpack(order + ("Q" if big else "I"), body[count * entry :])[0])


def _values(
    read: Read, field: bytes, kind: int, many: int, *, order: str, big: bool
) -> tuple[int, ...] | None:
    """Values of an entry; those that lie elsewhere are read there, text and fractions too (a reader will want them)."""
    size = SIZES.get(kind, 1) * many
    if size > MOST_VALUES:
        raise _damaged(f"an entry of {size} bytes")
    if size > len(field):
        field = read(_unpack(order + ("Q" if big else "I"), field)[0], size)
    if kind not in CODES:
        return None
    return tuple(int(v) for v in _unpack(f"{order}{many}{CODES[kind]}", field[:size]))


def _unpack(form: str, data: bytes) -> tuple[Any, ...]:
    try:
        return struct.unpack(form, data)
    except struct.error:
        raise _damaged("it is cut short") from None


def _told(tags: dict[int, tuple[int, ...]]) -> Directory:
    try:
        width, height = tags[WIDTH][0], tags[HEIGHT][0]
        tiled = TILE_OFFSETS in tags
        offsets = tags[TILE_OFFSETS if tiled else STRIP_OFFSETS]
        sizes = tags[TILE_COUNTS if tiled else STRIP_COUNTS]
        block = (
            (tags[TILE_WIDTH][0], tags[TILE_HEIGHT][0])
            if tiled
            else (width, min(height, tags.get(ROWS_PER_STRIP, (height,))[0]))
        )
    except (KeyError, IndexError):
        raise _damaged("a directory lacks its size or its blocks") from None
    if min(width, height, *block) < 1 or len(offsets) != len(sizes):
        raise _damaged("sizes that can't be")
    kind = tags.get(SUBFILE, (0,))[0]
    return Directory(
        width, height, *block, bands=tags.get(SAMPLES, (1,))[0], apart=tags.get(PLANAR, (1,))[0] == 2,
        reduced=bool(kind & 1), mask=bool(kind & 4), offsets=offsets, sizes=sizes,
    )  # fmt: skip

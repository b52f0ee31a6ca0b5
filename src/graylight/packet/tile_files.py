"""Tiles in one file: MBTiles 1.3 (SQLite) and PMTiles 3 (one flat file), the same bytes for the same tiles."""

from __future__ import annotations

import gzip
import hashlib
import json
import sqlite3
import struct
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from graylight.packet.tiles import Tile, TileSet

__all__ = ["mbtiles", "pmtiles", "tile_id"]

_ROOT_MOST = 16_384 - 127
"""PMTiles 3: header and root directory lie in the first 16,384 bytes."""
_GZIP, _NONE, _JPEG = 2, 1, 3


def mbtiles(tiles: TileSet, *, name: str, words: str) -> bytes:
    """The tiles as MBTiles 1.3: rows count from the south."""
    middle, (least, most) = tiles.middle, tiles.zooms
    metadata = {
        "name": name, "format": "jpg", "bounds": ",".join(f"{v:.6f}" for v in tiles.bounds),
        "center": f"{middle[0]:.6f},{middle[1]:.6f},{most - 2 if most - 2 >= least else least}", "minzoom": str(least),
        "maxzoom": str(most), "type": "baselayer", "version": "1", "description": words,
    }  # fmt: skip
    rows = [(t.zoom, t.x, (1 << t.zoom) - 1 - t.y, t.data) for t in tiles.tiles]
    with tempfile.TemporaryDirectory() as scratch:
        path = Path(scratch) / "map.mbtiles"
        with sqlite3.connect(path) as base:
            base.execute("PRAGMA application_id = 0x4D504258")  # MBTiles 1.3, 'MPBX'
            base.execute("CREATE TABLE metadata (name text, value text)")
            base.execute(
                "CREATE TABLE tiles (zoom_level integer, tile_column integer, tile_row integer, tile_data blob)"
            )
            base.executemany("INSERT INTO metadata VALUES (?, ?)", metadata.items())
            base.executemany("INSERT INTO tiles VALUES (?, ?, ?, ?)", rows)
            base.execute("CREATE UNIQUE INDEX tile_index ON tiles (zoom_level, tile_column, tile_row)")
        base.close()
        return path.read_bytes()


@dataclass(frozen=True, slots=True)
class _Entry:
    tile_id: int
    offset: int
    length: int


def tile_id(zoom: int, x: int, y: int) -> int:
    """Place of a tile in the order of PMTiles 3: level by level, along a Hilbert curve.

    >>> [tile_id(0, 0, 0), tile_id(1, 0, 0), tile_id(1, 0, 1), tile_id(1, 1, 1), tile_id(1, 1, 0), tile_id(2, 0, 0)]
    [0, 1, 2, 3, 4, 5]
    """
    along, side = 0, (1 << zoom) >> 1
    while side > 0:
        right, down = int(x & side > 0), int(y & side > 0)
        along += side * side * ((3 * right) ^ down)
        if down == 0:
            if right == 1:
                x, y = side - 1 - (x & (side - 1)), side - 1 - (y & (side - 1))
            x, y = y, x
        side >>= 1
    return ((1 << (2 * zoom)) - 1) // 3 + along


def pmtiles(tiles: TileSet, *, name: str, words: str) -> bytes:
    """The tiles as PMTiles 3, clustered; equal tiles are kept once."""
    entries, body = _laid(tiles.tiles)
    root, leaves = _directories(entries)
    metadata = gzip.compress(
        json.dumps({"name": name, "description": words, "type": "baselayer"}).encode(), mtime=0
    )
    at = [127]
    for part in (root, metadata, leaves):
        at.append(at[-1] + len(part))
    counts = len(tiles.tiles), len(entries), len({e.offset for e in entries})
    header = _header(tiles, at, (len(root), len(metadata), len(leaves), len(body)), counts)
    return header + root + metadata + leaves + body


def _laid(tiles: Sequence[Tile]) -> tuple[list[_Entry], bytes]:
    """Entries in the order of their ids, and the tiles' bytes one after another."""
    entries, parts, known, end = [], [], dict[bytes, int](), 0
    for number, tile in sorted((tile_id(t.zoom, t.x, t.y), t) for t in tiles):
        mark = hashlib.sha256(tile.data).digest()
        if mark not in known:
            known[mark] = end
            parts.append(tile.data)
            end += len(tile.data)
        entries.append(_Entry(number, known[mark], len(tile.data)))
    return entries, b"".join(parts)


def _directories(entries: list[_Entry]) -> tuple[bytes, bytes]:
    """The root, and leaves where one directory would not find room in it."""
    root = _directory(entries, run=1)
    size = 2048
    leaves = b""
    while len(root) > _ROOT_MOST:
        found, parts, end = [], [], 0
        for first in range(0, len(entries), size):
            part = _directory(entries[first : first + size], run=1)
            found.append(_Entry(entries[first].tile_id, end, len(part)))
            parts.append(part)
            end += len(part)
        root, leaves, size = _directory(found, run=0), b"".join(parts), size * 2
    return root, leaves


def _directory(entries: list[_Entry], *, run: int) -> bytes:
    out = bytearray(_varint(len(entries)))
    last = 0
    for one in entries:
        out += _varint(one.tile_id - last)
        last = one.tile_id
    for _ in entries:
        out += _varint(run)
    for one in entries:
        out += _varint(one.length)
    after = None
    for one in entries:
        # 0: right behind the one before
        out += _varint(0 if one.offset == after else one.offset + 1)
        after = one.offset + one.length
    return gzip.compress(bytes(out), mtime=0)


def _varint(value: int) -> bytes:
    out = bytearray()
    while value >= 0x80:
        out.append(value & 0x7F | 0x80)
        value >>= 7
    out.append(value)
    return bytes(out)


def _header(
    tiles: TileSet, at: list[int], lengths: tuple[int, int, int, int], counts: tuple[int, int, int]
) -> bytes:
    root, metadata, leaves, body = lengths
    (least, most), box, middle = tiles.zooms, tiles.bounds, tiles.middle
    e7 = [round(v * 1e7) for v in box]
    return struct.pack(
        "<7sB11Q4B2B4iB2i", b"PMTiles", 3, at[0], root, at[1], metadata, at[2], leaves, at[3], body, *counts,
        1, _GZIP, _NONE, _JPEG, least, most, *e7, max(most - 2, least), round(middle[0] * 1e7), round(middle[1] * 1e7),
    )  # fmt: skip

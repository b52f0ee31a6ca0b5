"""Rasters of the real size and blocks that hold nothing but zeros: only what is asked of them is of interest.

A TIFF is written by hand (TIFF 6.0; GeoTIFF 1.1, OGC 19-008r4), its blocks uncompressed and in order, overviews before the
full resolution as in a cloud-optimised GeoTIFF; the file system keeps no zeros, so it takes no room.
"""

from __future__ import annotations

import math
import struct
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from pyproj import Transformer

from graylight.gather.sheet import read_window
from graylight.gather.wanted import Wanted, around
from graylight.grid import LonLat
from graylight.settings import Settings

Box = tuple[float, float, float, float]
"""West, south, east, north."""


def _quad(col: int, row: int, zoom: int) -> tuple[float, float]:
    """North-west corner of a tile of the web's common frame, metres."""
    half = 20037508.342789244
    side = 2 * half / 2**zoom
    return col * side - half, half - row * side


@dataclass(frozen=True)
class Shape:
    """Size in cells, block, bytes a cell, cell and north-west corner in the units of an EPSG code."""

    cells: int
    block: int
    item: int
    cell: float
    west: float
    north: float
    epsg: int
    floats: bool = False

    @property
    def geographic(self) -> bool:
        """Whether its cells are degrees."""
        return self.epsg in (4269, 4326)

    @property
    def levels(self) -> list[int]:
        """Cells a side of the full resolution and of its overviews, down to one block."""
        sides = [self.cells]
        while sides[-1] > self.block:
            sides.append(-(-sides[-1] // 2))
        return sides


FIVE_MILES = 8046.72
ARC_S = 1 / 3600
CANOPY = "canopy height"
SHAPES = {
    "3DEP 1/3 arc-second": Shape(
        10812, 512, 4, ARC_S / 3, -112 - 2 * ARC_S, 40 + 2 * ARC_S, 4269, floats=True
    ),
    "GLO-30": Shape(3600, 1024, 4, ARC_S, -112 - ARC_S / 2, 40 + ARC_S / 2, 4326, floats=True),
    "WorldCover": Shape(36000, 1024, 1, 1 / 12000, -114, 42, 4326),
    "Sentinel-2 band": Shape(10980, 1024, 2, 10.0, 399960, 4400040, 32612),
    CANOPY: Shape(32768, 256, 1, 40075016.685578488 / 1024 / 32768, *_quad(194, 390, 10), 3857),
}
"""Size of the real files and of their blocks. Blocks of GLO-30: a data set that was made of these files tells 1024 in its
description; the other blocks are from memory, or the usual ones of the writer."""


def write_hollow(path: Path, shape: Shape) -> Path:
    """Write the file; its bytes are `head + sum of the levels' blocks`."""
    path.parent.mkdir(parents=True, exist_ok=True)
    counts = [(-(-side // shape.block)) ** 2 for side in shape.levels]
    size = shape.block**2 * shape.item
    head = 8 + sum(2 + 18 * 12 + 4 + 200 + 8 * count for count in counts)
    at, starts = head, {}
    for number in range(len(counts) - 1, -1, -1):
        starts[number], at = at, at + counts[number] * size
    assert at < 2**32, "a classic TIFF"
    body = b""
    for number, count in enumerate(counts):
        place = 8 + len(body)
        last = number == len(counts) - 1
        body += _directory(shape, number, place, [starts[number] + i * size for i in range(count)], last)
    with path.open("wb") as out:
        out.write(b"II*\0" + struct.pack("<I", 8) + body)
        out.truncate(at)
    return path


def _directory(shape: Shape, number: int, place: int, offsets: list[int], last: bool) -> bytes:
    projected = not shape.geographic
    keys = [1, 1, 0, 3, 1024, 0, 1, 1 if projected else 2, 1025, 0, 1, 1,
            3072 if projected else 2048, 0, 1, shape.epsg]  # fmt: skip
    side = shape.levels[number]
    entries = [
        (254, 4, [int(number > 0)]), (256, 4, [side]), (257, 4, [side]), (258, 3, [8 * shape.item]), (259, 3, [1]),
        (262, 3, [1]), (277, 3, [1]), (322, 3, [shape.block]), (323, 3, [shape.block]), (324, 4, offsets),
        (325, 4, [shape.block**2 * shape.item] * len(offsets)), (339, 3, [3 if shape.floats else 1]),
    ]  # fmt: skip
    if number == 0:
        entries += [
            (33550, 12, [shape.cell, shape.cell, 0.0]),
            (33922, 12, [0.0, 0.0, 0.0, shape.west, shape.north, 0.0]), (34735, 3, keys),
        ]  # fmt: skip
    beside, lines = b"", b""
    after = place + 2 + 12 * len(entries) + 4
    for tag, kind, values in entries:
        data = struct.pack(f"<{len(values)}{ {3: 'H', 4: 'I', 12: 'd'}[kind] }", *values)
        if len(data) > 4:
            field, beside = struct.pack("<I", after + len(beside)), beside + data
        else:
            field = data.ljust(4, b"\0")
        lines += struct.pack("<HHI", tag, kind, len(values)) + field
    following = 0 if last else after + len(beside)
    return struct.pack("<H", len(entries)) + lines + struct.pack("<I", following) + beside


def least(shape: Shape, box: Box, level: int = 0) -> tuple[float, int]:
    """Bytes of a box of the file's own units: of its cells alone, and of all blocks that it touches."""
    cell, side = shape.cell * 2**level, shape.levels[level]
    west, south, east, north = box
    cols = max(0.0, (west - shape.west) / cell), min(side, (east - shape.west) / cell)
    rows = max(0.0, (shape.north - north) / cell), min(side, (shape.north - south) / cell)
    blocks = 1
    for first, last in (cols, rows):
        blocks *= math.ceil(last / shape.block) - math.floor(first / shape.block)
    cells = (cols[1] - cols[0]) * (rows[1] - rows[0])
    return cells * shape.item, blocks * shape.block**2 * shape.item


def spots(shape: Shape, count: int, *, seed: int, half_m: float = FIVE_MILES) -> list[tuple[float, float]]:
    """Longitude and latitude of places chosen by chance, with ground of so many metres around them inside the file."""
    back = Transformer.from_crs(shape.epsg, 4326, always_xy=True)
    metres = 111_320.0 if shape.geographic else 1.0
    # a third more: the box of a zone slants in the file's frame, and a degree of longitude is shorter
    edge = 1.8 * half_m / metres
    low, high = edge, shape.cells * shape.cell - edge
    at = np.random.default_rng(seed).uniform(low, high, (count, 2))
    return [back.transform(shape.west + x, shape.north - y) for x, y in at]


def box_of(ground: Wanted, epsg: int) -> Box:
    """The country's box in another frame, its sides followed in small steps."""
    west, south, east, north = ground.box_m
    t = np.linspace(0, 1, 200)
    x = np.concatenate([west + t * (east - west)] * 2 + [np.full(200, west), np.full(200, east)])
    y = np.concatenate([np.full(200, south), np.full(200, north)] + [south + t * (north - south)] * 2)
    to = Transformer.from_crs(ground.crs, f"EPSG:{epsg}", always_xy=True)
    x, y = to.transform(x, y)
    return x.min(), y.min(), x.max(), y.max()


def asked(
    services, folder, shape: Shape, count: int, *, level: int = 0, cell_m: float | None = 10.0, seed: int = 1
):
    """(count, 3): bytes sent, of the share, of the least blocks, for ten miles by ten at places chosen by chance."""
    told = []
    for number, (lon, lat) in enumerate(spots(shape, count, seed=seed)):
        ground = Wanted(around(LonLat(lon, lat), FIVE_MILES), Settings().date)
        services.faults()
        with services.gate(folder / f"store-{number}") as gate:
            url = f"http://127.0.0.1:{services.port}/fine/hollow.tif"
            own = shape.cell * (111_320 if shape.geographic else 1)
            read_window(gate, gate.services["three_dep"], url, ground.area(own), cell_m=cell_m)
        sent = sum(entry["sent"] for entry in services.log("hollow"))
        told.append((sent, *least(shape, box_of(ground, shape.epsg), level)))
    return np.array(told)

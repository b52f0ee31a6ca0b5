"""A country of ten miles by ten built from downloads that are kept: no network, everything but the asking."""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from urllib.request import urlopen

import numpy as np
from numpy.typing import NDArray
from pyproj import Transformer
from rasterio.transform import from_origin
from tests.unit.hollow import CANOPY, SHAPES, Shape, asked, write_hollow
from tests.unit.open_fixtures import ROOT, URLS, Open
from tests.unit.open_ground import LAT, LON, canopy_m, centres, cover_code, ground_m, make_rasters, write_cog

from benchmarks.row import Row
from graylight.gather.services import read_services

CELL_DEG = 1 / 10800
SPOTS = 12
HEIGHTS = {"3DEP 1/3 arc-second": "three_dep", "GLO-30": "glo30"}
LAYERS = (
    ("WorldCover", "worldcover", 1.0),
    (CANOPY, "canopy_tiles", 1.0),
    ("Sentinel-2 band", "sentinel", 8.5),
)
"""File, service, and how many such layers a country takes: of imagery four bands, and classes of a quarter, of two scenes."""


def rows() -> list[Row]:
    """Seconds of `graylight gather --offline` for 10 x 10 miles at 10 m, and how much was asked for it."""
    with tempfile.TemporaryDirectory() as scratch:
        root = Path(scratch)
        _files(root / "files")
        server = subprocess.Popen(
            [sys.executable, "-m", "tests.unit.open_server", str(root / "files")],
            stdout=subprocess.PIPE, text=True, cwd=ROOT,
        )  # fmt: skip
        try:
            assert server.stdout is not None
            port = int(server.stdout.readline())
            (root / "services.toml").write_text(_table(port), encoding="utf-8")
            _gather(root, "first")
            with urlopen(f"http://127.0.0.1:{port}/_log") as answer:
                log = json.load(answer)
            shares = _shares(root, port)
        finally:
            server.terminate()
            server.wait(10)
        taken = sorted(_gather(root, f"again-{n}", "--offline") for n in range(3))[1]
    sent = sum(entry["sent"] for entry in log["log"]) / 1e6
    return [
        Row("graylight gather --offline, 10 x 10 miles at 10 m, all sources kept",
            f"{taken[0]:.1f} s ({taken[1]:.1f} s of processor)", target="20 s"),
        Row("the same, first time, from this machine: requests, megabytes", f"{len(log['log'])}, {sent:.0f} MB"),
        Row("the same: most connections at once; most at once to Overpass",
            f"{log['most_open']}; {log['most_busy'].get('overpass', 0)}", target="8; 1"),
        *shares,
    ]  # fmt: skip


def _shares(root: Path, port: int) -> list[Row]:
    """Bytes asked of files of the real sizes and blocks, at places chosen by chance: against the cells, and the blocks."""
    services = Open(port, root / "services.toml")
    told = {name: _told(services, root, name, shape) for name, shape in SHAPES.items()}
    rows = [_share(name, SHAPES[name], found) for name, found in told.items()]
    for block in (128, 256, 1024):
        shape = replace(SHAPES["3DEP 1/3 arc-second"], block=block)
        rows.append(_share("grid of 3DEP", shape, _told(services, root, "grid of 3DEP", shape)))
    return [
        *rows,
        _together(told, "3DEP 1/3 arc-second", "in the USA"),
        _together(told, "GLO-30", "elsewhere"),
    ]


def _together(told: dict[str, NDArray[np.float64]], heights: str, where: str) -> Row:
    """The large rasters of one country together, each by the bytes that its cells take on the average when compressed."""
    table = read_services()
    sent = cells = 0.0
    for name, key, layers in ((heights, HEIGHTS[heights], 1.0), *LAYERS):
        weight = layers * float(table[key].more["bytes_a_cell"]) / SHAPES[name].item
        sent += weight * told[name][:, 0].sum()
        cells += weight * told[name][:, 1].sum()
    return Row(
        f"the same, heights, cover, canopy and two scenes of imagery of a country {where} together: times the window's cells",
        f"{sent / cells:.2f}", target="1.5: not met" if sent > 1.5 * cells else "1.5",
    )  # fmt: skip


def _told(services: Open, root: Path, name: str, shape: Shape) -> NDArray[np.float64]:
    """(places, 3): bytes sent, of the window's cells, of the blocks that it touches."""
    write_hollow(root / "files/fine/hollow.tif", shape)
    level, cell_m = (1, 10 / 3) if name == CANOPY else (0, 10.0)
    return asked(services, root / f"shares-{name}-{shape.block}", shape, SPOTS, level=level, cell_m=cell_m)


def _share(name: str, shape: Shape, told: NDArray[np.float64]) -> Row:
    cells, blocks = told[:, 0] / told[:, 1], told[:, 0] / told[:, 2]
    words = f"{cells.mean():.2f} ({cells.max():.2f}); {blocks.mean():.2f} ({blocks.max():.2f})"
    what = (
        f"bytes asked, {name} (blocks of {shape.block}): times the window's cells, and the blocks it touches"
    )
    target = "1.5 of the cells" if cells.max() <= 1.5 else "1.5 of the cells: not met"
    return Row(f"{what}; mean (worst) of {SPOTS} places", words, target=target)


def _gather(root: Path, name: str, *more: str) -> tuple[float, float]:
    """Wall seconds, and seconds of processor time."""
    words = [
        sys.executable,
        "-m",
        "graylight",
        "gather",
        str(root / name),
        "--around",
        f"{LAT}, {LON}",
        "--radius",
        "5mi",
    ]
    words += ["--services", str(root / "services.toml"), "--cache", str(root / "cache"), *more]
    before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    subprocess.run(words, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, cwd=ROOT)
    took, after = time.perf_counter() - began, resource.getrusage(resource.RUSAGE_CHILDREN)
    return took, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def _table(port: int) -> str:
    lines = [f'[{key}]\nurl = "http://127.0.0.1:{port}/{path}"' for key, path in URLS.items()]
    return "\n".join(lines) + "\n"


def _files(root: Path) -> None:
    """The tests' files, with those of full fineness about the middle laid over them."""
    make_rasters(root)
    west, north, cells = LON - 0.2, LAT + 0.15, 3300
    frame = from_origin(west, north, CELL_DEG, CELL_DEG)
    noise = np.random.default_rng(5).normal(0, 0.5, (cells, round(cells * 1.3))).astype(np.float32)
    lon, lat = centres(frame, *noise.shape)
    height = (ground_m(lon, lat) + noise).astype(np.float32)
    write_cog(
        root / "dem/n40w112/USGS_13_n40w112.tif", height, frame, "EPSG:4269", nodata=-999999.0, block=512
    )
    frame = from_origin(west, north, 1 / 12000, 1 / 12000)
    lon, lat = centres(frame, 3700, 4800)
    name = "cover/ESA_WorldCover_10m_2021_v200_N39W114_Map.tif"
    write_cog(root / name, cover_code(lon, lat), frame, "EPSG:4326", nodata=0, block=1024)
    _canopy(root)


def _canopy(root: Path) -> None:
    """Canopy on cells of 2.4 m over the middle of its tile."""
    to_web = Transformer.from_crs("EPSG:4326", "EPSG:3857", always_xy=True)
    x, y = to_web.transform(LON, LAT)
    cells, cell = 9600, 2.4
    frame = from_origin(x - cells * cell / 2, y + cells * cell / 2, cell, cell)
    col = np.arange(cells) * cell + frame.c
    lon, _ = to_web.transform(col, np.full(cells, y), direction="INVERSE")
    row = canopy_m(np.array(lon), LAT).astype(np.uint8)
    noise = np.random.default_rng(6).integers(0, 3, (cells, cells), np.uint8)
    write_cog(root / "canopy/0231000230.tif", row[None, :] + noise, frame, "EPSG:3857", nodata=255, block=512)

"""The loopback server as a fixture, and the table of services that points to it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import urllib.request
from dataclasses import dataclass
from pathlib import Path

import pytest

from graylight.gather.gate import Gate
from graylight.gather.order import chosen
from graylight.gather.services import read_services
from graylight.gather.store import Store
from graylight.gather.wanted import Wanted, around
from graylight.grid import LonLat
from graylight.settings import Settings
from tests.unit.open_ground import LAT, LON, make_rasters

ROOT = Path(__file__).parent.parent.parent

URLS = {
    "three_dep": "dem/{corner}/USGS_13_{corner}.tif",
    "three_dep_1m": "tnm/products",
    "glo30": "glo30/Copernicus_DSM_COG_10_{tile}_DEM/Copernicus_DSM_COG_10_{tile}_DEM.tif",
    "glo90": "glo90/Copernicus_DSM_COG_30_{tile}_DEM/Copernicus_DSM_COG_30_{tile}_DEM.tif",
    "terrain_tiles": "terrain/{z}/{x}/{y}.png",
    "worldcover": "cover/ESA_WorldCover_10m_2021_v200_{tile}_Map.tif",
    "nlcd": "nlcd/{space}/wcs",
    "canopy_tiles": "canopy/{quadkey}.tif",
    "sentinel": "stac/search",
    "naip": "naip/exportImage",
    "imagery_tiles": "pictures/{z}/{y}/{x}",
    "topo_tiles": "pictures/topo/{z}/{y}/{x}",
    "overpass": "overpass/interpreter",
    "gnis": "gnis/DomesticNames_{state}_Text.zip",
    "padus": "padus/FeatureServer/0",
    "blm": "blm/MapServer/1",
    "nws": "nws/points/{lat},{lon}",
}


@dataclass
class Open:
    """The running server."""

    port: int
    table: Path

    def call(self, path: str, given: object = None) -> dict:
        data = None if path == "/_log" else json.dumps(given).encode()
        with urllib.request.urlopen(f"http://127.0.0.1:{self.port}{path}", data) as response:
            return json.load(response)

    def faults(self, *faults: dict) -> None:
        """Set faults, and begin the log anew."""
        self.call("/_faults", list(faults))

    def log(self, part: str = "") -> list[dict]:
        return [entry for entry in self.call("/_log")["log"] if part in entry["path"]]

    def told(self) -> dict:
        return self.call("/_log")

    def gate(self, folder: Path, *, manners: str = "", **how) -> Gate:
        """A gate to the server; manners of its own as lines of TOML."""
        store = Store(folder)
        own = folder / "own.toml"
        own.write_text(f"[manners]\n{manners}\n", encoding="utf-8")
        return Gate(read_services([self.table, own]), store, **how)


@pytest.fixture(scope="session")
def rasters(tmp_path_factory) -> Path:
    root = tmp_path_factory.mktemp("open-rasters")
    make_rasters(root)
    return root


@pytest.fixture(scope="session")
def open_services(rasters, tmp_path_factory):
    os.environ["NO_PROXY"] = "127.0.0.1"  # a proxy must not stand between
    server = subprocess.Popen(
        [sys.executable, "-m", "tests.unit.open_server", str(rasters)],
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
    )
    assert server.stdout is not None
    port = int(server.stdout.readline())
    table = tmp_path_factory.mktemp("table") / "services.toml"
    lines = [
        "[manners]",
        "tries = 3",
        "first_wait_s = 0.01",
        "longest_wait_s = 0.5",
        "read_s = 20.0",
        "whole_s = 60.0",
        'contact = "tests"',
    ]
    for key, path in URLS.items():
        lines += [f"[{key}]", f'url = "http://127.0.0.1:{port}/{path}"']
        if key == "overpass":
            lines.append(f'status = "http://127.0.0.1:{port}/overpass/status"')
    table.write_text("\n".join(lines), encoding="utf-8")
    yield Open(port, table)
    server.terminate()
    server.wait(10)
    server.stdout.close()


@pytest.fixture
def services(open_services) -> Open:
    """The server without faults, its log empty."""
    open_services.faults()
    open_services.call("/_signature", None)
    return open_services


def wanted(radius_m: float = 3000.0, **how) -> Wanted:
    return Wanted(around(LonLat(LON, LAT), radius_m), Settings().date, **how)


def kinds(only: str, ground: Wanted | None = None):
    return chosen(only, None, ground or wanted())

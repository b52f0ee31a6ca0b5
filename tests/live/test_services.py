"""Every open service asked once, for a small piece of ground: only with a network, and only by `make live`.

Worked point: 39.3 N, 111.5 W. A failure here means that a service has moved, changed or is down: see docs/gather.md for how to
change its address.
"""

from __future__ import annotations

import os

import numpy as np
import pytest
import rasterio

from graylight.gather.basemap import DEEPEST, SHEETS
from graylight.gather.elevation import three_dep_1m
from graylight.gather.errand import Errand
from graylight.gather.gate import Gate, is_picture
from graylight.gather.order import KINDS
from graylight.gather.services import own_files, read_services
from graylight.gather.store import Store
from graylight.gather.tiles import tile_at
from graylight.gather.wanted import Wanted, around
from graylight.grid import LonLat
from graylight.settings import Settings

pytestmark = pytest.mark.skipif(
    os.environ.get("GRAYLIGHT_LIVE") != "1", reason="asks services on the network: run `make live`"
)
PLACE = LonLat(-111.5, 39.3)
ASKED = [(kind.name, key, client) for kind in KINDS for key, client in kind.clients]
ASKED.append(("elevation", "three_dep_1m", three_dep_1m))


@pytest.mark.timeout(600)
@pytest.mark.parametrize(("kind", "key", "client"), ASKED, ids=[f"{kind}-{key}" for kind, key, _ in ASKED])
def test_the_service_answers(tmp_path, kind, key, client):
    fine = key == "three_dep_1m"
    ground = Wanted(
        around(PLACE, 400.0 if fine else 2000.0), Settings().date, 4.0 if fine else None, closeups=(PLACE,)
    )
    with Gate(read_services(own_files(None, None)), Store(tmp_path / "store")) as gate:
        had = client(Errand(gate, gate.services[key], ground, tmp_path))
        print(f"{key}: {gate.requests} requests, {gate.received:,} bytes")
    for one in had:
        print(f"  {one.path.name}, data of {one.date}, {'; '.join(one.done)}")
        if one.path.suffix == ".tif":
            with rasterio.open(one.path) as file:
                values = file.read(1, masked=True)
            assert values.count() > 0.5 * values.size
            if kind == "elevation":  # the Sanpitch valley's east side lies at 1,700 to 3,400 m (from memory)
                assert 1500 < float(np.ma.median(values)) < 3500
        else:
            assert one.path.stat().st_size > 100


@pytest.mark.timeout(120)
@pytest.mark.parametrize("name", sorted(SHEETS))
def test_the_public_maps_have_tiles(tmp_path, name):
    with Gate(read_services(own_files(None, None)), Store(tmp_path / "store")) as gate:
        service = gate.services[SHEETS[name].service]
        col, row = tile_at(*PLACE, DEEPEST)
        answer = gate.ask(service, service.url.format(z=DEEPEST, x=col, y=row))
    assert is_picture(answer.body)

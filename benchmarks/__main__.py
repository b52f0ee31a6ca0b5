"""Print the table and keep it in docs/benchmarks.md."""

from __future__ import annotations

import os
import platform
import sys
from importlib.metadata import version
from pathlib import Path

from benchmarks import (
    air,
    error,
    gathering,
    ground,
    looking,
    morning,
    packet,
    page,
    panorama,
    plan,
    record,
    sight,
    sky,
    walking,
)
from benchmarks.row import Row

DOCS = Path(__file__).parent.parent / "docs"
HEAD = """# Benchmarks

Printed by `make bench`; ratios are ours over the other engine's, in one run on the same input (lower is better for us).
Machines are noisy: the ratios count.

"""
PARTS = (
    plan, ground, sky, air, walking, sight, error, looking, panorama, morning, page, gathering, record, packet,
)  # fmt: skip
MARKS = "<!-- written by make bench -->\n", "<!-- end -->\n"
"""The sight page shows its part of the table between these."""


def main() -> None:
    """Run all, print, keep."""
    rows: list[Row] = []
    of_sight: list[Row] = []
    for part in PARTS:
        print(f"... {part.__name__}", file=sys.stderr)
        found = part.rows()
        rows += found
        of_sight += found if part in (sight, error, looking, panorama) else []
    print(_table(rows))
    (DOCS / "benchmarks.md").write_text(HEAD + _table(rows) + "\n" + _machine() + "\n", encoding="utf-8")
    _show(DOCS / "sight.md", _table(of_sight) + "\n" + _machine() + "\n")


def _show(page: Path, text: str) -> None:
    before, rest = page.read_text(encoding="utf-8").split(MARKS[0])
    _, after = rest.split(MARKS[1])
    page.write_text(before + MARKS[0] + "\n" + text + "\n" + MARKS[1] + after, encoding="utf-8")


def _table(rows: list[Row]) -> str:
    lines = [
        _line(Row("what", "graylight", "beside", "ratio", "target")),
        "|---|---|---|---|---|",
        *map(_line, rows),
    ]
    return "\n".join(lines) + "\n"


def _line(row: Row) -> str:
    return f"| {row.what} | {row.ours} | {row.other} | {row.ratio} | {row.target} |"


def _machine() -> str:
    names = ", ".join(f"{name} {version(name)}" for name in ("numpy", "scipy", "numba", "rasterio"))
    return f"{os.cpu_count()} cores, {platform.machine()}, Python {platform.python_version()}, {names}."


if __name__ == "__main__":
    main()

"""Print the table and keep it in docs/benchmarks.md."""

from __future__ import annotations

import os
import platform
import sys
from importlib.metadata import version
from pathlib import Path

from benchmarks import air, ground, looking, morning, panorama, plan, sight, sky, walking
from benchmarks.row import Row

PAGE = Path(__file__).parent.parent / "docs" / "benchmarks.md"
HEAD = """# Benchmarks

Printed by `make bench`; ratios are ours over the other engine's, in one run on the same input (lower is better for us).
Machines are noisy: the ratios count.

"""


def main() -> None:
    """Run all, print, keep."""
    rows: list[Row] = []
    for part in (plan, ground, sky, air, walking, sight, looking, panorama, morning):
        print(f"... {part.__name__}", file=sys.stderr)
        rows += part.rows()
    table = "\n".join(
        [
            _line(Row("what", "graylight", "beside", "ratio", "target")),
            "|---|---|---|---|---|",
            *map(_line, rows),
        ]
    )
    print(table)
    PAGE.write_text(HEAD + table + "\n\n" + _machine() + "\n", encoding="utf-8")


def _line(row: Row) -> str:
    return f"| {row.what} | {row.ours} | {row.other} | {row.ratio} | {row.target} |"


def _machine() -> str:
    names = ", ".join(f"{name} {version(name)}" for name in ("numpy", "scipy", "numba", "rasterio"))
    return f"{os.cpu_count()} cores, {platform.machine()}, Python {platform.python_version()}, {names}."


if __name__ == "__main__":
    main()

"""The whole packet of the invented range, warm, in one process."""

from __future__ import annotations

import tempfile
import time
from pathlib import Path

from benchmarks.row import Row, cpu_seconds
from graylight.cli.demonstration import invented_country
from graylight.packet.asked import understood
from graylight.packet.making import make_packet
from graylight.plan.keeping import make_plan


def rows() -> list[Row]:
    """With three lookouts told in full; kernels compiled and the country read once before."""
    with tempfile.TemporaryDirectory() as scratch:
        country = invented_country(Path(scratch) / "country")
        plan = make_plan(country).plan
        asked = understood(plan, wind="SW 8mph")

        def make() -> None:
            make_packet(country, plan, asked)

        make()
        began = time.perf_counter()
        make()
        wall = time.perf_counter() - began
        user = cpu_seconds(make, runs=1)
        sizes = {p.name: p.stat().st_size / 1e6 for p in (country.folder / "packet").iterdir() if p.is_file()}
    sits = len(asked.lookouts)
    return [
        Row(f"the whole packet, {sits} lookouts", f"{wall:.1f} s, user time {user:.1f} s", target="15 s"),
        Row("its PDF, Letter", f"{sizes['packet-letter.pdf']:.1f} MB", target="10 MB"),
        Row("its page for the telephone", f"{sizes['packet.html']:.1f} MB"),
        Row("its tiles", f"{sizes['map.mbtiles']:.1f} MB"),
    ]


if __name__ == "__main__":
    for row in rows():
        print(row.what, "|", row.ours, "|", row.target)

"""Plan and record written in open formats below the country's folder."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from graylight.country.folder import Country
    from graylight.plan.model import Plan

__all__ = ["write_files", "write_record"]


def write_files(country: Country, kept: Plan) -> list[Path]:
    """The plan in open formats, below the country's plan/ folder."""
    from graylight.exchange.geojson import write_geojson
    from graylight.exchange.gpx import write_gpx
    from graylight.exchange.kml import write_kml

    texts = {"plan.gpx": write_gpx(kept), "plan.kml": write_kml(kept), "plan.geojson": write_geojson(kept)}
    for name, text in texts.items():
        country.write_text(f"plan/{name}", text)
    return [country.folder / "plan" / name for name in texts]


def write_record(country: Country) -> list[Path]:
    """The record in open formats, below the country's record/ folder; nothing where nothing is recorded."""
    from graylight.country.rows import Rows
    from graylight.exchange.record_files import RECORD_TABLES, write_record_csv, write_record_geojson

    rows = [row for table in RECORD_TABLES for row in Rows(country).read(table)]
    if not rows:
        return []
    texts = {
        "record.geojson": write_record_geojson(rows, country.grid),
        "record.csv": write_record_csv(rows, country.grid),
    }
    return [country.write_text(f"record/{name}", text) for name, text in texts.items()]
